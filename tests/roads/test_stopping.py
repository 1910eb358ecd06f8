"""Where a rig may stop and start, drawn by hand: never in tunnels, on bridges, on roads of controlled access."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from shapely.geometry import box

from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.roads import hazard_words, no_way_words
from siteplanner.roads.closures import Closure
from siteplanner.roads.hazards_ahead import hazards_along
from siteplanner.roads.no_way import why_no_way
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from siteplanner.roads.start import MOST_GAP_M
from tests.roads.drawn import EAST, NORTH, network, post, road

NO_STOP = [
    ({"tunnel": "yes"}, "tunnel"),
    ({"tunnel": "building_passage"}, "tunnel"),
    ({"bridge": "yes"}, "bridge"),
    ({"bridge": "viaduct", "layer": "2"}, "bridge"),
    ({"layer": "-1"}, "other level"),
    ({"layer": "1"}, "other level"),
    ({"level": "-1"}, "other level"),
    ({"highway": "motorway", "oneway": "no"}, "motorway"),
    ({"highway": "trunk", "motorroad": "yes"}, "controlled access"),
    ({"highway": "trunk", "access_control": "full"}, "controlled access"),
    ({"highway": "primary", "access_control": "partial"}, "controlled access"),
    ({"highway": "trunk", "expressway": "yes"}, "controlled access"),
    ({"junction": "roundabout", "oneway": "no"}, "roundabout"),
]


def row(**tags):
    """Start Road, 1 km of what the tags say, End Road: 3 km in a line."""
    return [
        road((0, 0), (1000, 0), name="Start Road"),
        road((1000, 0), (2000, 0), name="Middle", **tags),
        road((2000, 0), (3000, 0), name="End Road"),
    ]


@pytest.mark.parametrize(("tags", "word"), NO_STOP)
def test_it_is_driven_but_nobody_leaves_the_road_there(tags, word):
    net = network(*row(**tags))
    assert net.judged.drivable.all()
    assert net.tags.no_stop.tolist() == ["", word, ""]
    tree = drive_tree(net, EAST + 100, NORTH)
    assert tree.reached.all()
    beside = nearest_access(net, tree, EAST + 1400, NORTH + 10)
    assert (net.tags.name[beside.segment], beside.x - EAST) == ("Start Road", pytest.approx(1000))
    assert nearest_access(net, tree, EAST + 1400, NORTH + 10, max_offset_m=80) is None
    behind = nearest_access(net, tree, EAST + 2500, NORTH + 10)
    assert route_to(net, tree, behind).distance_m == pytest.approx(2400)  # through it
    why = why_no_way(net, [tree], EAST + 1400, NORTH + 10, 80)
    assert (why.kind, why.what, why.name) == ("no_stopping", word, "Middle")
    assert no_way_words(why) == f"Nobody stops on Middle to unload ({word})."


@pytest.mark.parametrize(("tags", "word"), NO_STOP)
def test_nobody_starts_there(tags, word):
    net = network(*row(**tags), road((1000, 60), (2000, 60), name="Side Road"))
    tree = drive_tree(net, EAST + 1400, NORTH + 10)  # 10 m from the middle, 50 m from the side road
    assert (net.tags.name[tree.segment], tree.gap_m) == ("Side Road", pytest.approx(50))


def test_ordinary_roads_are_stopped_on():
    for tags in ({"tunnel": "no"}, {"layer": "0"}, {"bridge": "no"}, {"highway": "trunk"}, {"motorroad": "no"}):
        assert (network(*row(**tags)).tags.no_stop == "").all()


def test_ramps_of_controlled_roads_are_ramps_and_others_are_not():
    net = network(
        road((0, 0), (1000, 0), highway="motorway", name="M"),
        road((1000, 0), (1200, -50), highway="primary_link", name="ramp, lower"),
        road((1200, -50), (1400, -100), highway="primary_link", name="ramp, upper"),
        road((1400, -100), (2400, -100), highway="primary", name="P"),
        road((2400, -100), (2500, -200), highway="primary_link", name="slip lane"),
        road((2500, -200), (2500, -900), highway="secondary", name="S"),
    )
    word = dict(zip(net.tags.name.tolist(), net.tags.no_stop.tolist(), strict=True))
    assert word == {
        "M": "motorway", "ramp, lower": "ramp", "ramp, upper": "ramp", "P": "", "slip lane": "", "S": "",
    }  # fmt: skip


def test_a_gap_at_the_start_is_told_and_never_moved_far():
    net = network(road((0, 0), (1000, 0), name="Main"))
    for away, gap in ((0, 0.0), (9, 0.0), (40, 40.0), (199, 199.0)):
        tree = drive_tree(net, EAST + 500, NORTH + away)
        assert tree.refused is None
        assert tree.gap_m == pytest.approx(gap)
        assert [f.code for f in tree.findings] == (["staging_off_road"] if gap else [])
    far = drive_tree(net, EAST + 500, NORTH + 3000)
    assert (far.refused.kind, far.refused.name, far.refused.distance_m) == ("no_road", "Main", pytest.approx(3000))
    assert not far.reached.any()
    assert MOST_GAP_M == 200
    why = why_no_way(net, [far], EAST + 500, NORTH + 10, 80)
    assert why.kind == "no_start"
    assert "3.0 km" in no_way_words(why)


def test_where_the_own_road_is_shut_there_is_no_way_in():
    low = road((0, 0), (1000, 0), name="Yard Lane", maxheight="2.5")
    main = road((0, 150), (1000, 150), name="Main")
    shut = drive_tree(network(low, main), EAST + 500, NORTH + 20)
    assert (shut.refused.kind, shut.refused.name) == ("shut", "Yard Lane")
    assert [(r.kind, r.figure) for r in shut.refused.reasons] == [("height limit", 2.5)]
    assert "Yard Lane" in said(shut.findings[0]).message
    assert "2.5 m" in said(shut.findings[0]).message
    corner = drive_tree(network(low, main), EAST + 500, NORTH + 125)  # 25 m from Main: it leaves by that one
    assert corner.refused is None
    near_the_shut_one = drive_tree(network(low, road((0, 28), (1000, 28))), EAST + 500, NORTH + 5)
    assert near_the_shut_one.refused is None  # 23 m from the other
    slide = Closure(box(EAST + 480, NORTH - 9, EAST + 520, NORTH + 9), "slide")
    closed = drive_tree(network(road((0, 0), (1000, 0), name="Main"), closures=[slide]), EAST + 500, NORTH + 5)
    assert (closed.refused.kind, closed.refused.reasons[0].what) == ("shut", "slide")  # not past the closure on it


def test_a_barrier_before_a_place_is_named():
    net = network(road((0, 0), (1000, 0), name="Main"), post(600, 0, barrier="planter"))
    tree = drive_tree(net, EAST + 100, NORTH)
    why = why_no_way(net, [tree], EAST + 800, NORTH + 5, 80)
    assert (why.kind, why.reasons[0].what) == ("stopped_before", "planter")
    assert "a key or a saw may open it" in no_way_words(why)
    (found,) = [f for f in net.findings if f.code == "roads_blocked_at_points"]
    assert found.facts["kinds"] == (("planter", 1),)
    opens = network(road((0, 0), (1000, 0)), post(600, 0, barrier="bollard", bollard="removable"))
    assert "removable, somebody has the key" in no_way_words(
        why_no_way(opens, [drive_tree(opens, EAST + 100, NORTH)], EAST + 800, NORTH + 5, 80)
    )


def square(**short):
    """From (0, 0) to (1000, 0): straight on what the tags say, or round by the north."""
    return network(
        road((-500, 0), (0, 0)),
        road((0, 0), (1000, 0), name="Short", **short),
        road((0, 0), (0, 600), (1000, 600), (1000, 0), name="Round"),
        road((1000, 0), (1500, 0)),
    )


@pytest.mark.parametrize("restricted", [False, True])
def test_destination_roads_are_for_who_has_something_to_do_there(restricted):
    net = square(access="destination")
    if restricted:  # the same with a banned turn somewhere: the search is another one then
        net = network(
            road((-500, 0), (0, 0)),
            road((0, 0), (1000, 0), name="Short", access="destination"),
            road((0, 0), (0, 600), (1000, 600), (1000, 0), name="Round"),
            road((1000, 0), (1500, 0)),
        )
        net = dataclasses.replace(net, banned_turns=np.array([[2 * (len(net) - 1) + 1, 2 * (len(net) - 1)]]))
    tree = drive_tree(net, EAST - 400, NORTH)
    through = nearest_access(net, tree, EAST + 1400, NORTH)
    route = route_to(net, tree, through)
    assert route.distance_m == pytest.approx(400 + 2200 + 400)  # not through it
    assert route.time_s == pytest.approx(through.arrival_s)
    onto = route_to(net, tree, nearest_access(net, tree, EAST + 400, NORTH))
    assert onto.distance_m == pytest.approx(800)
    assert onto.time_s == pytest.approx(800 / (30 / 3.6))  # unwillingness is no time
    assert not any(h.kind == "through traffic" for h in hazards_along(net, onto))


def test_where_there_is_no_other_way_passing_through_is_told():
    net = network(road((-500, 0), (0, 0)), road((0, 0), (1000, 0), access="destination"), road((1000, 0), (1500, 0)))
    tree = drive_tree(net, EAST - 400, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + 1400, NORTH))
    (told,) = [h for h in hazards_along(net, route) if h.kind == "through traffic"]
    assert (told.running_m, told.length_m) == pytest.approx((400, 1000))
    assert "route_not_for_through_traffic" in {f.code for f in route.findings}


@pytest.mark.parametrize(
    ("what", "words"),
    [("railway", "a railway bridge"), ("footway", "a footbridge"), ("cycleway", "a cycle bridge"),
     ("pipeline", "a pipe bridge"), ("primary", "a bridge")],
)  # fmt: skip
def test_what_passes_over_the_drive_is_told(what, words):
    net = network(road((0, 0), (1000, 0)), road((500, -50), (500, 50), highway=what, bridge="yes"))
    tree = drive_tree(net, EAST, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + 900, NORTH))
    (told,) = [h for h in hazards_along(net, route) if h.kind == "under bridge"]
    assert told.severity == "warning"
    assert told.running_m == pytest.approx(500)
    assert (
        hazard_words(told) == f"passes under {words}, height not in the data: read the sign, measure if there is none"
    )


def test_a_railway_bridge_on_the_level_of_the_road_is_over_it():
    """The level is said wrongly often enough, and a bridge of another kind than the road's crosses it one way only."""
    rows = road((0, 0), (1000, 0), layer="1"), road((500, -50), (500, 50), highway="railway", bridge="yes")
    assert [h.kind for h in network(*rows).hazards[0]].count("under bridge") == 1


def test_what_the_data_hold_and_nothing_reads_is_listed():
    net = network(
        road((0, 0), (100, 0), **{"maxweight:local": "3", "source:maxweight": "survey", "surface": "asphalt"}),
        road((0, 9), (100, 9), **{"maxweight:local": "2", "hazmat:tunnel": "x", "surface": "P"}),
    )
    (unread,) = [f for f in net.findings if f.code == "road_keys_unread"]
    assert unread.facts["keys"] == (("maxweight:local", 2),)
    assert "maxweight:local (2)" in said(unread).message
    (codes,) = [f for f in net.findings if f.code == "road_surface_unknown"]
    assert codes.facts["written"] == ("'p'",)


def test_nothing_says_that_figures_are_not_posted():
    for tags in ({"bridge": "yes"}, {"tunnel": "yes"}):
        (told,) = [h for h in network(road((0, 0), (500, 0), **tags)).hazards[0] if h.kind in tags]
        assert hazard_words(told).endswith("limits not in the data: read the sign")
