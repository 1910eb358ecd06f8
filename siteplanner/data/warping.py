"""Heights from one grid onto another: exact positions, no invented ground, unknown stays unknown.

GDAL reads the windows; the resampling is done here, because its warper moves cells by up to an eighth of a cell
and treats the rim of unknown ground in its own way.
"""

from __future__ import annotations

import numpy as np
from affine import Affine
from pyproj import CRS, Transformer

_KNOT = 16  # cells between exactly transformed points; between them the map is straight to under 0.001 cell


class Mapping:
    """Where the cells of a target grid lie in a source raster, in source pixels."""

    def __init__(self, target: Affine, target_crs: CRS, source: Affine, source_crs: CRS, lon_centre: float | None):
        """`lon_centre`: middle longitude of a geographic source, so that 234 E and 126 W are one place."""
        self._target, self._to_pixel, self._lon_centre = target, ~source, lon_centre
        same = target_crs.equals(source_crs, ignore_axis_order=True)
        self._move = None if same else Transformer.from_crs(target_crs, source_crs, always_xy=True)

    def rowcol(self, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Exact source (row, col), centres at whole numbers, of target cells `rows` x `cols` (outer product)."""
        t = self._target
        x, y = np.broadcast_arrays(t.c + (cols[None, :] + 0.5) * t.a, t.f + (rows[:, None] + 0.5) * t.e)
        if self._move is not None:
            x, y = self._move.transform(x, y)
        if self._lon_centre is not None:
            x = self._lon_centre + (x - self._lon_centre + 180.0) % 360.0 - 180.0
        p = self._to_pixel
        return p.d * x + p.e * y + p.f - 0.5, p.a * x + p.b * y + p.c - 0.5

    def block(self, row: int, col: int, height: int, width: int) -> tuple[np.ndarray, np.ndarray]:
        """Source (row, col) of a block of target cells, straight between knots `_KNOT` cells apart."""
        row_knots, above, row_share = _knots(row, height)
        col_knots, left, col_share = _knots(col, width)
        found = []
        for knots in self.rowcol(row_knots, col_knots):
            lines = knots[above] + (knots[above + 1] - knots[above]) * row_share[:, None]
            found.append(lines[:, left] + (lines[:, left + 1] - lines[:, left]) * col_share)
        return found[0], found[1]


def _knots(start: int, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Knot positions over `count` cells, and for each cell the knot before it and its share of the way on."""
    last = max(count - 1, 1)
    knots = np.append(np.arange(0, last, _KNOT), last).astype(float)
    cells = np.arange(count, dtype=float)
    before = np.clip(np.searchsorted(knots, cells, side="right") - 1, 0, len(knots) - 2)
    return knots + start, before, (cells - knots[before]) / (knots[before + 1] - knots[before])


def block_means(values: np.ndarray, rows: int, cols: int) -> np.ndarray:
    """Means over blocks of `rows` x `cols` cells; NaN where less than half of a block is known.

    `values`: float array whose shape is a whole number of blocks.
    """
    if rows == cols == 1:
        return values
    shape = (values.shape[0] // rows, rows, values.shape[1] // cols, cols)
    blocks = values.reshape(shape)
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    total = np.where(known, blocks, 0).sum(axis=(1, 3), dtype=np.float64)
    enough = 2 * count >= rows * cols
    return np.where(enough, total / np.maximum(count, 1), np.nan).astype(values.dtype)


def block_maxima(values: np.ndarray, rows: int, cols: int) -> np.ndarray:
    """The highest of each block of `rows` x `cols` cells; unknown as with `block_means`.

    For what stands on the ground: the mean of a tree and the grass around it is the height of neither.
    """
    if rows == cols == 1:
        return values
    blocks = values.reshape(values.shape[0] // rows, rows, values.shape[1] // cols, cols)
    known = np.isfinite(blocks)
    highest = np.where(known, blocks, -np.inf).max(axis=(1, 3))
    return np.where(2 * known.sum(axis=(1, 3)) >= rows * cols, highest, np.nan).astype(values.dtype)
