"""What stands on the ground along the rays of `coverage_rays`: trees and roofs over the bare ground.

The profile of a path is the higher of two: the ground all along, and the top of what stands on it, left out within
`clear` cells of either end. So both keep their own tables (upper hull, running horizon), the extremes of the whole are
the larger of the two, and the ground's tables serve the smooth surface of delta-Bullington as they are.

Woods are counted by the samples at which the path runs under the crowns; the path is that of Bullington's method: the
straight line where it is clear of everything solid, else the two tangents up to where they meet.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from siteplanner.core.coverage_cast import between
from siteplanner.core.coverage_loss import KERNEL

WINDOW = 8  # samples before the receiver that are always looked at: a cell's own foreground
NONE = np.float32(-1e30)  # lower than any ground
ROUNDING = 1e-6  # of a cell: a sample right on the border of the cleared zone is cleared


class Stands(NamedTuple):
    """What stands on the ground. Rasters without cells: nothing hides, or no woods are to be counted."""

    hides: np.ndarray  # (rows, cols) float32: top of what hides what is behind it; NaN, or below the ground: nothing
    trees: np.ndarray  # (rows, cols) float32: tops of the trees,
    kinds: np.ndarray  # (rows, cols) uint8: on the cells of this kind,
    kind: int
    own: np.ndarray  # (cells,) float32, sorted as the plan: top of the trees on the cell itself, NONE without
    tops: np.ndarray  # (rows, cols) float32: top of all that stands, for the way over the trees; no cells: not asked
    masts: np.ndarray  # (stops,) heights of the mast for that way
    far: np.ndarray  # (cells,) heights of the receivers for it, sorted as the plan
    level: bool  # nothing in `hides` is above the ground where the paths are: its tables are the ground's


class Depths(NamedTuple):
    """Metres of woods that each path of one job runs through, float32 (stops, n)."""

    mast_half: np.ndarray  # from the mast to where the path's two lines meet; in sight: to its middle
    far_half: np.ndarray
    mast_zone: np.ndarray  # of it within the cleared zone at the mast
    far_zone: np.ndarray


@njit(**KERNEL)
def cast_top(hides, corner, across, known, clear, ground, bend, masts, ground_height, height, parent, slope, horizon):
    """Sample the top of what stands along one ray, as `coverage_cast.cast` does the ground; `ground_height`, `corner`
    and `across` are its.

    Within `clear` cells of the mast, where the top is unknown or lower, the ground's own height counts.
    """
    stops = masts.size
    best = np.full(stops, -1e30)
    best_at = np.ones(stops, np.int32)
    flat, cols = hides.reshape(hides.size), hides.shape[1]
    first = min(int(clear + ROUNDING), known) + 1
    for i in range(1, first):
        height[i] = ground_height[i]
    for i in range(first, known + 1):
        top = between(flat, cols, np.uintp(corner[i]), across[0, i], across[1, i])
        over = np.float32(top - ground - bend * i * i)
        h = ground_height[i]
        height[i] = over if over > h else h
    for i in range(1, known + 1):
        h = height[i]
        if i == 1:
            parent[1], slope[1] = 0, np.float32(1e30)
        else:
            v = np.uintp(i - 1)
            while slope[v] * (i - np.int64(v)) <= h - height[v]:
                v = np.uintp(parent[v])
            parent[i], slope[i] = v, (h - height[v]) / (i - np.int64(v))
        inverse = 1.0 / i
        for s in range(stops):
            rise = (h - masts[s]) * inverse
            if rise > best[s]:
                best[s], best_at[s] = rise, i
            horizon[s, i] = best_at[s]


@njit(**KERNEL)
def cast_woods(trees, kinds, kind, row, col, bearing, known, ground, bend, lowest, crown, steepest):
    """Tops of the trees at the nearest cell of each sample 0..known, NONE without; returns the first and last of them.

    Whole cells, not blends of them: a wood then has its own depth on average, whatever the size of the cells.
    steepest: (n,) the largest slope from the lowest mast to a crown up to each sample.
    """
    up, right = -math.cos(bearing), math.sin(bearing)
    last_row, last_col = trees.shape[0] - 1, trees.shape[1] - 1
    first, last = known + 1, -1
    best = NONE
    for i in range(known + 1):
        # Half a cell below 0 is still the first cell: cutting off then rounds as it must.
        j = min(max(int(row + up * i + 0.5), 0), last_row)
        k = min(max(int(col + right * i + 0.5), 0), last_col)
        if kinds[j, k] == kind:
            here = np.float32(trees[j, k] - ground - bend * i * i)
            crown[i] = here
            first, last = min(first, i), i
            best = max(best, np.float32((here - lowest) / max(i, 1)))
        else:
            crown[i] = NONE
        steepest[i] = best
    return first, last


@njit(**KERNEL)
def far_horizon(table, left, right, near, w, m, p, length, parent, slope):
    """Largest slope from the receiver to the samples 1..m of a blended profile: slope, place, height, hull vertex.

    Proposed by the nearer ray's hull, decided on the blend. `p`: the receiver's height; m at least 1. The heights
    of the rays, and the hull, stand in flat tables from `left`, `right` and `near` on.
    """
    v = m
    while parent[near + v] > 0 and slope[near + v] * (length - v) <= p - table[near + v]:
        v = parent[near + v]
    best, at, height = -1e30, m, 0.0
    for i in range(max(m - WINDOW + 1, 1), m + 1):
        here = table[left + i] + w * (table[right + i] - table[left + i])
        rise = (here - p) / (length - i)
        if rise > best:
            best, at, height = rise, i, here
    for i in range(max(v - 1, 1), min(v + 1, m) + 1):
        here = table[left + i] + w * (table[right + i] - table[left + i])
        rise = (here - p) / (length - i)
        if rise > best:
            best, at, height = rise, i, here
    return best, at, height


@njit(**KERNEL)
def under_crowns(crown, offset, first, last, n, mast, tx_slope, p, rx_slope, length, meet, clear, zones_only, out):
    """Samples of one ray at which the path runs under the crowns: out[0..3] as the members of `Depths`, in cells.

    From the mast the path rises by `tx_slope` a cell up to `meet` cells, from the receiver at height `p` by
    `rx_slope`. The mast's own cell counts half. zones_only: only the woods within `clear` of the ends count.
    """
    at = np.uintp(offset)  # where the ray stands in `crown`
    near, far, near_zone, far_zone = np.int32(0), np.int32(0), np.int32(0), np.int32(0)
    turn = min(int(meet), n)
    a, t = np.float32(tx_slope), np.float32(mast)
    b, r, whole = np.float32(rx_slope), np.float32(p), np.float32(length)
    if not zones_only:
        for i in range(max(first, 1), min(last, turn) + 1):
            near += np.int32(1) if crown[at + np.uintp(i)] > t + a * np.float32(np.int32(i)) else np.int32(0)
        for i in range(max(first, turn + 1), min(last, n) + 1):
            far += np.int32(1) if crown[at + np.uintp(i)] > r + b * (whole - np.float32(np.int32(i))) else np.int32(0)
    for i in range(max(first, 1), min(last, turn, int(clear + ROUNDING)) + 1):
        near_zone += np.int32(1) if crown[at + np.uintp(i)] > t + a * np.float32(np.int32(i)) else np.int32(0)
    border = math.ceil(length - clear - ROUNDING)
    for i in range(max(first, turn + 1, border), min(last, n) + 1):
        far_zone += np.int32(1) if crown[at + np.uintp(i)] > r + b * (whole - np.float32(np.int32(i))) else np.int32(0)
    if zones_only:
        near, far = near_zone, far_zone
    own = 0.5 if crown[at] > mast else 0.0
    out[0], out[1], out[2], out[3] = near + own, far, near_zone + own, far_zone
