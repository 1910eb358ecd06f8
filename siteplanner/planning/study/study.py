"""The study: a mission's layers, loaded, vetted, in one metric CRS, with the rasters every spot is judged by."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import CRS
from shapely.geometry import Point, box
from shapely.ops import transform as transform_shape
from shapely.ops import unary_union

from siteplanner.core.clutter import CLUTTER_HEIGHT_M
from siteplanner.core.flow import Flow, flow, height_above_drainage_m
from siteplanner.core.horizon import Blocks, blocks, surface
from siteplanner.core.terrain import slope_deg
from siteplanner.data.burn import burn
from siteplanner.data.classes import Classes, read_classes
from siteplanner.data.geometry import unwrapped
from siteplanner.data.grid import WGS84, Grid
from siteplanner.data.rasters import Elevation, metric_crs, read_elevation
from siteplanner.data.vectors import InputRecord, Kind, Layer, read_layer
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
from siteplanner.planning.study.donors import Donor, check_wanted, donors_of
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.road_layers import read_road_layers
from siteplanner.roads.network import RoadNetwork, build_network
from siteplanner.roads.routing import DriveTree, drive_tree

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

ROAD_MARGIN_M = 3000.0  # roads are read this far around search ground and staging: a way round may leave the box
ELEVATION_MARGIN_M = 2500.0  # ground beyond the search ground that may hide a satellite
MAX_AREA_CELLS = 40_000
CLUTTER_KINDS = ("none", *CLUTTER_HEIGHT_M)


@dataclass(frozen=True, eq=False)
class AreaCells:
    """Cells that stand for the incident area: every `step`-th row and column of the elevation."""

    rows: np.ndarray
    cols: np.ndarray
    weight: np.ndarray  # adds up to 1
    step: int
    cell_area_m2: float


@dataclass(frozen=True, eq=False)
class Study:
    """Everything loaded. Rasters share `elevation`'s cells; frames are in its CRS."""

    mission: Mission
    elevation: Grid
    obstacles: Grid | None
    clutter: Grid | None  # kinds of clutter at the handset, as indices into CLUTTER_KINDS; 0: none
    source_cell_m: float
    slope: Grid
    area: GeoDataFrame
    area_cells: AreaCells
    search_ground: np.ndarray
    overlays: dict[str, GeoDataFrame]  # layers by their names in the mission (those given)
    network: RoadNetwork
    tree: DriveTree
    staging_xy: tuple[float, float]
    inputs: tuple[InputRecord, ...]
    findings: tuple[Finding, ...] = field(default_factory=tuple)
    further_trees: tuple[DriveTree, ...] = ()  # of the other staging points with a rig
    donors: tuple[Donor, ...] = ()  # judged ones: of the layer, where a donor link is wanted

    @property
    def surface(self) -> Grid:
        """What blocks sky and radio: trees and roofs, or the bare ground where no surface was given."""
        return self.elevation if self.obstacles is None else self.obstacles

    @cached_property
    def blocks(self) -> Blocks:
        """Block maxima of ground and obstacles, made once for all skylines."""
        return blocks(surface(self.elevation.values, self.surface.values))

    @cached_property
    def canopy_m(self) -> np.ndarray | None:
        """Surface less elevation per cell, at least 0: trees and roofs. None without a surface."""
        return None if self.obstacles is None else self.obstacles.values - self.elevation.values

    @cached_property
    def flow(self) -> Flow:
        """Where water runs, from the elevation alone."""
        return flow(self.elevation.values, self.elevation.cell_size_m)

    @cached_property
    def above_drainage_m(self) -> np.ndarray:
        """Height per cell above the channel that it drains to; mapped water counts as a channel. NaN: not known."""
        water = self.overlay("water")
        mapped = None if water is None else burn(water.geometry, self.elevation, all_touched=True)
        area = 1e6 * self.mission.site.channel_area_km2
        return height_above_drainage_m(self.elevation.values, self.flow, area, mapped)

    def work_out(self, name: str) -> None:
        """Make a value that is kept once made, now: its time then counts where the caller tells of it."""
        getattr(self, name)

    @property
    def trees(self) -> tuple[DriveTree, ...]:
        """Drive times from each staging point with a rig, in the order of `mission.starts`."""
        return (self.tree, *self.further_trees)

    @property
    def reached(self) -> np.ndarray:
        """Road segments that a rig can drive to from any staging point."""
        return np.logical_or.reduce([tree.reached for tree in self.trees])

    @property
    def crs(self) -> CRS:
        return self.elevation.crs

    @property
    def alternatives_possible(self) -> bool:
        """Whether another backhaul than the geostationary one could work anywhere on the search ground.

        Where none could, or only the dish is wanted, ground that hides the satellite is ruled out cell by cell;
        otherwise the spots are judged one by one.
        """
        wanted = self.mission.backhaul.wanted
        return "open_sky" in wanted or ("donor_link" in wanted and bool(self.donors))

    def overlay(self, role: str) -> GeoDataFrame | None:
        frame = self.overlays.get(role)
        return frame if frame is not None and len(frame) else None


def elevation_error_m(mission: Mission, source_cell_m: float) -> float:
    """Noise of one cell's height: the mission's, or by the source's cells (see `layers.elevation_error_m`)."""
    given = mission.layers.elevation_error_m
    if given is not None:
        return given
    return 0.1 if source_cell_m <= 3 else 0.8 if source_cell_m <= 15 else 2.0


def area_cells(area: GeoDataFrame, like: Grid, coverage_cell_m: float | None) -> AreaCells:
    """The cells of the served share, thinned evenly to at most MAX_AREA_CELLS unless the mission says finer.

    Weight of a cell: the polygon's `weight` spread evenly over its cells (1 where the column is missing).
    Raises InputError for a weight that is not a number of at least 0.
    """
    import pandas as pd

    if "weight" in area.columns:
        weight = pd.to_numeric(area["weight"], errors="coerce")
        if weight.isna().any() or (weight < 0).any() or weight.sum() <= 0:
            raise InputError(
                "A weight of the incident area is not a number of at least 0 (or all are 0).",
                field="weight",
                remedy="Give every polygon a weight, e.g. the people in it, or drop the column.",
            )
    else:
        weight = pd.Series(area.geometry.area.to_numpy(), index=area.index)  # plain share of the area
    inside = burn(area.geometry, like)
    count = int(inside.sum())
    if count == 0:
        # smaller than a cell: the cells it touches
        inside = burn(area.geometry, like, all_touched=True)
        count = int(inside.sum())
    step = max(1, round((coverage_cell_m or like.cell_size_m) / like.cell_size_m))
    if coverage_cell_m is None:
        step = max(1, int(np.ceil(np.sqrt(count / MAX_AREA_CELLS))))
    picked = np.zeros(like.shape, bool)
    picked[step // 2 :: step, step // 2 :: step] = True
    if not (inside & picked).any():
        picked[:] = True
    rows, cols = np.nonzero(inside & picked)
    per_cell = np.zeros(len(rows))
    for shape, value in zip(area.geometry, weight.to_numpy(float), strict=True):
        own = burn([shape], like, all_touched=count < 50)[rows, cols]
        if own.any():
            per_cell[own] += value / own.sum()
    if per_cell.sum() <= 0:
        per_cell[:] = 1.0
    return AreaCells(rows, cols, per_cell / per_cell.sum(), step, (step * like.cell_size_m) ** 2)


def clutter_kinds(
    classes: Classes, mission: Mission, ground: Grid, obstacles: Grid | None
) -> tuple[Grid, list[Finding]]:
    """Kinds of clutter around a handset, by the mission's table of class codes.

    Where a surface is given and stands at least a metre above the ground, the surface already blocks the path:
    adding clutter there would count the same trees twice, so the kind is `none`.
    """
    codes = classes.grid.values
    kinds = np.zeros(codes.shape, np.uint8)
    for code, kind in mission.layers.land_cover_classes.items():
        kinds[codes == int(code)] = CLUTTER_KINDS.index(kind)
    findings = []
    left_out = [c for c in classes.codes() if str(c) not in mission.layers.land_cover_classes]
    if left_out:
        findings.append(
            Finding(
                "land_cover_unmapped",
                "warning",
                f"Land-cover codes without a kind of clutter count as open ground: "
                f"{', '.join(map(str, left_out[:20]))}.",
                "Name them in layers.land_cover_classes.",
                classes.record.file,
            )
        )
    radio = mission.radio
    if not 30 <= radio.frequency_mhz <= 3000:
        findings.append(
            Finding(
                "clutter_out_of_range",
                "warning",
                f"Clutter loss is defined from 30 to 3,000 MHz (ITU-R P.2108-1 section 3.1), not at "
                f"{radio.frequency_mhz:g} MHz: none is added.",
                "Leave a margin in radio.building_loss_db.",
            )
        )
        kinds[:] = 0
    if obstacles is not None:
        with np.errstate(invalid="ignore"):
            kinds[obstacles.values - ground.values >= 1.0] = 0
    return classes.grid.with_values(kinds), findings


def load_study(mission: Mission, stages: Stages, reuse: Reuse | None = None) -> Study:
    """Load and vet every layer of the mission; what `reuse` has from before is not read or built again.

    Raises InputError naming file, field and remedy.
    """
    reuse = reuse or Reuse()
    with stages.stage("Reading layers") as tick:
        findings: list[Finding] = [*mission.findings, *check_wanted(mission)]
        inputs: list[InputRecord] = []

        def take(layer: Layer) -> GeoDataFrame:
            findings.extend(layer.findings)
            inputs.append(layer.record)
            return layer.frame

        lonlat_area = read_layer(
            mission.path(mission.layers.incident_area), "incident area", target_crs=WGS84, kinds={"polygon"}
        )
        lonlat_shape = unwrapped(unary_union(list(lonlat_area.frame.geometry)))
        where = lonlat_shape.centroid
        crs = check_target_crs(mission.crs) if mission.crs else metric_crs(where.x, where.y)
        area = take(lonlat_area).to_crs(crs)
        whole_area = unary_union(list(area.geometry))
        findings += scale_findings(crs, lonlat_shape)
        findings += plausible_area(whole_area)
        for start in mission.stagings:
            findings += plausible_staging(start.longitude, start.latitude, lonlat_shape)
        if "geostationary" in mission.backhaul.wanted:
            slots = {s.name or f"{s.longitude_deg:g}": s.longitude_deg for s in mission.sky.satellites}
            findings += satellites_in_sight(slots, lonlat_shape, "sky.satellites.longitude_deg")

        places = [_project(Point(s.longitude, s.latitude), WGS84, crs) for s in mission.starts]
        staging_xy = places[0]
        search = whole_area.buffer(mission.search.radius_m)
        everything = unary_union([search, *places]).envelope
        overlays: dict[str, GeoDataFrame] = {}
        donors = _read_donors(mission, search, crs, take, overlays, findings)
        tick(0.1)

        def read_ground(ground: Any) -> Elevation:
            return reuse.call(
                "elevation",
                read_elevation,
                [mission.path(p) for p in mission.layers.elevation],
                near=_project(box(*ground.buffer(ELEVATION_MARGIN_M).bounds), crs, WGS84),
                target_crs=crs,
                cell_size_m=mission.search.cell_size_m,
                unit=mission.layers.elevation_unit,
            )

        elevation = _read_with_donors(read_ground, everything, donors, findings)
        # the margin around the search ground is wished for, not needed: gaps in it are told by the ruling
        findings += [f for f in elevation.findings if f.code != "elevation_gaps"]
        inputs += elevation.records
        findings += elevation_covers(whole_area, elevation)
        grid = elevation.grid
        obstacles = None
        if mission.layers.surface:
            surface = reuse.call(
                "surface",
                read_elevation,
                [mission.path(p) for p in mission.layers.surface],
                near=_project(box(*grid.bounds), crs, WGS84),
                target_crs=crs,
                cell_size_m=grid.cell_size_m,
                unit=mission.layers.elevation_unit,
                role="surface",
            )
            findings += [f for f in surface.findings if f.code != "elevation_gaps"]
            inputs += surface.records
            obstacles = _above_ground(surface.grid, grid)
        clutter = None
        if mission.layers.land_cover:
            classes = reuse.call("land_cover", read_classes, mission.path(mission.layers.land_cover), like=grid)
            inputs.append(classes.record)
            clutter, more = clutter_kinds(classes, mission, grid, obstacles)
            findings += more
        tick(0.6)

        road_box = _project(box(*everything.buffer(ROAD_MARGIN_M).bounds), crs, WGS84)
        road_layers = read_road_layers(mission, crs, road_box, take, reuse)
        findings += road_layers.findings
        tick(0.8)
        search_box = _project(box(*search.buffer(500).bounds), crs, WGS84)
        overlays |= road_layers.overlays
        wanted: tuple[tuple[str, tuple[str, ...], set[Kind]], ...] = (
            ("keep_out", mission.layers.keep_out, {"polygon"}),
            ("power_lines", mission.layers.power_lines, {"line"}),
            ("structures", mission.layers.structures, {"polygon", "line", "point"}),
            ("water", mission.layers.water, {"polygon", "line"}),
            ("soft_ground", mission.layers.soft_ground, {"polygon"}),
            ("must_serve", mission.layers.must_serve, {"point"}),
            ("spots", mission.layers.spots, {"point"}),
        )
        for role, paths, kinds in wanted:
            frames = [
                take(
                    read_layer(
                        mission.path(path),
                        role.replace("_", " "),
                        target_crs=crs,
                        kinds=kinds,
                        near=search_box,
                        required=False,
                    )
                )
                for path in paths
            ]
            if frames:
                import pandas as pd

                overlays[role] = pd.concat(frames, ignore_index=True) if len(frames) > 1 else frames[0]
        for role in ("must_serve", "spots"):
            if role in overlays:
                findings += points_on_ground(overlays[role], elevation, role)
        if "power_lines" in overlays:
            findings += usable_numbers(
                overlays["power_lines"],
                "voltage_kv",
                0.1,
                1200,
                ", ".join(mission.layers.power_lines),
                "kilovolts, not volts",
            )
        search_ground = burn([search], grid)
        cells = area_cells(area, grid, mission.search.coverage_cell_m)

    with stages.stage("Building the road network"):
        network = reuse.call(
            "roads",
            build_network,
            road_layers.roads,
            elevation=grid,
            rig=mission.rig,
            speeds=mission.speeds,
            closures=road_layers.closures,
            dangers=road_layers.dangers,
            restrictions=road_layers.restrictions,
            when=mission.times.dispatch,
            elevation_error_m=elevation_error_m(mission, elevation.source_cell_m),
            source_cell_m=elevation.source_cell_m,
        )
        trees = tuple(drive_tree(network, place.x, place.y) for place in places)
        findings += network.findings
        findings += starts_findings(trees, mission)

    with stages.stage("Measuring slope"):
        slope = grid.with_values(slope_deg(grid.values, grid.cell_size_m))

    missing = float((~np.isfinite(grid.values))[search_ground].mean()) if search_ground.any() else 1.0
    if missing > 0:
        findings.append(
            Finding(
                "search_ground_unknown",
                "warning",
                f"{100 * missing:.1f} % of the search ground has no elevation and is ruled out.",
                "Bring elevation that reaches farther, or make search.radius_m smaller.",
            )
        )
    if grid.cell_size_m > 5:
        findings.append(
            Finding(
                "coarse_elevation",
                "caution",
                f"The elevation has cells of {grid.cell_size_m:.0f} m: a bank, a ditch or a single tree does not "
                "show in it.",
                "The crew checks level, soft ground, trees toward the satellite and overhead lines on arrival.",
            )
        )
    return Study(
        mission=mission,
        elevation=grid,
        obstacles=obstacles,
        clutter=clutter,
        source_cell_m=elevation.source_cell_m,
        slope=slope,
        area=area,
        area_cells=cells,
        search_ground=search_ground,
        overlays=overlays,
        network=network,
        tree=trees[0],
        further_trees=trees[1:],
        staging_xy=(staging_xy.x, staging_xy.y),
        inputs=tuple(inputs),
        findings=tuple(findings),
        donors=donors,
    )


def _read_donors(
    mission: Mission,
    search: Any,
    crs: CRS,
    take: Callable[[Layer], GeoDataFrame],
    overlays: dict[str, GeoDataFrame],
    findings: list[Finding],
) -> tuple[Donor, ...]:
    """Donor sites within reach of the search ground; the layer itself becomes the overlay `donor_sites`."""
    import pandas as pd

    link = mission.backhaul.donor_link
    reach = _project(box(*search.buffer(link.max_distance_m).bounds), crs, WGS84)
    frames: list[GeoDataFrame] = []
    donors: list[Donor] = []
    for path in mission.layers.donor_sites:
        frame = take(
            read_layer(mission.path(path), "donor sites", target_crs=crs, kinds={"point"}, near=reach, required=False)
        )
        found, more = donors_of(frame, crs, link, path)
        frames.append(frame)
        if "donor_link" in mission.backhaul.wanted:
            findings += more
            donors += found
    if frames:
        overlays["donor_sites"] = pd.concat(frames, ignore_index=True) if len(frames) > 1 else frames[0]
    return tuple(donors)


def _read_with_donors(
    read_ground: Callable[[Any], Elevation], everything: Any, donors: tuple[Donor, ...], findings: list[Finding]
) -> Elevation:
    """Elevation that reaches to the donor sites, or without them where that would be too much for one grid."""
    if not donors:
        return read_ground(everything)
    try:
        return read_ground(unary_union([everything, *(Point(d.x, d.y) for d in donors)]).envelope)
    except InputError as error:
        elevation = read_ground(everything)
        findings.append(
            Finding(
                "donors_without_ground",
                "warning",
                f"The elevation was not read as far as the donor sites ({error.what}) Links to those outside it are "
                "not known.",
                "Leave far donor sites out, set backhaul.donor_link.max_distance_m lower, or take coarser cells.",
            )
        )
        return elevation


def starts_findings(trees: Sequence[DriveTree], mission: Mission) -> list[Finding]:
    """Findings of the drive times; with several staging points each says whose it is, unless all say the same."""
    if len(trees) == 1:
        return list(trees[0].findings)
    out = []
    for tree, start in zip(trees, mission.starts, strict=True):
        for f in tree.findings:
            out.append(replace(f, message=f"From {start.name}: {f.message[0].lower()}{f.message[1:]}"))
    return out


def _project(shape: Any, source: CRS, target: CRS) -> Any:
    from pyproj import Transformer

    return transform_shape(Transformer.from_crs(source, target, always_xy=True).transform, shape)


def _above_ground(surface: Grid, ground: Grid) -> Grid:
    """Surface heights on the ground's cells, never below the ground; unknown surface is bare ground."""
    rows, cols = np.indices(ground.shape)
    x, y = ground.xy(rows, cols)
    values = (
        surface.sample(x, y).astype(np.float32)
        if surface.shape != ground.shape or (surface.transform != ground.transform)
        else surface.values
    )
    return ground.with_values(np.fmax(values, ground.values))
