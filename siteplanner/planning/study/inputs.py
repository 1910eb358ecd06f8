"""What the steps take of a study: one frozen value a step, and nothing else that a result could depend on.

A step whose result may be taken over by the next run gets such a value in the study's place. What is not in it the
step cannot read; so equal inputs are equal results (`reuse`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from siteplanner.core.antenna import dish_beam_deg
from siteplanner.core.horizon_error import GroundNoise
from siteplanner.core.likely_ground import LikelyGround
from siteplanner.data.grid import Grid
from siteplanner.mission import DonorLink, Leave, OpenSky, Radio, Satellite
from siteplanner.planning.study.area import AreaCells
from siteplanner.planning.study.beyond import Beyond
from siteplanner.planning.study.cover import GroundCover
from siteplanner.planning.study.donors import Donor
from siteplanner.planning.study.leave import LeaveLayers
from siteplanner.planning.study.relief import Relief
from siteplanner.planning.study.study import Study, elevation_error_m

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


@dataclass(frozen=True, eq=False)
class DishView:
    """The sky as the dish needs it: over this ground, toward these satellites, with this much to spare.

    `beam_half_deg`: half of the dish's half-power beam. `noise`: how well the ground is known.
    """

    relief: Relief
    beyond: Beyond
    dish_height_m: float
    satellites: tuple[Satellite, ...]
    min_margin_deg: float
    min_elevation_deg: float
    beam_half_deg: float
    noise: GroundNoise


@dataclass(frozen=True, eq=False)
class SkyLimitInputs:
    """What the raster of the satellite line takes."""

    dish: DishView
    need: Literal["any", "all"]
    search_ground: np.ndarray


@dataclass(frozen=True, eq=False)
class SatelliteInputs:
    """What says whether a satellite can be used: the dish's view, and how many of those named must be clear."""

    dish: DishView
    need: Literal["any", "all"]


@dataclass(frozen=True, eq=False)
class OpenSkyInputs:
    """What the open-sky terminal takes."""

    relief: Relief
    beyond: Beyond
    terminal: OpenSky


@dataclass(frozen=True, eq=False)
class DonorInputs:
    """What links to donor sites take."""

    relief: Relief
    link: DonorLink
    donors: tuple[Donor, ...]
    mast_stops_m: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class BackhaulInputs:
    """The wanted backhauls, the preferred one first, each by what it takes; over which cells they are asked."""

    elevation: Grid
    wanted: tuple[SatelliteInputs | OpenSkyInputs | DonorInputs, ...]


@dataclass(frozen=True, eq=False)
class CoverageInputs:
    """What the predicted service takes."""

    elevation: Grid
    cover: GroundCover
    area_cells: AreaCells
    must_serve: GeoDataFrame | None
    radio: Radio
    mast_stops_m: tuple[float, ...]
    mast_stop_tolerance: float
    likely: LikelyGround
    mounting_deg: tuple[float, float]  # one standard deviation: sectors turned from their bearings, the mast's lean


@dataclass(frozen=True, eq=False)
class LeaveInputs:
    """What says who is asked before the trailer stands and sends."""

    relief: Relief
    service: CoverageInputs
    layers: LeaveLayers
    rules: Leave
    footprint_reach_m: float


def dish_view(study: Study) -> DishView:
    """The dish's part of a study."""
    sky = study.mission.sky
    return DishView(
        relief=study.relief,
        beyond=study.beyond,
        dish_height_m=study.mission.trailer.dish_height_m,
        satellites=sky.satellites,
        min_margin_deg=sky.min_margin_deg,
        min_elevation_deg=sky.min_elevation_deg,
        beam_half_deg=dish_beam_deg(sky.dish_diameter_m, sky.downlink_ghz) / 2,
        noise=GroundNoise(elevation_error_m(study.mission, study.source_cell_m), study.source_cell_m),
    )


def sky_limit_inputs(study: Study) -> SkyLimitInputs:
    """What `limits.cells.sky_hits` takes of a study."""
    return SkyLimitInputs(dish_view(study), study.mission.sky.need, study.search_ground)


def open_sky_inputs(study: Study) -> OpenSkyInputs:
    """What the open-sky terminal takes of a study."""
    return OpenSkyInputs(study.relief, study.beyond, study.mission.backhaul.open_sky)


def donor_inputs(study: Study) -> DonorInputs:
    """What links to donor sites take of a study."""
    mission = study.mission
    return DonorInputs(study.relief, mission.backhaul.donor_link, study.donors, mission.trailer.mast_stops_m)


def backhaul_inputs(study: Study) -> BackhaulInputs:
    """What the wanted backhauls take of a study; nothing of those that are not wanted."""
    ways: dict[str, Callable[[], SatelliteInputs | OpenSkyInputs | DonorInputs]] = {
        "geostationary": lambda: SatelliteInputs(dish_view(study), study.mission.sky.need),
        "open_sky": lambda: open_sky_inputs(study),
        "donor_link": lambda: donor_inputs(study),
    }
    return BackhaulInputs(study.elevation, tuple(ways[kind]() for kind in study.mission.backhaul.wanted))


def coverage_inputs(study: Study) -> CoverageInputs:
    """What the predicted service takes of a study."""
    trailer = study.mission.trailer
    return CoverageInputs(
        study.elevation,
        study.cover,
        study.area_cells,
        study.overlay("must_serve"),
        study.mission.radio,
        trailer.mast_stops_m,
        trailer.mast_stop_tolerance,
        study.likely,
        (study.mission.doubts.sector_aim_deg, study.mission.doubts.mast_lean_deg),
    )
