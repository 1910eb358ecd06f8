"""A trailer that stands, against its plan: each figure recomputed by other code, each misfit of a report refused."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pymap3d
import pytest
from pymap3d.vincenty import vdist
from pypdf import PdfReader
from pyproj import Geod, Transformer

from siteplanner import explain
from siteplanner.cli import app, run
from siteplanner.errors import InputError, OutputError
from siteplanner.mission.report import report_from_dict, report_text
from siteplanner.outputs import as_built as as_built_files
from siteplanner.outputs.as_built import FILES, write_as_built
from siteplanner.outputs.map.map import map_html
from siteplanner.outputs.sheets.briefing import briefing_text
from siteplanner.outputs.sheets.printing import sheet_content, sheet_pdf
from siteplanner.outputs.write import WRITERS, json_text
from siteplanner.planning.plan.arrived import arrived
from siteplanner.planning.plan.as_built import paired
from siteplanner.planning.plan.judged_again import Again
from siteplanner.planning.plan.saved import decoded, encoded
from siteplanner.planning.site.magnetic import day_of, magnetic
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.telling.as_built_rows import as_built_lines
from siteplanner.planning.telling.record import plan_record
from tests.planning.conftest import at

WGS84 = Geod(ellps="WGS84")
GEOSTATIONARY_M = 35_786_000.0  # above the equator; ITU-R S.484-3 takes an orbit of 42,164 km radius
OUT = Transformer.from_crs(32612, 4326, always_xy=True)
DISPATCH = "2026-06-03T04:40:00-06:00"


@pytest.fixture(scope="module")
def record(valley_plan):
    """The plan as its plan.json says it, with a dispatch time, so that there are minutes to be off."""
    made = json.loads(json_text(plan_record(valley_plan)))
    made["spots"][0]["timeline"]["dispatch"] = DISPATCH
    return made


@pytest.fixture(scope="module")
def again(valley_plan):
    return Again(valley_plan.judge, valley_plan.inputs, valley_plan.findings, ())


def place(x: float, y: float) -> str:
    longitude, latitude = OUT.transform(*at(x, y))
    return f"{latitude:.6f}, {longitude:.6f}"


def stands(again, record, **fields):
    return arrived(again, record, report_from_dict(fields), Stages(), "plan.json")


@pytest.fixture(scope="module")
def moved(again, record):
    """40 m off toward 060 true, turned by 12 degrees, both sectors by 30, magnetic, on a lower stop."""
    spot = record["spots"][0]
    longitude, latitude, _ = WGS84.fwd(spot["longitude"], spot["latitude"], 60.0, 40.0)
    turn = spot["magnetic"]["declination_deg"]
    return stands(
        again,
        record,
        coordinates=f"{latitude:.6f}, {longitude:.6f}",
        bearings="magnetic",
        heading_deg=(spot["ground"]["heading_deg"] - turn + 12) % 360,
        mast_stop_m=8.0,
        sector_bearings_deg=[(b - turn + 30) % 360 for b in spot["coverage"]["sector_bearings_deg"]],
        arrived_at="05:10",
        locked_at="05:31",
        on_air_at="05:52",
        levels=[{"point": "camp", "rsrp_dbm": -101.0}],
    )


def test_distance_and_bearing_are_those_of_the_ellipsoid(moved, record):
    spot, here = record["spots"][0], moved.spots[0].spot
    made = moved.as_built
    metres, bearing = vdist(spot["latitude"], spot["longitude"], here.latitude, here.longitude)
    assert made.distance_m == pytest.approx(float(metres), abs=0.01)
    assert made.distance_m == pytest.approx(40.0, abs=0.15)  # the sixth decimal is 0.1 m
    assert made.bearing_deg == pytest.approx(float(bearing), abs=0.01)
    assert made.doubt_m == pytest.approx(np.hypot(5.0, 111_320e-6 / 2), abs=1e-3)


def test_heading_stop_bearings_and_minutes_are_off_by_what_was_reported(moved, record):
    made, spot = moved.as_built, record["spots"][0]
    assert made.heading_off_deg == pytest.approx(12.0, abs=0.02)  # the declination of two places 40 m apart
    assert made.stop_off_m == pytest.approx(8.0 - spot["coverage"]["mast_height_m"])
    assert [s.off_deg for s in made.sectors] == pytest.approx([30.0, 30.0], abs=0.02)
    assert made.assumed == ()
    parts = spot["on_air"]["parts"][-2:]
    took = {t.what: t for t in made.times}
    assert took["set_up"].took_min == 42.0
    assert took["set_up"].planned.mean_min == pytest.approx(sum((p[1] + 4 * p[2] + p[3]) / 6 for p in parts))
    assert took["on_air"].took_min == 72.0  # 04:40 to 05:52
    assert took["on_air"].off_min == pytest.approx(72.0 - spot["on_air"]["mean_min"])
    e = moved.spots[0].evaluation
    assert e.coverage.mast_height_m == 8.0
    assert e.ground.heading_deg == pytest.approx((spot["ground"]["heading_deg"] + 12) % 360, abs=0.02)


def test_look_angles_are_those_of_a_satellite_over_the_equator(moved):
    (look,) = moved.spots[0].evaluation.sky
    here = moved.spots[0].spot
    azimuth, elevation, _ = pymap3d.geodetic2aer(
        0.0, look.satellite_longitude_deg, GEOSTATIONARY_M, here.latitude, here.longitude, here.elevation_m
    )
    assert look.azimuth_deg == pytest.approx(float(azimuth), abs=0.01)
    assert look.elevation_deg == pytest.approx(float(elevation), abs=0.02)


def test_the_place_is_judged_as_why_here_judges_it(moved, valley_plan):
    here = moved.spots[0].spot
    asked = explain(valley_plan, here.latitude, here.longitude).evaluation
    e = moved.spots[0].evaluation
    assert e.ground.slope_deg == asked.ground.slope_deg
    assert e.line.distance_m == asked.line.distance_m
    assert [k.margin_deg for k in e.sky] == [k.margin_deg for k in asked.sky]
    assert {b.code for b in e.failed} == {b.code for b in asked.failed}


def test_service_is_that_of_the_bearings_as_they_point(moved, again, record, valley_plan):
    c, area = moved.spots[0].evaluation.coverage, valley_plan.area
    assert moved.as_built.share == pytest.approx(float(c.probability @ area.weight), abs=1e-4)
    assert moved.as_built.best_share >= moved.as_built.share
    # turned away from the area they serve less, and the words say what turning them back would give
    spot = record["spots"][0]
    away = stands(
        again, record, coordinates=f"{spot['latitude']:.6f}, {spot['longitude']:.6f}", bearings="true",
        sector_bearings_deg=[180.0, 240.0],
    )  # fmt: skip
    assert away.as_built.best_share == pytest.approx(spot["coverage"]["share"], abs=1e-3)
    point = away.as_built.points[0]
    assert point.now < moved.as_built.points[0].now or point.expected_dbm < moved.as_built.points[0].expected_dbm - 10
    assert away.as_built.assumed == ("heading", "stop")


def test_at_the_planned_place_nothing_differs(again, record):
    spot = record["spots"][0]
    made = stands(
        again, record, coordinates=f"{spot['latitude']:.7f}, {spot['longitude']:.7f}", bearings="true",
        heading_deg=spot["ground"]["heading_deg"], mast_stop_m=spot["coverage"]["mast_height_m"],
        sector_bearings_deg=spot["coverage"]["sector_bearings_deg"],
    )  # fmt: skip
    a = made.as_built
    assert a.distance_m < 0.02
    assert a.heading_off_deg == pytest.approx(0, abs=1e-9)
    assert a.share == pytest.approx(spot["coverage"]["share"], abs=1e-6)
    assert [p.now for p in a.points] == pytest.approx([p.planned for p in a.points], abs=1e-6)
    jacks = made.spots[0].evaluation.ground.jack_differences_m
    assert jacks == pytest.approx(spot["ground"]["jack_differences_m"])
    assert "stands at spot A" in as_built_lines(a, made.spots[0].evaluation)[0]


def test_a_wire_that_is_too_near_now_is_the_first_thing_said(again, record):
    made = stands(again, record, coordinates=place(1200, 1030))
    line = next(b for b in made.as_built.broken if b.code == "power_line")
    assert line.figure == pytest.approx(30.0, abs=0.1)  # the line lies at y = 1000
    assert made.as_built.broken[0].code == "power_line"
    assert made.spots[0].evaluation.findings[0].severity == "warning"
    html, text = map_html(made), briefing_text(made)
    record_now = json.loads(json_text(plan_record(made)))
    for told in (
        html,
        text,
        record_now["recommendation"],
        *(str(sheet_content(made, k)) for k in ("commander", "crew")),
    ):
        assert "AS BUILT" in told
        assert "verhead line within reach of the mast" in told
    assert record_now["as_built"]["broken"][0]["limit"] == "power_line"
    assert "Nothing in the data stands against" not in html + text
    assert "Park at" not in html + text


def test_ground_within_the_doubt_of_the_place_is_said_though_no_limit_is_broken(again, record):
    # the keep-out area ends at x = 1200; 4 m beside it, by a phone good to 12 m
    made = stands(again, record, coordinates=place(1212, 870), accuracy_m=12.0).as_built
    assert "keep_out" not in {b.code for b in made.broken}
    assert "keep_out" in made.near
    sure = stands(again, record, coordinates=place(1212, 870), accuracy_m=0.5).as_built
    assert "keep_out" not in sure.near


def test_sectors_are_paired_so_that_they_turn_least():
    assert [(s.planned_deg, s.built_deg) for s in paired((350.0, 60.0), (64.0, 2.0))] == [(350.0, 2.0), (60.0, 64.0)]
    assert paired((350.0,), (1.0, 2.0)) == ()


def test_it_is_kept_and_opened_again(moved):
    text, arrays = encoded(moved)
    back = decoded(text, arrays)
    assert back.as_built.report == moved.as_built.report
    assert back.as_built.broken == moved.as_built.broken


MISFITS = [
    ({"spot": "Q"}, "spot", "no listed spot"),
    ({"coordinates": "44.71161, 110.98479"}, "coordinates", "West and south"),
    ({"coordinates": "-44.71161, -110.98479"}, "coordinates", "West and south"),
    ({"coordinates": "45.91161, -110.98479"}, "coordinates", "outside the elevation"),
    ({"grid": "12T WQ 03205 50915"}, "grid", "apart"),
    ({"levels": [{"point": "champ", "served": True}]}, "levels[1].point", "It has camp"),
    ({"mast_stop_m": 30.0}, "mast_stop_m", "highest stop"),
    ({"mast_stop_ft": 80.0}, "mast_stop_ft", "highest stop"),
    ({"bearings": "true", "sector_bearings_deg": [10.0]}, "sector_bearings_deg", "2 sectors"),
    ({"locked_at": "05:31", "on_air_at": "05:12"}, "on_air_at", "before the one"),
    ({"arrived_at": "05:31", "locked_at": "05:12"}, "locked_at", "before the one"),
    ({"on_air_at": "2026-06-03T04:12:00-06:00"}, "on_air_at", "before the one"),
]


@pytest.mark.parametrize(("fields", "field", "words"), MISFITS, ids=range(len(MISFITS)))
def test_a_report_that_does_not_fit_its_plan_is_refused(again, record, fields, field, words):
    with pytest.raises(InputError) as caught:
        stands(again, record, **{"coordinates": "44.71161, -110.98479", **fields})
    assert words in f"{caught.value.what} {caught.value.remedy}"
    assert caught.value.field == field


def test_magnetic_bearings_without_a_model_are_refused(again, record):
    mission = again.judge.study.mission
    late = mission.model_copy(
        update={"times": mission.times.model_copy(update={"dispatch": datetime(2090, 6, 3, tzinfo=UTC)})}
    )
    judge = replace(again.judge, study=replace(again.judge.study, mission=late))
    assert magnetic(44.7, -111.0, 1500.0, day_of(late)).declination_deg is None
    with pytest.raises(InputError, match="no magnetic model") as caught:
        stands(
            replace(again, judge=judge), record, coordinates="44.71161, -110.98479", bearings="magnetic", heading_deg=10
        )
    assert caught.value.field == "bearings"


def test_the_crew_sheet_keeps_to_two_pages_and_says_what_is_off(moved):
    pages = PdfReader(io.BytesIO(sheet_pdf(moved, "crew"))).pages
    assert len(pages) == 2
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert text.count("AS BUILT") >= 2
    assert "As built against the plan" in text
    assert "30° clockwise" in text
    assert "-101 dBm read" in text
    assert "Radio back" not in text.replace("radio back, last part", "")


def test_command_line_writes_what_the_app_says_and_never_over_a_plan(
    moved, record, valley_mission, tmp_path, capsys, monkeypatch
):
    few = ("plan.json", "map.html", "as_built_report.toml")  # the others are looked at above
    monkeypatch.setattr(as_built_files, "FILES", few)
    plan_file, report_file = tmp_path / "plan.json", tmp_path / "REPORT.toml"
    plan_file.write_text(json.dumps(record), "utf-8")
    report_file.write_text(report_text(moved.as_built.report), "utf-8")
    args = ["arrived", str(plan_file), str(report_file), "--mission", valley_mission, "--quiet"]
    assert run(lambda: app(args=[*args, "--json", "--out", str(tmp_path)], standalone_mode=False)) == 2
    assert "would be replaced" in capsys.readouterr().err
    assert json.loads(plan_file.read_text()) == record
    code = run(lambda: app(args=[*args, "--json", "--out", str(tmp_path / "built")], standalone_mode=False))
    told = json.loads(capsys.readouterr().out)
    assert code == (1 if moved.as_built.broken else 0)
    assert told["distance_m"] == pytest.approx(moved.as_built.distance_m)
    assert told["share"]["now"] == pytest.approx(moved.as_built.share, abs=1e-6)
    assert {f.name for f in (tmp_path / "built").iterdir()} >= set(few)
    assert set(FILES) <= set(WRITERS)
    written = json.loads((tmp_path / "built" / "plan.json").read_text())
    assert written["as_built"]["report"]["mast_stop_m"] == 8.0
    assert (tmp_path / "built" / "as_built_report.toml").read_text() == report_text(moved.as_built.report)
    with pytest.raises(OutputError, match="would be replaced"):
        write_as_built(moved, tmp_path)
