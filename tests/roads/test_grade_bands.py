"""Lengths of a drive by grade, on planes and folds whose grades are known by construction."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.roads.grade_bands import grade_bands
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import EAST, NORTH, ground, network, road


def bands(height, start, end):
    net = network(road((0, 0), (2000, 0)), elevation=ground(height))
    tree = drive_tree(net, EAST + start, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + end, NORTH))
    return route, {b.label: b.length_m for b in grade_bands(route)}


@settings(deadline=None, max_examples=20)
@given(st.floats(-0.149, 0.149), st.floats(0, 900), st.floats(1000, 2000), st.booleans())
def test_a_plane_has_one_band_and_the_lengths_add_up(slope, low, high, backward):
    start, end = (high, low) if backward else (low, high)
    route, found = bands(lambda x, y: 100 + slope * x, start, end)
    assert sum(found.values()) == pytest.approx(route.distance_m)
    driven = -100 * slope if backward else 100 * slope
    if min(abs(abs(driven) - edge) for edge in (0, 5, 8, 12)) < 0.01:
        return  # on the edge of two bands
    steep = ["below 5 %", "5 to 8 %", "8 to 12 %", "above 12 %"][int(np.searchsorted([5, 8, 12], abs(driven)))]
    steep = f"{'up' if driven > 0 else 'down'}, {steep}"
    assert found[steep] == pytest.approx(route.distance_m)


def test_a_roof_climbs_and_falls():
    """Up 10 % for 1,000 m, down 6 % for 1,000 m; around the ridge the fit over 50 m passes through all grades."""
    _, found = bands(lambda x, y: 100 + np.where(x < 1000, 0.10 * x, 100 - 0.06 * (x - 1000)), 0, 2000)
    assert found["up, 8 to 12 %"] == pytest.approx(1000, abs=30)
    assert found["down, 5 to 8 %"] == pytest.approx(1000, abs=30)
    assert found["up, above 12 %"] == found["down, above 12 %"] == 0


def test_what_is_not_known_is_a_band_of_its_own():
    net = network(road((0, 0), (800, 0)))
    tree = drive_tree(net, EAST, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + 800, NORTH))
    found = {b.label: b.length_m for b in grade_bands(route)}
    assert found["not known"] == pytest.approx(800)
    assert sum(found.values()) == pytest.approx(800)
