"""A radio link between two points: line of sight over the profile, Fresnel clearance, loss.

Rays are straight over an Earth of k x 6371 km (ITU-R P.526-15, section 2). Heights are metres above sea level,
distances metres along the path from the first antenna.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.constants import MEDIAN_K_FACTOR
from siteplanner.core.geodesy import effective_earth_radius_m
from siteplanner.core.propagation import diffraction_db, free_space_db, fresnel_radius_m


@dataclass(frozen=True)
class Clearance:
    """The tightest place of a path. Shares are of the first Fresnel radius there; below 0: the ground blocks.

    Of the known points only: with `complete` False the true worst may be worse, never better.
    """

    share: float  # NaN: no point is known
    at_m: float  # its distance from the first antenna
    clearance_m: float  # height of the ray above the ground there
    radius_m: float  # first Fresnel radius there
    complete: bool  # every point between the ends is known, and both ends
    unknown_from_m: float  # distance of the first unknown point; NaN: none


def ray_heights_m(
    distance_m: ArrayLike, first_m: float, last_m: float, k_factor: float = MEDIAN_K_FACTOR
) -> np.ndarray:
    """Height of the ray above sea level at each distance, less the Earth's bulge d1 d2 / 2ka.

    distance_m: (n,) rising; the ends are the antennas at `first_m` and `last_m` above sea level. What it leaves above
    the ground is the clearance. The bulge is that of ITU-R P.526-15 section 4.5.
    """
    d = np.asarray(distance_m, float)
    d = d - d[0]
    straight = first_m + (last_m - first_m) * d / d[-1]
    return straight - d * (d[-1] - d) / (2.0 * effective_earth_radius_m(k_factor))


def clearance(
    distance_m: ArrayLike,
    height_m: ArrayLike,
    first_height_m: float,
    last_height_m: float,
    frequency_mhz: float,
    k_factor: float = MEDIAN_K_FACTOR,
) -> Clearance:
    """The worst clearance of a path as a share of the first Fresnel radius, and where.

    distance_m: (n,) rising, n >= 3. height_m: (n,) ground or what stands on it, NaN where unknown; the ends carry the
    antennas at `first_height_m`, `last_height_m` above the ground. Radius sqrt(lambda d1 d2 / d) (P.526-15 section 2).
    Where an end is unknown nothing can be said: share NaN. Raises ValueError for shapes that do not fit.
    """
    d, z = np.asarray(distance_m, float), np.asarray(height_m, float)
    if d.ndim != 1 or d.shape != z.shape or d.size < 3 or not np.all(np.diff(d) > 0):
        raise ValueError("distance_m must rise, with one height each and at least 3 points")
    nothing = math.nan
    unknown = np.isnan(z)
    first_unknown = float(d[unknown][0] - d[0]) if unknown.any() else nothing
    if unknown[0] or unknown[-1] or unknown[1:-1].all():
        return Clearance(nothing, nothing, nothing, nothing, False, first_unknown)
    d = d - d[0]
    room = ray_heights_m(d, z[0] + first_height_m, z[-1] + last_height_m, k_factor)[1:-1] - z[1:-1]
    radius = fresnel_radius_m(d[1:-1], d[-1] - d[1:-1], frequency_mhz)
    worst = int(np.nanargmin(room / radius))
    return Clearance(
        float(room[worst] / radius[worst]),
        float(d[1 + worst]),
        float(room[worst]),
        float(radius[worst]),
        not unknown.any(),
        first_unknown,
    )


def basic_loss_db(
    distance_m: ArrayLike,
    height_m: ArrayLike,
    first_height_m: float,
    last_height_m: float,
    frequency_mhz: float,
    k_factor: float = MEDIAN_K_FACTOR,
) -> float:
    """Basic transmission loss, dB: free space over the slant length (P.525-4) and delta-Bullington diffraction
    (P.526-15 section 4.5). NaN where a height is NaN. Arguments and Raises as `propagation.diffraction_db`.
    """
    d, z = np.asarray(distance_m, float), np.asarray(height_m, float)
    rise = z[-1] + last_height_m - z[0] - first_height_m
    slant = math.hypot(float(d[-1] - d[0]), float(rise)) if math.isfinite(rise) else math.nan
    if not math.isfinite(slant):
        return math.nan
    return float(free_space_db(slant, frequency_mhz)) + diffraction_db(
        d, z, first_height_m, last_height_m, frequency_mhz, k_factor
    )


def elevation_angle_deg(distance_m: float, first_m: float, last_m: float, k_factor: float = MEDIAN_K_FACTOR) -> float:
    """Angle above the level at which the ray leaves the first antenna: atan(rise / d - d / 2ka), both heights above
    sea level. NaN where a height is."""
    return math.degrees(
        math.atan((last_m - first_m) / distance_m - distance_m / (2.0 * effective_earth_radius_m(k_factor)))
    )
