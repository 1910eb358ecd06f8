"""Small holes in the ground are bridged from both sides; larger ones stay unknown."""

from __future__ import annotations

import numpy as np


def fill_small_gaps(values: np.ndarray, widest: int) -> tuple[np.ndarray, int]:
    """Fill holes that are nowhere wider than `widest` cells; return the filled copy and the count of cells.

    A hole is a patch of NaN joined by edges or corners. It is small when no square of (widest + 1) cells fits into
    it (a long thin seam is small, a round lake is not). Small holes are filled by straight lines between
    known cells on both sides, along the row and the column, nearer sides weighing more; what has no known cell on
    both sides (the rim of the data) stays NaN, because nothing is extrapolated.
    """
    from scipy import ndimage

    unknown = np.isnan(values)
    if widest < 1 or not unknown.any() or unknown.all():
        return values, 0
    side = widest + 1
    holes = unknown.view(np.uint8)
    # 1 where a whole square round the cell is unknown; beyond the edge nothing is known to be unknown
    square = ndimage.minimum_filter(holes, size=side, mode="constant", cval=0)
    labels, count = ndimage.label(unknown, structure=np.ones((3, 3), dtype=bool))
    is_wide = np.zeros(count + 1, dtype=bool)
    is_wide[labels[square > 0]] = True
    small = unknown & ~is_wide[labels]
    return _bridge(values, small, 2 * widest)


def _bridge(values: np.ndarray, small: np.ndarray, longest: int) -> tuple[np.ndarray, int]:
    rows, cols = np.nonzero(small)
    if not rows.size:
        return values, 0
    total, weight = np.zeros(rows.size), np.zeros(rows.size)
    for dr, dc in ((0, 1), (1, 0)):
        (near, near_v), (far, far_v) = (_reach(values, rows, cols, s * dr, s * dc, longest) for s in (1, -1))
        both = np.isfinite(near_v) & np.isfinite(far_v)
        span = near + far
        w = np.where(both, 1.0 / span**2, 0.0)
        total += np.where(both, w * (near_v * far + far_v * near) / span, 0.0)
        weight += w
    done = weight > 0
    out = values.copy()
    out[rows[done], cols[done]] = total[done] / weight[done]
    return out, int(done.sum())


def _reach(
    values: np.ndarray, rows: np.ndarray, cols: np.ndarray, dr: int, dc: int, longest: int
) -> tuple[np.ndarray, np.ndarray]:
    """Steps to the first known cell in one direction and its value; NaN if there is none within `longest`."""
    steps = np.ones(rows.size)
    found = np.full(rows.size, np.nan)
    for k in range(1, longest + 1):
        r, c = rows + k * dr, cols + k * dc
        ok = np.isnan(found) & (r >= 0) & (r < values.shape[0]) & (c >= 0) & (c < values.shape[1])
        v = values[r[ok], c[ok]]
        hit = np.flatnonzero(ok)[np.isfinite(v)]
        found[hit], steps[hit] = v[np.isfinite(v)], k
    return steps, found
