"""Seconds of turns, signals, signs and crossings: closed forms on drawn roads, and that the range holds on streets."""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.data.osm_signs import point_signs
from siteplanner.errors import InputError
from siteplanner.mission import Speeds, mission_from_dict
from siteplanner.planning.site.timeline import drive_range, time_on_air
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from siteplanner.roads.waits import NO_WAITS, turn_s
from tests.roads.drawn import EAST, NORTH, STILL, UNSIGNED, network, post, road

FAST = {"highway": "secondary", "maxspeed": "36"}  # 10 m a second


def driven(*rows, start=(0, 0), end=(900, 0), speeds=None, **options):
    net = network(*rows, speeds=speeds or Speeds(), **options)
    tree = drive_tree(net, EAST + start[0], NORTH + start[1])
    access = nearest_access(net, tree, EAST + end[0], NORTH + end[1])
    route = route_to(net, tree, access)
    assert route.time_s == pytest.approx(access.arrival_s, abs=1e-6)  # the search counts what the route counts
    return route


def test_the_seconds_of_a_turn_follow_the_published_curve():
    # 7.5 / (1 + exp(6.5 - 13 x angle / 180)): half of it at a square turn, nearly nothing and nearly all at the ends
    assert turn_s(np.array([90.0]), 7.5) == pytest.approx(3.75)
    ends = turn_s(np.array([0.0, 45.0, 135.0, 180.0]), 7.5)
    assert ends == pytest.approx([0.01126, 0.27995, 7.22005, 7.48874], abs=1e-5)


CROSS = [
    road((0, 0), (500, 0), **FAST), road((500, 0), (1000, 0), **FAST), road((500, 0), (500, 400), **FAST),
    road((500, -400), (500, 0), **FAST),
]  # fmt: skip


def test_a_square_turn_takes_half_of_the_largest_cost_and_straight_on_nothing():
    assert driven(*CROSS, end=(500, 300)).time_s == pytest.approx(80 + 3.75, abs=0.01)
    straight = driven(*CROSS)
    assert straight.time_s == pytest.approx(90 + 0.011, abs=0.001)
    assert (straight.waits.turns, straight.waits.tight_turns) == (0, 0)
    waits = driven(*CROSS, end=(500, 300)).waits
    assert (waits.low_s, waits.likely_s, waits.high_s) == pytest.approx((1.875, 3.75, 7.5), abs=0.01)
    assert waits.turns == 1
    # the same corner as a bend of one road: no junction, and the bend slows the rig down already
    alone = driven(CROSS[0], CROSS[2], end=(500, 300))
    assert alone.waits == NO_WAITS


def test_a_turn_that_needs_shunting_takes_the_seconds_of_the_mission():
    rows = [*CROSS[:2], road((500, 0), (150, 200), **FAST)]
    waits = driven(*rows, end=(325, 100)).waits
    assert waits.tight_turns == 1
    likely = float(turn_s(np.array([180 - np.degrees(np.arctan2(200, 350))]), 7.5)[0])
    assert (waits.low_s, waits.likely_s, waits.high_s) == pytest.approx(
        (15 + likely / 2, 45 + likely, 150 + 2 * likely), abs=1e-6
    )


def test_quickest_ways_avoid_what_costs_more_than_the_way_round():
    """Through the town 2 turns and 4 signals, round it 150 m more: 15 s against 4 x 11 s."""
    town = [road((0, 0), (500, 0), **FAST), road((500, 0), (1000, 0), **FAST), road((500, 0), (500, 90), **FAST)]
    round_ = road((0, 0), (500, -280), (1000, 0), **FAST)
    lights = [post(x, 0, wait="signal") for x in (100, 250, 400, 700)]
    assert driven(*town, round_, end=(1000, 0), start=(0, 0)).distance_m == pytest.approx(1000)
    assert driven(*town, round_, *lights, end=(1000, 0)).distance_m == pytest.approx(2 * np.hypot(500, 280))


@pytest.mark.parametrize(
    ("word", "likely", "counted"),
    [
        ("signal", 11, "signals"),
        ("stop", 8, "signs"),
        ("give_way", 3, "signs"),
        ("level_crossing", 5, "level_crossings"),
    ],
)
def test_what_stands_on_the_road_holds_up(word, likely, counted):
    for x in (500, 300):  # at the junction, and within a road
        route = driven(*CROSS, post(x, 0, wait=word), speeds=Speeds(turn_s=0))
        assert route.time_s == pytest.approx(90 + likely)
        assert getattr(route.waits, counted) == 1
    # behind the end of the drive, or where it turns off before, nothing
    assert driven(*CROSS, post(950, 0, wait=word), speeds=Speeds(turn_s=0)).time_s == pytest.approx(90)


def test_a_sign_for_the_other_direction_does_not_count():
    for way, seconds in (("forward", 98), ("backward", 90), ("", 98)):
        sign = post(400, 0, wait="stop", **{"wait:direction": way})
        assert driven(*CROSS, sign, speeds=Speeds(turn_s=0)).time_s == pytest.approx(seconds)


def test_signals_of_one_crossing_share_its_seconds():
    """Two dual carriageways cross: four signals, of which a drive passes two."""
    lights = [post(x, 0, wait="signal") for x in (490, 510)] + [post(x, 20, wait="signal") for x in (490, 510)]
    route = driven(road((0, 0), (1000, 0), **FAST), road((0, 20), (1000, 20), **FAST), *lights, speeds=Speeds(turn_s=0))
    assert route.time_s == pytest.approx(90 + 0)  # one segment to the end: nothing to drive on over
    rows = [road((0, 0), (600, 0), **FAST), road((600, 0), (1000, 0), **FAST), road((0, 20), (1000, 20), **FAST)]
    assert driven(*rows, *lights, speeds=Speeds(turn_s=0)).time_s == pytest.approx(90 + 11)
    assert driven(*rows, *lights[:2], speeds=Speeds(turn_s=0)).time_s == pytest.approx(90 + 22)


@pytest.mark.parametrize(
    ("tags", "columns"),
    [
        ({"highway": "traffic_signals"}, {"wait": "signal"}),
        (
            {"highway": "traffic_signals", "traffic_signals:direction": "backward"},
            {"wait": "signal", "wait:direction": "backward"},
        ),
        ({"highway": "crossing", "crossing": "traffic_signals"}, {"wait": "signal"}),
        ({"highway": "crossing", "crossing": "uncontrolled"}, {}),
        ({"highway": "stop", "direction": "forward"}, {"wait": "stop", "wait:direction": "forward"}),
        ({"highway": "give_way"}, {"wait": "give_way"}),
        ({"railway": "level_crossing"}, {"wait": "level_crossing"}),
        ({"highway": "motorway_junction", "ref": "50B"}, {"junction:ref": "50B"}),
        ({"highway": "street_lamp", "direction": "forward"}, {}),
    ],
)
def test_points_of_an_extract_by_the_wiki(tags, columns):
    assert point_signs(tags) == columns


# measured on real extracts at commit 0a0d4b7: speed of the drive without any wait, signals and turns a drive, and what
# 20 s a signal and 8 s a turn make of its time
TOWNS = {
    "Baltimore": (4.7, 59, 10.1, 6.6, 1.90),
    "Harrisburg": (7.3, 55, 3.8, 6.8, 1.27),
    "Monaco": (2.0, 36, 0.8, 6.1, 1.39),
    "Manhattan": (0.9, 36, 7.0, 3.8, 3.00),
}


@pytest.mark.parametrize("town", TOWNS)
def test_the_range_of_the_drive_reaches_what_towns_take(town):
    km, kmh, signals, turns, factor = TOWNS[town]
    rolling = 3600 * km / kmh
    speeds = Speeds()
    waits = type(NO_WAITS)(
        *(signals * speeds.signal_s[k] + turns * share * 3.75 for k, share in enumerate((0.5, 1.0, 2.0)))
    )
    low, likely, high = drive_range(rolling + waits.likely_s, 0.0, waits)
    assert low < rolling  # free flow with green lights
    assert high > factor * rolling
    assert 1.1 * rolling < likely < factor * rolling


def test_the_drive_part_of_the_timeline_holds_the_waits():
    mission = mission_from_dict(
        {
            "layers": {"elevation": "a", "incident_area": "b", "roads": "c"},
            "staging": {"latitude": 1.0, "longitude": 2.0},
            "sky": {"satellites": [{"longitude_deg": 0.0}]},
        }
    )
    waits = type(NO_WAITS)(0.0, 120.0, 600.0)
    drive = next(p for p in time_on_air(mission, 720.0, 0.0, waits).parts if p.name == "Drive")
    assert (drive.low_min, drive.likely_min, drive.high_min) == pytest.approx((0.85 * 10, 12, 1.4 * 10 + 10))


def test_seconds_that_fall_are_refused():
    with pytest.raises(InputError, match=r"speeds\.signal_s"):
        mission_from_dict(
            {
                "layers": {"elevation": "a", "incident_area": "b", "roads": "c"},
                "staging": {"latitude": 1.0, "longitude": 2.0},
                "sky": {"satellites": [{"longitude_deg": 0.0}]},
                "speeds": {"signal_s": [10, 5, 20]},
            }
        )


def test_no_seconds_leave_the_roads_alone():
    assert driven(*CROSS, post(500, 0, wait="signal"), speeds=STILL, end=(500, 300)).time_s == pytest.approx(80)
    assert driven(*CROSS, post(500, 0, wait="signal"), speeds=Speeds(**UNSIGNED)).time_s == pytest.approx(90, abs=0.02)
