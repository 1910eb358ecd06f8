"""Which cells of a raster see a point of the sky, such as a geostationary satellite.

The question for one cell: does any sample of the surface reach the line that rises from the eye at the limit
angle toward the azimuth? Samples, distances and the Earth's curve follow the rule of `horizon`. The answer
has four values, because ground that nobody knows is not clear sky.

A whole raster is answered by `sky_sweep`, which bounds the highest obstacle of every line in one pass; the few
cells between its bounds are walked here, sample by sample. The result is that of walking every cell.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

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
from siteplanner.core.sky_bounds import BLOCKED, CLEAR, OPEN, UNKNOWN_GAP, Run, all_jobs, bounds, reach_m

Varying = np.ndarray | float | Callable[[float, float], float]

UNKNOWN_BEYOND = 3  # the line leaves the raster before it passes the ceiling; after CLEAR 0, BLOCKED 1, GAP 2

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
    with _pool(threads) as pool:
        return _whole(z, ground, known, float(cell_size_m), azimuth_deg, limit_deg, height_m, ceiling, pool.map)


def sky_state_at(
    elevation_m: np.ndarray,
    cell_size_m: float,
    rows: ArrayLike,
    cols: ArrayLike,
    azimuth_deg: ArrayLike,
    limit_deg: ArrayLike,
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
        z,
        ground,
        known.highest_m,
        known.gap,
        float(cell_size_m),
        float(height_m),
        ceiling,
        index.astype(np.int64),
        row_steps,
        col_steps,
        np.tan(np.radians(limit.ravel())),
        HALF_CURVATURE,
    )
    return state.reshape(r.shape)


def sky_state_varying(
    elevation_m: np.ndarray,
    cell_size_m: float,
    azimuth_deg: Varying,
    limit_deg: Varying,
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

    def answer(part: tuple[slice, slice]) -> None:
        rows, cols = part
        middle = (rows.start + rows.stop - 1) / 2, (cols.start + cols.stop - 1) / 2
        azimuth, limit = (_at(v, z.shape, *middle) for v in (azimuth_deg, limit_deg))
        _check(cell_size_m, height_m, limit)
        lowest = float(np.fmin.reduce(ground[part], axis=None))
        if math.isnan(lowest):
            return
        far_m = reach_m(ceiling - lowest - height_m, math.tan(math.radians(limit)))
        far = (2 * float(step) * far_m / cell_size_m for step in direction(azimuth))
        # two cells more, so that no line meets the cut before it has passed the ceiling
        wide = tuple(
            slice(
                max(own.start + math.floor(min(cells, 0)) - 2, 0),
                min(own.stop + math.ceil(max(cells, 0)) + 2, size),
            )
            for own, cells, size in zip(part, far, z.shape, strict=True)
        )
        piece = np.ascontiguousarray(z[wide])
        below = piece if z is ground else np.ascontiguousarray(ground[wide])
        found = _whole(piece, below, blocks(piece), float(cell_size_m), azimuth, limit, height_m, ceiling, map)
        top, left = rows.start - wide[0].start, cols.start - wide[1].start
        state[part] = found[top : top + rows.stop - rows.start, left : left + cols.stop - cols.start]

    with _pool(threads) as pool:
        for _ in pool.map(answer, _tiles(z.shape, tile)):
            pass
    return state


def _pool(threads: int | None) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(threads or min(os.cpu_count() or 1, 8))


def _check(cell_size_m: float, height_m: float, limit_deg: ArrayLike) -> None:
    if not (np.all(np.asarray(limit_deg) > 0) and np.all(np.asarray(limit_deg) < 90)):
        raise ValueError("The limit angle must lie above 0 and below 90 degrees.")
    if not (cell_size_m > 0 and height_m >= 0):
        raise ValueError("The cell size must be above 0 and the height not below 0 metres.")


def _tiles(shape: tuple[int, ...], tile: int) -> Iterator[tuple[slice, slice]]:
    for top in range(0, shape[0], tile):
        for left in range(0, shape[1], tile):
            yield slice(top, min(top + tile, shape[0])), slice(left, min(left + tile, shape[1]))


def _at(value: Varying, shape: tuple[int, ...], row: float, col: float) -> float:
    if callable(value):
        return float(value(row, col))
    return float(value) if np.ndim(value) == 0 else float(np.broadcast_to(value, shape)[int(row), int(col)])


def _outward(cells: float) -> int:
    return math.ceil(cells) if cells > 0 else math.floor(cells)


def _whole(
    z: np.ndarray,
    ground: np.ndarray,
    known: Blocks,
    cell_m: float,
    azimuth_deg: float,
    limit_deg: float,
    height_m: float,
    ceiling: float,
    run: Run,
) -> np.ndarray:
    row_step, col_step = (float(v) for v in direction(azimuth_deg))
    tangent = math.tan(math.radians(limit_deg))
    if not math.isfinite(known.ceiling_m):
        return np.full(z.shape, UNKNOWN_GAP, np.uint8)  # no ground is known at all
    state = bounds(z, ground, known, cell_m, row_step, col_step, tangent, height_m, ceiling, run)
    row_rise = _rise_at_end(z.shape[0], row_step, cell_m, tangent)
    col_rise = _rise_at_end(z.shape[1], col_step, cell_m, tangent)

    def settle(top: int) -> None:
        _settle_rows(
            z,
            ground,
            known.highest_m,
            known.gap,
            cell_m,
            float(height_m),
            ceiling,
            row_step,
            col_step,
            tangent,
            HALF_CURVATURE,
            row_rise,
            col_rise,
            top,
            min(top + _BAND_ROWS, z.shape[0]),
            state,
        )

    all_jobs(run, settle, range(0, z.shape[0], _BAND_ROWS))
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
    z,
    ground,
    highest,
    gap,
    cell_m,
    height_m,
    ceiling,
    row_step,
    col_step,
    tangent,
    half_curvature,
    row_rise,
    col_rise,
    first,
    stop,
    state,
):
    """Turn bounds into answers: walk the open cells, find the clear ones whose line leaves too early."""
    for row in range(first, stop):
        for col in range(z.shape[1]):
            value = state[row, col]
            eye = ground[row, col] + height_m
            if value == CLEAR:
                rise = min(row_rise[row], col_rise[col])
                state[row, col] = UNKNOWN_BEYOND if eye + rise <= ceiling else CLEAR
            elif value == OPEN and eye == eye:
                state[row, col] = _line(
                    z, highest, gap, cell_m, row, col, eye, row_step, col_step, tangent, half_curvature, ceiling
                )
            elif value == OPEN:
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
                z,
                highest,
                gap,
                cell_m,
                row,
                col,
                eye,
                row_steps[i],
                col_steps[i],
                tangents[i],
                half_curvature,
                ceiling,
            )
    return state
