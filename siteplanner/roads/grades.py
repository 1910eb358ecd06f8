"""Grades of roads from an elevation raster whose noise must not invent cliffs.

The heights along a road are parted into stretches of one slope, with a new stretch only where the heights bend by more
than their error would make them do anywhere along it (`core.stretches`: chance 5 % over the whole road). The grade at
a point is rise over run of those lines between the ends of a base length around it. So the steepest place of a long
road is not the luckiest of its windows: a window alone errs by sigma sqrt(12 d / base^3) (variance of a least-squares
slope, independent heights every d), for 0.8 m on cells of 10 m over 50 m by 2 %, and the largest of n such errors is
about sqrt(2 ln n) times that: 6 % on 3 km of a level road. Without an error (0) heights are taken as exact, and the
grade is the slope of the least-squares line through those within the base.

The doubt of a grade is that of the lines (least squares), and, on top, what bends too slight to be found hide:
HIDDEN_SHARE of one window's error, within HIDDEN_PCT. Both measured on roads whose grade wanders by 4 to 5 % within
100 to 600 m, with errors of 0.1, 0.8 and 2 m on cells of 2, 10 and 30 m (tests/roads/test_grade_noise.py). Cells wider
than that show no bend at all within a base length: UNSEEN_PCT from UNSEEN_CELL_M on, less by the square of the cell
below it, measured on the same roads. (By a window's error alone, told as that of a window three cells wide, 45 to 58 of
100 ranges for nine in ten held on cells of 60 to 90 m.) Neighbouring errors are alike in real data, so that grades are
rather better known.

Heights are read between four cells: that leaves 2/3 of the variance across the road and keeps that of slow waves along
it, so that d is 2/3 of a cell for any direction; a sample alone keeps 4/9 of a height's variance (mean squares of
bilinear weights, closed form).

The driving speed takes the grade over a longer base where that is needed to know it to 1 %: noise would otherwise
slow a level road down here and there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from siteplanner.core.roughness import WIDE_CELL_M
from siteplanner.core.stretches import lines_through, stretches
from siteplanner.core.terrain import drawn_gradient_sd_per_m
from siteplanner.data.grid import Grid
from siteplanner.roads.strokes import Samples, Strokes

SHORTEST_BASE_M, LONGEST_BASE_M = 40.0, 100.0
HIDDEN_SHARE, HIDDEN_PCT = 0.6, (0.2, 2.5)
UNSEEN_PCT, UNSEEN_CELL_M = 2.0, 80.0  # of grade that wide cells never show, however well their heights are known
_CELL_SHARE, _MOST_HEIGHTS = 2 / 3, 9 / 4  # of a cell that one independent height takes; of those that a sample holds
SPEED_ERROR_PCT, SPEED_BASE_M = 1.0, 300.0  # the grade for the speed is known to this, over at most this base


def base_length_m(cell_size_m: float) -> float:
    """Length a grade is told over: five cells, within 40..100 m. Common practice, no source."""
    return float(np.clip(5.0 * cell_size_m, SHORTEST_BASE_M, LONGEST_BASE_M))


def sample_step_m(base_m: float) -> float:
    """How far apart at most a road is sampled for grades over a base length."""
    return base_m / 8


def speed_base_m(base_m: float, error_m: float, spacing_m: float) -> float:
    """Length the grade for the driving speed is taken over: its standard error is at most 1 %, as far as 300 m reach.

    sigma * sqrt(12 d / base^3) solved for the base; never below the base that grades are told over.
    """
    wanted = (12.0 * spacing_m * (100.0 * error_m / SPEED_ERROR_PCT) ** 2) ** (1 / 3)
    return float(np.clip(wanted, base_m, max(base_m, SPEED_BASE_M)))


@dataclass(frozen=True, eq=False)
class Profile:
    """At each sample: the smoothed road height, the grade in percent, rising along the stroke, its standard error and
    the calmer grade for the driving speed. NaN unknown.
    """

    elevation_m: np.ndarray
    grade_pct: np.ndarray
    error_pct: np.ndarray
    calm_grade_pct: np.ndarray


def _span(elevation_m: np.ndarray, samples: Samples, off_ground: np.ndarray) -> np.ndarray:
    """Straight decks: bridges and tunnels between the ground at the two ends of each run of them."""
    if not off_ground.any():
        return elevation_m
    inner = off_ground[samples.place].copy()
    entry = np.flatnonzero(off_ground & ~np.concatenate([[False], off_ground[:-1] & samples_joined(samples)]))
    leave = np.flatnonzero(off_ground & ~np.concatenate([off_ground[1:] & samples_joined(samples), [False]]))
    inner[samples.first[entry]] = False
    inner[samples.first[leave + 1] - 1] = False
    out = elevation_m.copy()
    out[inner] = np.interp(samples.s[inner], samples.s[~inner], elevation_m[~inner])
    return out


def samples_joined(samples: Samples) -> np.ndarray:
    """For each place but the last: whether the next one continues it (no 1 m gap between strokes)."""
    return samples.s[samples.first[1:-1]] - samples.s[samples.first[1:-1] - 1] < 0.5


def road_profile(
    elevation: Grid,
    strokes: Strokes,
    samples: Samples,
    off_ground: np.ndarray,
    base_m: float,
    error_m: float = 0.0,
    spacing_m: float = 0.0,
) -> Profile:
    """Heights and grades along all strokes.

    Parameters: `off_ground` marks (per segment) bridges and tunnels; `base_m` is the length a grade is told
    over; `error_m` one standard deviation of a height, independent every `spacing_m`. NaN where less than half the
    base length of known ground lies on the road around a sample.
    """
    raw = elevation.sample(*strokes.xy(samples.s))
    raw = _span(raw, samples, off_ground[strokes.order])
    known = np.isfinite(raw)
    fitted, slope, spread = _fit(strokes, samples, raw, known, base_m)
    grade, error = slope, np.zeros(len(slope))
    if error_m > 0 and spacing_m > 0:
        one = _window_error(spread, base_m, error_m, spacing_m, elevation.cell_size_m)
        grade, error = _between_bends(strokes, samples, raw, known, base_m, error_m, spacing_m)
        lost = ~np.isfinite(grade) | ~np.isfinite(error)  # too little known for a line: its own window tells
        grade, error = np.where(lost, slope, grade), np.where(lost, one, error)
        grade = np.where(np.isfinite(slope), grade, np.nan)
        error = np.hypot(error, np.clip(HIDDEN_SHARE * one, HIDDEN_PCT[0] / 100, HIDDEN_PCT[1] / 100))
        if spacing_m >= WIDE_CELL_M:
            error = np.hypot(error, UNSEEN_PCT / 100 * min(spacing_m / UNSEEN_CELL_M, 1.0) ** 2)
    calm = slope
    if (long_m := speed_base_m(base_m, error_m, spacing_m)) > base_m:
        over = _fit(strokes, samples, raw, known, long_m)[1]
        calm = np.where(np.isfinite(over), over, slope)
    return Profile(
        np.where(known, np.where(np.isfinite(fitted), fitted, raw), np.nan),
        np.where(known, 100 * grade, np.nan),
        np.where(known & np.isfinite(grade), 100 * error, np.nan),
        np.where(known, 100 * calm, np.nan),
    )


def _heights_per_m(base_m: float, spacing_m: float) -> float:
    """How many independent heights a metre of road holds, as it is sampled."""
    return min(1 / (_CELL_SHARE * spacing_m), _MOST_HEIGHTS / sample_step_m(base_m))


def _window_error(spread: np.ndarray, base_m: float, error_m: float, spacing_m: float, cell_m: float) -> np.ndarray:
    """One standard error of the slope within one base length; where that holds less than two cells of the source, of
    the slope drawn between them: two heights one cell apart, each with 2/3 of the variance left across the road.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        fitted = 1 / np.sqrt(spread * _heights_per_m(base_m, spacing_m))
    drawn = math.sqrt(2 * _CELL_SHARE) / spacing_m
    if cell_m < spacing_m:
        drawn = drawn_gradient_sd_per_m(spacing_m, cell_m)
    return error_m * np.fmin(fitted, drawn)


def _between_bends(
    strokes: Strokes,
    samples: Samples,
    raw: np.ndarray,
    known: np.ndarray,
    base_m: float,
    error_m: float,
    spacing_m: float,
) -> tuple[np.ndarray, np.ndarray]:
    """(slope over the base length on the lines between bends, its standard error) at each sample."""
    weight = np.where(known, samples.weight_m, 0.0) * _heights_per_m(base_m, spacing_m)
    begin = np.flatnonzero(np.diff(strokes.stroke, prepend=-1)) if len(strokes.stroke) else np.empty(0, int)
    roads = samples.first[:-1][begin]
    first = stretches(samples.s, raw, weight, error_m, base_m / 2, roads)
    lines = lines_through(samples.s, raw, weight, first, roads, reach_m=base_m / 2)
    low, high = strokes.low_s[samples.place], strokes.high_s[samples.place]
    start = np.clip(samples.s - base_m / 2, low, np.maximum(high - base_m, low))
    stop = np.minimum(start + base_m, high)
    p, q = lines.over(start + 1e-6), lines.over(stop - 1e-6)
    with np.errstate(divide="ignore", invalid="ignore"):
        (z0, v0), (z1, v1) = lines.at(p, start, error_m), lines.at(q, stop, error_m)
        apart = np.sqrt(v0 + v1) / (stop - start)
        return (z1 - z0) / (stop - start), np.where(p == q, error_m / np.sqrt(lines.squares_m2[p]), apart)


def _fit(
    strokes: Strokes, samples: Samples, raw: np.ndarray, known: np.ndarray, base_m: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(height of the least-squares line at each sample, its slope, metres^3 of spread about its middle)."""
    w = np.where(known, samples.weight_m, 0.0)
    centre = float(raw[known].mean()) if known.any() else 0.0
    z = np.where(known, raw - centre, 0.0)
    low, high = strokes.low_s[samples.place], strokes.high_s[samples.place]
    s = samples.s - low  # small numbers keep the sums exact
    size = high - low
    start = np.clip(s - base_m / 2, 0.0, np.maximum(size - base_m, 0.0))
    i = np.searchsorted(samples.s, low + start - 1e-6)
    j = np.searchsorted(samples.s, low + np.minimum(start + base_m, size) + 1e-6)

    def window(values: np.ndarray) -> np.ndarray:
        total = np.concatenate([[0.0], np.cumsum(values)])
        return total[j] - total[i]

    sw, ss, sz = window(w), window(w * s), window(w * z)
    sss, ssz = window(w * s * s), window(w * s * z)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_s, mean_z = ss / sw, sz / sw
        spread = sss - ss * mean_s
        slope = (ssz - ss * mean_z) / spread
    enough = sw >= base_m / 2
    slope = np.where(enough, slope, np.nan)
    return np.where(enough, mean_z + slope * (s - mean_s), np.nan) + centre, slope, spread
