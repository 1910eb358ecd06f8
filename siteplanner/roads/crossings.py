"""Where lines cross: all pairs of edges that meet away from a common vertex, found by arrays."""

from __future__ import annotations

import numpy as np
import shapely

TOUCH_M = 1e-3  # an edge that ends this close to another touches it
_CHUNK = 3_000_000  # edges looked at in one go; bounds the memory


def _expand(first: np.ndarray, count: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Indices first[k] .. first[k] + count[k] - 1 for all k, and the k of each."""
    k = np.repeat(np.arange(len(first)), count)
    return np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count) + first[k], k


def _inside(
    box: tuple[np.ndarray, ...], first: np.ndarray, edges: np.ndarray, line: np.ndarray, window: tuple[np.ndarray, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Edges of line[k] that overlap window[k], as (edge's first vertex, k). `box`: low and high x and y of the edges.

    One side after the other, each only for what the sides before let through.
    """
    edge, k = _expand(first[line], edges[line])
    for low, high, least, most in ((*box[:2], *window[:2]), (*box[2:], *window[2:])):
        hit = np.flatnonzero((high[edge] >= least[k]) & (low[edge] <= most[k]))
        edge, k = edge[hit], k[hit]
    return edge, k


def _meet(p: np.ndarray, p2: np.ndarray, q: np.ndarray, q2: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Which pairs of edges meet in one point that is no common vertex, and where on the first (0..1)."""
    r, s, d = p2 - p, q2 - q, q - p
    cross = r[:, 0] * s[:, 1] - r[:, 1] * s[:, 0]
    size_r, size_s = np.hypot(*r.T), np.hypot(*s.T)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (d[:, 0] * s[:, 1] - d[:, 1] * s[:, 0]) / cross
        u = (d[:, 0] * r[:, 1] - d[:, 1] * r[:, 0]) / cross
        slack_t, slack_u = TOUCH_M / size_r, TOUCH_M / size_s
        ok = (np.abs(cross) > 1e-9 * size_r * size_s) & (t >= -slack_t) & (t <= 1 + slack_t)
        ok &= (u >= -slack_u) & (u <= 1 + slack_u)
    for a in (p, p2):
        for b in (q, q2):
            ok &= ~(np.abs(a - b).max(axis=1) < TOUCH_M)  # joined there already, as a common vertex
    return ok, np.clip(t, 0, 1)


def find_crossings(lines: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(line a, line b, x, y) of every place where two different lines meet without a common vertex there.

    Lines that run on top of each other are not reported; their ends are found by whoever joins ends.
    """
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    count = np.bincount(owner, minlength=len(lines))
    first = np.cumsum(count) - count
    edges = count - 1
    box = shapely.bounds(lines)
    a, b = shapely.STRtree(lines).query(lines)
    a, b = a[a < b], b[a < b]
    window = tuple(
        edge
        for axis in (0, 1)
        for edge in (
            np.maximum(box[a, axis], box[b, axis]) - TOUCH_M,
            np.minimum(box[a, axis + 2], box[b, axis + 2]) + TOUCH_M,
        )
    )
    sides = tuple(np.ascontiguousarray(of(v[:-1], v[1:])) for v in xy.T for of in (np.minimum, np.maximum))
    total = np.cumsum(edges[a] + edges[b])
    steps = np.arange(_CHUNK, int(total[-1]) + _CHUNK, _CHUNK) if len(a) else np.empty(0, int)
    cuts = np.searchsorted(total, steps, side="right").tolist()
    out_a, out_b, out_xy = [np.empty(0, int)], [np.empty(0, int)], [np.empty((0, 2))]
    low = 0
    for high in [*cuts, len(a)]:
        if high <= low:
            continue
        part = slice(low, high)
        part_window = tuple(w[part] for w in window)
        edge_a, k_a = _inside(sides, first, edges, a[part], part_window)
        edge_b, k_b = _inside(sides, first, edges, b[part], part_window)
        n = high - low
        per_b = np.bincount(k_b, minlength=n)
        first_b = np.cumsum(per_b) - per_b
        index_b, which = _expand(first_b[k_a], per_b[k_a])
        ea, eb, k = edge_a[which], edge_b[index_b], k_a[which]
        ok, t = _meet(xy[ea], xy[ea + 1], xy[eb], xy[eb + 1])
        ea, k, t = ea[ok], k[ok], t[ok]
        out_a.append(a[part][k])
        out_b.append(b[part][k])
        out_xy.append(xy[ea] + t[:, None] * (xy[ea + 1] - xy[ea]))
        low = high
    points = np.vstack(out_xy)
    return np.concatenate(out_a), np.concatenate(out_b), points[:, 0], points[:, 1]
