"""How much slope a cell hides: what ground the size of a trailer may do within elevation cells wider than it.

Ground is rough at every scale, so that gradients over small cells differ from those over the wider cells around them.
Measured by the raster itself: D, the root mean square of the difference between a part of the gradient over its cells
and over windows twice as wide. Halving the cells adds as much variance as that last halving did, D squared; below
SOIL_M each further halving adds SOIL_SHARE of the one before, because soil smooths small ground. So between cells of L
and ground of b metres a part of the gradient hides D sqrt(n), n = log2(L / b) halvings counted so, and from
WIDE_CELL_M on WIDE_FACTOR times that: such cells hold whole hillsides.

A measured law. One halving: true over told 0.8 to 1.2 on eight real rasters (mountains of 3 seconds of arc, an
escarpment of 27 m, hillsides and gullies of 10, 5 and 3 m, a river bank and moraine of 1 m). Each halving after it
added 0.9 to 1.3 of the one before above SOIL_M and 0.4 to 0.9 below, which gives SOIL_SHARE; WIDE_FACTOR is what two
halvings of cells of 27 to 166 m lacked. tests/core/test_roughness.py holds it to real heights. That slopes
grow as cells shrink: Zhang, Drake, Wainwright and Mulligan 1999, Earth Surface Processes and Landforms 24.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from siteplanner.core.terrain import gradient

REACH = 7  # cells on either side of the middle that D is taken from
_AROUND = 4  # D is the mean over this many cells on either side
WIDE_CELL_M, WIDE_FACTOR = 25.0, 1.2
SOIL_M, SOIL_SHARE = 20.0, 2 / 3
_SMOOTH = np.outer([1, 2, 1], [1, 2, 1]) / 16


def _differences(heights_m: np.ndarray, cell_m: float) -> tuple[np.ndarray, np.ndarray]:
    """East and north gradient of each cell less that over the window twice as wide; three cells fewer on every side."""
    rows, cols = heights_m.shape
    smooth = sum(
        _SMOOTH[i, j] * heights_m[i : rows - 2 + i, j : cols - 2 + j] for i in range(3) for j in range(3)
    )  # heights of cells twice as wide, on every cell
    near = gradient(heights_m, cell_m)

    def at(down: int, right: int) -> np.ndarray:
        return smooth[2 + down : rows - 4 + down, 2 + right : cols - 4 + right]

    east = (at(-2, 2) + 2 * at(0, 2) + at(2, 2) - at(-2, -2) - 2 * at(0, -2) - at(2, -2)) / (16 * cell_m)
    north = (at(-2, -2) + 2 * at(-2, 0) + at(-2, 2) - at(2, -2) - 2 * at(2, 0) - at(2, 2)) / (16 * cell_m)
    return near[0][3:-3, 3:-3] - east, near[1][3:-3, 3:-3] - north


@cache
def _of_noise() -> tuple[float, float]:
    """(mean, one standard deviation) of D squared on level ground for independent heights with a noise of 1 m in
    cells of 1 m, over the cells that a mean is taken over. Error propagation through the weights, no random numbers.
    """
    n = 2 * REACH + 1
    east = []
    for k in range(n * n):
        one = np.zeros(n * n)
        one[k] = 1.0
        east.append(np.concatenate([part.ravel() for part in _differences(one.reshape(n, n), 1.0)]))
    weights = np.array(east).T  # differences by heights
    both = weights @ weights.T
    # a mean of squares of normal figures: its variance is 2 trace(C C) / n^2
    count = len(both)
    return float(np.trace(both)) / count, math.sqrt(2 * float((both**2).sum())) / count


def halving_sd(heights_m: np.ndarray, cell_m: float, noise_m: float = 0.0) -> float:
    """D: one standard deviation of a part of the gradient between windows of `cell_m` and of twice that.

    `heights_m` (15, 15) around the place, NaN unknown. What noise alone would show, and one standard deviation of it
    more, is taken off. NaN where less than a third of the 81 cells is known. Raises ValueError for another shape.
    """
    if heights_m.shape != (2 * REACH + 1,) * 2:
        raise ValueError(f"Roughness needs {2 * REACH + 1} x {2 * REACH + 1} heights; these are {heights_m.shape}.")
    east, north = _differences(np.asarray(heights_m, float), cell_m)
    squares = (east**2 + north**2) / 2
    if np.isfinite(squares).sum() < squares.size / 3:
        return math.nan
    noise = sum(_of_noise()) * (noise_m / cell_m) ** 2
    return math.sqrt(max(float(np.nanmean(squares)) - noise, 0.0))


def hidden_gradient_sd(heights_m: np.ndarray, cell_m: float, ground_m: float, noise_m: float = 0.0) -> float:
    """One standard deviation of a part of the gradient that cells of `cell_m` hide from ground of `ground_m`.

    Arguments as of `halving_sd`; 0 where the ground is as wide as the cells, NaN where the roughness is not known.
    Heights drawn between wider cells are smooth only because nobody looked: give those of the source's own spacing.
    """
    if ground_m >= cell_m:
        return 0.0
    factor = WIDE_FACTOR if cell_m >= WIDE_CELL_M else 1.0
    return factor * halving_sd(heights_m, cell_m, noise_m) * math.sqrt(_halvings(cell_m, ground_m))


def _halvings(cell_m: float, ground_m: float) -> float:
    """Halvings from cells to ground, counted by what they add."""
    soil_m = min(cell_m, max(SOIL_M, ground_m))
    in_soil = math.log2(soil_m / ground_m)
    return math.log2(cell_m / soil_m) + (1 - SOIL_SHARE**in_soil) / (1 - SOIL_SHARE)
