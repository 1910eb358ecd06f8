"""Working CRS, area on known ground, plausible points and numbers."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from affine import Affine
from pyproj import CRS
from shapely.geometry import Point, box

from siteplanner.data import records
from siteplanner.data.grid import Grid
from siteplanner.data.rasters import Elevation, metric_crs
from siteplanner.data.records import Held, InputRecord, extent_words, sha256_of
from siteplanner.data.vetting import (
    check_target_crs,
    elevation_covers,
    plausible_area,
    plausible_staging,
    points_on_ground,
    satellites_in_sight,
    scale_findings,
    usable_numbers,
)
from siteplanner.errors import InputError
from siteplanner.planning.telling.findings import said

from .conftest import LAT, LON, UTM

AREA = box(LON - 0.01, LAT - 0.01, LON + 0.01, LAT + 0.01)


def elevation(values=None) -> Elevation:
    values = np.full((100, 100), 300, np.float32) if values is None else values
    record = InputRecord("elevation", "g.tif", "0" * 64, "EPSG:32616", "m", (0, 0, 0, 0), 1, Held("features"))
    return Elevation(Grid(values, Affine(10, 0, 0, 0, -10, 1000), UTM), (record,), (), 10.0)


# --- zones


@pytest.mark.parametrize(
    ("lon", "lat", "epsg"),
    [
        (-84.2, 36.55, 32616),
        (-180, 10, 32601),
        (179.9, -10, 32760),
        (180, 10, 32601),
        (275.8, 36.55, 32616),
        (0, 0, 32631),
        (-0.001, -0.001, 32730),
        (6.0, 50, 32632),
        (5.999, 50, 32631),
        # south-west Norway: zone 32 from 3 E between 56 and 64 N; DMA TM 8358.1, chapter 2-2
        (5.32, 60.39, 32632),
        (2.99, 60, 32631),
        (5.32, 55.99, 32631),
        (5.32, 64.0, 32631),
        (3.0, 56.0, 32632),
        # Svalbard from 72 N: zones 31, 33, 35, 37 meet at 9, 21, 33 E; same source
        (8.99, 78, 32631),
        (9.0, 78, 32633),
        (15.6, 78.2, 32633),
        (21.0, 78, 32635),
        (33.0, 80, 32637),
        (41.9, 80, 32637),
        (15.6, 71.99, 32633),
        (42.0, 78, 32638),
        (-5, 78, 32630),
        (0, 84, 32631),
        (0, -80, 32731),
    ],
)
def test_utm_zone(lon, lat, epsg):
    assert metric_crs(lon, lat).to_epsg() == epsg


def test_utm_zone_against_pyproj():
    """pyproj's own data base of areas of use is the second opinion, away from the exceptions."""
    from pyproj.aoi import AreaOfInterest
    from pyproj.database import query_utm_crs_info

    for lon, lat in [(-123.1, 49.3), (151.2, -33.9), (-43.2, -22.9), (139.7, 35.7), (18.4, -33.9), (24.94, 60.17)]:
        (info,) = query_utm_crs_info(datum_name="WGS 84", area_of_interest=AreaOfInterest(lon, lat, lon, lat))
        assert metric_crs(lon, lat).to_epsg() == int(info.code)


@pytest.mark.parametrize(("lon", "lat"), [(0, 84.01), (0, -80.01), (0, 90), (np.nan, 0), (0, 91)])
def test_beyond_utm(lon, lat):
    with pytest.raises(InputError, match=r"beyond UTM|not a place on Earth") as caught:
        metric_crs(lon, lat)
    assert caught.value.field
    if lat in (84.01, 90):
        assert "EPSG:32661" in caught.value.remedy


# --- the mission's own CRS


@pytest.mark.parametrize("text", ["EPSG:32616", "EPSG:26916", "EPSG:5070", "EPSG:32661", "EPSG:26916+5703"])
def test_metric_crs_is_taken(text):
    crs = check_target_crs(text)
    assert crs.is_projected
    assert len(crs.axis_info) == 2


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("EPSG:4326", "in degrees"),
        ("EPSG:4979", "in degrees"),
        ("EPSG:2274", "US survey foot"),
        ("EPSG:2222", "foot"),
        ("EPSG:4978", "not a map projection"),
        ("EPSG:5703", "not a map projection"),
        ("utm 16", "not a coordinate"),
        ("", "not a coordinate"),
        ("EPSG:999999", "not a coordinate"),
        ("+proj=utm +zone=12 +nadgrids=http://127.0.0.1:1/a.gsb", "names another file"),
        ("+init=/etc/passwd:1", "names another file"),
    ],
)
def test_other_crs_is_refused(text, match):
    with pytest.raises(InputError, match=match) as caught:
        check_target_crs(text)
    assert caught.value.field == "crs"
    assert "UTM" in caught.value.remedy


def test_web_mercator_is_not_true_to_size():
    """Its scale is 1 / cos(latitude) on the sphere: Snyder, USGS PP 1395 (1987), eq. 7-3."""
    with pytest.raises(InputError, match=r"wrong by 24\.\d %") as caught:
        scale_findings(CRS.from_epsg(3857), AREA)
    assert 1 / np.cos(np.radians(LAT)) == pytest.approx(1.245, abs=0.001)
    assert caught.value.field == "crs"
    assert scale_findings(UTM, AREA) == ()
    assert scale_findings(CRS.from_epsg(2274), AREA) == ()
    (finding,) = scale_findings(CRS.from_epsg(5070), box(-80.2, 25.1, -80.0, 25.3))  # Albers, south of its lines
    assert finding.code == "crs_scale"


# --- area and elevation (the grid lies at 0..1000 m)


def test_area_wholly_on_the_ground():
    assert elevation_covers(box(100, 100, 900, 900), elevation()) == ()


def test_area_partly_outside():
    (finding,) = elevation_covers(box(500, 0, 1500, 1000), elevation())
    assert finding.code == "area_without_elevation"
    assert said(finding).message.startswith("50.0 %")
    assert finding.file == "g.tif"


def test_area_partly_on_unknown_cells():
    values = np.full((100, 100), 300, np.float32)
    values[:, 75:] = np.nan
    (finding,) = elevation_covers(box(0, 0, 1000, 1000), elevation(values))
    assert said(finding).message.startswith("25.0 %")


@pytest.mark.parametrize("area", [box(2000, 0, 3000, 1000), box(60, 60, 140, 140), box(91, 91, 92, 92)])
def test_area_wholly_unknown(area):
    values = np.full((100, 100), 300, np.float32)
    values[80:, :20] = np.nan
    with pytest.raises(InputError, match="100 % of the incident area") as caught:
        elevation_covers(area, elevation(values))
    assert caught.value.field == "layers.elevation"
    assert caught.value.file == "g.tif"


def test_area_smaller_than_a_cell():
    assert elevation_covers(box(501, 501, 502, 502), elevation()) == ()


def test_points_off_the_ground_are_named():
    frame = gpd.GeoDataFrame({"name": ["camp", "post"]}, geometry=[Point(500, 500), Point(5000, 500)], crs=UTM)
    (finding,) = points_on_ground(frame, elevation(), "must serve")
    assert finding.code == "must_serve_off_ground"
    assert "1 of 2" in said(finding).message
    assert "post" in said(finding).message
    assert "camp" not in said(finding).message
    assert points_on_ground(frame.iloc[:1], elevation(), "must serve") == ()
    assert points_on_ground(frame.iloc[:0], elevation(), "must serve") == ()


@pytest.mark.parametrize(
    ("lon", "lat", "match"),
    [(LAT, LON, "exchanged"), (-LON, LAT, "sign of the longitude"), (LON, -LAT, "sign of the latitude")],
)
def test_staging_with_a_slip(lon, lat, match):
    with pytest.raises(InputError, match=match) as caught:
        plausible_staging(lon, lat, AREA)
    assert caught.value.field == "staging"


def test_staging_near_and_far():
    assert plausible_staging(LON + 0.5, LAT, AREA) == ()
    (finding,) = plausible_staging(LON + 8, LAT, AREA)
    assert finding.code == "staging_far_away"


def test_area_of_odd_size():
    assert plausible_area(box(0, 0, 3000, 3000)) == ()
    assert plausible_area(box(0, 0, 2, 2))[0].code == "area_tiny"
    assert plausible_area(box(0, 0, 90_000, 90_000))[0].code == "area_huge"


def test_numbers_of_a_column():
    frame = gpd.GeoDataFrame({"voltage_kv": ["115", None, "", "115000", "high", "-3"]}, geometry=[Point(0, 0)] * 6)
    (finding,) = usable_numbers(frame, "voltage_kv", 0, 1200, "lines.shp", "Are they volts?")
    assert finding.code == "voltage_kv_doubtful"
    assert said(finding).message.startswith("3 values")
    assert "'115000'" in said(finding).message
    assert said(finding).remedy == "Are they volts?"
    assert usable_numbers(frame, "none", 0, 1, "f") == ()
    assert usable_numbers(frame.iloc[:3], "voltage_kv", 0, 1200, "f") == ()


# --- records


def test_fingerprint(tmp_path):
    """FIPS 180-4 example: SHA-256 of "abc"."""
    path = tmp_path / "a.bin"
    path.write_bytes(b"abc")
    assert sha256_of(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_file_that_has_not_changed_is_read_once(tmp_path, monkeypatch):
    """One written a moment ago is read each time: a change within the clock's step could not be told."""
    path = tmp_path / "a.bin"
    path.write_bytes(b"abc")
    read = []
    digest = records._digest
    monkeypatch.setattr(records, "_digest", lambda files: (read.append(files), digest(files))[1])
    fresh = [sha256_of(path), sha256_of(path)]
    assert len(read) == 2
    later = records.time.time_ns() + 10 * records._FRESH_NS
    monkeypatch.setattr(records.time, "time_ns", lambda: later)
    assert [sha256_of(path), sha256_of(str(path))] == fresh
    assert len(read) == 3
    path.write_bytes(b"abd")  # of the same size
    assert sha256_of(path) != fresh[0]
    shape = tmp_path / "s.shp"
    shape.write_bytes(b"1")
    (tmp_path / "s.dbf").write_bytes(b"2")
    before = sha256_of(shape)
    (tmp_path / "s.dbf").write_bytes(b"3")
    assert sha256_of(shape) != before


def test_extent_in_words():
    assert extent_words((-84.5, -10, 3.25, 36.5)) == (
        "longitude 84.5000 W to 3.2500 E, latitude 10.0000 S to 36.5000 N"
    )


def test_a_satellite_with_the_sign_turned_is_told():
    sign = -1 if LON < 0 else 1
    assert satellites_in_sight({"good": LON + 5, "bad": -LON}, AREA, "f") == ()
    (finding,) = satellites_in_sight({"slot": LON + 180}, AREA, "f")
    assert finding.severity == "check"
    (finding,) = satellites_in_sight({"slot": -sign * abs(LON)}, AREA, "f")
    assert f"{LON:g}" in said(finding).message
