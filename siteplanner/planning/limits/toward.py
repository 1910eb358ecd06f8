"""Where satellites stand as seen from the ground of a study, and whether they are clear there.

One rule for rasters and for single places: bearings of the beam's rays, the satellite's elevation, the margin over the
highest skyline on these rays, ground beyond the raster included, and what a skyline that is cut short may say
(`core.sky.known_margin_deg`). A raster takes a place's look angles at sea level: a height of 4,000 m turns them by less
than 0.001 degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.far_ground import whole_horizon
from siteplanner.core.geodesy import look_angles
from siteplanner.core.horizon_error import REACH_M, horizon_surveys_deg, typical_error
from siteplanner.core.likely_ground import hidden_forms
from siteplanner.core.sky import known_margin_deg
from siteplanner.data.grid import Grid
from siteplanner.planning.study.inputs import DishView, dish_view

if TYPE_CHECKING:
    from siteplanner.planning.study.beyond import Beyond
    from siteplanner.planning.study.relief import Relief
    from siteplanner.planning.study.spot import Spot
    from siteplanner.planning.study.study import Study

RAYS_APART_DEG = 0.5  # at most, over the whole beam, its sides included
MOST_RAYS = 31


@dataclass(frozen=True, eq=False)
class Toward:
    """One satellite as seen from the cells of a grid."""

    grid: Grid
    satellite_longitude_deg: float
    beam_half_deg: float

    def look(self, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(grid bearing, elevation) at cells, degrees, in the shape of `rows`; the bearing is NaN right below."""
        x, y = self.grid.xy(rows, cols)
        longitude, latitude = self.grid.lonlat(x, y)
        azimuth, elevation, _ = look_angles(latitude, longitude, 0.0, self.satellite_longitude_deg)
        return self.grid.grid_bearing_deg(azimuth, x, y), elevation

    def beam(self, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(grid bearings of the beam's rays along a last axis, elevation) at cells, degrees."""
        bearing, elevation = self.look(rows, cols)
        return beam_bearings_deg(bearing, elevation, self.beam_half_deg), elevation


def beam_side_deg(elevation_deg: ArrayLike, half_deg: float) -> np.ndarray:
    """How far in bearing half a beam reaches to either side: over the cosine of the elevation, at most 180 degrees."""
    with np.errstate(divide="ignore"):
        return np.minimum(half_deg / np.maximum(np.cos(np.radians(elevation_deg)), 1e-9), 180.0)


def beam_bearings_deg(bearing_deg: np.ndarray, elevation_deg: np.ndarray, half_deg: float) -> np.ndarray:
    """The bearings that must be free for a beam toward each bearing and elevation, along a last axis.

    Rays are at most RAYS_APART_DEG apart on the sky. Right below a satellite (bearing NaN) every bearing is as good:
    rays all round stand for it.
    """
    rays = min(2 * math.ceil(half_deg / RAYS_APART_DEG) + 1, MOST_RAYS)
    bearing = np.asarray(bearing_deg, float)[..., None]
    side = beam_side_deg(np.asarray(elevation_deg, float), half_deg)[..., None]
    all_round = np.arange(rays) * 360.0 / rays
    return np.where(np.isnan(bearing), all_round, bearing + np.linspace(-1.0, 1.0, rays) * side)


def horizon_to(
    relief: Relief,
    beyond: Beyond,
    cell: tuple[int, int],
    bearings_deg: np.ndarray,
    height_m: float,
    *,
    bare: bool = False,
) -> tuple[np.ndarray, np.ndarray]:
    """(horizon, how far it is known) along grid bearings from a height above a cell's ground; see `whole_horizon`.

    Over trees and roofs where a surface is given, or `bare` of those the raster holds; over the ground beyond it.
    """
    grid = relief.elevation
    return whole_horizon(
        grid.values,
        grid.cell_size_m,
        *cell,
        bearings_deg,
        height_m,
        ceiling_m=beyond.ceiling_over(relief),
        obstacles_m=None if bare else relief.surface.values,
        known=relief.blocks,
        far=beyond.far,
    )


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
    trees_unknown: np.ndarray  # bool: unknown only because nobody knows what stands on the ground on the way
    bearings_deg: np.ndarray  # grid bearings of the beam's rays, along a last axis

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
    azimuth, elevation, skew = (np.atleast_1d(v) for v in look_angles(*place, slots))
    bearings = beam_bearings_deg(azimuth - convergence_deg, elevation, dish.beam_half_deg)
    horizon, reach, margin = _margin(dish, dish.relief, cell, bearings, elevation)
    trees = np.zeros(len(slots), bool)
    if dish.relief.possible is not None:
        _, _, at_worst = _margin(dish, dish.relief.possible, cell, bearings, elevation)
        trees = (margin >= dish.min_margin_deg) & ~(at_worst >= dish.min_margin_deg)
        margin = np.where(trees, np.nan, margin)
    horizon = np.where(np.isnan(margin), np.nan, horizon)
    low = elevation < dish.min_elevation_deg
    state = np.where(low | (margin < dish.min_margin_deg), "blocked", np.where(np.isnan(margin), "unknown", "clear"))
    return Lines(azimuth, elevation, skew, horizon, margin, reach, state, trees & ~low, bearings)


def _margin(
    dish: DishView, relief: Relief, cell: tuple[int, int], bearings_deg: np.ndarray, elevation_deg: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(highest horizon over each beam, how far it is known, margin) for satellites at these elevations."""
    skyline, known_to = horizon_to(relief, dish.beyond, cell, bearings_deg, dish.dish_height_m)
    horizon, reach = skyline.max(axis=-1), known_to.min(axis=-1)
    eye = float(relief.elevation.values[cell]) + dish.dish_height_m
    return (
        horizon,
        reach,
        known_margin_deg(elevation_deg, horizon, reach, eye, dish.beyond.ceiling_over(relief), dish.min_margin_deg),
    )


def errors_of(dish: DishView, cell: tuple[int, int], seen: Lines, slot: int) -> tuple[float, float]:
    """(horizon, margin): how far each told figure of a slot may be off, one standard deviation, degrees; NaN: unknown.

    By what other surveys of the same ground would tell (`core.horizon_error`): 9 in 10 keep within its 1.645-fold. It
    holds their spread, that of many near heights the highest is told too high, and ridges that wide cells hide.
    """
    relief, told, noise = dish.relief, float(seen.horizon_deg[slot]), dish.noise
    grid = relief.elevation
    hidden = hidden_forms(grid.values, grid.cell_size_m, noise.spacing_m, noise.sigma_m, cell, REACH_M)
    surveys = horizon_surveys_deg(
        relief.surface.values,
        grid.values,
        grid.cell_size_m,
        *cell,
        seen.bearings_deg[slot],
        dish.dish_height_m,
        told,
        noise,
        hidden,
    )
    apart = surveys - told, np.maximum(surveys, 0.0) - max(told, 0.0)
    return typical_error(apart[0]), typical_error(apart[1])


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
    ceiling = study.beyond.ceiling_over(study.relief)
    margins = [
        float(known_margin_deg(elevation, horizon, reach, eye, ceiling, elevation - max(horizon, 0.0)))
        if elevation >= sky.min_elevation_deg
        else math.nan
        for elevation, horizon, reach in zip(seen.elevation_deg, seen.horizon_deg, seen.known_to_m, strict=True)
    ]
    if sky.need == "any":
        return max((m for m in margins if math.isfinite(m)), default=math.nan)
    return min(margins) if all(math.isfinite(m) for m in margins) else math.nan
