"""The part of the satellite arc that a spot sees: exact ends against closed forms, gaps, the unknown, and the words."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from siteplanner import explain
from siteplanner.core.geodesy import look_angles, visible_arc_deg
from siteplanner.mission import Satellite, Sky
from siteplanner.mission.links import orbital_longitude
from siteplanner.outputs.sheets.figure_horizon import horizon_svg
from siteplanner.outputs.write import json_text
from siteplanner.planning.limits.toward import look_at
from siteplanner.planning.spots.evaluate import judge_sky
from siteplanner.planning.spots.evaluation import Evaluation, Ground
from siteplanner.planning.spots.skyline import skyline
from siteplanner.planning.spots.slots import visible_arc
from siteplanner.planning.study.inputs import dish_view
from siteplanner.planning.telling.arc import arc_words
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.trees import sky_sentences, tree_sentences
from siteplanner.planning.telling.units import BOTH
from tests.planning.open_ground import spot_in, study_on

SOUTH, EAST, FAR = (
    Satellite(name="south", longitude_deg=-111.0),
    Satellite(name="east", longitude_deg=-65.0),
    Satellite(name="far", longitude_deg=60.0),
)


def arc_of(study, row, col):
    spot = spot_in(study, row, col)
    looks = judge_sky(dish_view(study), spot, (row, col))
    return visible_arc(dish_view(study), spot, looks), looks, spot


def test_over_a_plain_the_arc_ends_where_the_least_elevation_says():
    """Closed form: the two longitudes at which a satellite stands 5 degrees up (the skyline is below level)."""
    arc, _, spot = arc_of(study_on(np.zeros((41, 41)), sky=Sky(satellites=(SOUTH,))), 20, 20)
    west, east = visible_arc_deg(spot.latitude, spot.longitude, 5.0)
    (span,) = arc.clear
    assert (span.west_deg, span.east_deg) == pytest.approx((float(west), float(east)), abs=1e-3)
    assert arc.unknown == ()


def test_a_wall_cuts_the_arc_where_its_angle_plus_the_margin_says():
    """A wall along a meridian to the east, 100 m away: its angle at bearing b is atan(98 sin(b) / 100) (flat Earth).

    The least bearing of the beam, 1.5 degrees nearer to the wall's foot point, decides.
    """
    ground = np.zeros((401, 401))
    ground[:, 210:] = 100.0
    arc, _, spot = arc_of(study_on(ground, sky=Sky(satellites=(SOUTH,))), 200, 200)
    (span,) = arc.clear
    azimuth, elevation, _ = look_angles(spot.latitude, spot.longitude, 0.0, span.east_deg)
    # the beam's side nearer to east, where the wall stands highest; grid and true north agree here
    toward = math.sin(math.radians(float(azimuth) - 1.5))
    high, low = (math.degrees(math.atan(98 / (100 / toward + step))) for step in (0, 5))  # samples every 5 m
    assert low <= float(elevation) - 2.0 <= high
    inside = look_at(dish_view(study_on(ground)), spot, (200, 200), np.array([span.east_deg, span.east_deg + 0.01]))
    assert inside.clear.tolist() == [True, False]


def test_a_peak_in_the_south_leaves_two_windows_and_names_what_works():
    ground = np.zeros((401, 401))
    ground[230:232, 196:205] = 260.0  # 300 m to the south: 40.7 deg up, 17 degrees wide
    study = study_on(ground, sky=Sky(satellites=(SOUTH, EAST, FAR)))
    arc, looks, spot = arc_of(study, 200, 200)
    assert len(arc.clear) == 2
    first, second = arc.clear
    assert first.east_deg > first.west_deg > -111 > second.east_deg > second.west_deg
    for span in arc.clear:  # both ends are in view, a hair beyond they are not
        ends = np.array([span.west_deg, span.east_deg])
        assert look_at(dish_view(study), spot, (200, 200), ends).clear.all()
        assert not look_at(dish_view(study), spot, (200, 200), ends + np.array([-0.002, 0.002])).clear.any()
    assert arc_words(arc, looks).endswith(
        "Of those named: south is behind the skyline or too near it; east works; far is below the horizon."
    )
    assert arc_words(arc, looks).startswith(
        f"Sees satellites from {orbital_longitude(math.floor(first.east_deg * 10) / 10)} to "
    )
    assert [look.clear for look in looks] == [False, True, False]


def test_every_slot_of_a_span_is_judged_as_a_satellite_there_would_be():
    rng = np.random.default_rng(8)
    ground = rng.normal(0, 20, (200, 200)).cumsum(0).cumsum(1) / 70
    study = study_on(ground, obstacles=ground + rng.uniform(0, 4, ground.shape))
    arc, _, spot = arc_of(study, 100, 100)
    slots = np.arange(-180, 180, 1.3)
    lines = look_at(dish_view(study), spot, (100, 100), slots)
    for spans, states in ((arc.clear, lines.clear), (arc.unknown, lines.unknown & (lines.elevation_deg >= 5))):
        inside = np.zeros(len(slots), bool)
        for span in spans:
            inside |= (span.east_deg - slots) % 360 <= (span.east_deg - span.west_deg) % 360
        np.testing.assert_array_equal(inside, states)
    assert lines.clear.any()


def test_at_the_rim_of_the_elevation_a_part_of_the_arc_is_not_known():
    """A plain with one high hill in the north: near the south rim as high a hill could stand beyond it."""
    ground = np.zeros((201, 201))
    ground[:5, 95:106] = 900.0
    arc, looks, _ = arc_of(study_on(ground, sky=Sky(satellites=(SOUTH,))), 195, 100)
    assert arc.clear == ()
    assert arc.unknown
    assert math.isnan(looks[0].margin_deg)
    assert arc_words(arc, looks).startswith("No satellite is known to be in view")
    assert "south is not known to be in view" in arc_words(arc, looks)


def test_a_look_says_what_it_knows_and_what_it_assumes():
    ground = np.zeros((201, 201))
    ground[:5, 95:106] = 900.0
    study = study_on(ground, sky=Sky(satellites=(SOUTH, FAR)))
    near_rim, far = judge_sky(dish_view(study), spot_in(study, 195, 100), (195, 100))
    assert (near_rim.state, near_rim.clear) == ("unknown", False)
    assert math.isnan(near_rim.horizon_deg)
    assert 50 < near_rim.known_to_m < 60  # 5 cells of 10 m to the last centre, then half a cell, a little aside
    assert (near_rim.ceiling_m, near_rim.ceiling_from) == (900.0, "elevation_files")
    assert far.state == "blocked"  # below the horizon: no skyline could help
    high, _ = judge_sky(dish_view(study), spot_in(study, 2, 100), (2, 100))
    assert (high.state, high.clear) == ("clear", True)  # from the hill's own top nothing unknown can reach the line


def test_across_the_180th_meridian_and_south_of_the_equator():
    for latitude, longitude in ((60.0, 179.9), (-33.0, -179.9)):
        arc, looks, spot = arc_of(study_on(np.zeros((41, 41)), latitude=latitude, longitude=longitude), 20, 20)
        (span,) = arc.clear
        west, east = (float(v) for v in visible_arc_deg(spot.latitude, spot.longitude, 5.0))
        assert span.west_deg > 0 > span.east_deg  # from a western longitude over 180 to an eastern one
        assert (span.west_deg, span.east_deg) == pytest.approx((west, east), abs=1e-3)
        assert " W to " in arc_words(arc, looks)
        assert " E (" in arc_words(arc, looks)


def test_right_below_a_satellite_it_is_clear_and_without_a_bearing():
    sky = Sky(satellites=(Satellite(name="overhead", longitude_deg=33.0),))
    study = study_on(np.zeros((41, 41)), latitude=0.0, longitude=33.0, sky=sky)
    spot = spot_in(study, 20, 20)
    from dataclasses import replace

    spot = replace(spot, latitude=0.0, longitude=33.0)
    (look,) = judge_sky(dish_view(study), spot, (20, 20))
    assert math.isnan(look.azimuth_deg)
    assert look.clear
    assert look.margin_deg == pytest.approx(90, abs=1.0)


def test_slots_in_words():
    assert [orbital_longitude(v) for v in (-62.44, 131.0, 0.0, -0.01, 180.0, -180.0, 190.0)] == [
        "62.4° W",
        "131° E",
        "0° E",
        "0° E",
        "180° E",
        "180° E",
        "170° W",
    ]


def test_how_tall_a_tree_may_be_is_said_in_words():
    """Closed form: dish 2 m, line at elevation less 2 degrees of margin: 2 + d tan(E - 2), rounded down."""
    study = study_on(np.zeros((101, 101)), sky=Sky(satellites=(SOUTH, FAR)))
    spot = spot_in(study, 50, 50)
    looks = judge_sky(dish_view(study), spot, (50, 50))
    e = Evaluation(
        spot,
        Ground(1, 1, 1, 1, {}, 1, 10),
        looks,
        None,
        None,
        None,
        skyline=skyline(dish_view(study), spot, looks),
        arc=visible_arc(dish_view(study), spot, looks),
    )
    rise = math.tan(math.radians(looks[0].elevation_deg - 2))
    tall = [math.floor(2 + d * rise) for d in (30, 60, 100)]
    feet = [math.floor((2 + d * rise) / 0.3048) for d in (30, 60, 100)]
    (sentence,) = tree_sentences(e)
    assert sentence == (
        f"In the line to south (180° true) a tree 30 m away may be up to {tall[0]} m ({feet[0]} ft) tall, 60 m away "
        f"{tall[1]} m ({feet[1]} ft), 100 m away {tall[2]} m ({feet[2]} ft)."
    )
    assert f"60 m away {tall[1]} m ({feet[1]} ft)" in horizon_svg(e, BOTH)
    known, ends, *rest = sky_sentences(e)
    assert known.startswith("± holds in 9 cases of 10")
    # level ground without a higher place: the plain's own height is taken beyond its end
    assert ends.startswith("Line to south: clear if no ground beyond is higher than 0 m")
    assert rest == [arc_words(e.arc, looks, BOTH), sentence]
    assert tree_sentences(Evaluation(spot, e.ground, looks, None, None, None)) == []


def test_the_plan_carries_it_for_listed_spots_and_explained_points(valley_plan):
    record = json.loads(json_text(plan_record(valley_plan)))
    for made, ranked in zip(record["spots"], valley_plan.spots, strict=True):
        arc = ranked.evaluation.arc
        assert made["visible_arc"]["clear"][0]["west_deg"] == arc.clear[0].west_deg
        assert made["visible_arc"]["sentence"] == arc_words(arc, ranked.evaluation.sky)
        assert "south works" in made["visible_arc"]["sentence"]
    behind = next(s for s in record["rejected"] if s["name"] == "behind the wall")
    assert "south is behind the skyline" in behind["visible_arc"]["sentence"]
    best = valley_plan.best
    found = explain(valley_plan, best.spot.latitude, best.spot.longitude)
    assert found.evaluation.arc == best.evaluation.arc
