"""A change of weights only multiplies what was worked out once, and says what the slow way says."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from siteplanner import load_mission, plan
from siteplanner.mission import Weights
from siteplanner.planning.choose import set_choice
from siteplanner.planning.choose.options import choose_rows
from siteplanner.planning.choose.overlap import overlap
from siteplanner.planning.plan.decision import field_of
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.plan.sets_of import completed
from siteplanner.planning.telling.record import plan_record
from tests.planning.test_options import two_camps

TURNS = (
    Weights(access=9.0),
    Weights(coverage=1.0, must_serve=6.0),
    Weights(coverage=0.0, ground=4.0),
    Weights(must_serve=0.0),
)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return plan(load_mission(two_camps(tmp_path_factory.mktemp("reweight") / "m", spots=20)))


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The same with no place looked for beside the best, which the mission's own weights would choose."""
    folder = tmp_path_factory.mktemp("plain") / "m"
    return plan(load_mission(two_camps(folder, spots=20, search="refined_spots = 0")))


def told(one):
    """All that is said of a plan, as text: an unknown figure is the same as itself there."""
    return json.dumps({k: v for k, v in plan_record(one).items() if k not in ("software", "timings_s")}, sort_keys=True)


def from_nothing(one):
    """The same plan with nothing worked out yet, as one that was opened again."""
    return replace(one, fixed=None)


def test_turn_after_turn_says_what_each_turn_says_from_nothing(made):
    now = made
    for weights in (*TURNS, *TURNS, made.mission.weights):
        now = rescore(now, weights)
        assert told(now) == told(rescore(from_nothing(made), weights))
    assert told(now) == told(made)


@pytest.mark.parametrize("weights", TURNS)
def test_chances_are_those_of_a_new_run(plain, tmp_path, weights):
    """Each spot draws its own errors, whatever the order: the same figures to the last digit, names aside."""
    lines = "\n".join(f"{name} = {value}" for name, value in weights.model_dump().items())
    new = plan(load_mission(two_camps(tmp_path / "m", spots=20, weights=lines, search="refined_spots = 0")))
    moved = rescore(plain, weights)
    assert len(new.judged) >= 20
    assert [r.spot.key for r in moved.judged] == [r.spot.key for r in new.judged]
    assert [r.certainty for r in moved.judged] == [r.certainty for r in new.judged]
    assert [r.score for r in moved.judged] == [r.score for r in new.judged]
    for size, one in new.sets.items():
        assert [r.spot.key for r in one.spots] == [r.spot.key for r in moved.sets[size].spots]
        assert one.value == moved.sets[size].value


def test_pairs_in_common_are_those_of_two_spots_on_their_own(made):
    fixed, pairs = made.fixed, made.fixed.pairs
    weight = made.area.weight
    for a in range(0, len(fixed.judged), 3):
        for b in range(0, len(fixed.judged), 4):
            p, q = (fixed.judged[k].coverage for k in (a, b))
            assert pairs.overlap[a, b] == pytest.approx(
                overlap(p.probability, q.probability, weight), abs=1e-5, nan_ok=True
            )
            assert pairs.area[a, b] == pytest.approx(
                float((np.maximum(p.probability, q.probability) * weight).sum()), abs=1e-5
            )
            chances = [max(x.probability, y.probability) for x, y in zip(p.must_serve, q.must_serve, strict=True)]
            assert pairs.points[a, b] == pytest.approx(np.mean(chances))
    required = tuple(point.required for point in made.points)
    field = field_of(made.judged, fixed, required)
    assert choose_rows(field) == choose_rows(replace(field, overlaps=None))


def test_at_once_is_the_ranking_first_and_the_sets_after_it(made):
    weights = Weights(coverage=2.0, access=3.0)
    first = rescore(made, weights, at_once=True)
    assert first.sets_wait
    assert not first.sets
    whole = rescore(made, weights)
    assert not whole.sets_wait
    assert [r.spot.key for r in first.judged] == [r.spot.key for r in whole.judged]
    assert told(completed(first)) == told(whole)


def test_sets_are_looked_for_again_only_where_area_and_points_weigh_otherwise(made, monkeypatch):
    asked = []
    real = set_choice.best_sets
    monkeypatch.setattr(set_choice, "best_sets", lambda *args, **more: asked.append(1) or real(*args, **more))
    start = rescore(from_nothing(made), made.mission.weights)
    assert len(asked) == 1
    given = made.mission.weights
    double = given.model_copy(update={"coverage": 2 * given.coverage, "must_serve": 2 * given.must_serve})
    rescore(rescore(start, given.model_copy(update={"access": 7.0})), double)
    assert len(asked) == 1
    rescore(start, given.model_copy(update={"coverage": 1.0}))
    assert len(asked) == 2


def test_nothing_is_drawn_or_measured_again(valley_plan, monkeypatch):
    from siteplanner.planning.choose import fixed

    for name in ("draw_lots", "measures_of", "compared", "pair_values"):
        monkeypatch.setattr(fixed, name, lambda *args, **more: pytest.fail("worked out again"))
    for weights in TURNS:
        rescore(valley_plan, weights)
