"""The descents of the way home: where the drive there climbs, seen from the spot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.roads.routing import Route

LOW_GEAR_PCT = 5.0  # from here on a tow driver takes a low gear before the crest. Common practice, no source
SAME_DESCENT_M = 150.0  # what is gentler for less than this does not end a descent: brakes do not cool on it
LEAST_DROP_M = 8.0  # a dip that loses less needs no word


@dataclass(frozen=True)
class Descent:
    """`crest_m`: from the spot's road to its crest, along the way home. `steepest_pct` and `drop_m` are positive."""

    crest_m: float
    length_m: float
    steepest_pct: float
    drop_m: float


def descents_home(route: Route, least_pct: float = LOW_GEAR_PCT) -> tuple[Descent, ...]:
    """Descents of `least_pct` and more on the same road back, in the order in which they are met.

    Stretches that lie closer than SAME_DESCENT_M are one. Where the grade is not known there is no descent: what is
    not known is told of the drive itself.
    """
    along, z = route.profile_distance_m, route.profile_elevation_m
    step = np.diff(along)
    grade = (route.profile_grade_pct[1:] + route.profile_grade_pct[:-1]) / 2  # climbing on the way there
    steep = np.flatnonzero((step > 0) & (np.nan_to_num(grade) >= least_pct))
    out: list[Descent] = []
    if not len(steep):
        return ()
    breaks = np.flatnonzero(along[steep[1:]] - along[steep[:-1] + 1] > SAME_DESCENT_M) + 1
    for run in np.split(steep, breaks)[::-1]:
        foot, crest = int(run[0]), int(run[-1]) + 1
        drop = float(z[crest] - z[foot])
        if drop >= LEAST_DROP_M:
            whole = float(along[crest] - along[foot])
            out.append(Descent(float(route.distance_m - along[crest]), whole, float(grade[run].max()), drop))
    return tuple(out)
