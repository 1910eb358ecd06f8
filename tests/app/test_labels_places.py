"""Text, units and coordinates as the screen shows them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as some

from siteplanner.app import coordinates
from siteplanner.app.labels import JOINER, Units, error_text, plain
from siteplanner.errors import InputError
from tests.outputs.factory import HOSTILE


@pytest.mark.parametrize("name", [*HOSTILE, "![x](https://far.example/x.png)", "a_b *c* ~d~ `e` $f$ :g: <h> #i"])
def test_plain_leaves_no_mark_that_markdown_reads(name):
    # CommonMark 0.31, section 2.4: any ASCII punctuation character may be backslash-escaped
    assert not re.search(r"[!-/:-@\[-`{-~]", re.sub(r"\\[!-/:-@\[-`{-~]", "", plain(name)))


@given(some.text(alphabet=some.characters(min_codepoint=32, max_codepoint=126)))
def test_plain_takes_nothing_away(text):
    shown = re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", plain(text)).replace(JOINER, "")
    assert shown == re.sub(r" {2,}", " ", text).strip()


@pytest.mark.parametrize(
    "name",
    ["https://far.example/x", "HTTP://far.example", "www.far.example", "a.b@far.example", "mailto:a@far.example"],
)
def test_an_address_in_a_name_stays_text(name):
    # what GitHub Flavored Markdown 0.29, section 6.9, links in plain text, once the backslashes are gone
    shown = re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", plain(f"see {name} now"))
    assert not re.search(r"(https?://|www\.)[-.\w]|[-.+\w]@[-\w]", shown, re.IGNORECASE)
    assert shown.replace(JOINER, "") == f"see {name} now"


def test_an_error_is_two_sentences_without_the_folder():
    what, remedy = error_text(InputError("It is *cut*.", remedy="Copy it.", file="/secret/place/dem.tif", field="x"))
    assert what == r"dem\.tif\, field x\: It is \*cut\*\."
    assert remedy == r"Copy it\."


def test_units_by_their_definitions():
    # NIST SP 811 (2008), appendix B.8: foot 0.3048 m, mile 1609.344 m, pound 0.453 592 37 kg, all exact
    metric, us = Units(), Units("US")
    assert metric.distance(850) == "850 m"
    assert metric.distance(12_340) == "12.3 km"
    assert us.distance(30.48) == "100 ft"
    assert us.distance(1609.344) == "1.0 mi"
    assert us.length(3.048) == "10 ft"
    assert metric.length(None) == us.length(float("nan")) == "not known"
    assert us.from_kg(0.45359237) == pytest.approx(1)
    assert us.to_m(us.from_m(7.7)) == pytest.approx(7.7)
    assert us.area(2.589988110336) == "1.0 sq mi"
    assert metric.minutes(59.4) == "59 min"
    assert metric.minutes(61) == "1 h 01 min"
    assert metric.minutes(None) == "not known"
    assert metric.angle(-0.01) == "0.0°"
    assert metric.angle(float("nan")) == "not known"


# The same place in several ways; the arithmetic between them is by hand
MONUMENT = (38.889484, -77.035279)


@pytest.mark.parametrize(
    "text",
    [
        "38.889484, -77.035279",
        "38.889484 -77.035279",
        "38 53.369 N 77 02.117 W",
        "77 02.117 W, 38 53.369 N",
        "38°53′22.1″N 77°02′07.0″W",
        "N38 53.369 W77 02.117",
    ],
)
def test_every_format_is_read(text):
    latitude, longitude = coordinates.read(text)
    assert latitude == pytest.approx(MONUMENT[0], abs=2e-5)  # 2 m: minutes to a thousandth
    assert longitude == pytest.approx(MONUMENT[1], abs=2e-5)


@pytest.mark.parametrize("text", ["18SUJ2339407395", "18S UJ 23394 07395", "18s uj 23394 07395"])
def test_a_grid_reference_is_read(text):
    # from memory: this reference is given for a house at 38.8977 N 77.0365 W, to four places (11 m)
    assert coordinates.read(text) == pytest.approx((38.8977, -77.0365), abs=1e-4)


@given(some.floats(-79.9, 83.9), some.floats(-179.9, 179.9), some.sampled_from(coordinates.FORMATS))
def test_what_is_written_is_read_again(latitude, longitude, style):
    back = coordinates.read(coordinates.written(latitude, longitude, style))
    assert back[0] == pytest.approx(latitude, abs=2e-5)
    # a metre of the grid is more degrees of longitude toward the poles: 1 / (111 km x cos 84) is 9e-5
    assert back[1] == pytest.approx(longitude, abs=2e-4)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "here",
        "38.5",
        "95, 10",
        "10, 190",
        "38 61.0 N 77 02 W",
        "1 2 3",
        "18SUJ233940739",
        "18SZZ2339407395",
        "1 N 2 N",
        "<script>",
        "![x](https://far.example)",
    ],
)
def test_anything_else_is_refused_with_the_formats(text):
    with pytest.raises(InputError) as caught:
        coordinates.read(text)
    assert caught.value.field == "coordinates"
    assert caught.value.remedy
