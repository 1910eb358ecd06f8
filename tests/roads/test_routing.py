"""Shortest paths: two published graphs, networkx as second opinion, closed forms on drawn roads."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.roads.routing import drive_tree, nearest_access, nearest_accesses, route_to
from tests.roads.drawn import EAST, NORTH, ground, network, road

# networkx, shortest_paths/tests/test_weighted.py, graph XG (published there with its distances and path)
XG = (
    {"su": 10, "sx": 5, "uv": 1, "ux": 2, "vy": 1, "xu": 3, "xv": 5, "xy": 2, "ys": 7, "yv": 6},
    {"s": 0, "x": 5, "y": 7, "u": 8, "v": 9},
    {"v": "sxuv"},
)
# Cormen, Leiserson, Rivest, Stein: Introduction to Algorithms, figure 24.6
CLRS = (
    {"st": 10, "sy": 5, "tx": 1, "ty": 2, "yt": 3, "yx": 9, "yz": 2, "xz": 4, "zx": 6, "zs": 7},
    {"s": 0, "y": 5, "z": 7, "t": 8, "x": 9},
    {"x": "sytx"},
)


def published(weights):
    """The graph drawn as one-way roads between nodes on a circle, with the published weights as seconds."""
    letters = sorted(set("".join(weights)))
    at = {c: (1000 * np.sin(2 * np.pi * k / 5), 1000 * np.cos(2 * np.pi * k / 5)) for k, c in enumerate(letters)}
    net = network(*[road(at[a], at[b], oneway="yes", name=a + b) for a, b in weights], node_crossings=False)
    assert len(net.geometry.node_x) == len(letters)
    node = {
        c: int(np.argmin(np.hypot(net.geometry.node_x - EAST - x, net.geometry.node_y - NORTH - y)))
        for c, (x, y) in at.items()
    }
    return net.with_times(np.array([float(weights[n]) for n in net.tags.name]), net.times.backward_s), node, at


@pytest.mark.parametrize(("weights", "distances", "paths"), [XG, CLRS])
def test_published_shortest_paths(weights, distances, paths):
    net, node, at = published(weights)
    tree = drive_tree(net, EAST + at["s"][0], NORTH + at["s"][1])
    for letter, seconds in distances.items():
        assert tree.node_s[node[letter]] == pytest.approx(seconds, abs=1e-6)
    for goal, path in paths.items():
        access = nearest_access(net, tree, EAST + at[goal][0], NORTH + at[goal][1])
        route = route_to(net, tree, access)
        assert route.time_s == pytest.approx(distances[goal], abs=1e-6)
        assert [str(net.tags.name[s]) for s in route.segments] == [a + b for a, b in pairwise(path)]


def second_opinion(net, tree):
    """Seconds to all nodes by networkx, from the staging point put in as a node of its own."""
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(range(len(net.geometry.node_x)))
    for i in range(len(net)):
        for a, b, seconds in (
            (net.geometry.seg_from[i], net.geometry.seg_to[i], net.times.forward_s[i]),
            (net.geometry.seg_to[i], net.geometry.seg_from[i], net.times.backward_s[i]),
        ):
            if np.isfinite(seconds):
                graph.add_edge(int(a), int(b), weight=float(seconds))
    s, share = tree.segment, tree.along_m / net.geometry.length_m[tree.segment]
    for node, seconds, part in (
        (net.geometry.seg_from[s], net.times.backward_s[s], share),
        (net.geometry.seg_to[s], net.times.forward_s[s], 1 - share),
    ):
        if part == 0 or np.isfinite(seconds):
            graph.add_edge("staging", int(node), weight=float(seconds * part) if part > 0 else 0.0)
    lengths = nx.single_source_dijkstra_path_length(graph, "staging")
    return np.array([lengths.get(k, np.inf) for k in range(len(net.geometry.node_x))])


def town(seed, size=7, oneways=0.3, missing=0.2, **options):
    rng = np.random.default_rng(seed)
    xy = np.stack(np.meshgrid(np.arange(size) * 120.0, np.arange(size) * 100.0), -1)
    xy += rng.uniform(-30, 30, (size, size, 2))
    rows = []
    classes = ["residential", "primary", "track", "service", "secondary"]
    for i in range(size):
        for j in range(size):
            for a, b in ((i, j + 1), (i + 1, j)):
                if a < size and b < size and rng.random() > missing:
                    tags = {
                        "oneway": rng.choice(["yes", "-1"]) if rng.random() < oneways else None,
                        "maxheight": "2" if rng.random() < 0.05 else None,
                    }
                    rows.append(road(xy[i, j], xy[a, b], **tags) | {"highway": str(rng.choice(classes))})
    return network(*rows, elevation=ground(lambda x, y: 100 + 0.04 * x + 8 * np.sin(y / 90)), **options)


@pytest.mark.parametrize("seed", range(8))
def test_all_nodes_agree_with_networkx(seed):
    net = town(seed)
    rng = np.random.default_rng(seed)
    most = 0
    for _ in range(6):  # some starts are trapped by one-way streets
        tree = drive_tree(net, EAST + rng.uniform(0, 700), NORTH + rng.uniform(0, 600))
        if tree.refused is not None:  # beside a road that is too low
            assert not np.isfinite(tree.node_s).any()
            continue
        theirs = second_opinion(net, tree)
        reached = np.isfinite(theirs)
        most = max(most, int(reached.sum()))
        assert np.array_equal(np.isfinite(tree.node_s), reached)
        assert tree.node_s[reached] == pytest.approx(theirs[reached], abs=1e-6)
    assert most > 20


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000), st.floats(0, 720), st.floats(0, 600), st.floats(0, 720), st.floats(0, 600))
def test_a_route_is_the_sum_of_its_parts(seed, sx, sy, x, y):
    net = town(seed, size=5)
    tree = drive_tree(net, EAST + sx, NORTH + sy)
    assume(tree.refused is None)
    access = nearest_access(net, tree, EAST + x, NORTH + y)
    route = route_to(net, tree, access)
    assert route.distance_m == pytest.approx(np.abs(route.end_m - route.start_m).sum(), abs=1e-9)
    assert route.line.length == pytest.approx(route.distance_m, abs=0.01)
    assert route.time_s == pytest.approx(access.arrival_s, abs=1e-6)
    assert route.running_m[-1] == pytest.approx(route.distance_m)
    assert route.profile_distance_m[-1] == pytest.approx(route.distance_m)
    start, end = shapely.points(route.line.coords[0]), shapely.points(route.line.coords[-1])
    assert start.distance(shapely.points(tree.snapped_x, tree.snapped_y)) < 0.01
    assert end.distance(shapely.points(access.x, access.y)) < 0.01
    for k, segment in enumerate(route.segments):  # only ways that may be driven
        seconds = net.times.forward_s if route.directions[k] > 0 else net.times.backward_s
        assert np.isfinite(seconds[segment]) or route.start_m[k] == route.end_m[k]
    ahead = route.directions > 0
    begin = np.where(ahead, net.geometry.seg_from[route.segments], net.geometry.seg_to[route.segments])
    end_node = np.where(ahead, net.geometry.seg_to[route.segments], net.geometry.seg_from[route.segments])
    assert np.array_equal(end_node[:-1], begin[1:])  # each segment begins where the last one ended
    # the nearest place on any reached road, by brute force
    others = tree.reached & (np.arange(len(net)) != tree.segment)  # the start's own street may be open one way only
    point = shapely.points(EAST + x, NORTH + y)
    nearest = min(
        shapely.distance(net.geometry.line[others], point).min(initial=np.inf),
        point.distance(shapely.points(tree.snapped_x, tree.snapped_y)),
    )
    assert access.offset_m <= nearest + 1e-6
    if access.segment != tree.segment:
        assert access.offset_m == pytest.approx(nearest, abs=1e-6)


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10_000), st.floats(0, 720), st.floats(0, 600), st.floats(0, 720), st.floats(0, 600))
def test_there_and_back_take_the_same_time_without_one_ways(seed, sx, sy, x, y):
    net = town(seed, size=5, oneways=0.0)
    tree = drive_tree(net, EAST + sx, NORTH + sy)
    assume(tree.refused is None)
    there = nearest_access(net, tree, EAST + x, NORTH + y)
    assume(route_to(net, tree, there).distance_m > 1)
    back_tree = drive_tree(net, there.x, there.y)
    back = nearest_access(net, back_tree, tree.snapped_x, tree.snapped_y, 0.01)
    assert back.arrival_s == pytest.approx(there.arrival_s, abs=1e-3)  # snapping onto the line moves by a micron
    out, home = route_to(net, tree, there), route_to(net, back_tree, back)
    assert home.distance_m == pytest.approx(out.distance_m, abs=0.01)
    assert home.climb_m == pytest.approx(out.descent_m, abs=0.01)
    assert home.up_grade_pct == pytest.approx(out.down_grade_pct, abs=0.2)  # one sample more or less at an end


def test_staging_in_the_middle_of_a_road():
    net = network(road((0, 0), (1000, 0)))
    tree = drive_tree(net, EAST + 300, NORTH + 40)
    assert tree.offset_m == pytest.approx(40)
    assert (tree.along_m, tree.snapped_x, tree.snapped_y) == pytest.approx((300, EAST + 300, NORTH))
    for x in (100, 300, 800):
        route = route_to(net, tree, nearest_access(net, tree, EAST + x, NORTH))
        assert route.distance_m == pytest.approx(abs(x - 300))
        assert route.time_s == pytest.approx(abs(x - 300) / (30 / 3.6))
    assert [f.code for f in tree.findings] == ["staging_off_road"]
    assert "40 m" in said(tree.findings[0]).message
    assert drive_tree(net, EAST + 300, NORTH + 9).findings == ()
    far = drive_tree(net, EAST + 300, NORTH + 400)  # never moved that far: no way in
    assert [f.code for f in far.findings] == ["staging_no_way"]
    assert "400 m" in said(far.findings[0]).message
    assert not far.reached.any()


def test_a_one_way_street_is_driven_round_the_block():
    block = [(0, 0), (100, 0), (100, 100), (0, 100)]
    rows = [road(a, b, oneway="yes") for a, b in zip(block, [*block[1:], block[0]], strict=True)]
    net = network(*rows)
    tree = drive_tree(net, EAST + 50, NORTH)
    behind = nearest_access(net, tree, EAST + 20, NORTH - 5)
    assert route_to(net, tree, behind).distance_m == pytest.approx(370)
    ahead = nearest_access(net, tree, EAST + 80, NORTH - 5)
    assert route_to(net, tree, ahead).distance_m == pytest.approx(30)


def test_a_place_behind_the_start_of_a_one_way_street_is_not_reached():
    net = network(road((0, 0), (100, 0), oneway="yes"))
    tree = drive_tree(net, EAST + 50, NORTH)
    ahead = nearest_access(net, tree, EAST + 20, NORTH)
    assert (ahead.along_m, ahead.offset_m, ahead.arrival_s) == pytest.approx((50, 30, 0), abs=1e-6)
    assert nearest_access(net, tree, EAST + 20, NORTH, 29) is None
    assert nearest_access(net, tree, EAST + 70, NORTH).arrival_s == pytest.approx(20 / (30 / 3.6))


def test_access_only_from_reached_roads_for_the_rig():
    net = network(road((0, 0), (1000, 0)), road((0, 30), (1000, 30)), road((500, 0), (500, -400), maxheight="2"))
    tree = drive_tree(net, EAST, NORTH)
    access = nearest_access(net, tree, EAST + 600, NORTH + 29)
    assert (access.y, access.offset_m) == pytest.approx((NORTH, 29))
    assert nearest_access(net, tree, EAST + 600, NORTH + 29, max_offset_m=28) is None
    below = nearest_access(net, tree, EAST + 501, NORTH - 100)
    assert below.offset_m == pytest.approx(100)


def test_many_points_at_once_give_the_same():
    net = town(3)
    tree = drive_tree(net, EAST + 300, NORTH + 300)
    rng = np.random.default_rng(0)
    x, y = EAST + rng.uniform(0, 700, 50), NORTH + rng.uniform(0, 600, 50)
    together = nearest_accesses(net, tree, x, y, 60.0)
    assert together == [nearest_access(net, tree, a, b, 60.0) for a, b in zip(x, y, strict=True)]
    assert 0 < sum(a is None for a in together) < 50


def test_roads_that_hang_apart_are_reported():
    net = network(
        road((0, 0), (1000, 0)),
        road((200, 40), (200, 340)),
        road((200, 340), (600, 340)),
        road((900, -25), (900, -125)),
    )
    tree = drive_tree(net, EAST, NORTH)
    big, small = tree.unreached
    assert big.length_m == pytest.approx(700)
    assert len(big.segments) == 2
    assert (big.x, big.y, big.reached_x, big.reached_y) == pytest.approx((EAST + 200, NORTH + 40, EAST + 200, NORTH))
    assert (big.gap_m, small.gap_m) == pytest.approx((40, 25))
    finding = next(f for f in tree.findings if f.code == "roads_not_reached")
    assert "2 parts" in said(finding).message
    assert "nearest gap is 40 m" in said(finding).message


def test_no_road_for_the_rig_is_no_way_in_with_the_reason():
    net = network(road((0, 0), (100, 0), maxheight="2", name="Low Lane"))
    tree = drive_tree(net, EAST, NORTH)
    assert (tree.refused.kind, tree.refused.name, tree.refused.reasons[0].figure) == ("none_for_rig", "Low Lane", 2.0)
    assert nearest_access(net, tree, EAST + 50, NORTH) is None
    assert [f.code for f in tree.findings] == ["staging_no_way"]
    assert "Low Lane" in said(tree.findings[0]).message
    (about,) = [f for f in net.findings if f.code == "roads_not_for_rig"]
    assert about.facts["by_kind"] == (("height limit", pytest.approx(100)),)
    assert "height limit 2 m on Low Lane (100 m)" in said(about).message


def test_route_tells_grades_climb_and_unknown_limits():
    hill = ground(lambda x, y: 200 + 0.1 * np.maximum(0, 500 - np.abs(x - 500)))  # a ridge 50 m high at x = 500
    net = network(
        road((0, 0), (1000, 0), highway="service", maxheight="5"),
        road((1000, 0), (1500, 0), highway="service", maxweight="20"),
        elevation=hill,
    )
    tree = drive_tree(net, EAST, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + 1500, NORTH))
    assert (route.up_grade_pct, route.down_grade_pct) == pytest.approx((10, 10), abs=0.01)
    assert route.climb_m == pytest.approx(50, abs=2)  # the crest is rounded off over the base length
    assert route.descent_m == pytest.approx(50, abs=2)
    told = unknown_along_words(route.unknown)
    assert "height limit not stated on 0.5 of 1.5 km" in told
    assert "weight limit not stated on 1.0 of 1.5 km" in told
    assert {("height limit", 500), ("weight limit", 1000)} <= {(u.kind, round(u.length_m)) for u in route.unknown}
    half = route_to(net, tree, nearest_access(net, tree, EAST + 400, NORTH))
    assert half.profile_elevation_m[-1] == pytest.approx(240, abs=0.1)


def test_cautions_on_the_way_become_findings():
    net = network(road((0, 0), (500, 0)), road((500, 0), (1000, 0), ford="yes"), road((0, 9), (0, 500), ford="yes"))
    tree = drive_tree(net, EAST, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + 900, NORTH))
    assert [f.code for f in route.findings] == ["route_ford"]
    assert route.findings[0].severity == "warning"
