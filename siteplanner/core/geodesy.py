"""Angles on the Earth: toward geostationary satellites, along the ground, and over its curve.

Longitudes and latitudes are geodetic WGS 84 degrees, east and north positive. Any longitude is taken modulo
360, so the 180th meridian is no border. All functions broadcast.
"""

from __future__ import annotations

import math

import numpy as np

from siteplanner.core.constants import (
    GEOSTATIONARY_RADIUS_M,
    MEAN_EARTH_RADIUS_M,
    MEDIAN_K_FACTOR,
    WGS84_FLATTENING,
    WGS84_SEMI_MAJOR_AXIS_M,
)

_OVERHEAD_M = 1e-3  # nearer than this to the zenith line, azimuth and skew have no meaning


def wrap_360_deg(angle_deg):
    """Angles brought to [0, 360). Unlike a bare modulo, a tiny negative angle does not become 360."""
    wrapped = np.mod(angle_deg, 360.0)
    return np.where(wrapped >= 360.0, 0.0, wrapped)[()]


def wrap_180_deg(angle_deg):
    """Angles brought to [-180, 180), as longitudes and differences of bearings are written."""
    return wrap_360_deg(np.asarray(angle_deg, float) + 180.0) - 180.0


def _station(latitude_deg, height_m):
    """Distance from the axis and from the equator's plane, metres (geodetic to Earth-centred)."""
    latitude = np.radians(latitude_deg)
    e2 = WGS84_FLATTENING * (2 - WGS84_FLATTENING)
    n = WGS84_SEMI_MAJOR_AXIS_M / np.sqrt(1 - e2 * np.sin(latitude) ** 2)
    return (n + height_m) * np.cos(latitude), (n * (1 - e2) + height_m) * np.sin(latitude)


def look_angles(latitude_deg, longitude_deg, height_m, satellite_longitude_deg):
    """Azimuth, elevation and polarization skew of a dish toward a geostationary satellite.

    Broadcasts; `height_m` is above the ellipsoid (a height above sea level is as good: 100 m move the
    elevation by less than 0.0001 degrees). Returns `(azimuth_deg, elevation_deg, skew_deg)`:

    - azimuth: true, clockwise from north, [0, 360). NaN right below the satellite.
    - elevation: above the plane normal to the ellipsoid, geometric; negative: below the horizon. Refraction
      raises the apparent satellite by some 0.1 degrees at 8 degrees (from memory), less higher up; left out.
    - skew: angle of the Earth's axis against the local vertical, both projected normal to the ray, in
      [-90, 90]. Seen from **behind the dish, facing the satellite**: positive is clockwise. North of the
      equator a satellite to the east of the station's meridian gives a negative skew, to the west a positive
      one; south of the equator the reverse. It is the tilt of a nominal linear polarization; an operator may
      add a constant offset of the satellite's own. NaN right below the satellite.

    The station is taken to Earth-centred and the ray to east, north, up coordinates (any handbook of
    geodesy); exact on WGS 84 with the satellite in the equator's plane at 42 164 170 m.
    """
    latitude = np.radians(np.asarray(latitude_deg, float))
    difference = np.radians(wrap_180_deg(np.asarray(satellite_longitude_deg, float) - np.asarray(longitude_deg, float)))
    axis_m, equator_m = _station(latitude_deg, height_m)
    # in the station's own meridian: x outward in the equator's plane, y east, z north
    x = GEOSTATIONARY_RADIUS_M * np.cos(difference) - axis_m
    y = GEOSTATIONARY_RADIUS_M * np.sin(difference)
    z = -equator_m
    sin_lat, cos_lat = np.sin(latitude), np.cos(latitude)
    east = y
    north = -sin_lat * x + cos_lat * z
    up = cos_lat * x + sin_lat * z
    level = np.hypot(east, north)
    elevation_deg = np.degrees(np.arctan2(up, level))
    overhead = level < _OVERHEAD_M
    azimuth_deg = np.where(overhead, np.nan, wrap_360_deg(np.degrees(np.arctan2(east, north))))

    # Looking along the ray with the vertical upright, "up" is the vertical's part normal to the ray and
    # "right" is ray x up. The axis is (0, cos, sin) in east, north, up; both parts below carry the same
    # positive factor, which atan2 drops.
    distance = np.hypot(level, up)
    axis_up = sin_lat * distance**2 - up * (cos_lat * north + sin_lat * up)
    axis_right = -cos_lat * east * distance
    # A polarization is a line, not an arrow: fold the half turn that appears south of the equator.
    folded = np.where(axis_up < 0, -axis_right, axis_right)
    skew_deg = np.where(overhead, np.nan, np.degrees(np.arctan2(folded, np.abs(axis_up))))
    return azimuth_deg[()], elevation_deg[()], skew_deg[()]


def slant_range_m(latitude_deg, longitude_deg, height_m, satellite_longitude_deg):
    """Distance from a station to a geostationary satellite, metres; broadcasts, whether or not it is in view.

    Station and satellite in Earth-centred coordinates as in `look_angles`; exact on WGS 84.
    """
    difference = np.radians(wrap_180_deg(np.asarray(satellite_longitude_deg, float) - np.asarray(longitude_deg, float)))
    axis_m, equator_m = _station(latitude_deg, height_m)
    level = GEOSTATIONARY_RADIUS_M**2 + axis_m**2 - 2 * GEOSTATIONARY_RADIUS_M * axis_m * np.cos(difference)
    return np.sqrt(level + equator_m**2)[()]


def visible_arc_deg(latitude_deg, longitude_deg, min_elevation_deg):
    """Orbital longitudes between which satellites stand at least so high, at height 0.

    Returns `(west_deg, east_deg)` in [-180, 180); the arc runs eastward from the first to the second and may
    cross the 180th meridian (then west > east). NaN where no satellite stands that high.

    Elevation E at the longitude difference D satisfies (r cos(lat) cos D - m)^2 = sin^2 E (r^2 + R^2 -
    2 r p cos D) with p the station's distance from the axis, R from the centre, m its projection on the
    vertical: a quadratic in cos D (own derivation from the WGS 84 vectors of `look_angles`).
    """
    latitude = np.radians(np.asarray(latitude_deg, float))
    sine = np.sin(np.radians(np.asarray(min_elevation_deg, float)))
    p, equator_m = _station(latitude_deg, 0.0)
    cosine = np.cos(latitude)
    m = p * cosine + equator_m * np.sin(latitude)
    r = GEOSTATIONARY_RADIUS_M
    # the discriminant with its equal terms already cancelled: at E = 0 rounding would make it negative
    root = sine * np.sqrt((p * sine) ** 2 - 2 * p * m * cosine + (r**2 + p**2 + equator_m**2) * cosine**2)
    with np.errstate(invalid="ignore", divide="ignore"):
        cos_difference = (m * cosine - p * sine**2 + root) / (r * cosine**2)
        half_deg = np.degrees(np.arccos(np.where(np.abs(cos_difference) <= 1, cos_difference, np.nan)))
    longitude = np.asarray(longitude_deg, float)
    return wrap_180_deg(longitude - half_deg), wrap_180_deg(longitude + half_deg)


def effective_earth_radius_m(k_factor=MEDIAN_K_FACTOR):
    """Radius of an Earth over which radio rays are straight: k x 6371 km (ITU-R P.526-15, section 2)."""
    return k_factor * MEAN_EARTH_RADIUS_M


def curvature_drop_m(distance_m, k_factor=MEDIAN_K_FACTOR):
    """How far the ground sinks below the tangent plane: d^2 / (2 k a), for distances small against a."""
    return np.asarray(distance_m, float)[()] ** 2 / (2 * effective_earth_radius_m(k_factor))


def bearing_deg(dx, dy):
    """Bearing of a step (dx east, dy north), clockwise from north, [0, 360); NaN for no step at all.

    In grid metres the result is a grid bearing: see `true_from_grid_deg`.
    """
    dx, dy = np.asarray(dx, float), np.asarray(dy, float)
    angle = wrap_360_deg(np.degrees(np.arctan2(dx, dy)))
    return np.where((dx == 0) & (dy == 0), np.nan, angle)[()]


def true_from_grid_deg(grid_bearing_deg, convergence_deg):
    """True bearing of a grid bearing: grid + convergence (convergence: grid north east of true north)."""
    return wrap_360_deg(np.asarray(grid_bearing_deg, float) + convergence_deg)


def whole_degrees_and_minutes(angle_deg: float, decimals: int = 3) -> tuple[int, float]:
    """The size of an angle as whole degrees and decimal minutes, rounded to `decimals` of a minute.

    Rounded as one whole number of the smallest unit, so that 59.9996 minutes carry into the degrees.
    """
    unit = 10**decimals
    degrees, rest = divmod(math.floor(abs(angle_deg) * 60 * unit + 0.5), 60 * unit)
    return degrees, rest / unit


def _degrees_minutes(angle_deg: float, digits: int, decimals: int, letters: str) -> str:
    degrees, minutes = whole_degrees_and_minutes(angle_deg, decimals)
    width = 2 if decimals == 0 else 3 + decimals
    return f"{degrees:0{digits}d}° {minutes:0{width}.{decimals}f}′ {letters[angle_deg < 0]}"


def degrees_minutes(latitude_deg: float, longitude_deg: float, decimals: int = 3) -> str:
    """Degrees and decimal minutes as crews read them aloud: `38° 53.369′ N, 077° 02.117′ W`.

    Rounding carries (36.999999 is 37° 00.000′, never 36° 60.000′). An unknown position gives `unknown`.
    """
    if not (math.isfinite(latitude_deg) and math.isfinite(longitude_deg)):
        return "unknown"
    longitude = float(longitude_deg)
    if abs(longitude) > 180:
        longitude = float(wrap_180_deg(longitude))
    return (
        f"{_degrees_minutes(float(latitude_deg), 2, decimals, 'NS')}, {_degrees_minutes(longitude, 3, decimals, 'EW')}"
    )
