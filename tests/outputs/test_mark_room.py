"""Marks of a map that would lie on each other, and the corners for its scale and its arrow."""

from __future__ import annotations

import itertools
import math
import re

import pytest

from siteplanner.outputs.sheets import print_map
from siteplanner.outputs.sheets.commander import commander_content
from siteplanner.outputs.sheets.mark_room import apart, leader
from siteplanner.outputs.sheets.sheet_maps import HALVES_MM, MARK_MM, View, corner_free, driver_map, furniture
from siteplanner.outputs.sheets.sheet_words import point_letter
from siteplanner.planning.telling.units import METRIC

VIEW = View(0.0, 600.0, 10.0, 90.0, 60.0)


def test_marks_that_have_room_stay_and_others_move_aside():
    wanted = [(40.0, 30.0, 2.4), (41.0, 30.0, 3.4), (80.0, 10.0, 2.1), (40.5, 30.5, 2.3), (89.9, 59.9, 2.3)]
    drawn = apart(wanted, 90.0, 60.0)
    assert drawn[0] == (40.0, 30.0)
    assert drawn[2] == (80.0, 10.0)
    for n, (x, y) in enumerate(drawn):
        half = wanted[n][2]
        assert half <= x <= 90 - half
        assert half <= y <= 60 - half
        for m in range(n):
            assert math.dist((x, y), drawn[m]) >= half + wanted[m][2]
        assert math.dist((x, y), wanted[n][:2]) < 9
    assert leader((40.0, 30.0), drawn[0]) == ""
    assert 'class="leader"' in leader((41.0, 30.0), drawn[1])


def test_what_finds_no_room_is_not_lost():
    wanted = [(5.0, 5.0, 2.0)] * 40
    assert len(apart(wanted, 10.0, 10.0)) == 40


@pytest.mark.parametrize("marks", [[(6.0, 56.0)], [(84.0, 6.0)], [(6.0, 56.0), (84.0, 6.0), (84.0, 56.0)], []])
def test_scale_and_arrow_hide_no_mark_and_not_each_other(marks):
    scale = corner_free(VIEW, (20.0, 6.0), marks)
    arrow = corner_free(VIEW, (9.2, 16.4), marks, (scale,), first=1)
    free = 4 - len(marks)
    for x, y in marks if free >= 2 else ():
        for left, top, right, bottom in (scale, arrow):
            assert not (left - MARK_MM < x < right + MARK_MM and top - MARK_MM < y < bottom + MARK_MM)
    assert scale[2] <= arrow[0] or arrow[2] <= scale[0] or scale[3] <= arrow[1] or arrow[3] <= scale[1]
    assert 'class="north"' in furniture(VIEW, 0.0, METRIC, marks)
    assert max(HALVES_MM.values()) <= MARK_MM


def test_every_number_of_the_drive_stands_on_the_driver_s_map(plan):
    """Steps close to each other, to the start or to the spot had no number: they move aside, with a line to their
    place."""
    ranked = plan.best
    line = ranked.evaluation.access.route.line
    places = [line.interpolate(share, normalized=True) for share in (0.0, 0.01, 0.02, 0.5, 0.51, 0.98, 1.0)]
    steps = [(str(n), p.x, p.y) for n, p in enumerate(places, 1)]
    drawn = driver_map(plan, ranked, 92, 58, steps)
    marks = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*font-weight="bold"[^>]*>([^<]+)</text>', drawn)
    at = {label: (float(x), float(y)) for x, y, label in marks if label != "N"}
    assert {label for label, _, _ in steps} <= set(at)
    assert all(math.dist(at[a], at[b]) > 3.5 for a, b in itertools.combinations(at, 2))


def test_a_named_point_has_the_same_letter_on_every_paper_and_no_number(plan):
    content = commander_content(plan)
    by_name = {name: letter for letter, name, _ in content["points"]}
    printed = {name: letter for letter, name, _ in print_map._points(plan)}
    assert by_name
    assert by_name == {name: printed[name] for name in by_name}
    assert all(letter.islower() for letter in printed.values())
    assert [point_letter(n) for n in (0, 25, 26)] == ["a", "z", "aa"]
