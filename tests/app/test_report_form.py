"""What is typed into the form of a report: figures and lines made into its fields, or refused with the field."""

from __future__ import annotations

import pytest

from siteplanner.app import earlier
from siteplanner.app.report_form import level_lines, levels_in, number, numbers
from siteplanner.errors import InputError
from siteplanner.mission.report import report_from_dict, report_text

POINTS = ("Camp", "Road: north end")


def test_lines_of_named_points_are_read_as_they_are_written():
    said = [{"point": "Camp", "rsrp_dbm": -98.5}, {"point": "Road: north end", "served": False}]
    text = level_lines(said, POINTS)
    assert text.splitlines() == ["Camp: -98.5", "Road: north end: no"]
    assert levels_in(text) == said
    assert levels_in(level_lines((), POINTS)) == []
    assert levels_in("Camp: -98 dBm, yes") == [{"point": "Camp", "rsrp_dbm": -98.0, "served": True}]
    with pytest.raises(InputError, match="neither a level nor yes or no"):
        levels_in("Camp: three bars")


def test_figures_are_read_whole_or_refused():
    assert number(" 118° ", "heading_deg") == 118.0
    assert number("", "heading_deg") is None
    assert numbers("035, 247", "sector_bearings_deg") == [35.0, 247.0]
    for text in ("x47", "35 and 247", "1e3"):
        with pytest.raises(InputError, match="not a number") as caught:
            numbers(text, "sector_bearings_deg")
        assert caught.value.field == "sector_bearings_deg"


def test_a_report_is_kept_beside_its_plan_and_a_broken_one_is_no_report(tmp_path):
    report = report_from_dict({"coordinates": "44.65250, -113.05240", "on_air_at": "14:40", "fuel_pct": 80})
    earlier.keep_report(tmp_path, report_text(report))
    assert report_from_dict(earlier.report_of(tmp_path)) == report
    assert [p.name for p in tmp_path.iterdir()] == ["as_built_report.toml"]
    (tmp_path / "as_built_report.toml").write_text("coordinates = ")
    assert earlier.report_of(tmp_path) == {}
