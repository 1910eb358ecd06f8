"""Roads drawn by hand for the tests."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
from affine import Affine
from pyproj import CRS
from shapely.geometry import LineString, Point

from siteplanner.data.grid import Grid
from siteplanner.mission import Rig, Speeds
from siteplanner.roads.network import RoadNetwork, build_network

UTM = CRS.from_epsg(32610)
NO_SECONDS = (0.0, 0.0, 0.0)
UNSIGNED = dict.fromkeys(("signal_s", "stop_s", "give_way_s", "level_crossing_s"), NO_SECONDS)
STILL = Speeds(turn_s=0, shunt_s=NO_SECONDS, **UNSIGNED)  # times are those of the roads alone
EAST, NORTH = 500_000.0, 5_000_000.0  # on the central meridian: grid north is true north


def road(*points: Sequence[float], **tags: Any) -> dict[str, Any]:
    """One line in metres east and north of the corner of the drawing."""
    return {"geometry": LineString([(EAST + x, NORTH + y) for x, y in points]), "highway": "residential", **tags}


def post(x: float, y: float, **tags: Any) -> dict[str, Any]:
    """One point, such as a barrier."""
    return {"geometry": Point(EAST + x, NORTH + y), **tags}


def layer(*rows: dict[str, Any]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(list(rows), geometry="geometry", crs=UTM)


def network(
    *rows: dict[str, Any],
    elevation: Grid | None = None,
    rig: Rig | None = None,
    speeds: Speeds = STILL,
    **options: Any,
) -> RoadNetwork:
    return build_network(layer(*rows), elevation=elevation, rig=rig or Rig(), speeds=speeds, **options)


def ground(height, size_m: float = 2000.0, cell_m: float = 10.0) -> Grid:
    """Elevation from a function of metres east and north of the corner, 500 m around the drawing."""
    n = int((size_m + 1000) / cell_m)
    grid = Grid(np.zeros((n, n)), Affine(cell_m, 0, EAST - 500, 0, -cell_m, NORTH - 500 + n * cell_m), UTM)
    x, y = grid.xy(*np.mgrid[0:n, 0:n])
    return grid.with_values(np.asarray(height(x - EAST, y - NORTH), float) + np.zeros((n, n)))


FLAT = ground(lambda x, y: 0 * x + 100.0)
