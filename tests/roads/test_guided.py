"""What a driver may lose the way by: where a road leads, exits counted, forks without a choice, signs, gates told once.

Expected words follow from the drawings by hand; coordinates are metres, north is up.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from affine import Affine
from shapely.geometry import LineString, Point

from siteplanner.data.grid import Grid
from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.directions import step_words
from siteplanner.roads.directions import directions
from siteplanner.roads.hazards_ahead import hazards_along
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import UTM
from tests.roads.test_directions import at, drive, texts
from tests.roads.test_told_turns import middle

MAIN = ([(0, -600), (0, 1000)], {"name": "Main Road"})


def test_the_start_is_told_as_the_driver_leaves_it():
    """The road leaves to the north-west for 50 m, turns back on itself and goes 2 km south."""
    hill = ([(0, 0), (-35, 35), (-60, 35), (-60, -2000)], {"name": "Hill Street"})
    steps = drive([hill], (0, 0), (-60, -1500))[2]
    assert texts(steps)[0] == "Leave the staging point on Hill Street, toward the north-west"
    assert steps[0].bearing_deg == pytest.approx(315, abs=0.5)


def test_toward_looks_no_farther_than_the_next_step():
    """30 m east to a second turn, then south: "toward the south-east" would be where no step leads."""
    lane = ([(0, 1000), (30, 1000)], {"name": "Link Lane"})
    low = ([(30, 1000), (30, 600)], {"name": "Link Lane"})
    cross = [([(30, 1000), (400, 1000)], {"name": "East Road"}), ([(0, 1000), (0, 1600)], {"name": "Main Road"})]
    assert middle([MAIN, lane, low, *cross], (0, 0), (30, 600)) == [
        "Turn right onto Link Lane, toward the east",
        "Turn right to stay on Link Lane, toward the south",
    ]


RING = [(0, 20), (20, 40), (0, 60), (-20, 40)]  # south, east, north, west corner of a roundabout


def roundabout(**entry):
    """Traffic on the right: round it goes south, east, north, west. Arms at all four corners."""
    ring = [([RING[k], RING[(k + 1) % 4]], {"junction": "roundabout", "oneway": "yes"}) for k in range(4)]
    arms = [
        ([(0, -600), (0, 20)], {"name": "Main Road"}),
        ([(400, 40), (20, 40)], {"name": "East Street", **entry}),
        ([(0, 60), (0, 600)], {"name": "North Road"}),
        ([(-400, 40), (-20, 40)], {"name": "West Street"}),
    ]
    return ring + arms


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ({}, "second"),
        ({"oneway": "yes"}, "first"),  # drawn toward the ring: nobody leaves by it
        ({"oneway": "yes", "maxweight": "3.5"}, "first"),  # nor where it is shut for the rig besides
        ({"maxweight": "3.5"}, "second"),  # a street that others leave by is an exit on the sign
        ({"oneway": "-1", "maxweight": "3.5"}, "second"),
    ],
)
def test_exits_are_counted_by_the_way_the_traffic_goes(entry, words):
    assert middle(roundabout(**entry), (0, -500), (0, 500)) == [
        f"At the roundabout take the {words} exit onto North Road, toward the north"
    ]


def test_no_fork_is_told_beside_the_carriageway_that_comes_toward_one():
    """Main Road parts into two carriageways round an island, each one way."""
    up = ([(0, 1000), (12, 1060), (12, 1500)], {"name": "Main Road", "oneway": "yes"})
    down = ([(-12, 1500), (-12, 1060), (0, 1000)], {"name": "Main Road", "oneway": "yes"})
    assert middle([MAIN, up, down], (0, 0), (12, 1450)) == []
    both = (down[0][::-1], {"name": "Main Road"})  # a way one could take: a fork
    assert middle([MAIN, up, both], (0, 0), (12, 1450)) == [
        "Keep right at the fork to stay on Main Road, toward the north"
    ]


def test_straight_on_with_a_new_name_is_no_fork():
    """The road goes on by 3 degrees; tracks leave at 38 to the right and 50 to the left."""
    on = ([(0, 1000), (26, 1500)], {"name": "Benderer Road"})
    tracks = [([(0, 1000), (308, 1394)], {"highway": "track"}), ([(0, 1000), (-383, 1321)], {"highway": "track"})]
    assert middle([MAIN, on, *tracks], (0, 0), (26, 1450)) == ["Continue as Benderer Road, toward the north"]


def signed(rows, points=()):
    keys = sorted({key for _, tags in (*rows, *points) for key in tags} | {"highway", "name"})
    shapes = [LineString([at(*p) for p in line]) for line, _ in rows] + [Point(at(*p)) for p, _ in points]
    columns = {key: [tags.get(key) for _, tags in (*rows, *points)] for key in keys}
    frame = gpd.GeoDataFrame(columns, geometry=shapes, crs=UTM.to_epsg())
    return build_network(frame, elevation=None, rig=Rig(), speeds=Speeds())


def told(network, start, end):
    grid = Grid(np.zeros((600, 600)), Affine(10, 0, at(-3000, 0)[0], 0, -10, at(0, 3000)[1]), UTM)
    tree = drive_tree(network, *at(*start))
    route = route_to(network, tree, nearest_access(network, tree, *at(*end)))
    return route, texts(directions(network, route, grid))


HIGH = {"highway": "motorway", "name": "Valley Freeway", "ref": "I 83"}
YARD = ([(0, -600), (0, 0)], {"highway": "primary", "name": "Yard Road"})
FREEWAY = [YARD, ([(0, 0), (0, 1000)], HIGH), ([(0, 1000), (0, 3000)], HIGH)]
RAMP = ([(0, 1000), (60, 1200), (300, 1400)], {"highway": "motorway_link", "oneway": "yes"})
STREET = ([(300, 1400), (900, 1400)], {"highway": "primary", "name": "Eisenhower Boulevard", "ref": "US 322"})


@pytest.mark.parametrize("on_point", [False, True])
def test_exits_bear_their_number_and_what_the_sign_says(on_point):
    where = {"destination": "Harrisburg;Hershey;Carlisle", "destination:ref": "US 322"}
    number = {"junction:ref": "50B"}
    ramp = (RAMP[0], {**RAMP[1], **where, **({} if on_point else number)})
    _, words = told(signed([*FREEWAY, ramp, STREET], [((0, 1000), number)] if on_point else []), (0, -500), (800, 1400))
    assert words[1] == "Continue as Valley Freeway (I 83), toward the north"
    assert words[2].endswith("ake exit 50B on the right, toward the north; signs: US 322, Harrisburg, Hershey")
    assert words[3] == ("Follow the bend to the right: the road becomes Eisenhower Boulevard (US 322), toward the east")


def test_a_number_that_stands_for_the_name_is_told_once():
    way = ([(0, 0), (0, 1000)], {"ref": "CR 12", "highway": "tertiary"})
    _, words = told(signed([way]), (0, 0), (0, 900))
    assert words[0] == "Leave the staging point on CR 12, toward the north"


@pytest.mark.parametrize(("tags", "kind"), [({"barrier": "lift_gate"}, "gate"), ({"ford": "yes"}, "ford")])
def test_what_stands_on_a_point_is_told_once(tags, kind):
    net = signed([([(0, 0), (0, 1000)], {"highway": "tertiary", "name": "Main Road"})], [((0, 400), tags)])
    tree = drive_tree(net, *at(0, 0))
    route = route_to(net, tree, nearest_access(net, tree, *at(0, 900)))
    assert [h.running_m for h in hazards_along(net, route) if h.kind == kind] == pytest.approx([400])


def test_two_gates_one_behind_the_other_are_two():
    gates = [((0, 400), {"barrier": "gate"}), ((0, 404), {"barrier": "gate"})]
    net = signed([([(0, 0), (0, 1000)], {"highway": "tertiary"})], gates)
    tree = drive_tree(net, *at(0, 0))
    route = route_to(net, tree, nearest_access(net, tree, *at(0, 900)))
    assert [h.running_m for h in hazards_along(net, route) if h.kind == "gate"] == pytest.approx([400, 404])


def test_words_need_no_sign():
    network, _, steps = drive([MAIN], (0, 0), (0, 900))
    assert network.signs.ref.tolist() == [""]
    assert step_words(steps[0]) == "Leave the staging point on Main Road, toward the north"
