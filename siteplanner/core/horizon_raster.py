"""The horizon of every cell of a raster toward one satellite: the walk of `horizon`, cell after cell.

Each cell is walked along its own bearing and the answer is that of `horizon.horizon_reach`, not an estimate. It is
quick because neighbours see nearly the same ridge: where the cell before had its horizon, this one looks first, and
all blocks of ground that cannot rise above what it finds there are jumped over.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit

from siteplanner.core.far_ground import FarGround, far_raster, far_walk, leaves_after
from siteplanner.core.horizon import (
    BLOCK_SHIFT,
    HALF_CURVATURE,
    Blocks,
    block_raster,
    blocks,
    checked_ceiling_m,
    corner,
    direction,
    height_between,
    steps_to_leave,
    surface,
    usable,
)

LATTICE_CELLS = 64  # bearings are worked out so far apart and blended
_WIDE_BLOCKS = 8  # blocks a side of a wide block
_WIDE_SHIFT = BLOCK_SHIFT + 3  # log2 of its cells a side
_BAND_ROWS = 32  # rows of one job


def horizon_raster(
    elevation_m: np.ndarray,
    cell_size_m: float,
    azimuth_deg: Callable[[np.ndarray, np.ndarray], np.ndarray],
    height_m: float,
    wanted: np.ndarray | None = None,
    *,
    ceiling_m: float | None = None,
    obstacles_m: np.ndarray | None = None,
    known: Blocks | None = None,
    far: FarGround | None = None,
    least_deg: float = -90.0,
    threads: int | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """`(horizon_deg, known_to_m)` of every cell, float32, as `horizon.horizon_reach` gives for one.

    `azimuth_deg(rows, cols)` gives the grid bearing at cells (arrays of one shape), or those of all rays of a beam
    along one more axis; it is asked on a lattice of LATTICE_CELLS and blended between. Of a beam the highest horizon
    is told, and `known_to_m` is the nearest place on any ray from which something higher than that could stand
    unseen by this ray and those before it. `wanted` picks cells (bool, same shape); all others, and those whose ground
    is unknown, are NaN. The rest as `horizon_reach`: the angle is the highest that the known ground shows, a lower
    bound of the true horizon where `known_to_m` is finite. Lines that leave the raster before ground at the ceiling
    could no longer show go on over `far`. `least_deg`: a lower horizon is told as this one, and nothing that could only
    stand lower counts as unseen; the higher it is, the sooner a walk ends. The answer does not depend on `threads`.

    Raises ValueError as `horizon_reach` does.
    """
    ground = usable(elevation_m)
    if not (cell_size_m > 0 and height_m >= 0):
        raise ValueError("The cell size must be above 0 and the height not below 0 meters.")
    z = surface(ground, obstacles_m)
    known = blocks(z) if known is None else known
    highest = checked_ceiling_m(ceiling_m, known)
    # within a raster without gaps nothing stands higher than its own ground
    ceiling = highest if known.gap.any() else known.ceiling_m
    beyond = far_raster(far, highest, cell_size_m)
    rows, cols = z.shape
    wanted = np.ones(z.shape, bool) if wanted is None else np.ascontiguousarray(wanted, bool)
    if wanted.shape != z.shape:
        raise ValueError("The wanted cells must have the elevation's rows and columns.")
    axes = [np.arange(n // LATTICE_CELLS + 2) * float(LATTICE_CELLS) for n in (rows, cols)]
    bearings = np.asarray(azimuth_deg(*np.meshgrid(*axes, indexing="ij")), float)
    lattice = (len(axes[0]), len(axes[1]), -1)  # one ray where there is no axis for them
    row_steps, col_steps = direction(np.ascontiguousarray(np.moveaxis(bearings.reshape(lattice), 2, 0)))
    angle, reach = np.full(z.shape, np.nan, np.float32), np.full(z.shape, np.nan, np.float32)
    raster = block_raster(z, known, cell_size_m, ceiling)
    wide = raster._replace(highest=_widened(known.highest_m, -math.inf), gap=_widened(known.gap, 0))

    least = math.tan(math.radians(least_deg)) if least_deg > -90.0 else -math.inf

    def band(top: int) -> None:
        stop = min(top + _BAND_ROWS, rows)
        eyes = ground, wanted, float(height_m), least
        _horizon_band(raster, wide, beyond, *eyes, row_steps, col_steps, top, stop, angle, reach)

    if math.isfinite(known.ceiling_m):
        with ThreadPoolExecutor(threads or min(os.cpu_count() or 1, 8)) as pool:
            for _ in pool.map(band, range(0, rows, _BAND_ROWS)):
                pass
    return angle, reach


def _widened(fine: np.ndarray, empty: float) -> np.ndarray:
    """Maxima of wide blocks."""
    n = _WIDE_BLOCKS
    rows, cols = (-(-size // n) * n for size in fine.shape)
    padded = np.full((rows, cols), empty, fine.dtype)
    padded[: fine.shape[0], : fine.shape[1]] = fine
    return np.ascontiguousarray(padded.reshape(rows // n, n, cols // n, n).max(axis=(1, 3)))


@njit(cache=True, nogil=True)
def _horizon_band(
    raster, wide, beyond, ground, wanted, height_m, least, row_steps, col_steps, first, stop, angle, reach
):
    """As `horizon._horizon`, a beam a cell; see there for the walk itself."""
    rays = row_steps.shape[0]
    rows, cols = ground.shape
    guess = np.empty(rays, np.int64)
    for row in range(first, stop):
        at_row = row // LATTICE_CELLS
        down = (row - LATTICE_CELLS * at_row) / LATTICE_CELLS
        guess[:] = 1
        for col in range(ground.shape[1]):
            eye = ground[row, col] + height_m
            if not wanted[row, col] or eye != eye:
                continue
            at_col = col // LATTICE_CELLS
            right = (col - LATTICE_CELLS * at_col) / LATTICE_CELLS
            best, known_to = least, np.inf
            # ground at the ceiling shows least far away: no line of this row leaves nearer than here
            over = beyond.ceiling - eye
            reach_m = max(min(row, rows - 1 - row, col, cols - 1 - col), 0.5) * raster.cell_m
            if over < 0:
                reach_m = max(reach_m, math.sqrt(-over / HALF_CURVATURE))
            for ray in range(rays):
                row_step = height_between(row_steps[ray], at_row, at_col, down, right)
                col_step = height_between(col_steps[ray], at_row, at_col, down, right)
                best, found = _look_near(raster, row, col, eye, row_step, col_step, best, guess[ray])
                best, guess[ray], end = _walk(raster, wide, row, col, eye, row_step, col_step, best, found)
                if end < np.inf or over > (best + reach_m * HALF_CURVATURE) * reach_m:
                    leaves = leaves_after(float(row), float(col), row_step, col_step, rows, cols) * (raster.cell_m / 2)
                    best, far_end = far_walk(beyond, float(row), float(col), eye, row_step, col_step, leaves, best)
                    end = min(end, far_end) if end < leaves else far_end
                known_to = min(known_to, end)
            reach[row, col] = known_to
            if best > -np.inf:
                angle[row, col] = math.degrees(math.atan(best))


@njit(cache=True, nogil=True, inline="always")
def _look_near(raster, row, col, eye, row_step, col_step, best, guess):
    """The largest tangent so far and its step, after a look at the samples around a guess."""
    heights = raster.heights
    rows, cols = heights.shape
    half_cell = raster.cell_m / 2
    found = guess
    for k in range(max(guess - 3, 1), guess + 4):
        r = row + k * row_step
        c = col + k * col_step
        if not (0 <= r <= rows - 1 and 0 <= c <= cols - 1):
            break
        r0, c0 = corner(r, rows), corner(c, cols)
        height = height_between(heights, r0, c0, r - r0, c - c0)
        d = k * half_cell
        tangent = (height - eye) / d - d * HALF_CURVATURE
        if tangent > best:
            best, found = tangent, k
    return best, found


@njit(cache=True, nogil=True, inline="always")
def _walk(raster, wide, row, col, eye, row_step, col_step, best, found):
    """(largest tangent, its step, where something higher could stand unseen) of a whole line."""
    # arrays taken out of the tuples once: inside the loop that would cost more than the walk
    heights, highest, gap = raster.heights, raster.highest, raster.gap
    wide_highest, wide_gap = wide.highest, wide.gap
    rows, cols = heights.shape
    half_cell = raster.cell_m / 2
    above = raster.ceiling - eye
    far = math.sqrt(max(-above, 0.0) / HALF_CURVATURE)
    known_to = np.inf
    k = 1
    while True:
        d = k * half_cell
        nearest = max(d, far)
        if above / nearest - nearest * HALF_CURVATURE <= best:
            break
        r = row + k * row_step
        c = col + k * col_step
        if not (0 <= r <= rows - 1 and 0 <= c <= cols - 1):
            known_to = min(known_to, d)
            break
        r0, c0 = corner(r, rows), corner(c, cols)
        wide_row, wide_col = r0 >> _WIDE_SHIFT, c0 >> _WIDE_SHIFT
        lift = wide_highest[wide_row, wide_col] - eye
        if (wide_gap[wide_row, wide_col] == 0 or known_to < np.inf) and lift <= (best + d * HALF_CURVATURE) * d:
            steps = steps_to_leave(r, c, row_step, col_step, rows - 1, cols - 1, _WIDE_SHIFT)
            if lift >= 0 or lift <= (best + d * HALF_CURVATURE) * (d + steps * half_cell):
                k += steps
                continue
        block_row, block_col = r0 >> BLOCK_SHIFT, c0 >> BLOCK_SHIFT
        lift = highest[block_row, block_col] - eye
        if (gap[block_row, block_col] == 0 or known_to < np.inf) and lift <= (best + d * HALF_CURVATURE) * d:
            steps = steps_to_leave(r, c, row_step, col_step, rows - 1, cols - 1, BLOCK_SHIFT)
            if lift >= 0 or lift <= (best + d * HALF_CURVATURE) * (d + steps * half_cell):
                k += steps
                continue
        height = height_between(heights, r0, c0, r - r0, c - c0)
        if height == height:
            tangent = (height - eye) / d - d * HALF_CURVATURE
            if tangent > best:
                best, found = tangent, k
        elif known_to == np.inf and above / d - d * HALF_CURVATURE > best:
            known_to = d
        k += 1
    return best, found, known_to
