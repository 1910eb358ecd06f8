"""The layers that make the road network: roads, tracks that the user drew, closures, and hazard areas over roads."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry import LinearRing, Polygon

from siteplanner.data.osm import TurnRestriction
from siteplanner.data.rise import read_rise, with_times
from siteplanner.data.vectors import Layer, read_layer
from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.planning.study.layers import Loaded, as_table, read_files, shapes_of, told
from siteplanner.planning.study.reuse import Reuse
from siteplanner.roads.closures import Closure, read_closures, read_dangers, with_tracks
from siteplanner.roads.exits import Edges, sides_of
from siteplanner.roads.loose_points import points_onto_lines

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from siteplanner.data.records import InputRecord
    from siteplanner.errors import Finding

OVER_ROADS = ("hazards", "closures", "extra_tracks", "exits")
_STEPS = 32  # a side of a box in degrees is no straight line in metres
_SAME_DEG = 1e-6  # an extract without a stated box has that of its roads


@dataclass(frozen=True, eq=False)
class RoadLayers:
    """Input of the road network, in the plan's CRS. `overlays`: hazards, closures, extra_tracks (those given)."""

    roads: GeoDataFrame  # with the tracks
    restrictions: tuple[TurnRestriction, ...]
    closures: tuple[Closure, ...]
    dangers: tuple[Closure, ...]
    overlays: dict[str, GeoDataFrame]
    edges: Edges  # of the road data, and the exits that the user names


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
        kinds={*shapes_of("roads"), "point"},  # gates and limits may come as points
        near=near,
        rules=columns,
    )
    files = {
        role: read_files(mission, role, crs, near, columns if role == "extra_tracks" else None, lenient=True)
        for role in OVER_ROADS
    }
    overlays = {role: as_table(read) for role, read in files.items() if read}
    roads, findings = with_points(main)
    if len(overlays.get("extra_tracks", ())):
        roads = with_tracks(roads, overlays["extra_tracks"])
    closures: tuple[Closure, ...] = ()
    dangers: tuple[Closure, ...] = ()
    if len(overlays.get("closures", ())):
        closures, found = read_closures(overlays["closures"], roads)
        findings += found
    risen: tuple[InputRecord, ...] = ()
    if len(overlays.get("hazards", ())):
        rise = None
        if layers.rise_forecast:
            rise, record = read_rise(mission.path(layers.rise_forecast))
            risen = (record,)
        overlays["hazards"] = with_times(overlays["hazards"], rise, layers.hazards)
        closing, dangers = read_dangers(overlays["hazards"], layers.hazards_close_roads)
        closures = (*closures, *closing)
    exits = overlays.pop("exits", None)
    given = () if exits is None else tuple(exits.geometry)
    edges = replace(edges_of(main, near), given=given)
    made = RoadLayers(roads, main.restrictions, closures, dangers, overlays, edges)
    loaded = told(made, [main, *(layer for read in files.values() for layer in read)], findings)
    return replace(loaded, records=(*loaded.records, *risen))


def with_points(main: Layer) -> tuple[GeoDataFrame, list[Finding]]:
    """The roads with the points that stand on them. Raises InputError where there is no line."""
    frame = main.frame
    if not (shapely.get_dimensions(np.asarray(frame.geometry.array, object)) == 1).any():
        raise InputError(
            "No usable line is in the layer, only points.",
            remedy="Give a layer of lines.",
            file=main.record.file,
            field="layers.roads",
        )
    return (frame, []) if main.record.held.kind == "roads" else points_onto_lines(frame, main.record.file)


def edges_of(main: Layer, near: BaseGeometry | None) -> Edges:
    """The edges of the road data: of what was read around the mission, of the file, and of the lines that it holds.

    A clip follows a box in degrees or in metres; the lines' own boxes in both show it where the file states none. A
    dead end well inside a box that is stated is none of the data's, though no line reach farther.
    """
    frame = main.frame
    lines = np.asarray(frame.geometry.array, object)
    lines = lines[shapely.get_dimensions(lines) == 1]
    degrees = frame.geometry.to_crs(4326)
    west, south, east, north = degrees[frame.geometry.geom_type != "Point"].total_bounds.tolist()
    own = west, south, east, north
    # only an extract holds lines that reach over its edge
    extent = main.record.extent_lonlat if main.record.held.kind == "roads" else None
    boxes: tuple[BaseGeometry, ...] = ()
    sides: tuple[BaseGeometry, ...] = (sides_of(lines), _ring(own, frame.crs))
    if extent is not None and np.isfinite(extent).all():
        boxes = (_ring(extent, frame.crs),)
        sides = (*boxes, *sides) if np.allclose(extent, own, rtol=0, atol=_SAME_DEG) else boxes
    # whole lines are kept: what ends beyond a box was cut there
    within = [Polygon(shapely.get_coordinates(box)) for box in boxes]
    within += [] if near is None else [Polygon(_ring(near.bounds, frame.crs))]
    return Edges(boxes=boxes, sides=sides, within=tuple(within))


def _ring(box: tuple[float, float, float, float], crs: CRS) -> LinearRing:
    """The outline of a box in degrees, in metres."""
    from pyproj import Transformer

    outline = shapely.segmentize(shapely.boundary(shapely.box(*box)), max(box[2] - box[0], box[3] - box[1]) / _STEPS)
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(*shapely.get_coordinates(outline).T)
    return LinearRing(np.column_stack([x, y]))
