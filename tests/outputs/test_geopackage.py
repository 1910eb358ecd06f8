"""The GeoPackage opens in GDAL without a word, holds what the plan holds, and carries its styles."""

from __future__ import annotations

import csv
import io
import math
import sqlite3
import warnings
import xml.etree.ElementTree as ET

import pyogrio
import pytest
from shapely.geometry import Point

from siteplanner.outputs.gis.geopackage import TITLES, footprint, write_geopackage
from siteplanner.outputs.gis.ranking import ranking_csv
from siteplanner.outputs.gis.styles import STYLES
from siteplanner.outputs.words.text import clean
from siteplanner.roads.reasons import UNKNOWN_KINDS
from tests.outputs.factory import HOSTILE, make_plan

UNTOLD = {"alternatives", "cut_segments", "turning_places"}  # see test_told_outputs
UNTOLD |= {"set_service", "set_server", "set_trailers"}  # of a real plan: test_gis_package
TABLES = {"findings", "limits_not_stated", "rasters"}  # without a place


@pytest.fixture(scope="module")
def package(plan, tmp_path_factory):
    return write_geopackage(plan, tmp_path_factory.mktemp("gpkg") / "package.gpkg")


def _read(path, layer):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return pyogrio.read_dataframe(path, layer=layer)


def test_every_layer_reads_without_a_warning(package, plan):
    found = {name for name, _ in pyogrio.list_layers(package)}
    assert found == set(TITLES) - UNTOLD | {"layer_styles"}
    for name in set(TITLES) - UNTOLD - TABLES:
        frame = _read(package, name)
        assert len(frame) > 0
        assert frame.crs == plan.scene.elevation.crs
        assert frame.geometry.is_valid.all(), name


def test_spots_are_those_of_the_plan(package, plan):
    frame = _read(package, "spots")
    assert list(frame["rank"]) == [r.rank for r in plan.spots]
    assert list(frame["name"]) == [r.spot.name for r in plan.spots]
    assert frame.geometry.x.to_list() == pytest.approx([r.spot.x for r in plan.spots])
    assert frame["coverage_share"].to_list() == pytest.approx(
        [r.evaluation.coverage.share for r in plan.spots], abs=1e-4
    )
    assert frame["dish_azimuth_true_deg"].to_list() == pytest.approx(
        [r.evaluation.sky[0].azimuth_deg for r in plan.spots]
    )


def test_roads_say_why_not(package, plan):
    frame = _read(package, "roads")
    roads = plan.scene.roads
    assert len(frame) == int(roads.tags.for_vehicles.sum())
    shut = frame[~frame["for_rig"].astype(bool)]
    assert len(shut) > 0
    assert (shut["why_not"] != "").all()
    assert frame.geometry.length.to_list() == pytest.approx(frame["length_m"].to_list(), abs=0.06)


def test_ruling_polygons_cover_the_cells(package, plan):
    """Areas of the polygons against cells counted."""
    frame = _read(package, "ruling").set_index("code")
    grid = plan.scene.ruling
    passes = float((grid.values == 0).sum()) * grid.cell_size_m**2
    assert frame.loc["passes"].geometry.area == pytest.approx(passes)
    searched = float((grid.values < (1 << 15)).sum()) * grid.cell_size_m**2
    assert frame.geometry.area.sum() == pytest.approx(searched)


def test_service_polygons_cover_the_cells_that_are_served(package, plan):
    frame = _read(package, "service")
    best = plan.best.evaluation.coverage.probability
    mine = frame[frame["rank"] == 1]
    cell = plan.scene.elevation.cell_size_m**2
    assert mine.geometry.area.sum() == pytest.approx(float((best >= 0.5).sum()) * cell)
    top = mine[mine["probability_from"] == 0.95]
    assert top.geometry.area.sum() == pytest.approx(float((best >= 0.95).sum()) * cell)


def test_the_footprint_points_along_the_heading(plan):
    trailer, e = plan.mission.trailer, plan.best.evaluation
    shape = footprint(plan, e)
    assert shape.area == pytest.approx(trailer.length_m * (trailer.width_m + 2 * trailer.outrigger_reach_m))
    (x0, y0), (x1, y1) = shape.exterior.coords[0], shape.exterior.coords[1]
    ends = sorted([(math.dist((x0, y0), (x1, y1)), (x1 - x0, y1 - y0))])
    bearing = math.degrees(math.atan2(*ends[0][1])) % 180
    grid_heading = e.ground.heading_deg - plan.scene.elevation.convergence_deg(e.spot.x, e.spot.y)
    assert bearing == pytest.approx(grid_heading % 180, abs=1e-6)


ORDER = {  # OGC 02-070, annex A: what each element may hold, in this order, as far as our styles use it
    "StyledLayerDescriptor": ("NamedLayer",),
    "NamedLayer": ("Name", "UserStyle"),
    "UserStyle": ("Name", "FeatureTypeStyle"),
    "FeatureTypeStyle": ("Rule",),
    "Rule": ("Name", "Filter", "LineSymbolizer", "PolygonSymbolizer", "PointSymbolizer"),
    "Filter": ("PropertyIsEqualTo",),
    "PropertyIsEqualTo": ("PropertyName", "Literal"),
    "LineSymbolizer": ("Stroke",),
    "PolygonSymbolizer": ("Fill", "Stroke"),
    "PointSymbolizer": ("Graphic",),
    "Graphic": ("Mark", "Size"),
    "Mark": ("WellKnownName", "Fill", "Stroke"),
    "Fill": ("CssParameter",),
    "Stroke": ("CssParameter",),
}
SEVERAL = {"Rule", "CssParameter"}


def test_each_style_keeps_the_order_of_the_standard_s_schema(package):
    base = sqlite3.connect(package)
    for name, sld in base.execute("SELECT f_table_name, styleSLD FROM layer_styles"):
        for element in ET.fromstring(sld.encode()).iter():
            space, _, kind = element.tag.rpartition("}")
            of_filter = kind in ("Filter", "PropertyIsEqualTo", "PropertyName", "Literal")
            assert space == "{http://www.opengis.net/" + ("ogc" if of_filter else "sld"), name
            inside = [child.tag.rpartition("}")[2] for child in element]
            allowed = ORDER.get(kind, ())
            assert set(inside) <= set(allowed), (name, kind, inside)
            assert inside == sorted(inside, key=allowed.index), (name, kind, inside)
            assert all(inside.count(child) == 1 for child in set(inside) - SEVERAL), (name, kind, inside)
    base.close()


def test_styles_are_inside_and_well_formed(package):
    base = sqlite3.connect(package)
    rows = base.execute("SELECT f_table_name, f_geometry_column, styleSLD, useAsDefault FROM layer_styles")
    rows = rows.fetchall()
    assert {row[0] for row in rows} == set(STYLES) - UNTOLD
    columns = dict(base.execute("SELECT table_name, column_name FROM gpkg_geometry_columns"))
    for name, column, sld, default in rows:
        assert column == columns[name]
        assert default == 1
        assert ET.fromstring(sld.encode()).tag.endswith("StyledLayerDescriptor")
    assert base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    base.close()


def test_hostile_names_stay_text(hostile_plan, tmp_path):
    path = write_geopackage(hostile_plan, tmp_path / "package.gpkg")
    names = set(_read(path, "spots")["name"])
    assert names == {clean(name) for name in HOSTILE[:6]}


def test_a_plan_without_spots(tmp_path):
    path = write_geopackage(make_plan(0), tmp_path / "package.gpkg")
    found = {name for name, _ in pyogrio.list_layers(path)}
    assert {"ruling", "roads", "incident_area"} <= found
    assert not {"spots", "routes", "service"} & found


def test_limits_not_stated_are_rows_of_their_own(package, plan):
    """One row each, of a drive or of a road, so that they can be asked for by kind; ranking.csv has a column each."""
    rows = _read(package, "limits_not_stated").to_dict("records")
    for ranked in plan.spots:
        access = ranked.evaluation.access
        own = [r for r in rows if r["about"] == "drive" and r["rank"] == ranked.rank]
        assert {(r["limit_kind"], bool(r["near_limit"]), r["length_m"]) for r in own} == {
            (u.kind, u.near, float(round(u.length_m))) for u in (access.unknown if access else ())
        }
    roads = plan.scene.roads
    of_roads = [(int(r["road"]), r["limit_kind"], bool(r["near_limit"])) for r in rows if r["about"] == "road"]
    assert of_roads
    assert of_roads == [
        (i, u.kind, u.near) for i in range(len(roads)) if roads.tags.for_vehicles[i] for u in roads.judged.unknown[i]
    ]
    table = list(csv.DictReader(io.StringIO(ranking_csv(plan))))
    for row, ranked in zip(table, plan.spots, strict=True):
        access = ranked.evaluation.access
        if access is None:
            assert row["height_limit_not_stated_m"] == ""
            continue
        told = {(u.kind, u.near): u.length_m for u in access.unknown}
        for kind in UNKNOWN_KINDS:
            cell = float(row[f"{kind.replace(' ', '_')}_not_stated_m"])
            assert cell == pytest.approx(told.get((kind, False), 0.0), abs=0.5)


def test_hazards_of_roads_are_rows_of_their_own(package, plan):
    """One row each, so that they can be asked for by kind; no cell joins several in words."""
    roads = plan.scene.roads
    frame, hazards = _read(package, "roads"), _read(package, "road_hazards")
    per_road = hazards.groupby("road").size()
    assert per_road.sum() == sum(
        len(held) for held, used in zip(roads.hazards, roads.tags.for_vehicles, strict=True) if used
    )
    assert frame.set_index("road")["hazards"].to_dict() == {road: int(per_road.get(road, 0)) for road in frame["road"]}
    for row in hazards.to_dict("records"):
        told = roads.hazards[row["road"]]
        assert (row["kind"], row["severity"]) in {(h.kind, h.severity) for h in told}
        assert any(row["geometry"].distance(Point(h.x, h.y)) < 1e-6 for h in told)
