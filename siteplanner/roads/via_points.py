"""Places along a drive that keep a device which works out its own way on this one.

A device drives from route point to route point by the way that is shortest for a car. Between two points that lie in
the middle of neighbouring road sections no other way can be shorter: it would have to leave the first section by its
far end and reach the second by its far end, which costs at least as much as the halves between them. So one point in
the middle of each section is enough whatever the car's speeds are, as long as each section has one speed; more are
put where a section is long. A loop that begins and ends at one place needs two: to its middle both ways are alike.
"""

from __future__ import annotations

import math

import numpy as np

from siteplanner.roads.routing import Route

SAME_PLACE_M = 1.0
SPACING_M = 300.0  # a map with other roads than the data has is held to the way this closely


def via_points_m(route: Route, spacing_m: float = SPACING_M) -> np.ndarray:
    """Metres along the drive of its via points, in order: at least one within each road section that is driven.

    With several on one section the first lies before its middle and the last behind it.
    """
    out: list[float] = []
    for begin, end in zip(route.running_m[:-1], route.running_m[1:], strict=True):
        ends = (route.line.interpolate(begin), route.line.interpolate(end))
        least = 2 if ends[0].distance(ends[1]) < SAME_PLACE_M else 1
        count = max(least, math.ceil((end - begin) / spacing_m) - 1)
        if end - begin > 1e-6:
            out += [float(begin + (end - begin) * k / (count + 1)) for k in range(1, count + 1)]
    return np.array(out)
