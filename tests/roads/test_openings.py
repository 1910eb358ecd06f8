"""The road whose opening reaches most: drawn cases, and each shut road opened in turn as second opinion."""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.planning.telling.roads import opening_words
from siteplanner.planning.telling.units import US
from siteplanner.roads.closures import Closure
from siteplanner.roads.openings import best_opening
from siteplanner.roads.routing import drive_tree
from tests.roads.drawn import EAST, NORTH, ground, network, post, road
from tests.roads.test_routing import town

NEAR = road((0, 0), (1000, 0), name="Yard Road")
WASHED = road((1000, 0), (1100, 0), name="Marrow Bridge", bridge="yes")
FAR = road((1100, 0), (4100, 0), name="Valley Road")
LOW = road((500, 0), (500, 100), name="Mill Lane", tunnel="yes", maxheight="2.8")
SIDE = road((500, 100), (500, 900), name="Side Road")


def opening(net, wanted=None):
    tree = drive_tree(net, EAST + 100, NORTH)
    return best_opening(net, [tree], np.ones(len(net), bool) if wanted is None else wanted)


def test_the_closed_bridge_is_named_with_what_lies_behind_it():
    from shapely.geometry import Point

    shut = [Closure(Point(EAST + 1050, NORTH).buffer(20), "washed out")]
    net = network(NEAR, WASHED, FAR, LOW, SIDE, closures=shut)
    found = opening(net)
    assert found.reasons[0].name == "Marrow Bridge"
    assert found.leads_m == pytest.approx(3000 + 30)
    assert "Marrow Bridge (closed: washed out)" in opening_words(found)
    assert "3.1 km of road on the search ground" in opening_words(found)
    assert "1.9 mi of road on the search ground" in opening_words(found, US)
    # only Side Road is wanted: then the underpass, with the height that keeps it shut
    found = opening(net, net.tags.name == "Side Road")
    assert found.opens_m == pytest.approx(800)
    assert "Mill Lane (tunnel height limit 2.8 m is below the rig's 3.2 m)" in opening_words(found)


def test_a_grade_is_named_with_its_value():
    hill = ground(lambda x, y: np.clip(x - 1000, 0, 200) * 0.2)
    net = network(NEAR, road((1000, 0), (1200, 0), name="Steep Road"), road((1200, 0), (1900, 0)), elevation=hill)
    words = opening_words(opening(net))
    assert "Steep Road (grade 20 % over" in words
    assert "is above the rig's 15 %" in words


def test_a_point_that_stops_the_rig_is_named_with_its_value():
    rows = [NEAR, road((1000, 0), (4100, 0), name="Valley Road"), LOW, SIDE]
    bar = post(1500, 0, barrier="height_restrictor", maxheight="2.1")
    found = opening(network(*rows, bar))
    assert found.opens_m == pytest.approx(2600)
    words = opening_words(found)
    assert "Valley Road (height limit 2.1 m is below the rig's 3.2 m" in words
    # without the bar the rig reaches just that much more
    free, barred = (network(*rows, *posts) for posts in ((), (bar,)))
    gained = [drive_tree(net, EAST + 100, NORTH).reached @ net.geometry.length_m for net in (free, barred)]
    assert gained[0] - gained[1] == pytest.approx(found.leads_m)
    (reason,) = {r.reason.kind for r in opening(network(*rows, post(1000, 0, barrier="block"))).reasons}
    assert reason == "barrier"


def test_nothing_to_open():
    assert opening(network(NEAR, FAR)) is None
    assert opening(network(NEAR, road((0, 500), (900, 500), maxheight="2"))) is None  # it leads nowhere


@pytest.mark.parametrize("seed", range(8))
def test_equal_to_opening_each_shut_road_in_turn(seed):
    net = town(seed, size=5, missing=0.2)
    rng = np.random.default_rng(seed)
    net.tags.name[:] = [f"road {n}" for n in rng.integers(0, 12, len(net))]
    tree = drive_tree(net, EAST + 100, NORTH + 100)
    wanted = rng.random(len(net)) < 0.5
    found = best_opening(net, [tree], wanted)
    shut = np.flatnonzero(net.tags.for_vehicles & ~net.judged.drivable)
    most = 0.0
    for key in {(net.tags.name[i], net.judged.reasons[i]) for i in shut}:
        open_ = net.judged.drivable.copy()
        open_[[i for i in shut if (net.tags.name[i], net.judged.reasons[i]) == key]] = True
        before, after = (reach(net, tree, usable) for usable in (net.judged.drivable, open_))
        gained = after & ~before
        if (gained & net.judged.drivable).any():
            mine = gained | (after & ~net.judged.drivable)
            most = max(most, float(net.geometry.length_m[mine & wanted].sum()))
    assert (found.opens_m if found else 0.0) == pytest.approx(most, rel=1e-9)


def reach(net, tree, usable):
    nodes = {int(net.geometry.seg_from[tree.segment]), int(net.geometry.seg_to[tree.segment])}
    while True:
        ends = np.array(
            [
                usable[i] and bool({int(net.geometry.seg_from[i]), int(net.geometry.seg_to[i])} & nodes)
                for i in range(len(net))
            ]
        )
        more = nodes | {int(n) for n in np.concatenate([net.geometry.seg_from[ends], net.geometry.seg_to[ends]])}
        if more == nodes:
            return ends
        nodes = more
