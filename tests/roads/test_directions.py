"""Directions on a network drawn by hand with every turn type; the words are worked out from the drawing.

Coordinates are metres east and north of ORIGIN; north is up. UTM 12N on its central meridian: grid north is true.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from affine import Affine
from pyproj import CRS
from shapely.geometry import LineString

from siteplanner.data.grid import Grid
from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.directions import step_words
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.roads.directions import directions
from siteplanner.roads.hazards_ahead import hazards_along
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree, nearest_access, route_to

X0, Y0 = 500_000.0, 4_950_000.0
UTM = "EPSG:32612"


def at(x, y):
    return X0 + x, Y0 + y


def drive(roads, start, end, rise=0.0, **rig):
    """(network, route, steps) from start to end; `rise` is the ground's slope to the north."""
    keys = sorted({key for road in roads for key in road[1]} | {"highway", "name"})
    frame = gpd.GeoDataFrame(
        {key: [road[1].get(key, {"highway": "unclassified"}.get(key)) for road in roads] for key in keys},
        geometry=[LineString([at(*p) for p in road[0]]) for road in roads],
        crs=UTM,
    )
    rows = np.arange(600)[:, None] * np.ones((1, 600))
    grid = Grid(
        (1000 + rise * (6000 - 10 * rows)).astype(np.float32),
        Affine(10, 0, X0 - 3000, 0, -10, Y0 + 3000),
        CRS.from_user_input(UTM),
    )
    network = build_network(frame, elevation=grid, rig=Rig(**rig), speeds=Speeds())
    tree = drive_tree(network, *at(*start))
    access = nearest_access(network, tree, *at(*end))
    route = route_to(network, tree, access)
    return network, route, directions(network, route, grid)


def texts(steps):
    return [step_words(step) for step in steps]


MAIN = ([(0, 0), (0, 1000)], {"name": "Main Road"})


def side_road(dx, dy, name="Side Road"):
    return [(0, 1000), (dx, 1000 + dy)], {"name": name}


@pytest.mark.parametrize(
    ("dx", "dy", "words"),
    # arriving northward at (0, 1000); the angle of (dx, dy) from north is the turn
    [
        (500, 0, "At the crossroads turn right onto Side Road, toward the east"),
        (-500, 0, "At the crossroads turn left onto Side Road, toward the west"),
        (400, 400, "Turn slightly right onto Side Road, toward the north-east"),
        (-400, 400, "Turn slightly left onto Side Road, toward the north-west"),
        (400, -400, "Turn sharp right onto Side Road, toward the south-east"),
        (-400, -400, "Turn sharp left onto Side Road, toward the south-west"),
    ],
)
def test_every_turn_at_a_crossroads_has_its_words(dx, dy, words):
    on = [(0, 1000), (0, 2000)], {"name": "Main Road"}
    # the other road lies square to the side, so that the turn is no fork
    other = [(0, 1000), (-500 if dx > 0 else 500, 1000)], {"name": "Other Road"}
    if abs(dx) == 400 and dy > 0:  # 45 degrees is not within 45 of straight on: no fork with Main Road's 0
        on = other
    _, _, steps = drive([MAIN, on, other, side_road(dx, dy)], (0, 0), (dx, 1000 + dy))
    assert texts(steps)[1] == words
    assert len(steps) == 3
    assert steps[1].running_m == pytest.approx(1000, abs=1)
    assert steps[1].distance_m == pytest.approx(np.hypot(dx, dy), abs=1)


def test_start_and_arrival_and_running_distances():
    _, route, steps = drive([MAIN, side_road(500, 0), side_road(-500, 0, "Other")], (0, 0), (300, 990))
    assert texts(steps) == [
        "Leave the staging point on Main Road, toward the north",
        "At the T-junction turn right onto Side Road, toward the east",
        "Stop: the spot is 10 m off the road, on the right",
    ]
    assert [s.running_m for s in steps] == pytest.approx([0, 1000, 1300], abs=1)
    assert sum(s.distance_m for s in steps) == pytest.approx(route.distance_m)
    assert steps[-1].distance_m == 0
    assert steps[1].bearing_deg == pytest.approx(90, abs=0.1)
    # the decision point's coordinates are those of the junction
    assert (steps[1].x, steps[1].y) == pytest.approx(at(0, 1000), abs=0.5)
    assert steps[1].grid_reference.startswith("12TWQ0000051000"[:5])


def test_a_bend_without_a_side_road_is_no_step_but_a_new_name_is():
    roads = [([(0, 0), (0, 500), (500, 500)], {"name": "Long Lane"}), ([(500, 500), (900, 500)], {"name": "Far Lane"})]
    _, _, steps = drive(roads, (0, 0), (900, 500))
    assert texts(steps)[1:-1] == ["Continue as Far Lane, toward the east"]


def test_straight_on_past_junctions_is_silent_and_helps_to_find_the_turn():
    roads = [
        ([(0, 0), (0, 2000)], {"name": "Main Road"}),
        ([(0, 1000), (500, 1000)], {"name": "Mill Lane"}),
        ([(0, 1400), (500, 1400)], {"name": "Ford Lane"}),
    ]
    _, _, steps = drive(roads, (0, 0), (500, 1400))
    assert texts(steps)[1:-1] == ["400 m past Mill Lane, turn right onto Ford Lane, toward the east"]


def test_a_bend_just_behind_a_fork_is_told_as_the_turn_that_it_is():
    """The way leaves at 36 degrees left and has turned by 63 after 30 m; its line is cut after 15 m. By hand:
    15 m at 36 deg, then 15 m due west: 23.8 m west, 12.1 m north, atan(23.8 / 12.1) = 63 deg."""
    bend, cut = (-9.0, 1012.0), (-300, 1012)
    ahead = [(0, 1000), (0, 2000)], {"name": "Main Road"}
    short, on = ([(0, 1000), bend], {"name": "West Street"}), ([bend, cut], {"name": "West Street"})
    seen = "north-west"
    for crossing, words in (
        ([], "Turn left onto West Street, toward the west"),
        # a street between the two pieces: a place to go wrong, told for what is seen first, and toward where the 15 m
        # to the next step lead (36 degrees left)
        (
            [([bend, (-9, 1300)], {"name": "Mid Street"})],
            f"Keep left at the fork onto West Street, toward the {seen}",
        ),
    ):
        steps = texts(drive([MAIN, ahead, short, on, *crossing], (0, 0), cut)[2])
        assert steps[1] == words
    back = [([(0, 1000), bend], {"name": "West Street"}), ([bend, (-4, 1030), (-90, 1500)], {"name": "West Street"})]
    assert texts(drive([MAIN, ahead, *back], (0, 0), (-90, 1500))[2])[1].startswith("Keep left at the fork")


def test_a_fork_says_which_side_to_keep():
    fork = [MAIN, ([(0, 1000), (200, 1600)], {"name": "East Fork"}), ([(0, 1000), (-200, 1600)], {"name": "West Fork"})]
    assert texts(drive(fork, (0, 0), (200, 1600))[2])[1] == "Keep right at the fork onto East Fork, toward the north"
    assert texts(drive(fork, (0, 0), (-200, 1600))[2])[1] == "Keep left at the fork onto West Fork, toward the north"


def test_staying_on_a_road_that_turns_at_a_junction():
    roads = [([(0, 0), (0, 1000), (600, 1000)], {"name": "Main Road"}), ([(0, 1000), (0, 1600)], {"name": "Hill Road"})]
    _, _, steps = drive(roads, (0, 0), (600, 1000))
    assert texts(steps)[1] == "Turn right to stay on Main Road, toward the east"


def test_unnamed_roads_are_told_by_their_kind():
    roads = [
        MAIN,
        ([(0, 1000), (500, 1000)], {"highway": "track", "tracktype": "grade1"}),
        ([(0, 1000), (-500, 1000)], {"highway": "service"}),
    ]
    assert texts(drive(roads, (0, 0), (500, 1000))[2])[1] == (
        "At the T-junction turn right onto an unnamed track, toward the east"
    )
    assert texts(drive(roads, (0, 0), (-500, 1000))[2])[1] == (
        "At the T-junction turn left onto an unnamed service road, toward the west"
    )


def test_a_roundabout_counts_its_exits():
    angle = np.radians(np.arange(0, 361, 15))
    # traffic runs counter-clockwise, the way the line is drawn; centre (0, 1050), radius 50, from the south
    ring = [(50 * np.sin(-a + np.pi), 1050 + 50 * np.cos(-a + np.pi)) for a in angle]
    ring[-1] = ring[0]
    roads = [
        MAIN,
        (ring, {"junction": "roundabout", "highway": "unclassified"}),
        ([(50, 1050), (500, 1050)], {"name": "East Road"}),
        ([(0, 1100), (0, 1600)], {"name": "North Road"}),
        ([(-50, 1050), (-500, 1050)], {"name": "West Road"}),
    ]
    for end, words in (
        ((500, 1050), "At the roundabout take the first exit onto East Road, toward the east"),
        ((0, 1600), "At the roundabout take the second exit onto North Road, toward the north"),
        ((-500, 1050), "At the roundabout take the third exit onto West Road, toward the west"),
    ):
        assert texts(drive(roads, (0, 0), end, turning_radius_m=10)[2])[1:-1] == [words]


def test_a_road_the_rig_cannot_use_is_still_a_junction_the_driver_sees():
    roads = [
        ([(0, 0), (0, 1500)], {"name": "Main Road"}),
        ([(0, 700), (500, 700)], {"name": "Low Lane", "maxheight": "2.5"}),
        ([(0, 1000), (500, 1000)], {"name": "High Lane"}),
    ]
    _, _, steps = drive(roads, (0, 0), (500, 1000))
    assert texts(steps)[1] == "300 m past Low Lane, turn right onto High Lane, toward the east"


def test_hazards_come_in_driving_order_and_grades_take_the_drive_s_sign():
    roads = [
        ([(0, 0), (0, 600)], {"name": "Main Road"}),
        ([(0, 600), (0, 700)], {"name": "Main Road", "bridge": "yes", "maxweight": "9"}),
        ([(0, 700), (0, 1600)], {"name": "Main Road", "surface": "gravel"}),
        ([(0, 1600), (0, 2000)], {"name": "Main Road", "surface": "gravel", "ford": "yes"}),
    ]
    network, route, steps = drive(roads, (0, 0), (0, 2000), rise=0.12)
    ahead = hazards_along(network, route)
    kinds = [h.kind for h in ahead]
    assert [h.running_m for h in ahead] == sorted(h.running_m for h in ahead)
    assert kinds.count("unpaved") == 1  # two pieces of gravel in a row are one stretch
    gravel = next(h for h in ahead if h.kind == "unpaved")
    assert gravel.running_m == pytest.approx(700, abs=2)
    assert gravel.length_m == pytest.approx(1300, abs=3)
    assert ahead_words(next(h for h in ahead if h.kind == "bridge")) == "bridge, posted weight 9 t"
    assert next(h for h in ahead if h.kind == "ford").running_m == pytest.approx(1600, abs=2)
    up = next(h for h in ahead if h.kind == "steep")
    assert up.value == pytest.approx(12, abs=0.5)
    assert ahead_words(up).startswith("steep climb")
    network, route, _ = drive(roads, (0, 2000), (0, 0), rise=0.12)
    down = next(h for h in hazards_along(network, route) if h.kind == "steep")
    assert down.value == pytest.approx(-12, abs=0.5)
    assert ahead_words(down).startswith("steep descent")
    # every hazard belongs to exactly one step
    assert sum(len(s.hazards) for s in steps) == len(ahead)


def test_names_from_files_stay_plain_text():
    hostile = "{{ 7*7 }} <b>&amp;"
    _, _, steps = drive([MAIN, side_road(500, 0, hostile), side_road(-500, 0, "x")], (0, 0), (500, 1000))
    assert texts(steps)[1] == f"At the T-junction turn right onto {hostile}, toward the east"


def test_a_start_in_the_middle_of_a_road():
    _, route, steps = drive([MAIN], (0, 300), (0, 800))
    assert route.distance_m == pytest.approx(500, abs=0.5)
    assert texts(steps) == ["Leave the staging point on Main Road, toward the north", "Stop: the spot is at the road"]


def test_the_end_of_the_pavement_is_said():
    roads = [
        ([(0, 0), (0, 1000)], {"name": "Main Road", "surface": "asphalt"}),
        ([(0, 1000), (0, 2000)], {"name": "Main Road", "surface": "gravel"}),
        ([(0, 2000), (0, 2600)], {"name": "Main Road", "surface": "asphalt"}),
        ([(0, 2000), (800, 2000)], {"name": "Mine Road", "surface": "asphalt"}),
        ([(800, 2000), (800, 2500)], {"name": "Ore Road", "surface": "dirt"}),
        ([(800, 2000), (1500, 2000)], {"name": "Mine Road", "surface": "asphalt"}),
    ]
    _, _, steps = drive(roads, (0, 0), (800, 2500))
    assert texts(steps)[1:-1] == [
        "Unpaved from here, on Main Road",
        "Turn right onto Mine Road, toward the east",
        "Turn left onto Ore Road, toward the north; unpaved from here",
    ]
    assert steps[1].kind == "unpaved"


def test_a_tight_offset_of_two_junctions_is_two_turns():
    roads = [
        MAIN,
        ([(-500, 1000), (0, 1000), (15, 1000), (500, 1000)], {"name": "Cross Road"}),
        ([(15, 1000), (15, 1800)], {"name": "North Road"}),
    ]
    _, _, steps = drive(roads, (0, 0), (15, 1800))
    assert texts(steps)[1:-1] == [
        "At the T-junction turn right onto Cross Road, toward the east",  # 15 m of it: not where the next road leads
        "Turn left onto North Road, toward the north",
    ]
    assert steps[1].distance_m == pytest.approx(15)


def test_steps_lie_where_the_published_grid_reference_says():
    # 38SMB4488: 44 500 E, 88 500 N is the centre of the square, UTM 38 N 444500 3688500 (GeoConvert manual)
    frame = gpd.GeoDataFrame(
        {"highway": ["residential"]},
        crs="EPSG:32638",
        geometry=[LineString([(444_500, 3_688_500), (445_500, 3_688_500)])],
    )
    network = build_network(frame, elevation=None, rig=Rig(), speeds=Speeds())
    grid = Grid(np.zeros((2, 2)), Affine(10, 0, 444_500, 0, -10, 3_688_500), CRS.from_epsg(32638))
    tree = drive_tree(network, 444_500.4, 3_688_500)
    access = nearest_access(network, tree, 445_000, 3_688_500)
    start = directions(network, route_to(network, tree, access), grid)[0]
    assert start.grid_reference == "38SMB4450088500"
    assert (start.latitude, start.longitude) == pytest.approx((33.33424, 44.40363), abs=1e-5)
    # west of the central meridian grid north lies west of true north: a bearing of grid east is less than 90
    assert start.bearing_deg == pytest.approx(90 + grid.convergence_deg(444_500, 3_688_500), abs=1e-3)
    assert start.bearing_deg < 90
