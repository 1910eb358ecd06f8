"""Tag values. Rules: OpenStreetMap wiki, pages Units, Key:maxheight, Key:maxweight, Key:oneway (stored pages)."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siteplanner.planning.telling.findings import said
from siteplanner.roads import attributes as a
from siteplanner.roads import cells
from siteplanner.roads import quantities as q
from siteplanner.roads.tags import read_tags
from tests.roads.drawn import layer, road


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("3.5", 3.5),
        ("3.5 m", 3.5),
        (" 3.5  M ", 3.5),
        (4, 4.0),
        (2.8, 2.8),
        ("6'7\"", (6 + 7 / 12) * 0.3048),
        ("8'", 8 * 0.3048),
        ("12' 6\"", 12.5 * 0.3048),
        ("12 ft", 12 * 0.3048),
        ("11ft 6in", 11.5 * 0.3048),
        ("350 cm", 3.5),
    ],
)
def test_lengths(text, metres):
    reading = q.length_m(text)
    assert reading.state == "read"
    assert reading.value == pytest.approx(metres, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "tonnes"),
    [
        ("7.5", 7.5),
        ("7.5 t", 7.5),
        ("12 T", 12.0),
        ("3500 kg", 3.5),
        ("16000 lbs", 16000 * 0.00045359237),
        ("8 st", 16000 * 0.00045359237),
    ],
)
def test_masses(text, tonnes):
    assert q.mass_t(text).value == pytest.approx(tonnes, rel=1e-12)


@pytest.mark.parametrize(("text", "kmh"), [("50", 50), ("35 mph", 35 * 1.609344), ("50 km/h", 50), (30.0, 30)])
def test_speeds(text, kmh):
    assert q.speed_kmh(text).value == pytest.approx(kmh, rel=1e-12)


# Key:maxheight lists these as values without a figure; they are no height of 0
@pytest.mark.parametrize("text", ["default", "below_default", "no_indications", "no_sign", "none", " None "])
def test_values_without_a_figure(text):
    reading = q.length_m(text)
    assert reading.state == "unposted"
    assert math.isnan(reading.value)


# `12t` and `0,6` stand on the wiki as mistakes; the others are not numbers at all
@pytest.mark.parametrize("text", ["12t", "0,6", "3.5m", "-3", "0", "3.5;4", "about 3", "3 parsecs", "6'13\"", "1e3"])
def test_mistakes_are_unknown(text):
    for read in (q.length_m, q.mass_t):
        reading = read(text)
        assert reading.state == "mistake"
        assert math.isnan(reading.value)


@pytest.mark.parametrize("missing", [None, "", "  ", float("nan"), np.nan, pd.NA, pd.NaT])
def test_missing_is_absent(missing):
    assert q.length_m(missing).state == "absent"
    assert cells.tag_text(missing) == ""
    assert cells.plain_name(missing).strip() == ""


@given(st.text(max_size=30))
def test_any_text_gives_a_reading(text):
    for read in (q.length_m, q.mass_t, q.speed_kmh, q.incline_pct):
        reading = read(text)
        assert math.isnan(reading.value) == (reading.state != "read")
        assert reading.state != "read" or read is q.incline_pct or reading.value > 0


@pytest.mark.parametrize(
    ("oneway", "highway", "junction", "expected"),
    [
        ("yes", "", "", "forward"),
        ("-1", "", "", "backward"),
        ("no", "motorway", "", "both"),
        ("", "motorway", "", "forward"),
        ("", "residential", "roundabout", "forward"),
        ("roundabout", "", "", "forward"),
        ("reversible", "", "", "changes"),
        ("alternating", "", "", "both"),
        (" YES ", "", "", "forward"),
        (None, "track", None, "both"),
        (True, "", "", "forward"),
        (-1, "", "", "backward"),
        (1.0, "", "", "forward"),
    ],
)
def test_direction(oneway, highway, junction, expected):
    assert a.direction(oneway, highway, junction) == expected


def test_incline():
    assert q.incline_pct("10%").value == 10
    assert q.incline_pct("-8 %").value == -8
    assert q.incline_pct("45°").value == pytest.approx(100)
    assert q.incline_pct("up").state == "unposted"
    assert q.incline_pct("steepish").state == "mistake"


def test_level():
    rows = [
        ("", "", ""),
        ("", "yes", ""),
        ("", "", "yes"),
        ("-2", "", ""),
        ("1.0", "", ""),
        ("", "no", "no"),
        ("0", "yes", ""),
        ("x", "viaduct", ""),
    ]
    assert [a.level(*row) for row in rows] == [0, 1, -1, -2, 1, 0, 0, 1]


def test_surface_words():
    assert a.is_unpaved("asphalt") is False
    assert a.is_unpaved("gravel") is True
    assert a.is_unpaved("concrete:plates") is False
    assert a.is_unpaved("", "grade2") is True
    assert a.is_unpaved("", "grade1") is False
    assert a.is_unpaved("", "", "track") is True
    assert a.is_unpaved("", "", "primary") is None


def test_hostile_names_stay_plain_text():
    for name in ("<img src=x onerror=alert(1)>", "{{ 7*7 }}", "`${f()}`", "=1+1", 'O\'Brien "Road"', "שדרות 5", "%n"):
        assert cells.plain_name(name) == name
    assert cells.plain_name("two\nlines\x00\ttabbed") == "two lines tabbed"
    assert cells.plain_name("half \ud83d pair") == "half pair"
    assert cells.plain_name("turned \u202eround\u202c") == "turned round"
    assert len(cells.plain_name("x" * 5000)) == 200


def test_columns_in_any_case_and_other_tags():
    frame = layer(
        road((0, 0), (9, 0), HIGHWAY="Residential", other_tags='"maxheight"=>"2.5","Bridge"=>"yes"'),
        road((0, 5), (9, 5), HIGHWAY=" Track ", other_tags=None),
    ).drop(columns="highway")
    tags, findings = read_tags(frame)
    assert tags.highway.tolist() == ["residential", "track"]
    assert tags.maxheight_m[0] == 2.5
    assert tags.bridge.tolist() == [True, False]
    assert np.isnan(tags.maxheight_m[1])
    assert findings == []


def test_findings_name_what_cannot_be_read():
    _, findings = read_tags(
        layer(
            road((0, 0), (9, 0), maxweight="12t"),
            road((0, 5), (9, 5), maxheight="0,6"),
            road((0, 9), (9, 9), highway="goat run"),
        )
    )
    text = " ".join(said(f).message for f in findings)
    assert "'12t'" in text
    assert "'0,6'" in text
    assert "'goat run'" in text
    assert {f.code for f in findings} == {"road_tag_unreadable", "road_class_unknown"}


def test_a_layer_without_classes_says_so():
    tags, findings = read_tags(layer(road((0, 0), (9, 0))).drop(columns="highway"))
    assert tags.road_class.tolist() == ["unclassified"]
    assert findings[0].code == "road_class_missing"
