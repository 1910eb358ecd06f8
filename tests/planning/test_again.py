"""Planned again while the trailer runs: what staying breaks, what a move costs, each figure by other code."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from pypdf import PdfReader
from scipy.stats import beta
from shapely.geometry import Point, box

from siteplanner import load_mission
from siteplanner.errors import OutputError
from siteplanner.mission.report import report_from_dict
from siteplanner.outputs.again import again_content, write_again
from siteplanner.outputs.as_built import refuse_a_plan
from siteplanner.outputs.sheets.printing import content_pdf
from siteplanner.outputs.write import json_text
from siteplanner.planning.plan.again import Again, pays_after, planned_again, units_gone
from siteplanner.planning.site.timeline import off_air
from siteplanner.planning.telling.again import again_lines, again_record, breaks_lines, headline
from siteplanner.planning.telling.record import plan_record
from tests.glossary import told
from tests.planning.conftest import CRS, at


@pytest.fixture(scope="module")
def record(valley_plan):
    return json.loads(json_text(plan_record(valley_plan)))


def changed(valley_mission, tmp_path_factory, **layers):
    """The valley's mission with other layers beside it."""
    folder = tmp_path_factory.mktemp("changed")
    for file in Path(valley_mission).parent.iterdir():
        if file.is_file():
            (folder / file.name).symlink_to(file)
    for file, shapes in layers.items():
        (folder / f"{file}.gpkg").unlink()
        gpd.GeoDataFrame({"name": [file] * len(shapes)}, geometry=shapes, crs=CRS).to_file(folder / f"{file}.gpkg")
    return load_mission(folder / "mission.toml")


@pytest.fixture(scope="module")
def hazard_here(valley_plan, valley_mission, record, tmp_path_factory):
    """The slide has grown over the spot where the trailer stands."""
    x, y = record["spots"][0]["x"], record["spots"][0]["y"]
    mission = changed(valley_mission, tmp_path_factory, hazard=[Point(x, y).buffer(60)])
    return planned_again(record, mission, None, "plan.json", previous=valley_plan.kept)


@pytest.fixture(scope="module")
def area_moved(valley_plan, valley_mission, record, tmp_path_factory):
    """The incident area has moved behind the wall, where little of it is served from the old place."""
    mission = changed(valley_mission, tmp_path_factory, area=[box(*at(100, 20), *at(900, 190))])
    return planned_again(record, mission, None, "plan.json", previous=valley_plan.kept)


def test_a_hazard_over_the_spot_makes_it_move(hazard_here, record):
    again, best = hazard_here, hazard_here.best
    assert again.verdict == "move"
    assert [b.code for b in again.stay.grave] == ["hazard"]
    assert best is not None
    assert best.spot.spot.name != record["spots"][0]["name"]
    assert "Move to spot" in headline(again)
    assert "hazard area" in headline(again)
    # spots that both plans judged are called alike
    old = {(round(r["x"]), round(r["y"])): r["name"] for r in record["judged"]}
    same = [r for r in again.plan.judged if (round(r.spot.x), round(r.spot.y)) in old]
    assert len(same) > 5
    assert all(old[round(r.spot.x), round(r.spot.y)] == r.spot.name for r in same)


def test_what_holds_is_reused(hazard_here):
    taken, all_of = hazard_here.plan.reused["coverage"]
    assert taken > all_of / 2


def test_minutes_off_air_are_a_sum_of_beta_parts(hazard_here, valley_plan):
    off, mission = hazard_here.best.off, valley_plan.mission
    quick, slow = mission.times.take_down_min
    named = {p.name: (p.low_min, p.likely_min, p.high_min) for p in off.parts}
    assert named["Take down, hitch up"] == (quick, (quick + slow) / 2, slow)
    assert named["Set up, level, raise the mast"] == mission.trailer.set_up_min
    assert list(named.values())[-1] == mission.trailer.acquisition_min
    points = np.array(list(named.values()))
    mean = (points[:, 0] + 4 * points[:, 1] + points[:, 2]) / 6
    spread = np.sqrt((mean - points[:, 0]) * (points[:, 2] - mean) / 7)
    alike = np.full((len(points),) * 2, mission.times.parts_alike) + (1 - mission.times.parts_alike) * np.eye(
        len(points)
    )
    low, high = points[:, 0].sum(), points[:, 2].sum()
    m = (mean.sum() - low) / (high - low)
    v = spread @ alike @ spread / (high - low) ** 2
    k = m * (1 - m) / v - 1
    early, late = low + (high - low) * beta(m * k, (1 - m) * k).ppf([0.05, 0.95])
    assert off.mean_min == pytest.approx(mean.sum())
    assert (off.early_min, off.late_min) == pytest.approx((early, late))


def test_the_drive_starts_where_the_trailer_stands(hazard_here, record):
    """From the first spot to the next the road is shorter than from staging to it and back past the first."""
    best = hazard_here.best
    x, y = record["spots"][0]["x"], record["spots"][0]["y"]
    straight = np.hypot(best.spot.spot.x - x, best.spot.spot.y - y)
    access = best.spot.evaluation.access
    way = best.drive_m + access.last_leg_m + record["spots"][0]["access"]["last_leg_m"]
    assert way >= straight - 30  # cells of 10 m at both ends
    assert best.drive_m < access.drive_distance_m + record["spots"][0]["access"]["drive_distance_m"]


def test_an_area_that_moved_is_a_trade(area_moved, record):
    stay, best = area_moved.stay, area_moved.best
    assert not stay.failed
    assert stay.was_share == pytest.approx(record["spots"][0]["coverage"]["share"])
    area, probability = area_moved.plan.area, stay.evaluation.coverage.probability
    assert stay.share == pytest.approx(float(probability @ area.weight), abs=1e-4)
    assert best.gain == pytest.approx(best.share - stay.turned_share)
    # beyond the doubt of both shares, not beyond a flat figure
    assert area_moved.verdict == ("depends" if best.held.low > 0 or best.points_gained else "stay")
    if best.pays_after_min is not None:
        for needed, off in zip(best.pays_after_min, (best.off.early_min, best.off.late_min), strict=True):
            assert (needed - off) * best.share == pytest.approx(needed * stay.turned_share)


def test_moving_never_pays_where_it_serves_no_more(valley_plan):
    off = off_air(valley_plan.mission, 600.0, 60.0)
    assert pays_after(off, 0.5, 0.5) is None
    assert pays_after(off, 0.5, 0.4) is None
    early, late = pays_after(off, 0.4, 0.8)
    assert (early, late) == pytest.approx((2 * off.early_min, 2 * off.late_min))


def test_no_time_is_told_that_pays_back_what_nobody_can_tell_apart(hazard_here, area_moved):
    assert all(m.pays_after_min is None for m in hazard_here.moves)  # it must not stay: nothing to weigh
    for move in area_moved.moves:
        assert (move.pays_after_min is not None) == (move.held.low > 0)


def test_a_report_says_where_it_stands(valley_plan, area_moved, record):
    """40 m off: judged there, not at the planned spot; same mission, so that all is reused."""
    spot = record["spots"][0]
    report = report_from_dict({"coordinates": f"{spot['latitude'] + 0.00036:.6f}, {spot['longitude']:.6f}"})
    kept = area_moved.plan.kept
    again = planned_again(record, area_moved.plan.mission, report, "plan.json", previous=kept)
    here = again.stay.evaluation.spot
    assert again.reported
    assert 35 < np.hypot(here.x - spot["x"], here.y - spot["y"]) < 45
    assert not area_moved.reported
    assert any("not reported" in line for line in breaks_lines(area_moved))


def test_cut_off_and_no_place_are_said(hazard_here):
    nowhere = replace(hazard_here, moves=tuple(replace(m, off=None) for m in hazard_here.moves))
    assert nowhere.verdict == "cut_off"
    assert "no road for the rig is known" in headline(nowhere)
    none = replace(hazard_here, moves=())
    assert none.verdict == "no_place"
    assert "no other spot passes" in headline(none)
    shut = replace(hazard_here.stay, evaluation=replace(hazard_here.stay.evaluation, failed=(), access=None))
    alone: Again = replace(hazard_here, stay=shut)
    assert alone.verdict == "cut_off"
    assert "no fuel" in headline(alone)


def test_a_unit_that_is_lost_is_named(hazard_here, record, valley_mission):
    units = [{"name": "Unit 1"}, {"name": "Unit 2"}]
    before = {**record, "mission": {**record["mission"], "units": units}}
    mission = load_mission(valley_mission)
    mission = type(mission).model_validate({**mission.parameters(), "units": units[:1]})
    assert units_gone(before, mission) == ("Unit 2",)
    lost = replace(hazard_here, units_gone=("Unit 2",))
    assert "No longer in the mission: Unit 2." in breaks_lines(lost)


def test_page_and_record(hazard_here, area_moved, record, tmp_path):
    for again in (hazard_here, area_moved):
        lines = again_lines(again)
        assert not told("again", lines)
        pdf = content_pdf(again_content(again, ["Nothing"]), "again", paper="letter")
        assert len(PdfReader(io.BytesIO(pdf)).pages) == 1
        held = json.loads(json_text(again_record(again)))
        assert held["verdict"] == again.verdict
        assert held["moves"][0]["off_air"]["parts"]
    (tmp_path / "plan.json").write_text("{}")
    with pytest.raises(OutputError):
        write_again(hazard_here, record, tmp_path)
    (tmp_path / "again.json").write_text("{}")
    refuse_a_plan(tmp_path)  # of an earlier run of the same command
