"""What a spot is worth: one definition a criterion, with its weight, its words and how it is measured.

They stand in the mission's room because `weights` is a table of the mission: its fields are these criteria, and a
criterion is whole in this file. What a criterion looks at of a spot is `Judged`, of a mission `Terms`; the rooms above
hand both in. Every utility is a straight line between a worst and a best value (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, NamedTuple, Protocol, TypeVar

from pydantic import Field, create_model, model_validator

from siteplanner.core.parking import expected_level
from siteplanner.mission.layers import Layers
from siteplanner.mission.links import Backhaul, BackhaulKind, Sky
from siteplanner.mission.parts import Part
from siteplanner.mission.trailer import Trailer

Figure = Literal["count", "percent", "percent_at_least", "degrees", "minutes", "decibels"]
SYMBOLS: dict[Figure, str] = {
    "count": "", "percent": "%", "percent_at_least": "%", "degrees": "deg", "minutes": "min", "decibels": "dB",
}  # fmt: skip


class Scales(Part):
    """Where the utilities of the criteria start and end. Common practice, no source."""

    sky_full_margin_deg: float = Field(15.0, gt=0, le=60, description="Sky margin that earns the whole weight.")
    drive_zero_min: float = Field(
        60.0, ge=1, le=10_000, description="Drive time, last leg included, that earns nothing."
    )
    link_full_margin_db: float = Field(
        20.0,
        gt=0,
        le=60,
        description="Margin of a donor link over level and fade margin that earns the whole weight.",
    )


class Terms(Protocol):
    """The parts of a mission that a spot is measured against."""

    @property
    def layers(self) -> Layers: ...
    @property
    def trailer(self) -> Trailer: ...
    @property
    def sky(self) -> Sky: ...
    @property
    def backhaul(self) -> Backhaul: ...
    @property
    def scales(self) -> Scales: ...


class _Chance(Protocol):
    @property
    def probability(self) -> float: ...


class _Served(Protocol):
    @property
    def share(self) -> float: ...
    @property
    def must_serve(self) -> Sequence[_Chance]: ...


class _Ground(Protocol):
    @property
    def slope_deg(self) -> float: ...
    @property
    def slope_uncertainty_deg(self) -> float: ...


class _Drive(Protocol):
    @property
    def drive_time_s(self) -> float: ...


class _Look(Protocol):
    @property
    def margin_deg(self) -> float: ...
    @property
    def clear(self) -> bool: ...
    @property
    def too_low(self) -> bool: ...


SomeLook = TypeVar("SomeLook", bound=_Look)


def deciding(looks: Sequence[SomeLook], need: Literal["any", "all"]) -> SomeLook | None:
    """The satellite that decides what a spot's sky is worth; None without any.

    Where any will do: of those in view the one with the widest margin; with none in view the one nearest to it, those
    too low after those behind the skyline, not known ones between. Where all must be in view: the worst of them.
    """

    def standing(look: SomeLook) -> tuple[int, float]:
        known = math.isfinite(look.margin_deg)
        place = 3 if look.clear else 0 if look.too_low else 1 if known else 2
        return place, look.margin_deg if known else -math.inf

    return (max if need == "any" else min)(looks, key=standing, default=None)


class _Carrier(Protocol):
    @property
    def kind(self) -> BackhaulKind: ...
    @property
    def margin(self) -> float: ...


class Judged(Protocol):
    """What criteria look at of a spot; `planning.spots.evaluation.Evaluation` is one."""

    @property
    def coverage(self) -> _Served | None: ...
    @property
    def ground(self) -> _Ground: ...
    @property
    def access(self) -> _Drive | None: ...
    @property
    def sky(self) -> Sequence[_Look]: ...
    @property
    def backhaul(self) -> _Carrier | None: ...
    @property
    def backhauls(self) -> Sequence[_Carrier]: ...


@dataclass(frozen=True)
class Gauge:
    """What is measured, in which unit, and how its figure is said.

    `says`: the figure as a cell of a table. `difference`: why one spot is better than another, {0} its figure and {1}
    the other's. A percentage is kept as 0..100;
    `percent_at_least` is rounded down, so that 94.9 % never reads as the 95 % that is needed.
    """

    label: str
    unit: str
    figure: Figure
    difference: str
    says: str = "{}"

    @property
    def symbol(self) -> str:
        """The unit alone, without what it is a share of."""
        return SYMBOLS[self.figure] if self.unit else ""


class Measured(NamedTuple):
    """A figure as shown, and its utility 0..1."""

    value: float
    utility: float


@dataclass(frozen=True)
class Words:
    """Short names: beside its slider, over a column, and within a sentence (`weighing ... higher`)."""

    slider: str
    column: str
    called: str


def _always(spot: Judged, mission: Terms) -> bool:
    return True


@dataclass(frozen=True)
class Criterion:
    """One criterion. `measure` gives None where the spot lacks what is measured: it earns nothing then.

    `applies`: whether it counts for this spot's mission at all. `gauge_at`, `words_for`: where gauge or words depend on
    the spot or the mission. `across` says a difference between spots of unlike gauges. `older`: names under which
    earlier versions of a mission file may weigh it.
    """

    name: str
    weight: float
    reason: str
    colour: str  # of Okabe and Ito, Color Universal Design (2008); words always stand beside it
    words: Words
    gauge: Gauge
    measure: Callable[[Judged, Terms], Measured | None]
    applies: Callable[[Judged, Terms], bool] = _always
    gauge_at: Callable[[Judged, Terms], Gauge] | None = None
    words_for: Callable[[Terms], Words] | None = None
    across: str = ""
    older: tuple[str, ...] = ()

    def gauge_of(self, spot: Judged, mission: Terms) -> Gauge:
        """What is measured at this spot."""
        return self.gauge if self.gauge_at is None else self.gauge_at(spot, mission)

    def words_of(self, mission: Terms) -> Words:
        """Its short names in this mission."""
        return self.words if self.words_for is None else self.words_for(mission)


def _line(value: float, worst: float, best: float) -> float:
    """Utility on the straight line from `worst` (0) to `best` (1); 0 for what is not known."""
    if not math.isfinite(value):
        return 0.0
    return min(max((value - worst) / (best - worst), 0.0), 1.0)


def _area(spot: Judged, mission: Terms) -> Measured | None:
    served = spot.coverage
    return None if served is None else Measured(100 * served.share, served.share)


def _points(spot: Judged, mission: Terms) -> Measured | None:
    if spot.coverage is None or not spot.coverage.must_serve:
        return None
    chances = [point.probability for point in spot.coverage.must_serve]
    mean = sum(chances) / len(chances)
    return Measured(100 * mean, mean)


def _has_points(spot: Judged, mission: Terms) -> bool:
    """With nothing to serve it applies to no spot."""
    return bool(mission.layers.must_serve) and (spot.coverage is None or bool(spot.coverage.must_serve))


def _slope(spot: Judged, mission: Terms) -> Measured:
    """From the slope limit down to level, as the mean over what the true slope may be: ground that may well be too
    steep earns less than ground that is known to be as flat.
    """
    ground = spot.ground
    level = expected_level(ground.slope_deg, mission.trailer.max_slope_deg, ground.slope_uncertainty_deg)
    return Measured(ground.slope_deg, level if math.isfinite(level) else 0.0)


def _drive(spot: Judged, mission: Terms) -> Measured | None:
    """From `scales.drive_zero_min` down to nothing."""
    if spot.access is None:
        return None
    minutes = spot.access.drive_time_s / 60
    return Measured(minutes, _line(minutes, mission.scales.drive_zero_min, 0.0))


_BETTER = "its backhaul is better ({0}, not {1})"
BACKHAUL_GAUGES: dict[BackhaulKind, Gauge] = {
    "geostationary": Gauge("Sky margin of the clearest satellite", "deg", "degrees", "the sky margin is {0}, not {1}"),
    "open_sky": Gauge("Open sky for the terminal", "% of its cone", "percent_at_least", _BETTER, "Open sky {} clear"),
    "donor_link": Gauge("Donor link above level and fade margin", "dB", "decibels", _BETTER, "Donor link {} to spare"),
}
_NO_BACKHAUL = Gauge("No backhaul works", "", "degrees", _BETTER)


def _backhaul(spot: Judged, mission: Terms) -> Measured:
    """Margin of the backhaul in use.

    A straight line within each kind: the sky margin of the satellite that decides (`deciding`), where it is in view,
    from `sky.min_margin_deg` to `scales.sky_full_margin_deg`;
    the clear share of the open-sky cone from `backhaul.open_sky.min_clear_share` to all of it (shown in %); a donor
    link's margin from 0 to `scales.link_full_margin_db`. With n backhauls wanted, the one at place p of the list earns
    (n - p + u) / n of the marks: a preferred one always earns more than the next, u decides between spots that use
    the same. With one wanted that is u itself. None works: 0.
    """
    wanted, used = mission.backhaul.wanted, spot.backhaul
    floor, full = mission.sky.min_margin_deg, mission.scales.sky_full_margin_deg
    if used is None and wanted != ("geostationary",):
        return Measured(math.nan, 0.0)
    if used is None or used.kind == "geostationary":
        look = deciding(spot.sky, mission.sky.need)
        value = math.nan if look is None else look.margin_deg
        utility = _line(value, floor, max(full, floor + 1e-6)) if look is not None and look.clear else 0.0
    elif used.kind == "open_sky":
        value, least = 100 * used.margin, mission.backhaul.open_sky.min_clear_share
        utility = _line(used.margin, least, 1.0) if least < 1.0 else 1.0
    else:
        value, utility = used.margin, _line(used.margin, 0.0, mission.scales.link_full_margin_db)
    place = 1 if used is None else 1 + wanted.index(used.kind)
    return Measured(value, (len(wanted) - place + utility) / len(wanted))


def _backhaul_gauge(spot: Judged, mission: Terms) -> Gauge:
    """By the kind in use, with its place in the order of preference where there are several."""
    wanted, used = mission.backhaul.wanted, spot.backhaul
    kind: BackhaulKind | None = None if used is None else used.kind
    if not spot.backhauls:
        kind = "geostationary"
    elif len(wanted) == 1:
        kind = wanted[0]
    if kind is None:
        return _NO_BACKHAUL
    gauge = BACKHAUL_GAUGES[kind]
    if kind == "geostationary" and mission.sky.need == "all":
        gauge = replace(gauge, label="Sky margin of the satellite with the least")
    if not spot.backhauls or used is None or len(wanted) == 1:
        return gauge
    return replace(gauge, label=f"{gauge.label} (choice {1 + wanted.index(used.kind)} of {len(wanted)})")


_SKY_WORDS = Words("Clear sky", "Sky margin", "sky")


def _backhaul_words(mission: Terms) -> Words:
    return _SKY_WORDS if mission.backhaul.wanted == ("geostationary",) else Words("Backhaul", "Backhaul", "backhaul")


_DEFINED = (
    Criterion(
        "coverage",
        5.0,
        "Service of the incident area is what the unit is there for. Common practice, no source.",
        "#0072B2",
        Words("Area served", "Area served", "coverage"),
        Gauge("Incident area served", "% of weighted area", "percent", "it serves {0} of the weighted area, not {1}"),
        _area,
    ),
    Criterion(
        "must_serve",
        2.0,
        "Named points count beside the area they lie in. Common practice, no source.",
        "#E69F00",
        Words("Must-serve points", "Must-serve", "must-serve"),
        Gauge(
            "Must-serve points served",
            "% mean probability",
            "percent",
            "the named points have a chance of service of {0} on average, not {1}",
        ),
        _points,
        applies=_has_points,
    ),
    Criterion(
        "backhaul",
        1.0,
        "A limit sees to it that the backhaul works; more than enough is a comfort. Common practice, no source.",
        "#56B4E9",
        _SKY_WORDS,
        BACKHAUL_GAUGES["geostationary"],
        _backhaul,
        gauge_at=_backhaul_gauge,
        words_for=_backhaul_words,
        across=_BETTER,
        older=("sky",),
    ),
    Criterion(
        "ground",
        1.0,
        "A limit sees to it that the trailer can stand; flatter is quicker to level. Common practice, no source.",
        "#009E73",
        Words("Level ground", "Slope", "ground"),
        Gauge("Slope of the ground", "deg", "degrees", "the ground slopes {0}, not {1}"),
        _slope,
    ),
    Criterion(
        "access",
        2.0,
        "A shorter drive is sooner on air, refueled and relieved. Common practice, no source.",
        "#CC79A7",
        Words("Short drive", "Drive", "access"),
        Gauge("Drive time with last leg", "min", "minutes", "the drive takes {0}, not {1}"),
        _drive,
    ),
)
CRITERIA: dict[str, Criterion] = {c.name: c for c in _DEFINED}  # in the order in which scores list them


def older_names(given: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """(older name, name) of each weight that is given under an older name."""
    yield from ((old, c.name) for c in CRITERIA.values() for old in c.older if old in given)


_fields: dict[str, Any] = {
    c.name: (float, Field(c.weight, ge=0, le=1000, description=f"{c.gauge.label}. {c.reason}"))
    for c in CRITERIA.values()
}


class Weights(create_model("_Weights", __base__=Part, **_fields)):  # type: ignore[misc]
    """Relative weight of each criterion; they are scaled to add up to 1. One field a criterion."""

    @model_validator(mode="before")
    @classmethod
    def _by_their_names(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        data = dict(data)
        for old, new in list(older_names(data)):
            if new in data:
                raise ValueError(f"{old} is an older name of {new}: give one of them")
            data[new] = data.pop(old)
        return data

    @model_validator(mode="after")
    def _some(self) -> Weights:
        if sum(self.model_dump().values()) <= 0:
            raise ValueError("at least one weight must be above 0")
        return self
