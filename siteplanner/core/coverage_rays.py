"""Path geometry from one mast to many cells: rays, horizons, clearances.

Rays leave the mast at equal angles and are sampled once, a cell length apart. A cell lies between two rays,
at the same fraction of the angle all along its line, so its own profile is the blend of the two. Tables on
single rays (upper hull, running horizon) propose where the extremes lie; the blended profile gives their
values. Heights are metres above the mast's ground in a frame bent with the Earth, so that sight lines are
straight: H(i) = h(i) - h(0) - (i s)^2 / (2 a).

Source: ITU-R P.526-15 section 4.5. Lengths along the path are in cells, `i` counts from the mast.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from siteplanner.core.coverage_loss import KERNEL

WINDOW = 8  # samples before the receiver that are always looked at: a cell's own foreground
SMOOTH_MARGIN = 1.2  # slack of the quick test for the smooth-Earth part


class RayPlan(NamedTuple):
    """Cells sorted into the angles between rays; m intervals hold cells. Places are in the sorted order."""

    ray_count: int
    order: np.ndarray  # (cells,) int32: which cell stands at each place; those without a profile come last
    starts: np.ndarray  # (m + 1,) int64: first place of each interval
    interval: np.ndarray  # (m,) int64: the ray on its left
    reach: np.ndarray  # (m,) its farthest cell, in cells
    weight: np.ndarray  # (cells,) float32: share of the right-hand ray
    length: np.ndarray  # (cells,) length of the path in cells
    ground: np.ndarray  # (cells,) float32: height of the cell's own ground


class Link(NamedTuple):
    """What all paths of one call have in common; metres."""

    row: int
    col: int
    ground: float  # height of the mast's ground
    rx_height: float
    cell: float
    radius: float  # effective radius of the Earth
    wavelength: float
    vertical: bool  # polarization


class Paths(NamedTuple):
    """Geometry of a job's n paths, float32."""

    nu: np.ndarray  # (stops, n) Bullington parameter; NaN: unknown. Becomes the loss, dB
    squared: np.ndarray  # (stops, n) slant distance squared, m^2
    distance: np.ndarray  # (n,) km
    smooth: np.ndarray  # (4, stops x n) km and both heights over the smooth surface where it may matter; excess dB
    smooth_index: np.ndarray  # (stops x n,) int32: stop x n + path of each column of `smooth`


@njit(**KERNEL)
def plan_rays(elevation, rows, cols, row, col, density, reach_step, near_cells):
    """Sort cells into the angles between rays; those nearer than `near_cells` go to the end."""
    count = rows.size
    farthest = 1.0
    for c in range(count):
        dr, dc = float(rows[c] - row), float(cols[c] - col)
        farthest = max(farthest, dr * dr + dc * dc)
    # The number of rays grows in steps, so that two masks of about one reach share their rays, and is a
    # multiple of 4, so that a quarter turn of the raster turns the rays into each other.
    rim = math.ceil(math.sqrt(farthest) / reach_step) * reach_step
    ray_count = 4 * math.ceil(2.0 * math.pi * rim * density / 4.0)
    turns = np.empty(count, np.float64)
    held = np.zeros(ray_count + 2, np.int64)
    reach_all = np.zeros(ray_count + 1, np.float64)
    scale = ray_count / (2.0 * math.pi)
    for c in range(count):
        dr, dc = float(rows[c] - row), float(cols[c] - col)
        d = math.sqrt(dr * dr + dc * dc)
        if d < near_cells:
            turn = float(ray_count)
        else:
            turn = math.atan2(dc, -dr) * scale  # clockwise from grid north, in rays
            if turn < 0.0:
                turn += ray_count
            if turn >= ray_count:
                turn = 0.0
        k = int(turn)
        turns[c] = turn
        held[k + 1] += 1
        reach_all[k] = max(reach_all[k], d)
    intervals = 0
    for k in range(ray_count + 1):
        if held[k + 1] > 0 and k < ray_count:
            intervals += 1
        held[k + 1] += held[k]
    starts = np.empty(intervals + 1, np.int64)
    interval = np.empty(intervals, np.int64)
    reach = np.empty(intervals, np.float64)
    m = 0
    for k in range(ray_count):
        if held[k + 1] > held[k]:
            starts[m], interval[m], reach[m] = held[k], k, reach_all[k]
            m += 1
    starts[m] = held[ray_count]
    order = np.empty(count, np.int32)
    weight = np.empty(count, np.float32)
    length = np.empty(count, np.float64)
    target_ground = np.empty(count, np.float32)
    for c in range(count):
        k = int(turns[c])
        place = held[k]
        held[k] += 1
        dr, dc = float(rows[c] - row), float(cols[c] - col)
        order[place], weight[place] = c, turns[c] - k
        length[place] = math.sqrt(dr * dr + dc * dc)
        target_ground[place] = elevation[rows[c], cols[c]]
    return RayPlan(ray_count, order, starts, interval, reach, weight, length, target_ground)


@njit(**KERNEL)
def _cast(z, row, col, bearing, n, ground, bend, masts, height, parent, slope, v1, v2, horizon):
    """Sample one ray at 1..n cell lengths and fill its tables; returns the last sample that is known."""
    up, right = -math.cos(bearing), math.sin(bearing)
    last_row, last_col = z.shape[0] - 1, z.shape[1] - 1
    for i in range(1, n + 1):
        # A ray beside the outermost cells may leave the raster by less than two cells: hold it at the rim.
        y = min(max(row + up * i, 0.0), float(last_row))
        x = min(max(col + right * i, 0.0), float(last_col))
        j, k = min(int(y), last_row - 1), min(int(x), last_col - 1)
        fy, fx = np.float32(y - j), np.float32(x - k)
        top = z[j, k] + fx * (z[j, k + 1] - z[j, k])
        bottom = z[j + 1, k] + fx * (z[j + 1, k + 1] - z[j + 1, k])
        height[i] = top + fy * (bottom - top)
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
            v = i - 1
            while slope[v] * (i - v) <= h - height[v]:
                v = parent[v]
            parent[i], slope[i] = v, (h - height[v]) / (i - v)
        inverse = 1.0 / i
        for s in range(stops):
            rise = (h - masts[s]) * inverse
            if rise > best[s]:
                best[s], best_at[s] = rise, i
            horizon[s, i] = best_at[s]
    return known


@njit(**KERNEL)
def _least_clearance(left, right, w, low, mast, q, length, floats, bits):
    """Least clearance^2 / (i (L - i)) over the samples of two equally long slices that begin at `low`.

    floats and bits are one scratch, seen twice: non-negative floats keep their order as integers, and integer
    minima become vector instructions where float minima do not.
    """
    count = left.size
    ww, ll, start = np.float32(w), np.float32(length), np.float32(low)
    base, qq = np.float32(mast + q * low), np.float32(q)
    for j in range(count):
        step = np.float32(np.int32(j))
        i = start + step
        gap = base + qq * step - left[j] - ww * (right[j] - left[j])
        floats[j] = gap * gap / (i * (ll - i))
    least = bits[0]
    for j in range(1, count):
        least = bits[j] if bits[j] < least else least
    bits[0] = least
    return floats[0]


@njit(**KERNEL)
def _rises(left, right, w, p, run, rises):
    """Slopes from the receiver to the samples of two slices; `run`: its distance from the first of them."""
    ww, pp, rr = np.float32(w), np.float32(p), np.float32(run)
    for j in range(left.size):
        rises[j] = (left[j] + ww * (right[j] - left[j]) - pp) / (rr - np.float32(np.int32(j)))


@njit(**KERNEL)
def _heights_over_surface(over, tx_angle, rx_angle, mast, g, rx_m, tx_surface, rx_surface):
    """Antenna heights over the smooth surface, lowered under obstructions (P.526-15 section 4.5).

    over: the highest obstruction over the chord, metres; tx_angle, rx_angle: the largest slopes over the chord.
    """
    if over > 0.0:
        part = over / (tx_angle + rx_angle)
        tx_surface -= part * tx_angle
        rx_surface -= part * rx_angle
    return mast - min(tx_surface, 0.0), g + rx_m - min(rx_surface, g)


@njit(**KERNEL)
def trace_intervals(z, link, masts, plan, first, last, paths):
    """Fill `paths` for the cells in intervals first..last-1; returns the number of columns of `smooth`.

    z: float32 raster of what stands in the way; masts: (stops,) heights above the mast's ground.
    """
    row, col, ground, rx_m, cell_m = link.row, link.col, link.ground, link.rx_height, link.cell
    starts, interval, reach, weight, length = plan.starts, plan.interval, plan.reach, plan.weight, plan.length
    nu_of, squared_of, distance_of = paths.nu, paths.squared, paths.distance
    smooth, smooth_index = paths.smooth, paths.smooth_index
    stops = masts.size
    longest = 0.0
    for m in range(first, last):
        longest = max(longest, reach[m])
    size = int(longest + 0.5) + 2
    height = np.zeros((2, size), np.float32)
    parent = np.zeros((2, size), np.int32)
    slope = np.zeros((2, size), np.float32)
    v1, v2 = np.zeros((2, size), np.float32), np.zeros((2, size), np.float32)
    horizon = np.zeros((2, stops, size), np.int32)
    floats = np.empty(size, np.float32)
    bits = floats.view(np.int32)
    known = np.zeros(2, np.int64)
    inverse = np.ones(size)
    inverse[1:] = 1.0 / np.arange(1, size)
    count = starts[last] - starts[first]
    smooth_count = 0

    bend = cell_m * cell_m / (2.0 * link.radius)
    nu_scale = 2.0 / (link.wavelength * cell_m)
    turn = 2.0 * math.pi / plan.ray_count
    radius_km, cell_km = link.radius / 1000.0, cell_m / 1000.0
    quick = SMOOTH_MARGIN * 17.456**2 * link.wavelength
    unknown = np.float32(np.nan)
    a = 0
    for m in range(first, last):
        k = interval[m]
        n = int(reach[m] + 0.5) - 1
        if m == first or interval[m - 1] != k - 1:
            a = 0
            known[a] = _cast(
                z, row, col, k * turn, n, ground, bend, masts, height[a], parent[a], slope[a], v1[a], v2[a], horizon[a]
            )
        else:
            a = 1 - a
        b = 1 - a
        # The right-hand ray serves the next interval too.
        far = n
        if m + 1 < last and interval[m + 1] == k + 1:
            far = max(far, int(reach[m + 1] + 0.5) - 1)
        known[b] = _cast(
            z,
            row,
            col,
            (k + 1) * turn,
            far,
            ground,
            bend,
            masts,
            height[b],
            parent[b],
            slope[b],
            v1[b],
            v2[b],
            horizon[b],
        )
        ha, hb = height[a], height[b]
        for position in range(starts[m], starts[m + 1]):
            place = position - starts[first]
            w, L = weight[position], length[position]
            g = plan.ground[position] - ground
            n = int(L + 0.5) - 1  # the last sample before the receiver
            if not g > -1e20 or known[a] < n or (w > 0 and known[b] < n):
                for s in range(stops):
                    nu_of[s, place] = unknown
                    squared_of[s, place] = 1.0
                distance_of[place] = 1.0
                continue
            c = a if w < 0.5 else b
            near_parent, near_slope, near_height = parent[c], slope[c], height[c]

            # Receiver's horizon: proposed by the near ray's hull, decided on the blended profile.
            p = g + rx_m - bend * L * L
            v = n
            while near_parent[v] > 0 and near_slope[v] * (L - v) <= p - near_height[v]:
                v = near_parent[v]
            rx_slope, rx_at = -1e30, n
            low = max(n - WINDOW + 1, 1)
            _rises(ha[low : n + 1], hb[low : n + 1], w, p, L - low, floats)
            for j in range(n - low + 1):
                if floats[j] > rx_slope:
                    rx_slope, rx_at = floats[j], low + j
            for i in range(max(v - 1, 1), min(v + 1, n) + 1):
                rise = (ha[i] + w * (hb[i] - ha[i]) - p) / (L - i)
                if rise > rx_slope:
                    rx_slope, rx_at = rise, i

            # Least-squares surface: the rays' sums, blended, and the last piece up to the receiver.
            end = ha[n] + w * (hb[n] - ha[n]) + bend * n * n
            sum_1 = v1[a, n] + w * (v1[b, n] - v1[a, n]) + (L - n) * (g + end)
            sum_2 = v2[a, n] + w * (v2[b, n] - v2[a, n]) + (L - n) * (g * (2.0 * L + n) + end * (L + 2.0 * n))
            tx_surface = (2.0 * sum_1 * L - sum_2) / (L * L)
            rx_surface = (sum_2 - sum_1 * L) / (L * L)

            d_km, run = L * cell_km, L * cell_m
            drop = 500.0 * d_km * d_km / radius_km
            distance_of[place] = d_km
            by_length = 1.0 / L
            chord_top = (g + rx_m) * by_length
            at_v = ha[rx_at] + w * (hb[rx_at] - ha[rx_at])
            by_v, bent_v = inverse[rx_at], bend * rx_at
            for s in range(stops):
                mast = masts[s]
                q = (p - mast) * by_length
                u = horizon[c, s, n]
                at_u = ha[u] + w * (hb[u] - ha[u])
                # Each end also looks at the other's horizon, or they may disagree about being blocked.
                tx_to_u, tx_to_v = (at_u - mast) * inverse[u], (at_v - mast) * by_v
                rx_to_u = (at_u - p) / (L - u)
                tx_rise, rx_rise = max(tx_to_u, tx_to_v), max(rx_slope, rx_to_u)
                blocked = tx_rise >= q
                if blocked:
                    x = (p - mast + rx_rise * L) / max(tx_rise + rx_rise, 1e-12)
                    x = min(max(x, 0.5), L - 0.25)
                    nu = (tx_rise - q) * x * math.sqrt(nu_scale * L / (x * (L - x)))
                else:
                    # Nothing beyond this can matter: J is 0 at nu = -0.78.
                    gap_u, gap_v = mast + q * u - at_u, mast + q * rx_at - at_v
                    least = min(gap_u * gap_u / (u * (L - u)), gap_v * gap_v / (rx_at * (L - rx_at)))
                    least = min(least, 0.78 * 0.78 / (nu_scale * L))
                    # Every clearance is at least (q - tx_rise) i and (-q - rx_rise) (L - i).
                    from_tx, from_rx = q - tx_rise, max(-q - rx_rise, 0.0)
                    low = max(math.ceil(from_rx * from_rx * L / (from_rx * from_rx + least + 1e-30)), 1)
                    high = min(int(least * L / (from_tx * from_tx + least + 1e-30)), n)
                    if low <= high:
                        least = min(
                            least,
                            _least_clearance(ha[low : high + 1], hb[low : high + 1], w, low, mast, q, L, floats, bits),
                        )
                    nu = -math.sqrt(nu_scale * L * least)
                nu_of[s, place] = nu
                rise = g + rx_m - mast
                squared_of[s, place] = run * run + rise * rise

                # Heights above the smooth surface. In the flat frame the slopes lose their bend and are taken
                # from the chord; no new divisions.
                chord = chord_top - mast * by_length
                tx_angle_u, tx_angle_v = tx_to_u + bend * u - chord, tx_to_v + bent_v - chord
                over = max(tx_angle_u * u, tx_angle_v * rx_at)
                tx_angle = max(tx_angle_u, tx_angle_v)
                rx_angle = max(rx_to_u - bend * (L + u), rx_slope - bend * L - bent_v) + chord
                t, r = _heights_over_surface(over, tx_angle, rx_angle, mast, g, rx_m, tx_surface, rx_surface)
                # Quick test: the clearance over the smooth Earth, near enough, against what is needed for no loss.
                sag = max(2.0 * (t + r) - drop, 0.0)
                if t * r * sag * sag < quick * d_km * (t + r) * (t + r):
                    if blocked and rx_at > u + 1:
                        # The highest obstacle over the chord may lie between the horizons: walk the hull.
                        i, previous = v, -1e30
                        while i > u:
                            here = ha[i] + w * (hb[i] - ha[i]) + bend * i * i - mast - chord * i
                            if here < previous:
                                break
                            previous = here
                            over = max(over, here)
                            i = near_parent[i]
                        t, r = _heights_over_surface(over, tx_angle, rx_angle, mast, g, rx_m, tx_surface, rx_surface)
                    smooth[0, smooth_count], smooth[1, smooth_count] = d_km, t
                    smooth[2, smooth_count] = r
                    smooth_index[smooth_count] = s * count + place
                    smooth_count += 1
    return smooth_count
