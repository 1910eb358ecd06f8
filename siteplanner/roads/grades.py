"""Grades of roads from an elevation raster whose noise must not invent cliffs.

The grade at a point is the slope of the least-squares line through the elevations within a base length around
it. On a plane that is exact; independent errors of sigma metres, one every d metres, leave a standard error of
sigma / sqrt(sum (s - mean s)^2) (variance of the ordinary least-squares slope), which for a full base is
sigma * sqrt(12 d / base^3): for 1 m of noise on cells of 10 m about 3 % over the 50 m that such cells are told over.
d is the source's cell; where fewer than two of those lie in the base, the slope is that between two of them and the
error sigma * sqrt(2) / d. Neighbouring errors are alike in real data, so that grades are rather better known.

The driving speed takes the grade over a longer base where that is needed to know it to 1 %: noise would otherwise
slow a level road down here and there. A longer base would be calmer (1 % over 100 m) and would hide a short pitch that
is too steep for the rig: 60 m of 18 % read 13 % over 100 m.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.roads.strokes import Samples, Strokes

SHORTEST_BASE_M, LONGEST_BASE_M = 40.0, 100.0
SPEED_ERROR_PCT, SPEED_BASE_M = 1.0, 300.0  # the grade for the speed is known to this, over at most this base


def base_length_m(cell_size_m: float) -> float:
    """Length a grade is told over: five cells, within 40..100 m. Common practice, no source."""
    return float(np.clip(5.0 * cell_size_m, SHORTEST_BASE_M, LONGEST_BASE_M))


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
    error = np.zeros(len(slope))
    if error_m > 0 and spacing_m > 0:
        with np.errstate(divide="ignore", invalid="ignore"):
            error = 100 * error_m * np.fmin(np.sqrt(spacing_m / spread), np.sqrt(2) / spacing_m)
    calm = slope
    if (long_m := speed_base_m(base_m, error_m, spacing_m)) > base_m:
        over = _fit(strokes, samples, raw, known, long_m)[1]
        calm = np.where(np.isfinite(over), over, slope)
    return Profile(
        np.where(known, np.where(np.isfinite(fitted), fitted, raw), np.nan),
        *(np.where(known, v, np.nan) for v in (100 * slope, np.where(np.isfinite(slope), error, np.nan), 100 * calm)),
    )


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
