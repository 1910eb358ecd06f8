"""How much of a drive climbs and falls how steeply: its length in bands of grade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from siteplanner.roads.routing import Route

EDGES_PCT = (0.0, 5.0, 8.0, 12.0)  # bands a tow driver picks gears by. Common practice, no source
Way = Literal["up", "down", "unknown"]


@dataclass(frozen=True)
class GradeBand:
    """Metres of a drive whose grade lies from `from_pct` up to `to_pct` (infinite: and steeper)."""

    way: Way
    from_pct: float
    to_pct: float
    length_m: float

    @property
    def label(self) -> str:
        if self.way == "unknown":
            return "not known"
        if np.isinf(self.to_pct):
            return f"{self.way}, above {self.from_pct:g} %"
        return (
            f"{self.way}, {self.from_pct:g} to {self.to_pct:g} %"
            if self.from_pct
            else f"{self.way}, below {self.to_pct:g} %"
        )


def grade_bands(route: Route) -> tuple[GradeBand, ...]:
    """Climbs from gentle to steep, then descents, then what is not known; the lengths add up to the drive's.

    The grade between two samples of the profile is the mean of theirs; level counts as up.
    """
    step = np.diff(route.profile_distance_m)
    grade = (route.profile_grade_pct[1:] + route.profile_grade_pct[:-1]) / 2
    known = np.isfinite(grade)
    out = []
    size = np.abs(grade)
    ways: tuple[Way, ...] = ("up", "down")
    for way in ways:
        mine = known & ((grade >= 0) if way == "up" else (grade < 0))
        for low, high in zip(EDGES_PCT, (*EDGES_PCT[1:], np.inf), strict=True):
            metres = step[mine & (size >= low) & (size < high)].sum()
            out.append(GradeBand(way, low, float(high), float(metres)))
    return (*out, GradeBand("unknown", float("nan"), float("nan"), float(step[~known].sum())))
