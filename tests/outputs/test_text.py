from __future__ import annotations

import html
import math
import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.words import text
from siteplanner.planning.telling.score import parts_that_add_up, rank_text
from tests.outputs.factory import HOSTILE

SURROGATES_TOO = st.text(st.characters(exclude_categories=()), max_size=60)


@given(SURROGATES_TOO)
def test_shown_holds_nothing_that_html_javascript_or_a_template_could_read(value):
    out = text.shown(value)
    rest = out.replace("&#", "").replace(";", "")
    assert all(c.isalnum() or c in " .,:()/-" for c in rest)
    out.encode("utf-8")


@given(st.text(st.characters(exclude_categories=("Cc", "Cs", "Cn")), max_size=60))
def test_shown_reads_back_as_it_was(value):
    turned = re.compile("[\u202a-\u202e\u2066-\u2069]")
    assert html.unescape(text.shown(value)) == turned.sub("\ufffd", value)


@pytest.mark.parametrize(("raw", "seen"), [("a\x00b", "a\ufffdb"), ("lone \ud800", "lone \ufffd"), ("\x85", "\ufffd")])
def test_what_no_page_can_hold_is_seen_as_the_replacement_character(raw, seen):
    assert html.unescape(text.shown(raw)) == seen


@given(SURROGATES_TOO)
def test_xml_text_is_always_well_formed(value):
    held = ET.fromstring(f'<a b="{text.xml_text(value)}">{text.xml_text(value)}</a>')
    assert (held.text or "") == text.clean(value) == held.attrib["b"]


@pytest.mark.parametrize("name", HOSTILE)
def test_xml_text_keeps_the_words_of_hostile_names(name):
    assert ET.fromstring(f"<a>{text.xml_text(name)}</a>").text == text.clean(name)
    assert not set(text.clean(name)) & set("\x00\x07\n\r\t\u2028\u2029\ud800")


@pytest.mark.parametrize(
    "cell", ["=1+1", "+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "  =1", "＝1", "=cmd|'/C calc'!A0", "|x"]
)
def test_cells_that_a_spreadsheet_would_run_are_defused(cell):
    assert str(text.csv_cell(cell)).startswith("'")


def test_numbers_stay_numbers_and_unknown_is_empty():
    assert text.csv_cell(-3.5) == -3.5
    assert text.csv_cell(7) == 7
    assert text.csv_cell(float("nan")) == text.csv_cell(None) == text.csv_cell(math.inf) == ""
    assert text.csv_cell(True) == "yes"
    assert text.csv_cell("Mill Lane - north") == "Mill Lane - north"


@given(st.lists(st.floats(0, 60), min_size=1, max_size=8), st.integers(0, 3))
def test_rounded_parts_add_up_to_the_rounded_sum(parts, digits):
    shown, total = parts_that_add_up(parts, digits)
    unit = 10**digits
    assert sum(round(p * unit) for p in shown) == round(total * unit) == round(math.fsum(parts) * unit)
    assert all(abs(a - b) < 1 / unit + 1e-9 for a, b in zip(shown, parts, strict=True))


def test_only_names_written_right_to_left_are_set_apart():
    assert text.sentence("spot A, 2.4 behind A", ["A", "B"]) == "spot A, 2.4 behind A"
    hebrew = "\u05d0\u05d1"
    assert text.sentence(f"spot {hebrew}, 2.4 <b>", [hebrew]) == f"spot <bdi>{hebrew}</bdi>, 2.4 &#60;b&#62;"


def test_figures_in_words():
    assert text.bearing_text(359.7) == "000°"
    assert text.bearing_text(float("nan")) == "not known"
    assert grid_text("12TUQ3882545865") == "12T UQ 38825 45865"
    assert grid_text("hill 4") == "hill 4"
    assert text.number_text(-0.04) == "0.0"
    assert text.number_text(float("nan"), 1, "dB") == "not known"


def test_small_and_large_shares_are_never_shown_as_none_and_all():
    assert text.percent_text(0.0) == "0 %"
    assert text.percent_text(0.002) == "below 1 %"
    assert text.percent_text(0.998) == "above 99 %"
    assert text.percent_text(1.0) == "100 %"


def test_ranks_in_words():
    """As a rank, never as a place: a place is somewhere on the ground."""
    assert [rank_text(n) for n in (1, 12)] == ["rank 1", "rank 12"]
