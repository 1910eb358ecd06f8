"""Joining lines: drawn cases with answers that can be counted, and properties of random drawings."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString, Point, box

from siteplanner.errors import InputError
from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.roads import hazard_words
from siteplanner.roads.crossings import find_crossings
from siteplanner.roads.network import build_network
from siteplanner.roads.noding import node_lines
from tests.roads.drawn import EAST, NORTH, layer, network, post, road


def about_lines(net):
    """Findings but the count of limits that these bare lines do not state."""
    return [f for f in net.findings if f.code != "road_limits_not_stated"]


def degree(net, x, y):
    node = np.argmin(np.hypot(net.geometry.node_x - EAST - x, net.geometry.node_y - NORTH - y))
    assert np.hypot(net.geometry.node_x[node] - EAST - x, net.geometry.node_y[node] - NORTH - y) < 0.2
    return int((net.geometry.seg_from == node).sum() + (net.geometry.seg_to == node).sum())


def test_a_crossing_is_a_junction():
    net = network(road((0, 0), (100, 0)), road((50, -50), (50, 50)))
    assert len(net) == 4
    assert degree(net, 50, 0) == 4
    assert about_lines(net) == []


@pytest.mark.parametrize("tags", [{"bridge": "yes"}, {"layer": "1"}, {"tunnel": "yes"}, {"layer": -1}])
def test_a_bridge_over_a_road_is_not_joined(tags):
    net = network(road((0, 0), (100, 0)), road((50, -50), (50, 50), **tags))
    assert len(net) == 2
    assert len(net.geometry.node_x) == 4


def test_a_bridge_that_shares_a_vertex_inside_is_not_joined_either():
    net = network(road((0, 0), (50, 0), (100, 0)), road((50, -50), (50, 0), (50, 50), bridge="yes"))
    assert len(net) == 2


def test_the_road_below_is_warned():
    net = network(road((0, 0), (100, 0)), road((50, -50), (50, 50), bridge="yes"))
    below = [h for h in net.hazards[0] if h.kind == "under bridge"]
    assert len(below) == 1
    assert below[0].along_m == pytest.approx(50)
    assert below[0].severity == "warning"
    assert not [h for h in net.hazards[1] if h.kind == "under bridge"]


def test_two_roads_meet_on_a_bridge():
    net = network(road((0, 0), (100, 0), bridge="yes"), road((50, -50), (50, 50), bridge="yes"))
    assert len(net) == 4


def test_without_crossings_only_common_vertices_join():
    rows = [road((0, 0), (100, 0)), road((50, -50), (50, 50)), road((20, 0), (20, 40))]
    assert len(network(*rows, node_crossings=False)) == 3
    rows = [road((0, 0), (50, 0), (100, 0)), road((50, -50), (50, 0), (50, 50))]
    assert len(network(*rows, node_crossings=False)) == 4


def test_an_end_on_a_line_joins_silently():
    net = network(road((0, 0), (100, 0)), road((30, 0), (30, 80)))
    assert len(net) == 3
    assert degree(net, 30, 0) == 3
    assert about_lines(net) == []


def test_a_near_miss_is_led_to_the_line_and_said():
    net = network(road((0, 0), (100, 0)), road((30, 1.5), (30, 80)))
    assert degree(net, 30, 0) == 3
    assert [f.code for f in about_lines(net)] == ["road_ends_joined"]
    assert "1.5 m" in said(net.findings[0]).message
    assert net.geometry.length_m.sum() == pytest.approx(100 + 80, abs=1e-6)


def test_two_ends_that_miss_each_other_meet_once():
    net = network(road((0, 0), (100, 0)), road((101, 0), (200, 0)))
    assert len(net.geometry.node_x) == 3
    assert len(net) == 2
    assert net.geometry.length_m.sum() == pytest.approx(200, abs=1e-6)


def test_a_wide_gap_stays_open():
    net = network(road((0, 0), (100, 0)), road((30, 3), (30, 80)))
    assert len(net) == 2


def test_a_near_miss_below_a_bridge_stays_open():
    net = network(road((0, 0), (100, 0), bridge="yes"), road((30, 1.5), (30, 80)))
    assert len(net) == 2


def test_an_overshoot_is_a_stub_and_no_second_junction():
    net = network(road((0, 0), (100, 0)), road((30, -0.8), (30, 80)))
    assert degree(net, 30, 0) == 4
    assert net.geometry.length_m.sum() == pytest.approx(100 + 80.8, abs=1e-6)


def test_ends_within_the_snap_tolerance_are_one_node():
    net = network(road((0, 0), (100, 0)), road((100.05, 0.03), (200, 0)))
    assert len(net.geometry.node_x) == 3
    assert about_lines(net) == []


def test_a_line_that_crosses_itself_is_cut():
    net = network(road((0, 0), (100, 0), (100, 50), (50, 50), (50, -50)))
    assert len(net) == 3
    assert degree(net, 50, 0) == 4


def test_a_loop_that_ends_on_itself():
    net = network(road((0, 0), (50, 0), (80, 30), (80, -30), (50, 0)))
    assert len(net) == 2
    assert degree(net, 50, 0) == 3


def test_three_lines_through_one_point_make_one_node():
    net = network(road((0, 0), (100, 0)), road((50, -50), (50, 50)), road((0, -50), (100, 50)))
    assert len(net) == 6
    assert degree(net, 50, 0) == 6


def test_two_lines_that_overlap_share_their_stretch():
    net = network(road((0, 0), (100, 0)), road((60, 0), (160, 0)))
    assert sorted(np.round(net.geometry.length_m, 6).tolist()) == [40, 40, 60, 60]
    assert len(net.geometry.node_x) == 4


def test_a_bollard_parts_the_road_and_a_gate_does_not():
    rows = [road((0, 0), (100, 0))]
    parted = network(*rows, post(40, 0, barrier="bollard"))
    assert len(parted) == 2
    assert len(parted.geometry.node_x) == 4
    gated = network(*rows, post(40, 0, barrier="gate"))
    assert len(gated.geometry.node_x) == 2  # what the rig passes is told on its road and cuts nothing
    assert [hazard_words(h) for h in gated.hazards[0]] == ["gate: may be locked"]


def test_a_closure_cuts_the_road_at_its_edge():
    area = box(EAST + 40, NORTH - 10, EAST + 60, NORTH + 10)
    net = network(road((0, 0), (100, 0)), closures=area)
    assert net.geometry.length_m.tolist() == pytest.approx([40, 20, 40])
    assert net.judged.drivable.tolist() == [True, False, True]
    assert [r.kind for r in net.judged.reasons[1]] == ["closure"]


def test_lines_that_are_no_lines_are_left_out_and_counted():
    frame = layer(
        road((0, 0), (100, 0)),
        {"geometry": None, "highway": "track"},
        {"geometry": LineString(), "highway": "track"},
        {"geometry": LineString([(1, 1), (1, 1)])},
        {"geometry": LineString([(EAST, NORTH, 7), (EAST, NORTH + 9, 8)]), "highway": "track"},
        {
            "geometry": MultiLineString(
                [[(EAST, NORTH + 20), (EAST + 9, NORTH + 20)], [(EAST, NORTH + 30), (EAST + 9, NORTH + 30)]]
            ),
            "highway": "track",
        },
    )
    net = build_network(frame, elevation=None, rig=Rig(), speeds=Speeds())
    assert len(net) == 4
    assert net.tags.source_row.tolist() == [0, 4, 5, 5]
    found = [f for f in net.findings if f.code == "road_geometry_skipped"]
    assert "3 of 6" in said(found[0]).message


def test_the_crs_must_be_metric():
    frame = layer(road((0, 0), (100, 0)))
    with pytest.raises(InputError, match="meters"):
        build_network(frame.to_crs(4326), elevation=None, rig=Rig(), speeds=Speeds())
    with pytest.raises(InputError, match="no coordinate reference"):
        build_network(frame.set_crs(None, allow_override=True), elevation=None, rig=Rig(), speeds=Speeds())
    with pytest.raises(InputError, match="no usable line"):
        build_network(layer({"geometry": Point(1, 1), "highway": "x"}), elevation=None, rig=Rig(), speeds=Speeds())


_COORDINATE = st.integers(0, 40)
_LINE = st.lists(st.tuples(_COORDINATE, _COORDINATE), min_size=2, max_size=5).filter(
    lambda p: all(a != b for a, b in pairwise(p))
)


@settings(deadline=None, max_examples=80)
@given(st.lists(_LINE, min_size=1, max_size=7))
@example([[(0, 7), (15, 27)], [(0, 8), (15, 27), (14, 26)]])  # an end that turns back over its own line
def test_noding_keeps_the_length_and_leaves_no_crossing(drawing):
    # whole numbers, so that touching, overlapping and crossing on a vertex all happen often
    lines = np.array([LineString([(10.0 * x, 10.0 * y) for x, y in points]) for points in drawing], object)
    noded = node_lines(lines, np.zeros(len(lines), int))
    led = noded.mended[:, 2].sum()  # near misses were made longer by their gaps
    assert shapely.length(noded.piece).sum() == pytest.approx(shapely.length(lines).sum() + led, abs=1e-6)
    ends = shapely.points(noded.node_x, noded.node_y)
    a, b, x, y = find_crossings(noded.piece)
    for i, j, px, py in zip(a, b, x, y, strict=True):  # pieces may meet at their ends only
        at = shapely.points(px, py)
        assert shapely.distance(at, ends).min() < 0.01, (noded.piece[i], noded.piece[j])
    for piece, start, end in zip(noded.piece, noded.start_node, noded.end_node, strict=True):
        first, last = shapely.get_coordinates(piece)[[0, -1]]
        assert np.hypot(noded.node_x[start] - first[0], noded.node_y[start] - first[1]) < 0.01
        assert np.hypot(noded.node_x[end] - last[0], noded.node_y[end] - last[1]) < 0.01


@settings(deadline=None, max_examples=60)
@given(st.lists(_LINE, min_size=2, max_size=6))
@example([[(26, 2), (21, 39)], [(9, 20), (24, 37)]])  # a crossing half way between two millionths
def test_crossings_agree_with_geos(drawing):
    lines = np.array([LineString(points) for points in drawing], object)
    a, b, x, y = find_crossings(lines)
    vertices = [set(map(tuple, points)) for points in drawing]
    for i in range(len(lines)):
        for j in range(i + 1, len(lines)):
            mine = [(px, py) for k, m, px, py in zip(a, b, x, y, strict=True) if (k, m) == (i, j)]
            parts = shapely.get_parts(shapely.intersection(lines[i], lines[j]))
            common = vertices[i] & vertices[j]
            # every isolated crossing is found, save where both have a vertex there (found as a common vertex)
            known = shapely.MultiPoint([*mine, *common])
            for part in parts:
                if part.geom_type == "Point":
                    assert shapely.distance(part, known) < 1e-6  # metres; NaN where nothing is known
            for px, py in mine:
                assert shapely.distance(lines[i], Point(px, py)) < 1e-6
                assert shapely.distance(lines[j], Point(px, py)) < 1e-6
