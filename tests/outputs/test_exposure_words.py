"""Distances from antennas, as every output says them: the longer of two sets of limits, rounded up."""

from __future__ import annotations

import math
import sqlite3
from dataclasses import replace

import pytest

from siteplanner.outputs.gis.geopackage import write_geopackage
from siteplanner.outputs.sheets.briefing import briefing
from siteplanner.outputs.sheets.crew import crew_content
from siteplanner.planning.limits.keep_away import antenna_keep_away
from siteplanner.planning.telling.exposure import exposure_line, exposure_rows, keep_m_up
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.safety import antennas_words, dish_words
from siteplanner.planning.telling.units import BOTH, METRIC
from tests.outputs.factory import make_plan


@pytest.fixture(scope="module")
def plan():
    return make_plan()


def with_dish(plan, watts):
    sky = plan.mission.sky.model_copy(update={"transmit_power_w": watts})
    return plan.mission.model_copy(update={"sky": sky})


def test_the_longer_distance_rounded_up(plan):
    rows = antenna_keep_away(plan.mission, 12.0, [0.0, 60.0])
    told = exposure_rows(rows)
    for row, cells in zip(rows, told, strict=True):
        assert row.keep_m == row.icnirp_main_beam_m > row.main_beam_m
        assert cells[1].startswith(f"{math.ceil(row.keep_m * 10) / 10:.1f} m")
        assert cells[2] == "ICNIRP 2020"
    assert exposure_line(rows).count(" m (") == 2


def test_link_and_dish_stand_beside_the_sectors(plan):
    rows = antenna_keep_away(with_dish(plan, 4.0), 12.0, [0.0], link_mhz=5800.0, dish=True)
    assert [cells[0] for cells in exposure_rows(rows)] == [
        "Public",
        "Informed crew",
        "Public, link antenna",
        "Informed crew, link antenna",
        "Public, in the dish's beam",
        "Informed crew, in the dish's beam",
    ]
    where = "180° true"
    assert dish_words(rows, where, METRIC).endswith("in its beam. It moves by itself when it searches.")
    bare = antenna_keep_away(plan.mission, 12.0, [0.0], dish=True)
    assert "how far is not known, its power is not stated" in dish_words(bare, where, METRIC)
    assert "do not stand in front of it" in dish_words(bare, where, METRIC)
    assert exposure_line(()) == antennas_words((), METRIC) == ""


def test_columns_are_rounded_up_too(plan):
    rows = antenna_keep_away(plan.mission, 12.0, [0.0, 60.0])
    rows = (replace(rows[0], icnirp_main_beam_m=3.04), *rows[1:])
    assert keep_m_up(rows, "sector") == 3.1  # rounded to the nearest it was 3.0
    assert keep_m_up(rows, "dish") is None


def test_geopackage_and_plan_json_carry_the_longer_one(plan, tmp_path):
    write_geopackage(plan, tmp_path / "p.gpkg")
    spot = plan_record(plan)["spots"][0]
    public = spot["radio_exposure"][0]
    assert public["keep_m"] == max(public["main_beam_m"], public["icnirp_main_beam_m"])
    with sqlite3.connect(tmp_path / "p.gpkg") as held:
        row = held.execute("select radio_keep_away_public_m, dish_skew_positive from spots where rank = 1").fetchone()
    assert row[0] >= public["keep_m"] > row[0] - 0.1
    assert row[1] == "clockwise, seen from behind the dish"


def test_the_sense_of_the_skew_stands_beside_the_number(plan):
    """It stood on the crew sheet alone."""
    from siteplanner.outputs.map.panel import sky_table

    best = plan.spots[0]
    assert "Skew, + clockwise from behind" in sky_table(best.evaluation, BOTH).replace("&#43;", "+")
    assert "(+ clockwise from behind)" in briefing(plan, "crew", best)
    assert "+ is clockwise" in str(crew_content(plan, best)["look_for"])
    assert {look["skew_positive"] for look in plan_record(plan)["spots"][0]["sky"]} == {
        "clockwise, seen from behind the dish"
    }
