"""Points of a road layer that is no OpenStreetMap extract: gates, bollards, limits drawn beside or on the lines.

In an extract a barrier is a node of its way. Elsewhere it is a point that somebody set by eye, so it is led to the
nearest line within reach; one that no line comes near is told, for what it says of a road is not known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from siteplanner.data.road_keys import POINT_KEYS
from siteplanner.errors import Finding
from siteplanner.roads.cells import is_set

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

REACH_M = 5.0  # set by eye on a line of the same map. Common practice, no source


def points_onto_lines(roads: GeoDataFrame, file: str) -> tuple[GeoDataFrame, list[Finding]]:
    """The road table with its points on its lines; points that say nothing of a road are left out.

    `roads`: lines and points in a CRS of metres. Finding `road_points_apart`: points with a limit or a barrier that
    lie farther than `REACH_M` from every line.
    """
    shapes = np.asarray(roads.geometry.array, object)
    if not np.isin(shapely.get_type_id(shapes), (0, 4)).any():
        return roads, []
    roads = roads.explode(ignore_index=True)
    shapes = np.asarray(roads.geometry.array, object)
    point = shapely.get_type_id(shapes) == 0
    named = {str(c).strip().lower(): c for c in roads.columns}
    says = np.zeros(len(roads), bool)
    for key in POINT_KEYS:
        if key in named:
            says |= np.array([is_set(value) for value in roads[named[key]]], bool)
    lines = shapes[~point]
    speaking = np.flatnonzero(point & says)
    if not len(speaking) or not len(lines):
        return roads[~point].reset_index(drop=True), []
    hit, line = shapely.STRtree(lines).query_nearest(shapes[speaking], max_distance=REACH_M, all_matches=False)
    on = lines[line]
    at = shapely.line_interpolate_point(on, shapely.line_locate_point(on, shapes[speaking[hit]]))
    moved = shapes.copy()
    moved[speaking[hit]] = at
    keep = ~point
    keep[speaking[hit]] = True
    apart = len(speaking) - len(hit)
    roads = roads.set_geometry(moved, crs=roads.crs)[keep].reset_index(drop=True)
    facts = {"count": apart, "reach_m": REACH_M}
    return roads, [Finding("road_points_apart", "check", file=file, facts=facts)] if apart else []
