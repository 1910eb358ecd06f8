"""The GIS package of a real plan, opened as GIS staff would: every column kept, every figure told again by hand."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import xml.etree.ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
from shapely import contains_xy
from shapely.geometry import Polygon, box

from siteplanner import load_mission, plan
from siteplanner.data.records import sha256_of
from siteplanner.outputs.gis.columns import share_column
from siteplanner.outputs.gis.geopackage import TITLES
from siteplanner.outputs.gis.qml import ROOT
from siteplanner.outputs.gis.styles import STYLES
from siteplanner.outputs.words.palettes import SERVICE_CLASSES, rgb
from siteplanner.outputs.write import write_outputs
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.units import reader_units
from tests.planning.conftest import CRS, at
from tests.planning.test_options import two_camps

WANTED = ["plan.json", "ranking.csv", "judged.csv", "coverage.tif", "service_*.tif", "set_service.tif",
          "set_server.tif", "package.gpkg", "places.kml"]  # fmt: skip


@pytest.fixture(scope="module")
def county(tmp_path_factory):
    """The valley with two camps; its area has two polygons and columns of the user's own."""
    folder = tmp_path_factory.mktemp("county")
    path = two_camps(folder)
    west = Polygon([at(1300, 1200), at(1795, 1200), at(1795, 1700), at(1300, 1650)])
    gpd.GeoDataFrame(
        {
            "name": ["West bench", "East bench"],
            "weight": [3.0, 1.0],
            "people": [620, 45],
            "District": ["North =1+1", None],
            "served_share": [1, 2],  # called like one of ours
            "surveyed": [True, False],
        },
        geometry=[west, box(*at(1805, 1200), *at(2300, 1700))],
        crs=CRS,
    ).to_file(folder / "area.gpkg", driver="GPKG")
    return path


@pytest.fixture(scope="module")
def made(county):
    return plan(load_mission(county))


@pytest.fixture(scope="module")
def folder(made, tmp_path_factory):
    out = tmp_path_factory.mktemp("written")
    write_outputs(made, out, only=WANTED)
    return out


def layer(folder, name):
    return pyogrio.read_dataframe(folder / "package.gpkg", layer=name)


def rows_of(folder, query):
    base = sqlite3.connect(folder / "package.gpkg")
    try:
        return base.execute(query).fetchall()
    finally:
        base.close()


def test_the_incident_area_keeps_every_column_and_says_what_is_served(folder, made):
    frame = layer(folder, "incident_area")
    assert frame["name"].tolist() == ["West bench", "East bench"]
    assert frame["weight"].tolist() == [3.0, 1.0]
    assert frame["people"].tolist() == [620, 45]
    assert frame["District"].fillna("").tolist() == ["North =1+1", ""]
    assert frame["surveyed"].tolist() == [True, False]
    assert frame["served_share_given"].tolist() == [1, 2]  # theirs beside ours
    service = made.best.evaluation.coverage.service.polygons
    assert frame["served_share"].tolist() == pytest.approx([p.share for p in service], abs=1e-4)
    assert frame["people_counted"].tolist() == [620, 45]
    expected = [p.share * people for p, people in zip(service, (620, 45), strict=True)]
    assert frame["people_served"].tolist() == pytest.approx(expected, abs=0.06)
    assert set(frame["served_by"]) == {made.best.spot.name}
    pair = made.sets[2]
    assert frame["set_served_share"].tolist() == pytest.approx([p.share for p in pair.polygons], abs=1e-4)
    assert set(frame["set_served_by"]) == {" + ".join(r.spot.name for r in pair.spots)}
    assert frame["area_km2"].tolist() == pytest.approx(frame.geometry.area / 1e6, abs=1e-4)


def zonal(raster, frame):
    """Mean of the cells whose centres lie in each polygon, read and tested cell by cell."""
    with rasterio.open(raster) as held:
        values, to = held.read(1).astype(float), held.transform
        nodata = held.nodata
    if nodata is not None and not np.isnan(nodata):
        values[values == nodata] = np.nan
    rows, cols = np.indices(values.shape)
    x, y = to.c + (cols + 0.5) * to.a, to.f + (rows + 0.5) * to.e
    out = []
    for shape in frame.geometry:
        inside = contains_xy(shape, x, y) & np.isfinite(values)
        out.append(float(values[inside].mean()))
    return out


def test_shares_are_those_of_the_raster(folder):
    """Zonal statistics of coverage.tif over the layer, against plan.json and the layer's own column."""
    frame = layer(folder, "incident_area")
    record = json.loads((folder / "plan.json").read_text("utf-8"))
    told = record["spots"][0]["service"]["polygons"]
    found = zonal(folder / "coverage.tif", frame)
    assert [p["name"] for p in told] == frame["name"].tolist()
    assert [p["share"] for p in told] == pytest.approx(
        found, abs=1e-5
    )  # a centre on the very edge may fall to either side
    assert [p["people_served"] for p in told] == pytest.approx([620 * found[0], 45 * found[1]], abs=0.01)
    assert frame["served_share"].tolist() == pytest.approx(found, abs=1e-4)
    pair = zonal(folder / "set_service.tif", frame)  # whole per cent
    assert [v / 100 for v in pair] == pytest.approx(frame["set_served_share"].tolist(), abs=0.005)
    assert min(np.array(pair) / 100 - found) > -0.005  # two serve no less than one


def test_every_option_has_a_raster_in_the_mission_s_crs(folder, made):
    rasters = layer(folder, "rasters")
    for option in made.options:
        mine = rasters[rasters["rank"] == option.ranked.rank]
        file = next(f for f in mine["file"] if f.startswith("service_"))
        with rasterio.open(folder / file) as held:
            assert held.crs.to_epsg() == 32612
            values = held.read(1)
            shown = held.colormap(1)  # opens in the map's colours
            assert {n: shown[n][:3] for n in (20, 50, 97)} == {
                20: (255, 255, 255), 50: rgb(SERVICE_CLASSES[0][1]), 97: rgb(SERVICE_CLASSES[-1][1]),
            }  # fmt: skip
            assert shown[255][3] == 0
        own = option.ranked.evaluation.coverage.probability
        assert sorted(values[values != 255]) == pytest.approx(sorted(np.rint(100 * own)))
    names = {p.name for p in folder.glob("*.tif")}
    assert set(rasters["file"]) - {"ruling.tif", "ruling_bits.tif"} == names


def test_the_best_server_of_two_trailers_cell_by_cell(folder, made):
    pair = made.sets[2]
    one, two = (r.evaluation.coverage.probability for r in pair.spots)
    counts = {0: 0, 1: 0, 2: 0}
    for a, b in zip(one.tolist(), two.tolist(), strict=True):
        counts[0 if max(a, b) < 0.5 else 1 if a >= b else 2] += 1
    with rasterio.open(folder / "set_server.tif") as held:
        values = held.read(1)
        assert held.tags()["CLASS_1"] == f"Trailer 1, {pair.spots[0].spot.name}"
    assert {n: int((values == n).sum()) for n in counts} == counts
    assert counts[1]
    assert counts[2]
    server = layer(folder, "set_server").set_index("trailer")
    cell = made.scene.elevation.cell_size_m**2 * made.scene.area_step**2
    for n in (1, 2):
        assert server.loc[n].geometry.area == pytest.approx(counts[n] * cell)
        assert server.loc[n]["area_km2"] == pytest.approx(counts[n] * cell / 1e6, abs=1e-4)
    both = layer(folder, "set_service")
    assert both.geometry.area.sum() == pytest.approx((counts[1] + counts[2]) * cell)
    stands = layer(folder, "set_trailers")
    assert stands["spot"].tolist() == [r.spot.name for r in pair.spots]
    assert stands["share_after"].tolist()[-1] == pytest.approx(pair.share, abs=1e-4)


def test_findings_are_rows_of_their_own(folder, made):
    frame = layer(folder, "findings")
    of_plan, units = frame[frame["about"] == "plan"], reader_units(made.mission)
    assert of_plan["code"].tolist() == [f.code for f in made.findings]
    assert of_plan["sentence"].tolist() == [said(f, units.first).message for f in made.findings]
    assert of_plan["remedy"].fillna("").tolist() == [said(f, units.first).remedy for f in made.findings]
    for ranked in made.spots:
        mine = frame[(frame["about"] == "spot") & (frame["rank"] == ranked.rank)]
        assert mine["code"].tolist() == [f.code for f in ranked.evaluation.findings]
    assert frame["severity"].notna().all()
    counts = layer(folder, "spots").set_index("rank")["findings"]
    assert counts.to_dict() == {r.rank: len(r.evaluation.findings) for r in made.spots}


def test_roads_say_how_many_spots_they_cut_off(folder, made):
    """Against each spot's lifeline, asked one by one."""
    frame = layer(folder, "roads")
    roads = made.scene.roads
    rows = [i for i in range(len(roads)) if roads.tags.for_vehicles[i]]
    some = 0
    for n, i in enumerate(rows):
        names = []
        for ranked in made.judged:
            line = ranked.evaluation.access.lifeline
            threads = [t for t in (line.staging, line.outside) if t is not None]
            if any(s.segment == i for t in threads for s in t.stretches):
                names.append(ranked.spot.name)
        assert frame["spots_cut_off"][n] == len(names)
        assert frame["cuts_off"].fillna("")[n].startswith(f"cuts off {len(names)} of " if names else "")
        some += bool(names)
    assert some


def test_every_column_is_described_and_shares_are_bounded(folder):
    described = {
        (t, c): d for t, c, d in rows_of(folder, "SELECT table_name, column_name, description FROM gpkg_data_columns")
    }
    bounded = set(
        rows_of(folder, "SELECT table_name, column_name FROM gpkg_data_columns WHERE constraint_name IS NOT NULL")
    )
    tables = [t for (t,) in rows_of(folder, "SELECT table_name FROM gpkg_contents")]
    for table in tables:
        for _, column, *_ in rows_of(folder, f'PRAGMA table_info("{table}")'):
            assert described[table, column], (table, column)
    assert described["incident_area", "District"] == "As given in area.gpkg"
    assert ("incident_area", "served_share") in bounded
    assert ("incident_area", "served_share_given") not in bounded
    for table, column in bounded:
        assert share_column(column)
        values = [v for (v,) in rows_of(folder, f'SELECT "{column}" FROM "{table}"') if v is not None]
        assert all(0 <= v <= 1 for v in values), (table, column)


GMD = "{http://www.isotc211.org/2005/gmd}"
GCO = "{http://www.isotc211.org/2005/gco}"


def test_the_metadata_record_names_every_input_with_its_fingerprint(folder, made, county):
    ((scope, table, record),) = rows_of(
        folder,
        "SELECT r.reference_scope, r.table_name, m.metadata FROM gpkg_metadata_reference r "
        "JOIN gpkg_metadata m ON r.md_file_id = m.id",
    )
    assert (scope, table) == ("geopackage", None)
    root = ET.fromstring(record.encode())
    assert root.tag == GMD + "MD_Metadata"
    # the order of ISO/TS 19139, MD_Metadata_Type
    order = ["language", "characterSet", "hierarchyLevel", "contact", "dateStamp", "metadataStandardName",
             "metadataStandardVersion", "referenceSystemInfo", "identificationInfo", "dataQualityInfo"]  # fmt: skip
    assert [child.tag.removeprefix(GMD) for child in root] == order
    sources = ["".join(s.itertext()) for s in root.iter(GMD + "LI_Source")]
    assert len(sources) == len(made.inputs)
    where = load_mission(county).base
    for item in made.inputs:
        assert any(item.file in text and sha256_of(where / item.file) in text for text in sources)
    stamp = root.find(f"{GMD}dateStamp/{GCO}DateTime").text
    assert stamp == made.software["created"]
    limits = ["".join(e.itertext()).strip() for e in root.iter(GMD + "useLimitation")]
    assert any("planning aid" in text for text in limits)
    reports = ["".join(e.itertext()).strip() for e in root.iter(GMD + "measureDescription")]
    assert any("predicted, not measured" in text for text in reports)
    box = {
        e.tag.removeprefix(GMD): float("".join(e.itertext())) for e in root.find(f".//{GMD}EX_GeographicBoundingBox")
    }
    spots = [(r.spot.latitude, r.spot.longitude) for r in made.spots]
    assert all(box["southBoundLatitude"] < a < box["northBoundLatitude"] for a, _ in spots)
    assert all(box["westBoundLongitude"] < b < box["eastBoundLongitude"] for _, b in spots)


def test_the_file_keeps_the_standard_s_rules(folder):
    """OGC 12-128r18: requirements by number of clause, on the file as it is."""
    base = sqlite3.connect(folder / "package.gpkg")
    one = lambda query: base.execute(query).fetchone()[0]  # noqa: E731
    assert one("PRAGMA application_id") == 0x47504B47  # 1.1.1.1.1: 'GPKG'
    assert one("PRAGMA user_version") == 10200  # version 1.2.0
    assert one("PRAGMA integrity_check") == "ok"  # 1.1.1.1.3
    assert base.execute("PRAGMA foreign_key_check").fetchall() == []
    held = {row[0] for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert {"gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns", "gpkg_extensions"} <= held
    systems = {row[0] for row in base.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
    assert {4326, -1, 0, 32612} <= systems  # 1.1.2.1.2
    contents = base.execute("SELECT table_name, data_type, identifier, description, last_change, min_x, min_y, max_x, "
                            "max_y, srs_id FROM gpkg_contents").fetchall()  # fmt: skip
    query = "SELECT table_name, column_name, geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns"
    shapes = {row[0]: row[1:] for row in base.execute(query)}
    for name, kind, _, description, changed, *bounds, srs in contents:
        assert name in held
        assert pd.Timestamp(changed).tz is not None  # 1.1.3.1.1: ISO 8601 with Z
        assert len(changed) == 24
        keys = [row for row in base.execute(f'PRAGMA table_info("{name}")') if row[5]]
        assert [row[2] for row in keys] == ["INTEGER"], name  # 2.1.6.1.1, 2.4.3
        if kind == "attributes":
            assert name not in shapes
            continue
        assert description == TITLES[name]
        column, geometry, system, z, m = shapes[name]
        assert (srs, system, z, m) == (32612, 32612, 0, 0)
        frame = pyogrio.read_dataframe(folder / "package.gpkg", layer=name)
        assert list(frame.total_bounds) == pytest.approx(bounds, abs=1e-6), name
        header = one(f'SELECT hex(substr("{column}", 1, 3)) FROM "{name}"')
        assert header == "475000", name  # 2.1.3.1.1: 'GP', version 0
        assert {g.upper() for g in frame.geom_type} <= {geometry, "MULTI" + geometry}
    extensions = set(base.execute("SELECT table_name, column_name, extension_name, scope FROM gpkg_extensions"))
    trees = {(name, row[0], "gpkg_rtree_index", "write-only") for name, row in shapes.items()}
    assert extensions == trees | {
        ("gpkg_data_columns", None, "gpkg_schema", "read-write"),
        ("gpkg_data_column_constraints", None, "gpkg_schema", "read-write"),
        ("gpkg_metadata", None, "gpkg_metadata", "read-write"),
        ("gpkg_metadata_reference", None, "gpkg_metadata", "read-write"),
    }
    for name, row in shapes.items():
        assert f"rtree_{name}_{row[0]}" in held
    base.close()


def test_styles_come_in_both_ways_and_their_classes_are_in_the_data(folder):
    rows = rows_of(folder, "SELECT f_table_name, styleQML, styleSLD FROM layer_styles")
    places = {t for (t,) in rows_of(folder, "SELECT table_name FROM gpkg_contents WHERE data_type = 'features'")}
    assert {row[0] for row in rows} == places  # no layer opens in a random colour
    for name, qml, sld in rows:
        style, root = STYLES[name], ET.fromstring(qml.replace(f"<!DOCTYPE {ROOT}>", "").encode())
        ET.fromstring(sld.encode())
        renderer = root.find("renderer-v2")
        symbols = {s.get("name"): s for s in renderer.find("symbols")}
        kinds = {"point": "marker", "line": "line", "polygon": "fill"}
        assert {s.get("type") for s in symbols.values()} == {kinds[style.kind]}
        if not style.by:
            assert renderer.get("type") == "singleSymbol"
            continue
        assert renderer.get("attr") == style.by
        categories = {c.get("value"): c.get("symbol") for c in renderer.find("categories")}
        assert set(categories.values()) == set(symbols)
        found = layer(folder, name)[style.by].unique().tolist()
        as_words = {
            str(v).lower() if isinstance(v, (bool, np.bool_)) else f"{v:g}" if isinstance(v, float) else str(v)
            for v in found
        }
        assert as_words <= set(categories), name


def test_the_tables_have_a_column_for_each_named_point(folder, made):
    for file in ("ranking.csv", "judged.csv"):
        text = (folder / file).read_text("utf-8-sig")
        rows = list(csv.DictReader(io.StringIO(text)))
        spots = {r.rank: r for r in made.judged}
        for row in rows:
            points = spots[int(row["rank"])].evaluation.coverage.must_serve
            for n, point in enumerate(points, 1):
                plain = point.name.replace(" ", "_")
                assert float(row[f"chance_{n}_{plain}"]) == pytest.approx(point.probability, abs=1e-4)
        for cell in (cell for row in rows for cell in row.values()):
            assert cell[:1] not in tuple("=+@\t\r")
            assert not (cell[:1] == "-" and not cell[1:2].isdigit())


KML = "{http://www.opengis.net/kml/2.2}"


def test_places_hold_the_service_of_the_best_spot_in_three_steps(folder, made):
    """Each step's shape against the cells of coverage.tif: nearly all in it, hardly any beside it."""
    root = ET.parse(folder / "places.kml").getroot()
    marks = {m.find(KML + "name").text: m for m in root.iter(KML + "Placemark")}
    with rasterio.open(folder / "coverage.tif") as held:
        values, to, crs = held.read(1), held.transform, held.crs
    rows, cols = np.indices(values.shape)
    x, y = to.c + (cols + 0.5) * to.a, to.f + (rows + 0.5) * to.e
    steps = [s for s in (50, 75, 95) if (np.nan_to_num(values) >= s / 100).any()]
    assert len(steps) > 1
    for step in steps:
        mark = marks[f"Spot {made.best.spot.name} serves at {step} % and more"]
        polygons = []
        for polygon in mark.iter(KML + "Polygon"):
            rings = [
                [tuple(map(float, pair.split(","))) for pair in ring.text.split()]
                for ring in polygon.iter(KML + "coordinates")
            ]
            polygons.append(Polygon(rings[0], rings[1:]))
        shape = gpd.GeoSeries(polygons, crs=4326).to_crs(crs).union_all()
        inside = contains_xy(shape, x, y)
        wanted = np.nan_to_num(values) >= step / 100
        assert (inside & wanted).sum() > 0.95 * wanted.sum()
        assert (inside & ~wanted).sum() < 0.1 * inside.sum() + 2 * np.sqrt(inside.sum())
    assert (folder / "places.kml").stat().st_size < 1_000_000


def test_a_figure_that_nobody_knows_is_an_empty_number_not_text(folder):
    """A column of metres without a single figure was a column of text."""
    kinds = {row[1]: row[2] for row in rows_of(folder, 'PRAGMA table_info("spots")')}
    kinds.pop("sector_bearings_true_deg")  # several in one cell
    assert {k for name, k in kinds.items() if name.endswith(("_m", "_deg", "_min", "_share"))} == {"REAL"}
