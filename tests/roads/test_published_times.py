"""Drive times on a real town against published speeds: a router's for cars, and a manual's for urban streets."""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.mission import Rig, Speeds
from siteplanner.planning.site.timeline import drive_range
from siteplanner.roads.network import build_network
from siteplanner.roads.quantities import speed_kmh
from siteplanner.roads.routing import drive_tree, nearest_accesses, route_to
from tests.roads.test_real_extract import layer  # noqa: F401  (the extract of Helsinki)

# km/h by class, capped by the posted speed, and seconds at a signal: Open Source Routing Machine, profiles/car.lua at
# commit 0012f458 (speed_profile, traffic_signal_penalty); a car, not a rig, and without any cost of a turn
CAR_KMH = {
    "motorway": 90, "motorway_link": 75, "trunk": 85, "trunk_link": 70, "primary": 65, "primary_link": 60,
    "secondary": 55, "secondary_link": 50, "tertiary": 40, "tertiary_link": 30, "unclassified": 25, "residential": 25,
    "living_street": 10, "service": 15,
}  # fmt: skip
CAR_SIGNAL_S = 2.0
# Highway Capacity Manual 2000, exhibit 15-2: average travel speed on urban streets of class IV (25 to 35 mph without
# traffic): level of service B above 19 mph, C above 13, D above 9, E above 7
MPH = 1.609344
LOS_B, LOS_C, LOS_D, LOS_E = (mph * MPH for mph in (19.0, 13.0, 9.0, 7.0))


@pytest.fixture(scope="module")
def drives(layer):  # noqa: F811
    """(metres, low, likely, high seconds, a car's seconds) of drives of 800 m and more."""
    net = build_network(layer.frame, elevation=None, rig=Rig(), speeds=Speeds(), restrictions=layer.restrictions)
    posted = [speed_kmh(v).value for v in layer.frame["maxspeed"]]
    rng = np.random.default_rng(15)
    west, south, east, north = net.geometry.bounds
    out = []
    while len(out) < 120:
        tree = drive_tree(net, rng.uniform(west, east), rng.uniform(south, north))
        for access in nearest_accesses(net, tree, rng.uniform(west, east, 6), rng.uniform(south, north, 6)):
            route = route_to(net, tree, access) if access is not None else None
            if route is None or route.distance_m < 800:
                continue
            car_s = CAR_SIGNAL_S * route.waits.signals
            for segment, metres in zip(route.segments.tolist(), np.diff(route.running_m).tolist(), strict=True):
                sign = posted[int(net.tags.source_row[segment])]
                car_s += 3.6 * metres / np.fmin(CAR_KMH.get(net.tags.highway[segment], 10), sign)
            out.append((route.distance_m, *drive_range(route.time_s, 0.0, route.waits), car_s))
    return np.array(out).T


def test_a_car_s_published_time_lies_within_the_told_range_and_is_not_longer_than_the_rig_s(drives):
    metres, low, likely, high, car = drives
    within = (low <= car) & (car <= high)
    assert within.mean() > 0.95
    assert 0.6 < (car / likely).mean() < 1.0  # a loaded rig among signals is slower than a router's car
    assert metres.mean() > 1000


def test_the_likely_speed_is_that_of_a_street_with_signals_and_the_range_holds_fair_and_poor_traffic(drives):
    """Ten signals in a kilometre and a half: between levels of service B and E by the manual."""
    metres, low, likely, high, _ = drives
    assert LOS_D < 3.6 * metres.sum() / likely.sum() < LOS_B
    assert 3.6 * metres.sum() / high.sum() < LOS_E
    assert 3.6 * metres.sum() / low.sum() > LOS_B
    inside = (3.6 * metres / high <= LOS_C) & (3.6 * metres / low >= LOS_C)
    assert inside.mean() > 0.95
