"""Grades of roads from an elevation raster whose noise must not invent cliffs.

The grade at a point is the slope of the least-squares line through the elevations within a base length around
it. On a plane that is exact; white noise of sigma metres, sampled every d metres, leaves a standard error of
sigma * sqrt(12 d / base^3) (the ordinary least-squares slope): for 1 m of noise on cells of 10 m about 3 % over the
50 m that such cells are told over. A longer base would be calmer (1 % over 100 m) and would hide a short pitch that
is too steep for the rig: 60 m of 18 % read 13 % over 100 m.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.roads.strokes import Samples, Strokes

SHORTEST_BASE_M, LONGEST_BASE_M = 40.0, 100.0


def base_length_m(cell_size_m: float) -> float:
    """Length a grade is told over: five cells, within 40..100 m. Common practice, no source."""
    return float(np.clip(5.0 * cell_size_m, SHORTEST_BASE_M, LONGEST_BASE_M))


@dataclass(frozen=True, eq=False)
class Profile:
    """At each sample: the smoothed road height and the grade in percent, rising along the stroke. NaN unknown."""

    elevation_m: np.ndarray
    grade_pct: np.ndarray


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


def road_profile(elevation: Grid, strokes: Strokes, samples: Samples, off_ground: np.ndarray,
                 base_m: float) -> Profile:
    """Heights and grades along all strokes.

    Parameters: `off_ground` marks (per segment) bridges and tunnels; `base_m` is the length a grade is told
    over. NaN where less than half the base length of known ground lies on the road around a sample.
    """
    raw = elevation.sample(*strokes.xy(samples.s))
    raw = _span(raw, samples, off_ground[strokes.order])
    known = np.isfinite(raw)
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
        slope = (ssz - ss * mean_z) / (sss - ss * mean_s)
    enough = sw >= base_m / 2
    slope = np.where(enough, slope, np.nan)
    fitted = np.where(enough, mean_z + slope * (s - mean_s), np.nan) + centre
    return Profile(np.where(known, np.where(enough, fitted, raw), np.nan), np.where(known, 100 * slope, np.nan))
