"""Loose lines into a graph: where lines share a vertex, cross on one level, or just fail to meet.

Geometry only: lines and their levels in, pieces and junctions out. Everything is metres in one plane.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from siteplanner.roads.crossings import find_crossings

SNAP_M = 0.1  # ends closer than this are one point: digitising and coordinate rounding. Common practice
REACH_M = 2.0  # an end this close to a line was meant to meet it. Common practice
DRAWN_REACH_M = 15.0  # the same for a line that somebody drew by hand on a map. Common practice
_KEY_M = 1e-3  # vertices that agree to a millimetre are the same vertex


@dataclass(frozen=True, eq=False)
class Noded:
    """Pieces between junctions. `line` is the index of the line a piece was cut from, `start_m` where on it.

    `mended` are the points where an end was led to a line, `under` those where a line passes below another
    without meeting it. `node_id`: ids of the nodes where the lines brought some, -1 for others.
    """

    piece: np.ndarray  # LineStrings
    line: np.ndarray
    start_node: np.ndarray
    end_node: np.ndarray
    node_x: np.ndarray
    node_y: np.ndarray
    mended: np.ndarray  # (n, 3): x, y, gap in metres
    under: np.ndarray  # (n, 4): x, y and the indices of the lower and the upper line
    node_id: np.ndarray


def _locate(lines: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return shapely.line_locate_point(lines, shapely.points(x, y))


def _keys(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """One number for each different point at a millimetre, 0, 1, 2 ..."""
    kx, ky = np.round(x / _KEY_M).astype(np.int64), np.round(y / _KEY_M).astype(np.int64)
    if len(x) and int(np.ptp(kx)) + 1 < 2**62 // (int(np.ptp(ky)) + 1):  # both fit into one number: sorts faster
        order = np.argsort((kx - kx.min()) * (int(np.ptp(ky)) + 1) + (ky - ky.min()))
    else:
        order = np.lexsort((ky, kx))
    fresh = np.ones(len(x), bool)
    fresh[1:] = (np.diff(kx[order]) != 0) | (np.diff(ky[order]) != 0)
    out = np.empty(len(x), np.int64)
    out[order] = np.cumsum(fresh) - 1
    return out


class _Vertices:
    """The vertices of all lines in one table; grows by inserted points, then is cut into pieces."""

    def __init__(self, lines: np.ndarray, vertex_id: np.ndarray | None = None) -> None:
        xy, self.line = shapely.get_coordinates(lines, return_index=True)
        self.id = np.full(len(xy), -1, np.int64) if vertex_id is None else vertex_id
        self.x, self.y = xy[:, 0].copy(), xy[:, 1].copy()
        count = np.bincount(self.line, minlength=len(lines))
        self.last = np.cumsum(count) - 1
        self.first = self.last - count + 1
        if vertex_id is None:
            self._snap_ends()
        self.measure()
        self.split = np.zeros(len(self.x), bool)
        self.split[self.first] = self.split[self.last] = True
        self._extra: list[tuple[np.ndarray, ...]] = []

    def measure(self) -> None:
        step = np.hypot(np.diff(self.x, prepend=self.x[:1]), np.diff(self.y, prepend=self.y[:1]))
        step[self.first] = 0.0
        run = np.cumsum(step)
        self.along = run - run[self.first][self.line]

    def _snap_ends(self) -> None:
        ends = np.concatenate([self.first, self.last])
        key = _keys(self.x[ends], self.y[ends])
        _, one = np.unique(key, return_index=True)
        if len(one) < 2:
            return
        x, y = self.x[ends[one]], self.y[ends[one]]
        pairs = cKDTree(np.column_stack([x, y])).query_pairs(SNAP_M, output_type="ndarray")
        if not len(pairs):
            return
        near = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(one), len(one)))
        _, label = connected_components(near, directed=False)
        _, leader = np.unique(label, return_index=True)
        target = leader[label][key]
        # a line shorter than the tolerance must not fold up into a point
        short = np.hypot(self.x[self.last] - self.x[self.first], self.y[self.last] - self.y[self.first]) < 2 * SNAP_M
        move = ~np.concatenate([short, short])
        self.x[ends[move]], self.y[ends[move]] = x[target[move]], y[target[move]]

    def insert(self, line: np.ndarray, along: np.ndarray, x: np.ndarray, y: np.ndarray) -> None:
        """Cut `line` at `along` with the vertex (x, y); along < 0 or beyond the end makes the line longer."""
        self._extra.append(tuple(np.asarray(v) for v in (line, along, x, y)))

    def settle(self) -> None:
        """Work the inserted points in; one within a millimetre of a vertex becomes that vertex's cut."""
        if not self._extra:
            return
        line, along, x, y = (np.concatenate([e[k] for e in self._extra]) for k in range(4))
        self._extra = []
        n_old = len(self.x)
        line_all = np.concatenate([self.line, line.astype(self.line.dtype)])
        along_all = np.concatenate([self.along, along])
        new = np.concatenate([np.zeros(n_old, bool), np.ones(len(line), bool)])
        order = self._merged(line, along)
        x_all, y_all = np.concatenate([self.x, x])[order], np.concatenate([self.y, y])[order]
        split = np.concatenate([self.split, np.ones(len(line), bool)])[order]
        line_s, along_s, new_s = line_all[order], along_all[order], new[order]
        # runs of vertices at the same place on a line are one vertex; an inserted one gives the coordinates,
        # because the other line was given exactly the same ones
        fresh = np.ones(len(order), bool)
        fresh[1:] = (np.diff(line_s) != 0) | (np.diff(along_s) > _KEY_M)
        run = np.cumsum(fresh) - 1
        n = int(run[-1]) + 1
        chosen = np.flatnonzero(fresh)
        inserted = np.flatnonzero(new_s)
        chosen[run[inserted]] = inserted
        any_split = np.zeros(n, bool)
        np.logical_or.at(any_split, run, split)
        ids = np.full(n, -1, np.int64)
        named = np.flatnonzero(order < n_old)
        ids[run[named]] = self.id[order[named]]
        self.id = ids
        self.x, self.y, self.line = x_all[chosen], y_all[chosen], line_s[chosen]
        self.along, self.split = along_s[chosen], any_split
        count = np.bincount(self.line)
        self.last = np.cumsum(count) - 1
        self.first = self.last - count + 1

    def _merged(self, line: np.ndarray, along: np.ndarray) -> np.ndarray:
        """Old vertices and new ones (numbered after them) by line and distance along it, new ones behind.

        The old ones are in order already, so the few new ones are let in between.
        """
        new = np.lexsort((along, line))
        line, along = line[new], along[new]
        lines = np.unique(line)
        count = self.last[lines] + 1 - self.first[lines]
        index = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
        index += np.repeat(self.first[lines], count)
        both_line, both_along = np.concatenate([self.line[index], line]), np.concatenate([self.along[index], along])
        order = np.lexsort((np.arange(len(both_line)) >= len(index), both_along, both_line))
        is_new = order >= len(index)
        before = np.cumsum(~is_new)[is_new]  # old vertices of the touched lines that go before each new one
        into = np.append(index, 0)[np.maximum(before - 1, 0)] + 1
        head = self.first[line]  # before the first vertex of its line
        return np.insert(np.arange(len(self.x)), np.maximum(into * (before > 0), head), len(self.x) + new)


def _shared_ids(v: _Vertices) -> None:
    """Cut at vertices that bear the same id."""
    own = np.flatnonzero(v.id >= 0)
    _, key, count = np.unique(v.id[own], return_inverse=True, return_counts=True)
    v.split[own[count[key] > 1]] = True


def _shared_vertices(v: _Vertices, level: np.ndarray, strict: bool) -> None:
    """Cut at vertices that two lines (or one line twice) have in common.

    With `strict`, vertices inside two lines on different levels do not join: there the data are not known to
    share vertices on purpose, and a road does not meet the bridge over it.
    """
    key = _keys(v.x, v.y)
    count = np.bincount(key)
    shared = count[key] > 1
    if strict:
        low = np.full(len(count), 10**6)
        high = np.full(len(count), -(10**6))
        lv = level[v.line]
        np.minimum.at(low, key, lv)
        np.maximum.at(high, key, lv)
        has_end = np.zeros(len(count), bool)
        has_end[key[v.first]] = has_end[key[v.last]] = True
        mixed = (low != high) & ~has_end
        if mixed.any():  # rare: settle level by level
            odd = np.flatnonzero(mixed[key])
            pair, index = np.unique(np.column_stack([key[odd], lv[odd]]), axis=0, return_inverse=True)
            shared[odd] = np.bincount(index.ravel(), minlength=len(pair))[index.ravel()] > 1
    v.split |= shared


def _runs_one_way(lines: np.ndarray) -> np.ndarray:
    """Lines whose every step gains on their chord: they cannot meet themselves. Cheap, so that few are looked at."""
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    chord = xy[np.append(first[1:], len(xy)) - 1] - xy[first]
    gain = (np.diff(xy, axis=0) * chord[owner[1:]]).sum(axis=1)
    back = (gain <= 0) & (np.diff(owner) == 0)
    out = np.ones(len(lines), bool)
    out[owner[1:][back]] = False
    return out


def _self_crossings(lines: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    loops = np.flatnonzero(~_runs_one_way(lines))
    loops = loops[~shapely.is_simple(lines[loops])]
    owner, points = [np.empty(0, int)], [np.empty((0, 2))]
    for i in loops:
        pieces = shapely.get_parts(shapely.node(lines[i]))
        ends = np.unique(np.vstack([shapely.get_coordinates(p)[[0, -1]] for p in pieces]), axis=0)
        owner.append(np.full(len(ends), i))
        points.append(ends)
    return np.concatenate(owner), np.vstack(points)


def _insert_self_crossings(v: _Vertices, lines: np.ndarray) -> None:
    """Cut a line that crosses itself, at both passes."""
    owner, points = _self_crossings(lines)
    for i, (px, py) in zip(owner, points, strict=True):
        xy = shapely.get_coordinates(lines[i])
        a, d = xy[:-1], np.diff(xy, axis=0)
        size = np.hypot(d[:, 0], d[:, 1])
        t = np.clip(((px - a[:, 0]) * d[:, 0] + (py - a[:, 1]) * d[:, 1]) / np.maximum(size, 1e-12) ** 2, 0, 1)
        off = np.hypot(a[:, 0] + t * d[:, 0] - px, a[:, 1] + t * d[:, 1] - py)
        on = np.flatnonzero(off < _KEY_M)
        along = np.concatenate([[0.0], np.cumsum(size)])[on] + t[on] * size[on]
        v.insert(np.full(len(on), i), along, np.full(len(on), px), np.full(len(on), py))


def _lead_ends(v: _Vertices, lines: np.ndarray, level: np.ndarray, reach_m: np.ndarray) -> np.ndarray:
    """Join ends that meet nothing to the nearest line within their line's reach; (x, y, gap) of real gaps."""
    split = np.flatnonzero(v.split)
    key = _keys(v.x[split], v.y[split])
    lone = np.bincount(key)[key] == 1
    is_first = np.zeros(len(v.x), bool)
    is_first[v.first] = True
    is_end = is_first.copy()
    is_end[v.last] = True
    end = split[lone & is_end[split]]
    # a stub shorter than the reach past a junction is an overshoot: it meets already
    before = np.concatenate([[-1], np.flatnonzero(v.split)])
    rank = np.searchsorted(before, end)
    other = np.where(is_first[end], before[np.minimum(rank + 1, len(before) - 1)], before[rank - 1])
    stub = (np.abs(v.along[other] - v.along[end]) < reach_m[v.line[end]]) & ~is_end[other]
    end = end[~stub]
    end = end[reach_m[v.line[end]] > 0]
    if not len(end):
        return np.empty((0, 3))
    points = shapely.points(v.x[end], v.y[end])
    k, target = shapely.STRtree(lines).query(points, predicate="dwithin", distance=reach_m[v.line[end]])
    gap = shapely.distance(points[k], lines[target])
    fits = (v.line[end[k]] != target) & ((level[v.line[end[k]]] == level[target]) | (gap <= SNAP_M))
    k, target, gap = k[fits], target[fits], gap[fits]
    order = np.lexsort((target, gap, k))
    k, target, gap = k[order], target[order], gap[order]
    first = np.ones(len(k), bool)
    first[1:] = np.diff(k) != 0
    k, target, gap = k[first], target[first], gap[first]
    e = end[k]
    along = shapely.line_locate_point(lines[target], points[k])
    spot = shapely.get_coordinates(shapely.line_interpolate_point(lines[target], along))
    x, y = spot[:, 0].copy(), spot[:, 1].copy()
    length = shapely.length(lines[target])
    at_first, at_last = along <= _KEY_M, along >= length - _KEY_M
    for mask, index in ((at_first, v.first), (at_last, v.last)):
        x[mask], y[mask] = v.x[index[target[mask]]], v.y[index[target[mask]]]
    # an end beside its own line, on the side away from the other, does not miss that other: it turns back
    start = np.column_stack([v.x[e], v.y[e]])
    ahead = start + (spot - start) * np.minimum(_KEY_M / np.maximum(gap, _KEY_M), 1.0)[:, None]
    bridge = shapely.linestrings(np.stack([ahead, spot], axis=1))
    back = (gap > SNAP_M) & shapely.intersects(bridge, lines[v.line[e]])
    k, e, target, gap, along, spot, length = (part[~back] for part in (k, e, target, gap, along, spot, length))
    x, y, at_first, at_last = x[~back], y[~back], at_first[~back], at_last[~back]
    # two lone ends that point at each other: one of them moves
    met = {(int(a), int(b)) for a, b in zip(e, np.where(at_first, v.first[target], v.last[target]), strict=True)}
    ends_meet = at_first | at_last
    partner = np.where(at_first, v.first[target], v.last[target])
    twice = np.array(
        [bool(m) and (int(p), int(s)) in met and s > p for m, p, s in zip(ends_meet, partner, e, strict=True)], bool
    )
    keep = ~twice
    e, target, gap, along, x, y = e[keep], target[keep], gap[keep], along[keep], x[keep], y[keep]
    v.insert(target, along, x, y)
    touch = gap <= SNAP_M
    # a touching end takes the other's place; a gap is bridged by one more vertex
    v.x[e[touch]], v.y[e[touch]] = x[touch], y[touch]
    far = ~touch
    v.split[e[far]] = False  # the old end is a vertex on the way now
    v.insert(v.line[e[far]], np.where(is_first[e[far]], -gap[far], v.along[e[far]] + gap[far]), x[far], y[far])
    return np.column_stack([x[far], y[far], gap[far]])


def _passing_below(
    lines: np.ndarray, level: np.ndarray, a: np.ndarray, b: np.ndarray, x: np.ndarray, y: np.ndarray
) -> np.ndarray:
    """Rows (x, y, lower line, upper line) of crossings between levels, ends apart: there the lines meet."""
    apart = level[a] != level[b]
    for line in (a, b):
        along = _locate(lines[line], x, y)
        apart &= (along > SNAP_M) & (along < shapely.length(lines[line]) - SNAP_M)
    low = level[a] < level[b]
    return np.column_stack([x, y, np.where(low, a, b), np.where(low, b, a)])[apart]


def node_lines(
    lines: np.ndarray,
    level: np.ndarray,
    *,
    cross: bool = True,
    reach_m: float = REACH_M,
    cut_by: Sequence[BaseGeometry] = (),
    cut_at: np.ndarray | None = None,
    vertex_id: np.ndarray | None = None,
    drawn: np.ndarray | None = None,
) -> Noded:
    """Cut lines at their junctions.

    Parameters: `lines` 2-D LineStrings of some length, `level` an integer for each; with `cross`, lines on one
    level join where they cross, and ends that miss a line by up to `reach_m` are led to it. Without `cross`
    only common vertices join (OpenStreetMap: a crossing without a common node is a bridge). `cut_by`: lines
    are also cut where they meet the boundary of these areas (or these lines). `cut_at`: points (n, 2); lines within
    the snap tolerance of one are cut there. `vertex_id`: ids of all lines' vertices in one array, -1 without one;
    lines then join where they share an id and not where they only lie at one place. `drawn` marks lines that join
    as with `cross` in any case, and whose ends reach DRAWN_REACH_M far.
    """
    v = _Vertices(lines, vertex_id)
    loose = np.full(len(lines), cross) if drawn is None else drawn | cross
    if cross:  # ends may have moved by the snap tolerance
        lines = np.asarray(shapely.linestrings(np.column_stack([v.x, v.y]), indices=v.line), object)
    if vertex_id is None:
        _shared_vertices(v, level, strict=cross)
    else:
        _shared_ids(v)
    mended = np.empty((0, 3))
    a, b, x, y = find_crossings(lines)
    joins = (level[a] == level[b]) & (loose[a] | loose[b])
    if joins.any():
        for line in (a[joins], b[joins]):
            v.insert(line, _locate(lines[line], x[joins], y[joins]), x[joins], y[joins])
    under = _passing_below(lines, level, a, b, x, y)
    if cross:
        _insert_self_crossings(v, lines)
    reach = np.where(loose, reach_m, 0.0)
    if drawn is not None:
        reach[drawn] = DRAWN_REACH_M
    if (reach > 0).any():
        v.settle()
        mended = _lead_ends(v, lines, level, reach)
    if len(cut_by):
        shapes = np.asarray(cut_by, object)
        rims = np.where(shapely.get_dimensions(shapes) == 2, shapely.boundary(shapes), shapes)
        hit, rim = shapely.STRtree(rims).query(lines, predicate="intersects")
        parts, which = shapely.get_parts(shapely.intersection(lines[hit], rims[rim]), return_index=True)
        xy, of = shapely.get_coordinates(parts, return_index=True)
        on = hit[which[of]]
        v.insert(on, _locate(lines[on], xy[:, 0], xy[:, 1]), xy[:, 0], xy[:, 1])
    if cut_at is not None and len(cut_at):
        points = np.asarray(shapely.points(cut_at), object)
        k, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=SNAP_M)
        v.insert(line, shapely.line_locate_point(lines[line], points[k]), cut_at[k, 0], cut_at[k, 1])
    v.settle()
    return _pieces(v, mended, under)


def _pieces(v: _Vertices, mended: np.ndarray, under: np.ndarray) -> Noded:
    cut = np.flatnonzero(v.split)
    start, end = cut[:-1], cut[1:]
    same = v.line[start] == v.line[end]
    start, end = start[same], end[same]
    count = end - start + 1
    owner = np.repeat(np.arange(len(start)), count)
    index = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(start, count)
    pieces = np.asarray(shapely.linestrings(np.column_stack([v.x[index], v.y[index]]), indices=owner), object)
    real = shapely.length(pieces) > _KEY_M
    start, end, pieces = start[real], end[real], pieces[real]
    ends = np.concatenate([start, end])
    key = _keys(v.x[ends], v.y[ends]) if len(ends) else np.empty(0, np.int64)
    ids = v.id[ends]
    if (ids >= 0).any():  # an id is a node of its own, wherever it lies
        key = np.unique(np.where(ids >= 0, ids, -1 - key), return_inverse=True)[1].ravel()
    _, one = np.unique(key, return_index=True)
    x, y, node_id = v.x[ends[one]], v.y[ends[one]], ids[one]
    # two computations of one crossing may fall either side of a rounding edge
    pairs = cKDTree(np.column_stack([x, y])).query_pairs(2 * _KEY_M, output_type="ndarray")
    pairs = pairs[(node_id[pairs] < 0).any(axis=1)]
    if len(pairs):
        near = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(x), len(x)))
        _, label = connected_components(near, directed=False)
        _, leader = np.unique(label, return_index=True)
        key, x, y = label[key], x[leader], y[leader]
        best = np.full(len(leader), -1, np.int64)
        np.maximum.at(best, label, node_id)
        node_id = best
    return Noded(pieces, v.line[start], key[: len(start)], key[len(start) :], x, y, mended, under, node_id)
