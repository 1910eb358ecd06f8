"""Look angles, curvature and formats against handbooks, closed forms and an independent library."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pymap3d
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siteplanner.core.constants import GEOSTATIONARY_RADIUS_M
from siteplanner.core.geodesy import (
    bearing_deg,
    curvature_drop_m,
    degrees_minutes,
    effective_earth_radius_m,
    look_angles,
    true_from_grid_deg,
    visible_arc_deg,
    wrap_180_deg,
    wrap_360_deg,
)

SPHERE_DEG = 0.1  # a handbook on a sphere against the ellipsoid: up to 0.19 deg of latitude, less in the angles


@pytest.mark.parametrize(
    ("latitude", "longitude", "satellite", "azimuth", "elevation"),
    [
        # pymap3d.ecef2aer, skyfield wgs84.latlon and astropy AltAz agree on these to 1e-9 deg
        (35, -100, -90, 162.89812, 47.99099),
        (38.5, -98, -103, 188.00629, 45.12818),
        (-33, 151, 160, 16.22800, 50.42396),  # south of the equator
        (60, 179, -175, 173.0767, 21.7733),  # across the 180th meridian
        # closed form: on the equator tan El = (cos b - a/r) / sin b
        (0, 10, 50, 90.0, 43.72394),
        (0, 10, -30, 270.0, 43.72394),
        # closed form on the meridian, WGS 84
        (40, 0, 0, 180.0, 43.7559),
        (-40, 0, 0, 0.0, 43.7559),
    ],
)
def test_look_angles_on_the_ellipsoid(latitude, longitude, satellite, azimuth, elevation):
    az, el, _ = look_angles(latitude, longitude, 0.0, satellite)
    assert az == pytest.approx(azimuth, abs=1e-4)
    assert el == pytest.approx(elevation, abs=1e-4)


@pytest.mark.parametrize(
    ("latitude", "longitude", "satellite", "azimuth", "elevation"),
    [
        (35, -100, -90, 162.9, 48.0),  # Roddy, Satellite Communications, 4th ed., examples 3.1 and 3.2, p. 83
        (52, 0, 66, 109.33, 5.85),  # Pratt, Bostian, Allnutt, example 2.2.1 (from memory)
    ],
)
def test_look_angles_of_handbooks_on_a_sphere(latitude, longitude, satellite, azimuth, elevation):
    az, el, _ = look_angles(latitude, longitude, 0.0, satellite)
    assert az == pytest.approx(azimuth, abs=SPHERE_DEG)
    assert el == pytest.approx(elevation, abs=SPHERE_DEG)


@given(st.floats(-80, 80), st.floats(-80, 80))
def test_look_angles_on_a_sphere_in_closed_form(latitude, difference):
    """Spherical triangle station, pole, point below the satellite: cos(c) = cos(lat) cos(dL), the azimuth from
    tan(dL) / sin(lat), the elevation from the orbit's and the Earth's radius. Worked out here, no source needed.
    """
    lat, d = math.radians(latitude), math.radians(difference)
    _, elevation, _ = look_angles(latitude, 0.0, 0.0, difference)
    apart = math.acos(math.cos(lat) * math.cos(d))
    if elevation < 5 or apart < math.radians(5):
        return
    up = math.degrees(math.atan2(math.cos(apart) - 6_371_000 / GEOSTATIONARY_RADIUS_M, math.sin(apart)))
    azimuth = math.degrees(math.atan2(math.sin(d), -math.sin(lat) * math.cos(d))) % 360
    found, elevation, _ = look_angles(latitude, 0.0, 0.0, difference)
    assert elevation == pytest.approx(up, abs=0.25)  # the ellipsoid's vertical leans 0.19 deg
    lean = 0.25 / math.sin(apart)  # near the point below the satellite a little lean turns the azimuth far
    assert (found - azimuth + 180) % 360 - 180 == pytest.approx(0, abs=lean)


@given(
    st.floats(-89, 89),
    st.floats(-180, 180),
    st.floats(-100, 5000),
    st.floats(-180, 180),
)
def test_look_angles_equal_an_independent_library(latitude, longitude, height, satellite):
    az, el, _ = look_angles(latitude, longitude, height, satellite)
    x = GEOSTATIONARY_RADIUS_M * math.cos(math.radians(satellite))
    y = GEOSTATIONARY_RADIUS_M * math.sin(math.radians(satellite))
    az_ref, el_ref, _ = pymap3d.ecef2aer(x, y, 0.0, latitude, longitude, height)
    assert el == pytest.approx(el_ref, abs=1e-6)
    if not math.isnan(az) and el_ref < 89.9:
        assert abs(wrap_180_deg(az - az_ref)) < 1e-5


def test_right_below_the_satellite_azimuth_and_skew_are_unknown():
    azimuth, elevation, skew = look_angles(0, 30, 0, 30)
    assert math.isnan(azimuth)
    assert math.isnan(skew)
    assert elevation == 90.0


def test_an_unknown_position_gives_unknown_angles():
    assert all(np.isnan(look_angles(np.nan, 10.0, 0.0, 20.0)))


def test_look_angles_broadcast():
    azimuth, elevation, skew = look_angles(np.array([[30.0], [40.0]]), -100.0, 0.0, np.array([-90.0, -100, -120]))
    assert azimuth.shape == elevation.shape == skew.shape == (2, 3)
    assert azimuth[1, 2] == look_angles(40.0, -100.0, 0.0, -120.0)[0]


@pytest.mark.parametrize(
    ("latitude", "longitude", "satellite", "skew"),
    [
        # angle between Earth's axis and the vertical, both projected normal to the ray, WGS 84 (closed form)
        (40, 0, 30, -31.003),
        (40, 0, -30, 31.003),
        (-40, 0, 30, 31.003),
        (-40, 0, -30, -31.003),
        # a notebook of Roddy's example 5.1 works 58.67 for this with a rounded pi; WGS 84 gives 58.636
        (18, -73, -105, 58.636),
        (38.5, -98, -98, 0.0),
        (-38.5, -98, -98, 0.0),
    ],
)
def test_skew_size_and_sign(latitude, longitude, satellite, skew):
    assert look_angles(latitude, longitude, 0.0, satellite)[2] == pytest.approx(skew, abs=1e-3)


def test_skew_seen_from_behind_the_dish():
    # The sign from first principles: stand behind the dish, face the satellite, right hand to the right.
    latitude, difference = math.radians(40), math.radians(30)  # satellite east of the station
    e2 = 0.00669437999014  # WGS 84
    n = 6378137 / math.sqrt(1 - e2 * math.sin(latitude) ** 2)
    station = np.array([n * math.cos(latitude), 0, n * (1 - e2) * math.sin(latitude)])
    satellite = 42164170.0 * np.array([math.cos(difference), math.sin(difference), 0])
    ray = (satellite - station) / np.linalg.norm(satellite - station)
    vertical = np.array([math.cos(latitude), 0, math.sin(latitude)])
    up = vertical - (vertical @ ray) * ray
    right = np.cross(ray, up)
    pole = np.array([0.0, 0.0, 1.0])
    clockwise = math.degrees(math.atan2(pole @ right / np.linalg.norm(right), pole @ up / np.linalg.norm(up)))
    assert clockwise < 0  # counter-clockwise in the north for a satellite to the east
    assert look_angles(40, 0, 0, 30)[2] == pytest.approx(clockwise, abs=1e-6)


@given(st.floats(5, 75), st.floats(5, 60))
def test_skew_is_near_the_simple_formula(latitude, difference):
    # tan = sin(dL) / tan(lat): for a satellite infinitely far away on a sphere, the station's vertical seen along
    # the equator's plane; closed form of the spherical triangle
    _, elevation, skew = look_angles(latitude, 0.0, 0.0, difference)
    simple = math.degrees(math.atan(math.sin(math.radians(difference)) / math.tan(math.radians(latitude))))
    if elevation > 0:
        assert -skew == pytest.approx(simple, abs=1.2)  # parallax of the near satellite, Earth radius / orbit


def test_height_hardly_moves_the_satellite():
    low, high = look_angles(40, -105, 0, -100), look_angles(40, -105, 3000, -100)
    assert abs(high[1] - low[1]) < 0.005
    assert high[1] != low[1]


def test_limit_of_visibility():
    # acos(6378.137 / 42164.17) = 81.2995 along the equator; geodetic 81.3282 along the meridian by root finding
    assert visible_arc_deg(0.0, 0.0, 0.0) == pytest.approx((-81.2995, 81.2995), abs=1e-4)
    assert visible_arc_deg(81.328, 20.0, 0.0)[1] - 20 < 1
    assert np.isnan(visible_arc_deg(81.3284, 20.0, 0.0)).all()


def test_no_satellite_stands_that_high():
    assert all(np.isnan(visible_arc_deg(40.0, 20.0, 50.0)))


@given(st.floats(-75, 75), st.floats(-180, 179), st.floats(-0.5, 40))
def test_the_arc_ends_where_the_elevation_says(latitude, longitude, least):
    ends = visible_arc_deg(latitude, longitude, least)
    if np.isnan(ends).any():
        assert look_angles(latitude, longitude, 0, longitude)[1] < least + 1e-6
        return
    for end, inward in zip(ends, (1, -1), strict=True):
        assert look_angles(latitude, longitude, 0, end)[1] == pytest.approx(least, abs=1e-6)
        if look_angles(latitude, longitude, 0, longitude)[1] > least + 0.5:
            assert look_angles(latitude, longitude, 0, end + 0.1 * inward)[1] > least


def test_the_arc_crosses_the_180th_meridian():
    west, east = visible_arc_deg(-40.0, 170.0, 10.0)
    assert west > 0 > east


def test_earth_curvature():
    # ITU-R P.526-15 section 2 with P.310: k = 4/3 of 6371 km is 8494.67 km
    assert effective_earth_radius_m() == pytest.approx(8_494_670, abs=5)
    assert effective_earth_radius_m(1.0) == 6_371_000
    # bulge d1 d2 / 2ka halfway over 10 and 20 km: 1.4715 and 5.8860 m; the drop is the same at d1 = d2
    assert curvature_drop_m(5_000) == pytest.approx(1.4715, abs=1e-4)
    assert curvature_drop_m(np.array([10_000.0]))[0] == pytest.approx(5.8860, abs=1e-4)
    # radio horizon 4.1218 sqrt(h) km (handbook 4.12): a mast of 30 m is cut off at 22.576 km
    assert curvature_drop_m(22_576) == pytest.approx(30.0, abs=0.01)


@pytest.mark.parametrize(
    ("dx", "dy", "bearing"), [(0, 1, 0), (1, 0, 90), (0, -1, 180), (-1, 0, 270), (1, 1, 45), (-1, 1, 315)]
)
def test_bearings(dx, dy, bearing):
    assert bearing_deg(dx, dy) == pytest.approx(bearing)


def test_no_step_has_no_bearing():
    assert math.isnan(bearing_deg(0, 0))


def test_convergence_sign():
    assert true_from_grid_deg(359.5, 1.0) == pytest.approx(0.5)  # grid north lies east of true north


@given(st.floats(-1e6, 1e6))
def test_wrapped_angles_stay_inside(angle):
    assert 0 <= wrap_360_deg(angle) < 360
    assert -180 <= wrap_180_deg(angle) < 180


def test_a_tiny_negative_angle_is_not_a_full_turn():
    assert wrap_360_deg(-1e-17) == 0.0


@pytest.mark.parametrize(
    ("latitude", "longitude", "decimals", "text"),
    [
        # m = 60 (x - floor x), closed form
        (38.889484, -77.035279, 5, "38° 53.36904′ N, 077° 02.11674′ W"),
        (38.889484, -105.1786, 3, "38° 53.369′ N, 105° 10.716′ W"),
        (36.999999, 0.0, 3, "37° 00.000′ N, 000° 00.000′ E"),  # 59.99994′ carries into the degree
        (-36.999999, 179.9999999, 3, "37° 00.000′ S, 180° 00.000′ E"),
        (-0.5, 190.25, 1, "00° 30.0′ S, 169° 45.0′ W"),
        (1.25, 2.75, 0, "01° 15′ N, 002° 45′ E"),
        (math.nan, 2.0, 3, "unknown"),
    ],
)
def test_degrees_and_minutes(latitude, longitude, decimals, text):
    assert degrees_minutes(latitude, longitude, decimals) == text


@given(st.floats(-89.99, 89.99), st.floats(-179.99, 179.99))
def test_no_sixty_minutes(latitude, longitude):
    assert " 60" not in degrees_minutes(latitude, longitude)


def test_geodesy_and_terrain_need_no_compiler():
    program = "import sys, siteplanner.core.geodesy, siteplanner.core.terrain; sys.exit('numba' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
