"""The study: a mission's layers, vetted, in one metric CRS, with the rasters every spot is judged by."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import CRS

from siteplanner.core.flow import Flow, above_drainage_m, drainage_level_m, flow
from siteplanner.core.horizon import Blocks
from siteplanner.core.likely_ground import LikelyGround, likely_ground
from siteplanner.data.burn import burn
from siteplanner.data.grid import Grid
from siteplanner.data.records import InputRecord
from siteplanner.errors import Finding
from siteplanner.mission import Mission
from siteplanner.planning.study.area import AreaCells
from siteplanner.planning.study.beyond import Beyond
from siteplanner.planning.study.cover import GroundCover
from siteplanner.planning.study.donors import Donor
from siteplanner.planning.study.leave import LeaveLayers
from siteplanner.planning.study.must_serve import required_points
from siteplanner.planning.study.relief import Relief
from siteplanner.planning.study.slope import Slope
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import DriveTree

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


Tick = Callable[[float], None]


@dataclass(frozen=True, eq=False)
class Study:
    """Everything loaded. Rasters share `elevation`'s cells; frames are in its CRS."""

    mission: Mission
    elevation: Grid
    obstacles: Grid | None
    surface_known: np.ndarray | None  # bool: cells of which the surface layer tells; None without one
    cover: GroundCover  # what stands on the ground, as the radio takes it
    source_cell_m: float
    slope: Slope
    area: GeoDataFrame
    area_cells: AreaCells
    search_ground: np.ndarray
    overlays: dict[str, GeoDataFrame]  # layers by their names in the mission (those given)
    network: RoadNetwork
    tree: DriveTree
    inputs: tuple[InputRecord, ...]
    findings: tuple[Finding, ...] = field(default_factory=tuple)
    further_trees: tuple[DriveTree, ...] = ()  # of the other staging points with a rig
    donors: tuple[Donor, ...] = ()  # judged ones: of the layer, where a donor link is wanted
    leave: LeaveLayers = field(default_factory=LeaveLayers)  # who is asked before the trailer stands and sends
    ground_beyond: Beyond | None = None  # of the files, beyond `elevation`; None: nothing of it was read

    @cached_property
    def relief(self) -> Relief:
        """Ground with what stands on it: one value for all steps that look over it."""
        return Relief(self.elevation, self.obstacles, self.surface_known)

    @property
    def beyond(self) -> Beyond:
        """The ground beyond the rasters, as far as a ridge could stand in a line of sight."""
        return self.ground_beyond or Beyond(None, self.blocks.ceiling_m, "elevation_files")

    @property
    def surface(self) -> Grid:
        """What blocks sky and radio: trees and roofs, or the bare ground where no surface was given."""
        return self.relief.surface

    @property
    def blocks(self) -> Blocks:
        """Block maxima of ground and obstacles, made once for all skylines."""
        return self.relief.blocks

    def canopy_m(self, part: Any) -> np.ndarray:
        """Surface less elevation of the cells that `part` picks, at least 0: trees and roofs. There is a surface."""
        assert self.obstacles is not None
        return self.obstacles.values[part] - self.elevation.values[part]

    @cached_property
    def likely(self) -> LikelyGround:
        """What the true ground may be, given the elevation's own error."""
        return self.work_out_likely(lambda share: None)

    @property
    def _served_from(self) -> tuple[slice, slice]:
        """Rows and columns from which a mast reaches the area or a named point: both ends of each path lie there."""
        grid, cells = self.elevation, self.area_cells
        reach = math.ceil(self.mission.radio.max_radius_m / grid.cell_size_m) + 1
        frame = self.overlay("must_serve")
        x, y = ([], []) if frame is None else (frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy())
        ends = [np.concatenate(pair) for pair in zip((cells.rows, cells.cols), grid.rowcol(x, y), strict=True)]
        return tuple(slice(int(at.min()) - reach, int(at.max()) + reach + 1) for at in ends)  # type: ignore[return-value]

    def work_out_likely(self, tick: Tick) -> LikelyGround:
        """`likely`, made now where it is not there yet; `tick` is told the share done and may raise."""
        if "likely" not in self.__dict__:
            grid, error = self.elevation, elevation_error_m(self.mission, self.source_cell_m)
            self.__dict__["likely"] = likely_ground(
                grid.values, grid.cell_size_m, self.source_cell_m, error, tick, self._served_from
            )
        return self.__dict__["likely"]

    @cached_property
    def flow(self) -> Flow:
        """Where water runs, from the elevation alone."""
        return self.work_out_flow(lambda share: None)

    def work_out_flow(self, tick: Tick) -> Flow:
        """`flow`, made now where it is not there yet; `tick` is told the share done and may raise."""
        if "flow" not in self.__dict__:
            self.__dict__["flow"] = flow(self.elevation.values, self.elevation.cell_size_m, tick=tick)
        return self.__dict__["flow"]

    @cached_property
    def drainage_level_m(self) -> np.ndarray:
        """Height of the channel that each cell of `flow` drains to; mapped water counts as one. NaN: not known."""
        water = self.overlay("water")
        mapped = None if water is None else burn(water.geometry, self.elevation, all_touched=True)
        return drainage_level_m(self.flow, 1e6 * self.mission.site.channel_area_km2, mapped)

    def above_drainage_m(self, cell: tuple[int, int]) -> float:
        """Height of a cell above the channel that it drains to; NaN: not known."""
        return float(above_drainage_m(self.elevation.values, self.flow, self.drainage_level_m, *cell))

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

    @cached_property
    def required(self) -> tuple[bool, ...]:
        """Which of the must-serve points are required, in the order of the layer."""
        files = ", ".join(self.mission.layers.must_serve)
        return required_points(self.overlay("must_serve"), self.mission.site.required_points, files)

    def overlay(self, role: str) -> GeoDataFrame | None:
        frame = self.overlays.get(role)
        return frame if frame is not None and len(frame) else None


def elevation_error_m(mission: Mission, source_cell_m: float) -> float:
    """Noise of one cell's height: the mission's, or by the source's cells (see `layers.elevation_error_m`)."""
    given = mission.layers.elevation_error_m
    if given is not None:
        return given
    return 0.1 if source_cell_m <= 3 else 0.8 if source_cell_m <= 15 else 2.0
