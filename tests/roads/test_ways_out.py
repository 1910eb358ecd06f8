"""Ways out: drawn cases, and networkx' maximum flow as second opinion (Menger: disjoint ways = smallest cut)."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest

from siteplanner.planning.telling.findings import said
from siteplanner.roads.exits import exit_tree, outer_ends
from siteplanner.roads.routing import AccessPoint, drive_tree, nearest_access
from siteplanner.roads.ways_out import ways_out
from tests.roads.drawn import EAST, NORTH, network, road
from tests.roads.test_routing import town


def at(net, tree, x, y):
    return nearest_access(net, tree, EAST + x, NORTH + y)


RING = [
    road((0, 0), (1000, 0)),
    road((1000, 0), (2000, 0)),
    road((2000, 0), (2000, 500)),
    road((2000, 500), (1000, 500)),
    road((1000, 500), (1000, 0)),
    road((2000, 500), (2600, 500)),
    road((2600, 500), (2600, 900)),
]


def test_a_dead_end_has_one_way_and_a_ring_two():
    net = network(*RING)
    tree = drive_tree(net, EAST + 1000, NORTH)
    ring = ways_out(net, at(net, tree, 2000, 250), tree, exits="staging")
    assert (ring.count, ring.cut_segments) == (2, ())
    end = ways_out(net, at(net, tree, 2600, 800), tree, exits="staging")
    assert end.count == 1
    assert [float(net.geometry.length_m[s]) for s in end.cut_segments] == pytest.approx(
        [400, 600]
    )  # from the place outward
    assert ring.finding(net) is None
    assert end.finding(net).code == "one_way_in"
    assert "2 road sections (1.0 km)" in said(end.finding(net)).message


def test_the_world_beyond_the_data_counts_as_a_way_out():
    net = network(*RING)
    tree = drive_tree(net, EAST + 1000, NORTH)
    ends = {
        (round(net.geometry.node_x[k] - EAST), round(net.geometry.node_y[k] - NORTH))
        for k in outer_ends(net.geometry, net.judged.drivable)
    }
    assert ends == {(0, 0), (2600, 900)}
    assert ways_out(net, at(net, tree, 2600, 800), tree).count == 2


def test_one_way_rules_do_not_hold_people_in_but_limits_do():
    rows = [
        road((0, 0), (500, 0)),
        road((500, 0), (500, 500), oneway="-1"),
        road((500, 500), (0, 500)),
        road((0, 500), (0, 0)),
    ]
    net = network(*rows)
    tree = drive_tree(net, EAST, NORTH)
    assert ways_out(net, at(net, tree, 0, 250), tree, exits="staging").count == 2
    net = network(*rows[:1], {**rows[1], "maxheight": "2"}, *rows[2:])
    tree = drive_tree(net, EAST + 250, NORTH)
    assert ways_out(net, at(net, tree, 250, 500), tree, exits="staging").count == 1


def test_staging_exits_need_the_tree():
    net = network(*RING)
    with pytest.raises(ValueError, match="needs the drive tree"):
        ways_out(net, at(net, drive_tree(net, EAST, NORTH), 0, 0), exits="staging")


@pytest.mark.parametrize("seed", range(6))
def test_counts_agree_with_maximum_flow(seed):
    net = town(seed, size=5, missing=0.35)
    exits = np.unique(np.random.default_rng(seed).integers(0, len(net.geometry.node_x), 2))
    found = exit_tree(net.geometry, net.judged.drivable, exits)
    graph = nx.DiGraph()
    capacity: dict[tuple, int] = {}
    for i in np.flatnonzero(
        net.judged.drivable
    ):  # each end is linked to the segment's middle, of which one may be lost
        middle = ("segment", int(i))
        for node in (int(net.geometry.seg_from[i]), int(net.geometry.seg_to[i])):
            for edge in ((node, (middle, "in")), ((middle, "out"), node)):
                capacity[edge] = capacity.get(edge, 0) + 9
        capacity[((middle, "in"), (middle, "out"))] = 1
    for node in exits:
        capacity[(int(node), "world")] = 9
    graph.add_edges_from((a, b, {"capacity": c}) for (a, b), c in capacity.items())
    checked = 0
    for i in np.flatnonzero(net.judged.drivable & (net.geometry.seg_from != net.geometry.seg_to))[:25]:
        half = float(net.geometry.length_m[i]) / 2
        place = AccessPoint(int(i), half, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        # the place itself: its two halves are ways of their own
        own = graph.copy()
        own.remove_node((("segment", int(i)), "in"))
        own.remove_node((("segment", int(i)), "out"))
        own.add_edge("place", int(net.geometry.seg_from[i]), capacity=1)
        own.add_edge("place", int(net.geometry.seg_to[i]), capacity=1)
        flow = nx.maximum_flow_value(own, "place", "world") if "world" in own else 0
        assert ways_out(net, place, exits=found).count == min(flow, 2)
        checked += 1
    assert checked > 10
