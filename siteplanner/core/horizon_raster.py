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

from siteplanner.core.horizon import (
    HALF_CURVATURE,
    Blocks,
    blocks,
    checked_ceiling_m,
    direction,
    surface,
    usable,
)

LATTICE_CELLS = 64  # bearings are worked out so far apart and blended; a power of two, as in the kernel
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
    threads: int | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """`(horizon_deg, known_to_m)` of every cell, float32, as `horizon.horizon_reach` gives for one.

    `azimuth_deg(rows, cols)` gives the grid bearing at cells (arrays of one shape); it is asked on a lattice of
    LATTICE_CELLS and blended between. `wanted` picks cells (bool, same shape); all others, and those whose ground
    is unknown, are NaN. The rest as `horizon_reach`: the angle is the highest that the known ground shows, a lower
    bound of the true horizon where `known_to_m` is finite. The answer does not depend on `threads`.

    Raises ValueError as `horizon_reach` does.
    """
    ground = usable(elevation_m)
    if not (cell_size_m > 0 and height_m >= 0):
        raise ValueError("The cell size must be above 0 and the height not below 0 metres.")
    z = surface(ground, obstacles_m)
    known = blocks(z) if known is None else known
    ceiling = checked_ceiling_m(ceiling_m, known)
    rows, cols = z.shape
    wanted = np.ones(z.shape, bool) if wanted is None else np.ascontiguousarray(wanted, bool)
    if wanted.shape != z.shape:
        raise ValueError("The wanted cells must have the elevation's rows and columns.")
    axes = [np.arange(n // LATTICE_CELLS + 2) * float(LATTICE_CELLS) for n in (rows, cols)]
    row_steps, col_steps = direction(azimuth_deg(*np.meshgrid(*axes, indexing="ij")))
    angle, reach = np.full(z.shape, np.nan, np.float32), np.full(z.shape, np.nan, np.float32)

    wide_highest, wide_gap = _widened(known.highest_m, -math.inf), _widened(known.gap, 0)

    def band(top: int) -> None:
        _horizon_band(
            z,
            ground,
            wanted,
            known.highest_m,
            known.gap,
            wide_highest,
            wide_gap,
            float(cell_size_m),
            float(height_m),
            ceiling,
            row_steps,
            col_steps,
            HALF_CURVATURE,
            top,
            min(top + _BAND_ROWS, rows),
            angle,
            reach,
        )

    if math.isfinite(known.ceiling_m):
        with ThreadPoolExecutor(threads or min(os.cpu_count() or 1, 8)) as pool:
            for _ in pool.map(band, range(0, rows, _BAND_ROWS)):
                pass
    return angle, reach


def _widened(fine: np.ndarray, empty: float) -> np.ndarray:
    """Maxima of 8 x 8 blocks."""
    rows, cols = (-(-n // 8) * 8 for n in fine.shape)
    padded = np.full((rows, cols), empty, fine.dtype)
    padded[: fine.shape[0], : fine.shape[1]] = fine
    return np.ascontiguousarray(padded.reshape(rows // 8, 8, cols // 8, 8).max(axis=(1, 3)))


@njit(cache=True, nogil=True, inline="always")
def _steps_to_leave(row, col, row_step, col_step, last_row, last_col, shift):
    """`horizon.steps_to_leave` for blocks of 2^shift cells."""
    steps = 1e9
    if row_step > 0:
        border = min(((int(row) >> shift) + 1) << shift, last_row)
        steps = math.ceil((border - row) / row_step - 1e-7)
    elif row_step < 0:
        steps = math.floor((row - ((int(row) >> shift) << shift)) / -row_step - 1e-7) + 1
    if col_step > 0:
        border = min(((int(col) >> shift) + 1) << shift, last_col)
        steps = min(steps, math.ceil((border - col) / col_step - 1e-7))
    elif col_step < 0:
        steps = min(steps, math.floor((col - ((int(col) >> shift) << shift)) / -col_step - 1e-7) + 1)
    return max(int(steps), 1)


@njit(cache=True, nogil=True, inline="always")
def _blended(values, row, col, down, right):
    """Bilinear between four neighbours of the lattice."""
    upper = values[row, col] * (1 - right) + values[row, col + 1] * right
    lower = values[row + 1, col] * (1 - right) + values[row + 1, col + 1] * right
    return upper * (1 - down) + lower * down


@njit(cache=True, nogil=True)
def _horizon_band(
    z,
    ground,
    wanted,
    highest,
    gap,
    wide_highest,
    wide_gap,
    cell_m,
    height_m,
    ceiling,
    row_steps,
    col_steps,
    half_curvature,
    first,
    stop,
    angle,
    reach,
):
    """As `horizon._horizons`, one direction a cell; see there for the walk itself."""
    rows, cols = z.shape
    for row in range(first, stop):
        at_row = row // 64
        down = (row - 64 * at_row) / 64.0
        guess = 1
        for col in range(cols):
            eye = ground[row, col] + height_m
            if not wanted[row, col] or eye != eye:
                continue
            at_col = col // 64
            right = (col - 64 * at_col) / 64.0
            row_step = _blended(row_steps, at_row, at_col, down, right)
            col_step = _blended(col_steps, at_row, at_col, down, right)
            above = ceiling - eye
            far = math.sqrt(max(-above, 0.0) / half_curvature)
            best = -np.inf
            found = guess
            for k in range(max(guess - 3, 1), guess + 4):
                r = row + k * row_step
                c = col + k * col_step
                if not (0 <= r <= rows - 1 and 0 <= c <= cols - 1):
                    break
                r0 = min(int(r), rows - 2)
                c0 = min(int(c), cols - 2)
                fr = r - r0
                fc = c - c0
                v = (z[r0, c0] * (1 - fc) + z[r0, c0 + 1] * fc) * (1 - fr) + (
                    z[r0 + 1, c0] * (1 - fc) + z[r0 + 1, c0 + 1] * fc
                ) * fr
                d = k * (cell_m / 2)
                tangent = (v - eye) / d - d * half_curvature
                if tangent > best:
                    best = tangent
                    found = k
            known_to = np.inf
            k = 1
            while True:
                d = k * (cell_m / 2)
                nearest = max(d, far)
                if above / nearest - nearest * half_curvature <= best:
                    break
                r = row + k * row_step
                c = col + k * col_step
                if not (0 <= r <= rows - 1 and 0 <= c <= cols - 1):
                    known_to = min(known_to, d)
                    break
                r0 = min(int(r), rows - 2)
                c0 = min(int(c), cols - 2)
                lift = wide_highest[r0 >> 7, c0 >> 7] - eye
                if (wide_gap[r0 >> 7, c0 >> 7] == 0 or known_to < np.inf) and lift <= (best + d * half_curvature) * d:
                    steps = _steps_to_leave(r, c, row_step, col_step, rows - 1, cols - 1, 7)
                    far_d = d + steps * (cell_m / 2)
                    if lift >= 0 or lift <= (best + d * half_curvature) * far_d:
                        k += steps
                        continue
                lift = highest[r0 >> 4, c0 >> 4] - eye
                if (gap[r0 >> 4, c0 >> 4] == 0 or known_to < np.inf) and lift <= (best + d * half_curvature) * d:
                    steps = _steps_to_leave(r, c, row_step, col_step, rows - 1, cols - 1, 4)
                    far_d = d + steps * (cell_m / 2)
                    if lift >= 0 or lift <= (best + d * half_curvature) * far_d:
                        k += steps
                        continue
                fr = r - r0
                fc = c - c0
                v = (z[r0, c0] * (1 - fc) + z[r0, c0 + 1] * fc) * (1 - fr) + (
                    z[r0 + 1, c0] * (1 - fc) + z[r0 + 1, c0 + 1] * fc
                ) * fr
                if v == v:
                    tangent = (v - eye) / d - d * half_curvature
                    if tangent > best:
                        best = tangent
                        found = k
                elif known_to == np.inf and above / d - d * half_curvature > best:
                    known_to = d
                k += 1
            guess = found
            reach[row, col] = known_to
            if best > -np.inf:
                angle[row, col] = math.degrees(math.atan(best))
