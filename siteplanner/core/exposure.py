"""Radio-frequency exposure: limits, power density, and the distance at which a field falls to its limit.

Sources: 47 CFR 1.1310 Table 1 (limits, power density columns); FCC OET Bulletin 65, edition 97-01, section 2,
equations (3), (6) and (8) (power density in the far field, with a reflecting ground), (11), (12), (16), (17) (before
and near an aperture; numbers from memory). Beside them ICNIRP, Guidelines for limiting exposure to electromagnetic
fields (100 kHz to 300 GHz), Health Physics 118 (2020) 483-524, Table 5.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.antenna import horizontal_loss_db, vertical_loss_db
from siteplanner.core.constants import SPEED_OF_LIGHT_M_S

People = Literal["public", "workers"]

FREE_SPACE = 1.0
GROUND_REFLECTION = 2.56
"""OET 65 equation (8): the field is 1.6 times as strong over ground, power density 1.6^2."""

AVERAGING_MIN: dict[People, int] = {"public": 30, "workers": 6}
"""Averaging times in minutes, 47 CFR 1.1310 Table 1."""

# 47 CFR 1.1310 Table 1: (from MHz, to MHz, factor, exponent); limit = factor x f^exponent in mW/cm2
_TABLE: dict[People, tuple[tuple[float, float, float, int], ...]] = {
    "workers": (
        (0.3, 3.0, 100.0, 0),
        (3.0, 30.0, 900.0, -2),
        (30.0, 300.0, 1.0, 0),
        (300.0, 1500.0, 1 / 300, 1),
        (1500.0, 100_000.0, 5.0, 0),
    ),
    "public": (
        (0.3, 1.34, 100.0, 0),
        (1.34, 30.0, 180.0, -2),
        (30.0, 300.0, 0.2, 0),
        (300.0, 1500.0, 1 / 1500, 1),
        (1500.0, 100_000.0, 1.0, 0),
    ),
}


# ICNIRP 2020, incident power density: (from MHz, to MHz, public factor, workers' factor, exponent of MHz), W/m2
# of the whole body, averaged over 30 min (Table 5, from memory). That of a part of the body (Table 6, over 6 min) is
# higher at every frequency (tests/core/test_exposure.py), so that it never sets a distance.
_ICNIRP: tuple[tuple[float, float, float, float, float], ...] = (
    (30.0, 400.0, 2.0, 10.0, 0.0),
    (400.0, 2000.0, 1 / 200, 1 / 40, 1.0),
    (2000.0, 300_000.0, 10.0, 50.0, 0.0),
)
W_M2_IN_MW_CM2 = 0.1


def icnirp_limit_w_m2(frequency_mhz: float, people: People) -> float:
    """Reference level of the incident power density in W/m2, for the body as a whole.

    `workers` are the guidelines' occupationally exposed. NaN where the rows give nothing (below 30 MHz, above 300 GHz).
    Source: ICNIRP 2020 Table 5 (30 min).
    """
    for low, high, public, workers, exponent in _ICNIRP:
        if low <= frequency_mhz <= high:
            return float((public if people == "public" else workers) * frequency_mhz**exponent)
    return float("nan")


def exposure_limit_mw_cm2(frequency_mhz: float, people: People) -> float:
    """Largest permissible power density in mW/cm2, whole body, averaged over `AVERAGING_MIN`.

    `public` is the table's general population (uncontrolled), `workers` its occupational (controlled) column:
    people who know of the field and can leave it. NaN outside 0.3 to 100,000 MHz, where the table gives nothing.
    Source: 47 CFR 1.1310 Table 1.
    """
    for low, high, factor, exponent in _TABLE[people]:
        if low <= frequency_mhz <= high:
            return factor * frequency_mhz**exponent
    return float("nan")


def eirp_w(power_dbm: float, gain_dbi: float, loss_db: float = 0.0) -> float:
    """Equivalent isotropic radiated power in watts of a transmitter behind a lossy cable."""
    return float(10 ** ((power_dbm + gain_dbi - loss_db - 30) / 10))


def power_density_mw_cm2(eirp_w: ArrayLike, distance_m: ArrayLike, ground_factor: float = FREE_SPACE) -> np.ndarray:
    """Power density in the main beam at a distance; shapes broadcast.

    S = F EIRP / (4 pi R^2), OET 65 equations (3) with F = 1, (6) with F = 4, (8) with F = 2.56. 1 W/m2 is
    0.1 mW/cm2. A far-field formula: closer than a few wavelengths to the antenna it overstates the field.
    Raises ValueError for a distance that is not above 0.
    """
    distance = np.asarray(distance_m, float)
    if np.any(distance <= 0):
        raise ValueError("the distance must be above 0 m")
    return ground_factor * np.asarray(eirp_w, float) / (4 * np.pi * distance**2) / 10


def compliance_distance_m(eirp_w: float, limit_mw_cm2: float, ground_factor: float = FREE_SPACE) -> float:
    """Distance in the main beam at which the power density has fallen to the limit, in metres.

    R = sqrt(F EIRP / (4 pi S)), OET 65 equations (3), (6), (8) solved for R. NaN for an unknown limit.
    """
    return float(np.sqrt(ground_factor * eirp_w / (4 * np.pi * 10 * limit_mw_cm2)))


def ground_share_of_limit(
    eirp_w: float,
    limit_mw_cm2: float,
    mast_height_m: float,
    *,
    vertical_beamwidth_deg: float = 10.0,
    side_lobe_db: float = 20.0,
    downtilt_deg: float = 0.0,
    person_height_m: float = 2.0,
    ground_factor: float = GROUND_REFLECTION,
) -> tuple[float, float]:
    """Highest share of the limit for someone on level ground around the mast, and how far off it is felt.

    Returns (share, horizontal distance in metres) of the worst place, out to where the beam's upper half meets
    the ground. The field is that of the sector's own vertical pattern (`core.antenna.vertical_loss_db`) along the
    slant line to the top of the head, with the ground's reflection: OET 65 section 2, the relative-gain form
    S = F EIRP g(angle) / (4 pi R^2). A mast no higher than the person: the main beam itself counts at 1 m.
    """
    rise = mast_height_m - person_height_m
    if rise <= 0:
        return float(power_density_mw_cm2(eirp_w, 1.0, ground_factor)) / limit_mw_cm2, 1.0
    distance = np.concatenate([[0.0], np.geomspace(0.1, 400 * rise, 4000)])
    below = -np.degrees(np.arctan2(rise, distance))
    loss = vertical_loss_db(below, vertical_beamwidth_deg, side_lobe_db, downtilt_deg)
    density = power_density_mw_cm2(eirp_w * 10 ** (-loss / 10), np.hypot(distance, rise), ground_factor)
    worst = int(np.argmax(density))
    return float(density[worst]) / limit_mw_cm2, float(distance[worst])


def all_sectors_factor(bearings_deg: ArrayLike, beamwidth_deg: float = 65.0, front_to_back_db: float = 20.0) -> float:
    """Power density of all sectors of one mast at once, over that of one on its peak, where it is highest; 1 or more.

    bearings_deg: (sectors,). Powers of the horizontal pattern (`core.antenna.horizontal_loss_db`) are added: the
    sectors send different signals. 2 sectors 60 degrees apart 1.13, on one bearing 2; a distance grows with the root.
    Raises ValueError without a sector.
    """
    bearings = np.atleast_1d(np.asarray(bearings_deg, float))
    if not bearings.size:
        raise ValueError("at least one sector is needed")
    around = np.arange(0.0, 360.0, 0.25)
    loss = horizontal_loss_db(around[:, None] - bearings, beamwidth_deg, front_to_back_db)
    return max(1.0, float((10 ** (-loss / 10)).sum(axis=1).max()))


def aperture_mw_cm2(power_w: float, diameter_m: float) -> float:
    """Highest power density right before a dish, 4 P / A (OET 65 equation (11)), in mW/cm2."""
    return 4 * power_w / (np.pi * diameter_m**2 / 4) / 10


def dish_distance_m(power_w: float, diameter_m: float, frequency_mhz: float, limit_mw_cm2: float) -> float:
    """How far in front of a dish, on its axis, the power density may be above a limit, in metres.

    Up to the end of the near field, D^2 / 4 lambda (OET 65 equation (12)), 4 P / A is taken as the density: equation
    (13) with an efficiency of 1, never too low. From there it falls with the distance up to 0.6 D^2 / lambda (equations
    (16), (17)), then with its square. 0 where not even the aperture is above the limit; NaN for an unknown limit.
    """
    if np.isnan(limit_mw_cm2):
        return float("nan")
    ratio = aperture_mw_cm2(power_w, diameter_m) / limit_mw_cm2
    if ratio <= 1:
        return 0.0
    unit_m = diameter_m**2 / (SPEED_OF_LIGHT_M_S / (frequency_mhz * 1e6))
    near_m, far_m = unit_m / 4, 0.6 * unit_m
    linear_m = near_m * ratio
    return float(linear_m if linear_m <= far_m else far_m * np.sqrt(linear_m / far_m))
