"""What a crew radios back as a file: read, written again, and refused in words where it cannot be right."""

from __future__ import annotations

import json
import re
import tomllib
from datetime import time

import pytest

from siteplanner.errors import InputError
from siteplanner.guide import page
from siteplanner.mission.report import (
    LEAST_RSRP_DBM,
    MOST_RSRP_DBM,
    Level,
    Report,
    load_report,
    report_from_dict,
    report_text,
)

HERE = 'coordinates = "44.65250, -113.05240"\n'
WHOLE = (
    HERE
    + """
spot = "B"
grid = "12T UQ 37264 46397"
accuracy_m = 8
bearings = "magnetic"
heading_deg = 118
mast_stop_ft = 26
sector_bearings_deg = [35, 247]
satellite = "slot 113 W"
arrived_at = 14:05:00
locked_at = "1431"
on_air_at = 2026-06-03T14:40:00-06:00
fuel_pct = 80
meter_h = 412.5
photos = "tongue.jpg"
different = "Tree on the spot"
reported_by = "Lead"

[[levels]]
point = "Landing"
rsrp_dbm = -98.5

[[levels]]
point = "Camp"
served = false
"""
)


def read(tmp_path, text: str, name: str = "REPORT.toml"):
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    return load_report(file)


def test_a_whole_report_is_read_and_written_again(tmp_path):
    report = read(tmp_path, WHOLE)
    assert report.locked_at == time(14, 31)
    assert report.levels[0].rsrp_dbm == -98.5
    assert report.levels[1].served is False
    assert report.photos == ("tongue.jpg",)
    assert read(tmp_path, report_text(report)) == report
    plain = json.dumps({"coordinates": "44.65250, -113.05240", "on_air_at": "14:40"})
    assert read(tmp_path, plain, "report.json").on_air_at == time(14, 40)


BAD: list[tuple[str, str, str]] = [
    ("", "", "file is empty"),
    ("accuracy_m = 4", "coordinates", "does not say where"),
    ("coordinates = ", "", "Broken syntax"),
    ("[[levels]]\n" * 3, "levels[1].point", "missing"),
    ('place = "here"', "place", "no such field"),
    ('coordinats = "44.65250, -113.05240"', "coordinats", "close: coordinates"),
    ("coordinates = 44.65250", "coordinates", "Text in quotes"),
    ('coordinates = "behind the barn"', "coordinates", "not a place"),
    ('coordinates = "44.65, -113.05"', "coordinates", "too few figures"),
    ('coordinates = "44.65250 N, -113.05240 W"', "coordinates", "a sign and a letter"),
    ('coordinates = "44.65250"', "coordinates", "numbers are needed"),
    ('coordinates = "-113.05240, 44.65250"', "coordinates", "not a place on Earth"),
    (f'coordinates = "{"4" * 300}"', "coordinates", "at most 200 letters"),
    ('grid = "12T UQ 372 46397"', "grid", "differ in length"),
    ('grid = "12T IO 37264 46397"', "grid", "letters or marks"),
    (HERE + "accuracy_m = 0", "accuracy_m", "at least 0.5"),
    (HERE + "accuracy_m = 5000", "accuracy_m", "at most 100"),
    (HERE + 'accuracy_m = "good"', "accuracy_m", "A number is needed"),
    (HERE + "heading_deg = 118", "bearings", "true or magnetic"),
    (HERE + "sector_bearings_deg = [35, 247]", "bearings", "true or magnetic"),
    (HERE + 'bearings = "compass"', "bearings", "'true' or 'magnetic'"),
    (HERE + 'bearings = "true"\nheading_deg = 361', "heading_deg", "at most 360"),
    (HERE + 'bearings = "true"\nheading_deg = -10', "heading_deg", "at least 0"),
    (HERE + 'bearings = "true"\nheading_deg = true', "heading_deg", "not yes or no"),
    (HERE + 'bearings = "true"\nheading_deg = "south"', "heading_deg", "A number is needed"),
    (HERE + 'bearings = "true"\nheading_deg = nan', "heading_deg", "not NaN"),
    (HERE + 'bearings = "true"\nsector_bearings_deg = [35, 447]', "sector_bearings_deg[2]", "at most 360"),
    (HERE + f'bearings = "true"\nsector_bearings_deg = {[1] * 13}', "sector_bearings_deg", "At most 12"),
    (HERE + "mast_stop_m = 0", "mast_stop_m", "more than 0"),
    (HERE + "mast_stop_m = 800", "mast_stop_m", "at most 150"),
    (HERE + "mast_stop_m = 8\nmast_stop_ft = 26", "mast_stop_ft", "given twice"),
    (HERE + f"mast_stop_m = 1{'0' * 30}", "mast_stop_m", "too large"),
    (HERE + 'on_air_at = "2:40 pm"', "on_air_at", "14:35"),
    (HERE + 'on_air_at = "25:10"', "on_air_at", "14:35"),
    (HERE + "on_air_at = 1440", "on_air_at", "14:35"),
    (HERE + "on_air_at = 2026-06-03T14:40:00", "on_air_at", "offset"),
    (HERE + "on_air_at = 1826-06-03T14:40:00-06:00", "on_air_at", "year"),
    (HERE + "on_air_at = 2026-06-03", "on_air_at", "14:35"),
    (HERE + "fuel_pct = 150", "fuel_pct", "at most 100"),
    (HERE + "fuel_pct = -1", "fuel_pct", "at least 0"),
    (HERE + "meter_h = -4", "meter_h", "at least 0"),
    (HERE + "photos = [1, 2]", "photos[1]", "Text in quotes"),
    (HERE + 'photos = [""]', "photos[1]", "not nothing"),
    (HERE + f"photos = {['a'] * 61}", "photos", "At most 60"),
    (HERE + f'different = "{"x" * 4001}"', "different", "at most 4000 letters"),
    (HERE + "levels = 3", "levels", "list is needed"),
    (HERE + "[[levels]]\nrsrp_dbm = -98", "levels[1].point", "missing"),
    (HERE + '[[levels]]\npoint = "Camp"', "levels[1]", "neither rsrp_dbm nor served"),
    (HERE + '[[levels]]\npoint = "Camp"\nrsrp_dbm = 98', "levels[1].rsrp_dbm", "at most -31"),
    (HERE + '[[levels]]\npoint = "Camp"\nrsrp_dbm = -300', "levels[1].rsrp_dbm", "at least -156"),
    (HERE + '[[levels]]\npoint = "Camp"\nserved = "perhaps"', "levels[1].served", "true or false"),
    (HERE + '[[levels]]\npoint = "Camp"\nserved = true\n[[levels]]\npoint = "camp"\nserved = false', "levels", "twice"),
]


@pytest.mark.parametrize(("text", "field", "words"), BAD, ids=range(len(BAD)))
def test_a_report_that_cannot_be_right_is_refused_with_file_field_and_remedy(tmp_path, text, field, words):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    error = caught.value
    assert words in str(error), error
    assert error.file.endswith("REPORT.toml")
    assert (error.field or "") == field
    assert len(error.remedy) > 10


def test_what_is_no_file_of_a_report_is_said(tmp_path):
    (tmp_path / "r.toml").write_bytes(b"\xff\xfe\x00")
    for path, words in ((tmp_path, "a folder"), (tmp_path / "none.toml", "none.toml"), (tmp_path / "r.toml", "UTF-8")):
        with pytest.raises(InputError, match=words):
            load_report(path)
    (tmp_path / "l.json").write_text("[1, 2]")
    with pytest.raises(InputError, match="table of fields"):
        load_report(tmp_path / "l.json")
    with pytest.raises(InputError, match="table of fields"):
        report_from_dict(None)


def test_the_guide_names_every_field_and_its_example_is_a_report():
    text = page("arrived")
    (block,) = re.findall(r"```text\n(.*?)```", text, re.S)
    assert report_from_dict(tomllib.loads(block)).mast_stop_ft == 26
    ticked = set(re.findall(r"`([a-z_]+)`", text))
    assert {*Report.model_fields, *Level.model_fields} <= ticked
    assert f"{LEAST_RSRP_DBM:g} to {MOST_RSRP_DBM:g}" in text
