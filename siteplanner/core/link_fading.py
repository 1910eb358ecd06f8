"""A point-to-point link over time: how low the effective Earth radius sinks, and how often multipath fades it.

Source: ITU-R P.530, Propagation data for terrestrial line-of-sight systems. Section 2.2.2 with its Figure on k_e; the
quick planning formulas of section 2.3.1 as P.530-14 (02/2012) has them, equations (4), (6), (7), and section 2.3.2 for
all fade depths; from memory. The editions in force since 2021 (P.530-18) take maps of two parameters that do not travel
with this program, so the last edition with a method for quick planning stays.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

LEAST_FADING_M = 5000.0
"""P.530-18 section 2.3.1: shorter paths have no multipath fading worth counting."""
DEEP_FADE_STEP_DB = (25.0, 1.2)  # P.530 section 2.3.2, transition depth 25 + 1.2 log p0

# P.530 section 2.2.2, figure: k_e exceeded for about 99.9 % of the worst month, continental temperate climate, read off
# from memory to about 0.05; the figure starts near 20 km, what stands before is its line drawn on, and held below.
_KE_KM = np.array([10.0, 20.0, 30.0, 50.0, 100.0])
_KE = np.array([0.5, 0.6, 0.68, 0.8, 0.95])


def low_k_factor(distance_m: ArrayLike) -> np.ndarray:
    """Effective Earth radius factor that is exceeded for 99.9 % of the worst month, by the path's length.

    Interpolated over the logarithm of the length, held outside 10 to 100 km. Continental temperate climate.
    """
    km = np.asarray(distance_m, float) / 1000
    return np.interp(np.log(np.maximum(km, 1e-3)), np.log(_KE_KM), _KE)


def multipath_faded_pct(
    distance_m: float,
    first_m: float,
    last_m: float,
    frequency_mhz: float,
    fade_db: float,
    gradient_n_km: float,
) -> float:
    """Share of the average worst month, percent, in which multipath takes more than `fade_db` from the level.

    first_m, last_m: antennas above sea level. gradient_n_km: dN1, the refractivity gradient of the lowest 65 m not
    exceeded for 1 % of the year (ITU-R P.453), N-units a kilometre. Occurrence factor p0 = K d^3.1 (1 + |e|)^-1.29
    f^0.8 10^(-0.00089 h) with K = 10^(-4.6 - 0.0027 dN1), d in km, f in GHz, e the inclination in mrad, h the lower
    antenna; then section 2.3.2: Rayleigh's law below the transition depth, its bend above. 0 for paths of up to 5 km,
    100 for a fade depth of 0 or less. NaN stays NaN.
    """
    if any(math.isnan(v) for v in (distance_m, first_m, last_m, fade_db)):
        return math.nan
    if fade_db <= 0:
        return 100.0
    if distance_m <= LEAST_FADING_M:
        return 0.0
    km, ghz = distance_m / 1000, frequency_mhz / 1000
    inclination = abs(last_m - first_m) / km
    factor = 10 ** (-4.6 - 0.0027 * gradient_n_km)
    p0 = factor * km**3.1 * (1 + inclination) ** -1.29 * ghz**0.8 * 10 ** (-0.00089 * min(first_m, last_m))
    turn = DEEP_FADE_STEP_DB[0] + DEEP_FADE_STEP_DB[1] * math.log10(p0)
    if fade_db >= turn or turn <= 0:
        return min(p0 * 10 ** (-fade_db / 10), 100.0)
    # section 2.3.2: q_t at the transition, q_a at the depth asked
    at_turn = p0 * 10 ** (-turn / 10)
    q_start = -20 * math.log10(-math.log(1 - at_turn / 100)) / turn
    q_t = (q_start - 2) / ((1 + 0.3 * 10 ** (-turn / 20)) * 10 ** (-0.016 * turn)) - 4.3 * (
        10 ** (-turn / 20) + turn / 800
    )
    q_a = 2 + (1 + 0.3 * 10 ** (-fade_db / 20)) * 10 ** (-0.016 * fade_db) * (
        q_t + 4.3 * (10 ** (-fade_db / 20) + fade_db / 800)
    )
    return 100 * (1 - math.exp(-(10 ** (-q_a * fade_db / 20))))
