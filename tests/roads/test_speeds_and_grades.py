"""Each factor of the driving speed by hand, and grades on noisy ground, ramps, bridges and tunnels.

The figures of the speed model are common practice for towing, no source; expected values are worked out here.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from siteplanner.core.terrain import drawn_gradient_sd_per_m
from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.roads import hazard_words, reasons_words, unknown_along_words, unknown_words
from siteplanner.roads.attributes import CLASSES
from siteplanner.roads.grades import base_length_m
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from siteplanner.roads.speeds import grade_factor, line_speed_kmh, point_speed_kmh
from siteplanner.roads.tags import read_tags
from tests.roads.drawn import ground, layer, network, road


def speed(speeds: Speeds | None = None, **tags: str) -> float:
    """Level speed of one straight road, km/h."""
    return float(line_speed_kmh(read_tags(layer(road((0, 0), (1000, 0), **tags)))[0], speeds or Speeds())[0])


@pytest.mark.parametrize("name", CLASSES)
def test_each_class_has_the_speed_of_the_mission(name):
    assert speed(highway=name) == getattr(Speeds(), name)
    assert speed(Speeds(**{name: 33.0}), highway=name) == 33.0


def test_the_classes_never_get_faster_down_the_list():
    order = ("motorway", "trunk", "primary", "secondary", "tertiary", "unclassified", "residential", "service", "track")
    assert set(order) == set(CLASSES)
    assert np.all(np.diff([speed(highway=name) for name in order]) < 0)
    assert np.isnan(speed(highway="footway"))


@pytest.mark.parametrize(
    ("posted", "kmh"),
    [
        ("40", 40),
        ("25 mph", 25 * 1.609344),
        ("110", 70),
        ("none", 70),
        ("", 70),
        ("fast", 70),
    ],
)
def test_a_sign_caps_the_class_speed_and_never_raises_it(posted, kmh):
    assert speed(highway="primary", maxspeed=posted) == pytest.approx(kmh)


@pytest.mark.parametrize(
    ("tags", "kmh"),
    [
        ({"surface": "asphalt"}, 60),
        ({"surface": "gravel"}, 42),
        ({"surface": "dirt"}, 42),
        ({}, 60),
        ({"highway": "track", "surface": "gravel"}, 15),  # a track's speed is for loose ground already
        ({"surface": "gravel", "maxspeed": "30"}, 30),
        ({"surface": "gravel", "maxspeed": "50"}, 42),
    ],
)
def test_loose_ground_takes_its_share_before_the_sign(tags, kmh):
    assert speed(**{"highway": "secondary", **tags}) == pytest.approx(kmh)


@pytest.mark.parametrize(
    ("tags", "kmh"),
    [
        ({"highway": "trunk_link"}, 48),
        ({"highway": "primary_link"}, 42),
        ({"highway": "living_street"}, 10),
        ({"highway": "primary", "junction": "roundabout"}, 25),
        ({"highway": "service", "junction": "roundabout"}, 20),
    ],
)
def test_ramps_yards_and_roundabouts_are_slower(tags, kmh):
    assert speed(**tags) == pytest.approx(kmh)


def test_weather_slows_and_the_sign_still_caps():
    """What else slows a drive everywhere, dark and rain, is folded into this factor where the hour is known."""
    assert speed(highway="primary") == 70  # 1 unless set
    assert speed(Speeds(weather_factor=0.8), highway="primary") == pytest.approx(56)
    assert speed(Speeds(night_factor=0.5), highway="primary") == 70
    slow = Speeds(weather_factor=0.4)
    assert speed(slow, highway="primary") == pytest.approx(28)
    assert speed(slow, highway="primary", maxspeed="30") == pytest.approx(28)  # not 30 * 0.4
    assert speed(slow, highway="primary", maxspeed="20") == 20
    assert speed(slow, highway="track") == pytest.approx(6)
    network = build_network(layer(road((0, 0), (1000, 0))), elevation=None, rig=Rig(), speeds=slow)
    assert network.times.forward_s[0] == pytest.approx(3600 / (30 * 0.4))


@pytest.mark.parametrize("name", ["weather_factor", "wet_factor", "snow_factor", "night_factor", "unpaved_factor"])
@pytest.mark.parametrize("value", [0.0, -0.5, 1.01, float("nan")])
def test_a_factor_is_above_nothing_and_at_most_one(name, value):
    with pytest.raises(ValidationError, match=name):
        Speeds(**{name: value})


@pytest.mark.parametrize(
    ("grade", "share"),
    [
        (0, 1),
        (3, 1),
        (4, 0.94),
        (5, 0.88),
        (8, 0.7),
        (13, 0.4),
        (15, 0.3),
        (40, 0.3),
    ],
)
def test_a_grade_takes_six_percent_of_the_speed_for_each_percent_past_three(grade, share):
    assert grade_factor(np.array([grade, -grade])) == pytest.approx([share, share])  # down like up: brakes


@settings(deadline=None, max_examples=50)
@given(st.floats(0, 100), st.floats(0, 100), st.floats(5, 100), st.floats(1, 1e4))
def test_steeper_and_tighter_is_never_faster(one, other, kmh, radius):
    easy, steep = sorted((one, other))
    level, bend = np.array(kmh), np.array(radius)
    for sign in (1, -1):
        slow = point_speed_kmh(level, np.array(sign * steep), bend)
        assert slow <= point_speed_kmh(level, np.array(sign * easy), bend)
        assert slow <= point_speed_kmh(level, np.array(sign * steep), 2 * bend)
        assert 5.0 <= slow <= level


def test_a_hill_is_slower_both_ways_and_the_steeper_the_longer():
    seconds = []
    for pct in (0, 2, 4, 8, 12):
        net = network(road((0, 0), (1000, 0)), elevation=ground(lambda x, y, g=pct: 0.01 * g * x))
        assert net.times.backward_s[0] == pytest.approx(net.times.forward_s[0])
        seconds.append(float(net.times.forward_s[0]))
    # 1 km at 30 km/h takes 120 s; shares 1, 1, 0.94, 0.7, 0.46
    assert seconds == pytest.approx([120, 120, 120 / 0.94, 120 / 0.7, 120 / 0.46], rel=1e-6)


@pytest.mark.parametrize("radius", [20.0, 40.0, 80.0])
def test_a_bend_is_driven_at_the_speed_of_its_circle(radius):
    """v = sqrt(a R), a = 1.5 m/s2: 19.7, 27.9 and 39.4 km/h on half circles of 20, 40 and 80 m."""
    angle = np.linspace(0, np.pi, 361)
    arc = [(100 + radius * np.sin(a), radius * (1 - np.cos(a))) for a in angle]
    tags = {"highway": "motorway", "oneway": "no"}
    net = network(road((0, 0), *arc, (0, 2 * radius), **tags))
    bend_s = np.pi * radius / np.sqrt(1.5 * radius)
    straight_s = 200 / 25.0  # 90 km/h
    # near its two ends the three points lie half on the straight: a wider circle, or a slower straight
    reach_s = 2 * (np.pi * 10.06 / 2) * abs(1 / np.sqrt(1.5 * radius) - 1 / 25.0)
    assert net.times.forward_s[0] == pytest.approx(bend_s + straight_s, abs=reach_s)
    assert point_speed_kmh(np.array(90.0), np.array(0.0), np.array(radius)) == pytest.approx(
        3.6 * np.sqrt(1.5 * radius)
    )


def test_nothing_that_may_be_driven_is_slower_than_walking():
    assert point_speed_kmh(np.array(15.0), np.array(50.0), np.array(0.1)) == 5.0
    assert point_speed_kmh(np.array(3.0), np.array(50.0), np.array(0.1)) == 3.0  # unless the road itself is


@pytest.mark.parametrize(("cell", "base"), [(1, 40), (8, 40), (10, 50), (15, 75), (30, 100), (90, 100)])
def test_the_length_a_grade_is_told_over_follows_the_cells(cell, base):
    assert base_length_m(cell) == base


def noise(sigma_m: float, cell_m: float, seed: int, height=lambda x, y: 100.0 + 0 * x):
    grid = ground(height, cell_m=cell_m)
    return grid.with_values(grid.values + np.random.default_rng(seed).normal(0, sigma_m, grid.shape))


# Standard error of the least-squares slope over the base length: sigma sqrt(12 d / base^3), closed form.
# 1 m on cells of 10 m: 3.1 %; 0.5 m: 1.5 %; 1 m on cells of 20 m, told over 100 m: 1.5 %
@pytest.mark.parametrize(
    ("sigma", "cell", "error_pct", "most_pct"),
    [
        (1.0, 10.0, 3.1, 10.0),
        (0.5, 10.0, 1.55, 5.0),
        (1.0, 20.0, 1.55, 5.0),
    ],
)
def test_white_noise_on_a_level_road_stays_a_gentle_grade(sigma, cell, error_pct, most_pct):
    assert 100 * sigma * np.sqrt(12 * cell / base_length_m(cell) ** 3) == pytest.approx(error_pct, abs=0.05)
    y = 500 + cell / 2  # through cell centres: nothing is averaged between rows
    for seed in range(4):
        ground_ = noise(sigma, cell, seed)
        net = network(road((0, y), (1500, y)), elevation=ground_)
        assert np.abs(np.diff(ground_.values, axis=1)).max() / cell > 0.15  # cell to cell it is a cliff
        assert net.grades.worst_pct[0] < most_pct
        assert net.judged.drivable[0]
        assert np.nanstd(net.profile.grade_pct) < 1.3 * error_pct


@pytest.mark.parametrize("cell", [2.0, 10.0, 30.0])
def test_a_true_ramp_of_twelve_percent_is_measured(cell):
    net = network(
        road((0, 500), (1500, 500)), elevation=ground(lambda x, y: 100 + np.clip(0.12 * (x - 500), 0, 36), cell_m=cell)
    )
    assert net.grades.up_pct[0] == pytest.approx(12, abs=0.1)
    assert net.grades.down_pct[0] == pytest.approx(0, abs=0.1)
    along, height = net.profile.along_m, net.profile.elevation_m
    assert np.interp([300, 650, 1200], along, height) == pytest.approx([100, 118, 136], abs=0.1)


def test_a_true_ramp_in_noise_is_measured_within_a_point():
    """0.5 m on cells of 10 m: the middle of the ramp, over the base length, is 12 % within one point on average."""
    found = []
    for seed in range(8):
        net = network(
            road((0, 505), (1500, 505)),
            elevation=noise(0.5, 10.0, seed, lambda x, y: 100 + np.clip(0.12 * (x - 500), 0, 36)),
        )
        on = (net.profile.along_m > 550) & (net.profile.along_m < 750)
        found.append(net.profile.grade_pct[on].mean())
    assert found == pytest.approx(np.full(8, 12.0), abs=1.0)


def test_a_short_steep_pitch_is_not_smoothed_away():
    """60 m of 18 % between level roads: the rig's 15 % is broken, and the smoothing must not hide it."""
    net = network(road((0, 500), (1500, 500)), elevation=ground(lambda x, y: 100 + np.clip(0.18 * (x - 500), 0, 10.8)))
    assert net.grades.up_pct[0] == pytest.approx(18, abs=1)
    assert not net.judged.drivable[0]


def across(kind: str, bump_m: float, middle_pct: float = 3.0):
    """Segments before, on and after a deck of 300 m, over (or under) a bump of the ground between its ends."""

    def height(x, y):
        return 500 + 0.01 * middle_pct * (x - 350) + bump_m * np.exp(-(((x - 500) / 40) ** 2))

    tags = {kind: "yes"} if kind else {}
    return network(
        road((0, 0), (350, 0)),
        road((350, 0), (650, 0), **tags),
        road((650, 0), (1000, 0)),
        elevation=ground(height, cell_m=5.0),
    )


@pytest.mark.parametrize(("kind", "bump"), [("bridge", -60.0), ("tunnel", 60.0)])
@pytest.mark.parametrize("pct", [3.0, -6.0, 0.0])
def test_a_bridge_over_a_gorge_and_a_tunnel_under_a_ridge_run_from_end_to_end(kind, bump, pct):
    net = across(kind, bump, pct)
    # the bump is nothing at the ends (exp(-14)): the deck rises 300 m times the grade
    assert net.grades.up_pct[1] == pytest.approx(max(pct, 0), abs=0.1)
    assert net.grades.down_pct[1] == pytest.approx(max(-pct, 0), abs=0.1)
    deck = slice(net.profile.first[1], net.profile.first[2])
    assert net.profile.elevation_m[deck] == pytest.approx(500 + 0.01 * pct * net.profile.along_m[deck], abs=0.1)
    assert net.judged.drivable.all()
    assert not across("", bump, pct).judged.drivable[1]  # the same road on the ground


def test_a_tunnel_of_several_segments_is_one_line_from_mouth_to_mouth():
    pieces = [road((350 + 100 * k, 0), (450 + 100 * k, 0), tunnel="yes") for k in range(3)]
    ridge = ground(lambda x, y: 500 + 0.04 * x + 60 * np.exp(-(((x - 500) / 40) ** 2)), cell_m=5.0)
    net = network(road((0, 0), (350, 0)), *pieces, road((650, 0), (1000, 0)), elevation=ridge)
    assert net.grades.up_pct == pytest.approx(np.full(5, 4.0), abs=0.1)
    assert net.judged.drivable.all()


def test_a_steep_deck_is_still_steep():
    """A straight deck that climbs 20 % from end to end is judged like any road."""
    net = across("bridge", -60.0, 20.0)
    assert net.grades.up_pct[1] == pytest.approx(20, abs=0.1)
    assert not net.judged.drivable[1]


@pytest.mark.parametrize("turned", [False, True])
def test_a_bridge_that_ends_at_a_junction_reaches_the_ground_there(turned):
    """Past the abutment the road parts to both sides: nothing continues the bridge, its own end must hold the deck."""
    gorge = ground(lambda x, y: 500 + 0.03 * (x - 350) + 0.05 * y - 60 * np.exp(-(((x - 500) / 40) ** 2)), cell_m=5.0)
    ends = [(350, 0), (650, 0)]
    net = network(
        road((0, 0), (350, 0)),
        road(*(ends[::-1] if turned else ends), bridge="yes"),
        road((650, -400), (650, 0), (650, 400)),
        elevation=gorge,
    )
    bridge = int(np.flatnonzero(net.tags.source_row == 1)[0])
    deck = slice(net.profile.first[bridge], net.profile.first[bridge + 1])
    heights = net.profile.elevation_m[deck]
    assert net.grades.worst_pct[bridge] == pytest.approx(3, abs=0.1)
    assert heights[[0, -1]] == pytest.approx([509, 500] if turned else [500, 509], abs=0.1)


def bumpy(seed, slope_pct=0.0, sigma_m=1.0):
    rng = np.random.default_rng(seed)
    return ground(lambda x, y: 100 + slope_pct / 100 * x + rng.normal(0, sigma_m, x.shape))


def test_the_error_of_a_grade_is_that_of_its_line_and_of_what_one_window_hides():
    """On 1,000 m of one slope: 0.6 of one window's sigma sqrt(12 d / base^3) with d of 2/3 cell (1 m on cells of 10 m
    over 50 m: 2.5 %), and the line's own sigma sqrt(12 d / 1000^3); what is hidden is held to 2.5 %."""
    window, line = (100 * np.sqrt(12 * 10 * 2 / 3 / length**3) for length in (50, 1000))
    net = network(road((0, 0), (1000, 0)), elevation=ground(lambda x, y: 0 * x), elevation_error_m=1.0)
    # a window of 50 m holds samples at both its ends, which stand for 3 m beyond it each
    assert net.grades.error_pct[0] == pytest.approx(np.hypot(0.6 * window, line), rel=0.1)
    half = network(road((0, 0), (1000, 0)), elevation=ground(lambda x, y: 0 * x), elevation_error_m=0.5)
    assert half.grades.error_pct[0] == pytest.approx(net.grades.error_pct[0] / 2)
    worst = network(road((0, 0), (1000, 0)), elevation=ground(lambda x, y: 0 * x), elevation_error_m=9.0)
    assert worst.grades.error_pct[0] == pytest.approx(2.5, rel=0.1)
    posted = network(road((0, 0), (1000, 0), incline="14%"), elevation=bumpy(1, 0), elevation_error_m=1.0)
    assert (posted.grades.error_pct[0], posted.hazards[0][0].severity) == (0, "check")
    # two heights of a wide source: what is drawn between them slopes by sigma sqrt(2) / d, by cubic convolution 1.38
    assert drawn_gradient_sd_per_m(60.0, 1.0) == pytest.approx(np.sqrt(2) / 60, rel=0.03)


@pytest.mark.parametrize(("slope_pct", "state"), [(9.0, "open"), (14.0, "unsure"), (16.0, "likely"), (21.0, "shut")])
def test_a_grade_closer_to_the_limit_than_it_is_known_is_told_as_unsure(slope_pct, state):
    plane = ground(lambda x, y: slope_pct / 100 * x)
    sure = network(road((0, 0), (1000, 0)), elevation=plane, rig=Rig(max_grade_pct=15))
    assert sure.judged.drivable[0] == (slope_pct < 15)
    net = network(road((0, 0), (1000, 0)), elevation=plane, rig=Rig(max_grade_pct=15), elevation_error_m=1.0)
    # 1.3 points either way, each end away from the middle: a range is never told narrower than it is
    words = f"grade {slope_pct - 2:.0f} to {slope_pct + 2:.0f} %, limit 15 %"
    assert net.judged.drivable[0] == (slope_pct < 15)  # the likelier answer rules
    assert (words in unknown_words(net.judged.unknown[0])) == (state in ("unsure", "likely"))
    assert (reasons_words(net.judged.reasons[0]) == f"{words}: more likely too steep than not") == (state == "likely")
    assert [(h.severity, hazard_words(h) == words) for h in net.hazards[0]] == [
        ("warning", True) if state in ("unsure", "likely") else ("check", False)
    ]
    if state == "unsure":
        tree = drive_tree(net, *net.geometry.line[0].coords[0])
        route = route_to(net, tree, nearest_access(net, tree, *net.geometry.line[0].coords[-1]))
        assert (
            unknown_along_words(route.unknown)[0] == "grade too close to the rig's limit to be sure of on 1.0 of 1.0 km"
        )
        assert [said(f).message for f in route.findings] == [f"On the way: {words}."]
        (about,) = [f for f in net.findings if f.code == "road_limits_not_stated"]
        message = said(about).message
        assert "On 100 % of the roads for the rig, by length, the grade is measured but too close to" in message
        assert "surface 100 %. Not stated" in message  # what no one told is another sentence


def test_noise_does_not_slow_a_level_road_and_a_long_climb_does():
    """Level: 30 km/h as on the plane. 8 % all the way keeps 0.7 of it (`grade_factor`)."""
    level_s = network(road((0, 0), (1500, 0)), elevation=ground(lambda x, y: 0 * x)).times.forward_s[0]
    raw = [network(road((0, 0), (1500, 0)), elevation=bumpy(k)).times.forward_s[0] for k in range(6)]
    calm = [
        network(road((0, 0), (1500, 0)), elevation=bumpy(k), elevation_error_m=1.0).times.forward_s[0] for k in range(6)
    ]
    assert calm == pytest.approx([level_s] * 6, rel=1e-9)
    assert min(raw) > 1.001 * level_s
    climb = network(road((0, 0), (1500, 0)), elevation=bumpy(1, 8.0), elevation_error_m=1.0).times.forward_s[0]
    assert climb == pytest.approx(level_s / 0.7, rel=0.02)
