"""Broken and hostile vector files and archives."""

from __future__ import annotations

import stat
import zipfile

import geopandas as gpd
import pytest
from shapely.geometry import LineString

from siteplanner.data import archives
from siteplanner.data.vectors import read_layer

from .conftest import LAT, LON, UTM
from .test_vectors import DRIVERS, NEAR, refused, shapefile_members, zipped

KML = (
    '<?xml version="1.0" encoding="UTF-8"?>{doctype}<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
    "<Placemark><name>{name}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>-84.2,36.5 -84.1,36.5 -84.1,36.6 "
    "-84.2,36.5</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
)


def many(tmp_path, ending, count=400):
    shapes = [LineString([(LON + i * 1e-5, LAT), (LON, LAT + i * 1e-5), (LON, LAT - 0.01)]) for i in range(count)]
    path = tmp_path / f"many.{ending}"
    gpd.GeoDataFrame({"name": ["n" * 30] * count}, geometry=shapes, crs=4326).to_file(path, driver=DRIVERS[ending])
    return path


@pytest.mark.parametrize("ending", ["geojson", "gpkg", "shp", "fgb", "kml"])
@pytest.mark.parametrize("share", [0.35, 0.8])
def test_cut_short(tmp_path, ending, share):
    path = many(tmp_path, ending)
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])
    refused(path, "cut short|damaged", kinds=["line"])


def test_cut_short_attributes(tmp_path):
    path = many(tmp_path, "shp").with_suffix(".dbf")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    refused(path.with_suffix(".shp"), "dbf part is cut short", kinds=["line"])


def test_missing_index(tmp_path):
    path = many(tmp_path, "shp")
    path.with_suffix(".shx").unlink()
    refused(path, "shx part", kinds=["line"])


def test_wrong_encoding(tmp_path):
    path = many(tmp_path, "geojson")
    path.write_bytes(path.read_bytes().replace(b"nnnnn", b"n\xe9n\xffn"))
    refused(path, "encoding", kinds=["line"])


def test_wrong_encoding_of_a_shapefile(tmp_path):
    path = many(tmp_path, "shp")
    path.with_suffix(".cpg").write_text("UTF-8")
    dbf = path.with_suffix(".dbf")
    dbf.write_bytes(dbf.read_bytes().replace(b"nnnnn", b"n\xe9n\xffn"))
    refused(path, "encoding", kinds=["line"])


@pytest.mark.parametrize(
    ("name", "content", "match"),
    [
        ("a.geojson", b"hello", "not what the ending promises"),
        ("a.txt", b"hello", "Unsupported vector format"),
        ("a.geojson", b"", "empty"),
        ("a.geojson", b'{"type": "Topology"}', "cannot be read"),
        (
            "a.geojson",
            b'{"type": "gdal_streamed_alg", "command_line": "gdal vector read /etc/passwd"}',
            "cannot be read",
        ),
        ("a.geojson", b"[1, 2, 3]", "not what the ending promises"),
        ("a.vrt", b"<OGRVRTDataSource><OGRVRTLayer name='x'/></OGRVRTDataSource>", "names other files"),
        ("a.kml", b"<OGRVRTDataSource><OGRVRTLayer name='x'/></OGRVRTDataSource>", "names other files"),
        ("a.gml", b"<?xml version='1.0'?><gml:FeatureCollection xmlns:gml='g'/>", "not read"),
        ("a.xml", b"<OGRWFSDataSource><URL>http://127.0.0.1/</URL></OGRWFSDataSource>", "names other files"),
        ("a.kml", b"<kml></kml><OGRVRTDataSource></OGRVRTDataSource>", "names other files"),
        ("a.gpx", b"<gpx><wpt lat='36'", "broken or cut short"),
        ("a.kml", b"<kml></kml><other></other>", "broken or cut short"),
        ("a.sqlite", b"SQLite format 3\x00" + b"\x00" * 100, "Unsupported vector format"),
        ("a.gpkg", b"SQLite format 3\x00" + b"\x00" * 52 + b"GPKG" + b"\x00" * 60, "damaged"),
        ("a.pbf", b"\x00\x00\x00\x0d\x0a\x09OSMHeader", "OpenStreetMap extract"),
        ("a.pbf", b"\x1a\x0bnot an extract", "not what the ending promises"),
        ("a.dbf", b"\x03abc", "Name the .shp file"),
        ("a.shp", b"\x00\x00\x27\x0a" + b"\x00" * 20, "damaged|missing|cut short"),
        ("a.csv", b"name,lat,lon\nx,1,2\n", "Unsupported vector format"),
    ],
)
def test_not_a_layer(tmp_path, name, content, match):
    path = tmp_path / name
    path.write_bytes(content)
    refused(path, match)


def test_only_local_files(tmp_path):
    refused(tmp_path / "none.shp", "no such file")
    refused(tmp_path, "folder")
    for text in (
        "https://example.org/a.geojson",
        "/vsicurl/https://example.org/a.geojson",
        "WFS:http://127.0.0.1/",
        "GeoJSON:http://127.0.0.1/a.geojson",
    ):
        refused(text, "Only local files|no such file")


def test_document_type_is_refused(tmp_path):
    path = tmp_path / "a.kml"
    path.write_text(KML.format(doctype='<!DOCTYPE kml [<!ENTITY x SYSTEM "file:///etc/passwd">]>', name="&x;"))
    refused(path, "document type")
    path.write_text(KML.format(doctype='<!DOCTYPE kml [<!ENTITY a "lol"><!ENTITY b "&a;&a;&a;">]>', name="&b;"))
    refused(path, "document type")
    path.write_text(KML.format(doctype="", name="plain"))
    assert list(read_layer(path, "area", target_crs=UTM, kinds={"polygon"}).frame["name"]) == ["plain"]


def test_virtual_layer_in_a_comment_is_refused_before_it_is_tried(tmp_path):
    path = tmp_path / "a.kml"
    path.write_text(KML.format(doctype="<!-- <OGRVRTDataSource><OGRVRTLayer/></OGRVRTDataSource> -->", name="plain"))
    refused(path, "names other files or hosts")


# --- archives


@pytest.mark.parametrize("odd", ["../up.shp", "/abs.shp", "a/../../up.shp", "C:/x.shp", "..\\up.shp", "a\x07.shp"])
def test_odd_paths(tmp_path, odd):
    path = tmp_path / "odd.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(odd, b"x")
    refused(path, "odd path")
    assert not list(tmp_path.parent.glob("up.shp"))


def test_links(tmp_path):
    path = tmp_path / "link.zip"
    with zipfile.ZipFile(path, "w") as archive:
        info = zipfile.ZipInfo("a.shp")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(info, "/etc/passwd")
    refused(path, "link")


def test_bomb_by_ratio(tmp_path):
    refused(zipped(tmp_path / "bomb.zip", {"a.shp": b"\x00" * 60_000_000}), "far more than its size")


def test_bomb_by_size(tmp_path, monkeypatch):
    monkeypatch.setattr(archives, "MAX_BYTES", 100_000)
    import random

    refused(zipped(tmp_path / "b.zip", {"a.shp": random.Random(1).randbytes(150_000)}), "far more than its size")


def test_size_that_lies(tmp_path):
    """The bytes that come out are counted, not those that the directory promises."""
    path = zipped(tmp_path / "lie.zip", {"a.shp": b"\x00" * 60_000_000})
    raw = path.read_bytes()
    size = (60_000_000).to_bytes(4, "little")
    assert size in raw
    path.write_bytes(raw.replace(size, (10).to_bytes(4, "little")))
    refused(path, "broken|far more|cut short|damaged|missing")


def test_too_many_members(tmp_path, monkeypatch):
    monkeypatch.setattr(archives, "MAX_FILES", 10)
    refused(zipped(tmp_path / "n.zip", {f"{i}.txt": b"" for i in range(11)}), "contains 11 files")


def test_broken_archive(tmp_path):
    path = zipped(tmp_path / "b.zip", shapefile_members(many(tmp_path, "shp")))
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    refused(path, "archive is broken", kinds=["line"])
    half = len(whole) // 3
    path.write_bytes(whole[:half] + bytes(b ^ 255 for b in whole[half : half + 200]) + whole[half + 200 :])
    refused(path, "archive is broken|cut short|damaged", kinds=["line"])


def test_archive_without_a_layer(tmp_path):
    refused(zipped(tmp_path / "t.zip", {"readme.txt": b"x"}), "no shapefile")
    refused(zipped(tmp_path / "t.kmz", {"readme.txt": b"x"}), "no .kml")


def test_virtual_layer_inside_a_kmz(tmp_path):
    path = zipped(tmp_path / "v.kmz", {"doc.kml": b"<OGRVRTDataSource/>"})
    error = refused(path, "In doc.kml: A layer that names other files or hosts")
    assert error.file == str(path)


def test_archive_leaves_nothing_behind(tmp_path, monkeypatch):
    import tempfile

    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    path = zipped(tmp_path / "ok.zip", shapefile_members(many(tmp_path, "shp")))
    read_layer(path, "roads", target_crs=UTM, kinds={"line"}, near=NEAR)
    refused(path, "No usable", kinds=["polygon"])
    assert not list(scratch.iterdir())
