"""How steep a drive is and where: its stretches, and its length, in bands of grade. The rig's limit is an edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from siteplanner.roads.routing import Route

GEAR_EDGES_PCT = (0.0, 5.0, 8.0, 12.0)  # bands a tow driver picks gears by. Common practice, no source
Way = Literal["up", "down", "unknown"]


@dataclass(frozen=True)
class GradeBand:
    """Metres of a drive whose grade lies from `from_pct` up to `to_pct` (infinite: and steeper)."""

    way: Way
    from_pct: float
    to_pct: float
    length_m: float


@dataclass(frozen=True)
class GradeStretch:
    """A stretch of a drive in one band: `band` counts from 0, the gentlest, to the one above the rig's limit.

    `worst_pct` is its steepest grade, climbing positive.
    """

    start_m: float
    end_m: float
    band: int
    worst_pct: float


def edges_pct(max_grade_pct: float) -> tuple[float, ...]:
    """Lower edges of the bands: those of the gears below the rig's limit, and the limit."""
    return (*(edge for edge in GEAR_EDGES_PCT if edge < max_grade_pct), max_grade_pct)


def _steps(route: Route, max_grade_pct: float) -> tuple[np.ndarray, np.ndarray]:
    """(grade of each step of the profile, its band; -1 where it is not known). A grade of the limit is not above it.

    The grade between two samples of the profile is the mean of theirs.
    """
    grade = (route.profile_grade_pct[1:] + route.profile_grade_pct[:-1]) / 2
    *gears, limit = edges_pct(max_grade_pct)
    size = np.abs(np.nan_to_num(grade))
    band = np.searchsorted(gears, size, side="right") - 1 + (size > limit + 1e-9)
    return grade, np.where(np.isfinite(grade), band, -1)


def grade_bands(route: Route, max_grade_pct: float) -> tuple[GradeBand, ...]:
    """Climbs from gentle to steep, then descents, then what is not known; the lengths add up to the drive's.

    Level counts as up. `max_grade_pct`: the rig's limit.
    """
    step = np.diff(route.profile_distance_m)
    grade, band = _steps(route, max_grade_pct)
    edges = edges_pct(max_grade_pct)
    out = []
    ways: tuple[Way, ...] = ("up", "down")
    for way in ways:
        with np.errstate(invalid="ignore"):
            mine = (grade >= 0) if way == "up" else (grade < 0)
        for number, (low, high) in enumerate(zip(edges, (*edges[1:], float("inf")), strict=True)):
            out.append(GradeBand(way, low, high, float(step[mine & (band == number)].sum())))
    return (*out, GradeBand("unknown", float("nan"), float("nan"), float(step[band < 0].sum())))


def grade_stretches(route: Route, max_grade_pct: float) -> tuple[GradeStretch, ...]:
    """The same bands along the drive, in driving order; climbs and descents apart but for the gentlest band. Where
    the grade is not known there is a gap.
    """
    grade, band = _steps(route, max_grade_pct)
    if not len(band):
        return ()
    along = route.profile_distance_m
    with np.errstate(invalid="ignore"):
        key = np.where(band > 0, 2 * band + (grade > 0), 2 * band)
    # steps of no length lie between two segments
    held = np.flatnonzero(np.diff(along) > 0)
    out = []
    for run in np.split(held, np.flatnonzero(np.diff(key[held])) + 1):
        if len(run) and band[run[0]] >= 0:
            worst = grade[run][np.argmax(np.abs(grade[run]))]
            out.append(GradeStretch(float(along[run[0]]), float(along[run[-1] + 1]), int(band[run[0]]), float(worst)))
    return tuple(out)
