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
        row_knots, row_weights = _knots(row, height)
        col_knots, col_weights = _knots(col, width)
        r, c = self.rowcol(row_knots, col_knots)
        return row_weights @ r @ col_weights.T, row_weights @ c @ col_weights.T


def _knots(start: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Knot positions over `count` cells and the (count, knots) matrix of linear weights."""
    knots = np.append(np.arange(0, max(count - 1, 1), _KNOT), max(count - 1, 1)).astype(float)
    cells = np.arange(count, dtype=float)
    left = np.clip(np.searchsorted(knots, cells, side="right") - 1, 0, len(knots) - 2)
    share = (cells - knots[left]) / (knots[left + 1] - knots[left])
    weights = np.zeros((count, len(knots)))
    weights[np.arange(count), left] = 1 - share
    weights[np.arange(count), left + 1] += share
    return knots + start, weights


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


def resample(values: np.ndarray, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    """Heights at fractional cells: cubic convolution, linear beside unknown ground, NaN outside.

    `values` (rows, cols) float32 with NaN; `row`, `col` any shape, whole numbers are cell centres. Cubic
    convolution with a = -1/2 (Keys 1981, IEEE Trans. ASSP 29(6), eq. 15) keeps slopes, which linear
    interpolation flattens; its result is held within the 16 heights it uses, so no cliff rings. Where one of the
    16 is unknown the four nearest are used, and the result is known if half of their weight is.
    """
    rows, cols = values.shape
    inside = (row >= -0.5) & (row <= rows - 0.5) & (col >= -0.5) & (col <= cols - 0.5)
    out = np.full(row.shape, np.nan, dtype=np.float32)
    r, c = row[inside], col[inside]
    if not r.size:
        return out
    r0, c0 = np.floor(r).astype(np.int64), np.floor(c).astype(np.int64)
    result = np.empty(r.size, dtype=np.float32)
    flat = values.ravel()
    step = 1 << 18  # keeps the 16 gathers in the cache
    for at in range(0, r.size, step):
        piece = slice(at, at + step)
        result[piece] = _cubic(flat, rows, cols, r0[piece], c0[piece], r[piece] - r0[piece], c[piece] - c0[piece])
    out[inside] = result
    return out


def _cubic(flat, rows, cols, r0, c0, fr, fc):
    wr, wc = _keys(fr), _keys(fc)
    total = np.zeros(r0.size)
    low, high = np.full(r0.size, np.inf, np.float32), np.full(r0.size, -np.inf, np.float32)
    columns = [np.clip(c0 + j - 1, 0, cols - 1) for j in range(4)]
    for i in range(4):
        base = np.clip(r0 + i - 1, 0, rows - 1) * cols
        line = np.zeros(r0.size)
        for j in range(4):
            v = flat[base + columns[j]]
            line += wc[j] * v
            low, high = np.minimum(low, v), np.maximum(high, v)
        total += wr[i] * line
    total = np.clip(total, low, high)
    gaps = np.isnan(total)
    if gaps.any():
        total[gaps] = _linear(flat, rows, cols, r0[gaps], c0[gaps], fr[gaps], fc[gaps])
    return total


def _keys(f):
    """The four weights of cubic convolution at the fraction f past the second cell."""
    return (
        ((-0.5 * f + 1.0) * f - 0.5) * f,
        (1.5 * f - 2.5) * f * f + 1.0,
        ((-1.5 * f + 2.0) * f + 0.5) * f,
        (0.5 * f - 0.5) * f * f,
    )


def _linear(flat, rows, cols, r0, c0, fr, fc):
    total, weight = np.zeros(r0.size), np.zeros(r0.size)
    for i, wr in ((0, 1 - fr), (1, fr)):
        for j, wc in ((0, 1 - fc), (1, fc)):
            v = flat[np.clip(r0 + i, 0, rows - 1) * cols + np.clip(c0 + j, 0, cols - 1)]
            known = np.isfinite(v)
            total += np.where(known, wr * wc * v, 0)
            weight += np.where(known, wr * wc, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weight >= 0.5 - 1e-9, total / weight, np.nan)
