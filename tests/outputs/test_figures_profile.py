"""The drawn drive: bands add up to the way, the sign is the road's, every hazard is there, nothing is invented."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from siteplanner.outputs.sheets.figure_profile import grade_bands, profile_svg, profile_words
from siteplanner.roads.directions import hazards_along
from tests.outputs.factory import HOSTILE, make_plan


@pytest.fixture(scope="module")
def plan():
    return make_plan()


def route_of(*pieces):
    """A drive of straight grades: (length in m, grade in %)."""
    d, z = [0.0], [100.0]
    for length, grade in pieces:
        for _ in range(int(length / 10)):
            d.append(d[-1] + 10)
            z.append(z[-1] + 0.1 * grade)
    return SimpleNamespace(profile_distance_m=np.array(d), profile_elevation_m=np.array(z))


def test_bands_follow_the_grades_with_their_sign():
    bands = grade_bands(route_of((500, 2), (300, 7), (400, -12), (200, 18)), 15.0)
    assert [b.band for b in bands] == [0, 1, 2, 3]
    assert [round(b.worst_pct) for b in bands] == [2, 7, -12, 18]
    assert [(b.start_m, b.end_m) for b in bands] == [(0, 500), (500, 800), (800, 1200), (1200, 1400)]


def test_a_climb_and_a_descent_side_by_side_are_two_bands():
    bands = grade_bands(route_of((200, 8), (200, -8)), 15.0)
    assert [(b.band, round(b.worst_pct)) for b in bands] == [(1, 8), (1, -8)]


def test_unknown_heights_leave_a_gap_and_are_never_level():
    route = route_of((1000, 3))
    route.profile_elevation_m[40:61] = np.nan
    bands = grade_bands(route, 15.0)
    covered = sum(b.end_m - b.start_m for b in bands)
    assert 650 <= covered <= 800  # 200 m unknown, and what touches them
    assert not any(b.start_m < 500 < b.end_m for b in bands)
    assert grade_bands(SimpleNamespace(profile_distance_m=np.array([]), profile_elevation_m=np.array([])), 15.0) == ()


def test_the_drawing_is_whole_xml_and_names_every_hazard(plan):
    ranked = max(plan.spots, key=lambda r: len(hazards_along(plan.scene.roads, r.evaluation.access.route)))
    hazards = hazards_along(plan.scene.roads, ranked.evaluation.access.route)
    assert hazards
    root = ET.fromstring(profile_svg(plan, ranked))
    titles = [t.text for t in root.iter("{http://www.w3.org/2000/svg}title")]
    assert len(titles) == 1 + len(hazards)
    for hazard in hazards:
        assert any(t.startswith(hazard.text) for t in titles)


def test_the_words_hold_the_figures_of_the_drive(plan):
    ranked = plan.spots[0]
    route = ranked.evaluation.access.route
    words = profile_words(plan, ranked)
    assert f"{route.climb_m:.0f} m up" in words
    assert f"{route.descent_m:.0f} m down" in words
    assert f"the rig's limit is {plan.mission.rig.max_grade_pct:g} %" in words
    if round(route.up_grade_pct) > 0:
        assert f"climb {route.up_grade_pct:.0f} %" in words


def test_us_axes_are_in_feet_and_miles(plan):
    metric, us = profile_svg(plan, plan.spots[0]), profile_svg(plan, plan.spots[0], us=True)
    assert " km<" in metric
    assert " mi<" in us
    assert " ft<" in us


def test_no_drive_no_drawing(plan):
    ranked = plan.spots[0]
    nowhere = replace(ranked, evaluation=replace(ranked.evaluation, access=None))
    assert profile_svg(plan, nowhere) == ""
    assert profile_words(plan, nowhere) == ""


def test_hostile_names_stay_text():
    plan = make_plan(names=HOSTILE)
    for ranked in plan.spots:
        root = ET.fromstring(profile_svg(plan, ranked))
        tags = {element.tag.rpartition("}")[2] for element in root.iter()}
        assert tags <= {"svg", "title", "desc", "rect", "path", "text", "g"}
