"""A must is a must: required points rule out, and where no spot serves all, the plan says which serves which."""

from __future__ import annotations

import json

import pytest

from siteplanner import explain, load_mission, plan
from siteplanner.errors import InputError
from siteplanner.planning.plan.explain import explain_record
from siteplanner.planning.telling.change import changes
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.record import plan_record
from tests.planning.test_options import two_camps

WEST = 'required_points = ["west camp"]'


@pytest.fixture(scope="module")
def wanted(tmp_path_factory):
    return plan(load_mission(two_camps(tmp_path_factory.mktemp("wanted"))))


@pytest.fixture(scope="module")
def one(tmp_path_factory):
    return plan(load_mission(two_camps(tmp_path_factory.mktemp("one"), site=WEST)))


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    return plan(load_mission(two_camps(tmp_path_factory.mktemp("both"), required=["yes", "yes"])))


def chance(ranked, name) -> float:
    return next(p.probability for p in ranked.evaluation.coverage.must_serve if p.name == name)


def test_a_required_point_rules_out_every_spot_that_does_not_serve_it(wanted, one):
    assert any(chance(r, "west camp") < 0.75 for r in wanted.judged)
    assert one.judged
    assert all(chance(r, "west camp") >= 0.75 for r in one.judged)
    assert one.search.required_missed > 0
    assert [p.required for p in one.points] == [True, False]
    assert [p.needed for p in one.points] == [0.75, 0.5]


def test_the_limit_is_told_with_point_chance_and_remedy(wanted, one):
    lost = next(r for r in wanted.judged if chance(r, "west camp") < 0.5)
    found = explain(one, lost.spot.latitude, lost.spot.longitude)
    assert not found.passes
    (breach,) = [b for b in found.evaluation.failed if b.code == "required_point"]
    assert breach.names == ("west camp",)
    text = breach_words(breach)
    assert "west camp" in text
    assert "75 %" in text
    assert any("site.required_points" in t for t in changes(found, one.mission))


def test_the_columns_word_counts_as_the_missions(tmp_path, one):
    by_column = plan(load_mission(two_camps(tmp_path / "c", required=["yes", None])))
    assert [r.spot.key for r in by_column.judged] == [r.spot.key for r in one.judged]


def test_where_no_spot_serves_all_the_plan_still_answers(both, wanted):
    assert [r.spot.key for r in both.judged] == [r.spot.key for r in wanted.judged]
    assert both.best is not None
    (finding,) = [f for f in both.findings if f.code == "required_unmet"]
    text = said(finding).message
    for point in both.points:
        assert point.required
        assert point.best is not None
        assert chance(point.best, point.name) >= 0.75
        # the best-scoring of those that serve it, by hand
        assert point.best.spot.key == next(r.spot.key for r in both.judged if chance(r, point.name) >= 0.75)
        assert f"{point.name}, by spot {point.best.spot.name}" in text
    missed = [p for p in both.points if p.missed]
    assert missed
    assert all(p.price is not None and (p.price.gains or p.price.costs) for p in missed)


def test_explaining_agrees_whether_the_limit_holds(both, one):
    for made in (both, one):
        best = made.best
        assert explain(made, best.spot.latitude, best.spot.longitude).passes
        record = json.loads(json.dumps(plan_record(made), default=str))
        found = explain_record(record, best.spot.latitude, best.spot.longitude, layers_in=made.mission.base)
        assert found.passes
        assert found.would_rank == 1
    low = both.judged[-1]
    record = json.loads(json.dumps(plan_record(both), default=str))
    found = explain_record(record, low.spot.latitude, low.spot.longitude, layers_in=both.mission.base)
    assert found.would_rank == low.rank  # among all judged, not among those handed over


def test_what_a_must_costs_is_told(tmp_path, wanted, one):
    assert chance(wanted.best, "west camp") >= 0.75  # which the first serves anyway: it costs nothing
    assert not [f for f in one.findings if f.code == "required_costs"]
    dear = plan(load_mission(two_camps(tmp_path / "e", site='required_points = ["east camp"]')))
    (finding,) = [f for f in dear.findings if f.code == "required_costs"]
    assert finding.facts["share"] == dear.best.evaluation.coverage.share < finding.facts["without"]
    assert finding.facts["lost"] == dear.search.required_missed > 0
    assert said(finding).message.startswith("Serving what is required (east camp) rules out")


def test_a_name_that_no_point_has_is_refused(tmp_path):
    with pytest.raises(InputError) as raised:
        plan(load_mission(two_camps(tmp_path / "n", site='required_points = ["north camp"]')))
    assert raised.value.field == "site.required_points"
    assert "west camp" in str(raised.value)


def test_a_column_that_says_neither_yes_nor_no_is_refused(tmp_path):
    with pytest.raises(InputError) as raised:
        plan(load_mission(two_camps(tmp_path / "m", required=["perhaps", "no"])))
    assert raised.value.field == "layers.must_serve"
    assert "perhaps" in str(raised.value)


def test_no_more_is_asked_than_any_point_is_told(tmp_path):
    mission = load_mission(
        two_camps(tmp_path / "o", site=WEST, radio="max_radius_m = 380\nmost_certain_at_point = 0.7")
    )
    assert mission.radio.chance_needed == 0.7
    assert plan(mission).judged
