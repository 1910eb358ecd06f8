"""Grid references: published points, and every point of the grid's reach by a second way of computing it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Transformer

from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid_reference import grid_reference


@pytest.mark.parametrize(
    ("latitude", "longitude", "reference"),
    [
        # GeoConvert -m -p 0, mgrs 1.6.0 and pyproj agree: truncated, never rounded
        (38.889484, -77.035279, "18SUJ2347906481"),
        (60.17, 24.94, "35VLG8570072126"),
        (-33.8568, 151.2153, "56HLH3490052288"),
    ],
)
def test_points_to_one_metre(latitude, longitude, reference):
    assert grid_reference(latitude, longitude) == reference


def test_the_manual_s_point():
    # GeoConvert manual: 33 deg 20 min N, 44 deg 24 min E lies in 38SMB4488
    found = grid_reference(33 + 20 / 60, 44.4)
    assert (found[:5], found[5:7], found[10:12]) == ("38SMB", "44", "88")


@pytest.mark.parametrize(
    ("latitude", "longitude", "square"),
    # zones that bend round Norway and Svalbard (mgrs 1.6.0; 33XTA95 also GeoConvert)
    [(60.0, 5.0, "32VKM"), (63.9, 5.5, "32VLR"), (72.5, 8.9, "31XFA"), (72.5, 9.0, "33XTA"), (72.5, 21.0, "35XKA")],
)
def test_zone_exceptions(latitude, longitude, square):
    assert grid_reference(latitude, longitude).startswith(square)


def test_usng_truncates():
    # FGDC-STD-011-2001: one point from 10 km to 1 m is 18SUJ20, 18SUJ2306, 18SUJ234064, 18SUJ23480647,
    # 18SUJ2348306479; the short forms are the long one cut
    to_wgs = Transformer.from_crs(32618, 4326, always_xy=True)
    longitude, latitude = to_wgs.transform(323_483.5, 4_306_479.5)
    found = grid_reference(latitude, longitude)
    assert found == "18SUJ2348306479"
    east, north = found[5:10], found[10:]
    for digits, short in ((1, "18SUJ20"), (2, "18SUJ2306"), (3, "18SUJ234064"), (4, "18SUJ23480647")):
        assert f"18SUJ{east[:digits]}{north[:digits]}" == short


COLUMNS = ("ABCDEFGH", "JKLMNPQR", "STUVWXYZ")
ROWS = "ABCDEFGHJKLMNPQRSTUV"
BANDS = "CDEFGHJKLMNPQRSTUVWXX"


def by_hand(latitude, longitude):
    """Zone, band, square and figures from UTM coordinates (DMA TM 8358.1: column sets repeat every three zones, row
    letters every two)."""
    zone = int((longitude + 180) // 6) + 1
    epsg = (32600 if latitude >= 0 else 32700) + zone
    east, north = Transformer.from_crs(4326, epsg, always_xy=True).transform(longitude, latitude)
    band = BANDS[int((latitude + 80) // 8)]
    column = COLUMNS[(zone - 1) % 3][int(east // 100_000) - 1]
    row = ROWS[(int(north // 100_000) + (5 if zone % 2 == 0 else 0)) % 20]
    return f"{zone:02d}{band}{column}{row}", east % 100_000, north % 100_000


@settings(deadline=None, max_examples=60)
@given(st.floats(-79.9, 55.9), st.floats(-179.99, 179.99))
def test_every_reference_agrees_with_utm_and_comes_back(latitude, longitude):
    from mgrs import MGRS

    if min(longitude % 6, -longitude % 6, latitude % 8, -latitude % 8) < 1e-6:
        return  # and so on the edge of a zone or band
    square, east, north = by_hand(latitude, longitude)
    if min(east % 1, 1 - east % 1, north % 1, 1 - north % 1) < 1e-3:
        return  # on the edge of a metre two libraries may differ
    found = grid_reference(latitude, longitude).zfill(15)
    assert found == f"{square}{math.floor(east):05d}{math.floor(north):05d}"
    back_lat, back_lon = MGRS().toLatLon(found)
    assert abs(back_lat - latitude) * 111_700 < 1.1  # truncated to a metre: less than one off
    assert abs(back_lon - longitude) * 111_400 * math.cos(math.radians(latitude)) < 1.1


@settings(deadline=None, max_examples=100)
@given(st.floats(-89.99, 89.99), st.floats(-179.99, 179.99))
def test_degrees_and_minutes_come_back(latitude, longitude):
    halves = degrees_minutes(latitude, longitude).replace("°", "").replace("′", "").replace(",", "").split()
    for (degrees, minutes, letter), value in zip((halves[:3], halves[3:]), (latitude, longitude), strict=True):
        assert float(minutes) < 60
        back = (float(degrees) + float(minutes) / 60) * (-1 if letter in "SW" else 1)
        assert back == pytest.approx(value, abs=0.0005 / 60 + 1e-9)


@pytest.mark.parametrize("latitude", [-1e-9, -1e-6, -4e-6, -9e-6])
def test_a_point_a_hair_south_of_the_equator_has_a_reference_that_can_be_read(latitude):
    """The library carries its northing to the next square, whose name belongs to no place."""
    from mgrs import MGRS

    back = MGRS().toLatLon(grid_reference(latitude, 0.0))
    assert back == pytest.approx((latitude, 0.0), abs=2e-5)
