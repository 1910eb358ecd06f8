"""Chains of segments that a driver would call one road, and evenly spaced samples along them.

A grade or a bend needs ground before and after the point it is told for; a segment between two junctions is
often shorter than that. So neighbours are paired where one continues the other most straightly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike

LOOK_M = 10.0  # a segment's direction at its end is taken over this. Common practice
STRAIGHT_DEG = 45.0  # a side road does not continue a road. Common practice


@dataclass(frozen=True, eq=False)
class Strokes:
    """All segments laid end to end along one axis `s` in metres, stroke after stroke, 1 m apart.

    `order[k]` is the segment at place k, `reverse[k]` whether the stroke runs against it, `stroke[k]` its stroke.
    `vertex_*` are the vertices along the axis, `vertex_place` the place each belongs to.
    """

    order: np.ndarray
    reverse: np.ndarray
    stroke: np.ndarray
    start_s: np.ndarray  # of each place
    length_m: np.ndarray  # of each place
    low_s: np.ndarray  # of the whole stroke, for each place
    high_s: np.ndarray
    vertex_s: np.ndarray
    vertex_x: np.ndarray
    vertex_y: np.ndarray
    vertex_place: np.ndarray

    def xy(self, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.interp(s, self.vertex_s, self.vertex_x), np.interp(s, self.vertex_s, self.vertex_y)

    def along_segment(self, place: np.ndarray, s: np.ndarray) -> np.ndarray:
        """Metres from the segment's own start of points on the axis."""
        run = s - self.start_s[place]
        return np.where(self.reverse[place], self.length_m[place] - run, run)


def _outward(xy: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Unit directions from each end into its segment, over 10 m; shape (2 n, 2) with start, end, start ...

    `xy`: vertices of all segments, `first` the first of each.
    """
    last = np.append(first[1:], len(xy)) - 1
    step = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    step[first] = 1.0  # a gap, so that no two segments share a place on the axis
    s = np.cumsum(step)
    reach = np.minimum(LOOK_M, s[last] - s[first])
    ends = []
    for at, place in ((first, s[first] + reach), (last, s[last] - reach)):
        ends.append(np.column_stack([np.interp(place, s, v) for v in xy.T]) - xy[at])
    d = np.stack(ends, axis=1).reshape(-1, 2)
    return d / np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-12)[:, None]


def _partners(node: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """For each segment end the end it continues in, or -1. Ends 2i and 2i + 1 belong to segment i."""
    n = len(node)
    order = np.argsort(node, kind="stable")
    sorted_node = node[order]
    degree = np.bincount(node)
    best = np.full(n, -2.0)
    partner = np.full(n, -1)
    pairs = []
    for k in range(1, int(degree.max(initial=1))):
        p = np.flatnonzero(sorted_node[:-k] == sorted_node[k:])
        if not len(p):
            break
        a, b = order[p], order[p + k]
        straight = -(direction[a] * direction[b]).sum(axis=1)  # cosine of the deflection
        ok = (a >> 1 != b >> 1) & ((straight > np.cos(np.radians(STRAIGHT_DEG))) | (degree[node[a]] == 2))
        pairs.append((a[ok], b[ok], straight[ok]))
    for a, b, straight in pairs:
        np.maximum.at(best, a, straight)
        np.maximum.at(best, b, straight)
    for a, b, straight in pairs:
        mutual = (straight == best[a]) & (straight == best[b])
        partner[a[mutual]], partner[b[mutual]] = b[mutual], a[mutual]
    # equal candidates may have overwritten each other: keep only pairs that agree
    has = np.flatnonzero(partner >= 0)
    partner[has[partner[partner[has]] != has]] = -1
    return partner


def find_strokes(pieces: np.ndarray, start_node: np.ndarray, end_node: np.ndarray) -> Strokes:
    """Chain segments into strokes. Parameters: LineStrings and their end nodes, one each per segment."""
    n = len(pieces)
    xy, owner = shapely.get_coordinates(pieces, return_index=True)
    head = np.flatnonzero(np.diff(owner, prepend=-1))
    direction = _outward(xy, head)
    node = np.stack([start_node, end_node], axis=1).reshape(-1)
    partner = _partners(node, direction).tolist()
    order, reverse, stroke = [], [], []
    seen = bytearray(n)
    free = [e for e in range(2 * n) if partner[e] < 0]
    count = 0
    for first in (*free, *range(0, 2 * n, 2)):  # open chains from their ends, then rings from anywhere
        if seen[first >> 1]:
            continue
        e = first
        while e >= 0 and not seen[e >> 1]:
            seen[e >> 1] = 1
            order.append(e >> 1)
            reverse.append(e & 1)
            stroke.append(count)
            e = partner[e ^ 1]
        count += 1
    return _lay_out(xy, head, np.array(order, int), np.array(reverse, bool), np.array(stroke, int))


def _lay_out(xy: np.ndarray, head: np.ndarray, order: np.ndarray, reverse: np.ndarray, stroke: np.ndarray) -> Strokes:
    """`xy`: vertices of all segments in their order, `head` the first of each."""
    count = np.diff(np.append(head, len(xy)))[order]
    first = np.cumsum(count) - count
    place = np.repeat(np.arange(len(order)), count)
    start, way = np.where(reverse, head[order] + count - 1, head[order]), np.where(reverse, -1, 1)
    xy = xy[start[place] + way[place] * (np.arange(len(xy)) - first[place])]
    step = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    step[first] = 0.0
    step[first[1:][np.diff(stroke) != 0]] = 1.0
    s = np.cumsum(step)
    last = np.append(first[1:], len(s)) - 1
    start_s, end_s = s[first], s[last]
    begin = np.flatnonzero(np.diff(stroke, prepend=-1))
    finish = np.append(begin[1:], len(stroke)) - 1
    return Strokes(
        order,
        reverse,
        stroke,
        start_s,
        end_s - start_s,
        start_s[begin][stroke],
        end_s[finish][stroke],
        s,
        xy[:, 0].copy(),
        xy[:, 1].copy(),
        place,
    )


@dataclass(frozen=True, eq=False)
class Samples:
    """Points along the axis; each segment has both its ends and equal steps between them.

    `weight_m` is the length each sample stands for; those of a segment add up to its length.
    """

    s: np.ndarray
    place: np.ndarray
    weight_m: np.ndarray
    first: np.ndarray  # of each place, one longer than the places

    def per_segment(self, values: np.ndarray, order: np.ndarray, how: np.ufunc) -> np.ndarray:
        """Reduce values over each segment, in the order of the segments."""
        out = np.empty(len(order), values.dtype)
        if len(order):
            out[order] = how.reduceat(values, self.first[:-1])
        return out


def sample_strokes(strokes: Strokes, step_m: float) -> Samples:
    """Samples at most `step_m` apart."""
    intervals = np.maximum(1, np.ceil(strokes.length_m / step_m - 1e-9)).astype(np.int64)
    first = np.concatenate([[0], np.cumsum(intervals + 1)])
    place = np.repeat(np.arange(len(intervals)), intervals + 1)
    j = np.arange(first[-1]) - first[:-1][place]
    size = (strokes.length_m / intervals)[place]
    s = strokes.start_s[place] + j * size
    edge = (j == 0) | (j == intervals[place])
    return Samples(s, place, np.where(edge, size / 2, size), first)


def three_point_radius_m(
    ax: ArrayLike, ay: ArrayLike, bx: ArrayLike, by: ArrayLike, cx: ArrayLike, cy: ArrayLike
) -> np.ndarray:
    """Radius of the circle through three points, metres (arrays broadcast); infinite on a straight line.

    R = abc / 4K with the sides a, b, c and the area K of the triangle (elementary geometry). Coincident points
    give NaN.
    """
    ax, ay, bx, by, cx, cy = (np.asarray(v, float) for v in (ax, ay, bx, by, cx, cy))
    ab, bc = np.hypot(bx - ax, by - ay), np.hypot(cx - bx, cy - by)
    ca = np.hypot(cx - ax, cy - ay)
    twice_area = np.abs((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))
    with np.errstate(divide="ignore", invalid="ignore"):
        # c = a + b to rounding is straight; the way back on itself (c = 0) is no circle at all
        straight = twice_area <= 1e-12 * np.maximum(ab * bc, 1e-300)
        radius = np.where(straight & (ca > 0), np.inf, ab * bc * ca / (2 * twice_area))
    return np.where((ab == 0) | (bc == 0), np.nan, np.where(ca == 0, 0.0, radius))


def bend_radius_m(strokes: Strokes, place: np.ndarray, s: np.ndarray, reach_m: float) -> np.ndarray:
    """Radius through each point and the points `reach_m` before and after it on the same stroke.

    Infinite where the stroke does not go on for at least half the reach on both sides: no bend is known there.
    """
    before = np.maximum(s - reach_m, strokes.low_s[place])
    after = np.minimum(s + reach_m, strokes.high_s[place])
    ax, ay = strokes.xy(before)
    bx, by = strokes.xy(s)
    cx, cy = strokes.xy(after)
    radius = three_point_radius_m(ax, ay, bx, by, cx, cy)
    short = (s - before < reach_m / 2) | (after - s < reach_m / 2)
    return np.where(short | np.isnan(radius), np.inf, radius)


__all__ = ["Samples", "Strokes", "bend_radius_m", "find_strokes", "sample_strokes", "three_point_radius_m"]
