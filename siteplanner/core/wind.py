"""Wind at the mast: terrain speed-up, the profile with height, and hours above a limit.

Source: ASCE/SEI 7-16 section 26.8 (topographic factor, Figure 26.8-1). The factor multiplies pressure; speed grows
with its square root.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.constants import FOOT_M, KNOT_M_S

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

# ASCE 7-16 Table 26.11-1: alpha and z_g in feet


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

    Departs from section 26.8.1: whether the landform stands alone within 100 H (conditions 1 and 2) is not
    looked at, so the factor errs high among other hills.
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


def speed_at_height(speed_10m: ArrayLike, above_ground_m: ArrayLike, exponent: float = 1 / 7) -> np.ndarray:
    """Wind speed at a height from the speed at 10 m by the power law, (z / 10)^exponent; any speed unit.

    Open country: 1/7, common practice. Below 10 m the 10 m speed stays: a mast's lower part gains nothing.
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
