"""Which cells of a raster see a point of the sky, such as a geostationary satellite.

The question for one cell: does any sample of the surface reach the line that rises from the eye at the limit
angle toward the azimuth? Samples, distances and the Earth's curve follow the rule of `horizon`. The answer
has four values, because ground that nobody knows is not clear sky.

How the whole raster is answered. One sweep goes against the line of sight, from the satellite's side backward,
and carries along parallel lines one cell apart an upper and a lower bound of the highest obstacle met so far,
measured against the line of sight. Both are blended to the cell's own line with weights that all cells of a
row share. Ground whose line lies above the upper bound is clear, ground whose line lies below the lower one
is blocked; the few cells in between are walked sample by sample. So the bounds decide how long it takes,
never the answer: it equals that of walking every cell.

In a row the surface along the lines is piecewise straight between cell centres; between two rows it is the
bilinear blend of both. With the kink of the profile (its second difference) and the slopes of the rows every
step off the straight line is bounded: see `_sweep_strip`.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit

from siteplanner.core.horizon import (
    HALF_CURVATURE,
    Blocks,
    blocks,
    checked_ceiling_m,
    direction,
    steps_to_leave,
    surface,
    usable,
)

CLEAR = 0
BLOCKED = 1
UNKNOWN_GAP = 2  # a hole in the raster lies in the line, or the cell's own ground is unknown
UNKNOWN_BEYOND = 3  # the line leaves the raster before it passes the ceiling
_OPEN = 255  # between the bounds: to be walked

_LINES = 240  # lines of a strip: with their neighbours they fit the buffers
_SIZE = 256  # floats of one buffer; a constant, so that the compiler sees that buffers do not overlap
_NOTHING = np.float32(-1e30)  # lower than any ground, and far from overflow
_BAND_ROWS = 64  # rows settled by one job


def sky_state(
    elevation_m: np.ndarray,
    cell_size_m: float,
    azimuth_deg: float,
    limit_deg: float,
    height_m: float,
    ceiling_m: float | None = None,
    obstacles_m: np.ndarray | None = None,
    *,
    threads: int | None = None,
) -> np.ndarray:
    """CLEAR, BLOCKED, UNKNOWN_GAP or UNKNOWN_BEYOND for every cell, uint8, toward one direction.

    `azimuth_deg` is a grid bearing, `limit_deg` the elevation angle that must be free (a satellite's
    elevation less the margin asked for), `height_m` the eye's height above the cell's ground. Ground no
    higher than `ceiling_m` is assumed outside the raster and in its holes; without it, no higher than the
    raster's highest known ground. `obstacles_m` is a surface (trees, roofs) that blocks where it is above
    the ground; under a closed canopy a cell is blocked by its own trees.

    BLOCKED wins over both unknowns, a gap over the end of the raster. The answer does not depend on
    `threads` (default: one per processor, at most 8).

    Raises ValueError for a limit not above 0 and below 90, a ceiling below known ground, unlike shapes.
    """
    _check(cell_size_m, height_m, limit_deg)
    ground = usable(elevation_m)
    z = surface(ground, obstacles_m)
    known = blocks(z)
    ceiling = checked_ceiling_m(ceiling_m, known)
    with ThreadPoolExecutor(threads or min(os.cpu_count() or 1, 8)) as pool:
        return _whole(z, ground, known, float(cell_size_m), azimuth_deg, limit_deg, height_m, ceiling, pool)


def sky_state_at(
    elevation_m: np.ndarray,
    cell_size_m: float,
    rows,
    cols,
    azimuth_deg,
    limit_deg,
    height_m: float,
    ceiling_m: float | None = None,
    obstacles_m: np.ndarray | None = None,
    *,
    known: Blocks | None = None,
) -> np.ndarray:
    """The same four answers for chosen cells, each toward its own direction (arguments broadcast).

    `known` are the `horizon.blocks` of max(elevation, obstacles), to spare their making.
    Raises ValueError as `sky_state` does, and IndexError for cells outside the raster.
    """
    _check(cell_size_m, height_m, limit_deg)
    ground = usable(elevation_m)
    z = surface(ground, obstacles_m)
    known = blocks(z) if known is None else known
    ceiling = checked_ceiling_m(ceiling_m, known)
    r, c, azimuth, limit = np.broadcast_arrays(rows, cols, azimuth_deg, limit_deg)
    index = np.ravel_multi_index((r.ravel(), c.ravel()), z.shape, mode="raise") if r.size else r.ravel()
    row_steps, col_steps = direction(azimuth.ravel())
    state = _walk_cells(
        z, ground, known.highest_m, known.gap, float(cell_size_m), float(height_m), ceiling,
        index.astype(np.int64), row_steps, col_steps, np.tan(np.radians(limit.ravel())), HALF_CURVATURE,
    )  # fmt: skip
    return state.reshape(r.shape)


def sky_state_varying(
    elevation_m: np.ndarray,
    cell_size_m: float,
    azimuth_deg: np.ndarray | float | Callable[[float, float], float],
    limit_deg: np.ndarray | float | Callable[[float, float], float],
    height_m: float,
    tile_cells: int | None = None,
    ceiling_m: float | None = None,
    obstacles_m: np.ndarray | None = None,
    *,
    threads: int | None = None,
) -> np.ndarray:
    """`sky_state` where the direction changes over the raster: constant in each tile, that of its middle.

    `azimuth_deg` and `limit_deg` are rasters of the same shape, numbers, or functions of (row, col). A
    satellite's look angles turn by about 0.01 degrees per km, so in tiles of 2.5 km (the default) the limit
    is off by less than 0.02 degrees; use `sky_state_at` for the exact answer of chosen cells. Every tile
    is answered together with the ground that its lines can reach before they pass the ceiling.

    Raises ValueError as `sky_state` does; the limit must be above 0 in every tile.
    """
    ground = usable(elevation_m)
    z = surface(ground, obstacles_m)
    ceiling = checked_ceiling_m(ceiling_m, blocks(z))
    tile = tile_cells or max(int(2500 / cell_size_m), 16)
    state = np.full(z.shape, UNKNOWN_GAP, np.uint8)
    with ThreadPoolExecutor(threads or min(os.cpu_count() or 1, 8)) as pool:
        for rows, cols in _tiles(z.shape, tile):
            middle = (rows.start + rows.stop - 1) / 2, (cols.start + cols.stop - 1) / 2
            azimuth, limit = (_at(v, z.shape, *middle) for v in (azimuth_deg, limit_deg))
            _check(cell_size_m, height_m, limit)
            own = ground[rows, cols]
            if np.isnan(own).all():
                continue
            reach_m = _reach_m(ceiling - float(np.nanmin(own)) - height_m, math.radians(limit))
            row_step, col_step = (float(v) for v in direction(azimuth))
            # two cells more, so that no line meets the cut before it has passed the ceiling
            wide = [
                slice(max(part.start + min(far, 0) - 2, 0), min(part.stop + max(far, 0) + 2, size))
                for part, far, size in zip(
                    (rows, cols),
                    (_outward(2 * step * reach_m / cell_size_m) for step in (row_step, col_step)),
                    z.shape,
                    strict=True,
                )
            ]
            piece = np.ascontiguousarray(z[wide[0], wide[1]])
            below = piece if z is ground else np.ascontiguousarray(ground[wide[0], wide[1]])
            answer = _whole(
                piece, below, blocks(piece), float(cell_size_m), azimuth, limit, height_m, ceiling, pool
            )
            top, left = rows.start - wide[0].start, cols.start - wide[1].start
            state[rows, cols] = answer[top : top + own.shape[0], left : left + own.shape[1]]
    return state


def _check(cell_size_m, height_m, limit_deg) -> None:
    if not (np.all(np.asarray(limit_deg) > 0) and np.all(np.asarray(limit_deg) < 90)):
        raise ValueError("The limit angle must lie above 0 and below 90 degrees.")
    if not (cell_size_m > 0 and height_m >= 0):
        raise ValueError("The cell size must be above 0 and the height not below 0 metres.")


def _tiles(shape: tuple[int, ...], tile: int) -> Iterator[tuple[slice, slice]]:
    for top in range(0, shape[0], tile):
        for left in range(0, shape[1], tile):
            yield slice(top, min(top + tile, shape[0])), slice(left, min(left + tile, shape[1]))


def _at(value, shape, row: float, col: float) -> float:
    if callable(value):
        return float(value(row, col))
    return float(value) if np.ndim(value) == 0 else float(np.broadcast_to(value, shape)[int(row), int(col)])


def _outward(cells: float) -> int:
    return math.ceil(cells) if cells > 0 else math.floor(cells)


def _reach_m(rise_m: float, limit_rad: float) -> float:
    """Distance at which a line of sight has risen so much: t d + d^2/2a = rise."""
    tangent = math.tan(limit_rad)
    return 2 * max(rise_m, 0.0) / (tangent + math.sqrt(tangent**2 + 4 * HALF_CURVATURE * max(rise_m, 0.0)))


def _whole(z, ground, known, cell_m, azimuth_deg, limit_deg, height_m, ceiling, pool) -> np.ndarray:
    row_step, col_step = (float(v) for v in direction(azimuth_deg))
    tangent = math.tan(math.radians(limit_deg))
    if not math.isfinite(ceiling):
        return np.full(z.shape, UNKNOWN_GAP, np.uint8)  # no ground is known at all
    state = _bounds(z, ground, known, cell_m, row_step, col_step, tangent, height_m, ceiling, pool)
    row_rise = _rise_at_end(z.shape[0], row_step, cell_m, tangent)
    col_rise = _rise_at_end(z.shape[1], col_step, cell_m, tangent)

    def settle(top: int) -> None:
        _settle_rows(
            z, ground, known.highest_m, known.gap, cell_m, float(height_m), ceiling, row_step, col_step,
            tangent, HALF_CURVATURE, row_rise, col_rise, top, min(top + _BAND_ROWS, z.shape[0]), state,
        )  # fmt: skip

    list(pool.map(settle, range(0, z.shape[0], _BAND_ROWS)))
    return state


def _rise_at_end(count: int, step: float, cell_m: float, tangent: float) -> np.ndarray:
    """How far the line of each row (or column) has risen at its first sample outside the raster."""
    start = np.arange(count, dtype=float)
    if step == 0:
        return np.full(count, np.inf)

    def outside(k):
        return (start + k * step > count - 1) | (start + k * step < 0)

    k = np.floor(((count - 1 - start) if step > 0 else start) / abs(step)) + 1
    # the very comparison that a walk makes decides, not the division
    k = np.where(outside(k - 1) & (k > 1), k - 1, np.where(outside(k), k, k + 1))
    d = k * (cell_m / 2)
    return d * (tangent + d * HALF_CURVATURE)


def _turned(raster: np.ndarray) -> np.ndarray:
    """Rows and columns exchanged, contiguous; by strips, which is several times faster than at once."""
    out = np.empty(raster.shape[::-1], raster.dtype)
    for top in range(0, raster.shape[0], 32):
        out[:, top : top + 32] = raster[top : top + 32].T
    return out


def _bounds(z, ground, known, cell_m, row_step, col_step, tangent, height_m, ceiling, pool) -> np.ndarray:
    """CLEAR, BLOCKED or _OPEN for every cell, by bounds alone."""
    high = z.astype(np.float32, copy=False)
    low = high
    below = high if ground is z else ground.astype(np.float32, copy=False)
    if known.gap.any():
        # Any sample with an unknown corner lies in cells all of whose corners are within one cell of the
        # gap: grown by one, the gap makes such a sample as high as the ceiling, whatever its weights.
        gap = _grown(np.isnan(z))
        high = np.where(gap, np.float32(ceiling), high)
        low = np.where(gap, _NOTHING, low)
    turn = abs(col_step) > abs(row_step)
    if turn:
        row_step, col_step = col_step, row_step
        rasters = {id(part): part for part in (high, low, below)}
        turned = {key: _turned(part) for key, part in rasters.items()}
        high, low, below = (turned[id(part)] for part in (high, low, below))
    rows, cols = high.shape
    drift = col_step / abs(row_step)  # columns per row toward the satellite, at most 1
    row_m = cell_m / (2 * abs(row_step))  # length of a line from one row to the next
    rise = tangent * row_m
    lowest = float(np.fmin.reduce(below, axis=None))
    reach_m = _reach_m(ceiling - lowest - height_m, math.atan(tangent))
    # the curve lifts a line by d^2/2a; up to the reach that is no more than d x reach / 2a
    steeper = rise + reach_m * HALF_CURVATURE * row_m
    # float32: four roundings of numbers as large as the ground plus the whole rise over the raster
    largest = max(abs(ceiling), abs(lowest)) + steeper * rows
    margin = 0.01 + 4 * float(np.spacing(np.float32(largest)))
    bounds = np.full((rows, cols), _OPEN, np.uint8)
    last_shift = math.floor(-drift * (rows - 1))
    first_line, last_line = -1 - max(last_shift, 0), cols - 2 - min(last_shift, 0)

    def sweep(first: int) -> None:
        _sweep_strip(
            high, low, below, first, drift, row_step > 0, rise, steeper, ceiling, float(height_m), margin,
            0.25 * cell_m / row_m, bounds,
        )  # fmt: skip

    list(pool.map(sweep, range(first_line, last_line + 1, _LINES - 1)))
    return _turned(bounds) if turn else bounds


def _grown(mask: np.ndarray) -> np.ndarray:
    """The mask and all eight neighbours of its cells."""
    tall = mask.copy()
    tall[1:] |= mask[:-1]
    tall[:-1] |= mask[1:]
    wide = tall.copy()
    wide[:, 1:] |= tall[:, :-1]
    wide[:, :-1] |= tall[:, 1:]
    return wide


@njit(cache=True, nogil=True)
def _sweep_strip(
    high, low, below, first, drift, downward, rise, steeper, ceiling, height_m, margin, aside, bounds
):
    """Bounds for the cells between `_LINES` neighbouring lines, row by row away from the satellite.

    Line j lies at column j - drift x n in the n-th row from the satellite's side: `shift` whole columns and
    a `part` that all lines of a row share. Heights are kept as z + n x rise, in which the line of sight of
    a cell is level. `aside` is how far, in rows, the nearest sample can lie from a crossing.

    Kink: a straight profile with one bend of second difference D, at the fraction s between two lines, is
    off the straight blend by at most s (1 - s) |D|. Between rows: the bilinear surface along a line is off
    the chord by v (1 - v) drift (slope of this row - slope of the next), v in 0..1.
    """
    rows, cols = high.shape
    n_lines = _LINES + 2
    width = n_lines + 5
    w = np.empty(20 * _SIZE, np.float32)
    h_now, h_far, l_now = 0, _SIZE, 2 * _SIZE  # surface of this row, of the row before; lower surface
    top, top_far = 3 * _SIZE, 4 * _SIZE  # crossings from above: this row, the row before
    bot, bot_far, bot_two = 5 * _SIZE, 6 * _SIZE, 7 * _SIZE  # crossings from below: three rows
    bend_up, bend_low, bend_far = 8 * _SIZE, 9 * _SIZE, 10 * _SIZE  # between the rows
    upper, sample = 11 * _SIZE, 12 * _SIZE
    best, best_left, best_right = 13 * _SIZE, 14 * _SIZE, 15 * _SIZE
    zero, two = np.float32(0), np.float32(2)
    w[:] = _NOTHING
    w[bend_up : bend_far + _SIZE] = zero
    quarter = np.float32(abs(drift) / 4)
    near = np.float32(abs(drift) * aside * (1 - aside))
    side = np.float32(aside)
    eye, gone = np.float32(height_m), np.float32(margin)
    for n in range(rows):
        row = rows - 1 - n if downward else n
        shift = math.floor(-drift * n)
        part = np.float32(-drift * n - shift)
        rest = np.float32(1) - part
        bow = part * rest
        base = first - 3 + shift
        if base + width <= 0 or base >= cols:
            continue
        before = row if n == 0 else (row + 1 if downward else row - 1)
        a, b = max(-base, 0), min(cols - base, width)
        for i in range(a, b):
            w[h_now + i] = high[row, base + i]
            w[h_far + i] = high[before, base + i]
            w[l_now + i] = low[row, base + i]
        for i in range(a):
            w[h_now + i] = high[row, 0]
            w[h_far + i] = high[before, 0]
            w[l_now + i] = _NOTHING
        for i in range(b, width):
            w[h_now + i] = high[row, cols - 1]
            w[h_far + i] = high[before, cols - 1]
            w[l_now + i] = _NOTHING

        up, up_low = np.float32(rise * n), np.float32(steeper * n)
        for i in range(n_lines):
            p, q, r, s = w[h_now + i + 1], w[h_now + i + 2], w[h_now + i + 3], w[h_now + i + 4]
            k1, k2 = two * q - p - r, two * r - q - s
            k1 = k1 if k1 > k2 else k2
            k1 = k1 if k1 > zero else zero
            w[top + i] = q + part * (r - q) + bow * k1 + up
        for i in range(n_lines):
            p, q, r, s = w[l_now + i + 1], w[l_now + i + 2], w[l_now + i + 3], w[l_now + i + 4]
            k1, k2 = p + r - two * q, q + s - two * r
            k1 = k1 if k1 > k2 else k2
            k1 = k1 if k1 > zero else zero
            w[bot + i] = q + part * (r - q) - bow * k1 + up_low
        if drift != 0 and n > 0:
            for i in range(n_lines):
                p0, p1, p2 = w[h_now + i], w[h_now + i + 1], w[h_now + i + 2]
                p3, p4, p5 = w[h_now + i + 3], w[h_now + i + 4], w[h_now + i + 5]
                s0, s1, s2, s3, s4 = p1 - p0, p2 - p1, p3 - p2, p4 - p3, p5 - p4
                x0 = s0 if s0 > s1 else s1
                x1 = s2 if s2 > s3 else s3
                x0 = x0 if x0 > x1 else x1
                now_max = x0 if x0 > s4 else s4
                x0 = s0 if s0 < s1 else s1
                x1 = s2 if s2 < s3 else s3
                x0 = x0 if x0 < x1 else x1
                now_min = x0 if x0 < s4 else s4
                p0, p1, p2 = w[h_far + i], w[h_far + i + 1], w[h_far + i + 2]
                p3, p4, p5 = w[h_far + i + 3], w[h_far + i + 4], w[h_far + i + 5]
                s0, s1, s2, s3, s4 = p1 - p0, p2 - p1, p3 - p2, p4 - p3, p5 - p4
                x0 = s0 if s0 > s1 else s1
                x1 = s2 if s2 > s3 else s3
                x0 = x0 if x0 > x1 else x1
                far_max = x0 if x0 > s4 else s4
                x0 = s0 if s0 < s1 else s1
                x1 = s2 if s2 < s3 else s3
                x0 = x0 if x0 < x1 else x1
                far_min = x0 if x0 < s4 else s4
                more = now_max - far_min if drift > 0 else far_max - now_min
                less = far_max - now_min if drift > 0 else now_max - far_min
                more = more if more > zero else zero
                less = less if less > zero else zero
                w[bend_up + i] = quarter * more
                w[bend_low + i] = near * less
        # the row before is now known on both sides: its crossings become samples that certainly exist
        for i in range(n_lines):
            a0, a1, a2 = w[bot_far + i], w[bot + i], w[bot_two + i]
            low_side = a1 if a1 < a2 else a2
            drop = a0 - low_side
            drop = drop if drop > zero else zero
            b0, b1 = w[bend_low + i], w[bend_far + i]
            w[sample + i] = a0 - side * drop - (b0 if b0 > b1 else b1)
            u0, u1 = w[upper + i], w[top_far + i] + w[bend_up + i]
            w[upper + i] = u0 if u0 > u1 else u1
        for i in range(1, n_lines - 1):
            g, g_left, g_right = w[sample + i], w[sample + i - 1], w[sample + i + 1]
            old, old_left, old_right = w[best + i], w[best_left + i], w[best_right + i]
            better = g > old
            w[best + i] = g if better else old
            w[best_left + i] = g_left if better else old_left
            w[best_right + i] = g_right if better else old_right
        cap = np.float32(ceiling + rise * n)
        corner = first + shift
        for i in range(max(1, -corner), min(_LINES, cols - corner)):
            col = corner + i
            g = below[row, col]
            u = part * w[upper + i] + rest * w[upper + i + 1]
            own = high[row, col] + w[bend_up + i] + up
            u = u if u > own else own
            u = u if u < cap else cap
            f1 = part * w[best + i] + rest * w[best_right + i]
            f2 = part * w[best_left + i + 1] + rest * w[best + i + 1]
            f1 = f1 if f1 > f2 else f2
            value = _OPEN
            value = CLEAR if u < g + eye + up - gone else value
            value = BLOCKED if f1 > g + eye + up_low + gone else value
            bounds[row, col] = value
        for i in range(n_lines):
            u0, u1 = w[upper + i], w[top + i] + w[bend_up + i]
            w[upper + i] = u0 if u0 > u1 else u1
            w[bend_far + i] = w[bend_low + i]
        top, top_far = top_far, top
        bot, bot_far, bot_two = bot_two, bot, bot_far


@njit(cache=True, nogil=True)
def _line(z, highest, gap, cell_m, row, col, eye, row_step, col_step, tangent, half_curvature, ceiling):
    """Exact answer of one cell: every sample counts, blocks too low to matter are jumped over."""
    rows, cols = z.shape
    answer = CLEAR
    k = 1
    while True:
        d = k * (cell_m / 2)
        line = eye + d * (tangent + d * half_curvature)
        if line > ceiling:
            return answer
        r = row + k * row_step
        c = col + k * col_step
        if not (0 <= r <= rows - 1 and 0 <= c <= cols - 1):
            return UNKNOWN_BEYOND if answer == CLEAR else answer
        r0 = min(int(r), rows - 2)
        c0 = min(int(c), cols - 2)
        block_row = r0 >> 4
        block_col = c0 >> 4
        if highest[block_row, block_col] < line and (gap[block_row, block_col] == 0 or answer != CLEAR):
            k += steps_to_leave(r, c, row_step, col_step, rows - 1, cols - 1)
            continue
        fr = r - r0
        fc = c - c0
        v = (z[r0, c0] * (1 - fc) + z[r0, c0 + 1] * fc) * (1 - fr) + (
            z[r0 + 1, c0] * (1 - fc) + z[r0 + 1, c0 + 1] * fc
        ) * fr
        if v >= line:
            return BLOCKED
        if v != v:
            answer = UNKNOWN_GAP
        k += 1


@njit(cache=True, nogil=True)
def _settle_rows(
    z, ground, highest, gap, cell_m, height_m, ceiling, row_step, col_step, tangent, half_curvature,
    row_rise, col_rise, first, stop, state,
):  # fmt: skip
    """Turn bounds into answers: walk the open cells, find the clear ones whose line leaves too early."""
    for row in range(first, stop):
        for col in range(z.shape[1]):
            value = state[row, col]
            if value == BLOCKED:
                continue
            eye = ground[row, col] + height_m
            if value == CLEAR:
                rise = min(row_rise[row], col_rise[col])
                state[row, col] = UNKNOWN_BEYOND if eye + rise <= ceiling else CLEAR
            elif eye == eye:
                state[row, col] = _line(
                    z, highest, gap, cell_m, row, col, eye, row_step, col_step, tangent, half_curvature, ceiling
                )
            else:
                state[row, col] = UNKNOWN_GAP


@njit(cache=True, nogil=True)
def _walk_cells(
    z, ground, highest, gap, cell_m, height_m, ceiling, index, row_steps, col_steps, tangents, half_curvature
):
    state = np.full(index.size, UNKNOWN_GAP, np.uint8)
    for i in range(index.size):
        row = index[i] // z.shape[1]
        col = index[i] - row * z.shape[1]
        eye = ground[row, col] + height_m
        if eye == eye:
            state[i] = _line(
                z, highest, gap, cell_m, row, col, eye, row_steps[i], col_steps[i], tangents[i],
                half_curvature, ceiling,
            )  # fmt: skip
    return state
