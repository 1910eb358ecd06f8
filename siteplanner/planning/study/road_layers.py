"""The layers that make the road network: roads, tracks that the user drew, closures, and hazard areas over roads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from siteplanner.data.osm import TurnRestriction
from siteplanner.data.vectors import Kind, Layer, read_layer
from siteplanner.mission import Mission
from siteplanner.planning.study.reuse import Reuse
from siteplanner.roads.closures import Closure, read_closures, read_dangers, with_tracks

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from siteplanner.errors import Finding


@dataclass(frozen=True, eq=False)
class RoadLayers:
    """Input of the road network, in the plan's CRS. `overlays`: hazards, closures, extra_tracks (those given)."""

    roads: GeoDataFrame  # with the tracks
    restrictions: tuple[TurnRestriction, ...]
    closures: tuple[Closure, ...]
    dangers: tuple[Closure, ...]
    overlays: dict[str, GeoDataFrame]
    findings: tuple[Finding, ...]


def read_road_layers(
    mission: Mission,
    crs: CRS,
    near: BaseGeometry,
    take: Callable[[Layer], GeoDataFrame],
    reuse: Reuse | None = None,
) -> RoadLayers:
    """Read what lies within `near` (WGS 84). `take` gets each layer read, for its record and findings.

    Raises InputError for a layer that cannot be read, and for roads without a line there.
    """
    layers = mission.layers
    columns = layers.road_columns or None
    main = (reuse or Reuse()).call(
        "roads_file",
        read_layer,
        mission.path(layers.roads),
        "roads",
        target_crs=crs,
        kinds={"line"},
        near=near,
        column_map=columns,
    )
    roads = take(main)
    wanted: tuple[tuple[str, tuple[str, ...], set[Kind], bool], ...] = (
        ("hazards", layers.hazards, {"polygon"}, False),
        ("closures", layers.closures, {"point", "line", "polygon"}, False),
        ("extra_tracks", layers.extra_tracks, {"line"}, True),
    )
    overlays: dict[str, GeoDataFrame] = {}
    for role, paths, kinds, like_roads in wanted:
        frames = [
            take(
                read_layer(
                    mission.path(path),
                    role.replace("_", " "),
                    target_crs=crs,
                    kinds=kinds,
                    near=near,
                    column_map=columns if like_roads else None,
                    lenient=True,
                    required=False,
                )
            )
            for path in paths
        ]
        if frames:
            import pandas as pd

            overlays[role] = pd.concat(frames, ignore_index=True) if len(frames) > 1 else frames[0]
    findings: list[Finding] = []
    if len(overlays.get("extra_tracks", ())):
        roads = with_tracks(roads, overlays["extra_tracks"])
    closures: tuple[Closure, ...] = ()
    dangers: tuple[Closure, ...] = ()
    if len(overlays.get("closures", ())):
        closures, more = read_closures(overlays["closures"], roads)
        findings += more
    if len(overlays.get("hazards", ())):
        closing, dangers = read_dangers(overlays["hazards"], layers.hazards_close_roads)
        closures = (*closures, *closing)
    return RoadLayers(roads, main.restrictions, closures, dangers, overlays, tuple(findings))
