"""The layers that make the road network: roads, tracks that the user drew, closures, and hazard areas over roads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from siteplanner.data.osm import TurnRestriction
from siteplanner.data.vectors import read_layer
from siteplanner.mission import Mission
from siteplanner.planning.study.layers import Loaded, as_table, read_files, shapes_of, told
from siteplanner.planning.study.reuse import Reuse
from siteplanner.roads.closures import Closure, read_closures, read_dangers, with_tracks

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from siteplanner.errors import Finding

OVER_ROADS = ("hazards", "closures", "extra_tracks")


@dataclass(frozen=True, eq=False)
class RoadLayers:
    """Input of the road network, in the plan's CRS. `overlays`: hazards, closures, extra_tracks (those given)."""

    roads: GeoDataFrame  # with the tracks
    restrictions: tuple[TurnRestriction, ...]
    closures: tuple[Closure, ...]
    dangers: tuple[Closure, ...]
    overlays: dict[str, GeoDataFrame]


def read_road_layers(
    mission: Mission, crs: CRS, near: BaseGeometry | None, reuse: Reuse | None = None
) -> Loaded[RoadLayers]:
    """Read what lies within `near` (WGS 84).

    Raises InputError for a layer that cannot be read, and for roads without a line there.
    """
    layers = mission.layers
    columns = layers.column_rules
    main = (reuse or Reuse()).call(
        "roads_file",
        read_layer,
        mission.path(layers.roads),
        "roads",
        target_crs=crs,
        kinds=shapes_of("roads"),
        near=near,
        rules=columns,
    )
    files = {
        role: read_files(mission, role, crs, near, columns if role == "extra_tracks" else None, lenient=True)
        for role in OVER_ROADS
    }
    overlays = {role: as_table(read) for role, read in files.items() if read}
    roads = main.frame
    if len(overlays.get("extra_tracks", ())):
        roads = with_tracks(roads, overlays["extra_tracks"])
    findings: list[Finding] = []
    closures: tuple[Closure, ...] = ()
    dangers: tuple[Closure, ...] = ()
    if len(overlays.get("closures", ())):
        closures, findings = read_closures(overlays["closures"], roads)
    if len(overlays.get("hazards", ())):
        closing, dangers = read_dangers(overlays["hazards"], layers.hazards_close_roads)
        closures = (*closures, *closing)
    made = RoadLayers(roads, main.restrictions, closures, dangers, overlays)
    return told(made, [main, *(layer for read in files.values() for layer in read)], findings)
