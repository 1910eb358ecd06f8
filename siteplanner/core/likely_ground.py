"""What the true ground may be, given an elevation with errors: the mean of it, and draws around it.

The error of a height against its neighbours' is taken as normal and independent from cell to cell of the source, and
straight between them, as in `horizon_error`. The ground is parted by the size of its forms into two bands and the rest
(B3 spline, every second cell at the second: Starck and Murtagh 2006, Astronomical Image and Data Analysis, section
1.4.4; from memory). In a band the told form is the true one plus the error's; over the cells around, the true ones
scatter with the variance of the told ones less the error's. Normal both, so that the true one is the told one times
k = 1 - error variance / told variance, give or take sqrt(k) of the error (Wiener's filter, taken locally). Smooth
ground keeps little of its noise, rough ground all of it, and a draw is as rough as the truth: an elevation with its
error added once more would be rougher than the told one, which is rougher than the truth already.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.ndimage import uniform_filter

DRAWS = 22  # in pairs of opposite errors, so that what is straight in the error leaves no mark on the mean
LANES = DRAWS + 2  # beside them the ground as told and the mean of the true one
TILE = 64  # errors repeat after so many cells, each time from another row on
HIDING_CELL_M = 25.0  # cells from here on hide forms that a path meets; a profile of 30 m steps is usual (P.1812)
DRAWN = 1.5  # source cells wider than the raster's by this: the ground between them is drawn, not measured
_AROUND = (9, 17, 33)  # cells across the square that the variance of each band is taken over
# of forms that no cell shows, from the finest that do: over so many cells that the error's own scatter about its
# variance (0.05 of it; over 9 cells 0.18) is not taken for ground
_HIDDEN_AROUND = 33
_HIDDEN_NEAR = 17  # the same of a skyline: a crest's own forms, not those of the plain before it
_TILE_CELLS = 1024
_REACH = 5 * (1 + 2 + 4) + 33 // 2 + 1  # how far around a cell what counts for it lies
_NEIGHBOURS = ((1, 150 / 512), (3, -25 / 512), (5, 3 / 512))  # half-band filter, maximally flat


Tick = Callable[[float], None]


@dataclass(frozen=True, eq=False)
class LikelyGround:
    """True ground less told ground, on cells as far apart as the source's.

    `parts`: (rows, cols, 3) int16, its mean, and what the two errors of `error_tiles` are multiplied by, in `units_m`
    of the first and of the others. A county has tens of millions of cells: as whole numbers, good to less than a
    millimetre, they take half the memory. `hidden_m`: (rows, cols) float32, what the hidden forms are multiplied by;
    no cells where nothing is hidden. `steps`: samples of a path to a cell of the elevation, two to a cell that hides
    forms.
    """

    parts: np.ndarray
    units_m: tuple[float, float]
    hidden_m: np.ndarray
    per_cell: float  # cells of this raster to a cell of the elevation
    steps: int = 1


def likely_ground(
    elevation_m: np.ndarray,
    cell_m: float,
    source_cell_m: float,
    sigma_m: float,
    tick: Tick = lambda share: None,
    within: tuple[slice, slice] | None = None,
) -> LikelyGround:
    """The true ground given a told one with independent errors of `sigma_m` in cells of `source_cell_m`.

    elevation_m: (rows, cols), NaN unknown; near what is not known nothing is taken off. Worked out tile by tile, each
    with all ground around it that counts. What lies beyond the rows and columns `within`, where no path comes to, is
    left out: it takes no memory, and nobody may ask for it. `tick` is told the share done before each. Raises
    ValueError for an error below 0.
    """
    if sigma_m < 0:
        raise ValueError("sigma_m must not be negative")
    step = source_cell_m / cell_m if source_cell_m > DRAWN * cell_m else 1.0
    told = np.asarray(elevation_m, np.float32) if step == 1.0 else _every(np.asarray(elevation_m), step)
    hides = source_cell_m >= HIDING_CELL_M
    shape = told.shape
    largest = np.iinfo(np.int16).max
    units = max(_most_moved() * sigma_m, 1e-6) / largest, max(sigma_m, 1e-6) / largest
    parts = np.zeros((*shape, 3), np.int16)
    hidden = np.zeros(shape if hides else (0, 0), np.float32)
    stands_for = _mean_of_known(told)
    for top in range(0, shape[0], _TILE_CELLS):
        for left in range(0, shape[1], _TILE_CELLS):
            tick((top + left / shape[1] * _TILE_CELLS) / shape[0])
            own = tuple(slice(s, min(s + _TILE_CELLS, n)) for s, n in zip((top, left), shape, strict=True))
            kept = tuple(
                slice(max(s.start, m.start), min(s.stop, m.stop))
                for s, m in zip(own, _on(within, shape, step), strict=True)
            )
            if any(k.start >= k.stop for k in kept):
                continue
            wide = tuple(slice(max(s.start - _REACH, 0), s.stop + _REACH) for s in own)
            inner = tuple(slice(k.start - w.start, k.stop - w.start) for k, w in zip(kept, wide, strict=True))
            moved, errors, forms = _parts(told[wide], stands_for, sigma_m, hides)
            here = parts[kept]
            here[..., 0] = np.rint(moved[inner] / np.float32(units[0]))
            for number, error in enumerate(errors, 1):
                here[..., number] = np.rint(error[inner] / np.float32(units[1]))
            if hides:
                hidden[kept] = forms[inner]
    return LikelyGround(parts, units, hidden, 1 / step, max(round(2 / step), 1) if hides else 1)


def _on(within: tuple[slice, slice] | None, shape: tuple[int, ...], step: float) -> tuple[slice, ...]:
    """Rows and columns of the elevation on cells `step` of its cells apart, with the next ones."""
    if within is None:
        return tuple(slice(0, n) for n in shape)
    return tuple(
        slice(max(math.floor(w.start / step) - 1, 0), min(math.ceil(w.stop / step) + 2, n))
        for w, n in zip(within, shape, strict=True)
    )


def _parts(
    told: np.ndarray, stands_for: np.float32, sigma_m: float, hides: bool
) -> tuple[np.ndarray, list[np.ndarray], np.ndarray]:
    """Mean shift, the factors of the two errors, and that of the hidden forms, float32, metres."""
    known = np.isfinite(told)
    filled = np.where(known, told, stands_for)
    moved, errors, forms = np.zeros(told.shape, np.float32), [], np.empty(0, np.float32)
    for number, (size, band, noise) in enumerate(zip(_AROUND, _bands(filled), _noise_shares(), strict=False), 1):
        error = noise * sigma_m**2
        spread = uniform_filter(band * band, size, mode="nearest")
        with np.errstate(divide="ignore", invalid="ignore"):
            k = np.where(spread > 0, np.clip(1 - error / spread, 0, 1), 0.0) if sigma_m > 0 else np.ones(told.shape)
        moved -= (1 - k) * band
        if number < 3:
            errors.append(sigma_m * np.sqrt(k))
        if number == 1 and hides:
            rough = uniform_filter(band * band, _HIDDEN_AROUND, mode="nearest")
            forms = np.sqrt(np.maximum(rough - error, 0))
    unknown = uniform_filter(known.astype(np.float32), _AROUND[0], mode="nearest") < 1 - 1e-4
    moved[unknown] = 0
    return moved, errors, forms


def _mean_of_known(heights: np.ndarray) -> np.float32:
    """Stands for ground that is not known."""
    total, count = 0.0, 0
    for top in range(0, len(heights), 256):
        known = np.isfinite(heights[top : top + 256])
        total += float(np.sum(heights[top : top + 256], where=known, dtype=np.float64))
        count += int(known.sum())
    return np.float32(total / max(count, 1))


@lru_cache(maxsize=1)
def _most_moved() -> float:
    """No mean of the true ground lies farther from the told one than this many sigma.

    Of a band with told form f and its mean square s over n cells, s >= f^2 / n, at most min(1, e / s) f is taken off,
    e the error's variance in it: that is greatest for f^2 = n e. Closed form.
    """
    return sum(size * math.sqrt(noise) for size, noise in zip(_AROUND, _noise_shares(), strict=True))


@dataclass(frozen=True, eq=False)
class HiddenForms:
    """How high the ridges and hollows are that the source's cells do not show, one standard deviation, metres.

    `forms_m`: (rows, cols) float32 on cells as far apart as the source's, `per_cell` of them to one of the elevation;
    `row`, `col`: the elevation's cell that its first one is of.
    """

    forms_m: np.ndarray
    row: int
    col: int
    per_cell: float


NOTHING_HIDDEN = HiddenForms(np.zeros((1, 1), np.float32), 0, 0, 1.0)


def hidden_forms(
    elevation_m: np.ndarray,
    cell_m: float,
    source_cell_m: float,
    sigma_m: float,
    cell: tuple[int, int],
    reach_m: float,
) -> HiddenForms:
    """The forms that the source's cells hide around a cell of the elevation, as far as `reach_m`.

    As high as the finest forms that the cells show in `_HIDDEN_NEAR` of them around each, less the error's own.
    `NOTHING_HIDDEN` for cells too narrow to hide any.
    """
    if source_cell_m < HIDING_CELL_M:
        return NOTHING_HIDDEN
    reach = math.ceil((reach_m + (_HIDDEN_NEAR // 2 + 6) * source_cell_m) / cell_m)
    rows, cols = (slice(max(at - reach, 0), at + reach + 1) for at in cell)
    part = np.asarray(elevation_m[rows, cols], np.float32)
    step = source_cell_m / cell_m if source_cell_m > DRAWN * cell_m else 1.0
    told = part if step == 1.0 else _every(part, step)
    known = np.isfinite(told)
    filled = np.where(known, told, _mean_of_known(told))
    band = np.where(known, filled - _smooth(filled, 1, "edge"), 0)
    spread = uniform_filter(band * band, _HIDDEN_NEAR, mode="nearest") - _noise_shares()[0] * sigma_m**2
    return HiddenForms(np.sqrt(np.maximum(spread, 0)).astype(np.float32), rows.start, cols.start, 1 / step)


@lru_cache(maxsize=1)
def error_tiles() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Errors of the finest forms, of the others, and hidden forms half a cell apart; the same in every run.

    (TILE + 1, TILE + 1, LANES) float32 each.

    Lane 0 is the ground as told, lane 1 the mean; then pairs of opposite errors. The last row and column are the first.
    """
    rng = np.random.default_rng(23)
    whole, hidden = np.zeros((2, TILE, TILE, LANES), np.float32)
    for errors in (whole, hidden):
        half = rng.standard_normal((TILE, TILE, DRAWS // 2)).astype(np.float32)
        errors[:, :, 2::2], errors[:, :, 3::2] = half, -half
    fine = _bands(whole, "wrap")[0]
    pad = ((0, 1), (0, 1), (0, 0))
    fine, others, hidden = (np.pad(t, pad, mode="wrap") for t in (fine, whole - fine, hidden))
    return fine, others, hidden


def _bands(heights: np.ndarray, mode: Literal["edge", "wrap"] = "edge") -> tuple[np.ndarray, ...]:
    """Forms of about a cell, of about two, of about four, and the rest; they add up to the heights."""
    out = []
    for apart in (1, 2, 4):
        smooth = _smooth(heights, apart, mode)
        out.append(heights - smooth)
        heights = smooth
    return (*out, heights)


def _smooth(heights: np.ndarray, apart: int, mode: Literal["edge", "wrap"]) -> np.ndarray:
    """Straight through the middle of neighbours `apart`, to the sixth order; every other weight is 0."""
    for axis in (0, 1):
        reach, size = 5 * apart, heights.shape[axis]
        padded = np.pad(heights, [(reach, reach) if n == axis else (0, 0) for n in range(heights.ndim)], mode=mode)
        out = heights * np.float32(0.5)
        for steps, weight in _NEIGHBOURS:
            both = _part(padded, axis, reach + steps * apart, size) + _part(padded, axis, reach - steps * apart, size)
            both *= np.float32(weight)
            out += both
        heights = out
    return heights


def _part(heights: np.ndarray, axis: int, first: int, size: int) -> np.ndarray:
    return heights[first : first + size] if axis == 0 else heights[:, first : first + size]


@lru_cache(maxsize=1)
def _noise_shares() -> tuple[float, ...]:
    """Variance of independent errors of 1 m in each band; by the weights."""
    one = np.zeros((127, 127), np.float32)
    one[63, 63] = 1.0
    return tuple(float((band**2).sum()) for band in _bands(one)[:-1])


def _every(heights: np.ndarray, step: float) -> np.ndarray:
    """Heights at every `step`-th cell from the first on, straight between cells."""
    rows, cols = (np.arange(0, size - 1 + 1e-9, step) for size in heights.shape)
    j, k = (np.minimum(at.astype(int), size - 2) for at, size in zip((rows, cols), heights.shape, strict=True))
    down, right = (rows - j).astype(np.float32)[:, None], (cols - k).astype(np.float32)[None]
    top = heights[np.ix_(j, k)] * (1 - right) + heights[np.ix_(j, k + 1)] * right
    bottom = heights[np.ix_(j + 1, k)] * (1 - right) + heights[np.ix_(j + 1, k + 1)] * right
    return (top * (1 - down) + bottom * down).astype(np.float32)
