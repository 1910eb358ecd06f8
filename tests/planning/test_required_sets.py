"""Sets that must serve named points between them: by brute force, with their price; places tried beside such points."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import Point

from siteplanner import load_mission, plan
from siteplanner.planning.choose.one_channel import Channel
from siteplanner.planning.choose.set_value import objective
from siteplanner.planning.choose.sets import trailer_sets
from siteplanner.planning.plan.require import require
from siteplanner.planning.spots.levels import levels_of
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.sets import required_sentence, sheet_lines
from tests.planning.conftest import CRS, at
from tests.planning.test_options import two_camps
from tests.planning.test_sets import served

CHANCE = 0.75
FEW = {"max_spots": 24, "refined_spots": 1}


def planned(folder, required=("no", "no"), search=FEW, east=(1750, 560), weights=(("must_serve", 0.0),), **changes):
    """The valley with few candidates, the area alone in the weights, and one of its camps far from the area."""
    path = two_camps(folder, **changes)
    names, shapes = ["west camp", "east camp"], [Point(at(1400, 1600)), Point(at(*east))]
    camps = gpd.GeoDataFrame({"name": names, "required": required}, geometry=shapes, crs=CRS)
    camps.to_file(folder / "points.gpkg", driver="GPKG")
    mission = load_mission(path)
    mission = mission.model_copy(update={"search": mission.search.model_copy(update=search)})
    return plan(mission.model_copy(update={"weights": mission.weights.model_copy(update=dict(weights))}))


@pytest.fixture(scope="module")
def wanted(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("wanted"))


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("both"), ["yes", "yes"])


def kept(spots) -> int:
    """How many of the two camps a set serves at the chance that is needed."""
    chances = [[p.probability for p in r.evaluation.coverage.must_serve] for r in spots]
    return int((np.max(chances, 0) >= CHANCE).sum())


def by_brute_force(made, size, forced):
    """(required points served, value) of the best set of so many: the points before the value where forced."""
    every = (*made.judged, *made.set_aside)
    value = objective(made.mission, made.judge.study.area_cells, 2)
    chance = {r.spot.key: served(r) for r in every}
    found = []
    for chosen in itertools.combinations(every, size):
        apart = (math.hypot(a.spot.x - b.spot.x, a.spot.y - b.spot.y) for a, b in itertools.combinations(chosen, 2))
        if all(d >= made.set_spacing_m - 1e-6 for d in apart):
            worth = float((np.max([chance[r.spot.key] for r in chosen], 0) * value).sum())
            found.append((kept(chosen) if forced else 0, worth))
    return max(found)


@pytest.mark.parametrize("size", [2, 3])
def test_a_forced_set_is_the_best_of_those_that_serve_what_is_required(wanted, both, size):
    free, forced = wanted.sets[size], both.sets[size]
    points, worth = by_brute_force(both, size, True)
    assert points == 2
    assert kept(forced.spots) == 2
    assert not forced.required_missed
    assert forced.value == pytest.approx(worth, abs=1e-7)
    assert forced.optimal
    assert forced.bound == forced.value
    assert free.value == pytest.approx(by_brute_force(wanted, size, False)[1], abs=1e-7)
    assert kept(free.spots) < 2 or size == 3  # so that the must matters here
    if kept(free.spots) < 2:
        assert forced.free is not None
        assert forced.free.share > forced.share
        assert set(forced.free.missed) < {"west camp", "east camp"}


def test_what_the_must_costs_is_said_and_stands_in_the_record(both):
    pair = both.sets[2]
    text = required_sentence(pair)
    assert text.startswith("Every required point is served. What that costs: if nothing were required, two trailers at")
    assert text in sheet_lines(both)
    record = plan_record(both)["sets"]["2"]
    assert record["if_nothing_required"]["share"] == pair.free.share
    assert record["required_sentence"] == text
    assert all(p["required"] and p["needed"] == CHANCE for p in record["points"])
    assert required_sentence(both.sets[1]).startswith("No single spot serves every required point: ")
    assert any("if nothing were required" in line for line in sheet_lines(both))


def test_a_run_that_requires_a_point_keeps_places_for_a_second_trailer(tmp_path, wanted):
    site = 'required_points = ["east camp"]'
    run = planned(tmp_path / "run", site=site)
    now = require(wanted, {"east camp"})
    for made in (run, now):
        assert made.set_aside
        assert not {r.spot.name for r in made.set_aside} & {r.spot.name for r in made.judged}
        assert kept(made.sets[1].spots) >= 1
        points = {p.name: p for p in made.sets[2].points}
        assert points["east camp"].required
        assert points["east camp"].served
        assert not points["west camp"].required
        wide = by_brute_force(made, 2, False)[1]
        assert made.sets[2].value <= wide + 1e-9
    assert run.sets[2].value == pytest.approx(now.sets[2].value, abs=0.02)  # other cells are tried around the best


def test_on_one_channel_what_is_required_is_served_while_all_send(both):
    radio = both.mission.radio.model_copy(update={"shared_channel": True, "load_factor": 1.0})
    mission, cells = both.mission.model_copy(update={"radio": radio}), both.judge.study.area_cells
    groups = tuple(replace(g, mission=mission) for g in both.fleet)
    pair = trailer_sets(groups, cells, mission, both.set_spacing_m, both.judged, required=(True, True)).by_size[2]
    made, every = both, both.judged
    levels = tuple(
        levels_of(made.judge.service, r.spot, r.spot.cell, c.mast_height_m, c.sector_bearings_deg)
        for r in every
        for c in [r.evaluation.coverage]
    )
    most = np.append(np.ones(len(cells.weight)), 2 * [made.mission.radio.most_certain_at_point])
    channel = Channel(levels, objective(made.mission, cells, 2), radio.load_factor, most)
    found = []
    for i, j in itertools.combinations(range(len(every)), 2):
        a, b = every[i].spot, every[j].spot
        if math.hypot(a.x - b.x, a.y - b.y) >= made.set_spacing_m - 1e-6:
            chances = channel.probabilities((i, j)).max(0)
            found.append((int((chances[-2:] >= CHANCE).sum()), float((chances * channel.value).sum())))
    points, worth = max(found)
    assert pair.one_channel
    assert (sum(p.served for p in pair.points), pair.value) == (points, pytest.approx(worth, abs=1e-6))
    assert worth < max(w for _, w in found) - 1e-3  # so that the must matters
    assert pair.free is not None


def test_places_beside_a_required_point_are_tried_where_no_candidate_serves_it(tmp_path):
    """Three candidates over the whole valley miss the east camp; the ground beside it does not."""
    few = {"search": {"spacing_m": 900, "max_spots": 3, "refined_spots": 1}, "radio": "max_radius_m = 200"}
    few["east"] = (2050, 1150)
    loose = planned(tmp_path / "loose", **few)
    assert loose.judged
    east = [next(p for p in r.evaluation.coverage.must_serve if p.name == "east camp") for r in loose.judged]
    assert all(p.probability < CHANCE for p in east)
    assert loose.search.for_required == 0
    made = planned(tmp_path / "must", site='required_points = ["east camp"]', **few)
    assert made.search.for_required > 0
    assert made.judge.required_holds
    assert all(
        next(p for p in r.evaluation.coverage.must_serve if p.name == "east camp").probability >= CHANCE
        for r in made.judged
    )
    (finding,) = [f for f in made.findings if f.code == "required_tried"]
    assert f"{made.search.for_required} more places were tried" in said(finding).message
    assert not [f for f in made.findings if f.code == "required_unmet"]
