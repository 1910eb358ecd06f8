"""How a trailer stands against its plan, as facts: what was planned, what was reported, what is off, what is broken.

Bearings are true; angles that are off are as built minus planned, in -180..180, clockwise positive. NaN: not known.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any, Literal

from siteplanner.core.geodesy import wrap_180_deg
from siteplanner.errors import InputError
from siteplanner.mission.report import Level, Report
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.plan.records import judged_rows, number, of, rows, text
from siteplanner.planning.site.timeline import ON_SITE_PARTS
from siteplanner.planning.study.spot import Stance

Assumed = Literal["heading", "stop", "sectors"]
HALF_DAY_MIN = 12 * 60
STEP_M = 0.2  # stops nearer than this are the same: feet are read whole; common practice


@dataclass(frozen=True)
class PlannedLook:
    """Where the plan told the dish to look."""

    satellite_name: str
    azimuth_deg: float
    elevation_deg: float
    margin_deg: float


@dataclass(frozen=True)
class Minutes:
    """A range of minutes, as planned: nine cases in ten, and the mean."""

    early_min: float
    mean_min: float
    late_min: float


@dataclass(frozen=True)
class Planned:
    """What the plan said of the spot that the crew was sent to."""

    name: str
    latitude: float
    longitude: float
    grid_reference: str
    heading_deg: float
    mast_stop_m: float
    sector_bearings_deg: tuple[float, ...]
    looks: tuple[PlannedLook, ...]
    share: float
    chances: Mapping[str, float]  # of the must-serve points, by name
    dispatch: datetime | None
    on_air: Minutes  # from dispatch
    set_up: Minutes  # from the arrival to service


@dataclass(frozen=True)
class TimeOff:
    """How long something took against the plan's range."""

    what: Literal["on_air", "set_up"]
    planned: Minutes
    took_min: float

    @property
    def off_min(self) -> float:
        """Against the mean; late is positive."""
        return self.took_min - self.planned.mean_min

    @property
    def within(self) -> bool:
        """Whether it lies in the range that was told."""
        return self.planned.early_min <= self.took_min <= self.planned.late_min


@dataclass(frozen=True)
class SectorOff:
    """One sector as planned and as it points; the two sets are paired so that they turn least."""

    planned_deg: float
    built_deg: float

    @property
    def off_deg(self) -> float:
        """As built minus planned."""
        return float(wrap_180_deg(self.built_deg - self.planned_deg))


@dataclass(frozen=True)
class PointNow:
    """A named point as planned, as it is predicted from where the trailer stands, and what was read there."""

    name: str
    planned: float
    now: float
    expected_dbm: float
    read: Level | None


@dataclass(frozen=True)
class Called:
    """A judged spot of the plan that a trailer followed, as it was called, ranked and told; NaN not known."""

    name: str
    x: float
    y: float
    rank: float
    share: float


def called_before(record: Mapping[str, Any]) -> tuple[Called, ...]:
    """The judged spots of a plan.json; of one AS BUILT those of the plan that it followed."""
    return tuple(
        Called(text(r.get("name")), *(number(r.get(key)) for key in ("x", "y", "rank", "share")))
        for r in judged_rows(record)
    )


@dataclass(frozen=True)
class AsBuilt:
    """A trailer that stands, against its plan."""

    report: Report
    planned: Planned
    stands: Stance
    assumed: tuple[Assumed, ...]  # what the report does not say: taken as planned
    declination_deg: float | None
    distance_m: float  # from the planned spot
    bearing_deg: float  # toward the trailer
    doubt_m: float  # how well the place is known: the phone's own, and the figures that were read out
    heading_off_deg: float
    stop_off_m: float
    sectors: tuple[SectorOff, ...]
    times: tuple[TimeOff, ...]
    broken: tuple[Breach, ...]
    near: tuple[str, ...]  # limits of the ground within the doubt, not broken where it is said to stand
    outside: bool  # of the search ground: limits that only its raster tells of were not judged
    points: tuple[PointNow, ...]
    share: float  # predicted, as the sectors point
    best_share: float  # the same mast with its best bearings
    called: tuple[Called, ...] = ()  # the spots of the plan that it followed

    @property
    def sectors_moved(self) -> bool:
        """Whether the report says where the sectors point."""
        return "sectors" not in self.assumed


def planned_of(row: Mapping[str, Any], file: str) -> Planned:
    """What a spot's row of a plan's record says. Raises InputError: no figures to hold a report against."""
    coverage = of(row, "coverage")
    bearings = of(coverage, "sector_bearings_deg") or []
    dispatch = text(of(row, "timeline", "dispatch"))
    parts = [p for p in of(row, "on_air", "parts") or [] if isinstance(p, (list, tuple)) and len(p) == 4]
    last = [tuple(number(v) for v in p[1:]) for p in parts[-ON_SITE_PARTS:]]
    low, likely, high = (sum(p[k] for p in last) if last else math.nan for k in range(3))
    air = (number(of(row, "on_air", key)) for key in ("low_min", "mean_min", "high_min"))
    looks = tuple(
        PlannedLook(
            text(of(look, "satellite_name")),
            *(number(of(look, k)) for k in ("azimuth_deg", "elevation_deg", "margin_deg")),
        )
        for look in rows(row, "sky")
    )
    made = Planned(
        name=text(of(row, "name")),
        latitude=number(of(row, "latitude")),
        longitude=number(of(row, "longitude")),
        grid_reference=text(of(row, "grid_reference")),
        heading_deg=number(of(row, "ground", "heading_deg")),
        mast_stop_m=number(of(coverage, "mast_height_m")),
        sector_bearings_deg=tuple(number(b) for b in bearings),
        looks=looks,
        share=number(of(coverage, "share")),
        chances={text(of(p, "name")): number(of(p, "probability")) for p in rows(coverage, "must_serve")},
        dispatch=_moment(dispatch, file),
        on_air=Minutes(*air),
        set_up=Minutes(low, (low + 4 * likely + high) / 6, high),
    )
    figures = (made.latitude, made.longitude, made.heading_deg, made.mast_stop_m, *made.sector_bearings_deg)
    if not made.name or not all(map(math.isfinite, figures)):
        raise InputError(
            "The spot of this plan has no place, heading, mast stop or bearings to hold a report against.",
            remedy="Name the plan.json that a run has written.",
            file=file,
            field="spots",
        )
    return made


def _moment(value: str, file: str) -> datetime | None:
    if not value:
        return None
    try:
        made = datetime.fromisoformat(value)
    except ValueError:
        made = None
    if made is None or made.tzinfo is None:
        raise InputError("The dispatch time of this plan is broken.", remedy="Run its mission again.", file=file)
    return made


def paired(planned: Sequence[float], built: Sequence[float]) -> tuple[SectorOff, ...]:
    """Each sector as built with a planned one, so that they are off by least in sum; as many as there are of both."""
    if not planned or len(planned) != len(built):
        return ()
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    off = np.abs(wrap_180_deg(np.subtract.outer(np.array(planned), np.array(built))))
    one, other = linear_sum_assignment(off)
    return tuple(SectorOff(planned[i], built[j]) for i, j in zip(one, other, strict=True))


def minutes_between(start: datetime | time | None, end: datetime | time | None, field: str) -> float | None:
    """Minutes from one moment to another, each of the day or whole; None where one is missing.

    Of two times of the day the second is the next such time. Raises InputError where that is more than half a day on,
    or where the end is before the start.
    """
    if start is None or end is None:
        return None
    if isinstance(start, datetime) and isinstance(end, datetime):
        found = (end - start) / timedelta(minutes=1)
        wrong = found < 0
    else:
        found = (_of_day_min(end) - _of_day_min(start)) % (24 * 60)
        wrong = found > HALF_DAY_MIN
    if wrong:
        raise InputError(
            f"This time ({end:%H:%M}) is before the one that comes before it ({start:%H:%M}).",
            remedy="Ask for both again, in the 24 h clock; give days with their offset where a night lies between.",
            field=field,
        )
    return found


def _of_day_min(moment: datetime | time) -> float:
    return moment.hour * 60 + moment.minute + moment.second / 60


def times_off(report: Report, planned: Planned) -> tuple[TimeOff, ...]:
    """What took longer or shorter than planned, of what the report and the plan say. Raises InputError: times that
    go backward."""
    minutes_between(report.arrived_at, report.locked_at, "locked_at")
    minutes_between(report.locked_at, report.on_air_at, "on_air_at")
    out = []
    start: datetime | time | None = planned.dispatch
    if start is not None and isinstance(report.on_air_at, time):
        start = planned.dispatch.time() if planned.dispatch is not None else None
    for what, begun, told in (("on_air", start, planned.on_air), ("set_up", report.arrived_at, planned.set_up)):
        took = minutes_between(begun, report.on_air_at, "on_air_at")
        if took is not None and math.isfinite(told.mean_min):
            out.append(TimeOff("on_air" if what == "on_air" else "set_up", told, took))
    return tuple(out)
