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

from siteplanner.core.coverage_cast import (
    cast,
    heights_over_surface,
    horizons,
    hull,
    least_clearance,
    places,
    rises,
)
from siteplanner.core.coverage_cover import ROUNDING, WINDOW, cast_over, cast_woods, far_horizon, under_crowns
from siteplanner.core.coverage_loss import KERNEL

SMOOTH_MARGIN = 1.2  # slack of the quick test for the smooth-Earth part


class Link(NamedTuple):
    """What all paths of one call have in common; metres."""

    row: int
    col: int
    ground: float  # height of the mast's ground
    cell: float
    radius: float  # effective radius of the Earth
    wavelength: float
    vertical: bool  # polarization
    clear: float  # cells at either end of a path within which what stands on the ground is left out


class Paths(NamedTuple):
    """Geometry of a job's n paths, float32. lines: the stops, and after them the stops once more for the way over the
    trees where that is asked for."""

    nu: np.ndarray  # (lines, n) Bullington parameter; NaN: unknown. Becomes the loss, dB
    squared: np.ndarray  # (lines, n) slant distance squared, m^2
    distance: np.ndarray  # (n,) km
    smooth: np.ndarray  # (4, lines x n) km and both heights over the smooth surface where it may matter; excess dB
    smooth_index: np.ndarray  # (2, lines x n) int32: line x n + path of each column of `smooth`; a second one, or -1


@njit(**KERNEL)
def trace_intervals(z, stands, link, masts, plan, first, last, paths, depths):
    """Fill `paths` for the cells in intervals first..last-1; returns the number of columns of `smooth`.

    z: float32 raster of the ground; masts: (stops,) heights above the mast's ground. stands, depths: None, or the
    `Stands` on the ground and the `Depths` of its woods to fill (along the nearer ray).

    With `stands.tops` the second half of the lines is the way over the trees, worked out on the same walk and only
    where the line runs under crowns at some stop; else those lines hold the first ones. Where the trees do not raise a
    path between the same two heights, the way over it is the lesser whatever the woods on it: `depths` then holds only
    those within `clear` of the ends, which either way passes.
    """
    row, col, ground, cell_m, clear = link.row, link.col, link.ground, link.cell, link.clear
    starts, interval, reach, weight, length = plan.starts, plan.interval, plan.reach, plan.weight, plan.length
    nu_of, squared_of, distance_of = paths.nu, paths.squared, paths.distance
    smooth, smooth_index = paths.smooth, paths.smooth_index
    receivers, grounds, order = plan.receiver, plan.ground, plan.order
    # Every member or slice taken counts a reference, some on memory that the threads share: so members are taken once,
    # and what is worked out for each cell reads flat tables from an offset.
    if stands is not None:
        built, tops, own_trees, masts_over, far_over = stands.hides, stands.tops, stands.own, stands.masts, stands.far
        trees, kinds, kind = stands.trees, stands.kinds, stands.kind
        mast_half, far_half, mast_zone, far_zone = depths.mast_half, depths.far_half, depths.mast_zone, depths.far_zone
    stops = masts.size
    lines = paths.nu.shape[0]
    longest = 0.0
    for m in range(first, last):
        longest = max(longest, reach[m])
    size = int(longest + 0.5) + 2
    # Tables of the two rays, one after the other in flat arrays.
    flat, parent, slope = np.zeros(2 * size, np.float32), np.zeros(2 * size, np.int32), np.zeros(2 * size, np.float32)
    v1, v2 = np.zeros(2 * size, np.float32), np.zeros(2 * size, np.float32)
    corner, down, aside = np.zeros(2 * size, np.int64), np.zeros(2 * size, np.float32), np.zeros(2 * size, np.float32)
    flat_z, tall, wide = z.reshape(z.size), z.shape[0], z.shape[1]
    eyes = masts
    if stands is not None and lines > stops:
        # plain loops: what numpy offers for it takes seconds to compile
        differ = False
        for s in range(stops):
            differ = differ or masts[s] != masts_over[s]
        if differ:
            eyes = np.empty(2 * stops)
            for s in range(stops):
                eyes[s], eyes[stops + s] = masts[s], masts_over[s]
    horizon = np.zeros(eyes.size * 2 * size, np.int32)
    floats = np.empty(size, np.float32)
    bits = floats.view(np.int32)
    known = np.zeros(2, np.int64)
    if stands is not None:
        hides, wooded = built.size > 0, kinds.size > 0
        top, top_parent = np.zeros(4 * size, np.float32), np.zeros(4 * size, np.int32)
        top_slope, top_horizon = np.zeros(4 * size, np.float32), np.zeros(2 * stops * 2 * size, np.int32)
        flat_built, flat_tops = built.reshape(built.size), tops.reshape(tops.size)
        flat_trees, flat_kinds = trees.reshape(trees.size), kinds.reshape(kinds.size)
        to_cast = np.zeros((2, 2), np.bool_)
        raised = np.zeros((2, 2), np.bool_)  # whether anything stands on the ground along a ray
        drawn = np.zeros((3, stops))  # the path through: slopes from both ends and where they meet
        under = np.zeros(stops, np.bool_)
        crown, steepest = np.zeros(2 * size, np.float32), np.zeros(2 * size, np.float32)
        crowns = np.zeros((2, 2), np.int64)
        lowest, own_cell = masts[0], row * z.shape[1] + col
        for s in range(1, stops):
            lowest = min(lowest, masts[s])
        counted = np.zeros(4)
    sights = np.empty(lines)
    sights[:stops] = masts
    if stands is not None and lines > stops:
        sights[stops:] = masts_over
    inverse, short = np.empty(size), np.empty(size, np.float32)
    for i in range(size):
        inverse[i] = 1.0 / max(i, 1)
        short[i] = inverse[i]
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
        # The right-hand ray serves the next interval too.
        far = n
        if m + 1 < last and interval[m + 1] == k + 1:
            far = max(far, int(reach[m + 1] + 0.5) - 1)
        shared = m > first and interval[m - 1] == k - 1
        a = 1 - a if shared else 0
        b = 1 - a
        for side in range(1 if shared else 0, 2):
            r, bearing = (a, k * turn) if side == 0 else (b, (k + 1) * turn)
            reached, ray = n if side == 0 else far, r * size
            places(tall, wide, row, col, bearing, reached, ray, corner, down, aside)
            known[r] = cast(flat_z, wide, ray, reached, corner, down, aside, ground, bend, flat, v1, v2)
            # np.int64: of a plain figure numba compiles the function once more, for that figure alone
            hull(np.uintp(ray), np.int64(1), known[r], flat, parent, slope)
            horizons(np.uintp(ray), np.uintp(ray), known[r], eyes, short, flat, horizon)
            if stands is not None:
                if wooded:
                    crowns[r] = cast_woods(
                        flat_trees,
                        flat_kinds,
                        kind,
                        own_cell,
                        wide,
                        ray,
                        known[r],
                        corner,
                        down,
                        aside,
                        ground,
                        bend,
                        lowest,
                        short,
                        crown,
                        steepest,
                    )
                to_cast[0, r], to_cast[1, r] = hides, lines > stops
        oa, ob = a * size, b * size
        for position in range(starts[m], starts[m + 1]):
            place = position - starts[first]
            w, L = weight[position], length[position]
            g = grounds[position] - ground
            n = int(L + 0.5) - 1  # the last sample before the receiver
            if not g > -1e20 or known[a] < n or (w > 0 and known[b] < n):
                for s in range(lines):
                    nu_of[s, place] = unknown
                    squared_of[s, place] = 1.0
                distance_of[place] = 1.0
                continue
            c = a if w < 0.5 else b
            rx_m, alike, layer, layers = receivers[position], False, np.int64(0), np.int64(1)
            while layer < layers:
                if stands is not None:
                    if layer == 1:
                        alike, rx_m = far_over[position] == rx_m, far_over[position]
                    for r in range(2):
                        if to_cast[layer, r]:
                            to_cast[layer, r] = False
                            raised[layer, r] = cast_over(
                                flat_built if layer == 0 else flat_tops,
                                wide,
                                r * size,
                                known[r],
                                corner,
                                down,
                                aside,
                                clear,
                                ground,
                                bend,
                                masts if layer == 0 else masts_over,
                                short,
                                flat,
                                parent,
                                slope,
                                top,
                                top_parent,
                                top_slope,
                                top_horizon,
                                layer,
                            )
                if not alike:
                    # Receiver's horizon: proposed by the hulls of both rays, decided on the blended profile. The
                    # nearer ray alone may run beside the one ridge that hides the mast.
                    p = g + rx_m - bend * L * L
                    rx_slope, rx_at = -1e30, n
                    low = max(n - WINDOW + 1, 1)
                    rises(flat, oa, ob, w, p, low, n + 1 - low, L - low, floats)
                    for j in range(n - low + 1):
                        if floats[j] > rx_slope:
                            rx_slope, rx_at = floats[j], low + j
                    for turned in range(2):
                        e = (a + b - c if turned == 0 else c) * size
                        if turned == 1 or known[a + b - c] >= n:
                            v = n
                            while parent[e + v] > 0 and slope[e + v] * (L - v) <= p - flat[e + v]:
                                v = parent[e + v]
                            for i in range(max(v - 1, 1), min(v + 1, n) + 1):
                                rise = (flat[oa + i] + w * (flat[ob + i] - flat[oa + i]) - p) / (L - i)
                                if rise > rx_slope:
                                    rx_slope, rx_at = rise, i

                    # Least-squares surface: the rays' sums, blended, and the last piece up to the receiver.
                    end = flat[oa + n] + w * (flat[ob + n] - flat[oa + n]) + bend * n * n
                    sum_1 = v1[oa + n] + w * (v1[ob + n] - v1[oa + n]) + (L - n) * (g + end)
                    sum_2 = (
                        v2[oa + n] + w * (v2[ob + n] - v2[oa + n]) + (L - n) * (g * (2.0 * L + n) + end * (L + 2.0 * n))
                    )
                    tx_surface = (2.0 * sum_1 * L - sum_2) / (L * L)
                    rx_surface = (sum_2 - sum_1 * L) / (L * L)

                    d_km, run = L * cell_km, L * cell_m
                    drop = 500.0 * d_km * d_km / radius_km
                    distance_of[place] = d_km
                    by_length = 1.0 / L
                    chord_top = (g + rx_m) * by_length
                    at_v = flat[oa + rx_at] + w * (flat[ob + rx_at] - flat[oa + rx_at])
                    by_v, bent_v = inverse[rx_at], bend * rx_at
                if stands is not None:
                    ta, tb, tc = (2 * layer + a) * size, (2 * layer + b) * size, (2 * layer + c) * size
                    end_top = min(math.ceil(L - clear - ROUNDING) - 1, n)  # the last sample outside the cleared zone
                    hidden_by = (raised[layer, a] or raised[layer, b]) and end_top >= 1 and end_top > clear
                    top_rise, top_at, at_top = -1e30, 1, 0.0
                    if hidden_by:
                        top_rise, top_at, at_top = far_horizon(
                            top, ta, tb, tc, known[a + b - c] >= n, w, end_top, p, L, top_parent, top_slope
                        )
                for s in range(stops):
                    line = layer * stops + s
                    mast = sights[line]
                    q = (p - mast) * by_length
                    u = horizon[(2 * min(line, eyes.size - stops + s) + c) * size + n]
                    at_u = flat[oa + u] + w * (flat[ob + u] - flat[oa + u])
                    # Each end also looks at the other's horizon, or they may disagree about being blocked.
                    tx_to_u, tx_to_v = (at_u - mast) * inverse[u], (at_v - mast) * by_v
                    rx_to_u = (at_u - p) / (L - u)
                    tx_rise, rx_rise = max(tx_to_u, tx_to_v), max(rx_slope, rx_to_u)
                    hidden = tx_rise >= q  # by the ground alone
                    if stands is not None and hidden_by:
                        t_at = top_horizon[(2 * (layer * stops + s) + c) * size + end_top]
                        at_t = top[ta + t_at] + w * (top[tb + t_at] - top[ta + t_at])
                        tx_rise = max(tx_rise, (at_t - mast) * inverse[t_at], (at_top - mast) * inverse[top_at])
                        rx_rise = max(rx_rise, top_rise, (at_t - p) / (L - t_at))
                    blocked = tx_rise >= q
                    meet = 0.5 * L
                    if blocked:
                        x = (p - mast + rx_rise * L) / max(tx_rise + rx_rise, 1e-12)
                        x = min(max(x, 0.5), L - 0.25)
                        meet = x
                        nu = (tx_rise - q) * x * math.sqrt(nu_scale * L / (x * (L - x)))
                    else:
                        # Nothing beyond this can matter: J is 0 at nu = -0.78.
                        gap_u, gap_v = mast + q * u - at_u, mast + q * rx_at - at_v
                        least = min(gap_u * gap_u / (u * (L - u)), gap_v * gap_v / (rx_at * (L - rx_at)))
                        if stands is not None and hidden_by:
                            gap_u, gap_v = mast + q * t_at - at_t, mast + q * top_at - at_top
                            least = min(least, gap_u * gap_u / (t_at * (L - t_at)))
                            least = min(least, gap_v * gap_v / (top_at * (L - top_at)))
                        least = min(least, 0.78 * 0.78 / (nu_scale * L))
                        # Every clearance is at least (q - tx_rise) i and (-q - rx_rise) (L - i).
                        from_tx, from_rx = q - tx_rise, max(-q - rx_rise, 0.0)
                        low = max(math.ceil(from_rx * from_rx * L / (from_rx * from_rx + least + 1e-30)), 1)
                        high = min(int(least * L / (from_tx * from_tx + least + 1e-30)), n)
                        if stands is not None and hidden_by:
                            # Up to the cleared zone what stands there is the higher; beyond it the ground alone.
                            ends = min(high, end_top)
                            if low <= ends:
                                least = min(
                                    least,
                                    least_clearance(top, ta, tb, w, low, ends + 1 - low, mast, q, L, floats, bits),
                                )
                            low = max(low, end_top + 1)
                        if low <= high:
                            least = min(
                                least,
                                least_clearance(flat, oa, ob, w, low, high + 1 - low, mast, q, L, floats, bits),
                            )
                        nu = -math.sqrt(nu_scale * L * least)
                    nu_of[line, place] = nu
                    if stands is not None and layer == 0 and wooded:
                        # A clear line above every crown, as seen from the lowest stop, runs under none.
                        under[s] = blocked or steepest[c * size + n] > q
                        drawn[0, s], drawn[1, s] = (tx_rise, rx_rise) if blocked else (q, -q)
                        drawn[2, s] = meet
                        if under[s] and lines > stops:
                            layers = np.int64(2)
                    rise = g + rx_m - mast
                    squared_of[line, place] = run * run + rise * rise
                    if alike and mast == sights[s]:
                        continue  # the smooth surface is the ground's: the same between the same heights

                    # Heights above the smooth surface. In the flat frame the slopes lose their bend and are taken
                    # from the chord; no new divisions.
                    chord = chord_top - mast * by_length
                    tx_angle_u, tx_angle_v = tx_to_u + bend * u - chord, tx_to_v + bent_v - chord
                    over = max(tx_angle_u * u, tx_angle_v * rx_at)
                    tx_angle = max(tx_angle_u, tx_angle_v)
                    rx_angle = max(rx_to_u - bend * (L + u), rx_slope - bend * L - bent_v) + chord
                    t, r = heights_over_surface(over, tx_angle, rx_angle, mast, g, rx_m, tx_surface, rx_surface)
                    # Quick test: the clearance over the smooth Earth, near enough, against what is needed for no loss.
                    sag = max(2.0 * (t + r) - drop, 0.0)
                    if t * r * sag * sag < quick * d_km * (t + r) * (t + r):
                        if hidden and rx_at > u + 1:
                            # The highest obstacle over the chord may lie between the horizons: walk the hull.
                            i, previous = v, -1e30
                            while i > u:
                                here = (
                                    flat[oa + i] + w * (flat[ob + i] - flat[oa + i]) + bend * i * i - mast - chord * i
                                )
                                if here < previous:
                                    break
                                previous = here
                                over = max(over, here)
                                i = parent[c * size + i]
                            t, r = heights_over_surface(over, tx_angle, rx_angle, mast, g, rx_m, tx_surface, rx_surface)
                        smooth[0, smooth_count], smooth[1, smooth_count] = d_km, t
                        smooth[2, smooth_count] = r
                        smooth_index[0, smooth_count] = line * count + place
                        smooth_index[1, smooth_count] = -1
                        twin = (stops + s) * count + place
                        if stands is not None and layer == 0 and lines > stops and far_over[position] == rx_m:
                            smooth_index[1, smooth_count] = twin if sights[stops + s] == mast else -1
                        smooth_count += 1
                layer += 1
            if stands is not None and wooded:
                if lines > stops and layers == 1:
                    for s in range(stops):
                        nu_of[stops + s, place], squared_of[stops + s, place] = nu_of[s, place], squared_of[s, place]
                p = g + receivers[position] - bend * L * L
                # The cell's own trees, from half a cell behind the last sample to the receiver.
                tail = L - n - 0.5 if own_trees[position] - ground - bend * L * L > p else 0.0
                for s in range(stops):
                    counted[:] = 0.0
                    if under[s]:
                        over_it = (
                            alike and sights[s] == sights[stops + s] and nu_of[stops + s, place] == nu_of[s, place]
                        )
                        under_crowns(
                            crown,
                            c * size,
                            crowns[c, 0],
                            crowns[c, 1],
                            n,
                            sights[s],
                            drawn[0, s],
                            p,
                            drawn[1, s],
                            L,
                            drawn[2, s],
                            clear,
                            over_it,
                            counted,
                        )
                    cell = order[position]
                    mast_half[s, cell], mast_zone[s, cell] = counted[0] * cell_m, counted[2] * cell_m
                    far_half[s, cell] = (counted[1] + tail) * cell_m
                    far_zone[s, cell] = (counted[3] + tail) * cell_m
    return smooth_count
