"""Every cell walked by itself with the product's exact line: what a whole raster's answer must equal."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from siteplanner.core.horizon import Blocks, block_raster, blocks, checked_ceiling_m, direction, surface, usable
from siteplanner.core.sky import UNKNOWN_GAP, line_state
from siteplanner.core.sky_bounds import Ray


def walk_cells(
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
    """`sky_state` of chosen cells, each toward its own direction (arguments broadcast)."""
    ground = usable(elevation_m)
    z = surface(ground, obstacles_m)
    known = blocks(z) if known is None else known
    raster = block_raster(z, known, cell_size_m, checked_ceiling_m(ceiling_m, known))
    r, c, azimuth, limit = np.broadcast_arrays(rows, cols, azimuth_deg, limit_deg)
    index = np.ravel_multi_index((r.ravel(), c.ravel()), z.shape, mode="raise") if r.size else r.ravel()
    row_steps, col_steps = direction(azimuth.ravel())
    tangents = np.tan(np.radians(limit.ravel()))
    state = _walk_cells(raster, ground, float(height_m), index.astype(np.int64), row_steps, col_steps, tangents)
    return state.reshape(r.shape)


@njit(nogil=True)
def _walk_cells(raster, ground, height_m, index, row_steps, col_steps, tangents):
    state = np.full(index.size, UNKNOWN_GAP, np.uint8)
    for i in range(index.size):
        row = index[i] // ground.shape[1]
        col = index[i] - row * ground.shape[1]
        eye = ground[row, col] + height_m
        if eye == eye:
            state[i] = line_state(raster, row, col, eye, Ray(row_steps[i], col_steps[i], tangents[i]))
    return state
