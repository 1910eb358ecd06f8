"""The county's deployment package as its receiver has it: unzipped, every part opened by a program that is not ours."""

from __future__ import annotations

import csv
import hashlib
import json
import logging
import re
import struct
import warnings
import xml.etree.ElementTree as ET
import zipfile

import gpxpy
import numpy as np
import pyogrio
import pytest
import rasterio
from pypdf import PdfReader

KML = "{http://www.opengis.net/kml/2.2}"  # OGC 07-147r2
RASTERS = ("ruling.tif", "ruling_bits.tif", "coverage.tif")

BARE = {"findings", "rasters", "limits_not_stated"}  # tables without shapes


@pytest.fixture(scope="module")
def package(county_folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("package")
    with zipfile.ZipFile(county_folder / "package.zip") as held:
        assert held.testzip() is None
        held.extractall(out)
    return out


def test_every_hash_of_the_manifest_is_that_of_its_file(package):
    manifest = json.loads((package / "manifest.json").read_text(encoding="utf-8"))
    rows = {row["file"]: row for row in manifest["files"]}
    assert set(rows) == {path.name for path in package.iterdir()} - {"manifest.json"}
    assert len(rows) == len(manifest["files"]) >= 15
    for name, row in rows.items():
        content = (package / name).read_bytes()
        assert (hashlib.sha256(content).hexdigest(), len(content)) == (row["sha256"], row["bytes"]), name


def test_the_readme_names_every_file_and_is_plain(package):
    text = (package / "README.txt").read_text(encoding="utf-8")
    for path in package.iterdir():
        if path.name != "README.txt":
            assert re.search(rf"^  {re.escape(path.name)}( |$)", text, re.M), path.name
    assert "Nothing here needs the Internet" in text
    assert not re.search(r"[<>{}\t]", text)


def test_every_layer_opens_without_a_word_from_gdal(package, county_plan, caplog):
    path = package / "package.gpkg"
    with warnings.catch_warnings(), caplog.at_level(logging.DEBUG):
        warnings.simplefilter("error")
        layers = [str(name) for name, _ in pyogrio.list_layers(path)]
        frames = {name: pyogrio.read_dataframe(path, layer=name) for name in layers if name != "layer_styles"}
        styles = pyogrio.read_dataframe(path, layer="layer_styles")
    assert [r.getMessage() for r in caplog.records if r.levelno >= logging.WARNING] == []
    wanted = {
        "spots",
        "routes",
        "last_legs",
        "footprints",
        "staging",
        "rejected_spots",
        "incident_area",
        "roads",
        "hazards",
        "keep_out",
        "power_lines",
        "must_serve",
        "ruling",
        "service",
    }
    assert wanted <= set(frames)
    for name, frame in frames.items():
        assert len(frame) > 0, name
        if name in BARE:
            continue
        assert frame.crs == county_plan.scene.elevation.crs, name
        assert frame.geometry.is_valid.all(), name
        assert np.isfinite(frame.total_bounds).all(), name
    # each layer has one style to open with, and it is readable XML for that very layer
    chosen = styles[styles["useAsDefault"].astype(bool)]
    assert sorted(chosen["f_table_name"]) == sorted(set(frames) - BARE)
    for _, row in chosen.iterrows():
        sld = ET.fromstring(row["styleSLD"])
        assert sld.tag.endswith("}StyledLayerDescriptor")
        assert any(e.text == row["f_table_name"] for e in sld.iter() if e.tag.endswith("}Name"))
    assert list(frames["spots"]["name"]) == [r.spot.name for r in county_plan.spots]


def _directories(data):
    """Each directory of a little-endian classic TIFF 6.0 file: (its offset, {tag: values})."""
    kinds = {3: "H", 4: "I"}  # SHORT, LONG
    assert data[:4] == b"II*\x00"
    (offset,) = struct.unpack_from("<I", data, 4)
    while offset:
        (count,) = struct.unpack_from("<H", data, offset)
        tags = {}
        for k in range(count):
            tag, kind, number = struct.unpack_from("<HHI", data, offset + 2 + 12 * k)
            if kind in kinds:
                size = struct.calcsize(kinds[kind]) * number
                at = offset + 10 + 12 * k
                where = at if size <= 4 else struct.unpack_from("<I", data, at)[0]
                tags[tag] = struct.unpack_from(f"<{number}{kinds[kind]}", data, where)
        yield offset, tags
        (offset,) = struct.unpack_from("<I", data, offset + 2 + 12 * count)


@pytest.mark.parametrize("name", RASTERS)
def test_rasters_are_cloud_optimised(package, name, caplog):
    """Tiled, overviews by halves, directories first and the smallest overview's data before the largest's: the layout
    of GDAL's COG driver, read from the bytes and held against what GDAL itself says."""
    with warnings.catch_warnings(), caplog.at_level(logging.DEBUG), rasterio.open(package / name) as source:
        warnings.simplefilter("error")
        assert source.driver == "GTiff"
        assert source.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert source.profile["tiled"]
        tile, shape, halves = source.block_shapes[0], source.shape, source.overviews(1)
        values = source.read(1)
    assert [r.getMessage() for r in caplog.records if r.levelno >= logging.WARNING] == []
    assert values.size > 0
    assert halves == [2**k for k in range(1, len(halves) + 1)]
    assert min(n / halves[-1] for n in shape) <= tile[0]  # the last overview is no more than a tile across
    data = (package / name).read_bytes()
    (size,) = re.search(rb"GDAL_STRUCTURAL_METADATA_SIZE=(\d{6}) bytes\n", data[:200]).groups()
    assert b"LAYOUT=IFDS_BEFORE_DATA" in data[: 60 + int(size)]
    found = list(_directories(data))
    offsets = [offset for offset, _ in found]
    assert offsets == sorted(offsets)
    assert len(found) == 1 + len(halves)
    tiles = [[o for o in tags[324] if o] for _, tags in found]  # TileOffsets; 0: empty tile
    assert all(322 in tags and 323 in tags for _, tags in found)  # TileWidth, TileLength
    assert max(offsets) < min(o for level in tiles for o in level)
    starts = [min(level) for level in reversed(tiles)]  # smallest overview first, full size last
    assert starts == sorted(starts)


def test_the_kml_is_well_formed_in_the_right_namespace(package, county_plan):
    root = ET.parse(package / "places.kml").getroot()
    assert root.tag == f"{KML}kml"
    assert all(e.tag.startswith(KML) for e in root.iter())
    names = [e.text for e in root.iter(f"{KML}name")]
    for ranked in county_plan.spots:
        assert f"Spot {ranked.spot.name}" in names
    # Placemark is a sequence: name, description, styleUrl, then the geometry (OGC 07-147r2, section 9.1)
    order = ["name", "description", "styleUrl", "Point", "LineString", "Polygon", "MultiGeometry"]
    styles = {f"#{e.get('id')}" for e in root.iter(f"{KML}Style")}
    marks = list(root.iter(f"{KML}Placemark"))
    assert len(marks) >= 2 * len(county_plan.spots) + 2
    for mark in marks:
        kinds = [order.index(child.tag.removeprefix(KML)) for child in mark]
        assert kinds == sorted(kinds)
        assert {e.text for e in mark.iter(f"{KML}styleUrl")} <= styles
    west, south, east, north = -113.4, 44.4, -112.7, 44.9  # around the invented county
    for e in root.iter(f"{KML}coordinates"):
        for triple in e.text.split():
            longitude, latitude = map(float, triple.split(",")[:2])
            assert west < longitude < east
            assert south < latitude < north
    for ring in root.iter(f"{KML}LinearRing"):
        corners = ring.find(f"{KML}coordinates").text.split()
        assert corners[0] == corners[-1]
        assert len(corners) >= 4


def test_the_gpx_reads_elsewhere_with_the_plan_s_places_and_lengths(package, county_plan):
    text = (package / "routes.gpx").read_text(encoding="utf-8")
    gpx = gpxpy.parse(text)
    assert gpx.version == "1.1"
    routes, tracks = {r.name: r for r in gpx.routes}, {t.name: t for t in gpx.tracks}  # other ways are routes as well
    for ranked in county_plan.spots:
        assert len(routes[f"Drive to spot {ranked.spot.name}"].points) >= 2
        track = tracks[f"Drive to spot {ranked.spot.name}"]
        # great-circle length of gpxpy against the plan's metres on its grid
        assert track.length_2d() == pytest.approx(ranked.evaluation.access.drive_distance_m, rel=0.01)
        last = track.segments[-1].points[-1]
        assert (last.latitude, last.longitude) == pytest.approx((ranked.spot.latitude, ranked.spot.longitude), abs=1e-6)
    again = gpxpy.parse(gpx.to_xml())
    assert [w.name for w in again.waypoints] == [w.name for w in gpx.waypoints]
    assert len(gpx.waypoints) >= len(county_plan.spots) + 1


def test_tables_sheets_and_map_are_whole(package, county_plan):
    record = json.loads((package / "plan.json").read_text(encoding="utf-8"))
    rows = list(csv.DictReader((package / "ranking.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert [r["name"] for r in rows] == [s["name"] for s in record["spots"]] == [r.spot.name for r in county_plan.spots]
    for sheet, most in (("commander", 1), ("driver", 2), ("crew", 2)):
        assert 1 <= len(PdfReader(package / f"{sheet}.pdf").pages) <= most
    page = (package / "map.html").read_text(encoding="utf-8")
    # nothing is fetched: neither by tag nor by style (a link to be clicked is no load)
    assert not re.search(r"""(?:<link[^>]*href|\bsrc)\s*=\s*["']?\s*(?:https?:)?//""", page)
    assert not re.search(r"""url\(\s*["']?\s*(?:https?:)?//""", page)
