"""Noisy heights along a line, parted into stretches of one slope: only bends that noise alone would not make.

The best parting into straight stretches is the one whose squared misfit, in units of the heights' error, plus a charge
for every further stretch is least (Jackson et al. 2005, "An algorithm for optimal partitioning of data on an
interval", IEEE Signal Processing Letters 12(2); candidates are dropped as in Killick, Fearnhead and Eckley 2012,
"Optimal detection of changepoints with a linear computational cost", JASA 107, section 3).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

CHANCE = 0.05  # that noise alone breaks a line of one slope anywhere


def charge(heights: float) -> float:
    """What a further stretch must save in squared misfit, in units of the heights' error.

    A stretch brings two free figures, height and slope: at one place noise alone saves more than b with chance
    exp(-b / 2) (chi-square with 2 degrees of freedom). Over n places the largest saving passes b with a chance of at
    most n exp(-b / 2); b = 2 ln(n / CHANCE) holds that to CHANCE. `heights`: how many independent ones there are.
    """
    return 2.0 * math.log(max(heights, 1.0) / CHANCE)


@njit(cache=True, nogil=True)
def _misfit(t0, t1, t2, y0, y1, y2):
    # weighted sums of 1, s, s^2, z, s z, z^2 -> sum of squares about their line
    if t0 <= 0.0:
        return 0.0
    zz = y2 - y0 * y0 / t0
    ss = t2 - t1 * t1 / t0
    sz = y1 - t1 * y0 / t0
    if ss <= 1e-9:
        return max(zz, 0.0)
    return max(zz - sz * sz / ss, 0.0)


@njit(cache=True, nogil=True)
def _part(s, z, weight, charge_, least_m, first):
    """Mark in `first` (bool) the first sample of each stretch."""
    n = s.size
    sums = np.zeros((6, n + 1))
    for k in range(n):
        w, x, y = weight[k], s[k] - s[0], z[k] if weight[k] > 0 else 0.0
        sums[0, k + 1] = sums[0, k] + w
        sums[1, k + 1] = sums[1, k] + w * x
        sums[2, k + 1] = sums[2, k] + w * x * x
        sums[3, k + 1] = sums[3, k] + w * y
        sums[4, k + 1] = sums[4, k] + w * x * y
        sums[5, k + 1] = sums[5, k] + w * y * y
    best = np.full(n + 1, np.inf)
    best[0] = -charge_
    come = np.zeros(n + 1, np.int64)
    alive = np.empty(n + 1, np.int64)
    price = np.empty(n + 1)
    alive[0], count = 0, 1
    for end in range(1, n + 1):
        least = np.inf
        for c in range(count):
            i = alive[c]
            d = sums[:, end] - sums[:, i]
            price[c] = np.inf
            if s[end - 1] - s[i] >= least_m or i == 0:
                price[c] = best[i] + _misfit(d[0], d[1], d[2], d[3], d[4], d[5])
                if price[c] + charge_ < least:
                    least = price[c] + charge_
                    come[end] = i
        best[end] = least
        kept = 0
        for c in range(count):  # what is dearer even without the charge never becomes the best again
            if price[c] <= least or price[c] == np.inf:
                alive[kept] = alive[c]
                kept += 1
        count = kept
        # a stretch may begin here only if the last one was long enough
        if end < n and best[end] < np.inf:
            alive[count] = end
            count += 1
    at = n
    while at > 0:
        at = come[at]
        first[at] = True


def stretches(
    s_m: np.ndarray, z_m: np.ndarray, weight: np.ndarray, error_m: float, least_m: float, line_first: np.ndarray
) -> np.ndarray:
    """Bool, one a sample: whether a stretch of one slope begins there. Every line begins one.

    Several lines lie one after another: `line_first` is the first sample of each, rising, 0 first. `s_m` rising
    positions along a line, `z_m` heights with one standard error `error_m` (above 0) a whole weight, `weight` how
    many independent heights each sample stands for (0: unknown, then `z_m` may be NaN), `least_m` the shortest
    stretch. All arrays of one length but `line_first`.

    Raises ValueError for an error that is not above 0.
    """
    if not error_m > 0:
        raise ValueError(f"The error of a height must be above 0 meters; it is {error_m}.")
    first = np.zeros(len(s_m), np.bool_)
    s, weight = np.ascontiguousarray(s_m, np.float64), np.ascontiguousarray(weight, np.float64)
    z = np.where(weight > 0, z_m, 0.0) / error_m
    for start, stop in zip(line_first.tolist(), [*line_first[1:].tolist(), len(s)], strict=True):
        part = start + _counted(weight[start:stop])
        first[start] = True
        middle = float(z[part][weight[part] > 0].mean()) if weight[part].any() else 0.0  # small sums stay exact
        begins = np.zeros(len(part), np.bool_)
        _part(s[part], z[part] - middle, weight[part], charge(float(weight[part].sum())), float(least_m), begins)
        first[part] |= begins
    return first


_LONG_UNKNOWN = 64  # samples


def _counted(weight: np.ndarray) -> np.ndarray:
    """The samples that the partition looks at: of a long run of unknown ones the two at its ends. Nothing tells
    partings within such a run apart, so that none would be left out, and the work grows with the run's square."""
    unknown = np.concatenate([[False], weight == 0, [False]])
    begin, end = np.flatnonzero(unknown[1:] > unknown[:-1]), np.flatnonzero(unknown[1:] < unknown[:-1])
    keep = np.ones(len(weight), np.bool_)
    for b, e in zip(begin, end, strict=True):
        if e - b > _LONG_UNKNOWN:
            keep[b + 1 : e - 1] = False
    return np.flatnonzero(keep)


@dataclass(frozen=True, eq=False)
class Stretches:
    """The straight lines through stretches, one entry each: where it begins, independent heights, middle, height
    there, slope, and the weighted squares of positions about the middle. NaN where nothing is known or too little for
    a slope.
    """

    number: np.ndarray  # of each sample's stretch
    start_m: np.ndarray
    weight: np.ndarray
    middle_m: np.ndarray
    height_m: np.ndarray
    slope: np.ndarray
    squares_m2: np.ndarray

    def over(self, s_m: np.ndarray) -> np.ndarray:
        """The stretch that each position lies in."""
        return np.maximum(np.searchsorted(self.start_m, s_m, side="right") - 1, 0)

    def at(self, stretch: np.ndarray, s_m: np.ndarray, error_m: float) -> tuple[np.ndarray, np.ndarray]:
        """(height, its variance) of the lines of stretches at positions."""
        off = s_m - self.middle_m[stretch]
        variance = error_m**2 * (1 / self.weight[stretch] + off**2 / self.squares_m2[stretch])
        return self.height_m[stretch] + self.slope[stretch] * off, variance


def lines_through(
    s_m: np.ndarray,
    z_m: np.ndarray,
    weight: np.ndarray,
    first: np.ndarray,
    line_first: np.ndarray,
    reach_m: float = 0.0,
) -> Stretches:
    """The least-squares line of each stretch; arguments as of `stretches`, `first` its answer.

    Where two neighbours meet within `reach_m` of the samples between which the parting lies, one ends and the other
    begins there: a bend is rounded, and lines that missed each other at the parting would make a step of it.
    """
    begin = np.flatnonzero(first)
    number = np.cumsum(first) - 1
    z = np.where(weight > 0, z_m, 0.0)

    def total(values: np.ndarray) -> np.ndarray:
        return np.add.reduceat(values, begin) if len(begin) else np.empty(0)

    with np.errstate(divide="ignore", invalid="ignore"):
        w = total(weight)
        middle, height = total(weight * s_m) / w, total(weight * z) / w
        ds, dz = s_m - middle[number], z - height[number]
        squares = total(weight * ds**2)
        squares = np.where(squares > 1e-9, squares, np.nan)
        slope = total(weight * ds * dz) / squares
        apart = (s_m[begin[1:] - 1] + s_m[begin[1:]]) / 2
        meet = height[1:] - slope[1:] * middle[1:] - height[:-1] + slope[:-1] * middle[:-1]
        meet = meet / (slope[:-1] - slope[1:])
    start = s_m[begin].astype(float)
    inner = ~np.isin(begin[1:], line_first)
    near = np.abs(meet - apart) <= reach_m
    start[1:] = np.where(inner, np.where(near, meet, apart), start[1:])
    return Stretches(number, np.maximum.accumulate(start), w, middle, height, slope, squares)
