"""The comparison of spots: what differs stands in front, better is said where it is, reasons add up."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from siteplanner.app import compare
from siteplanner.app.labels import Units
from siteplanner.mission.criteria import BACKHAUL_GAUGES
from siteplanner.planning.choose.certainty import doubt_of
from siteplanner.planning.telling.score import line_words
from siteplanner.roads.lifeline import Lifeline, Thread
from tests.outputs.factory import HOSTILE, make_plan


@pytest.fixture(scope="module")
def plan():
    return make_plan()


def with_criteria(ranked, **utility):
    """The same spot with other shares of full marks; points follow."""
    lines = tuple(
        replace(c, utility=utility.get(c.name, c.utility), contribution=100 * c.weight * utility.get(c.name, c.utility))
        for c in ranked.criteria
    )
    return replace(ranked, criteria=lines, score=sum(c.contribution for c in lines))


def test_rows_that_differ_most_come_first_and_alike_rows_last(plan):
    rows = compare.compared(plan, list(plan.spots[:2]), Units())
    apart = [row.apart for row in rows if row.differs]
    assert apart == sorted(apart, reverse=True)
    assert apart
    states = [row.differs for row in rows]
    assert states == sorted(states, reverse=True)
    assert not states[-1]  # the factory's spots have the same mast
    # one way out against two: as far apart as anything can be
    assert rows[0].label == "Way in from staging"
    assert rows[0].best == (1,)


def test_every_criterion_must_serve_point_and_way_in_is_there(plan):
    labels = [row.label for row in compare.compared(plan, list(plan.spots[:3]), Units())]
    for c in plan.spots[0].criteria:
        assert any(label.startswith(c.label) for label in labels), c.label
    for point in plan.spots[0].evaluation.coverage.must_serve:
        assert f"Must-serve: {point.name}" in labels
    for words in ("On air", "Way in from staging", "Drive", "Last leg over ground", "Mast"):
        assert words in labels


def test_better_is_marked_by_the_figure_and_not_where_better_means_nothing(plan):
    a, b = plan.spots[0], with_criteria(plan.spots[1], coverage=1.0)
    sky = [with_criteria(r, backhaul=1.0) for r in (a, b)]
    full = next(row for row in compare.compared(plan, sky, Units()) if row.label.startswith("Sky margin (of"))
    assert full.differs  # 34.4 against 33.4 degrees, but both have full marks
    assert full.best == ()
    rows = {row.label: row for row in compare.compared(plan, [a, b], Units())}
    coverage = next(row for label, row in rows.items() if label.startswith(a.criteria[0].label))
    assert coverage.best == () or coverage.best == (1,)
    assert rows["Mast"].best == ()
    assert rows["Elevation"].best == ()
    air = rows["On air"]
    means = [r.evaluation.on_air.mean_min for r in (a, b)]
    assert abs(means[0] - means[1]) > 1
    assert air.best == (int(np.argmin(means)),)
    for row in rows.values():
        assert not row.best or row.differs


def test_unknown_against_known_counts_as_far_apart_and_is_never_better(plan):
    a = plan.spots[0]
    b = replace(plan.spots[1], evaluation=replace(plan.spots[1].evaluation, access=None, on_air=None))
    rows = {row.label: row for row in compare.compared(plan, [a, b], Units())}
    assert rows["Drive"].texts[1] == "not known"
    assert rows["Drive"].apart == 1.0
    assert rows["Drive"].best == (0,)


def test_a_over_b_names_only_what_speaks_for_a_with_its_points(plan):
    a = with_criteria(plan.spots[0], coverage=0.9, backhaul=0.2, access=0.5, ground=0.5, must_serve=0.9)
    b = with_criteria(plan.spots[1], coverage=0.5, backhaul=0.9, access=0.5, ground=0.5, must_serve=0.9)
    a = replace(a, criteria=tuple(replace(c, value=90.0) if c.name == "coverage" else c for c in a.criteria))
    b = replace(b, criteria=tuple(replace(c, value=50.0) if c.name == "coverage" else c for c in b.criteria))
    one, other = compare.over(a, b, Units()), compare.over(b, a, Units())
    assert one.startswith("A over B because it serves 90 % of the weighted area, not 50 % (+18.2 points)")
    # 0.4 of a weight of 5/11 = 18.18 points; 0.7 of 1/11 = 6.36
    assert "(+6.4 points)" in other
    assert "the sky margin is 33.4°, not 34.4°" in other
    assert "serves" not in other
    assert "more than one road leads out" in other  # the factory's first spot has one way out, the others two
    worse = with_criteria(b, coverage=0.1, backhaul=0.1, access=0.1, ground=0.1, must_serve=0.1)
    cut = replace(
        worse,
        evaluation=replace(
            worse.evaluation, access=replace(b.evaluation.access, lifeline=Lifeline(Thread(1, ()), Thread(1, ())))
        ),
    )
    assert compare.over(cut, a, Units()) == "B over A: no criterion speaks for it."


def test_what_was_found_at_one_spot_only_stands_below(plan):
    text = compare.compare_table(plan, list(plan.spots[:2]), Units())
    assert "Only A." in text
    assert "A tree about 18 m tall" in text
    both = [plan.spots[1], plan.spots[2]]
    assert "Only" not in compare.compare_table(plan, both, Units())


def test_columns_stand_in_order_of_rank_whatever_was_picked_first(plan):
    text = compare.compare_table(plan, [plan.spots[2], plan.spots[0]], Units())
    assert re.findall(r"<bdi>([A-Z])</bdi><span class=\"sp-place\">([^,]+), ", text) == [
        ("A", "rank 1"),
        ("C", "rank 3"),
    ]


def test_us_units_reach_the_comparison(plan):
    text = compare.compare_table(plan, list(plan.spots[:2]), Units("US", place="degrees"))
    assert re.search(r">\d[\d,]* ft<", text)
    assert not re.search(r">\d[\d,]* m<", text)


def test_hostile_names_do_nothing_in_the_comparison():
    plan = make_plan(names=HOSTILE, mission_name="x")
    text = compare.compare_table(plan, list(plan.spots[:3]), Units())
    tags = set(re.findall(r"<\s*/?\s*([a-zA-Z!][a-zA-Z0-9]*)", text))
    assert tags <= {"div", "p", "b", "table", "thead", "tbody", "tr", "th", "td", "span", "bdi"}


def test_a_link_in_use_is_compared_by_its_own_figure_and_not_by_the_sky(plan):
    link = BACKHAUL_GAUGES["donor_link"]

    def linked(ranked, value):
        """The same spot with a donor link in use."""
        lines = (replace(c, gauge=link, value=value) if c.name == "backhaul" else c for c in ranked.criteria)
        return replace(ranked, criteria=tuple(lines))

    a, b = linked(plan.spots[0], 21.4), linked(plan.spots[1], 9.0)
    line = next(c for c in a.criteria if c.name == "backhaul")
    assert line_words(line) == "Donor link 21 dB to spare"
    a, b = with_criteria(a, backhaul=0.9), with_criteria(b, backhaul=0.2)
    assert "its backhaul is better (Donor link 21 dB to spare, not Donor link 9 dB to spare)" in compare.over(
        a, b, Units()
    )
    assert "sky margin" not in compare.over(a, b, Units())
    dish = with_criteria(plan.spots[1], backhaul=0.2)
    assert "its backhaul is better (Donor link 21 dB to spare, not 33.4°)" in compare.over(a, dish, Units())


def test_two_figures_are_alike_by_numbers_not_by_how_they_are_printed(plan):
    """A share that differs by less than it is known to is no difference, whatever is printed; more than that is one."""
    a = plan.spots[0]
    doubt = doubt_of("coverage", a.evaluation, plan.mission)
    for off, differs in ((0.9 * doubt, False), (1.1 * doubt, True)):
        line = replace(a.criteria[0], value=a.criteria[0].value + off, utility=a.criteria[0].utility + off / 100)
        b = replace(a, criteria=(line, *a.criteria[1:]))
        row = next(r for r in compare.compared(plan, [a, b], Units()) if r.label.startswith(line.label))
        assert len(set(row.texts)) > 1
        assert row.differs is differs
        assert row.best == ((1,) if differs else ())
