"""How well a horizon is known, from the error of the heights that it is made of.

The error of a height against its neighbours' is taken as independent from cell to cell of the source and straight
between them. Heights with such an error added are what another survey of the same ground might have told; how far its
horizon is off the told one is how far the told one may be off the true one. (The bootstrap, Efron 1979: what the
error does to the data once more is what it did to the truth.) This counts the highest of many near cells, which an
error of either sign can only lift, as well as one ridge, whose angle is off by the error over its distance. Cells so
wide that they hide ridges and hollows err by those too: forms half a cell apart, as high as the finest that they show
where they stand. (Those around the eye were once taken for all: the crest of a range above a plain was told as level.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numba import njit

from siteplanner.core.horizon import HALF_CURVATURE, corner, direction, height_between
from siteplanner.core.likely_ground import NOTHING_HIDDEN, HiddenForms

SURVEYS = 256  # how often; the told error is known to about a fifteenth of itself
_TILE = 32  # errors repeat after so many cells
REACH_M = 3000.0  # farther ground is off by less than 0.02 degrees for each metre of error
# of the forms that wide cells hide, times what their finest ones show: measured on kinds of ground from plains to
# mountains under cells of 30 to 660 m (`python -m tests.core.test_horizon_error 300`). Where the truth is known in
# eighths of the told cells 87 to 97 of 100 hold, 92 on the mean; where in halves or thirds alone it hides forms itself,
# and 88 to 100 hold
FORMS = 1.4
_SPREAD = 4.0  # standard deviations of the difference of two heights beyond which a sample cannot matter


@dataclass(frozen=True)
class GroundNoise:
    """How well heights are known: one standard deviation against neighbours, and how far those are apart."""

    sigma_m: float
    spacing_m: float


NINE_IN_TEN = 1.645  # standard deviations either side of the mean that hold 90 % of a normal distribution


def typical_error(apart: np.ndarray) -> float:
    """One standard deviation of a normal distribution that holds 90 % within the same bounds as these differences.

    Its 1.645-fold is the bound that 9 in 10 keep, also where a few stand far out. NaN where any is.
    """
    return float(np.quantile(np.abs(apart), 0.9)) / NINE_IN_TEN


@lru_cache(maxsize=1)
def _errors() -> np.ndarray:
    """Standard normal errors, the same in every run: (surveys, rows, columns), one row and column repeated."""
    made = np.random.default_rng(19).standard_normal((SURVEYS, _TILE, _TILE)).astype(np.float32)
    return np.pad(made, ((0, 0), (0, 1), (0, 1)), mode="wrap")


def horizon_surveys_deg(
    surface_m: np.ndarray,
    ground_m: np.ndarray,
    cell_size_m: float,
    row: int,
    col: int,
    azimuths_deg: np.ndarray,
    height_m: float,
    horizon_deg: float,
    noise: GroundNoise,
    hidden: HiddenForms = NOTHING_HIDDEN,
) -> np.ndarray:
    """(SURVEYS,) horizons over a beam as other surveys of the same ground might tell them, degrees.

    `surface_m` blocks, the eye stands `height_m` above `ground_m` of a cell; `azimuths_deg` are the beam's grid
    bearings, `horizon_deg` the highest horizon on them as the data tell it, far ground included. `hidden`: ridges and
    hollows that wide cells do not show, within REACH_M. All NaN where the horizon is not known.
    """
    if not math.isfinite(horizon_deg):
        return np.full(SURVEYS, np.nan)
    hides = bool(hidden.forms_m.any())
    if noise.sigma_m <= 0 and not hides:
        return np.full(SURVEYS, horizon_deg)
    row_steps, col_steps = direction(np.asarray(azimuths_deg, float).ravel())
    tangent = math.tan(math.radians(horizon_deg))
    eye = float(ground_m[row, col]) + height_m
    scale = cell_size_m / max(cell_size_m, noise.spacing_m)  # cells of the source to a cell of the raster
    steps = max(int(2 * REACH_M / cell_size_m), 1)
    walk = surface_m, float(cell_size_m), row, col, eye, row_steps, col_steps, steps
    forms = hidden.forms_m, float(hidden.row), float(hidden.col), hidden.per_cell, hides
    found = _surveys(*walk, tangent, float(noise.sigma_m), *forms, scale, _errors())
    return np.degrees(np.arctan(found))


@njit(cache=True, nogil=True)
def _form_at(forms, row, col):
    """How high the hidden forms are at a place, one standard deviation; beyond the raster as at its rim."""
    rows, cols = forms.shape
    return FORMS * forms[min(max(int(row + 0.5), 0), rows - 1), min(max(int(col + 0.5), 0), cols - 1)]


@njit(cache=True, nogil=True)
def _surveys(
    heights, cell_m, row, col, eye, row_steps, col_steps, steps, tangent, sigma, forms, top, left, per_cell, hides,
    scale, errors,
):  # fmt: skip
    """The largest tangent of each survey, over the samples that any survey could make the largest."""
    rows, cols = heights.shape
    half = cell_m / 2
    most = row_steps.size * steps
    at_row, at_col, height, away, form_m = (
        np.empty(most), np.empty(most), np.empty(most), np.empty(most), np.empty(most),
    )  # fmt: skip
    count = 0
    near = -np.inf
    own_m = _form_at(forms, (row - top) * per_cell, (col - left) * per_cell) if hides else 0.0
    here_m, last_m = 0.0, 0.0
    for ray in range(row_steps.size):
        for k in range(1, steps + 1):
            d = k * half
            r = row + k * row_steps[ray]
            c = col + k * col_steps[ray]
            if not (0 <= r <= rows - 1 and 0 <= c <= cols - 1):
                break
            r0, c0 = corner(r, rows), corner(c, cols)
            z = height_between(heights, r0, c0, r - r0, c - c0)
            if z != z:
                continue
            own = (z - eye) / d - d * HALF_CURVATURE
            near = max(near, own)
            if hides:
                here_m = _form_at(forms, (r - top) * per_cell, (c - left) * per_cell)
            if own + _SPREAD * math.hypot(1.5 * sigma, max(here_m, own_m)) / d >= tangent:
                at_row[count], at_col[count], height[count], away[count], form_m[count] = r, c, z, d, here_m
                count += 1
        last_m = max(last_m, here_m)
    # what stands farther, or is told by the far ground, is off by no more than at the end of this walk
    far = tangent > near + 1e-6
    out = np.empty(errors.shape[0])
    for survey in range(errors.shape[0]):
        error, form = errors[survey], errors[errors.shape[0] - 1 - survey]
        base = eye + sigma * _error_at(error, row * scale, col * scale)
        if hides:
            base += own_m * _error_at(form, 2.0 * row * scale, 2.0 * col * scale)
        best = -np.inf
        if far:
            beyond = sigma * error[_TILE // 2, _TILE // 2] + last_m * form[_TILE // 2, _TILE // 2]
            best = tangent + (beyond - (base - eye)) / REACH_M
        for n in range(count):
            z = height[n] + sigma * _error_at(error, at_row[n] * scale, at_col[n] * scale)
            if hides:
                z += form_m[n] * _error_at(form, 2.0 * at_row[n] * scale, 2.0 * at_col[n] * scale)
            best = max(best, (z - base) / away[n] - away[n] * HALF_CURVATURE)
        out[survey] = best if best > -np.inf else tangent
    return out


@njit(cache=True, nogil=True, inline="always")
def _error_at(error, row, col):
    """An error between cells; the pattern repeats."""
    r, c = row % _TILE, col % _TILE
    r0, c0 = int(r), int(c)
    return height_between(error, r0, c0, r - r0, c - c0)
