"""A place as phones, maps and radios give it: read to where it is, or refused with what is wrong."""

from __future__ import annotations

import math

import pytest
from pyproj import Geod, Transformer

from siteplanner.data.coordinates import EXAMPLES, read_place
from siteplanner.errors import InputError

PLACE = (44.652500, -113.052400)  # 44 deg 39.150 min, 113 deg 3.144 min; 44 39 09.0, 113 03 08.64


def off_m(text: str, **how) -> float:
    found = read_place(text, **how)
    return Geod(ellps="WGS84").inv(PLACE[1], PLACE[0], found.longitude, found.latitude)[2]


@pytest.mark.parametrize(
    "text",
    [
        "44.65250, -113.05240",
        "44.65250 -113.05240",
        "44.65250,-113.05240",
        "44.65250\N{DEGREE SIGN} N, 113.05240\N{DEGREE SIGN} W",
        "N44.65250 W113.05240",
        "113.05240 W 44.65250 N",
        "44,65250 -113,05240",
        "44,65250; -113,05240",
        "Lat: 44.65250 Long: -113.05240",
        "44 39.150 N 113 03.144 W",
        "44\N{DEGREE SIGN} 39.150' N, 113\N{DEGREE SIGN} 03.144' W",
        "44 39.150 -113 03.144",
        "44\N{DEGREE SIGN}39'09.0\"N 113\N{DEGREE SIGN}03'08.6\"W",
        "44\N{DEGREE SIGN}39\N{PRIME}9.0\N{DOUBLE PRIME} N 113\N{DEGREE SIGN}3\N{PRIME}8.6\N{DOUBLE PRIME} W",
        "\N{MINUS SIGN}113.05240 E 44.65250 N".replace("\N{MINUS SIGN}", "").replace(" E", " W"),
    ],
)
def test_every_form_that_a_phone_shows_is_the_same_place(text):
    assert off_m(text) < 2.0


def test_grid_and_utm_are_the_place_that_the_projection_gives():
    east, north = Transformer.from_crs(4326, 32612, always_xy=True).transform(PLACE[1], PLACE[0])
    assert off_m(f"12T {int(east)} {int(north)}") < 1.5
    assert off_m(f"12T {int(east)}E {int(north)}N") < 1.5
    # 12TUQ: square UQ of zone 12 lies at 300,000 E and 4,900,000 N (NGA.SIG.0012 lettering); the figures are the rest
    figures = f"{int(east) - 300_000:05d}", f"{int(north) - 4_900_000:05d}"
    assert off_m(f"12TUQ {figures[0]} {figures[1]}") < 1.5
    assert off_m(f"12t uq{''.join(figures)}") < 1.5
    # four figures name a square of 10 m: its middle is never more than half its diagonal away
    assert off_m(f"12T UQ {figures[0][:4]} {figures[1][:4]}") <= 5 * math.sqrt(2) + 0.1


@pytest.mark.parametrize("text", EXAMPLES.split(" or "))
def test_the_examples_are_one_place(text):
    assert off_m(text) < 2.0


@pytest.mark.parametrize(
    ("text", "half_step_m"),
    [
        ("44.6525, -113.0524", 5.57),
        ("44.65250, -113.05240", 0.557),
        ("44 39 09 N 113 03 09 W", 15.5),
        ("44 39.150 N 113 03.144 W", 0.928),
        ("12T UQ 3726 4639", 5.0),
    ],
)
def test_the_figures_say_how_well_it_is_known(text, half_step_m):
    assert read_place(text).off_m == pytest.approx(half_step_m, rel=0.01)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no coordinates"),
        ("behind the barn", "letters or marks"),
        ("44.65250", "Two to six numbers"),
        ("44.65250 N 113.05240", "Only one half has a letter"),
        ("44.65250 N 113.05240 N", "Both halves are a latitude"),
        ("44.65250 N -113.05240 W", "a sign and a letter"),
        ("44.65250 N 113.05240 W 3 E", "more than two letters"),
        ("44 39.150 N 113.05240 W", "in different ways"),
        ("44 61.150 N 113 03.144 W", "below 60"),
        ("44 39 61.0 N 113 03 08.6 W", "below 60"),
        ("44.5 39.150 N 113 03.144 W", "last number"),
        ("44 -39.150 113 03.144", "no sign"),
        ("44,65,250,113,05,240", "commas"),
        ("94.65250, -113.05240", "not a place on Earth"),
        ("-113.05240, 44.65250", "not a place on Earth"),
        ("44.65250, -193.05240", "not a place on Earth"),
        ("44.652, -113.052", "too few figures"),
        ("44 39.1 N 113 03.1 W", "too few figures"),
        ("12T UQ 372 463", "too few figures"),
        ("12T UQ 37264 4639", "as many figures east as north"),
        ("12T UQ 372 46397", "differ in length"),
        ("12T ZZ 37264 46397", "no such square"),
        ("12S 337264 4946397", "S may be the band"),
        ("12T 337264 946397", "not in band T"),
        ("99T 337264 4946397", "out of range"),
        ("4" * 200, "too long"),
    ],
)
def test_what_could_be_another_place_is_refused(text, words):
    with pytest.raises(InputError, match=words) as caught:
        read_place(text, field="coordinates")
    assert caught.value.field == "coordinates"
    assert caught.value.remedy
