"""The ground beyond the plan's own raster, as far as a ridge of it could stand in a line of sight to the sky.

How far that is: a line that rises at the least angle asked for passes the highest ground of the elevation files after
(highest ground - lowest ground) / tan(angle), a little less for the Earth's curve. Out to there the files are read
again, coarsely, each cell its highest ground. Beyond the files no ground higher than a stated ceiling is assumed, and
a line that leaves them below it is not known to be clear.

Trees beyond the plan's raster (2.5 km and more from the search ground) are in it where the surface files reach; where
they do not, a tree of 60 m there takes at most 1.4 degrees, less than the margin asked for by default.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from siteplanner.core.far_ground import FarGround
from siteplanner.core.sky_bounds import reach_m
from siteplanner.data.far_heights import Highest, coarse_grid, highest_of, read_highest
from siteplanner.data.geometry import Box, boxes_meet
from siteplanner.data.grid import Grid
from siteplanner.data.height_units import HIGHEST_M, unit_of
from siteplanner.data.raster_source import extent_of, open_raster
from siteplanner.data.rasters import record_of
from siteplanner.data.records import InputRecord
from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.planning.study.relief import Relief
from siteplanner.planning.study.reuse import Reuse

CeilingFrom = Literal["elevation_files", "mission"]

FLAT_LINE_DEG = 1.0  # a line of sight less its margin must still rise
MOST_CELLS = 2_000_000  # of the far ground: 16 m cells over 20 km, 70 m over 100 km
_RIM = 3  # far cells within the plan's raster, so that a line that leaves it finds the cell it leaves in


@dataclass(frozen=True, eq=False)
class Beyond:
    """What is known of the ground beyond the plan's raster, and what is assumed where nothing is.

    `far` None: the files hold nothing more that matters. `ceiling_m`: no higher ground is assumed where none is known.
    `records`: the files that `far` was read from.
    """

    far: FarGround | None
    ceiling_m: float
    ceiling_from: CeilingFrom
    records: tuple[InputRecord, ...] = ()

    def ceiling_over(self, relief: Relief) -> float:
        """The ceiling, not below what stands on the ground of a relief."""
        return max(self.ceiling_m, relief.blocks.ceiling_m)


def least_line_deg(mission: Mission) -> float:
    """The lowest line of sight to the sky that a mission asks about, less its margin, degrees."""
    lines = []
    for kind in mission.backhaul.wanted:
        if kind == "geostationary":
            lines.append(mission.sky.min_elevation_deg - mission.sky.min_margin_deg)
        elif kind == "open_sky":
            lines.append(mission.backhaul.open_sky.min_elevation_deg)
    return max(min(lines, default=90.0), FLAT_LINE_DEG)


def read_beyond(mission: Mission, relief: Relief, margin_m: float, reuse: Reuse) -> Beyond:
    """The ground beyond the plan's raster, which reaches `margin_m` beyond every place that is searched.

    Raises InputError for a file that cannot be used, and for a stated ceiling below ground that the files hold.
    """
    grid, layers = relief.elevation, mission.layers
    known = relief.blocks.ceiling_m
    if not math.isfinite(known):
        return Beyond(None, 0.0, "elevation_files")  # no ground, no line of sight
    files_of = (("elevation", layers.elevation), ("surface", layers.surface))
    paths = {role: [mission.path(p) for p in files] for role, files in files_of}
    lowest, line = float(np.nanmin(grid.values)), math.radians(least_line_deg(mission))
    around = _lonlat_box(grid, max(reach_m(HIGHEST_M - lowest, math.tan(line)) - margin_m, 0.0))
    paths = {role: [f for f in files if boxes_meet(extent_of(f), around)] for role, files in paths.items()}
    tops = [
        reuse.call("highest_ground", highest_of, files, around, layers.elevation_unit, grid.crs)
        for files in paths.values()
        if files
    ]
    found = max((top for top in tops if math.isfinite(top.height_m)), key=lambda t: t.height_m, default=None)
    ceiling = max(known, found.height_m if found is not None else known)
    stated = layers.highest_ground_m
    if stated is not None:
        _check_stated(stated, ceiling, found)
        ceiling = stated
    reach = reach_m(ceiling - lowest, math.tan(line)) - margin_m
    origin: CeilingFrom = "elevation_files" if stated is None else "mission"
    held = reuse.call("far_extent", held_beyond, grid, paths, layers.elevation_unit, reach)
    if held is None:
        return Beyond(None, ceiling, origin)
    return Beyond(_far_ground(grid, paths, layers.elevation_unit, held.bounds, reuse), ceiling, origin, held.records)


def _check_stated(stated_m: float, ceiling_m: float, found: Highest | None) -> None:
    if stated_m < ceiling_m:
        holds = "" if found is None else f" ({found.file})"
        raise InputError(
            f"The highest ground of the region is stated as {stated_m:g} m; the layers have {ceiling_m:.1f} m{holds}.",
            remedy="State a height at or above it, or leave the field out: the files' own highest ground counts then.",
            field="layers.highest_ground_m",
        )


def _far_ground(grid: Grid, paths: dict[str, list[Path]], unit: str, held: Box, reuse: Reuse) -> FarGround:
    """Ground of all files, with what stands on it where a surface says so, on large cells over bounds in metres."""
    west, south, east, north = held
    cell = grid.cell_size_m
    cell *= max(1, math.ceil(math.sqrt((east - west) * (north - south) / MOST_CELLS) / cell))
    like = coarse_grid(held, cell, grid.crs)
    inside = _inside(grid, like)
    parts = [reuse.call("far_ground", read_highest, files, like, unit, inside) for files in paths.values() if files]
    highest = parts[0] if len(parts) == 1 else np.where(np.isnan(parts[0]), parts[0], np.fmax(*parts))
    x, y = (float(v) for v in grid.xy(0, 0))
    row, col = like.rowcol(x, y)
    return FarGround(highest, cell, float(row) + 0.5, float(col) + 0.5)


@dataclass(frozen=True)
class Held:
    """Bounds in metres of what files hold around a grid, the grid included, and the files that hold it."""

    bounds: Box
    records: tuple[InputRecord, ...]


def held_beyond(grid: Grid, paths: dict[str, list[Path]], unit: str, reach: float) -> Held | None:
    """What the files, by their layer, may hold within `reach` metres of a grid; None: nothing outside the grid."""
    if reach <= 0:
        return None
    rim = grid.bounds
    slack = 2 * grid.cell_size_m
    wide = rim[0] - reach, rim[1] - reach, rim[2] + reach, rim[3] + reach
    bounds, records = rim, []
    for role, files in paths.items():
        for path in files:
            with open_raster(path) as source:
                west, south, east, north = _bounds_on(grid, source.extent_lonlat)
                held = max(west, wide[0]), max(south, wide[1]), min(east, wide[2]), min(north, wide[3])
                inside = held[0] >= rim[0] - slack and held[1] >= rim[1] - slack
                inside &= held[2] <= rim[2] + slack and held[3] <= rim[3] + slack
                if inside or held[0] >= held[2] or held[1] >= held[3]:
                    continue
                records.append(record_of(source, role, unit_of(source, unit), 0))
            bounds = (
                min(bounds[0], held[0]),
                min(bounds[1], held[1]),
                max(bounds[2], held[2]),
                max(bounds[3], held[3]),
            )
    return Held(bounds, tuple(records)) if records else None


def _bounds_on(grid: Grid, lonlat: Box) -> Box:
    """A WGS 84 box as bounds in the grid's metres, edges followed; endless where the grid's CRS cannot show it."""
    west, south, east, north = lonlat
    along = np.linspace(0, 1, 21)
    lon = np.concatenate([*2 * [west + (east - west) * along], np.full(21, west), np.full(21, east)])
    lat = np.concatenate([np.full(21, south), np.full(21, north), *2 * [south + (north - south) * along]])
    x, y = (np.asarray(v, float) for v in grid.from_lonlat(lon, lat))
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        return -math.inf, -math.inf, math.inf, math.inf
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


def _inside(grid: Grid, like: Grid) -> tuple[slice, slice]:
    """Rows and columns of a coarse grid that lie within a fine one, but for its rim."""
    west, south, east, north = grid.bounds
    (top, bottom), (left, right) = like.rowcol(np.array([west, east]), np.array([north, south]))
    return (
        slice(math.ceil(top + 0.5) + _RIM, max(math.floor(bottom + 0.5) - _RIM, 0)),
        slice(math.ceil(left + 0.5) + _RIM, max(math.floor(right + 0.5) - _RIM, 0)),
    )


def _lonlat_box(grid: Grid, wider_m: float) -> Box:
    """WGS 84 box around a grid and its surroundings."""
    west, south, east, north = grid.bounds
    x, y = (v.ravel() for v in np.meshgrid((west, (west + east) / 2, east), (south, (south + north) / 2, north)))
    lon, lat = (np.asarray(v, float) for v in grid.lonlat(x, y))
    lon = lon[4] + (lon - lon[4] + 180.0) % 360.0 - 180.0
    up = wider_m / 110_000.0  # metres of a degree of latitude, at least 110.5 km on WGS 84
    top, bottom = min(float(lat.max()) + up, 90.0), max(float(lat.min()) - up, -90.0)
    aside = up / max(math.cos(math.radians(max(abs(top), abs(bottom)))), 1e-3)
    if aside > 90:
        return -180.0, bottom, 180.0, top
    return float(lon.min()) - aside, bottom, float(lon.max()) + aside, top
