"""Roads out of an OpenStreetMap extract: ways with their node ids, barriers on nodes, turn restrictions.

Lines of an extract join where they share a node and nowhere else: a crossing without a common node is a bridge or a
tunnel (OpenStreetMap wiki, Node and Key:bridge). So the ids of the nodes travel with each line.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from siteplanner.data.grid import WGS84
from siteplanner.data.osm_signs import SIGN_KEYS, point_signs
from siteplanner.data.road_keys import KEYS, LEVEL_CROSSINGS, LINE_KEYS, POINT_KEYS, POINT_MARKS, speaks, unread
from siteplanner.errors import Finding, InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

NODES = "osm_nodes"  # column: ids of a line's vertices, one each
WAY = "osm_way"  # column: id of the way a line belongs to
# column: `start`, `end` where the extract lacks the next point of the way, `start gap`, `end gap` where it has others
# of it beyond; several parted by `;`
CUT = "osm_cut"
# nothing with two axles uses these; reading them would only cut the roads into small pieces (wiki, Key:highway)
ON_FOOT = frozenset((
    "footway", "path", "cycleway", "bridleway", "steps", "pedestrian", "corridor", "platform", "elevator",
    "via_ferrata", "proposed", "razed", "abandoned", "demolished", "trail", "bus_stop", "rest_area", "services",
    "emergency_bay", "ladder",
))  # fmt: skip
# what a bridge that is no road carries, by the key that says so; its word stands in the column `highway`
_CARRIES = {"railway": "railway", "waterway": "aqueduct", "aeroway": "taxiway", "man_made": "pipeline"}
_GONE = frozenset(("razed", "dismantled", "demolished", "proposed", "construction", "no"))
_SAME_M = 1e-3


@dataclass(frozen=True)
class TurnRestriction:
    """A signed turn: `no` turning from one way into another at a node, or `only` that (wiki, Relation:restriction)."""

    kind: Literal["no", "only"]
    from_way: int
    via_node: int
    to_way: int
    via_ways: tuple[int, ...] = ()  # a restriction over ways has no node: `via_node` is 0


@dataclass(frozen=True, eq=False)
class OsmRoads:
    """Lines (and points of barriers and fords) in the target CRS, with tags as columns; see NODES and WAY.

    `count` is the number of ways in the file that are roads, `extent_lonlat` the box that the file states or spans.
    """

    frame: GeoDataFrame
    restrictions: tuple[TurnRestriction, ...]
    count: int
    extent_lonlat: tuple[float, float, float, float]
    findings: tuple[Finding, ...]


def read_osm(path: Path, target_crs: CRS, near: BaseGeometry | None = None) -> OsmRoads:
    """Read the roads of an extract (.osm.pbf or .osm), and what crosses them on a bridge: railways, paths, pipes.

    `near`: WGS 84 shape; only ways whose box meets its box are kept, whole. Nodes that the extract lacks cut a way
    in two. Part-time restrictions are taken as in force all day: whether they apply on the way is not known.
    Raises InputError for a file that is damaged or holds no road.
    """
    held = _Held(near)
    try:
        extent = _read(path, held)
    except (RuntimeError, ValueError, OverflowError) as error:
        raise InputError(
            f"The extract cannot be read; it may be damaged or cut short ({str(error)[:200]}).",
            remedy="Copy or download it again.",
            file=path,
        ) from None
    if not held.count:
        raise InputError("The extract has no road.", remedy="Bring an extract that was not filtered.", file=path)
    frame, alias = _frame(held, target_crs)
    known = set(held.way)
    restrictions = tuple(
        replace(r, via_node=alias.get(r.via_node, r.via_node))
        for r in held.restrictions
        if {r.from_way, r.to_way, *r.via_ways} <= known
    )
    if not all(np.isfinite(extent)):
        extent = held.extent()
    return OsmRoads(frame, restrictions, held.count, extent, tuple(_findings(held, path)))


class _Held:
    """What one pass over the file gathers."""

    def __init__(self, near: BaseGeometry | None) -> None:
        # a box across the antimeridian is not worth a short cut
        self.box = None if near is None or near.bounds[2] > 180 or near.bounds[0] < -180 else near.bounds
        self.lon: list[float] = []
        self.lat: list[float] = []
        self.node: list[int] = []
        self.first: list[int] = []  # of each run of nodes
        self.way: list[int] = []
        self.tags: list[dict[str, str]] = []
        self.cut: list[str | None] = []  # see CUT
        self.points: list[tuple[int, float, float, dict[str, str]]] = []  # node, place, tags
        self.restrictions: list[TurnRestriction] = []
        self.count = self.missing = self.over_ways = self.ferries = 0
        self.unread: Counter[str] = Counter()  # keys that speak of a limit and are not read
        self.span = [np.inf, np.inf, -np.inf, -np.inf]

    def extent(self) -> tuple[float, float, float, float]:
        west, south, east, north = (float(v) for v in self.span)
        return west, south, east, north

    def take_way(self, way: Any) -> None:
        tags = {tag.k: tag.v for tag in way.tags}
        if tags.get("area") == "yes":
            return
        road = tags.get("highway", "") not in ("", *ON_FOOT)
        if not road:
            self.ferries += tags.get("route") == "ferry" and tags.get("motor_vehicle", tags.get("motorcar")) != "no"
            carried = _carried(tags)
            if not carried:
                return
            tags = {"highway": carried, **{k: tags[k] for k in ("bridge", "layer", "name") if k in tags}}
        self.count += road
        nodes = [(n.ref, n.location.lon, n.location.lat) if n.location.valid() else None for n in way.nodes]
        there = [n for n in nodes if n is not None]
        self.missing += road * (len(nodes) - len(there))
        if not there:
            return
        lon, lat = [n[1] for n in there], [n[2] for n in there]
        box = (min(lon), min(lat), max(lon), max(lat))
        self.span = [
            min(self.span[0], box[0]),
            min(self.span[1], box[1]),
            max(self.span[2], box[2]),
            max(self.span[3], box[3]),
        ]
        b = self.box
        if b is not None and (box[2] < b[0] or box[0] > b[2] or box[3] < b[1] or box[1] > b[3]):
            return
        self.unread.update(key for key in tags if speaks(key))
        kept = {key: tags[key] for key in LINE_KEYS if key in tags}
        for run, cut in _runs(nodes):
            self.cut.append(cut)
            self.first.append(len(self.node))
            self.way.append(int(way.id))
            self.tags.append(kept)
            self.node += [n[0] for n in run]
            self.lon += [n[1] for n in run]
            self.lat += [n[2] for n in run]

    def take_node(self, node: Any) -> None:
        tags = {tag.k: tag.v for tag in node.tags}
        signs = point_signs(tags)
        marked = signs or any(key in tags for key in POINT_MARKS) or tags.get("railway") in LEVEL_CROSSINGS
        if not marked or not node.location.valid() or "building" in tags or "amenity" in tags:
            return
        lon, lat, b = node.location.lon, node.location.lat, self.box
        if b is None or (b[0] <= lon <= b[2] and b[1] <= lat <= b[3]):
            self.unread.update(key for key in tags if speaks(key))
            kept = {key: tags[key] for key in POINT_KEYS if key in tags}
            self.points.append((node.id, lon, lat, kept | signs))

    def take_restriction(self, relation: Any) -> None:
        tags = relation.tags
        if tags.get("type") != "restriction":
            return
        value = next(
            (
                v
                for v in (
                    tags.get("restriction"),
                    tags.get("restriction:motorcar"),
                    tags.get("restriction:conditional"),
                )
                if v
            ),
            "",
        )
        kind = value.split("_")[0].strip()
        spared = {word.strip() for word in tags.get("except", "").split(";")}
        if kind not in ("no", "only") or spared & {"motorcar", "motor_vehicle"}:
            return
        members = [(m.type, m.ref, m.role) for m in relation.members]
        from_ways = [ref for t, ref, role in members if t == "w" and role == "from"]
        to_ways = [ref for t, ref, role in members if t == "w" and role == "to"]
        nodes = [ref for t, ref, role in members if t == "n" and role == "via"]
        ways = tuple(ref for t, ref, role in members if t == "w" and role == "via")
        if len(nodes) != 1 and not ways:
            self.over_ways += bool(from_ways and to_ways)
            return
        sign: Literal["no", "only"] = "no" if kind == "no" else "only"
        via, over = (0, ways) if ways else (nodes[0], ())
        # no_entry has several `from`, no_exit several `to`
        for a in from_ways:
            self.restrictions += [TurnRestriction(sign, a, via, b, over) for b in to_ways]


def _carried(tags: dict[str, str]) -> str:
    """What a bridge that is no road carries over the roads below it (Key:bridge); '' for what is no such bridge."""
    if tags.get("bridge", "no") in _GONE:
        return ""
    if "highway" in tags:
        return "" if tags["highway"] in _GONE else tags["highway"]
    for key, word in _CARRIES.items():
        if key in tags:  # man_made=bridge is the outline of another one
            return "" if tags[key] in ("bridge", *_GONE) else word
    return "" if "building" in tags else "bridge"


def _runs(
    nodes: Sequence[tuple[int, float, float] | None],
) -> list[tuple[list[tuple[int, float, float]], str | None]]:
    """Nodes between missing ones, two or more in a row, with what CUT says of them."""
    runs: list[tuple[list[tuple[int, float, float]], list[str]]] = [([], [])]
    there = [k for k, node in enumerate(nodes) if node is not None]
    first, last = there[0], there[-1]
    for k, node in enumerate(nodes):
        if node is None:
            if runs[-1][0]:
                runs[-1][1].append("end" if k > last else "end gap")
                runs.append(([], []))
            if not runs[-1][1]:
                runs[-1][1].append("start" if k < first else "start gap")
        elif not runs[-1][0] or runs[-1][0][-1][0] != node[0]:
            runs[-1][0].append(node)
    return [(run, ";".join(cut) or None) for run, cut in runs if len(run) > 1]


def _read(path: Path, held: _Held) -> tuple[float, float, float, float]:
    """One pass; gives the box of the file's header, NaN where it states none."""
    import osmium

    nowhere = float("nan")
    entities = osmium.FileProcessor(str(path)).with_locations()
    entities = entities.with_filter(
        osmium.filter.KeyFilter("highway", "bridge", "route", "type", "railway", *POINT_MARKS)
    )
    for entity in entities:
        if isinstance(entity, osmium.osm.Way):
            if "highway" in entity.tags or "bridge" in entity.tags or "route" in entity.tags:
                held.take_way(entity)
        elif isinstance(entity, osmium.osm.Node):
            held.take_node(entity)
        elif isinstance(entity, osmium.osm.Relation):
            held.take_restriction(entity)
    box = entities.header.box()
    if not box.valid():
        return nowhere, nowhere, nowhere, nowhere
    return box.bottom_left.lon, box.bottom_left.lat, box.top_right.lon, box.top_right.lat


def _frame(held: _Held, target_crs: CRS) -> tuple[GeoDataFrame, dict[int, int]]:
    import geopandas as gpd
    import shapely
    from pyproj import Transformer

    move = Transformer.from_crs(WGS84, target_crs, always_xy=True)
    x, y = (np.asarray(v, float) for v in move.transform(np.array(held.lon), np.array(held.lat)))
    node = np.array(held.node, np.int64)
    first = np.array([*held.first, len(node)], int)
    line = np.repeat(np.arange(len(held.first)), np.diff(first))
    alias = _alias(x, y, node, line)
    if alias:
        node = np.array([alias.get(n, n) for n in node.tolist()], np.int64)
    lines = np.asarray(shapely.linestrings(np.column_stack([x, y]), indices=line) if len(line) else [], object)
    # a point counts where a road runs through its very node: an address or a fence beside it says nothing of the road
    on_road = set(held.node)
    points = [p[1:] for p in held.points if p[0] in on_road]
    px, py = move.transform([p[0] for p in points], [p[1] for p in points])
    tags = [*held.tags, *(p[2] for p in points)]
    ids = np.empty(len(tags), object)
    for k, part in enumerate(np.split(node, first[1:-1]) if len(lines) else []):
        ids[k] = part  # one by one: numpy would make a table of arrays of one length
    there = {key for t in tags for key in t}
    columns: dict[str, Any] = {
        key: [t.get(key) for t in tags] for key in (*KEYS, *SIGN_KEYS) if key == "highway" or key in there
    }
    columns[WAY] = [*held.way, *([0] * len(points))]
    columns[NODES] = ids
    if any(held.cut):
        columns[CUT] = [*held.cut, *([None] * len(points))]
    shapes = np.concatenate([lines, np.asarray(shapely.points(np.array(px, float), np.array(py, float)), object)])
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=target_crs), alias


def _alias(x: np.ndarray, y: np.ndarray, node: np.ndarray, line: np.ndarray) -> dict[int, int]:
    """Different nodes that follow each other at one place count as one: id -> the other's id."""
    same = np.flatnonzero((np.diff(line) == 0) & (np.hypot(np.diff(x), np.diff(y)) < _SAME_M))
    alias: dict[int, int] = {}

    def root(n: int) -> int:
        while n in alias:
            n = alias[n]
        return n

    for k in same.tolist():
        a, b = root(int(node[k])), root(int(node[k + 1]))
        if a != b:
            alias[b] = a
    return {n: root(n) for n in alias}


def _findings(held: _Held, path: Path) -> list[Finding]:
    out = []
    if held.missing:
        out.append(Finding("extract_clipped", "note", file=path.name, facts={"nodes": held.missing}))
    if held.over_ways:
        out.append(Finding("turn_restrictions_left_out", "check", file=path.name, facts={"count": held.over_ways}))
    if held.ferries:
        out.append(Finding("ferries_left_out", "note", file=path.name, facts={"count": held.ferries}))
    keys = unread(held.unread)
    if keys:
        out.append(Finding("road_keys_unread", "check", file=path.name, facts={"keys": keys}))
    return out
