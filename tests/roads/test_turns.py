"""Signed turns: drawn junctions, and networkx on the graph of arcs as second opinion."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from siteplanner.data.osm import TurnRestriction
from siteplanner.mission import Rig, Speeds
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import EAST, NORTH, layer, road
from tests.roads.test_routing import town

# a block of 100 m with its nodes; ways 1 west, 2 east, 3 north, 4 the way round
#      12 ---4--- 13
#       |3         |4
#  10--11----2----14
CROSS = [
    ((0, 0), (100, 0), 1, (10, 11)), ((100, 0), (200, 0), 2, (11, 14)), ((100, 0), (100, 100), 3, (11, 12)),
    ((200, 0), (200, 100), 4, (14, 13)), ((200, 100), (100, 100), 4, (13, 12)),
]  # fmt: skip


def junction(*restrictions):
    rows = [road(a, b, osm_way=way, osm_nodes=np.array(ids)) for a, b, way, ids in CROSS]
    return build_network(layer(*rows), elevation=None, rig=Rig(), speeds=Speeds(), restrictions=restrictions)


def driven_m(net, x, y):
    tree = drive_tree(net, EAST + 20, NORTH)
    access = nearest_access(net, tree, EAST + x, NORTH + y, 1.0)
    return None if access is None else route_to(net, tree, access).distance_m


def test_a_banned_left_turn_is_driven_round_the_block():
    assert driven_m(junction(), 100, 50) == pytest.approx(130)
    # no left from way 1 into way 3: on along 2, round by 4, down 3 from its far end
    assert driven_m(junction(TurnRestriction("no", 1, 11, 3)), 100, 50) == pytest.approx(80 + 100 + 100 + 100 + 50)


def test_only_straight_on_bans_everything_else():
    net = junction(TurnRestriction("only", 1, 11, 2))
    assert driven_m(net, 150, 0) == pytest.approx(130)
    assert driven_m(net, 100, 50) == pytest.approx(430)
    assert len(net.banned_turns) == 2  # into 3, and back into 1


def test_the_rig_does_not_turn_round_in_the_road_to_get_past_a_sign():
    rows = CROSS[:3]  # no way round the block
    frame = layer(*[road(a, b, osm_way=way, osm_nodes=np.array(ids)) for a, b, way, ids in rows])
    net = build_network(
        frame, elevation=None, rig=Rig(), speeds=Speeds(), restrictions=[TurnRestriction("no", 1, 11, 3)]
    )
    assert driven_m(net, 150, 0) == pytest.approx(130)
    tree = drive_tree(net, EAST + 20, NORTH)
    assert tree.reached.tolist() == [True, True, False]
    # the junction itself is reached; the road behind the sign is not
    assert driven_m(net, 100, 50) is None


def test_a_restriction_that_does_not_fit_is_left_out():
    for odd in (
        TurnRestriction("no", 1, 99, 3),
        TurnRestriction("no", 1, 13, 3),
        TurnRestriction("no", 9, 11, 3),
        TurnRestriction("no", 4, 13, 4),
    ):
        assert len(junction(odd).banned_turns) == 0


def test_starting_at_the_junction_itself_no_sign_is_passed():
    net = junction(TurnRestriction("no", 1, 11, 3))
    tree = drive_tree(net, EAST + 100, NORTH)
    access = nearest_access(net, tree, EAST + 100, NORTH + 50)
    assert route_to(net, tree, access).distance_m == pytest.approx(50)


def random_bans(net, seed, share):
    rng = np.random.default_rng(seed)
    first, follow = net.turns.first, net.turns.follow
    pairs = [(a, int(b)) for a in range(2 * len(net)) for b in follow[first[a] : first[a + 1]]]
    some = rng.random(len(pairs)) < share
    return replace(net, banned_turns=np.array(pairs, np.int64)[some].reshape(-1, 2))


def arc_graph(net, tree):
    """networkx' view: arcs are nodes; what follows what is worked out pair by pair."""
    graph = nx.DiGraph()
    banned = {tuple(p) for p in net.banned_turns.tolist()}
    seconds, tail, head = {}, {}, {}
    for i in range(len(net)):
        for arc, s, a, b in (
            (2 * i, net.times.forward_s[i], net.geometry.seg_from[i], net.geometry.seg_to[i]),
            (
                2 * i + 1,
                net.times.backward_s[i],
                net.geometry.seg_to[i],
                net.geometry.seg_from[i],
            ),
        ):
            if np.isfinite(s):
                seconds[arc], tail[arc], head[arc] = float(s), int(a), int(b)
    for a in seconds:
        for b in seconds:
            if head[a] == tail[b] and a != b ^ 1 and (a, b) not in banned:
                graph.add_edge(a, b, weight=seconds[b])
    s, share = tree.segment, tree.along_m / net.geometry.length_m[tree.segment]
    assert 0 < share < 1
    for arc, part in ((2 * s, 1 - share), (2 * s + 1, share)):
        if arc in seconds:
            graph.add_edge("start", ("half", arc), weight=seconds[arc] * part)
            head["half", arc] = head[arc]
            for b in list(graph.successors(arc)) if arc in graph else []:
                graph.add_edge(("half", arc), b, weight=seconds[b])
    found = nx.single_source_dijkstra_path_length(graph, "start") if "start" in graph else {}
    out = np.full(len(net.geometry.node_x), np.inf)
    for arc, t in found.items():
        if arc != "start":
            out[head[arc]] = min(out[head[arc]], t)
    return out


@pytest.mark.parametrize("seed", range(6))
def test_arrivals_agree_with_networkx(seed):
    net = random_bans(town(seed, size=6), seed, 0.25)
    rng = np.random.default_rng(seed)
    most = 0
    for _ in range(5):
        tree = drive_tree(net, EAST + rng.uniform(0, 600), NORTH + rng.uniform(0, 500))
        if not 0 < tree.along_m < net.geometry.length_m[tree.segment]:
            continue
        theirs = arc_graph(net, tree)
        ours = tree.node_s
        assert np.array_equal(np.isfinite(ours), np.isfinite(theirs))
        reached = np.isfinite(theirs)
        assert ours[reached] == pytest.approx(theirs[reached], abs=1e-6)
        most = max(most, int(reached.sum()))
    assert most > 10


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10_000), st.floats(0, 480), st.floats(0, 400), st.floats(0, 480), st.floats(0, 400))
def test_a_route_breaks_no_sign_and_takes_the_time_of_its_search(seed, sx, sy, x, y):
    net = random_bans(town(seed, size=5), seed, 0.3)
    tree = drive_tree(net, EAST + sx, NORTH + sy)
    access = nearest_access(net, tree, EAST + x, NORTH + y)
    assume(access is not None)
    route = route_to(net, tree, access)
    assert route.time_s == pytest.approx(access.arrival_s, abs=1e-6)
    arcs = (2 * route.segments + (route.directions < 0)).tolist()
    banned = {tuple(p) for p in net.banned_turns.tolist()}
    for a, b in pairwise(arcs):
        assert (a, b) not in banned
        assert a != b ^ 1


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10_000), st.floats(0, 480), st.floats(0, 400))
def test_without_a_ban_that_matters_both_searches_agree(seed, sx, sy):
    net = town(seed, size=5)
    over_arcs = replace(net, banned_turns=np.array([[0, 0]], np.int64))  # an arc never follows itself here
    a, b = drive_tree(net, EAST + sx, NORTH + sy), drive_tree(over_arcs, EAST + sx, NORTH + sy)
    assert np.array_equal(np.isfinite(a.node_s), np.isfinite(b.node_s))
    fine = np.isfinite(a.node_s)
    assert a.node_s[fine] == pytest.approx(b.node_s[fine], abs=1e-6)
    assert np.array_equal(a.reached, b.reached)
