"""What is left to check on arrival: made from the plan's own data, nothing for what they tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siteplanner.planning.study.study import elevation_error_m
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.units import METRIC
from siteplanner.roads.grades import HIDDEN_SHARE
from siteplanner.roads.hazards import Hazard


def codes(plan, ranked=None) -> dict[str, str]:
    return {c.code: c.text + " " + c.why for c in arrival_checks(plan, ranked or plan.best)}


def with_layers(plan, **layers):
    mission = plan.mission
    return replace(plan, mission=mission.model_copy(update={"layers": mission.layers.model_copy(update=layers)}))


def test_the_valley_leaves_open_what_it_does_not_hold(valley_plan):
    found = codes(valley_plan)
    assert {"wires", "level", "trees", "soft_ground", "structures", "water", "owner"} <= set(found)
    assert "hazards" not in found  # the valley brings a hazard layer
    assert "cells of 10 m" in found["level"]
    assert "line data miss service drops" in found["wires"]
    azimuth = round(next(look for look in valley_plan.best.evaluation.sky if look.clear).azimuth_deg)
    assert f"{azimuth:03d}" in found["trees"]
    assert found["road_limits"].startswith("On the way, read signs and road for: surface.")
    for check in arrival_checks(valley_plan, valley_plan.best):
        assert check.who in ("driver", "crew")
        assert check.text.endswith((".", "?"))
        assert len(check.text) + len(check.why) < 130, check


@pytest.mark.parametrize("layer", ["soft_ground", "structures", "water"])
def test_a_layer_that_is_given_needs_no_check(valley_plan, layer):
    assert layer in codes(valley_plan)
    assert set(codes(valley_plan)) - set(codes(with_layers(valley_plan, **{layer: ("x.gpkg",)}))) == {layer}


def test_without_lines_or_hazards_it_says_so(valley_plan):
    bare = codes(with_layers(valley_plan, power_lines=(), hazards=()))
    assert "no overhead lines were given" in bare["wires"]
    assert "hazards" in bare


def test_fine_cells_and_a_surface_answer_level_and_trees(valley_plan):
    best = valley_plan.best
    fine = replace(best, evaluation=replace(best.evaluation, ground=replace(best.evaluation.ground, cell_size_m=1.0)))
    found = codes(with_layers(valley_plan, surface=("dsm.tif",)), fine)
    assert "level" not in found
    assert "trees" not in found
    coarse = codes(with_layers(valley_plan, surface=("dsm.tif",)))
    assert "hide single trees" in coarse["trees"]


def test_gates_come_with_their_place(valley_plan):
    ranked = next(r for r in valley_plan.spots if r.evaluation.access.drive_distance_m > 1000)
    roads, route = valley_plan.scene.roads, ranked.evaluation.access.route
    hazards = list(roads.hazards)
    last = int(route.segments[-1])
    hazards[last] = (Hazard(kind="gate", severity="check", what="gate", along_m=0.0, x=0.0, y=0.0),)
    gated = replace(valley_plan, scene=replace(valley_plan.scene, roads=replace(roads, hazards=tuple(hazards))))
    assert f"Gates at {METRIC.distance(float(route.running_m[-2]))}:" in codes(gated, ranked)["gates"]
    assert "who has the keys?" in codes(gated, ranked)["gates"]
    without = replace(ranked, evaluation=replace(ranked.evaluation, access=None))
    assert {"gates", "road_limits"}.isdisjoint(codes(valley_plan, without))


def test_the_record_holds_them_for_every_spot(valley_plan):
    for spot, ranked in zip(plan_record(valley_plan)["spots"], valley_plan.spots, strict=True):
        assert [c["code"] for c in spot["arrival_checks"]] == [c.code for c in arrival_checks(valley_plan, ranked)]
        assert all(set(c) == {"code", "text", "why", "who"} for c in spot["arrival_checks"])


def test_the_roads_know_how_sure_their_grades_are(valley_plan):
    """The study hands the elevation's error on: what one window hides and little more on long lines."""
    roads, mission = valley_plan.scene.roads, valley_plan.mission
    sigma_m = elevation_error_m(mission, valley_plan.scene.elevation.cell_size_m)
    known = roads.grades.error_pct[(roads.geometry.length_m > 3 * roads.grades.base_m) & (roads.grades.error_pct > 0)]
    window = 100 * sigma_m * np.sqrt(12 * 2 / 3 * valley_plan.scene.elevation.cell_size_m / roads.grades.base_m**3)
    assert len(known)
    assert known == pytest.approx(HIDDEN_SHARE * window, rel=0.3)


def test_whether_the_radio_may_send_is_asked(valley_plan):
    """The band is licensed spectrum; nothing said so."""
    found = codes(valley_plan)
    assert found["licence"].startswith("License to send on 763 MHz here: in hand before the radio goes on.")
    assert "wires" in next(iter(found))  # what can hurt someone still comes first
