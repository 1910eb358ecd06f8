"""Where tows start, through the whole plan of the valley made by hand: gaps, shut roads, points from a layer."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import pytest
from shapely.geometry import LineString, Point

from siteplanner import load_mission, plan
from siteplanner.cli import app
from siteplanner.errors import InputError
from siteplanner.mission import mission_from_dict
from siteplanner.planning.limits.ruling import BITS
from siteplanner.planning.telling.directions import step_words
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.words import recommendation
from tests.planning.conftest import CRS, at, write_mission


def lonlat(x, y):
    return gpd.GeoSeries([Point(at(x, y))], crs=CRS).to_crs(4326).iloc[0].coords[0]


def staged(folder, x, y, **changes):
    """The valley with its staging point at (x, y)."""
    lon, lat = lonlat(x, y)
    text = Path(write_mission(folder, **changes)).read_text(encoding="utf-8").splitlines()
    text = [line for line in text if not line.startswith(("latitude", "longitude"))]
    at_table = text.index("[staging]")
    text[at_table + 1 : at_table + 1] = [f"latitude = {lat:.8f}", f"longitude = {lon:.8f}", 'name = "Yard"']
    (folder / "mission.toml").write_text("\n".join(text), encoding="utf-8")
    return folder / "mission.toml"


def test_a_gap_of_some_metres_is_part_of_the_drive_and_told(tmp_path):
    """100 m beside Valley Road at 5 km/h: 72 s; the rest of the drive is that of the valley's own staging point."""
    made = plan(load_mission(staged(tmp_path / "near", 200, 1000)))
    on_road = plan(load_mission(staged(tmp_path / "on", 200, 900)))
    (one,) = [r.evaluation.access for r in made.spots if r.spot.name == "lay-by"]
    (other,) = [r.evaluation.access for r in on_road.spots if r.spot.name == "lay-by"]
    assert one.gap_m == pytest.approx(100, abs=0.1)
    assert one.drive_distance_m == pytest.approx(other.drive_distance_m + 100, abs=0.2)
    assert one.drive_time_s == pytest.approx(other.drive_time_s + 72, abs=0.3)
    assert one.drive_high_s > other.drive_high_s + 72
    assert "100 m over ground that no road data show" in step_words(one.told.steps[0])
    assert "the first 100 m of it off the road" in recommendation(made)
    best, its = (p.best.evaluation.on_air.likely_min for p in (made, on_road))
    assert best == pytest.approx(its + 1.2, abs=0.1)
    assert {f.code for f in made.findings} >= {"staging_off_road"}
    record = plan_record(made)["spots"][0]["access"]
    assert record["gap_m"] == pytest.approx(100, abs=0.1)


@pytest.mark.parametrize(("x", "y", "kind"), [(200, 400, "no_road"), (2000, 500, "shut")])
def test_no_plan_from_a_yard_without_a_road(tmp_path, x, y, kind):
    """500 m from the road; beside Low Lane, which is too low for the rig: once moved 400 m in silence."""
    made = plan(load_mission(staged(tmp_path / "m", x, y)))
    assert made.spots == ()
    (found,) = [f for f in made.findings if f.code == "staging_no_way"]
    assert (found.severity, found.facts["kind"]) == ("check", kind)
    assert said(found).message in recommendation(made)
    if kind == "shut":
        assert "Low Lane" in said(found).message
        assert "2.5 m" in said(found).message
    (lay_by,) = [e for e in made.rejected if e.spot.name == "lay-by"]
    (breach,) = [b for b in lay_by.failed if b.code == "no_way_in"]
    assert breach.kind == "no_start"


def test_spots_are_not_reached_from_a_bridge(tmp_path):
    """A road on a bridge passes the best ground: no cell there has a way in from the deck."""
    folder = tmp_path / "m"
    write_mission(folder)
    names = {"Valley Road": None, "Bench Road": "yes", "Low Lane": None}
    frame = gpd.read_file(folder / "roads.gpkg")
    frame["bridge"] = [names[n] for n in frame["name"]]
    frame.to_file(folder / "roads.gpkg", driver="GPKG")
    made = plan(load_mission(folder / "mission.toml"))
    grid = made.scene.ruling
    assert int(grid.values[grid.cell(*at(1530, 1500))]) & BITS["no_way_in"]
    for ranked in made.judged:
        segment = ranked.evaluation.access.route.access.segment
        assert made.scene.roads.tags.name[segment] != "Bench Road"


@pytest.fixture
def yards(tmp_path):
    folder = tmp_path / "m"
    folder.mkdir()
    shapes = [Point(at(200, 900)), Point(at(2800, 900)), Point(at(1000, 900))]
    gpd.GeoDataFrame(
        {"name": ["West", "East", "Shown"], "rig_available": ["yes", "yes", "no"]}, geometry=shapes, crs=CRS
    ).to_file(folder / "yards.gpkg", driver="GPKG")
    return folder


def test_staging_points_come_as_a_layer(yards):
    text = Path(write_mission(yards)).read_text(encoding="utf-8")
    head, _, tail = text.partition("[staging]")
    rest = tail[tail.index("[sky]") :]
    (yards / "mission.toml").write_text('staging = "yards.gpkg"\n' + head + rest, encoding="utf-8")
    made = plan(load_mission(yards / "mission.toml"))
    assert [s.name for s in made.mission.staging] == ["West", "East", "Shown"]
    assert [s.name for s in made.mission.starts] == ["West", "East"]
    assert made.mission.staging[1].longitude == pytest.approx(lonlat(2800, 900)[0])
    assert {i.role for i in made.inputs} >= {"staging"}
    names = {r.evaluation.access.by_staging[0].name for r in made.spots}
    assert names <= {"West", "East"}
    # the record holds the points, so that it can be read without the layer
    again = mission_from_dict(plan_record(made)["mission"], base=yards)
    assert again.staging == made.mission.staging


def test_a_staging_layer_is_refused_with_its_field(yards):
    frame = gpd.read_file(yards / "yards.gpkg")
    frame["name"] = "Yard"
    frame.to_file(yards / "yards.gpkg", driver="GPKG")
    mission = load_mission(write_mission(yards, layers='staging = "yards.gpkg"'))
    with pytest.raises(InputError) as told:
        plan(mission)
    assert told.value.field == "layers.staging"
    assert "'Yard'" in told.value.what
    lines = gpd.GeoDataFrame(geometry=[LineString([at(0, 0), at(9, 9)])], crs=CRS)
    lines.to_file(yards / "yards.gpkg", driver="GPKG")
    with pytest.raises(InputError) as told:
        plan(mission)
    assert told.value.field == "layers.staging"


def test_no_road_for_the_rig_still_writes_map_and_tables(tmp_path):
    from typer.testing import CliRunner

    mission = write_mission(tmp_path / "m", rig="mass_kg = 40000\nheight_m = 9.5")
    frame = gpd.read_file(tmp_path / "m" / "roads.gpkg")
    frame["maxheight"] = ["9", "4", "2.5"]
    frame.to_file(tmp_path / "m" / "roads.gpkg", driver="GPKG")
    done = CliRunner().invoke(app, ["plan", str(mission), "--out", str(tmp_path / "out"), "--quiet"])
    assert done.exit_code == 1, done.output
    record = json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))
    (about,) = [f for f in record["findings"] if f["code"] == "roads_not_for_rig"]
    assert "height limit 4.40 km" in about["message"]
    assert "height limit 9 m on Valley Road" in about["message"]
    assert (tmp_path / "out" / "map.html").exists()
    assert {row["name"] for row in record["roads"]["not_for_rig"]} == {"Valley Road", "Bench Road", "Low Lane"}
