"""What a place hangs on: drawn cases; each stretch removed in turn, and networkx' bridges, as second opinions."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from siteplanner.roads.exits import Edges, OnRoad, exit_tree
from siteplanner.roads.lifeline import Stretch, lifeline, thread
from siteplanner.roads.routing import drive_tree, nearest_access
from tests.roads.drawn import EAST, NORTH, network, post, road
from tests.roads.test_routing import town


def at(net, tree, x, y):
    return nearest_access(net, tree, EAST + x, NORTH + y)


def hangs(net, start, place):
    tree = drive_tree(net, EAST + start[0], NORTH + start[1])
    return lifeline(net, tree, at(net, tree, *place))


def exits_of(net):
    found = [net.geometry.line[s].interpolate(m) for s, m in net.exits]
    return {(round(p.x - EAST), round(p.y - NORTH)) for p in found}


RING = [
    road((0, 0), (1000, 0)),
    road((1000, 0), (2000, 0)),
    road((2000, 0), (2000, 500)),
    road((2000, 500), (1000, 500)),
    road((1000, 500), (1000, 0)),
    road((2000, 500), (2600, 500)),
    road((2600, 500), (2600, 900)),
]


def test_a_dead_end_hangs_on_one_road_and_a_ring_on_none():
    net = network(*RING)
    ring = hangs(net, (1000, 0), (2000, 250)).staging
    assert (ring.ways, ring.stretches) == (2, ())
    end = hangs(net, (1000, 0), (2600, 800)).staging
    assert end.ways == 1
    assert [s.length_m for s in end.stretches] == pytest.approx([300, 600])  # from the place on, the last 100 m not
    assert end.length_m == pytest.approx(900)


def test_the_way_in_from_the_yard_is_not_the_way_out_of_the_data():
    """The yard lies on the long road in the west, the spot on the ring: the road west is all that leads to the yard,
    while the outside is reached two ways."""
    net = network(*RING)
    found = hangs(net, (200, 0), (2000, 250))
    assert found.staging.ways == 1
    assert found.staging.length_m == pytest.approx(800)
    assert found.outside.ways == 2


def test_the_segment_of_the_yard_counts_from_the_yard_on():
    net = network(*RING)
    assert hangs(net, (200, 0), (900, 0)).staging.length_m == pytest.approx(700)
    assert hangs(net, (200, 0), (0, 0)).staging.length_m == pytest.approx(200)
    here = hangs(net, (200, 0), (200, 0))
    assert (here.staging.ways, here.staging.stretches) == (2, ())
    # on a ring road drawn as one line the yard has two ways to every place
    loop = network(road((0, 0), (300, 0), (300, 300), (0, 300), (0, 0)))
    assert hangs(loop, (100, 0), (300, 100)).staging.ways == 2


INSIDE = [
    road((0, 0), (3000, 0)),
    road((3000, 0), (3000, 2000)),
    road((0, 0), (0, 2000)),
    road((0, 2000), (3000, 2000)),
]


@pytest.mark.parametrize(
    ("rows", "exits"),
    [
        # a dead end 40 m inside the box around the data: the clip at the box; one 100 m inside: a dead end
        ([road((1000, 0), (1000, 1960))], {(1000, 1960)}),
        ([road((1000, 0), (1000, 1900))], set()),
        ([road((1000, 0), (1000, 1960), noexit="yes")], set()),
        ([road((1000, 0), (1000, 1960)), post(1000, 1960, noexit="yes")], set()),
        # the rest of a road beyond which the rig may not go, and such a road itself
        ([road((1000, 0), (1000, 1960)), road((1000, 1960), (1000, 1990), maxheight="2")], set()),
        ([road((1000, 0), (1000, 1960), maxweight="3")], set()),
    ],
)
def test_only_a_road_for_the_rig_cut_at_the_edge_is_an_exit(rows, exits):
    assert exits_of(network(*INSIDE, *rows)) == exits


def test_a_road_that_crosses_the_edge_of_what_was_read_is_an_exit_and_the_user_s_word_goes_first():
    box = Point(EAST, NORTH).buffer(1).envelope  # nothing
    ring = LineString([(EAST - 500, NORTH - 500), (EAST + 1500, NORTH - 500), (EAST + 1500, NORTH + 1500),
                       (EAST - 500, NORTH + 1500), (EAST - 500, NORTH - 500)])  # fmt: skip
    net = network(*RING, edges=Edges(boxes=(ring,)))
    assert exits_of(net) == {(1500, 0), (1500, 500)}  # the ring sticks out in the east
    net = network(*RING, edges=Edges(within=(Polygon(ring),)))
    assert exits_of(net) == {(2600, 900)}  # the dead end outside: whole lines are read, not what follows them
    net = network(*RING, edges=Edges(boxes=(ring,), given=(Point(EAST + 700, NORTH + 20), box)))
    assert exits_of(net) == {(700, 0), (0, 0), (1, 0)}
    line = LineString([(EAST + 1500, NORTH - 100), (EAST + 1500, NORTH + 100)])
    assert exits_of(network(*RING, edges=Edges(given=(line,)))) == {(1500, 0)}


def test_where_nothing_leaves_the_data_the_outside_is_not_known():
    net = network(*INSIDE)
    assert net.exits == ()
    assert hangs(net, (100, 0), (2000, 0)).outside is None


def test_one_way_rules_do_not_hold_people_in_but_limits_do():
    rows = [
        road((0, 0), (500, 0)),
        road((500, 0), (500, 500), oneway="-1"),
        road((500, 500), (0, 500)),
        road((0, 500), (0, 0)),
    ]
    assert hangs(network(*rows), (0, 0), (0, 250)).staging.ways == 2
    net = network(*rows[:1], {**rows[1], "maxheight": "2"}, *rows[2:])
    assert hangs(net, (250, 0), (250, 500)).staging.ways == 1


def test_what_hangs_on_a_lost_stretch():
    net = network(*RING)
    tree = drive_tree(net, EAST + 200, NORTH)
    far, ring, near = (lifeline(net, tree, at(net, tree, *p)).staging for p in ((2600, 800), (2000, 250), (500, 0)))
    bridge = [s for s in far.stretches if s not in ring.stretches][:1]
    assert far.needs(bridge)
    assert not ring.needs(bridge)
    assert ring.needs(near.stretches)
    # the yard's road beyond a place on it is nothing to that place
    beyond = [Stretch(s.segment, 900.0, 700.0) for s in near.stretches]
    assert ring.needs(beyond)
    assert not near.needs(beyond)


def parted(net, exits, place):
    """networkx, from the drawing alone: roads cut at the place and at the exits, then each piece taken away in turn.

    (linked at all, the pieces (segment, low, high) that part them, the same by networkx' own bridges).
    """
    graph = nx.MultiGraph()
    at_points: dict[int, set[float]] = {}
    for segment, along in (*exits, place):
        at_points.setdefault(segment, set()).add(float(along))
    for i in np.flatnonzero(net.judged.drivable).tolist():
        length = float(net.geometry.length_m[i])
        cut = sorted({0.0, length, *(a for a in at_points.get(i, ()) if 0 < a < length)})
        for a, b in pairwise(cut):
            graph.add_edge(*(node_of(net, i, c) for c in (a, b)), piece=(i, a, b))
    for k, exit_ in enumerate(exits):
        for _ in range(2):
            graph.add_edge(node_of(net, *exit_), "world", piece=("world", k, 0))
    here = node_of(net, *place)
    if here not in graph or "world" not in graph or not nx.has_path(graph, here, "world"):
        return False, set(), set()
    slow = set()
    for a, b, key, piece in list(graph.edges(keys=True, data="piece")):
        graph.remove_edge(a, b, key)
        if not nx.has_path(graph, here, "world"):
            slow.add(piece)
        graph.add_edge(a, b, key, piece=piece)
    simple = nx.Graph()
    count: dict = {}
    for a, b, piece in graph.edges(data="piece"):
        pair = frozenset((a, b))
        count.setdefault(pair, []).append(piece)
        simple.add_edge(a, b)
    theirs = set()
    for a, b in nx.bridges(simple):
        pieces = count[frozenset((a, b))]
        if len(pieces) == 1:
            cutgraph = simple.copy()
            cutgraph.remove_edge(a, b)
            if not nx.has_path(cutgraph, here, "world"):
                theirs.add(pieces[0])
    return True, slow, theirs


def node_of(net, segment, along):
    if along <= 0:
        return int(net.geometry.seg_from[segment])
    if along >= float(net.geometry.length_m[segment]):
        return int(net.geometry.seg_to[segment])
    return ("on", segment, float(along))


def compare(net, exits, places):
    tree = exit_tree(net.geometry, net.judged.drivable, exits)
    cut = 0
    for place in places:
        linked, slow, theirs = parted(net, exits, place)
        ours = thread(tree, place)
        assert (ours.ways > 0) == linked
        assert slow == theirs
        assert ours.length_m == pytest.approx(sum(b - a for _, a, b in slow), abs=1e-6)
        assert {(s.segment, *sorted((s.start_m, s.end_m))) for s in ours.stretches} == slow
        assert (ours.ways == 1) == bool(slow)
        cut += bool(slow)
    return cut


def test_equal_to_removing_each_stretch_in_turn_on_random_networks():
    assert sum(compare_in_a_town(seed) for seed in range(12)) > 60


def compare_in_a_town(seed):
    net = town(seed, size=5, missing=0.35)
    rng = np.random.default_rng(seed)
    drivable = np.flatnonzero(net.judged.drivable)

    def some(count):
        picked = rng.choice(drivable, count)
        shares = rng.choice([0.0, 0.3, 0.5, 0.8, 1.0], count)
        return [OnRoad(int(i), float(net.geometry.length_m[i]) * s) for i, s in zip(picked, shares, strict=True)]

    return sum(compare(net, some(k), some(12)) for k in (1, 2, 3))
