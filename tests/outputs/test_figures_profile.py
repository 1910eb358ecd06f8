"""The drawn drive: bands add up to the way, the sign is the road's, every hazard is there, nothing is invented."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from siteplanner.outputs.sheets.figure_profile import PAGE, SHEET, profile_svg, profile_words
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.planning.telling.units import METRIC, US
from siteplanner.roads.hazards_ahead import hazards_along
from tests.outputs.factory import HOSTILE, make_plan


@pytest.fixture(scope="module")
def plan():
    return make_plan()


def test_the_drawing_is_whole_xml_and_names_every_hazard(plan):
    ranked = max(plan.spots, key=lambda r: len(hazards_along(plan.scene.roads, r.evaluation.access.route)))
    hazards = hazards_along(plan.scene.roads, ranked.evaluation.access.route)
    assert hazards
    for size in (PAGE, SHEET):
        root = ET.fromstring(profile_svg(plan, ranked, METRIC, size=size))
        assert root.get("viewBox") == f"0 0 760 {size.height:g}"
    titles = [t.text for t in root.iter("{http://www.w3.org/2000/svg}title")]
    assert len(titles) == 1 + len(hazards)
    for hazard in hazards:
        assert any(t.startswith(ahead_words(hazard)) for t in titles)


def test_the_words_hold_the_figures_of_the_drive(plan):
    ranked = plan.spots[0]
    route = ranked.evaluation.access.route
    words = profile_words(plan, ranked, METRIC)
    assert f"{route.climb_m:.0f} m up" in words
    assert f"{route.descent_m:.0f} m down" in words
    assert f"the rig's limit is {plan.mission.rig.max_grade_pct:g} %" in words
    if round(route.up_grade_pct) > 0:
        assert f"climb {route.up_grade_pct:.0f} %" in words


def test_us_axes_are_in_feet_and_miles(plan):
    metric, us = profile_svg(plan, plan.spots[0], METRIC), profile_svg(plan, plan.spots[0], US)
    assert " km<" in metric
    assert " mi<" in us
    assert " ft<" in us


def test_no_drive_no_drawing(plan):
    ranked = plan.spots[0]
    nowhere = replace(ranked, evaluation=replace(ranked.evaluation, access=None))
    assert profile_svg(plan, nowhere, METRIC) == ""
    assert profile_words(plan, nowhere) == ""


def test_hostile_names_stay_text():
    plan = make_plan(names=HOSTILE)
    for ranked in plan.spots:
        root = ET.fromstring(profile_svg(plan, ranked, METRIC))
        tags = {element.tag.rpartition("}")[2] for element in root.iter()}
        assert tags <= {"svg", "title", "desc", "rect", "path", "text", "g"}
