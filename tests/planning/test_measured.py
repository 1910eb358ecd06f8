"""Readings held against a plan of the valley: what they change, what they do not, and what is refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
from scipy.special import ndtr
from typer.testing import CliRunner

from siteplanner.app.labels import Units
from siteplanner.app.readings import page, plan_again
from siteplanner.app.session import Work
from siteplanner.cli.commands import app
from siteplanner.core.link import budget
from siteplanner.data.readings import read_readings
from siteplanner.errors import InputError
from siteplanner.mission import load_mission
from siteplanner.mission.links import link_parameters
from siteplanner.mission.report import Level
from siteplanner.outputs.measured import residuals_csv, with_readings
from siteplanner.outputs.sheets.measured import measured_content, measured_pdf
from siteplanner.outputs.write import json_text
from siteplanner.planning.choose.shared_errors import radio_spread_db
from siteplanner.planning.plan.level_readings import level_readings, with_levels
from siteplanner.planning.plan.measured import known_now, measured, standing_at, standing_of
from siteplanner.planning.plan.redrawn import redrawn
from siteplanner.planning.spots.levels import levels_of, ways_to
from siteplanner.planning.study.inputs import coverage_inputs
from siteplanner.planning.telling.measured import (
    headline,
    measured_lines,
    measured_record,
    rank_line,
    walk_lines,
    warning_lines,
)
from siteplanner.planning.telling.record import plan_record

WEAK = -117.0  # dBm


@pytest.fixture(scope="module")
def held(valley_plan):
    """(study, plan.json of the plan as read back, where its first spot stands). The radio is a weak one, so that the
    edge of service lies in the valley; spots and names are those of the plan."""
    record = json.loads(json_text(plan_record(valley_plan, None)))
    mission = valley_plan.mission
    weak = mission.model_copy(
        update={"radio": mission.radio.model_copy(update={"tx_power_dbm": -5.0, "min_rsrp_dbm": WEAK})}
    )
    study = replace(valley_plan.judge.study, mission=weak)
    return study, record, standing_of(record, study, None, "plan.json")


@pytest.fixture(scope="module")
def truth(held):
    """Predicted RSRP at cells of the area, with their places: path by path, budget added by hand."""
    study, _, standing = held
    inputs = coverage_inputs(study)
    pick = np.linspace(0, len(study.area_cells.rows) - 1, 40).astype(int)
    rows, cols = study.area_cells.rows[pick], study.area_cells.cols[pick]
    way = ways_to(
        inputs, standing.spot, standing.spot.cell, standing.mast_height_m, standing.sector_bearings_deg,
        rows.astype(float), cols.astype(float), exact=True,
    )  # fmt: skip
    params = link_parameters(study.mission.radio)
    level = [
        next(line.value for line in budget(params, loss, gain) if line.item == "RSRP at the handset")
        for loss, gain in zip(way.loss_db.tolist(), way.best_db.tolist(), strict=True)
    ]
    x, y = study.elevation.xy(rows, cols)
    lon, lat = study.elevation.lonlat(x, y)
    return np.asarray(lon), np.asarray(lat), np.array(level)


@pytest.fixture
def campaign(tmp_path, held, truth):
    """campaign(off in dB, spread, ...) -> what readings so far off say."""

    def read(off=0.0, spread=0.0, count=40, wild=None, served=False, head="lon,lat,rsrp", name="r.csv", more=""):
        lon, lat, level = (v[:count] for v in truth)
        level = level + off + spread * np.random.default_rng(4).standard_normal(len(level))
        if wild is not None:
            level[0] = wild
        told = [f"{v:.1f}" for v in level]
        if served:
            head, told = "lon,lat,served", ["yes" if v > WEAK else "no" for v in level]
        lines = [f"{a:.7f},{b:.7f},{v}{more}" for a, b, v in zip(lon, lat, told, strict=True)]
        path = tmp_path / name
        path.write_text("\n".join([head, *lines]) + "\n")
        study, _, standing = held
        return measured(study, standing, read_readings(path))

    return read


def test_residuals_are_measured_less_the_budget_by_hand(campaign):
    found = campaign(off=-6.0)
    assert [r.residual_db for r in found.rows] == pytest.approx([-6.0] * 40, abs=0.1)
    assert found.by_distance
    assert all(r.median_db == pytest.approx(-6.0, abs=0.1) for r in found.by_distance)


def test_ten_readings_six_decibels_low(campaign, held):
    """The mean of prior and readings by hand: five deviations of place and instrument."""
    study, *_ = held
    found = campaign(off=-6.0, spread=5.0, count=10)
    prior, radio = radio_spread_db(study.mission), study.mission.radio
    noise = radio.location_sigma_db**2 / found.found.counted + study.mission.doubts.readings_device_db**2
    share = prior**2 / (prior**2 + noise)
    mean = float(np.mean([r.residual_db for r in found.rows]))
    assert found.found.mean_db == pytest.approx(mean * share, abs=1.0)
    assert found.found.spread_db == pytest.approx(prior * math.sqrt(1 - share), rel=0.2)
    assert found.after.radio.measured_offset_db == pytest.approx(found.found.mean_db, abs=0.006)
    assert radio_spread_db(found.after) == pytest.approx(found.found.spread_db, abs=0.01)
    assert found.now.share < found.before.share
    assert "weaker than predicted" in headline(campaign(off=-9.0, spread=2.0))


def test_one_wild_reading_does_not_move_the_map(campaign):
    plain, wild = campaign(off=-3.0, spread=4.0), campaign(off=-3.0, spread=4.0, wild=-60.0)
    assert abs(wild.found.mean_db - plain.found.mean_db) < 0.25
    # the wild one took the place of a good one; a hundredth where 9 in 10 are told from 11 to 67
    assert abs(wild.now.share - plain.now.share) < 0.01 < 0.05 * (plain.now.high - plain.now.low)
    assert len(wild.wild) == 1
    assert not plain.wild
    assert any("1 reading of 40" in line for line in warning_lines(wild))


def test_before_is_what_the_plan_said(held, valley_plan, tmp_path):
    _, _, standing = held
    found = measured(valley_plan.judge.study, standing, _empty(tmp_path))
    assert found.before.share == pytest.approx(valley_plan.best.evaluation.coverage.share, abs=2e-4)
    told = {p.name: p.probability for p in valley_plan.best.evaluation.coverage.must_serve}
    assert {p.name: p.before for p in found.points} == pytest.approx(told, abs=2e-3)


def test_service_yes_and_no_move_it_too(campaign):
    """All say no, among them those at a level that the plan calls served."""
    none = campaign(off=-60.0, served=True)
    assert none.found.mean_db < -3
    assert all(math.isnan(r.residual_db) and r.served is False for r in none.rows)


def test_readings_in_a_vehicle_are_held_against_one(tmp_path, held, truth):
    """3GPP TR 38.901 section 7.4.3.2: 9 dB."""
    study, _, standing = held
    lon, lat, level = (v[:3] for v in truth)
    path = tmp_path / "r.csv"
    lines = [f"{a:.7f},{b:.7f},{v:.1f}" for a, b, v in zip(lon, lat, level, strict=True)]
    path.write_text("\n".join(["lon,lat,rsrp", *lines]))
    out, car = (measured(study, standing, read_readings(path, taken=t)) for t in ("outdoors", "vehicle"))
    assert [a.predicted_dbm - b.predicted_dbm for a, b in zip(out.rows, car.rows, strict=True)] == pytest.approx(
        [9.0] * 3
    )


def _empty(folder):
    path = folder / "none.csv"
    path.write_text("lon,lat,rsrp\n")
    return read_readings(path)


def test_no_readings_change_nothing(held, valley_plan, tmp_path):
    _, record, standing = held
    found = measured(valley_plan.judge.study, standing, _empty(tmp_path))
    assert found.after is found.mission
    assert found.now == found.before
    assert not found.walks
    again = redrawn(found, record, previous=valley_plan.kept)
    was, now = (json_text(_timeless(plan_record(p, None))) for p in (valley_plan, again.plan))
    assert was == now
    assert with_readings(again.plan, found) is again.plan
    assert again.stands_rank == 1
    beside = replace(again, stands_rank=2)  # the trailer stands a little off the spot that is first: not two spots A
    assert "spot A itself is first" in rank_line(beside, found)
    assert "Nothing changes" in measured_lines(found, again)[0]


def test_levels_of_a_report_are_readings(held, valley_plan, tmp_path):
    """The same level, radioed back and written into a table: one fact."""
    study, record, standing = held
    camp = gpd.read_file(study.mission.path("points.gpkg")).to_crs(4326).geometry.iloc[0]
    path = tmp_path / "camp.csv"
    path.write_text(f"lon,lat,rsrp,name\n{camp.x:.8f},{camp.y:.8f},-101.0,camp\n")
    told = level_readings((Level(point="Camp", rsrp_dbm=-101.0),), study)
    one, other = measured(study, standing, read_readings(path)), measured(study, standing, told)
    assert other.found.mean_db == pytest.approx(one.found.mean_db, abs=1e-3)
    assert other.now.share == pytest.approx(one.now.share, abs=1e-5)
    assert other.points[0].read == 1
    report = {"levels": [{"point": "camp", "rsrp_dbm": -101.0, "served": True}, {"point": "camp 2"}]}
    built = {**record, "as_built": {"report": report}}
    both = with_levels(_empty(tmp_path), built, study)
    found = measured(study, standing, both)
    assert [r.name for r in found.rows] == ["camp"]
    # counted once: neither in the same run nor in one from its plan
    assert len(with_levels(both, built, study)) == 1
    assert len(found.after.radio.measured_files) == 2
    later = replace(study, mission=found.after)
    assert len(with_levels(_empty(tmp_path), built, later)) == 0
    for level, told in ((Level(point="depot", rsrp_dbm=-90.0), "no named point 'depot'"),
                        (Level(point="camp", rsrp_dbm=-31.0), "outside what a phone reports")):  # fmt: skip
        with pytest.raises(InputError, match=told):
            level_readings((level,), study)


def _timeless(record):
    # a plan that follows another says where the trailer stands; that is no reading's doing
    return {k: v for k, v in record.items() if k not in ("timings_s", "stands")} | {
        "software": {k: v for k, v in record["software"].items() if k != "created"}
    }


def test_the_ranking_and_the_map_are_made_again(campaign, held, valley_plan):
    study, record, _ = held
    found = campaign(off=-8.0, spread=4.0)
    again = redrawn(found, record, previous=valley_plan.kept)
    # the share of its best spot by other code: margins before the readings, shifted and spread by hand
    best, cells = again.plan.best.evaluation, study.area_cells
    margins = levels_of(
        coverage_inputs(study), best.spot, best.spot.cell, best.coverage.mast_height_m,
        best.coverage.sector_bearings_deg,
    ).margin_db[: len(cells.rows)]  # fmt: skip
    radio = found.after.radio
    spread = math.hypot(radio.location_sigma_db, radio.model_sigma_db)
    by_hand = float((cells.weight * ndtr((margins + radio.measured_offset_db) / spread)).sum())
    assert best.coverage.share == pytest.approx(by_hand, abs=1e-4)
    assert best.coverage.share < 1 - 1e-3
    # who stands at a place keeps its name
    names = {(round(r["x"]), round(r["y"])): r["name"] for r in record["judged"]}
    held_names = {names.get((round(r.spot.x), round(r.spot.y)), r.spot.name): r.spot.name for r in again.plan.judged}
    assert all(a == b for a, b in held_names.items())
    assert len({r.spot.name for r in again.plan.judged}) == len(again.plan.judged)
    content = measured_content(found, again)
    assert content["figures"]
    assert content["classes"]
    assert len(content["readings"]) == 14
    assert measured_pdf(found, again).startswith(b"%PDF")
    frame = with_readings(again.plan, found).scene.overlays["readings"]
    assert len(frame) == 40
    assert "predicted" in frame["name"].iloc[0]
    record_now = measured_record(found, again)
    assert len(record_now["readings"]) == 40
    assert record_now["stands"]["rank"] == again.stands_rank
    json.loads(json_text(record_now))
    assert residuals_csv(found).count("\r\n") == 41


def test_walks_go_where_nobody_read_and_the_outcome_is_open(campaign, held):
    _study, *_ = held
    found = campaign(off=-12.0, spread=4.0, count=6)
    lines = walk_lines(found)
    assert len(lines) == len(found.walks) <= 5
    for walk in found.walks:
        if walk.point:
            assert 0.15 < walk.chance < 0.85
        else:
            assert 0 < walk.share <= 1


def test_the_same_readings_are_not_counted_twice(campaign, held):
    study, _, standing = held
    found = campaign(off=-6.0, spread=3.0)
    again, same = replace(study, mission=found.after), _of(found)
    with pytest.raises(InputError, match="in this plan already"):
        measured(again, standing, same)


def _of(found):
    from siteplanner.data.readings import Readings

    nothing = np.zeros(0)
    return Readings(
        "r.csv", found.after.radio.measured_files[-1], nothing, nothing, nothing, (), nothing, nothing, nothing,
        (), (), (), (), nothing,
    )  # fmt: skip


def test_more_readings_go_on_from_there(campaign, held):
    _study, *_ = held
    found = campaign(off=-6.0, spread=3.0)
    again = known_now(found.after, replace(found.found, mean_db=-1.0, prior_db=2.0, spread_db=1.0), "0" * 64)
    assert again.radio.measured_offset_db == pytest.approx(found.after.radio.measured_offset_db - 1.0)
    assert again.radio.model_sigma_db == pytest.approx(found.after.radio.model_sigma_db / 2, abs=0.01)
    assert len(again.radio.measured_files) == 2


BAD = {
    "RSSI": ({"off": 27.8}, "RSSI"),
    "another channel": ({"head": "lon,lat,rsrp,frequency_mhz", "more": ",1840"}, "was read at 1840 MHz"),
}


@pytest.mark.parametrize("kind", BAD)
def test_levels_of_something_else_are_refused(campaign, kind):
    how, words = BAD[kind]
    with pytest.raises(InputError, match=words):
        campaign(**how)


@pytest.mark.parametrize(
    ("text", "words"),
    [("lon,lat,rsrp\n-100,44,-98\n", "far outside"), ("lon,lat,rsrp\n{lat},{lon},-98\n", "far outside|not a place")],
)
def test_places_far_outside_are_refused(tmp_path, held, truth, text, words):
    study, _, standing = held
    path = tmp_path / "r.csv"
    path.write_text(text.format(lon=truth[0][0], lat=truth[1][0]))
    with pytest.raises(InputError, match=words):
        measured(study, standing, read_readings(path))


def test_a_spot_that_is_none_and_one_that_is_named(held, valley_plan):
    study, record, _standing = held
    with pytest.raises(InputError, match="no spot 'ZZ'"):
        standing_of(record, study, "ZZ", "plan.json")
    second = standing_of(record, study, valley_plan.judged[1].spot.name, "plan.json")
    assert second.spot.key == pytest.approx(valley_plan.judged[1].spot.key, abs=0.05)
    with pytest.raises(InputError, match="no elevation"):
        standing_at(study, "far", 10.0, 10.0, 10.0, (0.0,))


def test_a_budget_holds_what_was_measured(valley_mission):
    radio = load_mission(valley_mission).radio
    plain = budget(link_parameters(radio), 120.0, 0.0)
    off = budget(link_parameters(radio.model_copy(update={"measured_offset_db": -4.5})), 120.0, 0.0)
    assert off[-1].value == pytest.approx(plain[-1].value - 4.5)
    assert [line.item for line in off if line.item not in {p.item for p in plain}] == [
        "measured here against predicted"
    ] * 2


def test_the_app_shows_them_and_plans_again_with_the_names(campaign, valley_plan):
    found = campaign(off=-9.0, spread=2.0)
    html = page(found, Units())
    assert "weaker than predicted" in html
    assert "Measured less predicted" in html
    work = Work(
        "token", base=found.mission.base, draft={"radio": {"sectors": 2}, "units": [{"name": "1", "radio": {}}]}
    )
    called = []
    work.begin_plan = lambda mission, names=None: called.append((mission, names))
    work.draft |= {k: found.mission.parameters()[k] for k in ("name", "layers", "staging")}
    plan_again(work, valley_plan, found)
    (mission, names), radio = called[0], found.after.radio
    assert mission.radio.measured_offset_db == radio.measured_offset_db == mission.units[0].radio.measured_offset_db
    assert mission.radio.measured_files == radio.measured_files
    assert mission.radio.sectors == 2
    assert mission.doubts.season_db == found.after.doubts.season_db
    assert names[valley_plan.best.spot.key] == valley_plan.best.spot.name


def test_names_from_a_file_stay_text(campaign):
    found = campaign(head="lon,lat,rsrp,name", more=",<b>x</b>=1", count=3)
    assert "<b>x" not in page(found, Units())
    assert "'=" not in residuals_csv(found)
    assert "<b>x</b>=1" in residuals_csv(found)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["none.csv"], "no such file"),
        (["r.csv", "--on-air", "noon"], "--on-air"),
        (["r.csv", "--taken", "boat"], "boat"),
    ],
)
def test_the_command_refuses_in_words(held, valley_mission, tmp_path, args, words):
    file = tmp_path / "plan.json"
    file.write_text(json_text(held[1]))
    (tmp_path / "r.csv").write_text("lon,lat,rsrp\n-110.97,44.71,-98\n")
    how = [
        "measured",
        str(file),
        str(tmp_path / args[0]),
        *args[1:],
        "--mission",
        valley_mission,
        "--out",
        str(tmp_path),
    ]
    with pytest.raises(InputError) as told:
        CliRunner().invoke(app, how, catch_exceptions=False)
    assert words in str(told.value).lower()
    assert told.value.remedy
