"""Losses of what stands on the ground: houses, trees, and the walls around a handset.

Sources: ITU-R P.2108-1 sections 3.1 (height gain) and 3.2 (statistical), ITU-R P.833-9 section 2 (woodland),
ITU-R P.2109-1 (building entry). Outside the range that a Recommendation states, these functions refuse.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.propagation import knife_edge_db

Clutter = Literal["water", "open", "suburban", "urban", "trees", "dense_urban"]
Building = Literal["traditional", "efficient"]

# P.2108-1 Table 3: representative clutter heights R, metres.
CLUTTER_HEIGHT_M: dict[str, float] = {
    "water": 10.0,
    "open": 10.0,
    "suburban": 10.0,
    "urban": 15.0,
    "trees": 15.0,
    "dense_urban": 20.0,
}
STREET_WIDTH_M = 27.0  # P.2108-1 section 3.1: w_s where nothing local is known

# P.833-9, measured woodland constants: MHz, specific attenuation dB/m, greatest attenuation dB.
WOODLAND_MHZ = np.array([105.9, 466.475, 949.0, 1852.2, 2117.5])
WOODLAND_SPECIFIC_DB_M = np.array([0.04, 0.12, 0.17, 0.30, 0.34])
WOODLAND_MAXIMUM_DB = np.array([9.4, 18.0, 26.5, 29.0, 34.1])

# P.2109-1 Table 1: r, s, t, u, v, w, x, y, z.
BUILDING_CONSTANTS: dict[str, tuple[float, ...]] = {
    "traditional": (12.64, 3.72, 0.96, 9.6, 2.0, 9.1, -3.0, 4.5, -2.0),
    "efficient": (28.19, -3.00, 8.48, 13.5, 3.8, 27.8, -2.9, 9.4, -2.1),
}


def _refuse(bad: np.ndarray | bool, message: str) -> None:
    if np.any(bad):
        raise ValueError(message)


def height_gain_db(
    frequency_mhz: ArrayLike,
    antenna_height_m: ArrayLike,
    clutter: Clutter,
    *,
    clutter_height_m: ArrayLike | None = None,
    street_width_m: ArrayLike = STREET_WIDTH_M,
) -> np.ndarray:
    """Additional loss of a terminal below the clutter around it, dB (ITU-R P.2108-1 section 3.1).

    antenna_height_m above ground; clutter_height_m None: the representative height of the class; an antenna
    at or above it loses nothing. Shapes broadcast.
    Raises ValueError for an unknown class, 30 MHz to 3 GHz left, or heights and widths of 0 or less.
    """
    if clutter not in CLUTTER_HEIGHT_M:
        raise ValueError(f"clutter must be one of {', '.join(CLUTTER_HEIGHT_M)}; got {clutter!r}")
    frequency_ghz = np.asarray(frequency_mhz, float) / 1000.0
    height = np.asarray(antenna_height_m, float)
    top = np.asarray(CLUTTER_HEIGHT_M[clutter] if clutter_height_m is None else clutter_height_m, float)
    width = np.asarray(street_width_m, float)
    _refuse((frequency_ghz < 0.03) | (frequency_ghz > 3.0), "P.2108-1 section 3.1 holds from 30 to 3000 MHz")
    _refuse((height <= 0) | (top <= 0) | (width <= 0), "heights and street width must be above 0")
    if clutter in ("water", "open"):
        loss = -(21.8 + 6.2 * np.log10(frequency_ghz)) * np.log10(height / top)
    else:
        below = np.maximum(top - height, 0.0)
        angle_deg = np.degrees(np.arctan(below / width))
        loss = knife_edge_db(0.342 * np.sqrt(frequency_ghz) * np.sqrt(below * angle_deg)) - 6.03
    return np.where(height >= top, 0.0, loss)


def woodland_constants(frequency_mhz: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Specific attenuation (dB/m) and greatest attenuation (dB) of measured woodland (P.833-9).

    Interpolated between the measured frequencies over the logarithm of frequency.
    Raises ValueError outside 105.9 to 2117.5 MHz.
    """
    frequency = np.asarray(frequency_mhz, float)
    _refuse(
        (frequency < WOODLAND_MHZ[0]) | (frequency > WOODLAND_MHZ[-1]),
        "the woodland constants are known from 105.9 to 2117.5 MHz",
    )
    at, known = np.log(frequency), np.log(WOODLAND_MHZ)
    return np.interp(at, known, WOODLAND_SPECIFIC_DB_M), np.interp(at, known, WOODLAND_MAXIMUM_DB)


def woodland_db(
    depth_m: ArrayLike,
    frequency_mhz: ArrayLike | None = None,
    *,
    specific_db_m: ArrayLike | None = None,
    maximum_db: ArrayLike | None = None,
) -> np.ndarray:
    """Additional loss of a terminal `depth_m` inside woodland, A_m (1 - exp(-d gamma / A_m)), dB (P.833-9).

    Give the frequency, or both constants of the stand at hand. Shapes broadcast.
    Raises ValueError for a negative depth, or when neither the frequency nor both constants are given.
    """
    depth = np.asarray(depth_m, float)
    _refuse(depth < 0, "depth_m must not be negative")
    if specific_db_m is not None and maximum_db is not None:
        gamma, top = np.asarray(specific_db_m, float), np.asarray(maximum_db, float)
    elif frequency_mhz is not None and specific_db_m is None and maximum_db is None:
        gamma, top = woodland_constants(frequency_mhz)
    else:
        raise ValueError("give frequency_mhz, or both specific_db_m and maximum_db")
    return top * -np.expm1(-depth * gamma / top)


def building_median_db(frequency_mhz: ArrayLike, building: Building = "traditional") -> np.ndarray:
    """Median loss of horizontal entry into a building, L_h, dB (ITU-R P.2109-1, median of horizontal paths).

    Raises ValueError outside 80 MHz to 100 GHz or for an unknown kind of building.
    """
    r, s, t, *_ = _building(building)
    log_f = np.log10(_building_ghz(frequency_mhz))
    return r + s * log_f + t * log_f**2


def building_entry_db(
    frequency_mhz: ArrayLike,
    probability: ArrayLike = 0.5,
    building: Building = "traditional",
    elevation_deg: ArrayLike = 0.0,
) -> np.ndarray:
    """Building entry loss not exceeded with `probability` (0..1), dB (ITU-R P.2109-1, section 3).

    elevation_deg: of the path at the facade. Shapes broadcast.
    Raises ValueError outside 80 MHz to 100 GHz, probabilities of 0 or 1, or an unknown kind of building.
    """
    from scipy.special import ndtri  # not at the top: every command and the app's first page would wait for it

    *_, u, v, w, x, y, z = _building(building)
    chance = np.asarray(probability, float)
    _refuse((chance <= 0) | (chance >= 1), "probability must be between 0 and 1, both excluded")
    log_f = np.log10(_building_ghz(frequency_mhz))
    deviate = ndtri(chance)
    mean_1 = building_median_db(frequency_mhz, building) + 0.212 * np.abs(np.asarray(elevation_deg, float))
    a = deviate * (u + v * log_f) + mean_1
    b = deviate * (y + z * log_f) + w + x * log_f
    return 10.0 * np.log10(10.0 ** (0.1 * a) + 10.0 ** (0.1 * b) + 10.0**-0.3)


def _building(building: str) -> tuple[float, ...]:
    if building not in BUILDING_CONSTANTS:
        raise ValueError(f"building must be one of {', '.join(BUILDING_CONSTANTS)}; got {building!r}")
    return BUILDING_CONSTANTS[building]


def _building_ghz(frequency_mhz: ArrayLike) -> np.ndarray:
    frequency_ghz = np.asarray(frequency_mhz, float) / 1000.0
    _refuse((frequency_ghz < 0.08) | (frequency_ghz > 100.0), "P.2109-1 holds from 80 MHz to 100 GHz")
    return frequency_ghz
