"""Roads that are shut for the rig: named with their reasons, and those that would have been quicker."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from siteplanner.planning.telling.roads import not_these_words
from siteplanner.roads.closures import Closure
from siteplanner.roads.reasons import Reason
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from siteplanner.roads.ruled_out import LEAST_GAIN_S, ruled_out, shut_on_quicker_ways, shut_within
from tests.roads.drawn import EAST, NORTH, network, road

# from (0, 0) to (2000, 0): straight through a low tunnel, by a bridge that is too weak, or far round in the north;
# a lane below is shut too and far longer
TUNNEL = road((0, 0), (2000, 0), name="Old Mill Lane", tunnel="yes", maxheight="2.8")
BRIDGE = road((0, 0), (0, 300), (2000, 300), (2000, 0), name="Weak Bridge Road", bridge="yes", maxweight="2")
ROUND = road((0, 0), (0, 2500), (2000, 2500), (2000, 0), name="Long Way")
FAR = road((0, 0), (0, -9000), (2000, -9000), (2000, 0), name="Far Lane", access="no")
ENDS = [road((-300, 0), (0, 0), name="Start Road"), road((2000, 0), (2400, 0), name="End Road")]


def drive(net):
    tree = drive_tree(net, EAST - 200, NORTH)
    return tree, route_to(net, tree, nearest_access(net, tree, EAST + 2300, NORTH))


def test_the_shut_roads_of_quicker_ways_are_named_the_quickest_first():
    net = network(*ENDS, FAR, ROUND, BRIDGE, TUNNEL)
    tree, route = drive(net)
    assert route.distance_m == pytest.approx(200 + 7000 + 300)
    found = shut_on_quicker_ways(net, tree, route)
    assert [(r.name, r.reason.kind, r.reason.figure, r.reason.structure, r.reason.source) for r in found] == [
        ("Old Mill Lane", "height limit", 2.8, "tunnel", "posted"),
        ("Weak Bridge Road", "weight limit", 2.0, "bridge", "posted"),
    ]
    assert [r.reason.limit for r in found] == [3.2, 5.0]
    assert not_these_words(found) == (
        "Old Mill Lane (tunnel height limit 2.8 m is below the rig's 3.2 m); "
        "Weak Bridge Road (bridge weight limit 2 t is below the rig's 5 t)"
    )
    assert found[0].length_m == pytest.approx(2000)
    assert (found[0].x - EAST, found[0].y - NORTH) == pytest.approx((1000, 0))


def test_a_closure_counts_and_a_one_way_street_is_not_lifted():
    one_way = road((2000, 0), (0, 0), name="Back Street", oneway="yes")
    net = network(*ENDS, ROUND, one_way)
    assert shut_on_quicker_ways(net, *drive(net)) == ()
    gone = [Closure(box(EAST + 900, NORTH - 9, EAST + 950, NORTH + 9), "slide")]
    net = network(*ENDS, ROUND, {**TUNNEL, "maxheight": "4"}, closures=gone)
    (found,) = shut_on_quicker_ways(net, *drive(net))
    assert (found.name, found.reason) == ("Old Mill Lane", Reason("closure", source="closure", what="slide"))
    assert found.length_m == pytest.approx(50)
    net = network(*ENDS, ROUND, {**one_way, "access": "no"})
    assert shut_on_quicker_ways(net, *drive(net)) == ()


@pytest.mark.parametrize(("round_m", "told"), [(2000 + 40, False), (2000 + 400, True)])
def test_what_saves_little_is_not_asked_for(round_m, told):
    north = (round_m - 2000) / 2
    net = network(*ENDS, TUNNEL, road((0, 0), (0, north), (2000, north), (2000, 0)))
    tree, route = drive(net)
    kmh = float(net.mean_speed_kmh[net.tags.name == "Old Mill Lane"][0])
    gain_s = route.time_s - (route.distance_m - round_m + 2000) / (kmh / 3.6)
    assert (gain_s > LEAST_GAIN_S) is told
    assert bool(shut_on_quicker_ways(net, tree, route)) is told


def test_one_row_for_each_name_and_reason_with_the_worst_figure():
    rows = [
        road((0, 0), (100, 0), name="A", maxheight="3"), road((100, 0), (300, 0), name="A", maxheight="2.5"),
        road((300, 0), (400, 0), name="A", maxheight="3", access="no"), road((0, 50), (100, 50), maxheight="2"),
        road((0, 90), (100, 90), name="A"), road((0, 120), (100, 120), name="path", highway="footway"),
    ]  # fmt: skip
    net = network(*rows)
    shut = shut_within(net, box(EAST - 1, NORTH - 1, EAST + 500, NORTH + 200), 0.0)
    assert net.judged.drivable[shut].sum() == 0
    assert len(shut) == 4  # a footpath is no road, whoever is shut out
    found = ruled_out(net, shut)
    assert [(r.name, r.reason.kind, r.reason.figure, round(r.length_m)) for r in found] == [
        ("A", "height limit", 2.5, 400), ("A", "access", None, 100), ("an unnamed street", "height limit", 2.0, 100),
    ]  # fmt: skip
    assert found[0].x == pytest.approx(EAST + 200)
    assert ruled_out(net, np.empty(0, int)) == ()
