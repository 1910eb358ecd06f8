"""Every figure by which judged spots are compared, in one place, and which spot another one beats in everything.

A figure counts in steps: a difference smaller than its step is no difference to anybody who stands there (a chance of
service of 71 % or 71.4 %). One spot beats another in everything when it is at least as good in every figure, in steps,
and better in one. Where a figure is known of only one of the two, nobody can say which is better: neither beats the
other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from siteplanner.mission import Mission
from siteplanner.mission.criteria import CRITERIA
from siteplanner.planning.spots.evaluation import Access, Evaluation
from siteplanner.planning.spots.lifelines import is_bridge
from siteplanner.planning.spots.places import Nearby
from siteplanner.roads.lifeline import Thread
from siteplanner.roads.network import RoadNetwork

FAR_M = 500.0  # a hazard or water farther away than this is no closer to anybody; common practice, no source
HIGH_M = 20.0  # the same of the height above the channel

Kind = Literal["share", "people", "chance", "minutes", "metres", "count", "degrees", "percent", "utility"]


@dataclass(frozen=True)
class Figure:
    """What is compared: `name` for machines, `about` the polygon or named point that it is of ('' for none)."""

    name: str
    kind: Kind
    more_is_better: bool
    step: float
    about: str = ""


@dataclass(frozen=True)
class Hanging:
    """What a spot hangs on, in figures: road whose loss cuts it off from staging, of a drive so long, and of the way
    out. `ways_in`, `ways_out`: 2 where no single loss does, 0 none; None: not known."""

    cut_m: float
    drive_m: float
    bridges: int
    ways_in: int | None
    out_cut_m: float
    ways_out: int | None


@dataclass(frozen=True, eq=False)
class Compared:
    """The figures of all judged spots: `values` is (spots, figures), NaN where not known."""

    figures: tuple[Figure, ...]
    values: np.ndarray

    def better(self, one: int, other: int) -> np.ndarray:
        """By figure: 1 where one spot is better than the other, -1 worse, 0 no difference that counts, NaN unknown."""
        with np.errstate(invalid="ignore"):  # two that are cut off altogether are alike
            return np.where(self.steps[one] == self.steps[other], 0.0, np.sign(self.steps[one] - self.steps[other]))

    def of(self, rows: np.ndarray) -> Compared:
        """The same of some spots, in this order."""
        return Compared(self.figures, self.values[rows])

    @cached_property
    def steps(self) -> np.ndarray:
        """Values in whole steps, more is better."""
        step = np.array([f.step for f in self.figures])
        sign = np.array([1.0 if f.more_is_better else -1.0 for f in self.figures])
        return np.round(self.values / step + 0.0) * sign

    @cached_property
    def signed(self) -> np.ndarray:
        """Values as they are, more is better."""
        return self.values * np.array([1.0 if f.more_is_better else -1.0 for f in self.figures])


def hanging(access: Access | None, network: RoadNetwork) -> Hanging | None:
    """What a spot hangs on; None where it was not worked out."""
    line = None if access is None else access.lifeline
    if access is None or line is None:
        return None
    return Hanging(
        _cut_m(line.staging),
        access.drive_distance_m,
        len({s.segment for s in line.staging.stretches if is_bridge(network, s.segment)}),
        line.staging.ways,
        math.nan if line.outside is None else _cut_m(line.outside),
        access.ways_out,
    )


def _cut_m(thread: Thread) -> float:
    """Road whose loss parts a place from its goal; all of it where they do not hang together at all."""
    return math.inf if thread.ways == 0 else thread.length_m


def compared(spots: Sequence[Evaluation], mission: Mission, network: RoadNetwork, nearby: Sequence[Nearby]) -> Compared:
    """The figures of judged spots, each a row. `nearby`: of each spot, what lies near it."""
    first = spots[0] if spots else None
    figures = (*_service_figures(first), *PLACE_FIGURES)
    rows = [
        [*_service_values(e, len(figures) - len(PLACE_FIGURES)), *_place_values(e, mission, network, near)]
        for e, near in zip(spots, nearby, strict=True)
    ]
    return Compared(figures, np.array(rows, float).reshape(len(rows), len(figures)))


def _service_figures(e: Evaluation | None) -> tuple[Figure, ...]:
    if e is None or e.coverage is None:
        return ()
    service = e.coverage.service
    out = [Figure("share", "share", True, 0.01)]
    if service is not None:
        if service.people is not None:
            out.append(Figure("people", "people", True, max(1.0, service.people / 100)))
        if len(service.polygons) > 1:
            out += [Figure("polygon", "share", True, 0.01, p.name) for p in service.polygons]
    return (*out, *(Figure("point", "chance", True, 0.01, p.name) for p in e.coverage.must_serve))


def _service_values(e: Evaluation, count: int) -> list[float]:
    if e.coverage is None or not count:
        return [math.nan] * count
    service = e.coverage.service
    out = [e.coverage.share]
    if service is not None:
        if service.people is not None:
            out.append(math.nan if service.people_served is None else service.people_served)
        if len(service.polygons) > 1:
            out += [p.share for p in service.polygons]
    return [*out, *(p.probability for p in e.coverage.must_serve)]


PLACE_FIGURES = (
    Figure("on_air", "minutes", False, 1.0),
    Figure("drive", "minutes", False, 1.0),
    Figure("way_in_cut", "metres", False, 100.0),
    Figure("way_in_bridges", "count", False, 1.0),
    Figure("ways_out", "count", True, 1.0),
    Figure("steepest", "percent", False, 1.0),
    Figure("last_leg", "metres", False, 10.0),
    Figure("hazard", "metres", True, 10.0),
    Figure("water", "metres", True, 10.0),
    Figure("above_channel", "metres", True, 1.0),
    Figure("backhaul", "utility", True, 0.05),
    Figure("slope", "degrees", False, 0.5),
)
"""What is compared beside the service, in this order."""


def _place_values(e: Evaluation, mission: Mission, network: RoadNetwork, near: Nearby) -> list[float]:
    access = e.access
    hangs = hanging(access, network)
    carried = CRITERIA["backhaul"].measure(e, mission)
    return [
        math.nan if e.on_air is None else e.on_air.mean_min,
        math.nan if access is None else access.drive_time_s / 60,
        math.nan if hangs is None else hangs.cut_m,
        math.nan if hangs is None else hangs.bridges,
        math.nan if hangs is None or hangs.ways_out is None else hangs.ways_out,
        math.nan if access is None else abs(access.worst_grade_pct),
        math.nan if access is None else access.last_leg_m,
        min(near.hazard_m, FAR_M),
        min(near.water_m, FAR_M),
        min(e.ground.above_drainage_m, HIGH_M) if math.isfinite(e.ground.above_drainage_m) else math.nan,
        math.nan if carried is None else carried.utility,
        e.ground.slope_deg,
    ]


def beaten_by(found: Compared, row: int) -> np.ndarray:
    """Which spots beat this one in everything, bool a spot.

    Where two are alike in every step, the figures as they are decide.
    """
    steps, signed = found.steps, found.signed
    known = ~np.isnan(found.values)
    alike_known = (known == known[row]).all(1)  # a figure known of one of them only decides nothing
    ahead, behind = steps > steps[row], steps < steps[row]
    ahead_raw, behind_raw = signed > signed[row], signed < signed[row]
    clear = ~behind.any(1) & ahead.any(1)
    close = ~behind.any(1) & ~ahead.any(1) & ~behind_raw.any(1) & ahead_raw.any(1)
    return alike_known & (clear | close)
