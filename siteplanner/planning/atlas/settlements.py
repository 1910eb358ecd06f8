"""What no single mission shows: for each settlement the place that serves it best, and ground that no place serves."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from shapely.geometry.base import BaseGeometry

from siteplanner.core.coverage import directions_over
from siteplanner.core.handset_place import spread_db
from siteplanner.core.link import service_probability
from siteplanner.data.burn import burn
from siteplanner.data.grid import WGS84, Grid
from siteplanner.data.margins import read_margins
from siteplanner.data.vectors import read_layer
from siteplanner.mission.links import link_parameters, sector_pattern
from siteplanner.mission.region import Region
from siteplanner.planning.atlas.folder import MARGINS, tile_folder
from siteplanner.planning.atlas.ground import RegionGround
from siteplanner.planning.atlas.lattice import Lattice
from siteplanner.planning.atlas.place import KnownPlace, access_to
from siteplanner.planning.atlas.served import cut
from siteplanner.planning.atlas.table import places_in
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.study.must_serve import point_names

AS_GOOD = 0.01  # chances that differ by less are alike: the place with the shorter drive goes first. Common practice


@dataclass(frozen=True)
class Town:
    """A settlement, in metres of the atlas's CRS and in degrees."""

    name: str
    x: float
    y: float
    latitude: float
    longitude: float


@dataclass(frozen=True)
class Settlement:
    """A settlement and the place that serves it best with a sector aimed at it; `place` None: none is in reach."""

    town: Town
    place: KnownPlace | None
    chance: float  # of service at its point; 0 without a place
    mast_height_m: float
    bearing_deg: float  # true, of the sector
    distance_m: float
    drive_s: float  # from the staging point whose rig is there first; NaN: no way

    @property
    def served(self) -> bool:
        """Whether service is as likely as not."""
        return self.chance >= SERVED


@dataclass(frozen=True, eq=False)
class RegionService:
    """`chance`: of service on each cell of the lattice from the best of all places with a sector aimed at it; NaN
    outside the region and where no path is known. `share`: of the region's ground that some place serves."""

    chance: Grid
    settlements: tuple[Settlement, ...]
    share: float
    places: int
    outline: BaseGeometry  # of the region


def read_towns(region: Region, ground: RegionGround) -> tuple[Town, ...]:
    """The settlements of the region's file. Raises InputError for a layer that cannot be read."""
    towns = []
    for path in region.settlements:
        layer = read_layer(path, "settlements", target_crs=ground.lattice.crs, kinds={"point"})
        degrees = layer.frame.to_crs(WGS84)
        towns += [
            Town(name, at.x, at.y, there.y, there.x)
            for name, at, there in zip(point_names(layer.frame), layer.frame.geometry, degrees.geometry, strict=True)
        ]
    return tuple(towns)


def region_service(
    ground: RegionGround, atlas: Path, tiles: list[str], towns: tuple[Town, ...], tick: Callable[[float], None]
) -> RegionService:
    """Go through all places once. Raises InputError for a raster that cannot be read."""
    lattice = ground.lattice
    rows, cols, whole = _over(ground.place.whole_area, lattice)
    heights = cut(ground.heights, lattice, rows, cols)
    best = np.full(heights.shape, np.nan, np.float32)
    of_towns: list[list[tuple[float, float, KnownPlace]]] = [[] for _ in towns]
    places = list(places_in(atlas, tiles))
    for number, (tile, place) in enumerate(places):
        tick(number / len(places))
        r, c = _reach(place, ground, rows, cols)
        path = tile_folder(atlas, tile) / MARGINS / f"{place.name}.tif"
        chance, stop = _chances(place, ground, path, r, c)
        part = best[r.start - rows.start : r.stop - rows.start, c.start - cols.start : c.stop - cols.start]
        part[:] = np.fmax(part, chance)
        for town, found in zip(towns, of_towns, strict=True):
            at = math.floor(-town.y / lattice.size_m) - r.start, math.floor(town.x / lattice.size_m) - c.start
            if 0 <= at[0] < len(r) and 0 <= at[1] < len(c) and np.isfinite(chance[at]):
                found.append(
                    (min(float(chance[at]), ground.mission.radio.most_certain_at_point), float(stop[at]), place)
                )
    best[~whole] = np.nan
    inside = whole & np.isfinite(heights.values)
    share = float((best[inside] >= SERVED).mean()) if inside.any() else 0.0
    made = tuple(_settlement(town, found, ground) for town, found in zip(towns, of_towns, strict=True))
    return RegionService(lattice.grid(rows, cols, best), made, share, len(places), ground.place.whole_area)


def _over(shape: BaseGeometry, lattice: Lattice) -> tuple[range, range, np.ndarray]:
    west, south, east, north = shape.bounds
    size = lattice.size_m
    rows = range(math.floor(-north / size), math.floor(-south / size) + 1)
    cols = range(math.floor(west / size), math.floor(east / size) + 1)
    return rows, cols, burn([shape], lattice.grid(rows, cols))


def _reach(place: KnownPlace, ground: RegionGround, rows: range, cols: range) -> tuple[range, range]:
    """The lattice's cells within a place's radius and the region."""
    reach = ground.mission.radio.max_radius_m / ground.lattice.cell_m
    row, col = place.cell
    r, c = ground.lattice.within(row - reach, col - reach, row + reach, col + reach)
    return (
        range(min(max(r.start, rows.start), rows.stop), max(min(r.stop, rows.stop), rows.start)),
        range(min(max(c.start, cols.start), cols.stop), max(min(c.stop, cols.stop), cols.start)),
    )


def _chances(
    place: KnownPlace, ground: RegionGround, margins: Path, rows: range, cols: range
) -> tuple[np.ndarray, np.ndarray]:
    """(chance of service with a sector aimed at the cell, the mast stop that gives it), NaN beyond the radius."""
    lattice, radio = ground.lattice, ground.mission.radio
    params, pattern = link_parameters(radio), sector_pattern(radio)
    stops = np.array(ground.mission.trailer.mast_stops_m)
    held = read_margins(margins, rows, cols, lattice.size_m, lattice.crs)
    heights = cut(ground.heights, lattice, rows, cols)
    row, col = place.cell
    down, right = ((lattice.middle(np.array(numbers)) - own) for numbers, own in ((rows, row), (cols, col)))
    down, right = (v.ravel() for v in np.meshgrid(down, right, indexing="ij"))
    distance, _, angle = directions_over(
        down, right, heights.values.ravel(), place.evaluation.spot.elevation_m, lattice.cell_m, stops,
        radio.handset_height_m,
    )  # fmt: skip
    margin = held.reshape(len(stops), -1) + pattern.gain_db(0.0, angle)
    margin[:, distance > radio.max_radius_m] = np.nan
    chance = service_probability(margin, spread_db(radio.sigma_db, params.entry))
    known = np.where(np.isnan(chance), -1.0, chance)
    at = known.argmax(axis=0)
    top = known.max(axis=0)
    shape = len(rows), len(cols)
    return np.where(top < 0, np.nan, top).reshape(shape).astype(np.float32), stops[at].reshape(shape)


def _settlement(town: Town, found: list[tuple[float, float, KnownPlace]], ground: RegionGround) -> Settlement:
    nan = math.nan
    if not found:
        return Settlement(town, None, 0.0, nan, nan, nan, nan)
    level = [one for one in found if not stands_back(one[2].evaluation)]
    if any(chance >= SERVED for chance, _, _ in level):
        found = level  # a trailer is sent where it is likely too steep only for a town that nothing else serves
    most = max(chance for chance, _, _ in found)
    near = [one for one in found if one[0] > most - AS_GOOD]
    driven = [(_drive_s(one[2], ground), -one[0], one[2].cell, one) for one in near]
    drive, _, _, (chance, stop, place) = min(driven, key=lambda d: d[:3])
    spot = place.evaluation.spot
    away, north = town.x - spot.x, town.y - spot.y
    bearing = math.degrees(math.atan2(away, north)) + ground.heights.convergence_deg(spot.x, spot.y)
    drive = drive if math.isfinite(drive) else nan
    return Settlement(town, place, chance, stop, bearing % 360, math.hypot(away, north), drive)


def _drive_s(place: KnownPlace, ground: RegionGround) -> float:
    rig = ground.mission.rig
    access = access_to(
        place, ground.lattice, ground.drives.network, ground.drives.trees,
        tuple(s.name for s in ground.mission.starts), rig.last_leg_speed_kmh, rig.max_grade_pct,
    )  # fmt: skip
    return math.inf if access is None else access.drive_time_s
