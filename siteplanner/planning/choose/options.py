"""Two to five spots that differ in kind, what each is best at, what it costs, and what would make one choose it.

The first spot; then the best-scoring spots that differ in kind from every better option: their service overlaps by
less than `ALIKE`, or they hang on another lifeline (the loss of `ANOTHER_M` of road cuts the better one off and not
them), or they serve a named point that it does not. A spot that another judged one beats in everything is none
(`dominance`), nor is one more likely than not too steep to stand on. So that no purpose goes without, the best spot
for a named point without service comes before those that serve other ground, and so does the best on another lifeline
than the first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from siteplanner.mission import Mission
from siteplanner.planning.choose.dominance import Compared, Figure, Hanging, beaten_by, hanging
from siteplanner.planning.choose.overlap import overlap
from siteplanner.planning.choose.price import Difference, Price, price
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.site.timeline import DRIVE_LOW
from siteplanner.planning.spots.evaluation import Access
from siteplanner.planning.spots.lifelines import Section
from siteplanner.roads.lifeline import Stretch, Thread
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.parting import Parting, parting

MOST = 5
ALIKE = 0.7  # overlap from which on two spots serve the same ground
ANOTHER_M = 1000.0  # road that one hangs on and another does not, for theirs to be two lifelines; common practice
TOO_STEEP_CHANCE = 0.05  # from here on the steepest grade is a question for a scout
ROUNDING = 1e-4  # overlaps nearer to `ALIKE` than that are worked out again in full

Way = Literal["service", "lifeline", "point"]
SCORE = Figure("score", "share", True, 0.01)


@dataclass(frozen=True)
class BestAt:
    """A figure in which a spot leads: all judged spots, the options, or at least the first one."""

    figure: Figure
    value: float
    among: Literal["judged", "options", "first"]


@dataclass(frozen=True)
class Steepest:
    """The first spot's steepest grade and its limit, per cent: the chance that it is steeper than the rig may."""

    grade_pct: float
    error_pct: float
    limit_pct: float
    chance: float


@dataclass(frozen=True)
class Trigger:
    """What would make one choose this spot over the first, and by when.

    `points`: named points that only this one of the two serves. `roads`: whose loss cuts the first off and not this
    one. `steepest`: the grade that a scout must pass on the way to the first and that this drive does not have.
    `counts`: where none of these holds, the figure that would have to count most. `parts`: where its drive leaves the
    first's; a rig that is no farther serves from here by `on_air_late_min`, as if it had been sent here at once. It is
    there `decide_by_min` after dispatch at the earliest. NaN: not known.
    """

    points: tuple[str, ...]
    roads: tuple[Section, ...]
    steepest: Steepest | None
    counts: Difference | None
    parts: Parting | None
    decide_by_min: float
    on_air_late_min: float


@dataclass(frozen=True, eq=False)
class Option:
    """One of the spots that differ in kind. `overlap` with the first; `differs`: in which ways from it."""

    ranked: RankedSpot
    overlap: float
    differs: tuple[Way, ...]
    lifeline: Hanging | None
    best_at: tuple[BestAt, ...]
    price: Price
    trigger: Trigger | None  # None: the first itself


@dataclass(frozen=True, eq=False)
class Field:
    """All that options are chosen by: the judged spots, best first, their figures, and what each serves.

    `needed`: the chance from which on a named point is served, in the order of the points.
    """

    judged: Sequence[RankedSpot]
    figures: Compared
    weight: np.ndarray
    needed: tuple[float, ...]
    overlaps: np.ndarray | None = None  # (spots, spots) but for rounding, where they were worked out

    def apart(self, one: int, other: int) -> bool:
        """Whether two judged spots serve other ground: their overlap is less than `ALIKE`."""
        if self.overlaps is not None and abs(self.overlaps[one, other] - ALIKE) > ROUNDING:
            return bool(self.overlaps[one, other] < ALIKE)
        return self.overlap(one, other) < ALIKE

    def overlap(self, one: int, other: int) -> float:
        """Of two judged spots; NaN where it is not known what one serves."""
        a, b = (self._probability(row) for row in (one, other))
        return math.nan if a is None or b is None else overlap(a, b, self.weight)

    def _probability(self, row: int) -> np.ndarray | None:
        coverage = self.judged[row].evaluation.coverage
        held = None if coverage is None else coverage.probability
        return held if held is not None and len(held) == len(self.weight) else None

    def serves(self, row: int) -> frozenset[int]:
        """The named points that a spot serves, by their place in the layer."""
        return self._served[row]

    @cached_property
    def _served(self) -> list[frozenset[int]]:
        every = [r.evaluation.coverage for r in self.judged]
        points = [() if c is None else c.must_serve for c in every]
        return [frozenset(k for k, p in enumerate(own) if p.probability >= self.needed[k]) for own in points]


def choose_rows(field: Field, most: int = MOST) -> tuple[int, ...]:
    """The rows of the options, by rank. See the module."""
    if not field.judged or most < 1:
        return ()
    chosen = [0]
    free: dict[int, bool] = {}
    differ: dict[tuple[int, int], tuple[Way, ...]] = {}

    def apart(row: int, other: int) -> tuple[Way, ...]:
        low, high = max(row, other), min(row, other)
        if (low, high) not in differ:
            differ[low, high] = ways(field, low, high)
        return differ[low, high]

    def may(row: int) -> bool:
        """It differs from every option, and no judged spot beats it in everything; one that is more likely than not
        too steep to stand on is none where the first is not."""
        if stands_back(field.judged[row].evaluation) and not stands_back(field.judged[0].evaluation):
            return False
        if not all(apart(row, o) for o in chosen):
            return False
        if row not in free:
            free[row] = not beaten_by(field.figures, row).any()
        return free[row]

    def add(wanted: Callable[[int], bool]) -> bool:
        """Take the best-scoring spot that is wanted, while there is room."""
        rows = (row for row in range(1, len(field.judged)) if row not in chosen)
        found = next((row for row in rows if wanted(row) and may(row)), None) if len(chosen) < most else None
        if found is not None:
            chosen.append(found)
        return found is not None

    while add(lambda row: bool(field.serves(row) - frozenset[int]().union(*(field.serves(o) for o in chosen)))):
        pass
    add(lambda row: "lifeline" in apart(row, 0))
    while add(lambda row: all("service" in apart(row, o) for o in chosen)):
        pass
    while add(lambda row: True):
        pass
    return tuple(sorted(chosen))


def ways(field: Field, row: int, better: int) -> tuple[Way, ...]:
    """In which ways a spot differs from a better-scoring one."""
    found: list[Way] = []
    if field.apart(row, better):
        found.append("service")
    one, two = (field.judged[k].evaluation.access for k in (row, better))
    if _free_m(one, two) >= ANOTHER_M:
        found.append("lifeline")
    if field.serves(row) - field.serves(better):
        found.append("point")
    return tuple(found)


def _free_m(one: Access | None, two: Access | None) -> float:
    """Metres of road whose loss cuts `two` off from staging and not `one`."""
    if one is None or two is None or one.lifeline is None or two.lifeline is None or not one.lifeline.staging.ways:
        return 0.0
    held: dict[int, list[Stretch]] = {}
    for stretch in one.lifeline.staging.stretches:
        held.setdefault(stretch.segment, []).append(stretch)
    return sum(s.length_m - _in_common(s, held.get(s.segment, [])) for s in two.lifeline.staging.stretches)


def _in_common(stretch: Stretch, others: Sequence[Stretch]) -> float:
    low, high = sorted(stretch[1:])
    return sum(max(0.0, min(high, max(o[1:])) - max(low, min(o[1:]))) for o in others)


def options_of(
    field: Field, rows: Sequence[int], handed: Mapping[tuple[float, float], RankedSpot], mission: Mission,
    network: RoadNetwork,
) -> tuple[Option, ...]:  # fmt: skip
    """The options with their facts. `handed`: listed spots by key, with their details."""
    out = []
    for row in rows:
        ranked = handed.get(field.judged[row].spot.key, field.judged[row])
        against = price(field.figures, row)
        best_at = leads(field, row, rows, against)
        first = handed.get(field.judged[0].spot.key, field.judged[0])
        out.append(
            Option(
                ranked,
                field.overlap(row, 0),
                ways(field, row, 0) if row else (),
                hanging(ranked.evaluation.access, network),
                best_at,
                against,
                None
                if row == 0
                else trigger_of(field, row, ranked, first, _first_of(against, best_at), mission, network),
            )
        )
    return tuple(out)


def _first_of(against: Price, best_at: Sequence[BestAt]) -> Difference | None:
    """What a spot gives against the first that it is best at, or what it gives at all."""
    best = {b.figure for b in best_at}
    return next(iter([*(d for d in against.gains if d.figure in best), *against.gains]), None)


def leads(field: Field, row: int, rows: Sequence[int], against: Price) -> tuple[BestAt, ...]:
    """What a spot is best at: alone in front, by more than nothing that counts; the first also by its score."""
    steps, values = field.figures.steps, field.figures.values
    most = max(r.score for r in field.judged)  # one that stands back may have more than the first
    top = row == 0 and field.judged[0].score >= most
    out = [BestAt(SCORE, field.judged[0].score / 100, "judged")] if top else []
    among: tuple[tuple[Literal["judged", "options"], Sequence[int]], ...]
    among = ("judged", range(len(field.judged))), ("options", rows)
    for k, figure in enumerate(field.figures.figures):
        for group, members in among:
            others = np.array([steps[o, k] for o in members if o != row])
            known = np.isfinite(values[row, k]) and np.isfinite(others).all()
            if len(others) and known and (others < steps[row, k]).all():
                out.append(BestAt(figure, float(values[row, k]), group))
                break
    if not out:
        out = [BestAt(gain.figure, gain.here, "first") for gain in against.gains]
    return tuple(out)


def trigger_of(
    field: Field, row: int, ranked: RankedSpot, first: RankedSpot, counts: Difference | None, mission: Mission,
    network: RoadNetwork,
) -> Trigger:  # fmt: skip
    """What would make one choose the spot of a row over the first, and by when. `counts`: what it leads in."""
    here, there = ranked.evaluation.access, first.evaluation.access
    coverage = ranked.evaluation.coverage
    points = () if coverage is None else coverage.must_serve
    served = tuple(points[k].name for k in sorted(field.serves(row) - field.serves(0)))
    roads, steepest, shared, by = _cuts(here, there), _steepest(here, there, mission), None, math.nan
    if here is not None and there is not None:
        same_start = [a.by_staging[0].name if a.by_staging else "" for a in (here, there)]
        shared = parting(network, there.route, here.route) if same_start[0] == same_start[1] else Parting(0.0, 0.0)
        gap_s = there.gap_s if shared.distance_m else 0.0
        by = mission.trailer.hitch_up_min[0] + DRIVE_LOW * (gap_s + shared.time_s) / 60
    counts = None if served or roads or steepest else counts
    air = ranked.evaluation.on_air
    return Trigger(served, roads, steepest, counts, shared, by, math.nan if air is None else air.late_min)


def _cuts(here: Access | None, there: Access | None) -> tuple[Section, ...]:
    """Sections whose loss, wherever on them, cuts the first off from staging and not this spot."""
    if here is None or there is None or here.lifeline is None or there.told is None:
        return ()
    mine: Thread = here.lifeline.staging
    return tuple(s for s in there.told.staging_cuts if mine.ways and not mine.needs(s.stretches))


def _steepest(here: Access | None, there: Access | None, mission: Mission) -> Steepest | None:
    limit = mission.rig.max_grade_pct
    if here is None or there is None:
        return None
    chance = _too_steep(there, limit)
    if not chance >= TOO_STEEP_CHANCE or not _too_steep(here, limit) < TOO_STEEP_CHANCE:
        return None
    return Steepest(abs(there.worst_grade_pct), there.worst_grade_error_pct, limit, chance)


def _too_steep(access: Access, limit_pct: float) -> float:
    """Chance that the steepest grade, with a normal error, is above the limit; NaN: not known."""
    error = access.worst_grade_error_pct
    if not error > 0:
        return 0.0 if math.isfinite(access.worst_grade_pct) else math.nan
    return 0.5 * math.erfc((limit_pct - abs(access.worst_grade_pct)) / error / math.sqrt(2))
