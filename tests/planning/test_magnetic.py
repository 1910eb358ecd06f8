"""Magnetic declination against the official test values of the model; ends of its life and the magnetic poles."""

from __future__ import annotations

import json
import math
from datetime import date

import numpy as np
import pytest

from siteplanner import explain, load_mission, plan
from siteplanner.mission import Layers, Mission, Staging
from siteplanner.outputs.write import json_text
from siteplanner.planning.site.magnetic import day_of, decimal_year, magnetic
from siteplanner.planning.spots.evaluate import judge_sky
from siteplanner.planning.spots.evaluation import Evaluation, Ground
from siteplanner.planning.study.inputs import dish_view
from siteplanner.planning.telling.aiming import both_bearings, compass_words
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import plan_record
from tests.planning.conftest import write_mission
from tests.planning.open_ground import spot_in, study_on

# year, km, latitude, longitude, declination, horizontal field (nT)
REPORT_2025 = [  # World Magnetic Model 2025 report, Table 6 (NOAA file of test values, 12 rows: all of them)
    (2025.0, 0, 80, 0, 1.28, 6523.2),
    (2025.0, 0, 0, 120, -0.16, 39677.9),
    (2025.0, 0, -80, 240, 68.78, 16898.1),
    (2025.0, 100, 80, 0, 0.85, 6216.7),
    (2025.0, 100, 0, 120, -0.15, 37688.7),
    (2025.0, 100, -80, 240, 68.21, 15917.1),
    (2027.5, 0, 80, 0, 2.59, 6507.5),
    (2027.5, 0, 0, 120, -0.24, 39702.0),
    (2027.5, 0, -80, 240, 68.49, 16908.3),
    (2027.5, 100, 80, 0, 2.16, 6201.1),
    (2027.5, 100, 0, 120, -0.23, 37711.8),
    (2027.5, 100, -80, 240, 67.93, 15927.0),
]
REPORT_2020 = [  # World Magnetic Model 2020, NOAA test values: all 12 rows
    (2020.0, 0, 80, 0, -1.28, 6572.0),
    (2020.0, 0, 0, 120, 0.16, 39624.4),
    (2020.0, 0, -80, 240, 69.36, 16853.8),
    (2020.0, 100, 80, 0, -1.70, 6264.5),
    (2020.0, 100, 0, 120, 0.16, 37636.9),
    (2020.0, 100, -80, 240, 68.78, 15875.4),
    (2022.5, 0, 80, 0, 0.01, 6529.9),
    (2022.5, 0, 0, 120, -0.06, 39684.7),
    (2022.5, 0, -80, 240, 69.13, 16885.0),
    (2022.5, 100, 80, 0, -0.41, 6224.2),
    (2022.5, 100, 0, 120, -0.05, 37694.1),
    (2022.5, 100, -80, 240, 68.55, 15904.1),
]
HUNDRED_2025 = [  # NOAA's second file of WMM2025 test values (100 rows): those that could be read in public copies
    (2025.0, 65, 43, 93, 0.50),
    (2025.0, 51, -33, 109, -5.49),
    (2025.0, 39, -59, -8, -15.75),
    (2025.5, 6, -36, -137, 20.28),
    (2025.5, 44, 33, -118, 11.10),
    (2025.5, 8, -66, 17, -33.14),
    (2026.0, 74, -57, 3, -22.51),
    (2026.0, 62, -14, 99, -1.43),
    (2026.5, 14, 0, 80, -3.10),
    (2026.5, 12, 33, -145, 11.96),
    (2027.0, 61, 59, -77, -16.48),
    (2027.0, 37, -66, -5, -17.22),
    (2027.0, 44, -43, -111, 24.31),
    (2027.5, 8, 62, 53, 19.39),
    (2027.5, 73, -72, 95, -102.64),
    (2028.0, 49, 20, 167, 5.10),
    (2028.0, 75, 79, 125, -18.59),
    (2028.5, 28, 54, -120, 15.43),
    (2028.5, 72, -62, 65, -67.87),
    (2029.0, 95, -60, -59, 8.58),
    (2029.0, 38, -76, 49, -64.28),
    (2029.5, 31, 13, -132, 9.04),
    (2029.5, 66, -21, 32, -14.63),
]


@pytest.mark.parametrize(
    ("year", "km", "latitude", "longitude", "declination"),
    [row[:5] for row in (*REPORT_2025, *REPORT_2020)] + HUNDRED_2025,
)
def test_official_values(year, km, latitude, longitude, declination):
    found = magnetic(latitude, longitude, 1000 * km, year)
    assert found.declination_deg == pytest.approx(declination, abs=0.0051)  # half of their last digit
    assert found.model == ("WMM-2020" if year < 2025 else "WMM-2025")
    assert found.valid_from <= year <= found.valid_until == found.valid_from + 5


@pytest.mark.parametrize(("year", "km", "latitude", "longitude", "declination", "field_nt"), REPORT_2025)
def test_uncertainty_follows_the_models_own_rule(year, km, latitude, longitude, declination, field_nt):
    """World Magnetic Model 2025 report, error model: sqrt(0.26^2 + (5417 / H)^2) degrees."""
    found = magnetic(latitude, longitude, 1000 * km, year)
    assert found.uncertainty_deg == pytest.approx(math.hypot(0.26, 5417 / field_nt), abs=1e-4)


@pytest.mark.parametrize("year", [2019.9, 2030.01, date(2031, 3, 1)])
def test_outside_the_models_years_there_is_a_finding_and_no_value(year):
    found = magnetic(45.0, -113.0, 1500, year)
    assert found.declination_deg is None
    assert found.finding.code == "magnetic_model_expired"
    assert "WMM-2025: 2025 to 2030" in said(found.finding).message


def test_the_last_day_of_the_models_life_still_has_a_value():
    assert magnetic(45.0, -113.0, 1500, 2030.0).finding is None
    last = magnetic(45.0, -113.0, 1500, date(2029, 12, 31))
    assert last.declination_deg == pytest.approx(magnetic(45.0, -113.0, 1500, 2030.0).declination_deg, abs=0.01)


def test_near_the_magnetic_pole_there_is_a_finding_and_no_value():
    """NOAA, WMM2025 file of 100, first row: 89 N 121 W at 28 km in 2025 has H 1504.3 nT, inside the blackout zone."""
    found = magnetic(89.0, -121.0, 28_000, 2025.0)
    assert found.declination_deg is None
    assert found.finding.code == "magnetic_blackout"
    assert "1504 nT" in said(found.finding).message


def test_in_the_caution_zone_the_value_carries_a_finding():
    found = magnetic(82.0, -60.0, 0, 2026.0)
    assert found.declination_deg is not None
    assert found.finding.code == "magnetic_caution"
    assert found.uncertainty_deg > 0.9
    assert magnetic(80.0, 0.0, 0.0, 2025.0).finding is None  # 6,523 nT


def test_an_unknown_height_costs_no_value():
    assert magnetic(45.0, -113.0, math.nan, 2026.0) == magnetic(45.0, -113.0, 0.0, 2026.0)
    with pytest.raises(ValueError, match="not a place"):
        magnetic(91.0, 0.0, 0.0, 2026.0)


def test_the_day_is_that_of_dispatch_in_utc():
    mission = Mission(
        layers=Layers(elevation=("a.tif",), incident_area="b", roads="c"),
        staging=Staging(latitude=45, longitude=-113),
        times={"dispatch": "2027-12-31T20:00:00-06:00"},
    )
    assert day_of(mission) == date(2028, 1, 1)
    assert decimal_year(day_of(mission)) == 2028.0
    assert decimal_year(date(2028, 7, 2)) == 2028 + 183 / 366  # a leap year
    assert day_of(mission.model_copy(update={"times": type(mission.times)()})).year >= 2026


def evaluation_with(compass):
    study = study_on(np.zeros((41, 41)))
    spot = spot_in(study, 20, 20)
    looks = judge_sky(dish_view(study), spot, (20, 20), compass.declination_deg)
    return Evaluation(spot, Ground(1, 90.0, 1, 1, {}, 1, 10), looks, None, None, None, magnetic=compass)


def test_magnetic_is_true_less_declination_and_the_words_name_the_model():
    compass = magnetic(45.0, -111.0, 0.0, date(2026, 6, 3))
    e = evaluation_with(compass)
    assert e.sky[0].azimuth_magnetic_deg == pytest.approx(e.sky[0].azimuth_deg - compass.declination_deg)
    assert both_bearings(90.0, e) == f"090° true ({90 - compass.declination_deg:03.0f}° magnetic)"
    assert compass_words(e) == (
        f"Magnetic = true - {compass.declination_deg:.1f}° (World Magnetic Model 2025, good from 2025 to 2030, used "
        "for 2026-06-03)."
    )


def test_without_a_value_bearings_are_true_only_and_it_is_said():
    e = evaluation_with(magnetic(45.0, -111.0, 0.0, date(2031, 6, 3)))
    assert [look.azimuth_magnetic_deg for look in e.sky] == [None]
    assert both_bearings(90.0, e) == "090° true (magnetic not known)"
    assert compass_words(e).startswith("Magnetic declination not known: bearings are true only. Magnetic bearings are")


def test_a_plan_after_the_models_life_says_so_once(tmp_path):
    made = plan(
        load_mission(
            write_mission(tmp_path / "m", times="dispatch = 2031-06-01T08:00:00-07:00", search="refined_spots = 0")
        )
    )
    assert [f.code for f in made.findings].count("magnetic_model_expired") == 1
    record = json.loads(json_text(plan_record(made)))
    assert record["spots"][0]["sky"][0]["azimuth_magnetic_deg"] is None
    assert record["spots"][0]["magnetic"]["declination_deg"] is None
    found = explain(made, made.best.spot.latitude, made.best.spot.longitude)
    assert [f.code for f in found.findings] == ["magnetic_model_expired"]
