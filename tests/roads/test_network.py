"""Limits, hazards, speeds, bends and grades of a built network."""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.roads import hazard_words, reasons_words
from siteplanner.roads.network import build_network
from siteplanner.roads.speeds import grade_factor, point_speed_kmh
from siteplanner.roads.strokes import three_point_radius_m
from tests.roads.drawn import ground, layer, network, post, road


def one(rig=None, elevation=None, **tags):
    """The only segment's (drivable, reason) for a straight road with these tags."""
    net = network(road((0, 0), (500, 0), **tags), rig=rig, elevation=elevation)
    return bool(net.judged.drivable[0]), reasons_words(net.judged.reasons[0])


def kinds(net, segment):
    return tuple(u.kind for u in net.judged.unknown[segment])


@pytest.mark.parametrize(
    ("tags", "words"),
    [
        ({"maxheight": "2.8", "bridge": "yes"}, "bridge height limit 2.8 m is below the rig's 3.2 m"),
        ({"maxheight": "9'"}, "height limit 2.74 m is below the rig's 3.2 m"),
        ({"maxheight:physical": "3"}, "height limit 3 m"),
        ({"maxheight": "3.2"}, "height limit 3.2 m is below the rig's 3.2 m with 0.15 m to spare"),
        ({"maxweight": "3.5"}, "weight limit 3.5 t is below the rig's 5 t"),
        ({"maxweight": "8000 lbs"}, "weight limit 3.62 t"),
        ({"width": "2.2"}, "width 2.2 m is below the rig's 2.5 m"),
        ({"maxwidth": "2"}, "width 2 m"),
        ({"maxlength": "12"}, "length limit 12 m is below the rig's 13 m"),
        ({"surface": "Sand"}, "surface sand"),
        ({"surface": "gravel;mud"}, "surface mud"),
        ({"highway": "track", "tracktype": "grade4"}, "grade4 is softer than the rig's grade3"),
        ({"smoothness": "very_bad"}, "very_bad is worse than the rig's bad"),
        ({"access": "no"}, "access is no"),
        ({"access": "yes", "motor_vehicle": "no"}, "access is no"),
        ({"trailer": "no"}, "no trailers"),
        ({"highway": "footway"}, "footway: not a road for vehicles"),
        ({"barrier": "bollard"}, "barrier bollard"),
        ({"incline": "-18%"}, "posted grade 18 % is above the rig's 15 %"),
    ],
)
def test_a_broken_limit_shuts_the_road_and_says_why(tags, words):
    drivable, reason = one(**tags)
    assert not drivable
    assert words in reason


@pytest.mark.parametrize(
    "tags",
    [
        {},
        {"maxheight": "3.35"},  # 3.2 m and 0.15 m to spare
        {"maxheight": "none"},
        {"maxweight": "5"},
        {"maxweight": "12t"},
        {"highway": "track", "tracktype": "grade3"},
        {"smoothness": "bad"},
        {"access": "private"},
        {"access": "no", "motor_vehicle": "yes"},
        {"barrier": "gate"},
        {"ford": "yes"},
        {"incline": "up"},
        {"surface": "dirt"},
        {"highway": "Primary "},
    ],
)
def test_what_is_equal_unknown_or_only_a_warning_stays_open(tags):
    assert one(**tags) == (True, "")


def test_all_reasons_are_told():
    reason = one(maxheight="2", maxweight="2")[1]
    assert "height limit" in reason
    assert "weight limit" in reason


def test_a_rig_that_bounces_needs_more_than_its_own_height():
    """Load, bounce, snow: a sign of the rig's own height does not let it through. Allowance: common practice."""
    assert not one(maxheight="3.34")[0]
    assert one(maxheight="3.2", rig=Rig(height_allowance_m=0.0)) == (True, "")
    assert one(maxwidth="2.5", maxweight="5") == (True, "")  # an allowance of the height alone


def test_another_rig_gets_another_answer():
    assert not one(maxheight="2.8")[0]
    assert one(maxheight="2.8", rig=Rig(height_m=2.5))[0]


def test_missing_limits_are_unknown_and_stated_ones_are_not():
    net = network(
        road((0, 0), (500, 0)),
        road((0, 9), (500, 9), maxheight="4", maxweight="20", width="6", surface="asphalt"),
        road((0, 20), (500, 20), oneway="reversible"),
    )
    assert kinds(net, 0) == ("surface", "grade")  # an ordinary road: a limit without a sign is usual there
    assert kinds(net, 1) == ("grade",)
    assert "direction" in kinds(net, 2)
    mistake = network(road((0, 0), (500, 0), maxheight="12t"))
    assert "height limit" in kinds(mistake, 0)
    assert [h.kind for h in mistake.hazards[0]] == ["unreadable"]
    assert mistake.hazards[0][0].severity == "warning"


@pytest.mark.parametrize(
    ("tags", "told"),
    [
        ({"highway": "primary"}, ()),
        ({"highway": "residential", "maxheight": "none"}, ()),
        ({"bridge": "yes"}, ("weight limit", "width")),
        ({"bridge": "yes", "maxweight": "20"}, ("width",)),
        ({"tunnel": "yes"}, ("height limit", "width")),
        ({"tunnel": "yes", "maxheight": "4", "maxwidth": "3"}, ()),
        ({"highway": "track"}, ("height limit", "weight limit", "width")),
        ({"highway": "service", "width": "4"}, ("height limit", "weight limit")),
        ({"access": "private"}, ("height limit", "weight limit", "width")),
        ({"surface": "gravel"}, ("height limit", "weight limit", "width")),
        ({"maxheight": "below_default"}, ("height limit",)),
        ({"maxweight": "variable"}, ("weight limit",)),
        ({"maxlength": "unknown"}, ()),
    ],
)
def test_a_missing_limit_is_told_where_one_is_to_be_feared(tags, told):
    net = network(road((0, 0), (500, 0), **{"surface": "asphalt", **tags}))
    assert kinds(net, 0) == (*told, "grade")


def test_a_missing_height_is_told_below_a_bridge_and_only_there():
    rows = [road((0, -50), (0, 50), bridge="yes", layer="1", surface="asphalt", maxweight="40", width="8")]
    for limit in ({}, {"maxheight": "4.2"}):
        net = network(
            road((-500, 0), (-200, 0), surface="asphalt"), road((-200, 0), (300, 0), surface="asphalt", **limit), *rows
        )
        below = kinds(net, int(np.flatnonzero(net.tags.source_row == 1)[0]))
        assert below == (("grade",) if limit else ("height limit", "grade"))
        assert kinds(net, int(np.flatnonzero(net.tags.source_row == 0)[0])) == ("grade",)
    (found,) = [f for f in net.findings if f.code == "road_limits_not_stated"]
    assert "grade 100 %" in said(found).message
    assert "none is usual" in said(found).message


def test_hazards_of_one_road():
    net = network(
        road(
            (0, 0),
            (500, 0),
            ford="yes",
            bridge="yes",
            maxweight="7.5",
            access="private",
            surface="gravel",
            width="3",
            barrier="gate",
        )
    )
    texts = {h.kind: hazard_words(h) for h in net.hazards[0]}
    assert texts == {
        "ford": "ford: depth unknown, look before driving in",
        "bridge": "bridge, posted weight 7.5 t, width 3 m",
        "private": "private road: ask the owner",
        "unpaved": "unpaved (gravel)",
        "narrow": "narrow: 3 m for a rig of 2.5 m",
        "gate": "gate: may be locked",
    }


# abc / 4K by hand: (0,0) (10,10) (20,0) is a half circle; (0,0) (10,2) (20,0): 26; sides 3-4-5: 2.5
@pytest.mark.parametrize(
    ("points", "radius"),
    [
        ((0, 0, 10, 10, 20, 0), 10.0),
        ((0, 0, 10, 2, 20, 0), 26.0),
        ((0, 0, 3, 0, 3, 4), 2.5),
        ((0, 0, 1, 0, 2, 0), np.inf),
        ((0, 0, 5, 0, 0, 0), 0.0),
    ],
)
def test_radius_through_three_points(points, radius):
    assert three_point_radius_m(*points) == pytest.approx(radius, abs=1e-9)


def test_coincident_points_have_no_radius():
    assert np.isnan(three_point_radius_m(0, 0, 0, 0, 1, 1))


def hairpin(radius, step_deg=1.0):
    angle = np.radians(np.arange(-90, 90 + step_deg / 2, step_deg))
    arc = [(100 + radius * np.cos(a), radius * np.sin(a)) for a in angle]
    return road((0, -radius), *arc, (0, radius))


@pytest.mark.parametrize(("radius", "tight"), [(6.0, True), (9.5, True), (10.6, False), (14.0, False)])
def test_a_hairpin_is_judged_by_the_rig_s_radius(radius, tight):
    # the rig's 10.06 m: car with camper trailer, 33 ft
    bends = [h for h in network(hairpin(radius)).hazards[0] if h.kind == "bend"]
    assert len(bends) == 1
    assert (bends[0].severity == "warning") is tight
    assert bends[0].along_m == pytest.approx(100 + np.pi * radius / 2, abs=0.51 * np.pi * radius)


def test_a_hairpin_as_wide_as_the_reach_has_its_true_radius():
    bends = [h for h in network(hairpin(12.0), rig=Rig(turning_radius_m=10.0)).hazards[0] if h.kind == "bend"]
    assert min(h.value for h in bends) == pytest.approx(12.0, abs=1e-3)  # chords of one degree


def test_a_wide_bend_and_a_junction_are_no_hairpins():
    net = network(hairpin(40.0))
    assert [h for h in net.hazards[0] if h.kind == "bend"] == []
    net = network(road((0, 0), (100, 0)), road((50, 0), (50, 100)))
    assert all(not h for h in net.hazards)


PLANE = ground(lambda x, y: 500 + 0.08 * x - 0.03 * y)


def test_the_grade_of_a_plane_is_exact():
    net = network(
        road((0, 0), (300, 0)),
        road((0, 100), (0, 400)),
        road((900, 300), (700, 300)),
        road((1000, 1000), (1200, 1200)),
        elevation=PLANE,
    )
    # d/dx = 8 %, d/dy = -3 %; diagonal (8 - 3) / sqrt 2 %
    assert net.grades.up_pct == pytest.approx([8, 0, 0, 5 / np.sqrt(2)], abs=1e-6)
    assert net.grades.down_pct == pytest.approx([0, 3, 8, 0], abs=1e-6)
    assert net.grades.worst_pct == pytest.approx([8, 3, 8, 5 / np.sqrt(2)], abs=1e-6)
    first = slice(net.profile.first[2], net.profile.first[3])
    along, height = net.profile.along_m[first], net.profile.elevation_m[first]
    assert along[[0, -1]].tolist() == pytest.approx([0, 200])
    assert height == pytest.approx(500 + 0.08 * (900 - along) - 9, abs=1e-6)


def test_noise_does_not_invent_cliffs():
    # White noise of 0.5 m on cells of 10 m. A least-squares slope over 50 m keeps a standard error of
    # sigma sqrt(12 d / base^3) = 1.5 %; differences between cells keep sigma sqrt(2) / d = 7 %.
    rng = np.random.default_rng(7)
    noisy = PLANE.with_values(PLANE.values + rng.normal(0, 0.5, PLANE.shape))
    net = network(road((5, 505), (1495, 505)), elevation=noisy)  # through cell centres: no averaging between rows
    raw_pct = 10.0 * np.diff(noisy.sample(np.arange(500_005, 501_500, 10.0), np.full(150, 5_000_505.0)))
    assert raw_pct.max() > 20
    error_pct = 100 * np.sqrt(12 * 10 / 50**3) * 0.5
    assert net.grades.up_pct[0] < 8 + 4 * error_pct
    assert net.grades.down_pct[0] < 2
    assert net.judged.drivable[0]
    off = net.profile.elevation_m - (500 + 0.08 * (net.profile.along_m + 5) - 0.03 * 505)
    assert off.std() < 0.5 * 0.7


def test_a_road_steeper_than_the_rig_is_shut_unless_a_sign_says_less():
    steep = ground(lambda x, y: 500 + 0.2 * x)
    drivable, reason = one(elevation=steep)
    assert not drivable
    assert reason == "grade 20 % over 50 m (from elevation) is above the rig's 15 %"
    assert one(elevation=steep, incline="12%")[0]
    assert one(elevation=steep, rig=Rig(max_grade_pct=25))[0]


def test_short_segments_get_the_grade_of_their_stroke():
    hill = ground(lambda x, y: 500 + 0.1 * x)
    pieces = [road((20 * k, 0), (20 * k + 20, 0)) for k in range(10)]
    assert network(*pieces, elevation=hill).grades.up_pct == pytest.approx(np.full(10, 10.0), abs=1e-6)
    alone = network(road((0, 0), (20, 0)), elevation=hill)
    assert np.isnan(alone.grades.worst_pct[0])  # 20 m of road says nothing over 50 m
    assert "grade" in kinds(alone, 0)


def test_a_bridge_is_straight_between_its_ends():
    gorge = ground(lambda x, y: 500 + 0.02 * x - 40.0 * np.exp(-(((x - 500) / 40) ** 2)), cell_m=5.0)
    rows = [road((0, 0), (350, 0)), road((350, 0), (650, 0), bridge="yes"), road((650, 0), (1000, 0))]
    net = network(*rows, elevation=gorge)
    assert net.judged.drivable.tolist() == [True, True, True]
    assert net.grades.up_pct[1] == pytest.approx(2.0, abs=0.2)
    plain = network(road((0, 0), (350, 0)), road((350, 0), (650, 0)), elevation=gorge)
    assert not plain.judged.drivable[1]


def test_unknown_ground_gives_an_unknown_grade():
    net = network(road((-400, 0), (-1500, 0)), road((0, 0), (300, 0)), elevation=PLANE)
    assert net.grades.up_pct[1] == pytest.approx(8)
    beyond = network(road((-900, 0), (-1500, 0)), elevation=PLANE)
    assert np.isnan(beyond.grades.worst_pct[0])
    assert beyond.judged.drivable[0]


def test_times_on_level_straight_roads():
    # 1 km at the class speed; tracks keep theirs, other loose surfaces 0.7 of it, a posted speed caps it
    rows = [
        ({"highway": "primary"}, 70),
        ({"highway": "primary", "maxspeed": "30 mph"}, 30 * 1.609344),
        ({"highway": "secondary", "surface": "gravel"}, 60 * 0.7),
        ({"highway": "track"}, 15),
        ({"highway": "motorway_link"}, 90 * 0.6),
        ({"highway": "living_street"}, 10),
        ({"highway": "what"}, 40),
    ]
    net = network(*[road((0, 40 * k), (1000, 40 * k), **tags) for k, (tags, _) in enumerate(rows)])
    assert net.times.forward_s == pytest.approx([3600 / kmh for _, kmh in rows])
    assert net.mean_speed_kmh == pytest.approx([kmh for _, kmh in rows])
    assert net.times.backward_s[0] == net.times.forward_s[0]


def test_weather_slows_everything_but_the_sign():
    wet = build_network(layer(road((0, 0), (1000, 0))), elevation=None, rig=Rig(), speeds=Speeds(weather_factor=0.5))
    assert wet.times.forward_s[0] == pytest.approx(3600 / 15)


def test_grades_and_bends_slow_the_rig():
    assert grade_factor(np.array([0, 3, 8, -8, 60, np.nan])) == pytest.approx([1, 1, 0.7, 0.7, 0.3, 1])
    # v = sqrt(a R): 1.5 m/s2 and 24 m give 6 m/s
    assert point_speed_kmh(np.array(50.0), np.array(0.0), np.array(24.0)) == pytest.approx(21.6)
    flat = network(road((0, 0), (500, 0)), elevation=ground(lambda x, y: 0 * x))
    hill = network(road((0, 0), (500, 0)), elevation=ground(lambda x, y: 0.08 * x))
    assert hill.times.forward_s[0] == pytest.approx(flat.times.forward_s[0] / 0.7, rel=1e-6)


def test_one_way_streets():
    net = network(
        road((0, 0), (100, 0), oneway="yes"),
        road((0, 9), (100, 9), oneway="-1"),
        road((0, 20), (100, 20), highway="motorway"),
        road((0, 30), (100, 30), junction="roundabout"),
    )
    assert np.isfinite(net.times.forward_s).tolist() == [True, False, True, True]
    assert np.isfinite(net.times.backward_s).tolist() == [False, True, False, False]
    shut = network(road((0, 0), (100, 0), access="no"))
    assert np.isinf([shut.times.forward_s[0], shut.times.backward_s[0]]).all()


def test_names_stay_what_they_are_and_a_ref_stands_in():
    net = network(
        road((0, 0), (100, 0), name="{{ 7*7 }}<b>", ref="CR 1"),
        road((0, 9), (100, 9), ref="CR 12"),
        road((0, 20), (100, 20)),
    )
    assert net.tags.name.tolist() == ["{{ 7*7 }}<b>", "CR 12", ""]


def test_fords_are_told_or_shut_as_the_rig_says():
    rows = [road((0, 0), (500, 0), ford="yes"), road((0, 90), (500, 90)), post(250, 90, ford="yes")]
    told = network(*rows)
    assert told.judged.drivable.all()
    kinds_told = [h.kind for hazards in told.hazards for h in hazards]
    assert kinds_told.count("ford") == 2  # the line, and the point once on its road
    shut = network(*rows, rig=Rig(fords="exclude"))
    assert [reasons_words(r) for r in shut.judged.reasons[shut.tags.source_row == 0]] == ["ford"]
    # a ford on a point parts the road there; its halves stay
    halves = np.flatnonzero(shut.tags.source_row == 1)
    assert len(halves) == 2
    assert len({*shut.geometry.seg_from[halves], *shut.geometry.seg_to[halves]}) == 4
    assert (told.tags.source_row == 1).sum() == 1


def test_locked_gates_are_cautions():
    def gate(**tags):
        net = network(road((0, 0), (500, 0)), post(250, 0, barrier="gate", **tags))
        assert net.judged.drivable.all()
        return {(h.severity, hazard_words(h)) for hazards in net.hazards for h in hazards}

    locked = ("warning", "gate: locked or not open to the public, get the key before leaving")
    assert gate() == {("check", "gate: may be locked")}
    assert gate(locked="yes") == {locked}
    assert gate(access="private") == {locked}
    assert gate(access="no", motor_vehicle="yes") == {("check", "gate: may be locked")}
    line = network(road((0, 0), (500, 0), barrier="gate", locked="yes"))
    assert [(h.severity, hazard_words(h)) for h in line.hazards[0]] == [locked]


@pytest.mark.parametrize(("radius", "open_"), [(6.0, False), (9.5, False), (10.6, True), (14.0, True)])
def test_tight_bends_shut_a_road_only_when_the_rig_says_so(radius, open_):
    strict = network(hairpin(radius), rig=Rig(tight_bends="exclude"))
    assert bool(strict.judged.drivable[0]) is open_
    assert network(hairpin(radius)).judged.drivable[0]
    if not open_:
        assert reasons_words(strict.judged.reasons[0]).startswith("bend of radius ")
        assert reasons_words(strict.judged.reasons[0]).endswith(
            "is tighter than the rig's 10.06 m"
        )  # as the sheet states it


@pytest.mark.parametrize("turn", [1, -1])
@pytest.mark.parametrize("radius", [5.0, 8.0, 10.5, 13.0, 15.7])
def test_the_measured_radius_of_a_hairpin_is_that_of_its_circle(radius, turn):
    angle = np.linspace(0, np.pi, 181)
    arc = [(100 + radius * np.sin(a), turn * radius * (1 - np.cos(a))) for a in angle]
    net = network(road((0, 0), *arc, (0, turn * 2 * radius)), rig=Rig(turning_radius_m=10.5))
    least = min(h.value for h in net.hazards[0] if h.kind == "bend")
    # From the rig's radius up all three points lie on the half circle. Below, the outer two lie on the straights and
    # the circle through them is wider than the bend, but never as wide as the rig's.
    assert least == pytest.approx(radius, rel=0.002) if radius >= 10.5 else radius < least < 10.5


def test_bridges_and_tunnels_without_figures_are_warnings():
    net = network(
        road((0, 0), (100, 0), bridge="yes"),
        road((0, 50), (100, 50), tunnel="yes"),
        road((0, 90), (100, 90), bridge="yes", maxweight="20"),
        road((0, 130), (100, 130), tunnel="yes", maxheight="4"),
    )
    told = [[(h.kind, h.severity, hazard_words(h)) for h in hazards] for hazards in net.hazards]
    assert told == [
        [("bridge", "unknown", "bridge, limits not in the data: read the sign")],
        [("tunnel", "unknown", "tunnel, limits not in the data: read the sign")],
        [("bridge", "note", "bridge, posted weight 20 t")],
        [("tunnel", "note", "tunnel, posted height 4 m")],
    ]


def test_limits_that_are_not_stated_are_counted_by_length():
    full = {"maxheight": "4", "maxweight": "20", "width": "6", "maxlength": "20", "surface": "asphalt"}
    net = network(
        road((0, 0), (300, 0), **full),
        road((0, 90), (700, 90), **{**full, "maxheight": "variable"}),
        road((0, 200), (9000, 200), access="no"),
    )
    found = next(f for f in net.findings if f.code == "road_limits_not_stated")
    assert said(found).message == (
        "Missing from the road data, by length: grade 100 %, height limit 70 %. "
        "Not stated is not the same as none. Missing height, weight, width and length limits are "
        "left out on ordinary roads, where none is usual."
    )
    flat = ground(lambda x, y: 0 * x)
    assert not [
        f
        for f in network(road((0, 0), (300, 0), **full), elevation=flat).findings
        if f.code == "road_limits_not_stated"
    ]
