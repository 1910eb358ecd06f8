"""Where the rig can turn round on the road: drawn junctions, angles and loops, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.mission import Rig
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from siteplanner.roads.turning import carry_on_m, last_turning_place
from tests.roads.drawn import EAST, NORTH, network, road

MAIN = road((0, 0), (2000, 0), name="Main Road")


def driven(*rows, start=(100, 0), end=(1900, 0)):
    net = network(*rows)
    tree = drive_tree(net, EAST + start[0], NORTH + start[1])
    return net, route_to(net, tree, nearest_access(net, tree, EAST + end[0], NORTH + end[1]))


def place(*rows, rig=None, **where):
    net, route = driven(*rows, **where)
    return last_turning_place(net, route, rig or Rig())


def test_the_last_side_road_square_to_the_road():
    found = place(MAIN, road((800, 0), (800, 200), name="Mill Lane"), road((1500, 0), (1500, -200), name="Ford Lane"))
    assert (found.kind, found.name) == ("junction", "Ford Lane")
    assert (found.running_m, found.back_m) == pytest.approx((1400, 400))
    assert (found.x - EAST, found.y - NORTH) == pytest.approx((1500, 0))


@pytest.mark.parametrize(
    ("side", "tags"),
    [
        (((1500, 0), (1700, 60)), {}),  # 17 degrees from the road ahead: nothing to swing into
        (((1500, 0), (1500, 9)), {}),  # shorter than the rig
        (((1500, 0), (1500, 200)), {"oneway": "yes"}),  # no way back out of it
        (((1500, 0), (1500, 200)), {"maxheight": "2"}),  # not for the rig
        (((1500, 0), (1500, 200)), {"highway": "footway"}),
    ],
)
def test_side_roads_that_do_not_serve_are_passed_over(side, tags):
    mill = road((1450, 0), (1450, 200), name="Mill Lane")
    found = place(MAIN, mill, road(*side, **tags), end=(1800, 0))
    assert found.name == "Mill Lane"
    assert place(MAIN, road(*side, **tags), end=(1800, 0)) is None


def test_a_loop_at_the_junction_serves_when_it_is_long_enough():
    def ring(radius):
        angle = np.radians(np.arange(0, 361, 20))
        points = [(1500 + radius * np.sin(a), radius - radius * np.cos(a)) for a in angle]
        points[-1] = points[0]
        return road(*points, name="Loop")

    assert place(MAIN, ring(12)).kind == "loop"
    assert place(MAIN, ring(6)) is None  # 38 m round, the rig's circle is 63 m
    assert place(MAIN, ring(6), rig=Rig(turning_radius_m=6)).kind == "loop"


def test_too_far_back_is_no_turning_place():
    long = road((0, 0), (9000, 0))
    side = road((800, 0), (800, 200), name="Mill Lane")
    assert place(long, side, end=(1190, 0)).back_m == pytest.approx(390)
    assert place(long, side, end=(1210, 0)) is None


def test_nobody_backs_against_one_way_traffic():
    side = road((1700, 0), (1700, 200), name="Mill Lane")
    assert place(MAIN, side, end=(1900, 0)).name == "Mill Lane"
    assert place({**MAIN, "oneway": "yes"}, side, end=(1900, 0)) is None
    # a one-way piece between is enough
    two = [road((0, 0), (1750, 0)), road((1750, 0), (1800, 0), oneway="yes"), road((1800, 0), (2000, 0))]
    assert place(*two, side, end=(1900, 0)) is None


def test_carrying_on_round_the_block_needs_no_turning():
    block = road((0, 0), (0, 500), (2000, 500), (2000, 0), name="Round Road")
    net, route = driven(MAIN, block)
    # from (1900, 0) on: 100 + 500 + 2000 + 500 + 100 back to (100, 0)
    assert carry_on_m(net, route) == pytest.approx(3200)
    net, route = driven(MAIN)
    assert carry_on_m(net, route) is None  # a dead end
    net, route = driven(MAIN, block | {"oneway": "yes"})  # runs against the way needed
    assert carry_on_m(net, route) is None
