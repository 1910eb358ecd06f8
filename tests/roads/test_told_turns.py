"""Words for what `test_directions` does not draw: T-junctions, ramps, merging, hairpins, the end that was missed.

Expected words follow from the drawing by hand; coordinates are metres, north is up.
"""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.mission import Rig
from siteplanner.planning.telling.directions import move_words, step_words, too_far_words
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.roads.hazards_ahead import hazards_along
from siteplanner.roads.signposts import junction_shape, turn_sharpness, wind
from siteplanner.roads.turning import carry_on_m, last_turning_place
from tests.roads.test_directions import MAIN, drive, texts

EAST = ([(0, 1000), (500, 1000)], {"name": "East Lane"})
WEST = ([(0, 1000), (-500, 1000)], {"name": "West Lane"})


def middle(roads, start, end, **rig):
    return texts(drive(roads, start, end, **rig)[2])[1:-1]


@pytest.mark.parametrize(
    ("turn", "others", "shape"),
    [
        (90, [-90], "T-junction"),
        (-90, [90], "T-junction"),
        (90, [0], ""),  # a side road
        (90, [-90, 0], "crossroads"),
        (-80, [100, 20], "crossroads"),
        (90, [-90, 60], ""),  # two to the right: neither
        (90, [-90, 0, 45], ""),  # five ways meet
        (40, [-40], ""),  # a fork
        (150, [-90], ""),  # sharp right and left
    ],
)
def test_the_shape_of_a_junction(turn, others, shape):
    assert junction_shape(turn, others) == shape


@pytest.mark.parametrize(
    ("turn", "sharpness"),
    [
        (30, "slightly"),
        (-54, "slightly"),
        (56, ""),
        (-119, ""),
        (121, "sharp"),
        (-164, "sharp"),
        (166, "back"),
        (-180, "back"),
    ],
)
def test_turns_by_their_angle(turn, sharpness):
    assert turn_sharpness(turn) == sharpness


def test_the_winds_go_round():
    assert [wind(b) for b in range(0, 360, 45)] == [
        "north",
        "north-east",
        "east",
        "south-east",
        "south",
        "south-west",
        "west",
        "north-west",
    ]
    assert wind(359) == wind(-1) == "north"


def test_a_t_junction_and_a_plain_side_road():
    assert middle([MAIN, EAST, WEST], (0, 0), (500, 1000)) == [
        "At the T-junction turn right onto East Lane, toward the east"
    ]
    on = ([(0, 1000), (0, 2000)], {"name": "Main Road"})
    assert middle([MAIN, on, EAST], (0, 0), (500, 1000)) == ["Turn right onto East Lane, toward the east"]


def test_a_ramp_is_taken_and_left():
    main = {"name": "Ridge Highway", "highway": "trunk", "oneway": "yes"}
    roads = [
        ([(0, 0), (0, 1000)], main),
        ([(0, 1000), (0, 3000)], main),
        ([(0, 1000), (120, 1300), (600, 1500)], {"highway": "trunk_link", "oneway": "yes"}),
        ([(600, 1500), (1500, 1500)], {"name": "Low Road", "highway": "secondary", "oneway": "yes"}),
        ([(100, 1500), (600, 1500)], {"name": "Low Road", "highway": "secondary", "oneway": "yes"}),
    ]
    assert middle(roads, (0, 0), (1500, 1500)) == [
        "Take the ramp on the right, toward the north",
        "Merge onto Low Road, toward the east",
    ]


def test_a_hairpin_has_its_side_both_ways():
    # up the slope, round a half circle of 12 m radius to the left, back
    angle = np.radians(np.arange(0, 181, 15))
    curve = [(12 * np.cos(a) - 12, 500 + 12 * np.sin(a)) for a in angle]
    roads = [([(0, 0), *curve, (-24, 0)], {"name": "Switchback Road"})]
    for start, end, side in (((0, 0), (-24, 0), "left"), ((-24, 0), (0, 0), "right")):
        network, route, _ = drive(roads, start, end)
        (bend,) = [h for h in hazards_along(network, route) if h.kind == "bend"]
        assert ahead_words(bend).startswith(f"hairpin bend to the {side}, radius about 11.9 m")
        assert bend.running_m == pytest.approx(500 + 6 * np.pi, abs=8)  # the top of the half circle


def test_a_square_bend_is_sharp_and_no_hairpin():
    roads = [([(0, 0), (0, 500), (500, 500)], {"name": "Long Lane"})]
    network, route, _ = drive(roads, (0, 0), (500, 500))
    (bend,) = [h for h in hazards_along(network, route) if h.kind == "bend"]
    assert ahead_words(bend).startswith("sharp bend to the right")


def test_a_road_that_doubles_back_at_a_junction_is_a_sharp_turn():
    roads = [MAIN, ([(0, 1000), (60, 700)], {"name": "Back Lane"}), ([(0, 1000), (0, 1500)], {"name": "Main Road"})]
    assert middle(roads, (0, 0), (60, 700)) == ["Turn back onto Back Lane, toward the south"]
    roads[1] = ([(0, 1000), (200, 700)], {"name": "Back Lane"})
    assert middle(roads, (0, 0), (200, 700)) == ["Turn sharp right onto Back Lane, toward the south-east"]


@pytest.mark.parametrize(
    ("end", "words"),
    [((20, 400), ", on the right"), ((-20, 400), ", on the left"), ((0, 1020), ", straight ahead")],
)
def test_the_side_of_the_destination(end, words):
    steps = drive([MAIN], (0, 0), end)[2]
    assert step_words(steps[-1]) == f"Stop: the spot is 20 m off the road{words}"


def test_who_missed_the_end_is_told_by_what_comes_next():
    assert too_far_words(drive([MAIN], (0, 0), (20, 700))[2][-1].beyond) == "The road ends 300 m beyond the stop"
    # the same road goes on by another segment, then a junction
    more = ([(0, 1000), (0, 1200)], {"name": "Main Road"})
    side = ([(0, 1200), (300, 1200)], {"name": "Mill Lane"})
    beyond = ([(0, 1200), (0, 1900)], {"name": "Main Road"})
    assert too_far_words(drive([MAIN, more, side, beyond], (0, 0), (20, 700))[2][-1].beyond) == (
        "Too far: Mill Lane, 500 m beyond the stop"
    )
    # driven the other way the end of the road lies 700 m on
    assert too_far_words(drive([MAIN], (0, 1000), (20, 700))[2][-1].beyond) == "The road ends 700 m beyond the stop"
    # at the very end there is nothing to miss
    assert too_far_words(drive([MAIN], (0, 0), (0, 1020))[2][-1].beyond) == ""


def test_steps_hold_their_parts_and_three_coordinates():
    roads = [
        ([(0, 0), (0, 2000)], {"name": "Main Road"}),
        ([(0, 1000), (500, 1000)], {"name": "Mill Lane"}),
        ([(0, 1400), (500, 1400)], {"name": "Ford Lane"}),
    ]
    _, _, steps = drive(roads, (0, 0), (500, 1400))
    turn = steps[1]
    assert step_words(turn) == "400 m past Mill Lane, turn right onto Ford Lane, toward the east"
    assert move_words(turn.move) == "turn right onto Ford Lane, toward the east"
    assert (turn.past, turn.toward) == ("Mill Lane", "east")
    assert turn.past_m == pytest.approx(400, abs=0.5)
    assert turn.bearing_deg == pytest.approx(90, abs=0.1)
    # UTM 12 N on its central meridian: 111 W exactly
    assert turn.longitude == pytest.approx(-111, abs=1e-9)
    degrees, minutes = divmod(turn.latitude * 60, 60)
    assert turn.degrees_minutes == f"{degrees:02.0f}° {minutes:06.3f}′ N, 111° 00.000′ W"
    assert np.isnan(steps[-1].bearing_deg)
    assert steps[0].past == ""


def test_a_spot_at_the_start_itself_has_no_way_to_tell():
    """No distance, so no bearing: said without a wind, and never a crash."""
    network, route, steps = drive([MAIN], (0, 500), (20, 500))
    assert route.distance_m == 0
    assert texts(steps)[0] == "Start at the staging point on Main Road"
    assert steps[0].toward == ""
    assert hazards_along(network, route) == ()
    assert carry_on_m(network, route) is None
    assert last_turning_place(network, route, Rig()) is None
