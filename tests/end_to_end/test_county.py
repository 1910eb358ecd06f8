"""The invented county: the answer is not the obvious one, and the plan says why."""

from __future__ import annotations

import json

import numpy as np
import pytest

from siteplanner import explain
from siteplanner.planning.telling.record import plan_record
from tests.planning.reasons import reasons_of


def failed(plan, name):
    (evaluation,) = [e for e in plan.rejected if e.spot.name == name]
    return reasons_of(evaluation)


def test_the_highest_hill_loses_and_the_reason_is_its_road(county_plan):
    reasons = failed(county_plan, "Mount Averil lookout")
    assert "no_way_in" in reasons
    assert "Averil Lookout Road" in reasons["no_way_in"]
    assert "grade" in reasons["no_way_in"]
    top = max(r.spot.elevation_m for r in county_plan.spots)
    lookout = next(e.spot for e in county_plan.rejected if e.spot.name == "Mount Averil lookout")
    assert lookout.elevation_m > top + 200
    assert lookout.elevation_m > np.nanmax(county_plan.scene.elevation.values) - 60
    # the map draws that road as closed to the rig, with the same reason
    roads = county_plan.scene.roads
    road = np.flatnonzero(roads.tags.name == "Averil Lookout Road")
    assert len(road)
    assert any("grade" in str(roads.judged.reasons[i]) for i in road)


@pytest.mark.parametrize(
    ("name", "limit"),
    [
        ("Sable Meadow", "sky_blocked"),
        ("Line Knoll", "power_line"),
        ("Marrowford school field", "keep_out"),
        ("South Bench corral", "no_way_in"),
    ],
)
def test_other_good_looking_spots_lose_for_a_reason_each(county_plan, name, limit):
    assert limit in failed(county_plan, name)


def test_explain_gives_the_same_reason_as_the_plan(county_plan):
    meadow = next(e for e in county_plan.rejected if e.spot.name == "Sable Meadow")
    found = explain(county_plan, meadow.spot.latitude, meadow.spot.longitude)
    assert not found.passes
    assert found.evaluation.failed == meadow.failed


def test_the_winner_beats_the_rest_on_figures_that_add_up(county_plan):
    best = county_plan.best
    assert best.evaluation.coverage.share == pytest.approx(
        max(r.evaluation.coverage.share for r in county_plan.spots), abs=0.05
    )
    assert sum(c.contribution for c in best.criteria) == pytest.approx(best.score)
    assert all(r.evaluation.access.ways_out in (0, 1, 2) for r in county_plan.spots)


def test_the_record_is_written_as_the_plan_is(county_plan, county_folder):
    saved = json.loads((county_folder / "plan.json").read_text(encoding="utf-8"))
    record = plan_record(county_plan)
    assert [s["name"] for s in saved["spots"]] == [s["name"] for s in record["spots"]]
    assert saved["recommendation"] == record["recommendation"]


def test_whether_the_rig_can_turn_has_one_answer_at_every_spot(county_plan):
    """Once the ground said yes and the drive no, at the spot that the user calls Line Knoll."""
    record = plan_record(county_plan)
    spots = [s for s in (*record["spots"], *record["rejected"]) if s["access"] is not None]
    assert "Line Knoll" in {s["name"] for s in spots}
    for spot in spots:
        turning = spot["access"]["turning"]
        warned = "no_swing_room" in {f["code"] for f in spot["findings"]}
        assert warned == (turning["at_spot"] is False), spot["name"]
        assert (spot["ground"]["swing_room_m"] >= turning["circle_radius_m"]) == (turning["at_spot"] is True)
