"""The ground of a region: its roads as a whole, and each tile as a study of its own with all that reaches into it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry

from siteplanner.data.burn import burn
from siteplanner.data.grid import Grid
from siteplanner.data.rasters import Elevation
from siteplanner.mission import Mission
from siteplanner.mission.region import LARGEST_TILE_CELLS, Region
from siteplanner.planning.atlas.lattice import Lattice, Tile, lattice_of
from siteplanner.planning.study.area import AreaCells
from siteplanner.planning.study.beyond import read_beyond
from siteplanner.planning.study.cover import ground_cover
from siteplanner.planning.study.donors import read_donors
from siteplanner.planning.study.layers import read_tables
from siteplanner.planning.study.load import (
    ELEVATION_MARGIN_M,
    ROAD_MARGIN_M,
    Drives,
    Place,
    build_roads,
    read_area,
    read_ground,
    read_land_cover,
    read_layers,
    read_surface,
)
from siteplanner.planning.study.relief import Relief
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.road_layers import read_road_layers
from siteplanner.planning.study.slope import Slope
from siteplanner.planning.study.staging import with_staging
from siteplanner.planning.study.study import Study
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import drive_tree

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

OVERLAP_SPACINGS = 3  # places are thinned so far beyond a tile, so that two tiles agree along their seam
MOST_CELLS = 30_000_000  # of the heights under the roads of a region
PIECE_M = 500.0  # around a place of the region, read to learn the size of its cells


@dataclass(frozen=True, eq=False)
class RegionGround:
    """What tiles share. `mission`: with the staging points of a layer and the size of the cells."""

    mission: Mission
    place: Place
    lattice: Lattice
    drives: Drives
    heights: Grid  # of the lattice's cells


@dataclass(frozen=True, eq=False)
class Shared:
    """What every tile and every answer takes of a region, as it is kept."""

    lattice: Lattice
    network: RoadNetwork
    heights: Grid  # of the lattice's cells


def shared_of(ground: RegionGround) -> Shared:
    """The part of a region's ground that is kept."""
    return Shared(ground.lattice, ground.drives.network, ground.heights)


def with_shared(region: Region, shared: Shared) -> RegionGround:
    """The region's ground again, from what was kept."""
    mission = in_cells(with_staging(region.mission).value, shared.lattice)
    place = read_area(mission).value
    place = replace(place, search=place.whole_area)
    return RegionGround(mission, place, shared.lattice, drives_over(shared.network, place), shared.heights)


def drives_over(network: RoadNetwork, place: Place) -> Drives:
    """The drives from the staging points of a place."""
    return Drives(network, tuple(drive_tree(network, start.x, start.y) for start in place.starts))


def in_cells(mission: Mission, lattice: Lattice) -> Mission:
    """The mission in the cells of the lattice, with as many places as there is room for."""
    search = mission.search.model_copy(update={"cell_size_m": lattice.cell_m, "max_spots": 5000})
    return mission.model_copy(update={"search": search})


def read_region(region: Region) -> RegionGround:
    """The region's outline and roads, with the drives from every staging point. Raises InputError."""
    mission = with_staging(region.mission).value
    place = read_area(mission).value
    place = replace(place, search=place.whole_area)
    heights, lattice = _heights(mission, place, region.extent.margin_cell_m)
    mission = in_cells(mission, lattice)
    layers = read_road_layers(mission, place.crs, place.around(place.everything, ROAD_MARGIN_M))
    drives = build_roads(mission, place, heights, layers.value, Reuse()).value
    return RegionGround(mission, place, lattice, drives, _of_lattice(heights.grid, lattice))


def _heights(mission: Mission, place: Place, margin_cell_m: float) -> tuple[Elevation, Lattice]:
    """Elevation under the region's roads, and the lattice over its own cells. Too many cells for one grid are read
    coarser: a grade is told over a longer base then."""

    def read(here: Place, cell_m: float | None) -> Elevation:
        search = mission.search.model_copy(update={"cell_size_m": cell_m})
        return read_ground(mission.model_copy(update={"search": search}), here, (), Reuse()).value

    middle = place.whole_area.representative_point().buffer(PIECE_M)
    own = read(replace(place, search=middle, whole_area=middle, starts=()), mission.search.cell_size_m).grid
    west, south, east, north = place.everything.buffer(ELEVATION_MARGIN_M).bounds
    count = (east - west) * (north - south) / own.cell_size_m**2
    times = max(1, math.ceil(math.sqrt(count / MOST_CELLS)))
    return read(place, own.cell_size_m * times), lattice_of(own, margin_cell_m)


def _of_lattice(grid: Grid, lattice: Lattice) -> Grid:
    """Heights in the middle of the lattice's cells over a grid."""
    west, south, east, north = grid.bounds
    cell = lattice.cell_m
    rows, cols = lattice.within(-north / cell, west / cell, -south / cell - 1, east / cell - 1)
    made = lattice.grid(rows, cols)
    r, c = np.mgrid[0 : len(rows), 0 : len(cols)]
    return made.with_values(grid.sample(*made.xy(r, c)).astype(np.float32))


@dataclass(frozen=True, eq=False)
class TileGround:
    """A tile as a study: its search ground is the tile with what overlaps; `own`: the tile's own ground."""

    study: Study
    own: BaseGeometry


def read_tile(ground: RegionGround, tile: Tile) -> TileGround:
    """Everything that a tile's places are judged by. Raises InputError."""
    mission, lattice = ground.mission, ground.lattice
    cell = lattice.cell_m
    own = box(tile.left * cell, -tile.bottom * cell, tile.right * cell, -tile.top * cell)
    overlap = OVERLAP_SPACINGS * mission.search.spacing_m
    search = own.buffer(overlap, join_style="mitre").intersection(ground.place.whole_area)
    reach = min(mission.radio.max_radius_m, math.sqrt(LARGEST_TILE_CELLS) * cell / 2)
    far = own.buffer(max(reach - ELEVATION_MARGIN_M, overlap), join_style="mitre").bounds
    corners = Point(far[0], far[1]), Point(far[2], far[3])
    place = replace(ground.place, search=search, starts=corners)  # the ground reaches as far as the radio
    around = place.around(search, mission.backhaul.donor_link.max_distance_m)
    donors = read_donors(mission, place.crs, around)
    reuse = Reuse()
    elevation = read_ground(mission, place, donors.value.judged, reuse).value
    grid = elevation.grid
    surface = read_surface(mission, grid, reuse).value
    classes = read_land_cover(mission, grid, reuse).value
    obstacles = None if surface is None else surface.grid
    beyond = read_beyond(mission, Relief(grid, obstacles), ELEVATION_MARGIN_M, reuse)
    overlays = read_layers(mission, replace(place, starts=()), elevation).value
    drawn = {} if donors.value.table is None else {"donor_sites": donors.value.table}
    roads = _road_overlays(mission, place)
    drives = ground.drives
    return TileGround(
        Study(
            mission=mission,
            elevation=grid,
            obstacles=obstacles,
            surface_known=None if surface is None else surface.known,
            cover=ground_cover(mission, grid, surface, classes),
            source_cell_m=elevation.source_cell_m,
            slope=Slope(grid),
            area=place.area,
            area_cells=_one_cell(grid, own),
            search_ground=burn([search], grid),
            overlays=drawn | roads | overlays,
            network=drives.network,
            tree=drives.trees[0],
            further_trees=drives.trees[1:],
            inputs=(),
            donors=donors.value.judged,
            ground_beyond=beyond,
        ),
        own,
    )


def _road_overlays(mission: Mission, place: Place) -> dict[str, GeoDataFrame]:
    """Hazards, which rule ground out too. The closures of a day are no part of a region."""
    return read_tables(mission, ("hazards",), place.crs, place.around(place.search, ROAD_MARGIN_M)).value


def _one_cell(grid: Grid, own: BaseGeometry) -> AreaCells:
    """An area of one cell: what is kept of a place is its service everywhere, not of an area."""
    at = grid.cell(own.centroid.x, own.centroid.y) or (grid.shape[0] // 2, grid.shape[1] // 2)
    return AreaCells(np.array([at[0]]), np.array([at[1]]), np.ones(1), 1, grid.cell_size_m**2)
