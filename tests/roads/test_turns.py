"""Signed turns: drawn junctions, and networkx on the graph of arcs as second opinion."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from siteplanner.data.osm import TurnRestriction
from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.roads.hazards_ahead import hazards_along
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import EAST, NORTH, STILL, layer, road
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


def turn_seconds(net, a, b, radius_m=10.06, largest=7.5, shunt=45.0):
    """Worked out pair by pair from the lines: the published curve by the angle between the roads as they lie 15.8 m
    (a quarter of the rig's circle) from the junction, and the seconds of shunting from the angle on at which the
    circle through the junction and both points is smaller than the rig's.
    """
    g = net.geometry
    node = int(g.seg_from[a >> 1] if a & 1 else g.seg_to[a >> 1])
    ends = [n for i in np.flatnonzero(net.tags.for_vehicles) for n in (int(g.seg_from[i]), int(g.seg_to[i]))]
    if ends.count(node) <= 2:
        return 0.0
    reach = math.pi * radius_m / 2

    def leaves(arc):
        line = g.line[arc >> 1]
        line = line.reverse() if arc & 1 else line
        far = line.interpolate(min(reach, line.length))
        x, y = far.x - line.coords[0][0], far.y - line.coords[0][1]
        grow = reach / min(reach, line.length)
        return x * grow, y * grow

    (px, py), (qx, qy) = leaves(a ^ 1), leaves(b)
    angle = abs(math.degrees(math.atan2(-px * qy + py * qx, -px * qx - py * qy)))
    seconds = largest / (1 + math.exp(6.5 - 13 * angle / 180))
    cross = abs(px * qy - py * qx)
    sides = math.hypot(px, py) * math.hypot(qx, qy) * math.hypot(px - qx, py - qy)
    circle = sides / (2 * cross) if cross > 1e-9 else (math.inf if sides else 0.0)
    return seconds + (shunt if circle < radius_m else 0.0)


def arc_graph(net, tree, turning=None):
    """networkx' view: arcs are nodes; what follows what, and what turning takes, is worked out pair by pair."""
    graph = nx.DiGraph()
    turning = turning or (lambda a, b: 0.0)
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
                graph.add_edge(a, b, weight=seconds[b] + turning(a, b))
    s, share = tree.segment, tree.along_m / net.geometry.length_m[tree.segment]
    assert 0 < share < 1
    for arc, part in ((2 * s, 1 - share), (2 * s + 1, share)):
        if arc in seconds:
            graph.add_edge("start", ("half", arc), weight=seconds[arc] * part)
            head["half", arc] = head[arc]
            for b in list(graph.successors(arc)) if arc in graph else []:
                graph.add_edge(("half", arc), b, weight=seconds[b] + turning(arc, b))
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


@pytest.mark.parametrize("seed", range(4))
def test_arrivals_with_the_seconds_of_turns_agree_with_networkx(seed):
    net = random_bans(town(seed, size=5, speeds=Speeds()), seed, 0.1)
    rng = np.random.default_rng(seed)
    most = 0
    for _ in range(3):
        tree = drive_tree(net, EAST + rng.uniform(0, 600), NORTH + rng.uniform(0, 500))
        if not 0 < tree.along_m < net.geometry.length_m[tree.segment]:
            continue
        theirs = arc_graph(net, tree, lambda a, b: turn_seconds(net, a, b))
        reached = np.isfinite(theirs)
        assert np.array_equal(np.isfinite(tree.node_s), reached)
        assert tree.node_s[reached] == pytest.approx(theirs[reached], abs=1e-6)
        still = drive_tree(replace(net, junctions=None), tree.x, tree.y).node_s
        assert (tree.node_s[reached] >= still[reached] - 1e-9).all()
        assert (tree.node_s[reached] > still[reached] + 1).any() or reached.sum() < 5
        most = max(most, int(reached.sum()))
    assert most > 8


def path_graph(net, tree, paths):
    """networkx, with what was driven last as part of each node: a path of three or four arcs that is forbidden is seen
    whole."""
    graph = nx.DiGraph()
    seconds = {}
    for i in range(len(net)):
        seconds[2 * i], seconds[2 * i + 1] = float(net.times.forward_s[i]), float(net.times.backward_s[i])
    seconds = {arc: s for arc, s in seconds.items() if np.isfinite(s)}
    g = net.geometry
    head = {arc: int(g.seg_from[arc >> 1] if arc & 1 else g.seg_to[arc >> 1]) for arc in seconds}
    tail = {arc: int(g.seg_to[arc >> 1] if arc & 1 else g.seg_from[arc >> 1]) for arc in seconds}
    longest = max(len(p) for p in paths)
    s, share = tree.segment, tree.along_m / g.length_m[tree.segment]
    assert 0 < share < 1
    stack = []
    for arc, part in ((2 * s, 1 - share), (2 * s + 1, share)):
        if arc in seconds:
            graph.add_edge("start", ("half", arc), weight=seconds[arc] * part)
            stack.append(("half", arc))
    seen = set(stack)
    while stack:
        node = stack.pop()
        came = node[1:]  # what a half is followed by is what its arc is followed by
        for b in seconds:
            if tail[b] != head[came[-1]] or b == came[-1] ^ 1:
                continue
            whole = (*(came if node[0] != "half" else (came[-1],)), b)
            if any(whole[len(whole) - len(p) :] == p for p in paths):
                continue
            nxt = ("came", *whole[-(longest - 1) :])
            graph.add_edge(node, nxt, weight=seconds[b])
            if nxt not in seen:
                seen.add(nxt)
                stack.append(nxt)
    found = nx.single_source_dijkstra_path_length(graph, "start") if "start" in graph else {}
    out = np.full(len(g.node_x), np.inf)
    for node, t in found.items():
        if node != "start":
            out[head[node[-1]]] = min(out[head[node[-1]]], t)
    return out


@pytest.mark.parametrize("seed", range(6))
def test_forbidden_paths_agree_with_networkx(seed):
    net = town(seed, size=4)
    rng = np.random.default_rng(seed)
    turns = net.turns
    arcs = np.flatnonzero(np.diff(turns.first))
    paths = set()
    while len(paths) < 14:
        path = [int(rng.choice(arcs))]
        for _ in range(int(rng.integers(2, 4))):
            after = turns.follow[turns.first[path[-1]] : turns.first[path[-1] + 1]]
            if len(after):
                path.append(int(rng.choice(after)))
        if len(path) > 2:
            paths.add(tuple(path))
    net = replace(net, banned_paths=tuple(sorted(paths)))
    checked = 0
    for _ in range(4):
        tree = drive_tree(net, EAST + rng.uniform(0, 400), NORTH + rng.uniform(0, 300))
        if not 0 < tree.along_m < net.geometry.length_m[tree.segment]:
            continue
        theirs = path_graph(net, tree, paths)
        reached = np.isfinite(theirs)
        assert np.array_equal(np.isfinite(tree.node_s), reached)
        assert tree.node_s[reached] == pytest.approx(theirs[reached], abs=1e-6)
        for x, y in rng.uniform(0, 400, (6, 2)):
            access = nearest_access(net, tree, EAST + x, NORTH + y)
            if access is None:
                continue
            route = route_to(net, tree, access)
            assert route.time_s == pytest.approx(access.arrival_s, abs=1e-6)
            driven = (2 * route.segments + (route.directions < 0)).tolist()
            for path in paths:
                runs = [tuple(driven[k : k + len(path)]) for k in range(len(driven))]
                assert path not in runs
            checked += 1
    assert checked > 6


# a street of two carriageways, ways 1 (going east) and 2 (going west), with a link, way 3, over the median
#   24 <--2-- 22 <--2-- 23
#              |3
#   10 --1--> 11 --1b-> 13
MEDIAN = [
    ((0, 0), (200, 0), 1, (10, 11), "yes"), ((200, 0), (400, 0), 5, (11, 13), "yes"),
    ((200, 0), (200, 12), 3, (11, 22), None), ((400, 12), (200, 12), 4, (23, 22), "yes"),
    ((200, 12), (0, 12), 2, (22, 24), "yes"),
]  # fmt: skip
LOOP = [(440 + 40 * math.cos(math.radians(a)), 6 + 40 * math.sin(math.radians(a))) for a in range(-160, 161, 20)]
LOOP = [(400, 0), *LOOP, (400, 12)]  # 40 m wide, way 6, where way 5 ends


def median(*restrictions, **rig):
    rows = [road(a, b, osm_way=way, osm_nodes=np.array(ids), oneway=one) for a, b, way, ids, one in MEDIAN]
    ids = np.array([13, *range(100, 100 + len(LOOP) - 2), 23])
    rows.append(road(*LOOP, osm_way=6, osm_nodes=ids, oneway="yes"))
    return build_network(
        layer(*rows), elevation=None, rig=Rig(**rig), speeds=STILL, restrictions=restrictions, node_crossings=False
    )


ROUND = 180 + 200 + sum(math.dist(a, b) for a, b in pairwise(LOOP)) + 200 + 100
SHORT = 180 + 12 + 100


def test_a_u_turn_that_a_sign_forbids_over_the_median_is_not_driven():
    assert driven_m(median(), 100, 12) == pytest.approx(SHORT)
    assert driven_m(median(TurnRestriction("no", 1, 0, 2, (3,))), 100, 12) == pytest.approx(ROUND)
    # who comes over the link from the other side, or turns off it elsewhere, is not meant
    assert len(median(TurnRestriction("no", 1, 0, 2, (3,))).banned_paths) == 1
    # "only" over the link: whoever turns onto it goes on to way 2
    net = median(TurnRestriction("only", 1, 0, 2, (3,)))
    assert driven_m(net, 100, 12) == pytest.approx(SHORT)


def test_a_sign_over_ways_that_do_not_meet_is_counted_and_told():
    net = median(TurnRestriction("no", 1, 0, 2, (6,)))
    assert net.banned_paths == ()
    (finding,) = [f for f in net.findings if f.code == "turn_restrictions_left_out"]
    assert finding.facts == {"count": 1}


def test_a_u_turn_over_the_median_is_told_or_forbidden():
    net = median()
    tree = drive_tree(net, EAST + 20, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + 100, NORTH + 12, 1.0))
    (turn,) = [h for h in hazards_along(net, route) if h.kind == "bend"]
    # the circle through (200 - 15.8, 0), (200, 0) and 3.8 m behind the link's end: 8.7 m by hand
    assert (turn.state, turn.severity, turn.side, turn.hairpin) == ("junction", "warning", "left", True)
    assert turn.value < 10.06
    assert "tight U-turn to the left at the junction, radius about" in ahead_words(turn)
    assert any(f.code == "route_bend" for f in route.findings)
    assert driven_m(median(tight_bends="exclude"), 100, 12) == pytest.approx(ROUND)


@pytest.mark.parametrize(("angle", "tight"), [(90, False), (100, False), (108, True), (150, True)])
def test_a_turn_at_a_junction_is_judged_as_bends_are(angle, tight):
    """About 104 degrees is where the circle through the junction and two points 15.8 m off gets smaller than 10.06 m;
    the way round to the same place is 900 m longer."""
    x, y = 300 * math.cos(math.radians(180 - angle)), 300 * math.sin(math.radians(180 - angle))
    rows = [
        road((0, 0), (400, 0), name="Low Road"), road((400, 0), (700, 0), name="Low Road"),
        road((400, 0), (400 - x, y), name="High Road"), road((700, 0), (700, y + 300), (400 - x, y + 300)),
        road((400 - x, y + 300), (400 - x, y)),
    ]  # fmt: skip
    made = {}
    for rule in ("caution", "exclude"):
        net = build_network(layer(*rows), elevation=None, rig=Rig(tight_bends=rule), speeds=STILL)
        tree = drive_tree(net, EAST + 20, NORTH)
        made[rule] = net, route_to(net, tree, nearest_access(net, tree, EAST + 400 - x / 2, NORTH + y / 2))
    net, route = made["caution"]
    told = [h for h in hazards_along(net, route) if h.kind == "bend" and h.state == "junction"]
    assert len(told) == tight
    assert route.distance_m == pytest.approx(380 + 150)
    assert (made["exclude"][1].distance_m > 1000) == tight
