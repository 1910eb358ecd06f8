"""A device that works out its own way stays on the drive: the route's points hold it there, at random.

For the samples see tests/end_to_end/test_gpx_samples.py.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from siteplanner.roads.routing import drive_tree, nearest_access, route_along, route_to
from siteplanner.roads.via_points import SPACING_M, via_points_m
from tests.car_router import router_of, stays_on
from tests.roads.drawn import EAST, NORTH, network, road

CLASSES = ("primary", "secondary", "tertiary", "residential", "unclassified", "track")


def random_town(seed):
    """A jittered lattice with missing roads, roads of all classes, and low bridges that only the rig minds."""
    rng = np.random.default_rng(seed)
    size, step = 7, 260.0
    at = {
        (i, j): (step * i + rng.uniform(-80, 80), step * j + rng.uniform(-80, 80))
        for i in range(size)
        for j in range(size)
    }
    rows = []
    for i, j in at:
        for other in ((i + 1, j), (i, j + 1), (i + 1, j + 1)):
            chance = 0.85 if sum(other) - i - j == 1 else 0.12
            if other in at and rng.random() < chance:
                a, b = at[i, j], at[other]
                middle = ((a[0] + b[0]) / 2 + rng.uniform(-40, 40), (a[1] + b[1]) / 2 + rng.uniform(-40, 40))
                low = {"maxheight": "2.5"} if rng.random() < 0.3 else {}
                rows.append(road(a, middle, b, highway=str(rng.choice(CLASSES)), **low))
    return network(*rows, node_crossings=True), at


def test_and_on_drives_through_random_towns():
    left, driven = 0, 0
    for seed in range(12):
        net, at = random_town(seed)
        car = router_of(net)
        rng = np.random.default_rng(1000 + seed)
        start = at[0, 0]
        tree = drive_tree(net, EAST + start[0] + 20, NORTH + start[1] + 15)
        for _ in range(6):
            goal = at[tuple(int(v) for v in rng.integers(2, 7, 2))]
            access = nearest_access(net, tree, EAST + goal[0] + 30, NORTH + goal[1] + 10)
            if access is None:
                continue
            route = route_to(net, tree, access)
            if route.distance_m < 300:
                continue
            ends = [0.0, route.distance_m]
            along = np.unique([*ends, *via_points_m(route)])
            points = shapely.get_coordinates(shapely.line_interpolate_point(route.line, along))
            driven += 1
            assert stays_on(car.drive(points), route.line), seed
            left += not stays_on(car.drive(points[[0, -1]]), route.line)
    assert driven > 30
    assert left > 10, "without the points the car's way is another one: the test can fail"


@pytest.mark.parametrize(("length", "count"), [(120.0, 1), (600.0, 1), (601.0, 2), (2000.0, 6)])
def test_a_long_road_has_points_all_along(length, count):
    net = network(road((0, 0), (length, 0)), road((0, 0), (0, 50)), road((length, 0), (length, 50)))
    tree = drive_tree(net, EAST, NORTH + 50)
    route = route_to(net, tree, nearest_access(net, tree, EAST + length, NORTH + 50))
    along = via_points_m(route)
    inside = along[(along > 50) & (along < 50 + length)]
    assert len(inside) == count
    assert np.diff([50.0, *inside, 50 + length]).max() <= SPACING_M + 1e-6


def test_a_loop_is_driven_the_way_round_that_it_is_drawn():
    """Out, round the loop and back: to the loop's middle both ways are as long, so one point there would not do."""
    loop = [(500, 0), (600, 80), (700, 0), (600, -80), (500, 0)]
    net = network(road((0, 0), (500, 0)), road(*loop), road((500, 0), (500, 300)))
    legs = [(0, 20.0, 500.0), (1, 0.0, float(net.geometry.length_m[1])), (2, 0.0, 250.0)]
    tree = drive_tree(net, EAST + 20, NORTH)
    end = nearest_access(net, tree, EAST + 500, NORTH + 250)
    for way in (legs, [legs[0], (1, legs[1][2], 0.0), legs[2]]):
        route = route_along(net, way, end)
        along = np.unique([0.0, route.distance_m, *via_points_m(route)])
        points = shapely.get_coordinates(shapely.line_interpolate_point(route.line, along))
        assert stays_on(router_of(net).drive(points), route.line)
