"""Where the roads go on beyond the data, and what parts a place from there: bridges of the road graph, found once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from siteplanner.data.osm import CUT
from siteplanner.roads.border import at_rim, is_irregular
from siteplanner.roads.lines import rows_said
from siteplanner.roads.noding import SNAP_M
from siteplanner.roads.tables import Geometry

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

EDGE_M = 50.0  # a road that ends this close to the edge of the data was cut there. Common practice
EXIT_REACH_M = 30.0  # an exit point is taken to the nearest road within this, as a closure is. Common practice
NO_EXIT = "noexit"
_SAME_M = 1e-6


class OnRoad(NamedTuple):
    """A place on the network: metres from the start of a segment."""

    segment: int
    along_m: float


@dataclass(frozen=True, eq=False)
class Edges:
    """What says where roads leave the data, in metres of the network's CRS.

    `boxes`: rings; a road that crosses one leaves. `sides`: lines; a road that ends within EDGE_M of one was cut
    there. `within`: areas; so was one that ends outside. `given`: points and lines by the user; with any of them
    nothing else counts.
    """

    boxes: tuple[BaseGeometry, ...] = ()
    sides: tuple[BaseGeometry, ...] = ()
    within: tuple[BaseGeometry, ...] = ()
    given: tuple[BaseGeometry, ...] = ()


class Exits(NamedTuple):
    """Where roads for the rig leave the data, and where they may: `perhaps` without those that surely do."""

    sure: tuple[OnRoad, ...] = ()
    perhaps: tuple[OnRoad, ...] = ()


def find_exits(
    roads: GeoDataFrame,
    points: np.ndarray,
    geometry: Geometry,
    row: np.ndarray,
    for_rig: np.ndarray,
    edges: Edges,
    through: np.ndarray | None = None,
) -> Exits:
    """Places where a road for the rig leaves the data, in the order of the segments.

    `row`: the row of `roads` that each segment was cut from, -1 where the segment is no road for vehicles; `points`:
    rows of points; `for_rig`: bool; `through`: bool, roads that link settlements, None where no classes are known. A
    dead end inside the data, one tagged `noexit=yes` (line or point) and the rest of a road that is shut for the rig
    are no exits. Where the data end along no box (`border`), a dead end at their rim may be one or not, and so may one
    at the box around them, which is only the outermost of them.
    """
    if edges.given:
        return Exits(_given(geometry, for_rig, edges.given))
    dead = rows_said(roads, NO_EXIT)
    use = for_rig & ~dead[np.maximum(row, 0)]
    cut, gaps = _cut(roads, geometry, row, use)
    sure = {*_crossings(geometry, use, edges.boxes), *cut}
    road = row >= 0
    ends = np.concatenate([geometry.seg_from[road], geometry.seg_to[road]])
    degree = np.bincount(ends, minlength=len(geometry.node_x))
    segments = np.flatnonzero(road)
    node = np.concatenate([geometry.seg_from[segments], geometry.seg_to[segments]])
    which = np.concatenate([segments, segments])
    along = np.concatenate([np.zeros(len(segments)), geometry.length_m[segments]])
    last = degree[node] == 1
    node, which, along = node[last], which[last], along[last]
    if not len(node):
        return Exits(tuple(sorted(sure)), tuple(sorted(gaps - sure)))
    xy = np.column_stack([geometry.node_x, geometry.node_y])
    at = np.asarray(shapely.points(xy[node]), object)
    out, side, inside = np.zeros(len(at), bool), np.zeros(len(at), bool), np.ones(len(at), bool)
    for line in edges.sides:
        side |= shapely.distance(at, line) <= EDGE_M
    for area in edges.within:
        out |= ~shapely.covers(area, at)
    for box in (box for box in edges.boxes if not shapely.is_empty(box)):
        inside &= shapely.contains(shapely.Polygon(shapely.get_coordinates(box)), at) & (
            shapely.distance(at, box) > EDGE_M
        )
    known = cut | gaps
    places = [OnRoad(i, m) for i, m in zip(which.tolist(), along.tolist(), strict=True)]
    inside &= ~(out | side | np.array([place in known for place in places], bool))
    rim = at_rim(xy[node], xy[degree > 0])
    ends_through = None if through is None else through[which]
    irregular = is_irregular(inside, ends_through, rim, len(sure) + int((out | side).sum()))
    open_end = use[which] & ~_beside(at, roads, points[dead[points]])
    may = open_end & (side | rim if ends_through is None else side | rim | ends_through) & irregular
    goes = open_end & (out if irregular else out | side)
    sure |= {place for place, left in zip(places, goes.tolist(), strict=True) if left}
    perhaps = gaps | {place for place, left in zip(places, may.tolist(), strict=True) if left}
    return Exits(tuple(sorted(sure)), tuple(sorted(perhaps - sure)))


def _cut(roads: GeoDataFrame, geometry: Geometry, row: np.ndarray, use: np.ndarray) -> tuple[set[OnRoad], set[OnRoad]]:
    """Ends of segments where the extract lacks the road's next point: (the road's end lies beyond, the road comes
    back into the data, so that what is missing may be any little)."""
    beyond: set[OnRoad] = set()
    gaps: set[OnRoad] = set()
    if CUT not in roads.columns:
        return beyond, gaps
    said = roads[CUT].to_numpy()
    shapes = np.asarray(roads.geometry.array, object)
    for i in np.flatnonzero(use & np.isin(row, [r for r, word in enumerate(said) if isinstance(word, str)])).tolist():
        line, words = shapes[row[i]], said[row[i]].split(";")
        own = shapely.get_coordinates(geometry.line[i])[[0, -1]]
        whole = shapely.get_coordinates(line)[[0, -1]]
        for k, end in enumerate(("start", "end")):
            if np.hypot(*(own[k] - whole[k])) <= SNAP_M:
                place = OnRoad(i, float(geometry.length_m[i]) if k else 0.0)
                beyond |= {place} if end in words else set()
                gaps |= {place} if f"{end} gap" in words else set()
    return beyond, gaps


def sides_of(lines: np.ndarray) -> BaseGeometry:
    """The outline of the box around lines."""
    return shapely.boundary(shapely.box(*shapely.total_bounds(lines)))


def _beside(at: np.ndarray, roads: GeoDataFrame, rows: np.ndarray) -> np.ndarray:
    if not len(rows):
        return np.zeros(len(at), bool)
    marks = shapely.multipoints(np.asarray(roads.geometry.array, object)[rows])
    return shapely.distance(at, marks) <= SNAP_M


def _crossings(geometry: Geometry, use: np.ndarray, boxes: Sequence[BaseGeometry]) -> list[OnRoad]:
    out = []
    rings = [box for box in boxes if not shapely.is_empty(box)]
    segments = np.flatnonzero(use)
    for ring in rings:
        for i in segments[shapely.crosses(geometry.line[segments], ring)].tolist():
            line = geometry.line[i]
            met = shapely.get_coordinates(shapely.intersection(line, ring))
            out += [OnRoad(i, float(line.project(shapely.Point(p)))) for p in met]
    return out


def _given(geometry: Geometry, use: np.ndarray, given: Sequence[BaseGeometry]) -> tuple[OnRoad, ...]:
    """Lines where they cross or touch a road for the rig, points at the nearest one within EXIT_REACH_M."""
    segments = np.flatnonzero(use)
    lines = geometry.line[segments]
    out = set()
    for shape in given:
        for part in shapely.get_parts(shape):
            if part.geom_type == "Point":
                away = shapely.distance(lines, part)
                if len(away) and away.min() <= EXIT_REACH_M:
                    i = int(segments[int(np.argmin(away))])
                    out.add(OnRoad(i, float(geometry.line[i].project(part))))
                continue
            for i in segments[shapely.intersects(lines, part)].tolist():
                met = shapely.get_coordinates(shapely.intersection(geometry.line[i], part))
                out |= {OnRoad(i, float(geometry.line[i].project(shapely.Point(p)))) for p in met}
    return tuple(sorted(out))


@dataclass(frozen=True, eq=False)
class ExitTree:
    """Roads for the rig cut at the exits into pieces, and for each node the last piece without a way round between it
    and the exits.

    Piece i is segment i from its start, `more[i]` are its further pieces. `next_cut` is the piece, `next_node` the
    node behind it, -1: none; `linked` tells whether the node hangs together with an exit at all.
    """

    segment: np.ndarray  # of each piece
    low_m: np.ndarray
    high_m: np.ndarray
    tail: np.ndarray
    head: np.ndarray
    more: dict[int, tuple[int, ...]]
    linked: np.ndarray
    next_cut: np.ndarray
    next_node: np.ndarray
    is_cut: np.ndarray

    def piece_at(self, place: OnRoad) -> int:
        """The piece of its segment that a place lies on."""
        for piece in (place.segment, *self.more.get(place.segment, ())):
            if place.along_m <= self.high_m[piece] + _SAME_M:
                return piece
        return (place.segment, *self.more.get(place.segment, ()))[-1]


def exit_tree(geometry: Geometry, drivable: np.ndarray, exits: Sequence[OnRoad]) -> ExitTree:
    """Depth-first search from all exits together; bridges by low-link (Tarjan 1974).

    Ways are roads for the rig, driven either way: who must leave may be let out against a one-way rule. A ring
    road that starts and ends at one node never cuts anything off.
    """
    segment, low_m, high_m, tail, head, more, roots = _pieces(geometry, exits)
    size = max(int(max(tail.max(initial=-1), head.max(initial=-1))) + 1, len(geometry.node_x))
    use = np.flatnonzero(drivable[segment] & (tail != head))
    linked, next_cut, next_node = _bridges(size, tail[use], head[use], np.array(roots, np.int64))
    cut = next_cut >= 0
    next_cut[cut] = use[next_cut[cut]]
    is_cut = np.zeros(len(segment), bool)
    is_cut[next_cut[cut]] = True
    return ExitTree(segment, low_m, high_m, tail, head, more, linked, next_cut, next_node, is_cut)


def _pieces(geometry: Geometry, exits: Sequence[OnRoad]) -> tuple:
    """(segment, low, high, tail, head) of the pieces, the further ones of each cut segment, nodes of the exits."""
    n = len(geometry.length_m)
    segment, low_m, high_m = np.arange(n), np.zeros(n), geometry.length_m.copy()
    tail, head = geometry.seg_from.copy(), geometry.seg_to.copy()
    inner: dict[int, list[float]] = {}
    roots: list[int] = []
    for place in sorted(exits):
        i, along = place
        if along <= _SAME_M:
            roots.append(int(tail[i]))
        elif along >= geometry.length_m[i] - _SAME_M:
            roots.append(int(geometry.seg_to[i]))
        elif not inner.get(i) or along - inner[i][-1] > _SAME_M:
            inner.setdefault(i, []).append(along)
    fresh = len(geometry.node_x)
    extra: list[tuple[int, float, float, int, int]] = []
    more: dict[int, tuple[int, ...]] = {}
    for i, places in inner.items():
        nodes = list(range(fresh, fresh + len(places)))
        fresh += len(places)
        roots += nodes
        ends = [*places, float(geometry.length_m[i])]
        more[i] = tuple(range(n + len(extra), n + len(extra) + len(places)))
        extra += [
            (i, places[k], ends[k + 1], nodes[k], nodes[k + 1] if k + 1 < len(nodes) else int(geometry.seg_to[i]))
            for k in range(len(places))
        ]
        high_m[i], head[i] = places[0], nodes[0]
    if extra:
        rows = np.array(extra, float)
        segment = np.append(segment, rows[:, 0].astype(np.int64))
        low_m, high_m = np.append(low_m, rows[:, 1]), np.append(high_m, rows[:, 2])
        tail, head = np.append(tail, rows[:, 3].astype(np.int64)), np.append(head, rows[:, 4].astype(np.int64))
    return segment, low_m, high_m, tail, head, more, sorted(set(roots))


def _bridges(
    size: int, tail: np.ndarray, head: np.ndarray, roots: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """For each node: linked with a root, the last bridge (an edge's number) between it and them, the node behind."""
    root = size
    # two links to each root: the outside world is never cut off
    m = len(tail) + 2 * len(roots)
    ends = np.concatenate([tail, np.repeat(root, 2 * len(roots)), head, np.repeat(roots, 2)])
    order = np.argsort(ends, kind="stable")
    first = np.searchsorted(ends[order], np.arange(size + 2)).tolist()
    other = np.concatenate([ends[m:], ends[:m]])[order].tolist()
    edge = (order % m).tolist() if m else []
    found = [0] * (size + 1)
    low = [0] * (size + 1)
    parent = [-1] * (size + 1)
    via = [-1] * (size + 1)
    at = first[:-1]
    visit = [root]
    found[root] = low[root] = clock = 1
    stack = [root]
    while stack:
        u = stack[-1]
        if at[u] < first[u + 1]:
            k = at[u]
            at[u] += 1
            v = other[k]
            if edge[k] == via[u]:
                continue
            if found[v]:
                if found[v] < low[u]:
                    low[u] = found[v]
            else:
                clock += 1
                found[v] = low[v] = clock
                parent[v], via[v] = u, edge[k]
                visit.append(v)
                stack.append(v)
        else:
            stack.pop()
            if stack and low[u] < low[stack[-1]]:
                low[stack[-1]] = low[u]
    next_cut, next_node = [-1] * (size + 1), [-1] * (size + 1)
    for u in visit[1:]:
        p = parent[u]
        if low[u] > found[p]:
            next_cut[u], next_node[u] = via[u], p
        else:
            next_cut[u], next_node[u] = next_cut[p], next_node[p]
    return np.array(found[:-1]) > 0, np.array(next_cut[:-1], np.int64), np.array(next_node[:-1], np.int64)
