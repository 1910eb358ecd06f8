"""Drawings on the page: turned over for the night, with contrast, and nothing that runs."""

from __future__ import annotations

import re

from siteplanner.app.figure import by_day_and_night
from siteplanner.app.spot_crew import raise_and_aim
from siteplanner.outputs.sheets.figure_profile import profile_svg
from siteplanner.outputs.words.palettes import NIGHT_INK, NIGHT_PAPER, PAPER
from siteplanner.planning.telling.units import METRIC
from tests.contrast import contrast_ratio
from tests.outputs.factory import make_plan


def pair(colour: str) -> tuple[str, str]:
    found = re.search(r"light-dark\((#\w{6}),(#\w{6})\)", by_day_and_night(f'fill="{colour}"'))
    assert found
    return found[1], found[2]


def test_white_is_the_page_and_black_its_text_by_night():
    assert pair("#fff") == (PAPER, NIGHT_PAPER)
    assert pair("#000")[1] == NIGHT_INK


def test_greys_keep_their_contrast_to_the_page_by_night():
    # WCAG 2.1, 1.4.3: 4.5:1 for text; 1.4.11: 3:1 for what must be seen
    for grey in ("#000", "#333", "#555"):
        day, night = pair(grey)
        assert contrast_ratio(day, PAPER) >= 4.5
        assert contrast_ratio(night, NIGHT_PAPER) >= 4.5
    order = [contrast_ratio(pair(f"#{v}{v}{v}")[1], NIGHT_PAPER) for v in "0369cf"]
    assert order == sorted(order, reverse=True)


def test_colours_and_patterns_stay():
    text = 'fill="#B84A00" stroke="none" fill="url(#h1)"'
    assert by_day_and_night(text) == text


def test_a_whole_drawing_holds_no_bare_grey():
    plan = make_plan()
    out = by_day_and_night(profile_svg(plan, plan.spots[0], METRIC))
    assert out.startswith("<svg")
    assert not re.search(r'(fill|stroke)="#[0-9a-f]{3,6}"', out)


def test_the_sense_of_the_skew_stands_below_its_column():
    """It was a bare signed number here."""
    page = raise_and_aim(make_plan().spots[0].evaluation, METRIC).replace("&#43;", "+")
    assert ">Skew<" in page
    assert "Skew: + clockwise from behind." in page
