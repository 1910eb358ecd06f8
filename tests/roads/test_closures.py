"""Closures, danger areas and tracks drawn by hand, on drawings small enough to count."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

from siteplanner.data.osm import NODES, WAY
from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.roads import ahead_words, reasons_words
from siteplanner.roads.closures import Closure, read_closures, read_dangers, with_tracks
from siteplanner.roads.hazards_ahead import hazards_along
from siteplanner.roads.network import build_network
from siteplanner.roads.reasons import Reason, closure_names
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import EAST, NORTH, UTM, layer, network, road


def at(x, y):
    return EAST + x, NORTH + y


def marks(*shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=UTM)


# a ring: the short way east along y = 0 over a bridge at x = 500, the long way by y = 400; a road below the bridge
RING = [
    road((0, 0), (450, 0), name="Mill Road"), road((450, 0), (550, 0), name="Mill Bridge", bridge="yes", layer="1"),
    road((550, 0), (1000, 0), name="Mill Road"), road((0, 0), (0, 400), (1000, 400), (1000, 0), name="Hill Road"),
    road((500, -300), (500, 300), name="River Road"),
]  # fmt: skip


def closed_ring(*shapes, **columns):
    frame = layer(*RING)
    closures, findings = read_closures(marks(*shapes, **columns), frame)
    net = build_network(frame, elevation=None, rig=Rig(), speeds=Speeds(), closures=closures)
    return net, findings


def drive_m(net, start, end):
    tree = drive_tree(net, *at(*start))
    return route_to(net, tree, nearest_access(net, tree, *at(*end))).distance_m


@pytest.mark.parametrize(
    "shape",
    [
        Point(at(480, 12)),  # 12 m off the bridge, 20 m off the road below
        LineString([at(480, -40), at(520, 40)]),  # across it
        box(*at(460, -20), *at(540, 20)),
    ],
    ids=["point", "line", "polygon"],
)
def test_a_closed_bridge_sends_the_rig_round(shape):
    assert drive_m(network(*RING), (100, 0), (900, 0)) == pytest.approx(800, abs=1)
    net, findings = closed_ring(shape, name=["Bridge out"])
    assert findings == []
    assert drive_m(net, (100, 0), (900, 0)) == pytest.approx(100 + 400 + 1000 + 400 + 100, abs=1)
    shut = np.flatnonzero(net.judged.closed)
    assert len(shut)
    assert {net.judged.reasons[i] for i in shut} == {(Reason("closure", source="closure", what="Bridge out"),)}
    assert not net.judged.drivable[shut].any()


def test_a_point_closes_one_storey_and_an_area_all():
    under = [(500, -200), (500, 200)]
    assert drive_m(closed_ring(Point(at(480, 1)))[0], *under) == pytest.approx(400, abs=1)
    net, _ = closed_ring(box(*at(460, -20), *at(540, 20)))
    tree = drive_tree(net, *at(500, -200))
    assert nearest_access(net, tree, *at(500, 200)).offset_m > 100  # the road below is closed too: no way past
    assert {closure_names(r) for r in net.judged.reasons} == {(), ("marked as closed",)}


def test_findings_count_the_roads_that_each_reason_closes():
    net, _ = closed_ring(box(*at(440, -20), *at(560, 20)), Point(at(0, 200)), name=["Bridge out", None])
    texts = [said(f).message for f in net.findings if f.code == "roads_closed"]
    # 10 m of Hill Road; 120 m of Mill Road and its bridge, 40 m of the road below
    assert texts == [
        "4 roads are closed by 'Bridge out': Mill Road, Mill Bridge, River Road (0.16 km).",
        "1 road is closed for no stated reason: Hill Road (0.01 km).",
    ]


def test_a_line_along_a_road_leaves_the_junctions_at_its_ends_open():
    net, _ = closed_ring(LineString([at(0, 2), at(0, 398), at(300, 401), at(1000, 398), at(1000, 3)]), name=["slide"])
    assert drive_m(net, (100, 0), (900, 0)) == pytest.approx(800, abs=1)
    assert float(net.geometry.length_m[net.judged.closed].sum()) == pytest.approx(1800 - 2 * 10, abs=15)


def test_a_short_line_that_only_just_crosses_still_closes():
    net, findings = closed_ring(LineString([at(250, -2), at(250, 60)]))
    assert findings == []
    assert drive_m(net, (100, 0), (900, 0)) > 1500


def test_what_meets_no_road_is_a_finding_and_footpaths_are_no_roads():
    frame = layer(*RING, road((700, 100), (800, 100), highway="footway"))
    closures, findings = read_closures(marks(Point(at(750, 99)), Point(at(750, 29)), name=["far", "near"]), frame)
    assert [c.name for c in closures] == ["near"]
    assert findings[0].code == "closure_without_road"
    assert said(findings[0]).message == "1 closure meets no road (far) and closes nothing."


def test_what_lies_behind_a_closure_names_it():
    dead_end = [
        road((0, 0), (500, 0)),
        road((500, 0), (900, 0), name="Far Road"),
        road((0, 0), (0, 300), access="no"),
        road((0, 300), (0, 600), name="Shut Road"),
    ]
    net = build_network(
        layer(*dead_end),
        elevation=None,
        rig=Rig(),
        speeds=Speeds(),
        closures=[Closure(box(*at(300, -5), *at(310, 5)), "tree down")],
    )
    tree = drive_tree(net, *at(50, 0))
    far, shut = (int(np.flatnonzero(net.tags.name == name)[0]) for name in ("Far Road", "Shut Road"))
    assert tree.closed_off.closures_before(far) == ("tree down",)
    assert tree.closed_off.closures_before(shut) == ()  # a limit, not a closure, parts it


def test_a_closure_on_a_road_that_a_limit_shuts_too_is_not_what_parts_it():
    """Whatever the closure is called: its name is no answer to the question."""
    rows = [road((0, 0), (500, 0)), road((500, 0), (900, 0), maxheight="2.5"), road((900, 0), (1200, 0), name="Far")]
    for name in ("tree down", "", "height limit 2.5 m is below the rig's 3.2 m"):
        net = build_network(
            layer(*rows),
            elevation=None,
            rig=Rig(),
            speeds=Speeds(),
            closures=[Closure(box(*at(600, -5), *at(610, 5)), name)],
        )
        tree = drive_tree(net, *at(50, 0))
        far = int(np.flatnonzero(net.tags.name == "Far")[0])
        assert tree.closed_off.closures_before(far) == ()
        both = np.flatnonzero(net.judged.closed)
        assert [[r.kind for r in net.judged.reasons[i]] for i in both] == [["height limit", "closure"]]
        assert not net.judged.only_closed.any()
        assert reasons_words(net.judged.reasons[both[0]]).endswith(f"; closed: {name}")


def test_danger_areas_are_told_on_the_way_and_close_only_where_they_say_so():
    areas = marks(
        box(*at(200, -50), *at(300, 50)),
        box(*at(350, -50), *at(400, 50)),
        box(*at(600, -9), *at(620, 9)),
        name=["flood", "ash", None],
        closes_roads=["no", " ", "yes"],
    )
    closing, dangers = read_dangers(areas, False)
    assert [c.name for c in closing] == ["hazard area without a name"]
    assert [c.name for c in read_dangers(areas, True)[0]] == ["hazard area ash", "hazard area without a name"]
    assert read_dangers(areas.drop(columns="closes_roads"), False)[0] == ()
    net = build_network(
        layer(road((0, 0), (1000, 0))), elevation=None, rig=Rig(), speeds=Speeds(), closures=closing, dangers=dangers
    )
    tree = drive_tree(net, *at(0, 0))
    assert nearest_access(net, tree, *at(900, 0)).x == pytest.approx(EAST + 600, abs=0.1)
    route = route_to(net, tree, nearest_access(net, tree, *at(500, 0)))
    told = [(ahead_words(h), round(h.running_m), round(h.length_m)) for h in hazards_along(net, route)]
    assert told == [
        ("through hazard area flood: may be blocked or unsafe", 200, 100),
        ("through hazard area ash: may be blocked or unsafe", 350, 50),
    ]
    assert [f.code for f in route.findings] == ["route_hazard_area"]
    assert route.findings[0].severity == "warning"


def test_closures_and_dangers_that_overlap_are_cut_apart():
    net = build_network(
        layer(road((0, 0), (1000, 0))),
        elevation=None,
        rig=Rig(),
        speeds=Speeds(),
        closures=[Closure(box(*at(300, -9), *at(500, 9)), "a"), Closure(box(*at(400, -9), *at(600, 9)), "b")],
        dangers=[Closure(box(*at(100, -9), *at(900, 9)), "c")],
    )
    length = dict.fromkeys((closure_names(r) for r in net.judged.reasons), 0.0)
    for reasons, metres in zip(net.judged.reasons, net.geometry.length_m, strict=True):
        length[closure_names(reasons)] += metres
    assert length == pytest.approx({(): 700, ("a",): 100, ("a", "b"): 100, ("b",): 100}, abs=1e-6)
    (found,) = [f for f in net.findings if f.facts.get("closed_by") == ("a", "b")]
    assert "closed by 'a and b'" in said(found).message
    warned = np.array([any(h.kind == "hazard area" for h in hazards) for hazards in net.hazards])
    assert float(net.geometry.length_m[warned].sum()) == pytest.approx(800)


GAP = [road((0, 0), (500, 0)), road((700, 0), (1200, 0), name="Far Road")]


def with_track(*points, **tags):
    frame = with_tracks(layer(*GAP), marks(LineString([at(*p) for p in points]), **tags))
    return build_network(frame, elevation=None, rig=Rig(), speeds=Speeds())


def test_a_drawn_track_joins_what_it_crosses_and_what_its_ends_nearly_meet():
    # it crosses the first road at x = 400 and ends 12 m short of the second
    net = with_track((400, -50), (400, 200), (688, 0))
    assert drive_m(net, (0, 0), (1200, 0)) == pytest.approx(400 + 200 + np.hypot(288, 200) + 12 + 500, abs=1)
    mine = np.flatnonzero(net.tags.drawn)
    assert set(net.tags.highway[mine]) == {"track"}
    assert set(net.tags.name[mine]) == {"track drawn for this mission"}
    assert net.tags.drawn.sum() < len(net)
    assert any(f.code == "road_ends_joined" for f in net.findings)


def test_a_drawn_track_that_ends_too_far_away_joins_nothing():
    net = with_track((400, 0), (400, 200), (683, 0))  # 17 m short: beyond the 15 m of hand drawing
    tree = drive_tree(net, *at(0, 0))
    assert nearest_access(net, tree, *at(1200, 0)).x < EAST + 690


def test_a_drawn_track_keeps_its_own_tags():
    net = with_track((400, 0), (400, 200), (690, 0), highway=["unclassified"], name=["Cat Line"], maxheight=["2.5"])
    mine = np.flatnonzero(net.tags.drawn)
    assert set(net.tags.name[mine]) == {"Cat Line"}
    assert set(net.tags.highway[mine]) == {"unclassified"}
    assert all((r.kind, r.figure) == ("height limit", 2.5) for i in mine for r in net.judged.reasons[i])
    assert not net.judged.drivable[mine].any()


def test_a_drawn_track_joins_an_extract_that_joins_by_ids_only():
    ids = [np.array([1, 2]), np.array([3, 4]), np.array([5, 6])]
    frame = layer(road((0, 0), (500, 0)), road((700, 0), (1200, 0)), road((450, -100), (450, 100)))
    frame[NODES], frame[WAY] = ids, [10, 11, 12]
    plain = build_network(frame, elevation=None, rig=Rig(), speeds=Speeds())
    assert len(plain) == 3  # the crossing at x = 450 has no common id: a bridge
    both = with_tracks(frame, marks(LineString([at(400, -50), at(400, 200), at(695, 2)])))
    net = build_network(both, elevation=None, rig=Rig(), speeds=Speeds())
    way_m = 400 + 200 + np.hypot(295, 198) + np.hypot(5, 2) + 500
    assert drive_m(net, (0, 0), (1200, 0)) == pytest.approx(way_m, abs=1)
    tree = drive_tree(net, *at(0, 0))
    assert not tree.reached[net.tags.source_row == 2].any()
