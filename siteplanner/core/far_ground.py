"""Ground beyond a raster, in large cells: how far it lifts the horizon that the raster alone shows.

A cell of the far ground holds the highest ground within it, so that no ridge is lost; a line of sight that leaves the
near raster is walked on over these cells, half a cell at a time, each sample as high as its whole cell. The horizon
found that way is never too low and at most half a cell's distance too high: for a ridge d away that stands at the
angle h, a far cell of c metres makes it up to about (c / 2d) sin(h) cos(h) radians higher. Beyond the far ground no
ground higher than the stated ceiling is assumed, and where such ground could show the horizon is not complete.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from siteplanner.core.horizon import (
    BLOCK_SHIFT,
    HALF_CURVATURE,
    Blocks,
    blocks,
    direction,
    ground_at,
    horizon_reach,
    horizon_tangents,
    steps_to_leave,
)
from siteplanner.core.sky_bounds import BLOCKED, CLEAR, UNKNOWN_BEYOND, UNKNOWN_GAP


@dataclass(frozen=True, eq=False)
class FarGround:
    """Highest ground of large cells around a near raster, NaN where unknown; float32, at least 2 x 2 cells.

    `top`, `left`: where the centre of the near raster's first cell lies, in rows and columns of far cells counted from
    the outer edge of the first one. Far cells that lie within the near raster are never asked.
    """

    highest_m: np.ndarray
    cell_size_m: float
    top: float
    left: float

    @cached_property
    def blocks(self) -> Blocks:
        """Block maxima, made once for all walks."""
        return blocks(self.highest_m)


class FarRaster(NamedTuple):
    """Far ground as the kernels take it. Without any, `heights` has no rows."""

    heights: np.ndarray
    highest: np.ndarray
    gap: np.ndarray
    cell_m: float
    ceiling: float  # ground no higher than this is assumed where nothing is known
    top: float
    left: float
    near_cell_m: float


def far_raster(far: FarGround | None, ceiling_m: float, near_cell_m: float) -> FarRaster:
    """Pack far ground, or none, for the kernels."""
    if far is None:
        none = np.empty((0, 0))
        nothing = np.empty((0, 0), np.float32), none, none.astype(np.uint8)
        return FarRaster(*nothing, 1.0, float(ceiling_m), 0.0, 0.0, float(near_cell_m))
    heights = np.ascontiguousarray(far.highest_m, np.float32)
    known = far.blocks
    frame = float(ceiling_m), float(far.top), float(far.left), float(near_cell_m)
    return FarRaster(heights, known.highest_m, known.gap, float(far.cell_size_m), *frame)


def whole_horizon(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: float,
    col: float,
    azimuths_deg: ArrayLike,
    height_m: float,
    *,
    ceiling_m: float,
    obstacles_m: np.ndarray | None = None,
    known: Blocks | None = None,
    far: FarGround | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """`(horizon_deg, known_to_m)` per grid azimuth, as `horizon.horizon_reach`, with the ground beyond the raster.

    Where the line leaves the raster before ground at the ceiling could no longer show, it goes on over `far`;
    `known_to_m` is then where the far ground ends or has a gap. Raises ValueError as `horizon_reach` does.
    """
    eye = ground_at(elevation_m, row, col) + height_m
    if far is None or not math.isfinite(eye):
        return horizon_reach(
            elevation_m,
            cell_size_m,
            row,
            col,
            azimuths_deg,
            height_m,
            ceiling_m=ceiling_m,
            obstacles_m=obstacles_m,
            known=known,
        )
    tangent, known_to, ending = horizon_tangents(
        elevation_m, cell_size_m, row, col, azimuths_deg, height_m, ceiling_m, obstacles_m, known
    )
    if ending.any():
        steps = direction(np.asarray(azimuths_deg, float).ravel())
        raster = far_raster(far, ceiling_m, cell_size_m)
        found = tangent.ravel(), known_to.ravel(), ending.ravel()
        rows, cols = np.shape(elevation_m)
        tangents, reach = _horizons_beyond(raster, rows, cols, float(row), float(col), eye, *steps, *found)
        tangent, known_to = tangents.reshape(tangent.shape), reach.reshape(tangent.shape)
    return np.degrees(np.arctan(tangent)), known_to


@njit(cache=True, nogil=True)
def _horizons_beyond(raster, rows, cols, row, col, eye, row_steps, col_steps, tangents, known_to, ending):
    """The horizons of one eye walked on where they left the near raster; see `horizon._horizon` for `ending`."""
    out, reach = tangents.copy(), known_to.copy()
    for i in range(row_steps.size):
        if ending[i] == 0:
            continue
        start = leaves_after(row, col, row_steps[i], col_steps[i], rows, cols) * (raster.near_cell_m / 2)
        best = tangents[i] if tangents[i] == tangents[i] else -np.inf
        best, end = far_walk(raster, row, col, eye, row_steps[i], col_steps[i], start, best)
        if ending[i] == 2:
            reach[i] = end
        out[i] = best if best > -np.inf else np.nan
    return out, reach


@njit(cache=True, nogil=True)
def leaves_after(row, col, row_step, col_step, rows, cols):
    """Half-cell steps to the first sample outside a raster's ring of cell centres, by a walk's own comparison."""
    k = 1e9
    if row_step > 0:
        k = min(k, (rows - 1 - row) / row_step)
    elif row_step < 0:
        k = min(k, row / -row_step)
    if col_step > 0:
        k = min(k, (cols - 1 - col) / col_step)
    elif col_step < 0:
        k = min(k, col / -col_step)
    steps = max(int(k), 1)
    while 0 <= row + steps * row_step <= rows - 1 and 0 <= col + steps * col_step <= cols - 1:
        steps += 1
    return steps


@njit(cache=True, nogil=True)
def far_walk(raster, row, col, eye, row_step, col_step, start_m, best):
    """(largest tangent, where something higher could stand unseen or inf) of a line from `start_m` on.

    Row and column are the near raster's; `best`: the largest tangent so far. Without far ground it ends at once.
    """
    heights, highest, gap, cell_m = raster.heights, raster.highest, raster.gap, raster.cell_m
    rows, cols = heights.shape
    above = raster.ceiling - eye
    own = math.sqrt(max(-above, 0.0) / HALF_CURVATURE)
    known_to = np.inf
    half = cell_m / 2
    ratio = raster.near_cell_m / cell_m
    row, col = raster.top + row * ratio, raster.left + col * ratio
    k = max(int(start_m / half), 1)
    while True:
        d = max(k * half, start_m)
        face = max(d - half, start_m)  # what stands in this cell may stand as near as that
        nearest = max(face, own)
        if above / nearest - nearest * HALF_CURVATURE <= best:
            break
        r = row + k * row_step
        c = col + k * col_step
        if not (0 <= r < rows and 0 <= c < cols):
            known_to = min(known_to, face)
            break
        block_row, block_col = int(r) >> BLOCK_SHIFT, int(c) >> BLOCK_SHIFT
        lift = highest[block_row, block_col] - eye
        if (gap[block_row, block_col] == 0 or known_to < np.inf) and lift <= (best + face * HALF_CURVATURE) * face:
            steps = steps_to_leave(r, c, row_step, col_step, rows, cols, BLOCK_SHIFT)
            if lift >= 0 or lift <= (best + d * HALF_CURVATURE) * (d + steps * half):
                k += steps
                continue
        height = heights[int(r), int(c)]
        if height == height:
            at = face if height > eye else d
            best = max(best, (height - eye) / at - at * HALF_CURVATURE)
        elif known_to == np.inf:
            known_to = face
        k += 1
    return best, known_to


@njit(cache=True, nogil=True)
def settle_beyond(raster, size, ground, height_m, first, row_steps, col_steps, tangent, state):
    """Judge on, in place, the cells of a tile that no ground of the near raster blocks: `sky` says what states mean.

    `ground` and `state` are the tile's, whose first cell is `first` of the near raster; `size`: its rows and columns.
    The eye is `height_m` above the ground and looks along every ray of a beam, all at the same tangent.
    """
    rows, cols = size
    top, left = first
    half = raster.near_cell_m / 2
    for i in range(state.shape[0]):
        for j in range(state.shape[1]):
            eye = ground[i, j] + height_m
            if state[i, j] == BLOCKED or eye != eye:
                continue
            # no line leaves the near raster nearer than its rim is
            d = min(top + i, rows - 1 - top - i, left + j, cols - 1 - left - j) * raster.near_cell_m
            if eye + d * (tangent + d * HALF_CURVATURE) > raster.ceiling:
                continue
            answer = UNKNOWN_GAP if state[i, j] == UNKNOWN_GAP else CLEAR
            for ray in range(row_steps.size):
                steps = leaves_after(float(top + i), float(left + j), row_steps[ray], col_steps[ray], rows, cols)
                d = steps * half
                if eye + d * (tangent + d * HALF_CURVATURE) > raster.ceiling:
                    continue
                # as floats, as a spot's own place: so both are compiled once
                row, col = float(top + i), float(left + j)
                best, known_to = far_walk(raster, row, col, eye, row_steps[ray], col_steps[ray], d, tangent)
                if best > tangent:
                    answer = BLOCKED
                    break
                if known_to < np.inf and answer == CLEAR:
                    answer = UNKNOWN_BEYOND
            state[i, j] = answer


@njit(cache=True, nogil=True)
def passes_ceiling_inside(raster, size, lowest_eye, first, last, row_steps, col_steps, tangent):
    """Whether the lines from every cell of a tile, corners `first` and `last`, pass the ceiling in the near raster."""
    rows, cols = size
    for ray in range(row_steps.size):
        for row in (first[0], last[0]):
            for col in (first[1], last[1]):
                steps = leaves_after(float(row), float(col), row_steps[ray], col_steps[ray], rows, cols)
                d = steps * raster.near_cell_m / 2
                if lowest_eye + d * (tangent + d * HALF_CURVATURE) <= raster.ceiling:
                    return False
    return True
