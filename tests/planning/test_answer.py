"""The answer at a glance: figures of the plan, the worst of it, the runner-up; rows of sets."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from siteplanner import load_mission, plan
from siteplanner.planning.plan.require import require, served_from
from siteplanner.planning.telling.answer import figure_row, point_words, runner_words, spot_cells, worst_words
from siteplanner.planning.telling.options import missed_lines
from siteplanner.planning.telling.set_rows import count_words, missed_by_set, set_rows
from siteplanner.planning.telling.units import METRIC, Units
from tests.outputs.factory import make_plan
from tests.planning.test_options import two_camps


@pytest.fixture(scope="module")
def camps(tmp_path_factory):
    return plan(load_mission(two_camps(tmp_path_factory.mktemp("camps"))))


def test_the_tiles_are_the_figures_of_the_plan(camps):
    e = camps.best.evaluation
    told = {of: figure for figure, of in figure_row(camps.best)}
    assert told["weighted area served"] == f"{100 * e.coverage.share:.0f} %"
    assert told["named points with service"] == "1 of 2"
    assert told["on air after dispatch"] == f"{e.on_air.early_min:.0f} to {e.on_air.late_min:.0f} min"
    assert told[next(of for of in told if of.startswith("drive"))] == METRIC.seconds(e.access.drive_time_s)
    assert [figure for figure, of in figure_row(camps.best) if of.startswith("view of the satellite")] == ["clear"]
    assert spot_cells(e)[0] == told["weighted area served"]


def test_people_have_two_figures(camps):
    e = camps.best.evaluation
    service = replace(e.coverage.service, people=665.0, people_served=604.2)
    told = replace(camps.best, evaluation=replace(e, coverage=replace(e.coverage, service=service)))
    assert ("about 600 of 665", "people served") in figure_row(told)
    service = replace(service, people_served=20.9)
    told = replace(camps.best, evaluation=replace(e, coverage=replace(e.coverage, service=service)))
    assert ("about 21 of 665", "people served") in figure_row(told)


def test_the_worst_is_the_point_without_service_and_who_serves_it(camps):
    missed = next(p for p in camps.points if p.missed)
    text = worst_words(camps, camps.best)
    assert re.match(rf"(No service expected|Service unlikely) at {missed.name} \(", text)
    assert missed.best.spot.name in missed_lines([missed])[0]  # who serves it stands with the named points
    sure = replace(camps.firmness, none_chance=0.2)
    text = worst_words(replace(camps, firmness=sure), camps.best)
    assert text.startswith("With a chance of 20 % no spot passes after all")


def test_the_worst_of_a_requirement_is_who_goes_without(camps):
    missed = next(p for p in camps.points if p.missed)
    now = require(camps, {missed.name})
    assert worst_words(now, now.best).startswith(f"Serving {missed.name} leaves without service: ")
    both = require(camps, {p.name for p in camps.points})
    assert worst_words(both, both.best).startswith("No spot serves every required point")
    for number, point in enumerate(now.points):  # who serves a point is asked of all judged spots
        assert (
            served_from(now, number)
            >= sum(r.evaluation.coverage.must_serve[number].probability >= point.needed for r in camps.judged)
            > 0
        )


def test_a_calm_plan_has_no_worst_and_a_bare_one_no_figures():
    made = make_plan(3, coverage=False, rejected=0)
    spots = tuple(replace(r, evaluation=replace(r.evaluation, access=None, on_air=None)) for r in made.spots)
    assert worst_words(replace(made, spots=spots, judged=spots), spots[0]) == "No way by road to the spot is known."
    assert len(figure_row(spots[0])) == 1  # the backhaul
    assert worst_words(make_plan(0), None) == ""


def test_the_runner_up_is_a_line_in_the_reader_s_units(camps):
    text = runner_words(camps, camps.best)
    assert text.startswith(f"Runner-up: spot {camps.runner_up.spot.name}")
    assert len(text) < 200
    assert not re.search(r"\d (m|km)\b", runner_words(camps, camps.best, Units("US")))


def test_a_row_a_trailer_with_what_it_adds(camps):
    one = camps.sets[2]
    rows = set_rows(one)
    assert [row[0] for row in rows] == [f"Spot {t.ranked.spot.name}" for t in one.trailers]
    assert "from staging" in rows[0][2] or one.trailers[0].start in rows[0][2]
    assert re.search(r"\d+ to \d+ min", rows[1][3])
    assert "1 of 2 named points" in rows[0][4]
    assert "serves" in rows[1][4]
    assert missed_by_set(one) == ""
    assert missed_by_set(camps.sets[1]).startswith("Not served by any of them: ")
    assert [count_words(n) for n in (1, 2, 3)] == ["One trailer", "Two trailers", "Three trailers"]


def test_a_named_point_says_its_chance_and_how_many_serve_it(camps):
    point = camps.points[0]
    assert point_words(point, 0).endswith("; no judged spot serves it")
    assert point_words(point, 3).endswith("; 3 judged spots serve it")
    assert METRIC.share(point.first) in point_words(point, 1)
