"""Which cells of a raster see a point of the sky, such as a geostationary satellite.

The question for one cell: does any sample of the surface reach the line that rises from the eye at the limit
angle toward the azimuth? Samples, distances and the Earth's curve follow the rule of `horizon`. The answer
has four values, because ground that nobody knows is not clear sky.

A whole raster is answered by `sky_bounds`, which bounds the highest obstacle of every line in one pass; the few
cells between its bounds are walked here, sample by sample. The result is that of walking every cell.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from siteplanner.core.far_ground import FarGround, FarRaster, far_raster, passes_ceiling_inside, settle_beyond
from siteplanner.core.horizon import (
    BLOCK_SHIFT,
    HALF_CURVATURE,
    BlockRaster,
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
from siteplanner.core.sky_bounds import (
    BLOCKED,
    CLEAR,
    OPEN,
    UNKNOWN_BEYOND,
    UNKNOWN_GAP,
    Ray,
    Run,
    all_jobs,
    bounds,
    reach_m,
)

LookDeg = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]
"""`look(rows, cols)` of n cells: grid bearings (n, rays) and the elevation angle (n,) that must be free on all."""

TILE_M = 2500.0  # one look a tile: a satellite's look angles turn by about 0.01 degrees per km
_BAND_ROWS = 64  # rows settled by one job
_BY_WORSE = np.array([0, 3, 2, 1], np.uint8)  # state -> how bad, and back: clear, beyond, gap, blocked


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
    raster = block_raster(z, known, cell_size_m, checked_ceiling_m(ceiling_m, known))
    with _pool(threads) as pool:
        return _whole(raster, ground, float(height_m), ray_of(azimuth_deg, limit_deg), pool.map)


def sky_state_varying(
    elevation_m: np.ndarray,
    cell_size_m: float,
    look_deg: LookDeg,
    height_m: float,
    wanted: np.ndarray | None = None,
    tick: Callable[[float], None] | None = None,
    *,
    tile_cells: int | None = None,
    ceiling_m: float | None = None,
    obstacles_m: np.ndarray | None = None,
    known: Blocks | None = None,
    far: FarGround | None = None,
    threads: int | None = None,
) -> np.ndarray:
    """`sky_state` where the direction changes over the raster, and over all rays of a beam.

    `look_deg(rows, cols)` gives the bearings of the beam's rays and the limit at cells; it is asked once, for the
    middle of each tile (`tile_cells` wide; TILE_M by default, so that a satellite's look is off by less than 0.02
    degrees). A cell is clear only if every ray is; of several answers the worst stands: blocked, a gap, beyond the
    raster. `wanted` picks cells (bool, same shape); all others are UNKNOWN_GAP, and tiles without any cost nothing.
    `tick` is told the share done, in this thread; what it raises stops the work. `known` are the `horizon.blocks` of
    max(elevation, obstacles). Every tile is answered together with the ground that its lines can reach before they
    pass the ceiling. A line that leaves the raster below the ceiling goes on over `far`, the ground beyond.

    Raises ValueError as `sky_state` does; the limit must be above 0 in every tile.
    """
    ground = usable(elevation_m)
    z = surface(ground, obstacles_m)
    known = blocks(z) if known is None else known
    highest = checked_ceiling_m(ceiling_m, known)
    # within a raster without gaps nothing stands higher than its own ground
    ceiling = highest if known.gap.any() else known.ceiling_m
    beyond = far_raster(far, highest, cell_size_m)
    wanted = np.ones(z.shape, bool) if wanted is None else np.ascontiguousarray(wanted, bool)
    if wanted.shape != z.shape:
        raise ValueError("The wanted cells must have the elevation's rows and columns.")
    state = np.full(z.shape, UNKNOWN_GAP, np.uint8)
    tiles = _tiles(wanted, tile_cells or max(int(TILE_M / cell_size_m), 16))
    if not tiles:
        return state
    middles = [[(part.start + part.stop - 1) / 2 for part in parts] for parts in zip(*tiles, strict=True)]
    azimuths, limits = look_deg(*(np.array(middle) for middle in middles))
    _check(cell_size_m, height_m, limits)

    def answer(number: int) -> None:
        rows, cols = part = tiles[number]
        lowest = float(np.fmin.reduce(ground[part][wanted[part]], axis=None))
        if math.isnan(lowest):
            return
        rays = [ray_of(azimuth, float(limits[number])) for azimuth in azimuths[number].tolist()]
        wide = _within_reach(part, z.shape, rays, float(cell_size_m), ceiling - lowest - height_m)
        piece = np.ascontiguousarray(z[wide])
        below = piece if z is ground else np.ascontiguousarray(ground[wide])
        raster = block_raster(piece, blocks(piece), cell_size_m, ceiling)
        top, left = rows.start - wide[0].start, cols.start - wide[1].start
        inner = np.s_[top : top + rows.stop - rows.start, left : left + cols.stop - cols.start]
        worst = np.zeros(ground[part].shape, np.uint8)
        for ray in rays:
            found = _whole(raster, below, float(height_m), ray, map)[inner]
            worst = np.maximum(worst, _BY_WORSE[found])
            if (worst[wanted[part]] == _BY_WORSE[BLOCKED]).all():
                break
        answered = _BY_WORSE[worst]
        if far is not None or ceiling < highest:  # otherwise the near raster's own answer is the whole one
            _judge_on(beyond, z.shape, ground, part, lowest, float(height_m), rays, answered)
        np.copyto(state[part], answered, where=wanted[part])

    pool = _pool(threads)
    try:
        for number, _ in enumerate(pool.map(answer, range(len(tiles))), 1):
            if tick is not None:
                tick(number / len(tiles))
    finally:
        pool.shutdown(cancel_futures=True)
    return state


def _judge_on(
    beyond: FarRaster,
    shape: tuple[int, ...],
    ground: np.ndarray,
    part: tuple[slice, slice],
    lowest_m: float,
    height_m: float,
    rays: list[Ray],
    state: np.ndarray,
) -> None:
    """Follow the lines from a tile that leave the raster below the ceiling, in place; see `sky_state_varying`."""
    row_steps, col_steps = (np.array([ray[k] for ray in rays], float) for k in (0, 1))
    tangent, (top, left) = rays[0].tangent, (part[0].start, part[1].start)
    last = part[0].stop - 1, part[1].stop - 1
    size = shape[0], shape[1]
    if passes_ceiling_inside(beyond, size, lowest_m + height_m, (top, left), last, row_steps, col_steps, tangent):
        return
    settle_beyond(beyond, size, ground[part], height_m, (top, left), row_steps, col_steps, tangent, state)


def known_margin_deg(
    elevation_deg: ArrayLike,
    horizon_deg: ArrayLike,
    known_to_m: ArrayLike,
    eye_m: ArrayLike,
    ceiling_m: float,
    least_margin_deg: float,
) -> np.ndarray:
    """How far the satellite stands above the horizon, degrees, NaN where that cannot be told. Broadcasts.

    `horizon_deg` and `known_to_m` are those of `horizon.horizon_reach` for the eye's height above sea level. The rule
    of UNKNOWN_BEYOND and UNKNOWN_GAP for a horizon: one cut short is a lower bound, so it may block (a margin below
    `least_margin_deg` stands), but it clears only if the line of sight less that margin has risen above `ceiling_m`
    by the end of what is known; such a margin is an upper bound. A horizon below the level counts as level: a satellite
    never has more margin than it stands above the horizontal.
    """
    margin = np.asarray(elevation_deg, float) - np.maximum(np.asarray(horizon_deg, float), 0.0)
    reach = np.asarray(known_to_m, float)
    tangent = np.tan(np.radians(np.asarray(elevation_deg, float) - least_margin_deg))
    with np.errstate(invalid="ignore"):
        line = np.asarray(eye_m, float) + reach * (tangent + reach * HALF_CURVATURE)
        cut_short = np.isfinite(reach) & (margin >= least_margin_deg) & ~(line > ceiling_m)
    return np.where(cut_short, np.nan, margin)


def ray_of(azimuth_deg: float, limit_deg: float) -> Ray:
    """A grid bearing and an elevation angle as the kernels take them."""
    row_step, col_step = direction(azimuth_deg)
    return Ray(float(row_step), float(col_step), math.tan(math.radians(limit_deg)))


def _pool(threads: int | None) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(threads or min(os.cpu_count() or 1, 8))


def _check(cell_size_m: float, height_m: float, limit_deg: ArrayLike) -> None:
    if not (np.all(np.asarray(limit_deg) > 0) and np.all(np.asarray(limit_deg) < 90)):
        raise ValueError("The limit angle must lie above 0 and below 90 degrees.")
    if not (cell_size_m > 0 and height_m >= 0):
        raise ValueError("The cell size must be above 0 and the height not below 0 meters.")


def _tiles(wanted: np.ndarray, tile: int) -> list[tuple[slice, slice]]:
    """Squares from the first wanted row and column on, those that hold wanted cells."""
    rows, cols = (np.flatnonzero(wanted.any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return []
    parts = [
        [
            slice(start, min(start + tile, int(found[-1]) + 1))
            for start in range(int(found[0]), int(found[-1]) + 1, tile)
        ]
        for found in (rows, cols)
    ]
    return [(row, col) for row in parts[0] for col in parts[1] if wanted[row, col].any()]


def _within_reach(
    part: tuple[slice, slice], shape: tuple[int, ...], rays: list[Ray], cell_m: float, rise_m: float
) -> tuple[slice, slice]:
    """The part of a raster that the lines from a tile cross while they rise so far."""
    wide = []
    for own, size, steps in zip(part, shape, zip(*(ray[:2] for ray in rays), strict=True), strict=True):
        far = [2 * step * reach_m(rise_m, ray.tangent) / cell_m for step, ray in zip(steps, rays, strict=True)]
        # two cells more, so that no line meets the cut before it has passed the ceiling
        first, stop = own.start + math.floor(min(*far, 0)) - 2, own.stop + math.ceil(max(*far, 0)) + 2
        wide.append(slice(max(first, 0), min(stop, size)))
    return wide[0], wide[1]


def _whole(raster: BlockRaster, ground: np.ndarray, height_m: float, ray: Ray, run: Run) -> np.ndarray:
    """State of every cell toward one direction; the eye stands on `ground`."""
    shape = raster.heights.shape
    if not np.isfinite(raster.highest).any():
        return np.full(shape, UNKNOWN_GAP, np.uint8)  # no ground is known at all
    state = bounds(raster, ground, ray, height_m, run)
    row_rise = _rise_at_end(shape[0], ray.row_step, raster.cell_m, ray.tangent)
    col_rise = _rise_at_end(shape[1], ray.col_step, raster.cell_m, ray.tangent)

    def settle(top: int) -> None:
        _settle_rows(raster, ground, height_m, ray, row_rise, col_rise, top, min(top + _BAND_ROWS, shape[0]), state)

    all_jobs(run, settle, range(0, shape[0], _BAND_ROWS))
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
def line_state(raster, row, col, eye, ray):
    """Exact answer of one cell."""
    return _line(raster.heights, raster.highest, raster.gap, raster.cell_m, raster.ceiling, row, col, eye, ray)


@njit(cache=True, nogil=True)
def _line(heights, highest, gap, cell_m, ceiling, row, col, eye, ray):
    """Every sample counts, blocks too low to matter are jumped over. Arrays one by one: a tuple of them costs a call
    as much as a short walk.
    """
    rows, cols = heights.shape
    answer = CLEAR
    k = 1
    while True:
        d = k * (cell_m / 2)
        line = eye + d * (ray.tangent + d * HALF_CURVATURE)
        if line > ceiling:
            return answer
        r = row + k * ray.row_step
        c = col + k * ray.col_step
        if not (0 <= r <= rows - 1 and 0 <= c <= cols - 1):
            return UNKNOWN_BEYOND if answer == CLEAR else answer
        r0, c0 = corner(r, rows), corner(c, cols)
        block_row, block_col = r0 >> BLOCK_SHIFT, c0 >> BLOCK_SHIFT
        if highest[block_row, block_col] < line and (gap[block_row, block_col] == 0 or answer != CLEAR):
            k += steps_to_leave(r, c, ray.row_step, ray.col_step, rows - 1, cols - 1, BLOCK_SHIFT)
            continue
        height = height_between(heights, r0, c0, r - r0, c - c0)
        if height >= line:
            return BLOCKED
        if height != height:
            answer = UNKNOWN_GAP
        k += 1


@njit(cache=True, nogil=True)
def _settle_rows(raster, ground, height_m, ray, row_rise, col_rise, first, stop, state):
    """Turn bounds into answers: walk the open cells, find the clear ones whose line leaves too early."""
    heights, highest, gap = raster.heights, raster.highest, raster.gap
    cell_m, ceiling = raster.cell_m, raster.ceiling
    for row in range(first, stop):
        for col in range(state.shape[1]):
            value = state[row, col]
            eye = ground[row, col] + height_m
            if value == CLEAR:
                rise = min(row_rise[row], col_rise[col])
                state[row, col] = UNKNOWN_BEYOND if eye + rise <= ceiling else CLEAR
            elif value == OPEN and eye == eye:
                state[row, col] = _line(heights, highest, gap, cell_m, ceiling, row, col, eye, ray)
            elif value == OPEN:
                state[row, col] = UNKNOWN_GAP
