"""One ray over the ground, and the arithmetic of one path on it, for `coverage_rays`.

Source: ITU-R P.526-15 section 4.5. Lengths along the path are in cells, `i` counts from the mast.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from siteplanner.core.coverage_loss import KERNEL


@njit(**KERNEL)
def between(flat, cols, at, down, right):
    """Bilinear value in a flat raster of `cols` columns: `at` is the first of the four cells (without a sign, so that
    nothing wraps), down and right the shares of the next row and column."""
    one, below = np.uintp(1), at + np.uintp(cols)
    top = flat[at] + right * (flat[at + one] - flat[at])
    bottom = flat[below] + right * (flat[below + one] - flat[below])
    return top + down * (bottom - top)


@njit(**KERNEL)
def places(high, wide, row, col, bearing, n, ray, corner, down, aside):
    """Where the samples at 1..n cell lengths lie in flat rasters of high x wide cells: the first of the four cells
    about each, and the shares of the row below it and of the column beside it. `ray`: where its tables begin."""
    up, right = -math.cos(bearing), math.sin(bearing)
    last_row, last_col, at = high - 1, wide - 1, np.uintp(ray)
    for i in range(1, n + 1):
        # A ray beside the outermost cells may leave the raster by less than two cells: hold it at the rim.
        y = min(max(row + up * i, 0.0), float(last_row))
        x = min(max(col + right * i, 0.0), float(last_col))
        j, k = min(np.int32(y), np.int32(last_row - 1)), min(np.int32(x), np.int32(last_col - 1))
        here = at + np.uintp(i)
        corner[here], down[here], aside[here] = j * wide + k, np.float32(y - j), np.float32(x - k)


@njit(**KERNEL)
def cast(flat_z, wide, ray, n, corner, down, aside, ground, bend, height, v1, v2):
    """Heights of the ground at the `places` 1..n of a ray and their sums; returns the last sample that is known."""
    at = np.uintp(ray)
    for i in range(1, n + 1):
        here = at + np.uintp(i)
        height[here] = between(flat_z, wide, np.uintp(corner[here]), down[here], aside[here])
    known = n
    sum_1, sum_2, before = 0.0, 0.0, 0.0
    height[at] = np.float32(0.0)
    for i in range(1, n + 1):
        here = at + np.uintp(i)
        flat = height[here] - ground
        if not flat > -1e20:  # NaN: nothing from here on is known
            known = i - 1
            for j in range(i, n + 1):
                height[at + np.uintp(j)] = np.float32(0.0)
            break
        sum_1 += flat + before
        sum_2 += flat * (3.0 * i - 1.0) + before * (3.0 * i - 2.0)
        before = flat
        v1[here], v2[here] = sum_1, sum_2
        height[here] = flat - bend * i * i
    return known


@njit(**KERNEL)
def hull(at, start, known, height, parent, slope):
    """Upper hull of the ray whose tables begin at `at`, from sample `start` on; before it, it stands already.

    It is kept as parent links: as it stood at any range it can be walked from there.
    """
    if start == 1 and known > 0:
        parent[at + np.uintp(1)], slope[at + np.uintp(1)] = 0, np.float32(1e30)
    for i in range(max(start, 2), known + 1):
        here = at + np.uintp(i)
        h, v = height[here], np.uintp(i - 1)
        while slope[at + v] * np.float32(np.int32(i) - np.int32(v)) <= h - height[at + v]:
            v = np.uintp(parent[at + v])
        parent[here] = np.int32(v)
        slope[here] = (h - height[at + v]) / np.float32(np.int32(i) - np.int32(v))


@njit(**KERNEL)
def horizons(at, seen, known, masts, inverse, height, horizon):
    """The sample that stands highest as seen from each stop, up to each sample of the ray whose heights begin at `at`.

    horizon: from `seen` on for the first stop, the length of two rays later for the next. inverse: (n,) float32, 1 / i.
    """
    for s in range(masts.size):
        mast = np.float32(masts[s])
        best, best_at = np.float32(-1e30), np.int32(1)
        for i in range(1, known + 1):
            rise = (height[at + np.uintp(i)] - mast) * inverse[i]
            if rise > best:
                best, best_at = rise, np.int32(i)
            horizon[seen + np.uintp(i)] = best_at
        seen += np.uintp(2 * inverse.size)


@njit(**KERNEL)
def least_clearance(table, left, right, w, low, count, mast, q, length, floats, bits):
    """Least clearance^2 / (i (L - i)) over `count` samples from `low` on of two rays, whose heights
    stand in `table` from `left` and `right` on.

    floats and bits are one scratch, seen twice: non-negative floats keep their order as integers, and integer
    minima become vector instructions where float minima do not.
    """
    at_left, at_right = np.uintp(left + low), np.uintp(right + low)  # without a sign: no wrapping to look out for
    ww, ll, start = np.float32(w), np.float32(length), np.float32(low)
    base, qq = np.float32(mast + q * low), np.float32(q)
    for j in range(count):
        step = np.float32(np.int32(j))
        i = start + step
        here = table[at_left + np.uintp(j)]
        gap = base + qq * step - here - ww * (table[at_right + np.uintp(j)] - here)
        floats[j] = gap * gap / (i * (ll - i))
    least = bits[0]
    for j in range(1, count):
        least = bits[j] if bits[j] < least else least
    bits[0] = least
    return floats[0]


@njit(**KERNEL)
def rises(table, left, right, w, p, low, count, run, rises):
    """Slopes from the receiver to samples as in `least_clearance`; `run`: its distance from the first of them."""
    ww, pp, rr = np.float32(w), np.float32(p), np.float32(run)
    at_left, at_right = np.uintp(left + low), np.uintp(right + low)
    for j in range(count):
        here = table[at_left + np.uintp(j)]
        rises[j] = (here + ww * (table[at_right + np.uintp(j)] - here) - pp) / (rr - np.float32(np.int32(j)))


@njit(**KERNEL)
def heights_over_surface(over, tx_angle, rx_angle, mast, g, rx_m, tx_surface, rx_surface):
    """Antenna heights over the smooth surface, lowered under obstructions (P.526-15 section 4.5).

    over: the highest obstruction over the chord, metres; tx_angle, rx_angle: the largest slopes over the chord.
    """
    if over > 0.0:
        part = over / (tx_angle + rx_angle)
        tx_surface -= part * tx_angle
        rx_surface -= part * rx_angle
    return mast - min(tx_surface, 0.0), g + rx_m - min(rx_surface, g)
