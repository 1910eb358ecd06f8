"""Heights between cells: cubic convolution that knows what is unknown."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def _cubic_weights(f, out):
    # Keys 1981, eq. (15) with a = -1/2, at the distances 1 + f, f, 1 - f, 2 - f
    out[0] = ((-0.5 * f + 1.0) * f - 0.5) * f
    out[1] = (1.5 * f - 2.5) * f * f + 1.0
    out[2] = ((-1.5 * f + 2.0) * f + 0.5) * f
    out[3] = (0.5 * f - 0.5) * f * f


@njit(cache=True, nogil=True)
def _resample(values, row, col, out):
    rows, cols = values.shape
    wr, wc = np.empty(4), np.empty(4)
    for k in range(row.size):
        r, c = row[k], col[k]
        # "not inside" rather than "outside", so that NaN positions stay NaN
        if not (r >= -0.5 and r <= rows - 0.5 and c >= -0.5 and c <= cols - 0.5):
            continue
        r0, c0 = int(np.floor(r)), int(np.floor(c))
        fr, fc = r - r0, c - c0
        _cubic_weights(fr, wr)
        _cubic_weights(fc, wc)
        total, low, high, complete = 0.0, np.inf, -np.inf, True
        for i in range(4):
            ri = min(max(r0 + i - 1, 0), rows - 1)
            for j in range(4):
                v = float(values[ri, min(max(c0 + j - 1, 0), cols - 1)])
                if np.isnan(v):
                    complete = False
                total += wr[i] * wc[j] * v
                low, high = min(low, v), max(high, v)
        if complete:
            out[k] = min(max(total, low), high)
            continue
        total, weight = 0.0, 0.0
        for i in range(2):
            ri = min(max(r0 + i, 0), rows - 1)
            for j in range(2):
                v = float(values[ri, min(max(c0 + j, 0), cols - 1)])
                if not np.isnan(v):
                    w = (fr if i else 1.0 - fr) * (fc if j else 1.0 - fc)
                    total += w * v
                    weight += w
        if weight >= 0.5 - 1e-9:
            out[k] = total / weight


def resample(values: np.ndarray, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    """Heights at fractional cells: cubic convolution, linear beside unknown ground, NaN outside.

    `values` (rows, cols) with NaN for unknown; `row`, `col` of one shape, whole numbers are cell centres. Returns
    float32 of that shape. Cubic convolution with a = -1/2 (Keys 1981, IEEE Trans. ASSP 29(6), eq. 15) keeps slopes,
    which linear interpolation flattens; its result is held within the 16 heights it uses, so that a cliff does not
    ring. Where one of the 16 is unknown the nearest four are used, and the result is known if half of their
    weight is. Half a cell beyond the outer centres is still the outer cells' ground; farther is NaN.
    """
    row, col = np.ascontiguousarray(row, dtype=np.float64), np.ascontiguousarray(col, dtype=np.float64)
    out = np.full(row.shape, np.nan, dtype=np.float32)
    if values.size and row.size:
        _resample(np.ascontiguousarray(values, dtype=np.float32), row.ravel(), col.ravel(), out.ravel())
    return out


@njit(cache=True, nogil=True)
def _highest_around(values, row, col, half_row, half_col, out):
    rows, cols = values.shape
    for k in range(row.size):
        r, c = row[k], col[k]
        if not (r >= -0.5 and r <= rows - 0.5 and c >= -0.5 and c <= cols - 0.5):
            continue
        # a touch of a thousandth of a block is rounding, not overlap
        top, bottom = int(np.ceil(r - half_row - 0.499)), int(np.floor(r + half_row + 0.499))
        left, right = int(np.ceil(c - half_col - 0.499)), int(np.floor(c + half_col + 0.499))
        best, known, count = -np.inf, 0, 0
        for i in range(max(top, 0), min(bottom, rows - 1) + 1):
            for j in range(max(left, 0), min(right, cols - 1) + 1):
                count += 1
                v = float(values[i, j])
                if not np.isnan(v):
                    known += 1
                    best = max(best, v)
        if known > 0 and 2 * known >= count:
            out[k] = best


def highest_around(
    values: np.ndarray, row: np.ndarray, col: np.ndarray, half_row: float, half_col: float
) -> np.ndarray:
    """The highest of the cells that a square about each fractional cell touches; NaN where less than half is known.

    As `resample`; half_row, half_col: half the square's sides, in cells of `values`.
    """
    row, col = np.ascontiguousarray(row, dtype=np.float64), np.ascontiguousarray(col, dtype=np.float64)
    out = np.full(row.shape, np.nan, dtype=np.float32)
    if values.size and row.size:
        flat = np.ascontiguousarray(values, dtype=np.float32)
        _highest_around(flat, row.ravel(), col.ravel(), half_row, half_col, out.ravel())
    return out
