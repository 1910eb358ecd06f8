"""Bounds of the sky line for a whole raster: the fast half of `sky`, which knows the question and the answers.

One sweep goes against the line of sight, from the satellite's side backward, and carries along parallel lines
one cell apart an upper and a lower bound of the highest obstacle met so far, measured against the line of
sight. Both are blended to the cell's own line with weights that all cells of a row share. A cell whose line
lies above the upper bound is clear, one whose line lies below the lower bound is blocked. What lies between
stays open for an exact walk, so the bounds decide how long the answer takes, never what it is.

In a row the surface along the lines is piecewise straight between cell centres; between two rows it is the
bilinear blend of both. With the kink of the profile (its second difference) and the slopes of the rows every
step off the straight line is bounded: see `_sweep_strip`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
from numba import njit

from siteplanner.core.horizon import HALF_CURVATURE, Blocks

CLEAR = 0
BLOCKED = 1
UNKNOWN_GAP = 2  # a hole in the raster lies in the line, or the cell's own ground is unknown
OPEN = 255  # between the bounds: to be walked

_LINES = 240  # lines of a strip: with their neighbours they fit the buffers
_SIZE = 256  # floats of one buffer; a constant, so that the compiler sees that buffers do not overlap
_NOTHING = np.float32(-1e30)  # lower than any ground, and far from overflow
_TURN_ROWS = 32  # rows exchanged at a time: their cache lines stay at hand

Run = Callable[..., Iterable[None]]  # `map`, or the `map` of a pool: the jobs may run in any order


def reach_m(rise_m: float, tangent: float) -> float:
    """Distance at which a line of sight has risen so much: t d + d^2/2a = rise."""
    rise_m = max(rise_m, 0.0)
    return 2 * rise_m / (tangent + math.sqrt(tangent**2 + 4 * HALF_CURVATURE * rise_m))


def all_jobs(run: Run, job: Callable[[int], None], starts: Iterable[int]) -> None:
    """Run one job per start, wait for all, pass on the first error."""
    for _ in run(job, starts):
        pass


def _turned(raster: np.ndarray, run: Run) -> np.ndarray:
    """Rows and columns exchanged, contiguous; by strips, which is several times faster than at once."""
    out = np.empty(raster.shape[::-1], raster.dtype)

    def turn(top: int) -> None:
        out[:, top : top + _TURN_ROWS] = raster[top : top + _TURN_ROWS].T

    all_jobs(run, turn, range(0, raster.shape[0], _TURN_ROWS))
    return out


def bounds(
    z: np.ndarray,
    ground: np.ndarray,
    known: Blocks,
    cell_m: float,
    row_step: float,
    col_step: float,
    tangent: float,
    height_m: float,
    ceiling: float,
    run: Run,
) -> np.ndarray:
    """CLEAR, BLOCKED, UNKNOWN_GAP or OPEN for every cell, uint8; `z` blocks, the eye stands on `ground`.

    Directions are rows and columns per half cell. CLEAR means as far as the raster reaches.
    """
    high = z.astype(np.float32, copy=False)
    below = high if ground is z else ground.astype(np.float32, copy=False)
    lowest = float(np.fmin.reduce(below, axis=None))
    layers = [(high, high)]
    if known.gap.any():
        unknown = np.isnan(z)
        # Any sample with an unknown corner lies in cells all of whose corners are within one cell of the
        # gap: grown by one, the gap makes such a sample as high as the ceiling, whatever its weights.
        gap = _grown(unknown)
        # A second sweep over ground that bridges the gaps tells the cells that no known sample blocks;
        # where a line of these is sure to meet a gap, the answer is known too.
        layers = [
            (np.where(gap, np.float32(ceiling), high), np.where(gap, _NOTHING, high)),
            (_bridged(high, unknown), high),
        ]
    turn = abs(col_step) > abs(row_step)
    if turn:
        row_step, col_step = col_step, row_step
        rasters = {id(part): part for part in (below, *(part for layer in layers for part in layer))}
        turned = {key: _turned(part, run) for key, part in rasters.items()}
        below = turned[id(below)]
        layers = [(turned[id(upper)], turned[id(lower)]) for upper, lower in layers]
    rows, cols = below.shape
    drift = col_step / abs(row_step)  # columns per row toward the satellite, at most 1
    row_m = cell_m / (2 * abs(row_step))  # length of a line from one row to the next
    rise = tangent * row_m
    longest_m = reach_m(ceiling - lowest - height_m, tangent)
    # the curve lifts a line by d^2/2a; up to the reach that is no more than d x reach / 2a
    steeper = rise + longest_m * HALF_CURVATURE * row_m
    # float32: four roundings of numbers as large as the ground plus the whole rise over the raster
    largest = max(abs(ceiling), abs(lowest)) + steeper * rows
    margin = 0.01 + 4 * float(np.spacing(np.float32(largest)))
    last_shift = math.floor(-drift * (rows - 1))
    first_line, last_line = -1 - max(last_shift, 0), cols - 2 - min(last_shift, 0)
    states = [np.full((rows, cols), OPEN, np.uint8) for _ in layers]

    def sweep(first: int) -> None:
        for seeking, ((upper, lower), found) in enumerate(zip(layers, states, strict=True)):
            _sweep_strip(
                upper,
                lower,
                below,
                first,
                drift,
                row_step > 0,
                rise,
                steeper,
                ceiling,
                float(height_m),
                margin,
                0.25 * cell_m / row_m,
                seeking == 1,
                found,
            )

    all_jobs(run, sweep, range(first_line, last_line + 1, _LINES - 1))
    state = states[0]
    if len(states) > 1:
        np.copyto(state, states[1], where=state == OPEN)
    return _turned(state, run) if turn else state


def _bridged(z: np.ndarray, unknown: np.ndarray) -> np.ndarray:
    """Gaps filled along their rows, straight from rim to rim; level where a rim is missing.

    Any filling would do for the truth; one without cliffs keeps the bounds near the gap's rim tight.
    """
    out = z.copy()
    cols = np.arange(z.shape[1])
    for row in np.flatnonzero(unknown.any(axis=1)):
        hole = unknown[row]
        if hole.all():
            out[row] = out[row - 1] if row else np.float32(np.fmin.reduce(z, axis=None))
        else:
            out[row, hole] = np.interp(cols[hole], cols[~hole], z[row, ~hole])
    return out


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
    high, low, below, first, drift, downward, rise, steeper, ceiling, height_m, margin, aside, seeking, state
):
    """Bounds for the cells between `_LINES` neighbouring lines, row by row away from the satellite.

    Line j lies at column j - drift x n in the n-th row from the satellite's side: `shift` whole columns and
    a `part` that all lines of a row share. Heights are kept as z + n x rise, in which the line of sight of
    a cell is level. `aside` is how far, in rows, the nearest sample can lie from a crossing.

    Kink: a straight profile with one bend of second difference D, at the fraction s between two lines, is
    off the straight blend by at most s (1 - s) |D|. Between rows: the bilinear surface along a line is off
    the chord by v (1 - v) drift (slope of this row - slope of the next), v in 0..1.

    `seeking`: `low` holds the gaps as NaN, and the question is which cells that nothing in `high` blocks
    are sure to meet one. The unknown cell between two lines touches every cell's line between them for at
    least half a row to one side, where a sample must lie.
    """
    rows, cols = high.shape
    n_lines = _LINES + 2
    width = n_lines + 5
    w = np.empty(18 * _SIZE, np.float32)
    h_now, h_far, l_now = 0, _SIZE, 2 * _SIZE  # surface of this row, of the row before; lower surface
    top, top_far = 3 * _SIZE, 4 * _SIZE  # crossings from above: this row, the row before
    bot, bot_far, bot_two = 5 * _SIZE, 6 * _SIZE, 7 * _SIZE  # crossings from below: three rows
    bend_up, bend_low, bend_far = 8 * _SIZE, 9 * _SIZE, 10 * _SIZE  # between the rows
    upper, sample = 11 * _SIZE, 12 * _SIZE
    best, best_left, best_right = 13 * _SIZE, 14 * _SIZE, 15 * _SIZE
    between, hole = 16 * _SIZE, 17 * _SIZE
    zero, two, fourth = np.float32(0), np.float32(2), np.float32(0.25)
    first_at, second_at = two * np.float32(aside), np.float32(4) * np.float32(aside)
    first_bend = np.float32(8 * aside * (1 - 2 * aside))
    second_bend = np.float32(max(16 * aside * (1 - 4 * aside), 0.0))
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
        # views that start at index 0: the compiler then sees that no index is negative
        high_now, high_far, low_now = high[row, base + a :], high[before, base + a :], low[row, base + a :]
        for i in range(b - a):
            w[h_now + a + i] = high_now[i]
            w[h_far + a + i] = high_far[i]
            w[l_now + a + i] = low_now[i]
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
            # highest of the chord from this row to the one before plus a bend of e at most in its middle:
            # beyond the higher end by (4e - step)^2 / 16e, which is at most e - step/4
            a0, a1 = w[top + i], w[top_far + i]
            step = a0 - a1
            step = step if step > zero else -step
            over = w[bend_up + i] - fourth * step
            over = over if over > zero else zero
            w[between + i] = (a0 if a0 > a1 else a1) + over
        for i in range(1, n_lines - 1):
            g, g_left, g_right = w[sample + i], w[sample + i - 1], w[sample + i + 1]
            old, old_left, old_right = w[best + i], w[best_left + i], w[best_right + i]
            better = g > old
            w[best + i] = g if better else old
            w[best_left + i] = g_left if better else old_left
            w[best_right + i] = g_right if better else old_right
        cap = np.float32(ceiling + rise * n)
        corner = first + shift
        a = max(1, -corner)
        seen, stand, answer = high[row, corner + a :], below[row, corner + a :], state[row, corner + a :]
        for m in range(min(_LINES, cols - corner) - a):
            i = m + a
            g = stand[m]
            u = part * w[upper + i] + rest * w[upper + i + 1]
            # up to the row before lie exactly two samples
            own = seen[m] + up
            step = part * w[top_far + i] + rest * w[top_far + i + 1] - own
            s1 = own + first_at * step + first_bend * w[bend_up + i]
            s2 = own + second_at * step + second_bend * w[bend_up + i]
            s1 = s1 if s1 > s2 else s2
            u = u if u > s1 else s1
            u = u if u < cap else cap
            f1 = part * w[best + i] + rest * w[best_right + i]
            f2 = part * w[best_left + i + 1] + rest * w[best + i + 1]
            f1 = f1 if f1 > f2 else f2
            f1 = w[hole + i] if seeking else f1
            above, reached = u < g + eye + up - gone, f1 > g + eye + up_low + gone
            if seeking:
                answer[m] = UNKNOWN_GAP if above and reached else OPEN
            else:
                answer[m] = BLOCKED if reached else (CLEAR if above else OPEN)
        for i in range(n_lines):
            u0, u1 = w[upper + i], w[between + i]
            w[upper + i] = u0 if u0 > u1 else u1
            w[bend_far + i] = w[bend_low + i]
            w[top_far + i] = w[top + i]
            w[bot_two + i] = w[bot_far + i]
            w[bot_far + i] = w[bot + i]
        # lines whose neighbour lies a hair from the gap's own rim are left out, and so are the raster's rims
        if seeking and n > 0 and (drift == 0 or 0.01 < part < 0.99):
            met = np.float32(ceiling + steeper * (n - 1))
            for i in range(max(1 - (base + 3), 0), min(cols - 1 - (base + 3), n_lines)):
                v, old = w[l_now + i + 3], w[hole + i]
                w[hole + i] = old if v == v else met
