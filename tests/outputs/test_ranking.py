from __future__ import annotations

import csv
import io

import pytest

from siteplanner.outputs.gis.ranking import ranking_csv
from tests.outputs.factory import HOSTILE, make_plan


def _rows(plan):
    return list(csv.DictReader(io.StringIO(ranking_csv(plan), newline="")))


def test_one_row_a_spot_with_units_in_the_names(plan):
    rows = _rows(plan)
    assert [int(row["rank"]) for row in rows] == [1, 2, 3, 4, 5, 6]
    assert [row["name"] for row in rows] == list("ABCDEF")
    first = rows[0]
    assert float(first["dish_azimuth_true_deg"]) == 176.4
    assert float(first["dish_azimuth_magnetic_deg"]) == 168.2
    assert float(first["drive_distance_m"]) == pytest.approx(plan.spots[0].evaluation.access.drive_distance_m, abs=0.5)
    assert float(first["sector_2_true_deg"]) == 215.0
    assert first["sky_clear"] == "yes"
    assert first["dish_skew_positive"] == "clockwise, seen from behind the dish"
    points = [float(value) for name, value in first.items() if name.startswith("points_")]
    assert len(points) == 5
    assert sum(points) == pytest.approx(float(first["score_of_100"]), abs=0.03)  # six figures rounded to 0.01
    bare = {
        "rank",
        "score_of_100",
        "name",
        "origin",
        "grid_reference",
        "satellite",
        "sky_clear",
        "dish_skew_positive",
        "coverage_share",
        "must_serve_lowest_probability",
        "ways_out",
        "one_way_in",
        "limits_not_stated",
        "findings",
        "backhaul",
        "backhaul_choice",
        "backhaul_words",
        "donor",
        "donor_verdict",
    }
    units = ("_m", "_deg", "_km2", "_min", "_pct", "_db", "_share", "_radii")
    assert all(
        name in bare or name.endswith(units) or name.startswith(("points_", "chance_")) for name in first
    )  # shares 0 to 1


def test_lines_end_as_rfc_4180_wants(plan):
    text = ranking_csv(plan)
    assert text.endswith("\r\n")
    assert text.count("\n") == text.count("\r\n") == 1 + len(plan.spots)


def test_hostile_names_stay_one_cell_and_never_a_formula(hostile_plan):
    rows = _rows(make_plan(len(HOSTILE), names=HOSTILE))
    assert len(rows) == len(HOSTILE)
    for row in rows:
        assert None not in row
        for name, value in row.items():
            number = name.startswith("points_") or name.endswith(("_deg", "_m", "_km2", "_pct", "_min", "_radii"))
            assert number or value[:1] not in "=+-@\t\r" or not value, (name, value)
            assert not set(value) & set("\x00\x07\n\r")
    assert rows[8]["name"] == "'=cmd|'/C calc'!A0"


def test_the_backhaul_in_use_and_the_link_that_is_not(plan):
    first, second = _rows(plan)[:2]
    assert (first["backhaul"], first["backhaul_choice"]) == ("geostationary", "1")
    assert (first["donor"], first["donor_verdict"]) == ("Ridge tower", "fails")
    assert float(first["donor_bearing_magnetic_deg"]) == 206.2
    assert first["donor_margin_db"] == ""  # not worked out: the ground blocks
    assert first["backhaul_words"] == (
        "Backhaul: dish to satellite at 103° W, clear by 34.4°; donor link to Ridge tower: blocked at 3.2 km."
    )
    assert second["donor_verdict"] == "unknown"


def test_unknown_is_an_empty_cell():
    row = _rows(make_plan(1, coverage=False))[0]
    assert row["coverage_share"] == row["mast_height_m"] == row["sector_1_true_deg"] == ""


def test_no_spot_gives_a_header_only():
    assert _rows(make_plan(0)) == []
    assert ranking_csv(make_plan(0)).startswith("rank,")
