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
def cast(z, row, col, bearing, n, ground, bend, masts, corner, across, height, parent, slope, v1, v2, horizon):
    """Sample one ray at 1..n cell lengths and fill its tables; returns the last sample that is known.

    corner, across: where each sample lies, the first of its four cells in the flat raster and the shares (2, n) of the
    row and the column after it, for the other rasters.
    """
    flat_z, cols = z.reshape(z.size), z.shape[1]
    up, right = -math.cos(bearing), math.sin(bearing)
    last_row, last_col = z.shape[0] - 1, z.shape[1] - 1
    for i in range(1, n + 1):
        # A ray beside the outermost cells may leave the raster by less than two cells: hold it at the rim.
        y = min(max(row + up * i, 0.0), float(last_row))
        x = min(max(col + right * i, 0.0), float(last_col))
        j, k = min(int(y), last_row - 1), min(int(x), last_col - 1)
        fy, fx = np.float32(y - j), np.float32(x - k)
        corner[i], across[0, i], across[1, i] = j * cols + k, fy, fx
        height[i] = between(flat_z, cols, np.uintp(j * cols + k), fy, fx)
    known = n
    sum_1, sum_2, before = 0.0, 0.0, 0.0
    stops = masts.size
    best = np.full(stops, -1e30)
    best_at = np.ones(stops, np.int32)
    height[0] = np.float32(0.0)
    for i in range(1, n + 1):
        flat = height[i] - ground
        if not flat > -1e20:  # NaN: nothing from here on is known
            known = i - 1
            for j in range(i, n + 1):
                height[j] = np.float32(0.0)
            break
        sum_1 += flat + before
        sum_2 += flat * (3.0 * i - 1.0) + before * (3.0 * i - 2.0)
        before = flat
        v1[i], v2[i] = sum_1, sum_2
        h = flat - bend * i * i
        height[i] = h
        # Upper hull as parent links: as it stood at any range it can be walked from there.
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
    return known


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
