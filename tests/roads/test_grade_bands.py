"""Lengths of a drive by grade, on planes and folds whose grades are known by construction."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.planning.telling.roads import band_words
from siteplanner.roads.grade_bands import edges_pct, grade_bands, grade_stretches
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import EAST, NORTH, ground, network, road

LIMIT_PCT = 15.0  # Rig's own


def bands(height, start, end):
    net = network(road((0, 0), (2000, 0)), elevation=ground(height))
    tree = drive_tree(net, EAST + start, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + end, NORTH))
    return route, {band_words(b): b.length_m for b in grade_bands(route, LIMIT_PCT)}


@settings(deadline=None, max_examples=20)
@given(st.floats(-0.149, 0.149), st.floats(0, 900), st.floats(1000, 2000), st.booleans())
def test_a_plane_has_one_band_and_the_lengths_add_up(slope, low, high, backward):
    start, end = (high, low) if backward else (low, high)
    route, found = bands(lambda x, y: 100 + slope * x, start, end)
    assert sum(found.values()) == pytest.approx(route.distance_m)
    driven = -100 * slope if backward else 100 * slope
    if min(abs(abs(driven) - edge) for edge in (0, 5, 8, 12, 15)) < 0.01:
        return  # on the edge of two bands
    steep = ["below 5 %", "5 to 8 %", "8 to 12 %", "12 to 15 %"][int(np.searchsorted([5, 8, 12], abs(driven)))]
    steep = f"{'up' if driven > 0 else 'down'}, {steep}"
    assert found[steep] == pytest.approx(route.distance_m)


def test_a_roof_climbs_and_falls():
    """Up 10 % for 1,000 m, down 6 % for 1,000 m; around the ridge the fit over 50 m passes through all grades."""
    _, found = bands(lambda x, y: 100 + np.where(x < 1000, 0.10 * x, 100 - 0.06 * (x - 1000)), 0, 2000)
    assert found["up, 8 to 12 %"] == pytest.approx(1000, abs=30)
    assert found["down, 5 to 8 %"] == pytest.approx(1000, abs=30)
    assert sum(m for words, m in found.items() if "12 to 15" in words or "above 15" in words) == 0


def test_what_is_not_known_is_a_band_of_its_own():
    net = network(road((0, 0), (800, 0)))
    tree = drive_tree(net, EAST, NORTH)
    route = route_to(net, tree, nearest_access(net, tree, EAST + 800, NORTH))
    found = {band_words(b): b.length_m for b in grade_bands(route, LIMIT_PCT)}
    assert found["not known"] == pytest.approx(800)
    assert sum(found.values()) == pytest.approx(800)


def route_of(*pieces):
    """A drive of straight grades: (length in m, grade in %)."""
    d, g = [0.0], [float(pieces[0][1])]
    for length, grade in pieces:
        d += [d[-1], *(d[-1] + 10.0 * k for k in range(1, int(length / 10) + 1))]
        g += [float(grade)] * (1 + int(length / 10))
    return SimpleNamespace(profile_distance_m=np.array(d), profile_grade_pct=np.array(g))


@pytest.mark.parametrize(
    ("limit", "edges"), [(15.0, (0, 5, 8, 12, 15)), (12.0, (0, 5, 8, 12)), (10.0, (0, 5, 8, 10)), (4.0, (0, 4))]
)
def test_the_rig_s_limit_is_an_edge_and_the_highest(limit, edges):
    assert edges_pct(limit) == edges
    found = grade_bands(route_of((100, limit), (100, limit + 1)), limit)
    assert {(b.from_pct, b.length_m) for b in found if b.length_m > 0} == {(edges[-2], 100), (limit, 100)}


def test_stretches_follow_the_grades_with_their_sign():
    found = grade_stretches(route_of((500, 2), (300, 7), (400, -12.5), (200, 18)), 15.0)
    assert [(b.start_m, b.end_m, b.band, b.worst_pct) for b in found] == [
        (0, 500, 0, 2), (500, 800, 1, 7), (800, 1200, 3, -12.5), (1200, 1400, 4, 18),
    ]  # fmt: skip


def test_a_climb_and_a_descent_side_by_side_are_two_stretches_and_level_ground_is_one():
    found = grade_stretches(route_of((200, 9), (200, -9), (100, 1), (100, -1)), 15.0)
    assert [(b.band, b.worst_pct, b.end_m) for b in found] == [(2, 9, 200), (2, -9, 400), (0, 1, 600)]


def test_stretches_and_bands_are_one_answer():
    rng = np.random.default_rng(3)
    route = route_of(*((10 * int(n), g) for n, g in zip(rng.integers(1, 30, 40), rng.normal(0, 8, 40), strict=True)))
    route.profile_grade_pct[200:260] = np.nan
    totals = dict.fromkeys(range(5), 0.0)
    for stretch in grade_stretches(route, 15.0):
        totals[stretch.band] += stretch.end_m - stretch.start_m
    for number, edge in enumerate(edges_pct(15.0)):
        assert totals[number] == pytest.approx(sum(b.length_m for b in grade_bands(route, 15.0) if b.from_pct == edge))


def test_unknown_grades_leave_a_gap_and_are_never_level():
    route = route_of((1000, 3))
    route.profile_grade_pct[40:61] = np.nan
    found = grade_stretches(route, 15.0)
    assert [(b.start_m, b.end_m) for b in found] == [(0, 380), (600, 1000)]  # and what touches them
    nothing = SimpleNamespace(profile_distance_m=np.array([]), profile_grade_pct=np.array([]))
    assert grade_stretches(nothing, 15.0) == ()
