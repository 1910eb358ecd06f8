"""Free space, one edge, and the whole terrain profile by the delta-Bullington method.

Everything here is the exact form for one path, in double precision and plain numpy: it is what named points
are computed with and what the fast kernel of `coverage` is held against.

Sources: ITU-R P.525-4 (free space); ITU-R P.526-15 sections 2 (Fresnel zones), 3.1.1.2 and 3.2 (spherical
Earth), 4.1 (single edge), 4.5 (delta-Bullington). In force are P.525-5 and P.526-16: free space and equation (31) are
the same there, and the published check profiles belong to the editions named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.constants import MEAN_EARTH_RADIUS_M, MEDIAN_K_FACTOR, SPEED_OF_LIGHT_M_S

# Ground constants of average land: ITU-R P.452 / P.1812, "land": relative permittivity, siemens a metre.
LAND_PERMITTIVITY = 22.0
LAND_CONDUCTIVITY_S_M = 0.003

# Where the method is used: P.1812 from 30 MHz, P.452 up to 50 GHz; both take antennas up to 3,000 m and
# paths up to 3,000 km (P.1812) and 10,000 km (P.452). Below LEAST_DISTANCE_M, where P.1812 begins, the loss is worked
# out all the same: free space and edges hold there, the spread from place to place is not measured.
FREQUENCY_RANGE_MHZ = (30.0, 50_000.0)
MAX_ANTENNA_HEIGHT_M = 3000.0
MAX_DISTANCE_M = 3_000_000.0
LEAST_DISTANCE_M = 250.0

NO_LOSS_NU = -0.78  # P.526-15 equation (31) holds above it; below, the loss is taken as 0

Polarization = Literal["horizontal", "vertical"]


@dataclass(frozen=True)
class DiffractionSteps:
    """Every step of one delta-Bullington loss, so that a difference can be traced.

    `nu` is the Bullington point's parameter on the real profile, `smooth_nu` the one on the smooth surface
    (-inf: no point between the ends). The first-term members are NaN where the spherical loss needed none.
    """

    diffraction_db: float  # Ld: the answer
    bullington_db: float  # Lbulla: Bullington on the real profile
    smooth_bullington_db: float  # Lbulls: Bullington on the smooth surface
    spherical_db: float  # Lsph
    nu: float
    smooth_nu: float
    blocked: bool  # the real profile stands in the line of sight
    tx_effective_height_m: float  # h'tx, above the smooth surface
    rx_effective_height_m: float  # h'rx
    tx_surface_height_m: float  # hst (P.526-15, 4.5), before the obstruction correction
    rx_surface_height_m: float  # hsr
    distance_term_db: float  # F(X)
    tx_height_gain_db: float  # G(Y1)
    rx_height_gain_db: float  # G(Y2)


def free_space_db(distance_m: ArrayLike, frequency_mhz: ArrayLike) -> np.ndarray:
    """Free-space basic transmission loss, 20 log10(4 pi d f / c), dB (ITU-R P.525-4).

    distance_m, frequency_mhz: any shapes that broadcast; NaN stays NaN.
    Raises ValueError for a distance or frequency of 0 or less.
    """
    distance = np.asarray(distance_m, float)
    frequency = np.asarray(frequency_mhz, float)
    if np.any(distance <= 0):
        raise ValueError("distance_m must be above 0")
    if np.any(frequency <= 0):
        raise ValueError("frequency_mhz must be above 0")
    return 20.0 * np.log10(4.0e6 * math.pi / SPEED_OF_LIGHT_M_S * distance * frequency)


def knife_edge_db(nu: ArrayLike) -> np.ndarray:
    """Loss J(nu) over one knife edge, dB (ITU-R P.526-15, equation 31); 0 for nu of -0.78 and less.

    The approximation is within 0.13 dB of the exact Fresnel integral. Any shape; NaN stays NaN.
    """
    value = np.asarray(nu, float)
    clipped = np.where(value <= NO_LOSS_NU, 0.0, value) - 0.1
    loss = 6.9 + 20.0 * np.log10(np.sqrt(clipped * clipped + 1.0) + clipped)
    return np.where(value <= NO_LOSS_NU, 0.0, loss)


def fresnel_radius_m(near_m: ArrayLike, far_m: ArrayLike, frequency_mhz: ArrayLike, zone: ArrayLike = 1) -> np.ndarray:
    """Radius of the n-th Fresnel ellipsoid, sqrt(n lambda d1 d2 / (d1 + d2)), metres (P.526-15, section 2).

    near_m, far_m: distances to the two ends; 0 gives 0. Shapes broadcast.
    Raises ValueError for negative distances, both ends at once, or a frequency of 0 or less.
    """
    near, far = np.asarray(near_m, float), np.asarray(far_m, float)
    frequency = np.asarray(frequency_mhz, float)
    if np.any(near < 0) or np.any(far < 0) or np.any(near + far <= 0):
        raise ValueError("near_m and far_m must not be negative, and not both 0")
    if np.any(frequency <= 0):
        raise ValueError("frequency_mhz must be above 0")
    wavelength = SPEED_OF_LIGHT_M_S / (frequency * 1e6)
    return np.sqrt(np.asarray(zone, float) * wavelength * near * far / (near + far))


def check_radio_range(frequency_mhz: float, *heights_m: float) -> None:
    """Raises ValueError unless frequency and antenna heights are where the method may be used."""
    low, high = FREQUENCY_RANGE_MHZ
    if not low <= frequency_mhz <= high:
        raise ValueError(f"frequency_mhz must be {low:g} to {high:g} (ITU-R P.1812, P.452); got {frequency_mhz!r}")
    for height in heights_m:
        if not 0 < height <= MAX_ANTENNA_HEIGHT_M:
            raise ValueError(
                f"antenna heights above ground must be above 0 and at most {MAX_ANTENNA_HEIGHT_M:g} m; got {height!r}"
            )


def diffraction_db(
    distance_m: ArrayLike,
    height_m: ArrayLike,
    tx_height_m: float,
    rx_height_m: float,
    frequency_mhz: float,
    k_factor: float = MEDIAN_K_FACTOR,
    *,
    ground_m: ArrayLike | None = None,
    earth_radius_m: float | None = None,
    polarization: Polarization = "vertical",
    speed_of_light_m_s: float = SPEED_OF_LIGHT_M_S,
) -> float:
    """Delta-Bullington diffraction loss of one profile, dB above free space (ITU-R P.526-15, section 4.5).

    Arguments and Raises as `diffraction_steps`. NaN where a height of the profile is NaN.
    """
    return diffraction_steps(
        distance_m,
        height_m,
        tx_height_m,
        rx_height_m,
        frequency_mhz,
        k_factor,
        ground_m=ground_m,
        earth_radius_m=earth_radius_m,
        polarization=polarization,
        speed_of_light_m_s=speed_of_light_m_s,
    ).diffraction_db


def diffraction_steps(
    distance_m: ArrayLike,
    height_m: ArrayLike,
    tx_height_m: float,
    rx_height_m: float,
    frequency_mhz: float,
    k_factor: float = MEDIAN_K_FACTOR,
    *,
    ground_m: ArrayLike | None = None,
    earth_radius_m: float | None = None,
    polarization: Polarization = "vertical",
    speed_of_light_m_s: float = SPEED_OF_LIGHT_M_S,
) -> DiffractionSteps:
    """The loss of `diffraction_db` with every step on the way.

    distance_m: (n,) rising, from the transmitter (first) to the receiver (last), n >= 3.
    height_m: (n,) ground above sea level, metres, with what stands on it. tx_height_m, rx_height_m: antennas above it.
    ground_m: (n,) the bare ground, equal to height_m at both ends, which the smooth surface follows (ITU-R P.1812-6
    section 4.3.4: Bullington's loss over ground and clutter, the effective heights from the ground); None: height_m.
    earth_radius_m: effective radius; None is k_factor x 6371 km. Land constants throughout.
    A NaN height anywhere gives NaN in every step: an unknown profile has no loss.
    Raises ValueError for shapes that do not fit, distances that do not rise, or values out of range
    (30 MHz to 50 GHz, antennas above 0 and up to 3000 m, paths up to 3000 km).
    """
    distance = np.asarray(distance_m, float)
    height = np.asarray(height_m, float)
    if distance.ndim != 1 or distance.shape != height.shape:
        raise ValueError("distance_m and height_m must be one-dimensional and equally long")
    ground = height if ground_m is None else np.asarray(ground_m, float)
    if ground.shape != height.shape:
        raise ValueError("ground_m and height_m must be equally long")
    if distance.size < 3:
        raise ValueError("a profile needs at least 3 points")
    if not np.all(np.diff(distance) > 0):
        raise ValueError("distance_m must rise from the transmitter to the receiver")
    check_radio_range(frequency_mhz, tx_height_m, rx_height_m)
    radius_km = (MEAN_EARTH_RADIUS_M * k_factor if earth_radius_m is None else earth_radius_m) / 1000.0
    if not radius_km > 0:
        raise ValueError("the effective Earth radius must be above 0")
    x_km = (distance - distance[0]) / 1000.0
    d_km = float(x_km[-1])
    if d_km * 1000.0 > MAX_DISTANCE_M:
        raise ValueError(f"the path must not be longer than {MAX_DISTANCE_M / 1000:g} km")
    if np.isnan(height).any() or np.isnan(ground).any():
        nan = math.nan
        return DiffractionSteps(nan, nan, nan, nan, nan, nan, False, nan, nan, nan, nan, nan, nan, nan)

    wavelength = speed_of_light_m_s / (frequency_mhz * 1e6)
    inner_km, inner_m = x_km[1:-1], height[1:-1]
    tx_m, rx_m = float(height[0]) + tx_height_m, float(height[-1]) + rx_height_m

    nu, blocked = _bullington_nu(inner_km, inner_m, d_km, tx_m, rx_m, radius_km, wavelength)
    bullington = _bullington_db(nu, d_km)

    tx_surface, rx_surface = _smooth_surface(x_km, ground)
    tx_effective, rx_effective = _effective_heights(
        inner_km, ground[1:-1], d_km, float(height[0]), float(height[-1]), tx_m, rx_m, tx_surface, rx_surface
    )
    smooth_nu, _ = _bullington_nu(
        inner_km, np.zeros_like(inner_km), d_km, tx_effective, rx_effective, radius_km, wavelength
    )
    smooth_bullington = _bullington_db(smooth_nu, d_km)
    spherical, f_term, g_tx, g_rx = _spherical_db(
        d_km, tx_effective, rx_effective, radius_km, frequency_mhz / 1000.0, wavelength, polarization
    )
    # What the smooth Earth adds beyond its own Bullington loss.
    total = bullington + max(spherical - smooth_bullington, 0.0)
    return DiffractionSteps(
        total,
        bullington,
        smooth_bullington,
        spherical,
        nu,
        smooth_nu,
        blocked,
        tx_effective,
        rx_effective,
        tx_surface,
        rx_surface,
        f_term,
        g_tx,
        g_rx,
    )


def _bullington_nu(
    inner_km: np.ndarray,
    inner_m: np.ndarray,
    d_km: float,
    tx_m: float,
    rx_m: float,
    radius_km: float,
    wavelength_m: float,
) -> tuple[float, bool]:
    """nu at the Bullington point and whether the line of sight is blocked (P.526-15, section 4.5)."""
    raised = inner_m + 500.0 / radius_km * inner_km * (d_km - inner_km)
    tx_slope = float(np.max((raised - tx_m) / inner_km))
    line_slope = (rx_m - tx_m) / d_km
    if tx_slope < line_slope:
        line = (tx_m * (d_km - inner_km) + rx_m * inner_km) / d_km
        nus = (raised - line) * np.sqrt(0.002 * d_km / (wavelength_m * inner_km * (d_km - inner_km)))
        return float(np.max(nus)), False
    rx_slope = float(np.max((raised - rx_m) / (d_km - inner_km)))
    point = (rx_m - tx_m + rx_slope * d_km) / (tx_slope + rx_slope)
    above = tx_m + tx_slope * point - (tx_m * (d_km - point) + rx_m * point) / d_km
    return above * math.sqrt(0.002 * d_km / (wavelength_m * point * (d_km - point))), True


def _bullington_db(nu: float, d_km: float) -> float:
    """Knife edge plus the empirical correction for the rest of the path (P.526-15, section 4.5)."""
    edge = float(knife_edge_db(nu))
    return edge + (1.0 - math.exp(-edge / 6.0)) * (10.0 + 0.02 * d_km)


def _smooth_surface(x_km: np.ndarray, height_m: np.ndarray) -> tuple[float, float]:
    """Least-squares straight surface, its heights at both ends (P.526-15, section 4.5)."""
    step = np.diff(x_km)
    left, right = height_m[:-1], height_m[1:]
    d_km = float(x_km[-1])
    v1 = float(np.sum(step * (right + left)))
    v2 = float(np.sum(step * (right * (2 * x_km[1:] + x_km[:-1]) + left * (x_km[1:] + 2 * x_km[:-1]))))
    return (2.0 * v1 * d_km - v2) / d_km**2, (v2 - v1 * d_km) / d_km**2


def _effective_heights(
    inner_km: np.ndarray,
    inner_m: np.ndarray,
    d_km: float,
    tx_ground_m: float,
    rx_ground_m: float,
    tx_m: float,
    rx_m: float,
    tx_surface_m: float,
    rx_surface_m: float,
) -> tuple[float, float]:
    """Antenna heights above the smooth surface lowered under obstructions (P.526-15, section 4.5)."""
    above = inner_m - (tx_m * (d_km - inner_km) + rx_m * inner_km) / d_km
    highest = float(np.max(above))
    if highest > 0:
        tx_angle = float(np.max(above / inner_km))
        rx_angle = float(np.max(above / (d_km - inner_km)))
        tx_surface_m -= highest * tx_angle / (tx_angle + rx_angle)
        rx_surface_m -= highest * rx_angle / (tx_angle + rx_angle)
    return tx_m - min(tx_surface_m, tx_ground_m), rx_m - min(rx_surface_m, rx_ground_m)


def _spherical_db(
    d_km: float,
    tx_m: float,
    rx_m: float,
    radius_km: float,
    frequency_ghz: float,
    wavelength_m: float,
    polarization: Polarization,
) -> tuple[float, float, float, float]:
    """Spherical-Earth loss and its first-term parts (P.526-15, section 3.2)."""
    nothing = (0.0, math.nan, math.nan, math.nan)
    sight_km = math.sqrt(2.0 * radius_km) * (math.sqrt(0.001 * tx_m) + math.sqrt(0.001 * rx_m))
    if d_km >= sight_km:
        f_term, g_tx, g_rx = _first_term(d_km, tx_m, rx_m, radius_km, frequency_ghz, polarization)
        return -f_term - g_tx - g_rx, f_term, g_tx, g_rx
    # Smallest clearance over the curved Earth.
    m = 250.0 * d_km**2 / (radius_km * (tx_m + rx_m))
    c = (tx_m - rx_m) / (tx_m + rx_m)
    angle = math.acos(max(-1.0, min(1.0, 1.5 * c * math.sqrt(3.0 * m / (m + 1.0) ** 3))))
    b = 2.0 * math.sqrt((m + 1.0) / (3.0 * m)) * math.cos(math.pi / 3.0 + angle / 3.0)
    near = d_km / 2.0 * (1.0 + b)
    far = d_km - near
    tx_over_m, rx_over_m = tx_m - 500.0 * near**2 / radius_km, rx_m - 500.0 * far**2 / radius_km
    clearance = (tx_over_m * far + rx_over_m * near) / d_km
    needed = 17.456 * math.sqrt(near * far * wavelength_m / d_km)  # clearance that gives no loss
    if clearance > needed:
        return nothing
    # Radius at which the path would just graze, then interpolation between grazing and clear.
    grazing_km = 500.0 * (d_km / (math.sqrt(tx_m) + math.sqrt(rx_m))) ** 2
    f_term, g_tx, g_rx = _first_term(d_km, tx_m, rx_m, grazing_km, frequency_ghz, polarization)
    grazing_db = -f_term - g_tx - g_rx
    if grazing_db < 0:
        return 0.0, f_term, g_tx, g_rx
    return (1.0 - clearance / needed) * grazing_db, f_term, g_tx, g_rx


def _first_term(
    d_km: float, tx_m: float, rx_m: float, radius_km: float, frequency_ghz: float, polarization: Polarization
) -> tuple[float, float, float]:
    """Distance term F(X) and height gains G(Y) of the first residue (P.526-15, section 3.1.1.2)."""
    imaginary = 18.0 * LAND_CONDUCTIVITY_S_M / frequency_ghz
    k = 0.036 * (radius_km * frequency_ghz) ** (-1 / 3) * ((LAND_PERMITTIVITY - 1.0) ** 2 + imaginary**2) ** -0.25
    if polarization == "vertical":
        k *= math.sqrt(LAND_PERMITTIVITY**2 + imaginary**2)
    beta = (1.0 + 1.6 * k**2 + 0.67 * k**4) / (1.0 + 4.5 * k**2 + 1.53 * k**4)
    x = 21.88 * beta * (frequency_ghz / radius_km**2) ** (1 / 3) * d_km
    f_term = 11.0 + 10.0 * math.log10(x) - 17.6 * x if x >= 1.6 else -20.0 * math.log10(x) - 5.6488 * x**1.425
    gains = []
    for height_m in (tx_m, rx_m):
        y = beta * 0.9575 * beta * (frequency_ghz**2 / radius_km) ** (1 / 3) * height_m
        gain = (
            17.6 * math.sqrt(y - 1.1) - 5.0 * math.log10(y - 1.1) - 8.0
            if y > 2.0
            else 20.0 * math.log10(y + 0.1 * y**3)
        )
        gains.append(max(gain, 2.0 + 20.0 * math.log10(k)))
    return f_term, gains[0], gains[1]
