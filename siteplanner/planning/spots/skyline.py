"""The horizon diagram of one spot: skyline all round, the satellite arc over it, and how tall a tree may be.

Bearings are true. The skyline follows the rule of `core.horizon`; where the elevation ends, what is known of it is a
lower bound, and `possible_deg` says how high ground as high as the highest known could stand behind that end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.geodesy import curvature_drop_m, look_angles, visible_arc_deg, wrap_180_deg
from siteplanner.core.horizon import HALF_CURVATURE
from siteplanner.planning.limits.toward import horizon_to

if TYPE_CHECKING:
    from siteplanner.planning.spots.lines import Look
    from siteplanner.planning.study.beyond import Beyond
    from siteplanner.planning.study.inputs import DishView
    from siteplanner.planning.study.relief import Relief
    from siteplanner.planning.study.spot import Spot

BEARINGS_DEG = np.arange(360.0)
ARC_STEP_DEG = 2.0  # between drawn points of the arc, in orbital longitude
TREE_DISTANCES_M = (30.0, 60.0, 100.0)


@dataclass(frozen=True)
class ArcPoint:
    """One orbital longitude of the geostationary arc, above the level horizon."""

    satellite_longitude_deg: float
    azimuth_deg: float
    elevation_deg: float
    state: str  # clear, blocked, unknown


@dataclass(frozen=True)
class TreeLimit:
    """What a crew can check by eye: how tall a thing at this distance toward the satellite may be."""

    satellite_name: str
    azimuth_deg: float
    distance_m: float
    line_m: float  # height above the level of the dish's ground that reaches the line of sight less its margin
    tree_m: float  # the same above the ground at that place; NaN where that is not known, below 0: the ground blocks


@dataclass(frozen=True, eq=False)
class Skyline:
    """One value a degree of true bearing, 0 to 359. `surface_deg` is None without a surface layer."""

    bearings_deg: np.ndarray
    bare_deg: np.ndarray  # NaN where nothing is known
    surface_deg: np.ndarray | None
    known_to_m: np.ndarray  # inf: complete
    possible_deg: np.ndarray  # how high unseen ground could stand; the skyline itself where it is complete
    arc: tuple[ArcPoint, ...]
    trees: tuple[TreeLimit, ...]
    margin_deg: float
    latitude_deg: float
    beam_half_deg: float = 0.0  # of the dish

    @property
    def highest_deg(self) -> np.ndarray:
        """What blocks the view: the surface where one is given, else the bare ground."""
        return self.bare_deg if self.surface_deg is None else self.surface_deg

    @property
    def unknown(self) -> np.ndarray:
        """True per bearing where elevation or surface end before the skyline is certain."""
        trees = self.possible_deg > self.highest_deg + 1e-6
        return np.isfinite(self.known_to_m) | ~np.isfinite(self.highest_deg) | trees

    def state(self, azimuth_deg: float, elevation_deg: float) -> str:
        """clear, blocked or unknown for one direction, by straight lines between the whole degrees."""
        low, possible = (float(_at(v, azimuth_deg)) for v in (self.highest_deg, self.possible_deg))
        if elevation_deg <= low:
            return "blocked"
        return "clear" if elevation_deg > possible else "unknown"


def _at(values: np.ndarray, azimuth_deg: float) -> float:
    """Between whole degrees; unknown beside unknown."""
    below = math.floor(azimuth_deg) % 360
    share = azimuth_deg - math.floor(azimuth_deg)
    left, right = float(values[below]), float(values[(below + 1) % 360])
    return left if share == 0 else left + share * (right - left)


def line_height_m(distance_m: ArrayLike, dish_height_m: float, elevation_deg: float) -> np.ndarray:
    """Height above the level of the dish's ground at which a line of sight passes, metres. Broadcasts.

    Closed form: dish height + d tan(elevation) + the Earth's curve over d (see `core.geodesy.curvature_drop_m`).
    """
    distance = np.asarray(distance_m, float)
    return (dish_height_m + distance * math.tan(math.radians(elevation_deg)) + curvature_drop_m(distance))[()]


def possible_horizon_deg(skyline_deg: np.ndarray, known_to_m: np.ndarray, above_m: float) -> np.ndarray:
    """The highest that the horizon could be: ground `above_m` above the eye right where knowledge ends.

    Where the horizon is complete, or even such ground would not show, it is the horizon itself.
    """
    ends = np.isfinite(known_to_m)
    # seen from above, such ground stands highest at the distance of its own horizon
    own_horizon_m = math.sqrt(max(-above_m, 0.0) / HALF_CURVATURE)
    distance = np.maximum(np.where(ends, known_to_m, 1.0), own_horizon_m)
    with np.errstate(divide="ignore"):
        tangent = np.where(distance > 0, above_m / distance, np.inf) - distance * HALF_CURVATURE
    return np.where(ends, np.fmax(skyline_deg, np.degrees(np.arctan(tangent))), skyline_deg)


def highest_possible_deg(
    relief: Relief,
    beyond: Beyond,
    cell: tuple[int, int],
    bearings_deg: np.ndarray,
    height_m: float,
    horizon_deg: np.ndarray,
    known_to_m: np.ndarray,
) -> np.ndarray:
    """How high the horizon along each bearing could be: ground at the ceiling where the elevation ends, the tallest
    trees where nobody knows what stands on the ground.
    """
    above = beyond.ceiling_over(relief) - float(relief.elevation.values[cell]) - height_m
    possible = possible_horizon_deg(horizon_deg, known_to_m, above)
    if relief.possible is None:
        return possible
    wooded, reach = horizon_to(relief.possible, beyond, cell, bearings_deg, height_m)
    return np.fmax(possible, possible_horizon_deg(wooded, reach, above))


def arc_longitudes(latitude_deg: float, longitude_deg: float) -> np.ndarray:
    """Orbital longitudes above the level horizon, whole multiples of the step and both ends; empty near a pole."""
    west, east = (float(v) for v in visible_arc_deg(latitude_deg, longitude_deg, 0.0))
    if not (math.isfinite(west) and math.isfinite(east)):
        return np.empty(0)
    span = (east - west) % 360
    first = math.ceil(west / ARC_STEP_DEG) * ARC_STEP_DEG
    inner = np.arange(first, west + span, ARC_STEP_DEG)
    return np.asarray(wrap_180_deg(np.unique(np.round(np.concatenate(([west], inner, [west + span])), 9))))


def skyline(dish: DishView, spot: Spot, looks: tuple[Look, ...]) -> Skyline | None:
    """The diagram's figures for one spot; None outside the elevation."""
    relief, grid = dish.relief, dish.relief.elevation
    cell = spot.cell
    if cell is None or not np.isfinite(grid.values[cell]):
        return None
    height = dish.dish_height_m
    bearings = grid.grid_bearing_deg(BEARINGS_DEG, spot.x, spot.y)
    bare, known_to = horizon_to(relief, dish.beyond, cell, bearings, height, bare=True)
    surface = None
    if relief.obstacles is not None:
        surface, known_to = horizon_to(relief, dish.beyond, cell, bearings, height)
    highest = bare if surface is None else surface
    possible = highest_possible_deg(relief, dish.beyond, cell, bearings, height, highest, known_to)
    bare_figure = Skyline(BEARINGS_DEG, bare, surface, known_to, possible, (), (), dish.min_margin_deg, spot.latitude)
    return Skyline(
        BEARINGS_DEG,
        bare,
        surface,
        known_to,
        possible,
        _arc(bare_figure, spot),
        _trees(dish, spot, looks),
        dish.min_margin_deg,
        spot.latitude,
        dish.beam_half_deg,
    )


def _arc(figure: Skyline, spot: Spot) -> tuple[ArcPoint, ...]:
    longitudes = arc_longitudes(spot.latitude, spot.longitude)
    azimuths, elevations, _ = look_angles(spot.latitude, spot.longitude, spot.elevation_m, longitudes)
    return tuple(
        ArcPoint(float(longitude), float(a), float(e), figure.state(float(a), float(e)))
        for longitude, a, e in zip(longitudes, np.atleast_1d(azimuths), np.atleast_1d(elevations), strict=True)
        if math.isfinite(a)
    )


def _trees(dish: DishView, spot: Spot, looks: tuple[Look, ...]) -> tuple[TreeLimit, ...]:
    grid = dish.relief.elevation
    ground = float(grid.sample(spot.x, spot.y))
    distance = np.array(TREE_DISTANCES_M)
    out = []
    for look in looks:
        limit = look.elevation_deg - dish.min_margin_deg
        if limit <= 0 or not math.isfinite(look.azimuth_deg):
            continue
        line = line_height_m(distance, dish.dish_height_m, limit)
        bearing = math.radians(grid.grid_bearing_deg(look.azimuth_deg, spot.x, spot.y))
        there = grid.sample(spot.x + distance * math.sin(bearing), spot.y + distance * math.cos(bearing))
        out += [
            TreeLimit(look.satellite_name, look.azimuth_deg, float(d), float(h), float(ground + h - z))
            for d, h, z in zip(distance, line, there, strict=True)
        ]
    return tuple(out)
