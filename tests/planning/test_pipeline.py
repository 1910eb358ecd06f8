"""The main job on a valley made by hand, where the right answers can be worked out on paper."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import Point

from siteplanner import explain, load_mission, plan
from siteplanner.errors import Cancelled, InputError
from siteplanner.mission import Weights
from siteplanner.planning.limits.ruling import BITS, codes_of
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.record import plan_record
from siteplanner.roads.lifeline import Lifeline, Thread
from tests.planning.conftest import at, write_mission


def ruling_at(made, x, y) -> set[str]:
    grid = made.scene.ruling
    return set(codes_of(int(grid.values[grid.cell(*at(x, y))])))


def test_every_spot_carries_the_cell_that_holds_it(valley_plan):
    grid = valley_plan.scene.elevation
    spots = [r.spot for r in (*valley_plan.spots, *valley_plan.judged)]
    spots += [e.spot for e in valley_plan.rejected]
    assert {spot.origin for spot in spots} == {"search", "user"}
    for spot in spots:
        assert spot.cell == grid.cell(spot.x, spot.y)
    best = valley_plan.best.spot
    assert explain(valley_plan, best.latitude, best.longitude).evaluation.spot.cell == best.cell


def test_every_limit_rules_where_it_should_and_nowhere_else(valley_plan):
    p = valley_plan
    assert ruling_at(p, 1700, 935) == set()  # level, near the road, nothing in the way
    assert "keep_out" in ruling_at(p, 1100, 930)
    assert "hazard" in ruling_at(p, 2400, 930)
    assert "power_line" in ruling_at(p, 705, 985)
    assert "steep" in ruling_at(p, 2800, 930)  # 30 % = 16.7 deg
    assert "roadway" in ruling_at(p, 1705, 905)
    assert "no_way_in" in ruling_at(p, 1750, 1150)
    assert ruling_at(p, 500, 700) >= {"sky_blocked"}
    assert "no_data" in ruling_at(p, 1705, 1995)  # the rim: its slope is not known


def test_the_wall_blocks_as_far_as_geometry_says(valley_plan):
    """A wall 400 m over its ground, edge at y = 260: blocked until the line of sight clears its top.

    tan(limit) = (top - eye) / distance; the satellite stands due south of 111 W, so the profile is the meridian's.
    """
    look = valley_plan.best.evaluation.sky[0]
    limit = math.radians(look.elevation_deg - 2.0)
    azimuth_from_south = math.radians(look.azimuth_deg - 180)
    grid = valley_plan.scene.ruling
    column = grid.cell(*at(500, 0 + 5))[1]
    blocked = np.array([bool(v & BITS["sky_blocked"]) for v in grid.values[:, column]])
    rows = np.nonzero(blocked)[0]
    y_top = float(grid.xy(rows.min(), column)[1]) - at(0, 0)[1]  # farthest north blocked cell centre
    # the wall's last cell centre is at y = 255 (top 1500 + 2.55 + 400), the eye at 1500 + 0.01 y + 2
    reach = (y_top - 255) / math.cos(azimuth_from_south)
    rise = (1500 + 2.55 + 400) - (1500 + 0.01 * y_top + 2)
    assert math.atan(rise / reach) == pytest.approx(limit, abs=math.radians(0.7))  # one cell is 0.6 deg here


def test_the_power_line_zone_is_clearance_width_error_and_reach(valley_plan):
    # 115 kV: 15 ft (29 CFR 1926.1408 Table A), outer wires 5 m (from memory), map and parking 5 m, and 20.592 m for a
    # mast of 1.1 x 15 m on a trailer that tips over its end (closed form)
    need = 4.572 + 5 + 5 + 20.592
    hit = {y: "power_line" in ruling_at(valley_plan, 705, y) for y in range(955, 1050, 10)}
    assert set(hit.values()) == {True, False}
    assert hit == {y: abs(y - 1000) < need for y in hit}


def test_a_low_road_leads_nowhere_for_the_rig(valley_plan):
    assert "no_way_in" in ruling_at(valley_plan, 2030, 600)
    assert all(r.evaluation.access.route.line.distance(Point(at(2000, 400))) > 400 for r in valley_plan.spots)


def test_candidates_keep_their_distance_and_pass_every_limit(valley_plan):
    searched = [r.spot for r in valley_plan.judged if r.spot.origin == "search"]
    assert len(searched) >= 5
    for i, a in enumerate(searched):
        assert ruling_at(valley_plan, a.x - at(0, 0)[0], a.y - at(0, 0)[1]) == set()
        assert min(math.hypot(a.x - b.x, a.y - b.y) for b in searched[:i] + searched[i + 1 :]) >= 100 - 1e-6


def test_user_spots_are_judged_whatever_they_are(valley_plan):
    names = {r.spot.name for r in valley_plan.judged}
    assert "lay-by" in names
    (behind,) = [e for e in valley_plan.rejected if e.spot.name == "behind the wall"]
    assert "sky_blocked" in {breach.code for breach in behind.failed}
    assert behind.sky[0].margin_deg < 2


def test_scores_add_up_and_ranks_follow(valley_plan):
    scores = [r.score for r in valley_plan.spots]
    assert scores == sorted(scores, reverse=True)
    # by rank, with gaps: the options are handed over whatever their place, then the next best
    ranks = [r.rank for r in valley_plan.spots]
    assert ranks == sorted(set(ranks))
    assert [r.rank for r in valley_plan.judged] == list(range(1, len(valley_plan.judged) + 1))
    options = {o.ranked.rank for o in valley_plan.options}
    others = [r for r in ranks if r not in options]
    user = {r.rank for r in valley_plan.spots if r.spot.origin == "user"}
    assert options <= set(ranks)
    assert set(others) - user <= set(range(1, 11))
    for r in valley_plan.spots:
        assert r.score == pytest.approx(sum(c.contribution for c in r.criteria))


def test_ground_of_a_plane_is_exact(valley_plan):
    # z rises 1 in 100 to the north everywhere a spot can be: slope atan 0.01
    for r in valley_plan.spots:
        g = r.evaluation.ground
        assert g.slope_deg == pytest.approx(math.degrees(math.atan(0.01)), abs=0.01)
        assert math.hypot(math.tan(math.radians(g.roll_deg)), math.tan(math.radians(g.pitch_deg))) == pytest.approx(
            0.01, abs=1e-4
        )
        lifts = g.jack_differences_m
        assert min(lifts.values()) == pytest.approx(0, abs=1e-9)
        # closed form: largest lift = L tan|pitch| + W tan|roll|, W between the jacks at the outriggers
        assert max(lifts.values()) == pytest.approx(
            6.0 * abs(math.tan(math.radians(g.pitch_deg))) + 4.8384 * abs(math.tan(math.radians(g.roll_deg))), abs=1e-6
        )


def test_drive_distance_by_hand(valley_plan):
    (layby,) = [r for r in valley_plan.judged if r.spot.name == "lay-by"]
    # staging stands on the road at x = 200; the lay-by at x = 1700, 30 m north of it
    assert layby.evaluation.access.drive_distance_m == pytest.approx(1500, abs=12)
    assert layby.evaluation.access.last_leg_m == pytest.approx(30, abs=12)
    assert layby.evaluation.access.worst_grade_pct == pytest.approx(0, abs=0.2)


def test_the_record_holds_the_contract(valley_plan):
    record = json.loads(json.dumps(plan_record(valley_plan)))
    assert {"software", "mission", "inputs", "findings", "rulings", "spots"} <= set(record)
    for item in record["inputs"]:
        assert item["file"]
        assert len(item["sha256"]) == 64
        assert item["crs"]
        assert item["extent_lonlat"]
    spot = record["spots"][0]
    assert {
        "rank",
        "name",
        "latitude",
        "longitude",
        "grid_reference",
        "elevation_m",
        "score",
        "ground",
        "sky",
        "coverage",
        "access",
        "on_air",
        "criteria",
    } <= set(spot)
    assert {"slope_deg", "heading_deg", "roll_deg", "pitch_deg", "jack_differences_m"} <= set(spot["ground"])
    look = spot["sky"][0]
    assert {"satellite_longitude_deg", "azimuth_deg", "elevation_deg", "skew_deg", "horizon_deg", "margin_deg"} <= set(
        look
    )
    assert (look["state"], look["clear"]) == ("clear", True)
    assert {"share", "mast_height_m", "sector_bearings_deg", "must_serve"} <= set(spot["coverage"])
    assert {"drive_distance_m", "drive_time_s", "worst_grade_pct", "last_leg_m", "ways_out"} <= set(spot["access"])
    for line in spot["criteria"].values():
        assert {"value", "utility", "weight"} <= set(line)


def _without_clock(record):
    # as text: an unknown figure (NaN) is the same as itself there
    return json.dumps({k: v for k, v in record.items() if k not in {"software", "timings_s"}})


@pytest.fixture(scope="module")
def told_run(valley_mission):
    """The valley planned once more, and what was told meanwhile: (stage, share) each."""
    seen = []
    made = plan(load_mission(valley_mission), lambda stage, share: seen.append((stage, share)))
    return made, tuple(seen)


def test_two_runs_give_the_same_plan(valley_plan, told_run):
    again, _ = told_run
    assert _without_clock(plan_record(again)) == _without_clock(plan_record(valley_plan))


def test_other_weights_equal_a_new_run(valley_plan, tmp_path):
    path = write_mission(tmp_path / "m", spots=40, weights="coverage = 1.0\naccess = 9.0")
    weights = Weights(coverage=1, access=9)
    new, moved = plan(load_mission(path)), rescore(valley_plan, weights)
    # names are given by the first ranking, so compare places
    assert [(r.spot.x, r.spot.y) for r in moved.spots] == [(r.spot.x, r.spot.y) for r in new.spots]
    assert [r.score for r in moved.spots] == pytest.approx([r.score for r in new.spots])


def test_explain_says_of_a_ranked_spot_what_the_plan_says(valley_plan):
    best = valley_plan.best
    found = explain(valley_plan, best.spot.latitude, best.spot.longitude)
    assert found.passes
    assert found.score == pytest.approx(best.score)
    assert found.would_rank == 1


def test_explain_says_why_not(valley_plan):
    grid = valley_plan.scene.elevation
    lon, lat = grid.lonlat(*at(2400, 930))
    found = explain(valley_plan, float(lat), float(lon))
    assert not found.passes
    assert any("slide" in breach_words(breach) for breach in found.evaluation.failed)
    with pytest.raises(InputError, match="outside the elevation"):
        explain(valley_plan, 10.0, 10.0)
    with pytest.raises(InputError, match="not a place"):
        explain(valley_plan, 95.0, 10.0)


def test_progress_rises_to_the_end_and_can_cancel(told_run, valley_mission):
    _, seen = told_run
    shares = [share for _, share in seen]
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0, abs=0.01)
    assert len({stage for stage, _ in seen}) >= 6

    def stop(stage, share):
        if stage == "Evaluating spots":
            raise Cancelled

    with pytest.raises(Cancelled):
        plan(load_mission(valley_mission), stop)


def test_no_spot_is_an_answer_with_reasons(tmp_path):
    path = write_mission(tmp_path / "m", trailer="max_slope_deg = 0.1")
    made = plan(load_mission(path))
    assert made.spots == ()
    steep = next(r for r in made.rulings if r.code == "steep")
    assert steep.share > 0.4  # about half of the search ground has data, nearly all of it steeper than 0.1 deg
    assert steep.would_allow == pytest.approx(0.573, abs=0.001)  # atan 0.01
    record = plan_record(made)
    assert record["recommendation"].startswith("No spot passes every limit.")
    (told,) = (r["nearest_to_pass"] for r in record["rulings"] if r["code"] == "steep")
    assert told == "allow 0.6°"  # atan 0.01 = 0.573 deg


def test_refining_never_lowers_the_first_place_and_keeps_the_spacing(tmp_path):
    rough = plan(load_mission(write_mission(tmp_path / "a", search="refined_spots = 0")))
    fine = plan(load_mission(write_mission(tmp_path / "b", search="refined_spots = 5")))
    assert fine.best.score >= rough.best.score
    spots = [(r.spot.x, r.spot.y) for r in fine.judged if r.spot.origin == "search"]
    assert min(math.dist(a, b) for i, a in enumerate(spots) for b in spots[:i]) >= 100 - 1e-6


def test_a_user_s_spot_is_always_in_the_list_with_its_true_rank(tmp_path):
    made = plan(load_mission(write_mission(tmp_path / "m", search="listed_spots = 1")))
    whole = {r.spot.name: r.rank for r in made.judged}
    assert whole["lay-by"] > 1
    sets = (*made.sets.values(), made.beside_first, made.with_runner_up)  # their places are handed over as well
    of_sets = {r.spot.key for one in sets if one is not None for r in one.spots} - {made.best.spot.key}
    told = [(r.spot.name, r.rank) for r in made.spots if r.spot.key not in of_sets]
    assert told == [(made.best.spot.name, 1), ("lay-by", whole["lay-by"])]
    assert all(whole[r.spot.name] == r.rank for r in made.spots)


def test_the_last_direction_names_the_spot_s_own_distance_and_side(valley_plan):
    from siteplanner.planning.telling.directions import step_words
    from siteplanner.roads.directions import directions

    (layby,) = [r for r in valley_plan.judged if r.spot.name == "lay-by"]
    steps = directions(valley_plan.scene.roads, layby.evaluation.access.route, valley_plan.scene.elevation)
    # the lay-by lies 30 m north of a road driven eastward: on the left
    words = f"the spot is {layby.evaluation.access.last_leg_m:.0f} m off the road, on the left"
    assert words in step_words(steps[-1])


def test_a_margin_above_the_satellite_is_a_finding_and_no_traceback(tmp_path):
    """The slot at 165 W stands below 31 deg here: with 30 deg of margin the line of sight no longer rises."""
    path = Path(write_mission(tmp_path / "m"))
    text = path.read_text(encoding="utf-8").replace("longitude_deg = -111.0", "longitude_deg = -165.0")
    path.write_text(text.replace("[sky]", "[sky]\nmin_margin_deg = 30\nmin_elevation_deg = 1"), encoding="utf-8")
    made = plan(load_mission(path))
    assert any(f.code == "satellite_too_low" and "31.0°" in said(f).message for f in made.findings)
    assert made.spots == ()


def test_the_recommendation_names_what_could_go_wrong(valley_plan):
    from dataclasses import replace

    from siteplanner.planning.telling.words import risk_words, risks_of

    best = valley_plan.best
    e = best.evaluation
    point = replace(e.coverage.must_serve[0], name="x" * 50, probability=0.2)
    bad = replace(
        best,
        evaluation=replace(
            e,
            access=replace(e.access, lifeline=Lifeline(Thread(1, ()), None)),
            coverage=replace(e.coverage, must_serve=(point,) * 3),
        ),
    )
    assert risk_words(risks_of(bad)) == (
        f"Service unlikely at {'x' * 39}\u2026 (20 %), {'x' * 39}\u2026 (20 %) and 1 more. "
        "There is one way in from staging."
    )
    good = replace(
        best,
        evaluation=replace(
            e,
            access=replace(e.access, lifeline=Lifeline(Thread(2, ()), None)),
            coverage=replace(e.coverage, must_serve=()),
        ),
    )
    assert risk_words(risks_of(good)) == ""
    nobody = replace(
        good,
        evaluation=replace(
            good.evaluation,
            coverage=replace(e.coverage, must_serve=(replace(point, name="Search base", probability=0.004),)),
        ),
    )
    assert risk_words(risks_of(nobody)) == "No service expected at Search base (below 1 %)."
