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

from siteplanner.core.coverage_cast import between, horizons, hull
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


class Depths(NamedTuple):
    """Metres of woods that each path runs through, float32 (stops, cells), 0 until worked out."""

    mast_half: np.ndarray  # from the mast to where the path's two lines meet; in sight: to its middle
    far_half: np.ndarray
    mast_zone: np.ndarray  # of it within the cleared zone at the mast
    far_zone: np.ndarray


@njit(**KERNEL)
def cast_over(
    flat_hides,
    wide,
    ray,
    known,
    corner,
    down,
    aside,
    clear,
    ground,
    bend,
    masts,
    inverse,
    below,
    below_parent,
    below_slope,
    height,
    parent,
    slope,
    horizon,
    layer,
):
    """The tables of one ray over the top of what stands on it, as `coverage_cast` makes those of the ground `below`;
    returns whether anything stands there.

    Within `clear` cells of the mast, where the top is unknown or lower, the ground's own height counts. The ray's
    tables begin at `ray`, those over what stands the length of two rays later for each `layer`.
    """
    at = np.uintp(ray)
    to = at + np.uintp(2 * inverse.size * layer)
    first = min(int(clear + ROUNDING), known) + 1
    for i in range(1, first):
        height[to + np.uintp(i)] = below[at + np.uintp(i)]
    for i in range(first, known + 1):
        here = at + np.uintp(i)
        top = between(flat_hides, wide, np.uintp(corner[here]), down[here], aside[here])
        higher, h = np.float32(top - ground - bend * i * i), below[here]
        height[to + np.uintp(i)] = higher if higher > h else h
    while first <= known and height[to + np.uintp(first)] == below[at + np.uintp(first)]:
        first += 1
    # Up to there the hull is the ground's.
    for i in range(1, first):
        parent[to + np.uintp(i)] = below_parent[at + np.uintp(i)]
        slope[to + np.uintp(i)] = below_slope[at + np.uintp(i)]
    hull(to, first, known, height, parent, slope)
    horizons(to, at + np.uintp(2 * inverse.size * masts.size * layer), known, masts, inverse, height, horizon)
    return first <= known


@njit(**KERNEL)
def cast_woods(
    flat_trees,
    flat_kinds,
    kind,
    own,
    wide,
    ray,
    known,
    corner,
    down,
    aside,
    ground,
    bend,
    lowest,
    inverse,
    crown,
    steepest,
):
    """Tops of the trees at the nearest cell of each sample 0..known, NONE without; returns the first and last of them.

    Whole cells, not blends of them: a wood then has its own depth on average, whatever the size of the cells.
    own: the mast's cell in the flat rasters; the other samples stand at the `places` of the ray. steepest: the
    largest slope from the lowest mast to a crown up to each sample. inverse: (n,) float32, 1 / i, and 1 at 0.
    """
    at, sort, cols = np.uintp(ray), np.uint8(kind), np.int64(wide)
    crown[at] = np.float32(flat_trees[own] - ground) if flat_kinds[own] == sort else NONE
    for i in range(1, known + 1):
        here = at + np.uintp(i)
        below = cols if down[here] >= np.float32(0.5) else np.int64(0)
        beside = np.int64(1) if aside[here] >= np.float32(0.5) else np.int64(0)
        cell = np.uintp(corner[here] + below + beside)
        top = np.float32(flat_trees[cell] - ground - bend * i * i)
        crown[here] = top if flat_kinds[cell] == sort else NONE
    first, last = known + 1, -1
    best, eye = NONE, np.float32(lowest)
    for i in range(known + 1):
        top = crown[at + np.uintp(i)]
        if top > NONE:
            first, last = min(first, i), i
            best = max(best, (top - eye) * inverse[i])
        steepest[at + np.uintp(i)] = best
    return first, last


@njit(**KERNEL)
def far_horizon(table, left, right, near, both, w, m, p, length, parent, slope):
    """Largest slope from the receiver to the samples 1..m of a blended profile: slope, place, height.

    Proposed by the hulls of both rays, or of the nearer one alone, decided on the blend. `p`: the receiver's height; m
    at least 1. The heights of the rays, and their hulls, stand in flat tables from `left` and `right` on, the nearer
    ray's from `near`.
    """
    best, at, height = -1e30, m, 0.0
    for i in range(max(m - WINDOW + 1, 1), m + 1):
        here = table[left + i] + w * (table[right + i] - table[left + i])
        rise = (here - p) / (length - i)
        if rise > best:
            best, at, height = rise, i, here
    ray = near
    for _ in range(2 if both else 1):
        v = m
        while parent[ray + v] > 0 and slope[ray + v] * (length - v) <= p - table[ray + v]:
            v = parent[ray + v]
        for i in range(max(v - 1, 1), min(v + 1, m) + 1):
            here = table[left + i] + w * (table[right + i] - table[left + i])
            rise = (here - p) / (length - i)
            if rise > best:
                best, at, height = rise, i, here
        ray = left + right - near
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
