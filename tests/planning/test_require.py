"""A point required of a plan that is there: the same answer as a run that required it, without a run."""

from __future__ import annotations

import pytest

from siteplanner import explain, load_mission, plan
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.plan.require import hand_over, require, required_now
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import plan_record
from tests.planning.test_options import two_camps


@pytest.fixture(scope="module")
def wanted(tmp_path_factory):
    search = "refined_spots = 1"  # what a run tries beside its best spots is no part of this
    return plan(load_mission(two_camps(tmp_path_factory.mktemp("wanted"), search=search)))


def served(ranked, name, chance=0.75) -> bool:
    return any(p.name == name and p.probability >= chance for p in ranked.evaluation.coverage.must_serve)


def order(made) -> list[tuple[float, float]]:
    return [r.spot.key for r in made.judged]


def test_requiring_a_point_ranks_what_serves_it_as_a_run_does(wanted, tmp_path):
    now = require(wanted, {"east camp"})
    assert required_now(now) == {"east camp"}
    assert now.judged
    assert all(served(r, "east camp") for r in now.judged)
    assert {r.spot.key for r in now.judged} == {r.spot.key for r in wanted.judged if served(r, "east camp")}
    assert [r.rank for r in now.judged] == list(range(1, len(now.judged) + 1))
    text = two_camps(tmp_path / "run", search="refined_spots = 1", site='required_points = ["east camp"]')
    run = plan(load_mission(text))
    same = [k for k in order(run) if k in order(now)]
    assert len(same) >= 5
    assert [k for k in order(now) if k in same] == same
    assert {p.name: p.needed for p in now.points} == {p.name: p.needed for p in run.points}


def test_letters_stay_and_what_it_costs_is_told(wanted):
    now = require(wanted, {"east camp"})
    names = {r.spot.key: r.spot.name for r in wanted.judged}
    assert all(names[r.spot.key] == r.spot.name for r in now.judged)
    if now.best.spot.key != wanted.best.spot.key:
        (finding,) = [f for f in now.findings if f.code == "required_costs"]
        assert finding.facts["lost"] == len(wanted.judged) - len(now.judged)
        assert "east camp" in said(finding).message
    lost = next(r for r in wanted.judged if not served(r, "east camp"))
    found = explain(now, lost.spot.latitude, lost.spot.longitude)
    assert [b.code for b in found.evaluation.failed] == ["required_point"]
    assert plan_record(now)["mission"]["site"]["required_points"] == ["east camp"]


def test_what_a_point_rules_out_is_still_a_place_for_a_second_trailer(wanted):
    now = require(wanted, {"east camp"})
    assert {r.spot.key for r in now.set_aside} == set(order(wanted)) - set(order(now))
    assert now.sets[1].spots[0].spot.key in order(now)  # never alone
    assert now.sets[2].share == pytest.approx(wanted.sets[2].share)
    assert now.beside_first.trailers[0].ranked.spot.key == now.best.spot.key
    assert {p.name for p in now.sets[2].points if p.served} == {"west camp", "east camp"}


def test_what_a_point_rules_out_leaves_the_tool_with_its_reason(wanted):
    """All that was judged stands in plan.json: what passes, and what only a required point rules out, with its chance
    there."""
    now = require(wanted, {"east camp"})
    record = plan_record(now)
    aside, kept = record["set_aside"], record["judged"]
    place = {(r["x"], r["y"]) for r in plan_record(wanted)["judged"]}
    assert {(r["x"], r["y"]) for r in (*aside, *kept)} == place
    assert len(aside) + len(kept) == len(place)
    k = record["judged_of"]["points"].index("east camp")
    for row in aside:
        (why,) = row["ruled_out_by"]
        assert why["limit"] == "required_point"
        assert why["point"] == "east camp"
        assert why["chance"] == row["points"][k] < why["needed"]
        assert set(row) == {*kept[0], "ruled_out_by"}
    assert plan_record(wanted)["set_aside"] == []


def test_no_longer_required_is_the_plan_from_before(wanted):
    again = require(require(wanted, {"east camp"}), set())
    assert order(again) == order(wanted)
    assert [o.ranked.spot.name for o in again.options] == [o.ranked.spot.name for o in wanted.options]
    assert not again.set_aside
    assert not [f for f in again.findings if f.code in ("required_costs", "required_unmet")]
    assert order(require(require(wanted, {"east camp"}), {"west camp"})) == order(require(wanted, {"west camp"}))


def test_what_no_spot_serves_rules_none_out_and_is_said(wanted):
    both = require(wanted, {"east camp", "west camp"})
    assert order(both) == order(wanted)
    assert not both.judge.required_holds
    (finding,) = [f for f in both.findings if f.code == "required_unmet"]
    assert "No spot serves every required point" in said(finding).message
    assert len(require(both, {"east camp"}).judged) < len(wanted.judged)


def test_weights_keep_what_is_required(wanted):
    now = require(wanted, {"east camp"})
    weights = wanted.mission.weights.model_copy(update={"access": 9.0})
    moved = rescore(now, weights)
    assert required_now(moved) == {"east camp"}
    assert set(order(moved)) == set(order(now))


def test_any_judged_spot_can_be_handed_over_in_full(wanted):
    listed = {r.spot.key for r in wanted.spots}
    other = next(r for r in wanted.judged if r.spot.key not in listed)
    more = hand_over(wanted, other.spot.key)
    (found,) = [r for r in more.spots if r.spot.key == other.spot.key]
    assert found.spot.name == other.spot.name
    assert found.on_site is not None
    assert [r.rank for r in more.spots] == sorted(r.rank for r in more.spots)
    assert hand_over(more, other.spot.key) is more
    assert hand_over(wanted, (0.0, 0.0)) is wanted
