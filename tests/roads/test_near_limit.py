"""Roads that may be too steep: their chance, and whether a way leads round them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from siteplanner.mission import Rig
from siteplanner.roads.lifeline import lifeline
from siteplanner.roads.near_limit import near_limit
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import EAST, NORTH, ground, network, road

LIMIT_PCT = 15.0
CLIMB = ground(lambda x, y: np.clip(x - 500, 0, 500) * 0.14 + 0 * y)  # 14 % between 500 m and 1000 m east
LINE = [road((0, 0), (500, 0), name="Valley Road"), road((500, 0), (1000, 0), name="Bench Road")]
ROUND = [
    road((500, 0), (500, 1500), (1500, 1500), name="Long Way", incline="0%"),
    road((1500, 1500), (1000, 0), incline="0%"),
]


def near(*rows, error_m=0.8):
    net = network(
        *rows, elevation=CLIMB, rig=Rig(max_grade_pct=LIMIT_PCT), elevation_error_m=error_m, source_cell_m=10.0
    )
    tree = drive_tree(net, EAST, NORTH)
    access = nearest_access(net, tree, EAST + 1000, NORTH)
    route, line = route_to(net, tree, access), lifeline(net, tree, access)
    return near_limit(net, route.segments.tolist(), line, LIMIT_PCT)


def test_a_climb_just_below_the_limit_is_told_with_its_chance():
    (found,) = near(*LINE)
    assert (found.name, found.road, found.way_round) == ("Bench Road", "Bench Road", False)
    assert found.grade_pct == pytest.approx(14.0, abs=0.3)
    assert found.chance == pytest.approx(norm.sf((LIMIT_PCT - found.grade_pct) / found.error_pct))
    assert 0.005 < found.chance < 0.5


def test_a_way_round_is_seen():
    (found,) = near(*LINE, *ROUND)
    assert (found.name, found.way_round) == ("Bench Road", True)


def test_grades_without_an_error_and_posted_ones_are_certain():
    assert near(*LINE, error_m=0.0) == ()
    assert near(LINE[0], {**LINE[1], "incline": "14%"}) == ()


def test_a_road_of_several_segments_is_told_once_and_nameless_ones_by_themselves():
    split = [LINE[0], road((500, 0), (750, 0), name="Bench Road"), road((750, 0), (1000, 0), name="Bench Road")]
    assert [n.name for n in near(*split)] == ["Bench Road"]
    bare = [LINE[0], road((500, 0), (750, 0)), road((750, 0), (1000, 0)), road((750, 0), (750, 300))]
    assert len({n.road for n in near(*bare)}) == len(near(*bare)) == 2
