"""Where satellites stand as seen from the ground of a study, and whether they are clear there.

One rule for rasters and for single places: bearings of the beam's rays, the satellite's elevation, the margin over the
highest skyline on these rays, and what a skyline that is cut short may say (`core.sky.known_margin_deg`). A raster
takes a place's look angles at sea level: a height of 4,000 m turns them by less than 0.001 degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.core.geodesy import look_angles
from siteplanner.core.horizon import horizon_reach
from siteplanner.core.sky import known_margin_deg
from siteplanner.data.grid import Grid
from siteplanner.planning.study.inputs import DishView, dish_view

if TYPE_CHECKING:
    from siteplanner.planning.study.spot import Spot
    from siteplanner.planning.study.study import Study

BEAM_HALF_DEG = 1.5  # either side of the bearing that must be free: a small dish's beam; common practice, no source
BEAM_RAYS = 7  # over the whole beam, its sides included


@dataclass(frozen=True, eq=False)
class Toward:
    """One satellite as seen from the cells of a grid."""

    grid: Grid
    satellite_longitude_deg: float

    def look(self, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(grid bearing, elevation) at cells, degrees, in the shape of `rows`; the bearing is NaN right below."""
        x, y = self.grid.xy(rows, cols)
        longitude, latitude = self.grid.lonlat(x, y)
        azimuth, elevation, _ = look_angles(latitude, longitude, 0.0, self.satellite_longitude_deg)
        return self.grid.grid_bearing_deg(azimuth, x, y), elevation

    def beam(self, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(grid bearings of the beam's rays along a last axis, elevation) at cells, degrees."""
        bearing, elevation = self.look(rows, cols)
        return beam_bearings_deg(bearing), elevation


def beam_bearings_deg(bearing_deg: np.ndarray) -> np.ndarray:
    """The bearings that must be free for a beam toward each bearing, along a last axis of BEAM_RAYS.

    Right below a satellite (NaN) every bearing is as good: rays all round stand for it.
    """
    bearing = np.asarray(bearing_deg, float)[..., None]
    all_round = np.arange(BEAM_RAYS) * 360.0 / BEAM_RAYS
    return np.where(np.isnan(bearing), all_round, bearing + np.linspace(-BEAM_HALF_DEG, BEAM_HALF_DEG, BEAM_RAYS))


@dataclass(frozen=True, eq=False)
class Lines:
    """One value a slot. Horizon and margin are NaN where the skyline is not known well enough to tell."""

    azimuth_deg: np.ndarray
    elevation_deg: np.ndarray
    skew_deg: np.ndarray
    horizon_deg: np.ndarray
    margin_deg: np.ndarray
    known_to_m: np.ndarray
    state: np.ndarray  # text: `clear`, `blocked` (too low counts as that) or `unknown`

    @property
    def clear(self) -> np.ndarray:
        """Margin and elevation are at least what the mission asks for."""
        return self.state == "clear"

    @property
    def unknown(self) -> np.ndarray:
        """The elevation ends, or has a gap, before the skyline is certain."""
        return self.state == "unknown"


def look_at(dish: DishView, spot: Spot, cell: tuple[int, int], satellite_longitudes_deg: np.ndarray) -> Lines:
    """Look angles, the highest skyline over the beam's width, and the margin, for slots at these longitudes."""
    # beside a hole the blended height is unknown, the cell's own is not
    above_sea = spot.elevation_m if math.isfinite(spot.elevation_m) else float(dish.relief.elevation.values[cell])
    convergence = dish.relief.elevation.convergence_deg(spot.x, spot.y)
    place = spot.latitude, spot.longitude, above_sea
    return _lines(dish, cell, place, convergence, np.atleast_1d(satellite_longitudes_deg))


def _lines(
    dish: DishView, cell: tuple[int, int], place: tuple[float, float, float], convergence_deg: float, slots: np.ndarray
) -> Lines:
    """`look_at` for a place given as latitude, longitude and height, in a cell."""
    relief, height = dish.relief, dish.dish_height_m
    grid = relief.elevation
    azimuth, elevation, skew = (np.atleast_1d(v) for v in look_angles(*place, slots))
    skyline, known_to = horizon_reach(
        grid.values,
        grid.cell_size_m,
        *cell,
        beam_bearings_deg(azimuth - convergence_deg),
        height,
        obstacles_m=relief.surface.values,
        known=relief.blocks,
    )
    horizon, reach = skyline.max(axis=-1), known_to.min(axis=-1)
    eye = float(grid.values[cell]) + height
    margin = known_margin_deg(elevation, horizon, reach, eye, relief.blocks.ceiling_m, dish.min_margin_deg)
    horizon = np.where(np.isnan(margin), np.nan, horizon)
    low = elevation < dish.min_elevation_deg
    state = np.where(low | (margin < dish.min_margin_deg), "blocked", np.where(np.isnan(margin), "unknown", "clear"))
    return Lines(azimuth, elevation, skew, horizon, margin, reach, state)


def margin_to_allow_deg(study: Study, row: int, col: int) -> float:
    """The largest `sky.min_margin_deg` with which a blocked cell would be clear; NaN where none is known to do.

    Of the best satellite where any will do, of the worst where all must; satellites below `sky.min_elevation_deg` do
    not count. A skyline cut short has to be clear under the smaller margin too.
    """
    grid, sky = study.elevation, study.mission.sky
    x, y = (float(v) for v in grid.xy(row, col))
    longitude, latitude = (float(v) for v in grid.lonlat(x, y))
    ground = float(grid.values[row, col])
    slots = np.array([satellite.longitude_deg for satellite in sky.satellites])
    seen = _lines(dish_view(study), (row, col), (latitude, longitude, ground), grid.convergence_deg(x, y), slots)
    eye = ground + study.mission.trailer.dish_height_m
    margins = [
        float(known_margin_deg(elevation, horizon, reach, eye, study.blocks.ceiling_m, elevation - horizon))
        if elevation >= sky.min_elevation_deg
        else math.nan
        for elevation, horizon, reach in zip(seen.elevation_deg, seen.horizon_deg, seen.known_to_m, strict=True)
    ]
    if sky.need == "any":
        return max((m for m in margins if math.isfinite(m)), default=math.nan)
    return min(margins) if all(math.isfinite(m) for m in margins) else math.nan
