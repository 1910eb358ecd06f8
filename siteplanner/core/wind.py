"""Wind at the mast: terrain speed-up, the profile with height, and hours above a limit.

Source: ASCE/SEI 7-16 section 26.8 (topographic factor, Figure 26.8-1). The factor multiplies pressure; speed grows
with its square root.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.constants import FOOT_M, KNOT_M_S, MILE_M

Landform = Literal["ridge", "escarpment", "hill"]
Exposure = Literal["B", "C", "D"]

# ASCE 7-16 Figure 26.8-1, parameters for speed-up over hills and escarpments
_K1_SLOPE: dict[Landform, dict[Exposure, float]] = {
    "ridge": {"B": 1.30, "C": 1.45, "D": 1.55},
    "escarpment": {"B": 0.75, "C": 0.85, "D": 0.95},
    "hill": {"B": 0.95, "C": 1.05, "D": 1.15},
}
_GAMMA: dict[Landform, float] = {"ridge": 3.0, "escarpment": 2.5, "hill": 4.0}
_MU_DOWNWIND: dict[Landform, float] = {"ridge": 1.5, "escarpment": 4.0, "hill": 1.5}
_MU_UPWIND = 1.5
STEEPEST = 0.5  # figure, note 2 (from memory): steeper counts as 0.5, with 2H in place of L_h
GENTLEST = 0.2  # section 26.8.1, condition 4
LEAST_HEIGHT_M: dict[Exposure, float] = {"B": 60 * FOOT_M, "C": 15 * FOOT_M, "D": 15 * FOOT_M}
"""Section 26.8.1, condition 5: 60 ft in exposure B, 15 ft in C and D."""


def topographic_factor(
    landform: Landform,
    exposure: Exposure,
    height_m: float,
    half_length_m: float,
    from_crest_m: float,
    above_ground_m: float,
) -> float:
    """K_zt = (1 + K1 K2 K3)^2, the growth of wind pressure over a hill, ridge or escarpment.

    `height_m` is H, the landform above the ground upwind; `half_length_m` is L_h, the distance upwind of the
    crest to half that height; `from_crest_m` is x, negative upwind, positive downwind; `above_ground_m` is z.
    1 where section 26.8.1 asks for none: H / L_h below 0.2, or H below 15 ft (C, D) or 60 ft (B).
    Source: ASCE 7-16 equation 26.8-1 and Figure 26.8-1. Raises ValueError for a length that is not above 0.
    """
    if not half_length_m > 0:
        raise ValueError("half_length_m must be above 0")
    steepness = height_m / half_length_m
    if steepness < GENTLEST or height_m < LEAST_HEIGHT_M[exposure]:
        return 1.0
    length = half_length_m
    if steepness > STEEPEST:
        steepness, length = STEEPEST, 2 * height_m
    mu = _MU_UPWIND if from_crest_m <= 0 else _MU_DOWNWIND[landform]
    k1 = _K1_SLOPE[landform][exposure] * steepness
    k2 = max(0.0, 1 - abs(from_crest_m) / (mu * length))
    k3 = float(np.exp(-_GAMMA[landform] * above_ground_m / length))
    return float((1 + k1 * k2 * k3) ** 2)


@dataclass(frozen=True)
class LandformAt:
    """The rise that a wind climbs before it reaches a place, as the factor's figure wants it."""

    landform: Landform
    height_m: float
    half_length_m: float
    from_crest_m: float  # negative: the place lies upwind of the crest


def landform_along(distance_m: np.ndarray, elevation_m: np.ndarray) -> LandformAt | None:
    """Read H, L_h and x off a profile along the wind; None where there is no crest, or the data end.

    `distance_m` rises from upwind (negative) through the place (0) to downwind; `elevation_m` beside it. The
    crest is the highest ground within a tenth of the upwind reach of the place; H is its height above the
    lowest ground upwind, L_h the distance back to where the ground last lies H / 2 below it (Figure 26.8-1). It
    counts as a ridge when the ground falls by at least half of H again downwind within the profile, as an
    escarpment otherwise; never as a hill, whose factor is smaller than a ridge's.

    Whether the section's conditions hold is asked of `unmet_conditions`.
    """
    d, z = np.asarray(distance_m, float), np.asarray(elevation_m, float)
    if len(d) < 5 or not np.isfinite(z).all():
        return None
    near = np.abs(d) <= 0.1 * -d[0]
    crest = int(np.flatnonzero(near)[np.argmax(z[near])])
    upwind = z[: crest + 1]
    foot = int(np.argmin(upwind))
    height = float(z[crest] - upwind[foot])
    if height <= 0:
        return None
    below = np.flatnonzero(z[foot : crest + 1] <= z[crest] - height / 2) + foot
    half = int(below[-1])
    # between samples: where the line from `half` to the next one crosses half the height
    step = z[half + 1] - z[half] if half < crest else 0.0
    share = (z[crest] - height / 2 - z[half]) / step if step > 0 else 0.0
    half_length = float(d[crest] - (d[half] + share * (d[min(half + 1, crest)] - d[half])))
    if half_length <= 0:
        return None
    falls = bool(z[crest] - z[crest:].min() >= height / 2)
    return LandformAt("ridge" if falls else "escarpment", height, half_length, float(-d[crest]))


Condition = Literal["not_isolated", "not_twice_as_high", "lower_half", "upwind_not_known"]
RULE_REACH_M = 2 * MILE_M  # section 26.8.1, conditions 1 and 2


def unmet_conditions(distance_m: np.ndarray, elevation_m: np.ndarray, form: LandformAt) -> tuple[Condition, ...]:
    """Which of the conditions 1 to 3 of ASCE 7-16 section 26.8.1 do not hold for a landform on this profile.

    1: no other feature of like height for 100 H upwind, at most 2 miles; like height: more than half of H, as in 2.
    2: it rises above other ground within 2 miles upwind by a factor of two or more; asked along the wind only, where
    the section says in any quadrant. 3: the place lies in the upper half of a ridge, or near the crest: not below half
    of H. `upwind_not_known`: the profile is shorter than 2 miles. 4 and 5 are in `topographic_factor`.
    """
    d, z = np.asarray(distance_m, float), np.asarray(elevation_m, float)
    crest = float(np.interp(-form.from_crest_m, d, z))
    half_way = crest - form.height_m / 2
    start = -form.from_crest_m - form.half_length_m  # where the height is taken from
    step = float(d[1] - d[0])
    other = (d < start - step) & (z > half_way)
    out: list[Condition] = []
    if other[d >= start - min(100 * form.height_m, RULE_REACH_M)].any():
        out.append("not_isolated")
    if other[d >= -RULE_REACH_M].any():
        out.append("not_twice_as_high")
    if float(np.interp(0.0, d, z)) < half_way:
        out.append("lower_half")
    if d[0] > -(RULE_REACH_M - 1.5 * step):
        out.append("upwind_not_known")
    return tuple(out)


# WMO/TD-No. 1555 (2010), Table 1.1, class in-land, roughly open terrain: highest 3 s gust over the mean of so many
# minutes. The Durst curve (ASCE 7-16 commentary, Figure C26.5-1) has 1.53 for an hour and about 1.43 for 10 minutes
# over flat open country; the rougher class is taken because nobody knows the ground around a spot as smooth.
_GUST_OVER_MEAN = {60: 1.75, 10: 1.66, 3: 1.58, 2: 1.55, 1: 1.49}


def gust_over_mean(mean_min: int) -> float:
    """Highest 3 s gust over the mean wind of 1, 2, 3, 10 or 60 minutes: WMO/TD-No. 1555, Table 1.1, in-land.

    Raises ValueError for another period.
    """
    if mean_min not in _GUST_OVER_MEAN:
        raise ValueError(f"the mean is over {', '.join(map(str, sorted(_GUST_OVER_MEAN)))} minutes")
    return _GUST_OVER_MEAN[mean_min]


LOWEST_PROFILE_M: dict[Exposure, float] = {"B": 10.0, "C": 15 * FOOT_M, "D": 15 * FOOT_M}
"""ASCE 7-16 Table 26.10-1: below 15 ft the wind is that at 15 ft; in exposure B the table starts at 30 ft."""
_ALPHA: dict[Exposure, float] = {"B": 7.0, "C": 9.5, "D": 11.5}  # ASCE 7-16 Table 26.11-1


def with_height(above_ground_m: float, exposure: Exposure) -> float:
    """Times the speed at 10 m over open ground, gust or mean.

    Above 10 m the larger of the power law with 1/7 and the logarithmic law with 0.03 m, which are those of mean winds
    and above that of gusts; below 10 m the gusts' profile of the exposure, (z / 10)^(1/alpha), ASCE 7-16 section 26.10
    with Table 26.11-1, no lower than the table goes: gusts fall off less toward the ground than means.
    """
    if above_ground_m >= 10.0:
        return float(max(speed_at_height(1.0, above_ground_m), speed_at_height_log(1.0, above_ground_m)))
    return (max(above_ground_m, LOWEST_PROFILE_M[exposure]) / 10.0) ** (1 / _ALPHA[exposure])


def speed_at_height(speed_10m: ArrayLike, above_ground_m: ArrayLike, exponent: float = 1 / 7) -> np.ndarray:
    """Wind speed at a height from the speed at 10 m by the power law, (z / 10)^exponent; any speed unit.

    Open country: 1/7, common practice. Below 10 m the 10 m speed stays; see `with_height` for what is less there.
    """
    ratio = np.maximum(np.asarray(above_ground_m, float), 10.0) / 10.0
    return np.asarray(speed_10m, float) * ratio**exponent


def speed_at_height_log(speed_10m: ArrayLike, above_ground_m: ArrayLike, roughness_m: float = 0.03) -> np.ndarray:
    """As `speed_at_height` by the logarithmic law, ln(z / z0) / ln(10 / z0); open country has z0 = 0.03 m.

    Common practice, no source. Raises ValueError for a roughness that is not between 0 and 10 m.
    """
    if not 0 < roughness_m < 10:
        raise ValueError("roughness_m must be between 0 and 10")
    height = np.maximum(np.asarray(above_ground_m, float), 10.0)
    return np.asarray(speed_10m, float) * np.log(height / roughness_m) / np.log(10 / roughness_m)


# lowest whole knots of Beaufort 1 to 12 (WMO, Manual on Codes, code table 1100; several stored tables)
_BEAUFORT_KT = (1, 4, 7, 11, 17, 22, 28, 34, 41, 48, 56, 64)


def beaufort_number(speed_m_s: float) -> int:
    """The number of the Beaufort scale, 0 to 12, for a mean speed, rounded to whole knots as the scale is.

    Raises ValueError for a speed that is not known or below 0.
    """
    if not speed_m_s >= 0:
        raise ValueError("the speed must be known and not below 0")
    knots = round(speed_m_s / KNOT_M_S)
    return sum(knots >= least for least in _BEAUFORT_KT)


def spans_above(times_h: np.ndarray, values: np.ndarray, limit: float) -> list[tuple[float, float]]:
    """Spans of time in which a series lies above a limit, as (start, end) in the unit of `times_h`.

    The series is drawn straight between its rows, so a span starts and ends where the line crosses the limit;
    nothing is said outside the series, nor across a row that is not known (NaN).
    """
    t, v = np.asarray(times_h, float), np.asarray(values, float)
    spans: list[tuple[float, float]] = []
    for k in range(len(t) - 1):
        a, b = v[k], v[k + 1]
        if not (np.isfinite(a) and np.isfinite(b)) or max(a, b) <= limit:
            continue
        start = t[k] if a > limit else t[k] + (limit - a) / (b - a) * (t[k + 1] - t[k])
        end = t[k + 1] if b > limit else t[k] + (limit - a) / (b - a) * (t[k + 1] - t[k])
        if spans and abs(spans[-1][1] - start) < 1e-9:
            spans[-1] = (spans[-1][0], float(end))
        else:
            spans.append((float(start), float(end)))
    return spans
