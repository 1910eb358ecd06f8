"""How well a horizon is known, from the error of the heights that it is made of.

The error of a height against its neighbours' is taken as independent from cell to cell of the source and straight
between them. Heights with such an error added are what another survey of the same ground might have told; how far its
horizon is off the told one is how far the told one may be off the true one. (The bootstrap, Efron 1979: what the
error does to the data once more is what it did to the truth.) This counts the highest of many near cells, which an
error of either sign can only lift, as well as one ridge, whose angle is off by the error over its distance. Cells so
wide that they hide ridges and hollows err by those too: forms half a cell apart, as high as the finest that they show.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numba import njit

from siteplanner.core.horizon import HALF_CURVATURE, corner, direction, height_between

SURVEYS = 256  # how often; the told error is known to about a fifteenth of itself
_TILE = 32  # errors repeat after so many cells
_REACH_M = 3000.0  # farther ground is off by less than 0.02 degrees for each metre of error
# of the forms that wide cells hide, times what their finest ones show: measured, so that nine in ten hold on hills of
# cells of 30 to 250 m (tests/core/test_horizon_error.py); on single kinds of ground 84 to 98 of 100
FORMS = 1.2
_SPREAD = 4.0  # standard deviations of the difference of two heights beyond which a sample cannot matter


@dataclass(frozen=True)
class GroundNoise:
    """How well heights are known: one standard deviation against neighbours, and how far those are apart.

    `hidden_m`: the same of ridges and hollows half as wide that so wide cells do not show (`hidden_forms_m`).
    """

    sigma_m: float
    spacing_m: float
    hidden_m: float = 0.0


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
) -> np.ndarray:
    """(SURVEYS,) horizons over a beam as other surveys of the same ground might tell them, degrees.

    `surface_m` blocks, the eye stands `height_m` above `ground_m` of a cell; `azimuths_deg` are the beam's grid
    bearings, `horizon_deg` the highest horizon on them as the data tell it, far ground included.
    All NaN where that is not known.
    """
    if not math.isfinite(horizon_deg):
        return np.full(SURVEYS, np.nan)
    if noise.sigma_m <= 0 and noise.hidden_m <= 0:
        return np.full(SURVEYS, horizon_deg)
    row_steps, col_steps = direction(np.asarray(azimuths_deg, float).ravel())
    tangent = math.tan(math.radians(horizon_deg))
    eye = float(ground_m[row, col]) + height_m
    scale = cell_size_m / max(cell_size_m, noise.spacing_m)  # cells of the source to a cell of the raster
    steps = max(int(2 * _REACH_M / cell_size_m), 1)
    walk = surface_m, float(cell_size_m), row, col, eye, row_steps, col_steps, steps
    found = _surveys(*walk, tangent, float(noise.sigma_m), FORMS * float(noise.hidden_m), scale, _errors())
    return np.degrees(np.arctan(found))


@njit(cache=True, nogil=True)
def _surveys(heights, cell_m, row, col, eye, row_steps, col_steps, steps, tangent, sigma, hidden, scale, errors):
    """The largest tangent of each survey, over the samples that any survey could make the largest."""
    rows, cols = heights.shape
    half = cell_m / 2
    most = row_steps.size * steps
    at_row, at_col, height, away = np.empty(most), np.empty(most), np.empty(most), np.empty(most)
    count = 0
    near = -np.inf
    off = _SPREAD * math.hypot(1.5 * sigma, hidden)
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
            if own + off / d >= tangent:
                at_row[count], at_col[count], height[count], away[count] = r, c, z, d
                count += 1
    # what stands farther, or is told by the far ground, is off by no more than at the end of this walk
    far = tangent > near + 1e-6
    out = np.empty(errors.shape[0])
    for survey in range(errors.shape[0]):
        error, form = errors[survey], errors[errors.shape[0] - 1 - survey]
        base = eye + sigma * _error_at(error, row * scale, col * scale)
        if hidden > 0:
            base += hidden * _error_at(form, 2.0 * row * scale, 2.0 * col * scale)
        best = tangent + (sigma * error[_TILE // 2, _TILE // 2] - (base - eye)) / _REACH_M if far else -np.inf
        for n in range(count):
            z = height[n] + sigma * _error_at(error, at_row[n] * scale, at_col[n] * scale)
            if hidden > 0:
                z += hidden * _error_at(form, 2.0 * at_row[n] * scale, 2.0 * at_col[n] * scale)
            best = max(best, (z - base) / away[n] - away[n] * HALF_CURVATURE)
        out[survey] = best if best > -np.inf else tangent
    return out


@njit(cache=True, nogil=True, inline="always")
def _error_at(error, row, col):
    """An error between cells; the pattern repeats."""
    r, c = row % _TILE, col % _TILE
    r0, c0 = int(r), int(c)
    return height_between(error, r0, c0, r - r0, c - c0)
