"""Loading a study: every layer of a mission read and vetted, stage by stage, and the road network built."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from pyproj import CRS
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import transform as transform_shape
from shapely.ops import unary_union

from siteplanner.data.burn import burn
from siteplanner.data.classes import Classes, read_classes
from siteplanner.data.geometry import Box, mend, unwrapped
from siteplanner.data.grid import WGS84, Grid
from siteplanner.data.raster_source import parted
from siteplanner.data.rasters import MOST_CELLS, Elevation, metric_crs, read_elevation
from siteplanner.data.vectors import read_layer
from siteplanner.data.vetting import (
    check_target_crs,
    elevation_covers,
    plausible_area,
    plausible_staging,
    points_on_ground,
    satellites_in_sight,
    scale_findings,
    usable_numbers,
)
from siteplanner.errors import Finding, InputError
from siteplanner.mission import Mission
from siteplanner.planning.study.area import area_cells
from siteplanner.planning.study.beyond import Beyond, read_beyond
from siteplanner.planning.study.counted import people_in
from siteplanner.planning.study.cover import Surface, cover_findings, ground_cover
from siteplanner.planning.study.donors import Donor, check_wanted, read_donors
from siteplanner.planning.study.driving import speeds_driven
from siteplanner.planning.study.layers import Loaded, read_tables, shapes_of, told
from siteplanner.planning.study.leave import read_leave
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.study.radio_check import radio_findings
from siteplanner.planning.study.relief import Relief
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.road_layers import RoadLayers, read_road_layers
from siteplanner.planning.study.slope import Slope
from siteplanner.planning.study.staging import with_staging
from siteplanner.planning.study.study import Study, elevation_error_m
from siteplanner.roads.network import RoadNetwork, build_network
from siteplanner.roads.routing import DriveTree, drive_tree

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

ROAD_MARGIN_M = 3000.0  # roads are read this far around search ground and staging: a way round may leave the box
ELEVATION_MARGIN_M = 2500.0  # ground beyond the search ground that may hide a satellite
LAYERS_MARGIN_M = 500.0  # what stands this far outside the search ground may still matter at its rim
OVER_GROUND = ("keep_out", "power_lines", "structures", "soft_ground", "must_serve", "spots")
ALONG_DRIVES = ("water",)  # what a drive may meet outside the search ground
COARSE_CELL_M = 5.0
MOST_CELLS_FOR_DONORS = 40_000_000  # of a grid that is widened only for the sake of donor sites


def load_study(mission: Mission, stages: Stages, reuse: Reuse | None = None) -> Study:
    """Load and vet every layer of the mission; what `reuse` has from before is not read or built again.

    Raises InputError naming file, field and remedy.
    """
    reuse = reuse or Reuse()
    with stages.stage("Reading layers") as tick:
        starts = with_staging(mission)
        mission = starts.value
        asked = Loaded(None, (), (*mission.findings, *radio_findings(mission.radio), *check_wanted(mission)))
        area = read_area(mission)
        place = area.value
        donors = read_donors(mission, place.crs, place.around(place.search, mission.backhaul.donor_link.max_distance_m))
        tick(0.1)
        ground = read_ground(mission, place, donors.value.judged, reuse)
        grid = ground.value.grid
        surface = read_surface(mission, grid, reuse)
        classes = read_land_cover(mission, grid, reuse)
        obstacles = None if surface.value is None else surface.value.grid
        beyond = read_beyond(mission, Relief(grid, obstacles), ELEVATION_MARGIN_M, reuse)
        ground = with_far_files(ground, beyond)
        tick(0.6)
        roads = read_road_layers(mission, place.crs, place.around(place.everything, ROAD_MARGIN_M), reuse)
        tick(0.8)
        layers = read_layers(mission, place, ground.value)
        leave = read_leave(mission, grid, place.search, place.whole_area)
        search_ground = burn([place.search], grid)
        stands = ground_cover(mission, grid, surface.value, classes.value)
        cover = Loaded(None, (), cover_findings(mission, search_ground, grid, surface.value, classes.value))
        people = people_in(mission, place.area, grid, reuse)
        cells = area_cells(place.area, grid, mission.search.coverage_cell_m, people.value)
    with stages.stage("Building the road network"):
        network = build_roads(mission, place, ground.value, roads.value, reuse)
    known = Loaded(None, (), ground_findings(grid, search_ground, ground.value.source_cell_m))
    made: tuple[Loaded[Any], ...]
    made = asked, starts, area, people, donors, ground, surface, classes, cover, roads, layers, leave, network, known
    drawn = {} if donors.value.table is None else {"donor_sites": donors.value.table}
    study = Study(
        mission=mission,
        elevation=grid,
        obstacles=obstacles,
        surface_known=None if surface.value is None else surface.value.known,
        cover=stands,
        source_cell_m=ground.value.source_cell_m,
        slope=Slope(grid),
        area=place.area,
        area_cells=cells,
        search_ground=search_ground,
        overlays=drawn | roads.value.overlays | layers.value | leave.value.tables,
        network=network.value.network,
        tree=network.value.trees[0],
        further_trees=network.value.trees[1:],
        inputs=tuple(record for stage in made for record in stage.records),
        findings=tuple(finding for stage in made for finding in stage.findings),
        donors=donors.value.judged,
        leave=leave.value.judged,
        ground_beyond=beyond,
    )
    study.work_out("required")  # a name that no point has is told before anything is judged
    return study


@dataclass(frozen=True, eq=False)
class Place:
    """Where the mission is, in metres of its CRS: the incident area, the ground to search, the starts of the drive."""

    crs: CRS
    area: GeoDataFrame
    whole_area: BaseGeometry
    search: BaseGeometry
    starts: tuple[Point, ...]

    @property
    def everything(self) -> BaseGeometry:
        """The box around search ground and starts."""
        return unary_union([self.search, *self.starts]).envelope

    def around(self, shape: BaseGeometry, margin_m: float) -> BaseGeometry:
        """The box around a shape and its margin, in WGS 84."""
        return _project(box(*shape.buffer(margin_m).bounds), self.crs, WGS84)


def read_area(mission: Mission) -> Loaded[Place]:
    """The incident area, which says where the plan works and in which CRS."""
    path, kinds = mission.path(mission.layers.incident_area), shapes_of("incident_area")
    layer = read_layer(path, "incident area", target_crs=WGS84, kinds=kinds)
    lonlat = unwrapped(unary_union(list(layer.frame.geometry)))
    middle = lonlat.centroid
    crs = check_target_crs(mission.crs) if mission.crs else metric_crs(middle.x, middle.y)
    # a ring that touches itself may cross itself by a hair once its corners have moved to another CRS
    area, _ = mend(layer.frame.to_crs(crs), {"polygon"}, path.name)
    whole = unary_union(list(area.geometry))
    findings = [*scale_findings(crs, lonlat), *plausible_area(whole)]
    for start in mission.stagings:
        findings += plausible_staging(start.longitude, start.latitude, lonlat)
    if "geostationary" in mission.backhaul.wanted:
        slots = {s.called: s.longitude_deg for s in mission.sky.satellites}
        findings += satellites_in_sight(slots, lonlat, "sky.satellites.longitude_deg")
    starts = tuple(_project(Point(s.longitude, s.latitude), WGS84, crs) for s in mission.starts)
    return told(Place(crs, area, whole, whole.buffer(mission.search.radius_m), starts), [layer], findings)


def read_ground(mission: Mission, place: Place, donors: tuple[Donor, ...], reuse: Reuse) -> Loaded[Elevation]:
    """Elevation under search ground and starts, out to the donor sites where that is not too much for one grid."""
    findings: list[Finding] = []

    def read(ground: BaseGeometry, max_cells: int) -> Elevation:
        near = place.around(ground, ELEVATION_MARGIN_M)
        files, aside = files_near(mission, "elevation", near)
        return reuse.call(
            "elevation",
            read_elevation,
            files,
            aside=aside,
            near=near,
            target_crs=place.crs,
            cell_size_m=mission.search.cell_size_m,
            unit=mission.layers.elevation_unit,
            max_cells=max_cells,
        )

    everything = place.everything
    try:
        wide = unary_union([everything, *(Point(d.x, d.y) for d in donors)]).envelope if donors else everything
        elevation = read(wide, MOST_CELLS_FOR_DONORS if donors else MOST_CELLS)
    except InputError as error:
        if not donors:
            raise
        elevation = read(everything, MOST_CELLS)
        findings.append(Finding("donors_without_ground", "check", facts={"why": error.what}))
    findings += [*_without_gaps(elevation), *elevation_covers(place.whole_area, elevation)]
    return Loaded(elevation, elevation.records, tuple(findings))


def with_far_files(ground: Loaded[Elevation], beyond: Beyond) -> Loaded[Elevation]:
    """The elevation with the files that only the skyline takes told as such, not as unused."""
    records = tuple(record for record in beyond.records if record.role == "elevation")
    far = {record.file for record in records} - {record.file for record in ground.records}
    findings = [f for f in ground.findings if not (f.code == "elevation_unused" and f.file in far)]
    findings += [Finding("elevation_for_skyline", "note", file=name) for name in sorted(far)]
    return replace(
        ground,
        records=(*ground.records, *(r for r in records if r.file in far)),
        findings=tuple(findings),
    )


def files_near(
    mission: Mission, layer: Literal["elevation", "surface"], near: BaseGeometry
) -> tuple[list[Path], tuple[tuple[str, Box], ...]]:
    """The files of a layer that meet the ground asked for; name and extent of the others, which nobody reads."""
    try:
        return parted([mission.path(p) for p in getattr(mission.layers, layer)], unwrapped(near).bounds)
    except InputError as error:
        raise error if error.field is not None else error.placed(field=f"layers.{layer}") from error


def read_surface(mission: Mission, ground: Grid, reuse: Reuse) -> Loaded[Surface | None]:
    """Tree tops and roofs on the ground's cells; None where no surface is given."""
    if not mission.layers.surface:
        return Loaded(None)
    near = _project(box(*ground.bounds), ground.crs, WGS84)
    files, aside = files_near(mission, "surface", near)
    surface = reuse.call(
        "surface",
        read_elevation,
        files,
        aside=aside,
        near=near,
        target_crs=ground.crs,
        cell_size_m=ground.cell_size_m,
        unit=mission.layers.elevation_unit,
        role="surface",
    )
    return Loaded(_above_ground(surface.grid, ground), surface.records, _without_gaps(surface))


def _without_gaps(elevation: Elevation) -> tuple[Finding, ...]:
    """The margin around the search ground is wished for, not needed: gaps in it are told by the ruling."""
    return tuple(f for f in elevation.findings if f.code != "elevation_gaps")


def read_land_cover(mission: Mission, ground: Grid, reuse: Reuse) -> Loaded[Classes | None]:
    """Classes of land cover on the ground's cells; None where none is given."""
    if not mission.layers.land_cover:
        return Loaded(None)
    classes = reuse.call("land_cover", read_classes, mission.path(mission.layers.land_cover), like=ground)
    return Loaded(classes, (classes.record,))


def read_layers(mission: Mission, place: Place, elevation: Elevation) -> Loaded[dict[str, GeoDataFrame]]:
    """What lies on the search ground: areas, lines and points by their names in the mission."""
    near = place.around(place.search, LAYERS_MARGIN_M)
    layers = read_tables(mission, OVER_GROUND, place.crs, near)
    along = read_tables(mission, ALONG_DRIVES, place.crs, place.around(place.everything, LAYERS_MARGIN_M))
    layers = Loaded(layers.value | along.value, (*layers.records, *along.records), layers.findings + along.findings)
    findings = list(layers.findings)
    for role in ("must_serve", "spots"):
        if role in layers.value:
            findings += points_on_ground(layers.value[role], elevation, role)
    if "power_lines" in layers.value:
        files = ", ".join(mission.layers.power_lines)
        findings += usable_numbers(layers.value["power_lines"], "voltage_kv", 0.1, 1200, files, "kilovolts, not volts")
    return replace(layers, findings=tuple(findings))


@dataclass(frozen=True, eq=False)
class Drives:
    """The road network with the drive times from each staging point that has a rig."""

    network: RoadNetwork
    trees: tuple[DriveTree, ...]


def build_roads(
    mission: Mission, place: Place, elevation: Elevation, layers: RoadLayers, reuse: Reuse
) -> Loaded[Drives]:
    """The network for the mission's rig at the time of dispatch, and the drives over it."""
    network = reuse.call(
        "roads",
        build_network,
        layers.roads,
        elevation=elevation.grid,
        rig=mission.rig,
        speeds=speeds_driven(mission),
        closures=layers.closures,
        dangers=layers.dangers,
        restrictions=layers.restrictions,
        when=mission.times.dispatch,
        elevation_error_m=elevation_error_m(mission, elevation.source_cell_m),
        source_cell_m=elevation.source_cell_m,
        edges=layers.edges,
    )
    trees = tuple(drive_tree(network, start.x, start.y) for start in place.starts)
    return Loaded(Drives(network, trees), (), (*network.findings, *starts_findings(trees, mission)))


def starts_findings(trees: Sequence[DriveTree], mission: Mission) -> list[Finding]:
    """Findings of the drive times; with several staging points each says whose it is, unless all say the same."""
    if len(trees) == 1:
        return list(trees[0].findings)
    out = []
    for tree, start in zip(trees, mission.starts, strict=True):
        for f in tree.findings:
            out.append(replace(f, facts={**f.facts, "start": start.name}))
    return out


def ground_findings(grid: Grid, search_ground: np.ndarray, source_cell_m: float) -> tuple[Finding, ...]:
    """What the elevation itself leaves open: ground without heights, and cells too large for what a crew meets: told
    as wide as the file has them, where the plan's are finer."""
    findings = []
    missing = float((~np.isfinite(grid.values))[search_ground].mean()) if search_ground.any() else 1.0
    if missing > 0:
        findings.append(Finding("search_ground_unknown", "check", facts={"share": missing}))
    if grid.cell_size_m > COARSE_CELL_M:
        findings.append(
            Finding("coarse_elevation", "unknown", facts={"cell_size_m": max(grid.cell_size_m, source_cell_m)})
        )
    return tuple(findings)


def _project(shape: Any, source: CRS, target: CRS) -> Any:
    from pyproj import Transformer

    return transform_shape(Transformer.from_crs(source, target, always_xy=True).transform, shape)


def _above_ground(surface: Grid, ground: Grid) -> Surface:
    """Surface heights on the ground's cells, never below the ground.

    Both grids have cells at whole multiples of one size, so that the surface is cut to the ground, cell by cell.
    """
    values = np.full(ground.shape, np.nan, np.float32)
    size, (rows, cols) = ground.cell_size_m, surface.shape
    down = round((ground.transform.f - surface.transform.f) / -size)
    right = round((ground.transform.c - surface.transform.c) / size)
    top, left = max(-down, 0), max(-right, 0)
    bottom, end = min(ground.shape[0], rows - down), min(ground.shape[1], cols - right)
    if top < bottom and left < end:
        values[top:bottom, left:end] = surface.values[top + down : bottom + down, left + right : end + right]
    return Surface(ground.with_values(np.fmax(values, ground.values)), np.isfinite(values))
