"""A second way that is distinct, or none: on drawn roads whose answer can be read off the drawing."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from siteplanner.planning.telling.directions import alternative_words
from siteplanner.roads.alternatives import MOST_SHARED, alternative_to
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import EAST, FLAT, NORTH, network, road
from tests.roads.test_routing import town
from tests.roads.test_turns import random_bans


def both(net, start, end):
    tree = drive_tree(net, EAST + start[0], NORTH + start[1])
    access = nearest_access(net, tree, EAST + end[0], NORTH + end[1])
    route = route_to(net, tree, access)
    return route, alternative_to(net, tree, route)


#        ------- Ridge Road -------
#  (0,0)-|                        |-(1400,0)
#        ------- Mill Road --------
SQUARE = (
    road((0, 0), (200, 0), name="Start Street"),
    road((200, 0), (200, -300), (1200, -300), (1200, 0), name="Mill Road"),
    road((200, 0), (200, 600), (1200, 600), (1200, 0), name="Ridge Road"),
    road((1200, 0), (1400, 0), name="End Street"),
)


def test_the_other_side_of_the_block():
    net = network(*SQUARE, elevation=FLAT)
    route, other = both(net, (0, 0), (1400, 0))
    assert route.distance_m == pytest.approx(200 + 1600 + 200)
    assert other.route.distance_m == pytest.approx(200 + 2200 + 200)
    assert other.shared_m == pytest.approx(400)
    assert other.farther_m == pytest.approx(600)
    assert (other.by, other.instead_of) == ("Ridge Road", "Mill Road")
    minutes = round(other.longer_s / 60)
    assert alternative_words(other) == f"By Ridge Road instead of Mill Road, {minutes} min longer, 0.6 km farther."
    # its time is that of the road, without the penalty
    seconds = np.where(
        other.route.directions > 0,
        net.times.forward_s[other.route.segments],
        net.times.backward_s[other.route.segments],
    )
    assert other.route.time_s == pytest.approx(float(seconds.sum()))
    assert other.longer_s == pytest.approx(other.route.time_s - route.time_s)


def test_one_road_in_means_no_alternative():
    net = network(SQUARE[0], SQUARE[1], SQUARE[3])
    _, other = both(net, (0, 0), (1400, 0))
    assert other.route is None
    assert alternative_words(other) == "No alternative: the rig has no other way from the start to the spot."


def test_a_way_that_is_the_same_for_the_most_part_is_no_alternative():
    far = road((1200, 0), (9000, 0), name="Long Lane")  # 7.8 km that both share
    net = network(*SQUARE[:3], far)
    _, other = both(net, (0, 0), (9000, 0))
    assert other.route is None
    assert other.shared_m == pytest.approx(200 + 7800)
    assert alternative_words(other).startswith(
        "No distinct alternative: the most different way shares 8.0 km of its 10.2 km with the drive (by Ridge Road "
        "instead of Mill Road, "
    )


@settings(deadline=None, max_examples=15)
@given(
    st.integers(0, 10_000), st.floats(0, 600), st.floats(0, 500), st.floats(0, 600), st.floats(0, 500), st.booleans()
)
def test_alternatives_are_drives_that_share_at_most_about_half(seed, sx, sy, x, y, signs):
    net = town(seed, size=5)
    if signs:
        net = random_bans(net, seed, 0.2)
    tree = drive_tree(net, EAST + sx, NORTH + sy)
    access = nearest_access(net, tree, EAST + x, NORTH + y)
    assume(access is not None)
    route = route_to(net, tree, access)
    assume(len(route.segments) > 1)
    other = alternative_to(net, tree, route)
    if other.route is None:
        assert alternative_words(other).startswith("No ")
        # no way at all: without the roads of the drive's middle, networkx does not get there either
        if alternative_words(other).startswith("No alternative:") and not signs and len(route.segments) > 2:
            assert not _reached_without(net, route)
        return
    way = other.route
    assert way.time_s >= route.time_s - 1e-6
    driven = np.abs(way.end_m - way.start_m)
    shared = driven[np.isin(way.segments, route.segments)].sum()
    assert shared <= MOST_SHARED * way.distance_m + 1e-6
    assert (way.line.coords[0], way.line.coords[-1]) == (
        pytest.approx(route.line.coords[0], abs=0.01),
        pytest.approx(route.line.coords[-1], abs=0.01),
    )
    banned = {tuple(p) for p in net.banned_turns.tolist()}
    arcs = (2 * way.segments + (way.directions < 0)).tolist()
    for a, b in pairwise(arcs):
        assert (a, b) not in banned
    for segment, ahead in zip(way.segments[1:-1].tolist(), way.directions[1:-1].tolist(), strict=True):
        assert np.isfinite(net.times.forward_s[segment] if ahead > 0 else net.times.backward_s[segment])


def _reached_without(net, route):
    """Whether networkx still finds a way between the drive's inner ends without any of its inner segments."""
    graph = nx.DiGraph()
    graph.add_nodes_from(range(len(net.geometry.node_x)))
    for i in range(len(net)):
        if i in route.segments:
            continue
        for a, b, s in (
            (net.geometry.seg_from[i], net.geometry.seg_to[i], net.times.forward_s[i]),
            (net.geometry.seg_to[i], net.geometry.seg_from[i], net.times.backward_s[i]),
        ):
            if np.isfinite(s):
                graph.add_edge(int(a), int(b))
    first, last = int(route.segments[0]), int(route.segments[-1])
    begin = int(net.geometry.seg_to[first] if route.directions[0] > 0 else net.geometry.seg_from[first])
    end = int(net.geometry.seg_from[last] if route.directions[-1] > 0 else net.geometry.seg_to[last])
    return nx.has_path(graph, begin, end)
