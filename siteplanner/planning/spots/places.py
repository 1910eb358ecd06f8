"""How far each of many places stands from what is drawn as a hazard or as water."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from siteplanner.planning.study.spot import Spot

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


@dataclass(frozen=True)
class Nearby:
    """Metres in the plan from a place to the nearest hazard area and mapped water; 0: in it, NaN: none is drawn."""

    hazard_m: float
    water_m: float


def near_places(spots: Sequence[Spot], hazards: GeoDataFrame | None, water: GeoDataFrame | None) -> list[Nearby]:
    """The nearest of each layer for every spot."""
    points = shapely.points([(spot.x, spot.y) for spot in spots]) if spots else np.empty(0, object)
    pairs = zip(_nearest_m(points, hazards), _nearest_m(points, water), strict=True)
    return [Nearby(float(hazard), float(body)) for hazard, body in pairs]


def _nearest_m(points: np.ndarray, layer: GeoDataFrame | None) -> np.ndarray:
    if layer is None or not len(layer) or not len(points):
        return np.full(len(points), math.nan)
    (own, _), distance = layer.sindex.nearest(points, return_all=False, return_distance=True)
    out = np.full(len(points), math.nan)
    out[own] = distance
    return out
