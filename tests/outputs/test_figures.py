"""The horizon diagram: well-formed, foretellable places, words for those who do not see it, hostile names harmless."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from siteplanner.mission import Satellite, Sky
from siteplanner.outputs.sheets.figure_horizon import LEFT, PAGE, RIGHT, horizon_svg
from siteplanner.planning.spots.evaluate import judge_sky
from siteplanner.planning.spots.evaluation import Evaluation, Ground
from siteplanner.planning.spots.skyline import skyline
from siteplanner.planning.study.inputs import dish_view
from siteplanner.planning.telling.units import BOTH
from tests.outputs.factory import HOSTILE
from tests.planning.open_ground import spot_in, study_on

SVG = "{http://www.w3.org/2000/svg}"


def evaluation_on(ground, row, col, latitude=45.0, name="here", satellite="south", obstacles=None):
    longitude = -111.0 if latitude >= 0 else 151.0
    sky = Sky(
        satellites=(
            Satellite(name=satellite, longitude_deg=longitude),
            Satellite(name="below", longitude_deg=longitude + 150 if longitude < 0 else longitude - 150),
        )
    )
    study = study_on(ground, latitude=latitude, longitude=longitude, obstacles=obstacles, sky=sky)
    spot = spot_in(study, row, col, name)
    dish = dish_view(study)
    looks = judge_sky(dish, spot, (row, col))
    return Evaluation(spot, Ground(1, 1, 1, 1, {}, 1, 10), looks, None, None, None, skyline=skyline(dish, spot, looks))


def circles(svg):
    return [c for c in ET.fromstring(svg).iter(f"{SVG}circle") if c.get("r") == "4"]


def test_no_skyline_no_figure():
    evaluation = evaluation_on(np.zeros((41, 41)), 20, 20)
    assert horizon_svg(replace(evaluation, skyline=None), BOTH) is None


@pytest.mark.parametrize("latitude", [45.0, -33.0])
def test_the_equators_side_is_in_the_middle(latitude):
    svg = horizon_svg(evaluation_on(np.zeros((41, 41)), 20, 20, latitude=latitude), BOTH)
    (mark,) = circles(svg)  # the satellite below the horizon has none
    assert float(mark.get("cx")) == pytest.approx((LEFT + PAGE.width - RIGHT) / 2, abs=2)
    assert mark.get("fill") == "#000"
    words = [t.text for t in ET.fromstring(svg).iter(f"{SVG}text")]
    # from edge to edge: north to north, or south to south where the satellites stand in the north
    ends = "N 000°" if latitude > 0 else "S 180°"
    assert words.count(ends) == 2


def test_a_blocked_slot_is_hollow_and_said_in_words():
    ground = np.zeros((81, 81))
    ground[50:53] = 300.0  # a wall 100 m to the south
    svg = horizon_svg(evaluation_on(ground, 40, 40), BOTH)
    (mark,) = circles(svg)
    assert mark.get("fill") == "#fff"
    root = ET.fromstring(svg)
    assert "not clear" in root.find(f"{SVG}desc").text
    assert root.get("role") == "img"
    named = root.get("aria-labelledby").split()
    assert {root.find(f"{SVG}title").get("id"), root.find(f"{SVG}desc").get("id")} == set(named)


def test_only_greys_so_that_print_loses_nothing():
    import re

    ground = np.zeros((81, 81))
    svg = horizon_svg(evaluation_on(ground, 40, 40, obstacles=ground + 12.0 * (np.arange(81) > 60)), BOTH)
    for colour in re.findall(r"#[0-9a-f]{3,6}\b", svg):
        digits = colour[1:]
        third = len(digits) // 3
        assert digits[:third] == digits[third : 2 * third] == digits[2 * third :]
    assert "trees and roofs" in svg


def test_everything_stays_inside_the_drawing():
    ground = np.zeros((81, 81))
    ground[45] = 900.0
    root = ET.fromstring(horizon_svg(evaluation_on(ground, 40, 40, satellite="a very long name " * 9), BOTH))
    for mark in root.iter(f"{SVG}text"):
        assert 0 <= float(mark.get("y") or 9) <= PAGE.height
        assert 0 <= float(mark.get("x") or 0) <= PAGE.width


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_text(name):
    evaluation = evaluation_on(np.zeros((41, 41)), 20, 20, name=name)
    # a mission file is UTF-8; the name of a satellite cannot hold half a surrogate pair
    looks = tuple(replace(look, satellite_name=name) for look in evaluation.sky)
    root = ET.fromstring(horizon_svg(replace(evaluation, sky=looks), BOTH))
    assert {e.tag for e in root.iter()} <= {
        SVG + tag for tag in ("svg", "title", "desc", "defs", "pattern", "rect", "circle", "path", "text", "g")
    }
    assert not [k for e in root.iter() for k in e.attrib if k.startswith("on") or "href" in k]


def test_two_diagrams_on_one_page_share_no_identifier():
    import re

    a = horizon_svg(evaluation_on(np.zeros((41, 41)), 20, 20), BOTH)
    b = horizon_svg(evaluation_on(np.zeros((41, 41)), 20, 21), BOTH)
    assert not set(re.findall(r' id="(\w+)"', a)) & set(re.findall(r' id="(\w+)"', b))


@pytest.mark.parametrize("apart", [(0, -8), (0, 4), (-6, 0, 6), (-9, -5, -2, 3, 8), (50, 0, -50)])
def test_names_of_satellites_and_the_lines_to_them_stand_clear_of_each_other(apart):
    sky = Sky(satellites=tuple(Satellite(name=f"slot {111 - a} W", longitude_deg=-111.0 + a) for a in apart))
    study = study_on(np.zeros((41, 41)), latitude=45.0, longitude=-111.0, sky=sky)
    spot = spot_in(study, 20, 20, "here")
    dish = dish_view(study)
    looks = judge_sky(dish, spot, (20, 20))
    seen = Evaluation(spot, Ground(1, 1, 1, 1, {}, 1, 10), looks, None, None, None, skyline=skyline(dish, spot, looks))
    root = ET.fromstring(horizon_svg(seen, BOTH))
    boxes = [
        [float(r.get(k)) for k in ("x", "y", "width", "height")]
        for r in root.iter(f"{SVG}rect")
        if r.get("fill-opacity") == "0.85"
    ]
    lines = [
        [float(v) for v in found.groups()]
        for p in root.iter(f"{SVG}path")
        for found in [re.fullmatch(r"M([\d.]+) ([\d.]+)V([\d.]+)", p.get("d"))]
        if found and p.get("stroke-width") == "0.5"
    ]
    assert len(boxes) == len(lines) == len(apart)
    for n, (x, y, wide, high) in enumerate(boxes):
        for at, foot, top in lines[:n] + lines[n + 1 :]:
            assert not (x < at < x + wide and top < y + high and foot > y), "a line through a name"
        for other in boxes[:n]:
            across = min(x + wide, other[0] + other[2]) - max(x, other[0])
            down = min(y + high, other[1] + other[3]) - max(y, other[1])
            assert across <= 0 or down <= 0, "a name on a name"
