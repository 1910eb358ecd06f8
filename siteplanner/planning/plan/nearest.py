"""Where the nearest ground is that passes every limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from siteplanner.data.grid import Grid


@dataclass(frozen=True)
class NearestPass:
    """The middle of the nearest cell that passes every limit. `bearing_deg` is true, from the point asked about."""

    latitude: float
    longitude: float
    distance_m: float
    bearing_deg: float


def nearest_pass(ruling: Grid, x: float, y: float) -> NearestPass | None:
    """The nearest cell of the search ground that no limit rules out; None: there is none.

    `ruling` as in `Scene.ruling`; x and y in metres of its CRS. Distance in the plane of that CRS.
    """
    rows, cols = np.nonzero(ruling.values == 0)
    if not len(rows):
        return None
    row, col = ruling.rowcol(x, y)
    best = int(np.argmin((rows - float(row)) ** 2 + (cols - float(col)) ** 2))
    px, py = (float(v) for v in ruling.xy(int(rows[best]), int(cols[best])))
    lon, lat = ruling.lonlat(px, py)
    bearing = math.degrees(math.atan2(px - x, py - y)) + ruling.convergence_deg(x, y)
    return NearestPass(float(lat), float(lon), math.hypot(px - x, py - y), bearing % 360)
