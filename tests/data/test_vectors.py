"""Layers of every format come in with place, attributes and count; what is broken is named."""

from __future__ import annotations

import json
import pickle
import sqlite3
import tracemalloc
import zipfile
from contextlib import closing

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import CRS, Geod
from shapely.geometry import (
    GeometryCollection,
    LineString,
    MultiLineString,
    MultiPolygon,
    Point,
    Polygon,
    box,
)

from siteplanner.data import vectors
from siteplanner.data.columns import ColumnRules
from siteplanner.data.vectors import read_layer
from siteplanner.errors import InputError, SeveralLayers
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.inputs import holds_words

from .conftest import LAT, LON, UTM

NEAR = box(LON - 0.05, LAT - 0.05, LON + 0.05, LAT + 0.05)
AREA = box(LON - 0.01, LAT - 0.01, LON + 0.01, LAT + 0.01)
ROAD = LineString([(LON - 0.04, LAT), (LON, LAT + 0.01), (LON + 0.04, LAT)])
DRIVERS = {
    "geojson": "GeoJSON", "json": "GeoJSON", "gpkg": "GPKG", "shp": "ESRI Shapefile", "fgb": "FlatGeobuf",
    "kml": "KML", "gpx": "GPX",
}  # fmt: skip


@pytest.fixture
def write(tmp_path):
    """write(shapes, ending, crs=4326, columns...) -> path"""

    def writes(shapes, ending="geojson", name="layer", crs=4326, options=None, **columns):
        frame = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=4326)
        path = tmp_path / f"{name}.{ending}"
        (frame.to_crs(crs) if crs else frame.set_crs(None, allow_override=True)).to_file(
            path, driver=DRIVERS[ending], **(options or {})
        )
        return path

    return writes


def read(path, role="incident_area", kinds=("polygon",), near=NEAR, **more):
    return read_layer(path, role, target_crs=UTM, kinds=set(kinds), near=near, **more)


def refused(path, match, **more) -> InputError:
    with pytest.raises(InputError, match=match) as caught:
        read(path, **more)
    assert caught.value.remedy
    assert caught.value.file
    assert caught.value.field.startswith("layers.")
    return caught.value


def codes(layer):
    return [finding.code for finding in layer.findings]


def zipped(path, members: dict[str, bytes], compression=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return path


def shapefile_members(path, prefix=""):
    return {prefix + p.name: p.read_bytes() for p in path.parent.glob(f"{path.stem}.*") if p.suffix != ".zip"}


# --- formats, places, attributes


@pytest.mark.parametrize("ending", ["geojson", "json", "gpkg", "shp", "fgb"])
@pytest.mark.parametrize("crs", [4326, 4269, 2274, 3857, 32617])
def test_place_and_attributes_survive(write, ending, crs):
    if crs != 4326 and ending in ("geojson", "json"):
        crs = 4326
    layer = read(
        write(
            [AREA, AREA.buffer(0.001)], ending, crs=crs, name_of=["a", "Größe 标高"], people=[12, 7], share=[0.5, 2.25]
        )
    )
    assert list(layer.frame["people"]) == [12, 7]
    assert list(layer.frame["share"]) == [0.5, 2.25]
    assert list(layer.frame["name_of"]) == ["a", "Größe 标高"]
    assert layer.frame.crs == UTM
    corner = layer.frame.to_crs(4326).geometry.iloc[0].bounds
    # NAD 83 and WGS 84 are taken as one, which is their null transformation; else only rounding is allowed
    assert np.allclose(corner, AREA.bounds, atol=1e-6)
    assert codes(layer) == []
    record = layer.record
    assert (record.role, record.count, record.unit, len(record.sha256)) == ("incident_area", 2, "", 64)
    assert np.allclose(record.extent_lonlat, AREA.buffer(0.001).bounds, atol=2e-3)
    assert record.crs == f"EPSG:{crs}"


def test_known_distance(write):
    """1 km along the WGS 84 ellipsoid (pyproj's Geod) is 1 km times the UTM scale in the frame."""
    lon, lat, _ = Geod(ellps="WGS84").fwd(LON, LAT, 90, 1000)
    layer = read(write([LineString([(LON, LAT), (lon, lat)])]), kinds=["line"])
    from pyproj import Proj

    scale = Proj(UTM).get_factors(LON, LAT).parallel_scale
    assert layer.frame.length.iloc[0] == pytest.approx(1000 * scale, abs=0.02)


def test_kml_folders_are_read_together(tmp_path):
    text = """<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>
    <Folder><name>one</name><Placemark><name>Camp</name><Point><coordinates>{0},{1},250</coordinates></Point>
    </Placemark></Folder>
    <Folder><name>two</name>
    <Placemark><name>Drop =1+1</name><Point><coordinates>{0},{1}</coordinates></Point></Placemark>
    <Placemark><name>Box</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{0},{1} {2},{1} {2},{3} {0},{1}
    </coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Folder></Document></kml>""".format(
        LON, LAT, LON + 0.01, LAT + 0.01
    )
    path = tmp_path / "places.kml"
    path.write_text(text)
    layer = read(path, role="must_serve", kinds=["point"])
    assert list(layer.frame["name"]) == ["Camp", "Drop =1+1"]
    assert codes(layer) == ["heights_dropped", "kinds_left_out"]
    assert not layer.frame.has_z.any()
    kmz = zipped(tmp_path / "places.kmz", {"doc.kml": text.encode(), "other.kml": b"<kml/>"})
    assert list(read(kmz, role="must_serve", kinds=["point"]).frame["name"]) == ["Camp", "Drop =1+1"]


def test_gpx_by_kind(tmp_path):
    text = """<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">
    <wpt lat="{1}" lon="{0}"><name>Camp</name></wpt>
    <rte><name>way</name><rtept lat="{1}" lon="{0}"/><rtept lat="{3}" lon="{2}"/></rte>
    <trk><name>track</name><trkseg><trkpt lat="{1}" lon="{0}"/><trkpt lat="{3}" lon="{2}"/></trkseg></trk>
    </gpx>""".format(LON, LAT, LON + 0.01, LAT + 0.01)
    path = tmp_path / "t.gpx"
    path.write_text(text)
    assert list(read(path, kinds=["point"]).frame["name"]) == ["Camp"]
    assert sorted(read(path, kinds=["line"]).frame["name"]) == ["track", "way"]
    refused(path, "has waypoints, routes and tracks, but no areas", kinds=["polygon"])


def test_shapefile_in_a_zip(write, tmp_path):
    path = write([AREA], "shp", NAME=["x"])
    packed = zipped(tmp_path / "layer.zip", shapefile_members(path, "some folder/"))
    layer = read(packed)
    assert layer.record.file == "layer.zip"
    assert list(layer.frame["name"]) == ["x"]
    assert layer.record.crs == "EPSG:4326"


def test_near_keeps_whole_features_that_meet_it(write):
    far = LineString([(LON + 1, LAT), (LON + 1.1, LAT)])
    long = LineString([(LON - 2, LAT), (LON + 2, LAT)])
    path = write([ROAD, far, long], "gpkg", highway=["track", "primary", "motorway"])
    layer = read(path, role="roads", kinds=["line"])
    assert list(layer.frame["highway"]) == ["track", "motorway"]
    assert layer.frame.length.iloc[1] > 300_000
    assert layer.record.count == 2
    assert "2 of 3" in holds_words(layer.record.held)


def test_large_layers_are_filtered_while_reading(write, monkeypatch):
    shapes = [Point(LON + i * 0.01, LAT) for i in range(-100, 100)]
    path = write(shapes, "gpkg", number=list(range(200)))
    small = read(path, kinds=["point"])
    monkeypatch.setattr(vectors, "_READ_WHOLE", 10)
    large = read(path, kinds=["point"])
    assert list(large.frame["number"]) == list(small.frame["number"]) == list(range(95, 106))


def test_room_is_made_for_what_a_layer_holds_and_not_for_the_most_it_may(write):
    """64 MB were made and kept for three points of two columns, by each layer of each plan."""
    path = write([Point(LON, LAT)] * 3, "gpkg", number=[1, 2, 3], word=["a", "b", "c"])
    read(path, kinds=["point"])
    tracemalloc.start()
    layer = read(path, kinds=["point"])
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(layer.frame) == 3
    assert most < 4e6


@pytest.mark.parametrize("told", [0, 1, 2, 3, 4, 10**12])
def test_what_a_file_says_of_its_count_is_not_believed(write, told):
    path = write([Point(LON, LAT)] * 3, "gpkg", number=[1, 2, 3])
    with closing(sqlite3.connect(path)) as file, file:
        file.execute("UPDATE gpkg_ogr_contents SET feature_count = ?", (told,))
    assert pyogrio.read_info(path, force_feature_count=True)["features"] == (told if told < 2**31 else told % -(2**32))
    assert list(read(path, kinds=["point"]).frame["number"]) == [1, 2, 3]


def test_longitudes_from_0_to_360(write):
    moved = shapely.transform(AREA, lambda xy: np.add(xy, [360, 0]))
    assert read(write([moved], "gpkg")).record.count == 1


@pytest.mark.parametrize("whole", [True, False])
def test_across_the_antimeridian(write, monkeypatch, whole):
    """Points on both sides of 180 degrees; the needed ground comes as a shape from -179.98 to 179.98."""
    if not whole:
        monkeypatch.setattr(vectors, "_READ_WHOLE", 1)
    lons = [179.99, -179.99, 179.9, -179.9, 0.0]
    path = write([Point(lon, -17) for lon in lons], "gpkg", number=list(range(5)))
    near = Polygon([(179.98, -17.1), (-179.98, -17.1), (-179.98, -16.9), (179.98, -16.9)])
    layer = read_layer(path, "spots", target_crs=CRS.from_epsg(32760), kinds={"point"}, near=near)
    assert list(layer.frame["number"]) == [0, 1]
    assert np.ptp(layer.frame.geometry.x) == pytest.approx(2130, abs=10)  # 0.02 degrees at 17 S


def test_the_same_file_has_the_same_fingerprint_and_a_changed_part_another(write):
    path = write([AREA], "shp", a=[1])
    first, again = read(path).record.sha256, read(path).record.sha256
    path.with_suffix(".prj").write_text(CRS.from_epsg(4269).to_wkt("WKT1_GDAL"))
    assert first == again != read(path).record.sha256


# --- names of columns


def test_column_map_and_known_names(write):
    path = write([ROAD], "shp", CLASS=["track"], NAME=["Mill Road"], HIGHWAY=["x"])
    layer = read(path, role="roads", kinds=["line"], column_map={"highway": "class"})
    assert list(layer.frame["highway"]) == ["track"]
    assert list(layer.frame["name"]) == ["Mill Road"]
    assert list(layer.frame["HIGHWAY"]) == ["x"]


def test_column_in_the_way_is_kept(write):
    layer = read(
        write([ROAD], "gpkg", CLASS=["track"], highway=["old"]),
        role="roads",
        kinds=["line"],
        column_map={"highway": "CLASS"},
    )
    assert list(layer.frame["highway"]) == ["track"]
    assert list(layer.frame["highway_original"]) == ["old"]
    assert codes(layer) == ["column_pushed_aside"]


def test_one_column_under_two_names(write):
    path = write([ROAD], "gpkg", KIND=["gravel track"])
    frame = read(path, role="roads", kinds=["line"], column_map={"highway": "KIND", "surface": "KIND"}).frame
    assert list(frame["highway"]) == list(frame["surface"]) == ["gravel track"]


def test_missing_column_names_what_is_there(write):
    error = refused(
        write([ROAD], "gpkg", CLASS=["track"]),
        "no column 'KLASS'",
        role="roads",
        kinds=["line"],
        column_map={"highway": "KLASS"},
    )
    assert error.field == "layers.road_columns.highway"
    assert "CLASS" in error.what


def test_lists_and_objects_become_text(tmp_path):
    path = tmp_path / "l.geojson"
    feature = {
        "type": "Feature",
        "geometry": shapely.geometry.mapping(AREA),
        "properties": {"tags": {"a": [1]}, "many": [1, 2], "geometry": "x"},
    }
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    frame = read(path).frame
    assert json.loads(frame["tags"].iloc[0]) == {"a": [1]}
    assert json.loads(frame["many"].iloc[0]) == [1, 2]
    assert frame.geometry.iloc[0].area > 1e6


# --- shapes that need mending


def test_self_crossing_polygon(write):
    bow = Polygon([(LON, LAT), (LON + 0.01, LAT + 0.01), (LON + 0.01, LAT), (LON, LAT + 0.01)])
    layer = read(write([bow]))
    shape = layer.frame.geometry.iloc[0]
    assert shape.is_valid
    assert shape.geom_type == "MultiPolygon"
    whole = gpd.GeoSeries([box(LON, LAT, LON + 0.01, LAT + 0.01)], crs=4326).to_crs(UTM).area.iloc[0]
    assert shape.area == pytest.approx(whole / 2, rel=1e-3)
    assert codes(layer) == ["polygons_repaired"]


def test_ground_walked_round_twice_is_not_cut_out(write):
    twice = Polygon([(0, 0), (4, 0), (4, 4), (1, 4), (1, 1), (5, 1), (5, 2), (0, 2)])
    path = write([shapely.transform(twice, lambda xy: xy * 0.005 + [LON, LAT])])
    shape = read(path).frame.geometry.iloc[0]
    inner = gpd.GeoSeries([Point(LON + 0.0125, LAT + 0.0075)], crs=4326).to_crs(UTM).iloc[0]
    assert shape.contains(inner)


def test_polygon_without_area(write):
    line = Polygon([(LON, LAT), (LON + 0.01, LAT), (LON, LAT)])
    layer = read(write([line, AREA]))
    assert len(layer.frame) == 1
    assert "polygons_without_area" in codes(layer)


def test_mixed_kinds_missing_shapes_and_collections(write):
    mixed = GeometryCollection([AREA, Point(LON, LAT), MultiPolygon([AREA])])
    layer = read(write([AREA, ROAD, Point(LON, LAT), None, mixed, GeometryCollection([ROAD])], number=list(range(6))))
    assert list(layer.frame["number"]) == [0, 4]
    found = {f.code: said(f).message for f in layer.findings}
    assert found["geometry_missing"].startswith("1 of 6")
    assert "2 line, 2 point." in found["kinds_left_out"]
    assert set(found) == {
        "geometry_missing",
        "kinds_left_out",
        "polygons_repaired",
    }  # AREA lies twice in the collection


def test_multi_parts_and_two_kinds_stay(write):
    multi = MultiLineString([ROAD, shapely.transform(ROAD, lambda xy: np.add(xy, [0, 0.01]))])
    layer = read(write([multi, AREA]), kinds=["line", "polygon"])
    assert list(layer.frame.geom_type) == ["MultiLineString", "Polygon"]
    assert codes(layer) == []


def test_heights_are_dropped_and_said(write):
    layer = read(write([Polygon([(x, y, 300) for x, y in AREA.exterior.coords])], "gpkg"))
    assert codes(layer) == ["heights_dropped"]
    assert not layer.frame.has_z.any()


# --- axes, CRS, place


@pytest.mark.parametrize("ending", ["geojson", "gpkg", "kml"])
def test_swapped_axes_beyond_90(write, ending):
    east = box(110.0, -30.1, 110.1, -30.0)  # 110 E, 30 S written as latitude, longitude
    path = write([shapely.transform(east, lambda xy: xy[:, ::-1])], ending)
    refused(path, "axes look swapped", near=east)
    refused(path, "axes look swapped", near=None)


def test_swapped_axes_that_are_both_possible(write):
    path = write([shapely.transform(AREA, lambda xy: xy[:, ::-1])], "gpkg")  # -84 is a latitude too
    error = refused(path, "axes look swapped")
    assert "exchanged it would meet" in error.what


def test_swapped_axes_in_metres(tmp_path):
    x, y = gpd.GeoSeries([AREA], crs=4326).to_crs(UTM).iloc[0].exterior.xy
    path = tmp_path / "s.gpkg"
    gpd.GeoDataFrame(geometry=[Polygon(zip(y, x, strict=True))], crs=UTM).to_file(path)
    refused(path, "axes look swapped")


def test_metres_that_claim_degrees(tmp_path):
    shape = gpd.GeoSeries([AREA], crs=4326).to_crs(UTM).iloc[0]
    path = tmp_path / "m.geojson"
    path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": shapely.geometry.mapping(shape)}))
    refused(path, "not degrees")


@pytest.mark.parametrize("ending", ["shp", "gpkg", "fgb"])
def test_missing_crs(write, ending):
    refused(write([AREA], ending, crs=None), "coordinate reference system")


def test_far_away_says_both_extents(write):
    text = str(refused(write([box(10, 50, 11, 51)], "gpkg"), "does not meet the mission's ground"))
    assert "longitude 10.0000 E to 11.0000 E" in text
    assert "longitude 84.2500 W to 84.1500 W" in text


def test_optional_layer_far_away_is_a_finding(write):
    layer = read(write([box(10, 50, 11, 51)], "gpkg"), role="hazards", required=False)
    assert layer.frame.empty
    assert layer.frame.crs == UTM
    assert codes(layer) == ["layer_far_away"]


@pytest.mark.parametrize("ending", ["geojson", "gpkg", "shp", "fgb"])
def test_empty_layer(tmp_path, ending):
    path = tmp_path / f"e.{ending}"
    frame = gpd.GeoDataFrame({"name": np.array([], dtype=object)}, geometry=[], crs=4326)
    frame.to_file(path, driver=DRIVERS[ending], geometry_type="Polygon")
    refused(path, "has no feature")
    layer = read(path, required=False)
    assert (layer.record.count, codes(layer)) == (0, ["layer_empty"])


def test_wrong_kind(write):
    refused(write([ROAD], "gpkg"), "No usable polygon")
    assert codes(read(write([ROAD], "gpkg"), required=False))[-1] == "layer_without_kind"


# --- several layers


def test_several_layers_need_a_choice(tmp_path):
    path = tmp_path / "all.gpkg"
    for name, shape in {"plan": AREA, "old plan": AREA, "ways": ROAD}.items():
        gpd.GeoDataFrame({"of": [name]}, geometry=[shape], crs=4326).to_file(path, layer=name, driver="GPKG")
    error = refused(path, "Several layers fit")
    assert isinstance(error, SeveralLayers)
    assert set(error.layers) == {"plan", "old plan"}
    again = pickle.loads(pickle.dumps(error))
    assert (again.layers, str(again)) == (error.layers, str(error))
    assert all(name in error.what for name in ("plan", "old plan", "ways"))
    assert list(read(path, layer="plan").frame["of"]) == ["plan"]
    assert list(read(f"{path}|old plan").frame["of"]) == ["old plan"]
    assert list(read(f"{path}|layername=old plan").frame["of"]) == ["old plan"]
    lines = read(path, kinds=["line"])
    assert list(lines.frame["of"]) == ["ways"]
    assert codes(lines) == ["layer_chosen"]
    refused(path, "no single layer 'none'", layer="none")
    assert list(read(path, role="plan").frame["of"]) == ["plan"]
    refused(path, "No layer has a point", kinds=["point"])


def test_several_shapefiles_in_a_zip(write, tmp_path):
    members = shapefile_members(write([AREA], "shp", name="a")) | shapefile_members(write([AREA], "shp", name="b"))
    path = zipped(tmp_path / "two.zip", members)
    refused(path, "Several layers fit")
    assert read(path, layer="b").record.count == 1


@pytest.mark.parametrize(
    ("own", "wanted", "value", "read_as"),
    [
        ("CLEAR_FT", "maxheight", 12.5, "12.5 ft"),
        ("LOAD_LBS", "maxweight", 16000, "16000 lbs"),
        ("SPD_MPH", "maxspeed", 35, "35 mph"),
        ("MAXHEIGHT", "maxheight", 3.5, 3.5),
    ],
)
def test_a_unit_in_a_column_name_goes_to_its_numbers(write, own, wanted, value, read_as):
    """A bridge of 12.5 ft read as 12.5 m would be driven under."""
    path = write([LineString([(LON, LAT), (LON + 0.01, LAT)])], **{own: [value]})
    layer = read(path, role="roads", kinds=["line"], column_map={wanted: own})
    assert layer.frame[wanted].tolist() == [read_as]
    assert ("column_unit" in codes(layer)) == isinstance(read_as, str)


@pytest.mark.parametrize(
    ("own", "wanted", "unit", "value", "read_as"),
    [
        ("LOAD_TONS", "maxweight", "st", 3, "3 st"),  # 3 short tons are 2.72 t: a rig of 2.9 t must not cross
        ("WT_TN", "maxweight", "t", 3.0, "3 t"),
        ("CLEAR", "maxheight", "ft", 12.5, "12.5 ft"),
        ("SPEED", "maxspeed", "mph", 35, "35 mph"),
    ],
)
def test_a_doubtful_unit_is_asked_for(write, own, wanted, unit, value, read_as):
    path = write([LineString([(LON, LAT), (LON + 0.01, LAT)])], **{own: [value]})
    with pytest.raises(InputError) as told:
        read(path, role="roads", kinds=["line"], column_map={wanted: own})
    assert told.value.field == f"layers.road_units.{wanted}"
    assert own in told.value.what
    assert f"'{unit}'" in told.value.remedy
    rules = ColumnRules({wanted: own}, {wanted: unit})
    assert read(path, role="roads", kinds=["line"], rules=rules).frame[wanted].tolist() == [read_as]


def test_codes_of_an_agency_and_what_means_no_limit(write):
    lines = [LineString([(LON, LAT + k / 1000), (LON + 0.01, LAT + k / 1000)]) for k in range(3)]
    path = write(lines, SURF=["P", "d", "X"], POST_KG=[0, 3500.0, 999])
    rules = ColumnRules(
        {"surface": "SURF", "maxweight": "POST_KG"}, {}, {"surface": {"P": "asphalt", "D": "dirt"}}, ("0", "999")
    )
    frame = read(path, role="roads", kinds=["line"], rules=rules).frame
    assert frame["surface"].tolist() == ["asphalt", "dirt", "X"]
    assert frame["maxweight"].isna().tolist() == [True, False, True]
    assert frame["maxweight"][1] == "3500 kg"


def test_a_gpx_holds_no_areas(tmp_path):
    path = tmp_path / "a.gpx"
    path.write_text('<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="1" lon="2"/></gpx>')
    refused(path, "no areas")


def test_an_outline_in_degrees_keeps_its_vertices(tmp_path):
    """Only vertices within a millimeter are dropped, also where a layer is read in degrees, as the incident area."""
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    ring = [(-113.0 + 0.004 * np.cos(a), 44.6 + 0.003 * np.sin(a)) for a in angle]  # about 3 m from one to the next
    hole = [(-113.0, 44.6), (-113.0 + 1e-4, 44.6), (-113.0, 44.6 + 1e-4)]  # 10 m wide
    area = Polygon(ring, [hole])
    path = tmp_path / "area.geojson"
    gpd.GeoDataFrame(geometry=[area], crs=4326).to_file(path)
    (kept,) = read_layer(path, "incident area", target_crs=CRS(4326), kinds={"polygon"}).frame.geometry
    assert len(kept.exterior.coords) == 401
    assert kept.area == pytest.approx(area.area, rel=1e-6)
