"""`siteplanner new`: a folder of somebody's files becomes a mission that says why each file was taken for what."""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from shapely.geometry import LineString, Point, box

from siteplanner.app.first_mission import look_over, text_of
from siteplanner.app.intake import look_at
from siteplanner.cli import app, run
from siteplanner.demo import SAMPLES, sample_mission
from siteplanner.mission import load_mission
from siteplanner.mission.fields import fields

EAST, NORTH = 500_000.0, 4_900_000.0


def shown(capsys, *args: str) -> tuple[int, str, str]:
    code = run(lambda: app(args=[*args], standalone_mode=False))
    held = capsys.readouterr()
    return code, held.out, held.err


def raster(path: Path, crs: str | None = "EPSG:32612", unit: str | None = None) -> None:
    values = np.linspace(900, 950, 80 * 80, dtype=np.float32).reshape(80, 80)
    with rasterio.open(
        path, "w", driver="GTiff", width=80, height=80, count=1, dtype="float32", crs=crs,
        transform=from_origin(EAST, NORTH, 50, 50),
    ) as sink:  # fmt: skip
        sink.write(values, 1)
        if unit:
            sink.units = [unit]


def lines(path: Path, layer: str | None = None, **columns: list) -> None:
    count = len(next(iter(columns.values())))
    drawn = [
        LineString([(EAST + 200, NORTH - 500 * (n + 1)), (EAST + 3800, NORTH - 500 * (n + 1))]) for n in range(count)
    ]
    gpd.GeoDataFrame(columns, geometry=drawn, crs=32612).to_file(path, layer=layer)


def area(path: Path, layer: str | None = None) -> None:
    shape = box(EAST + 1000, NORTH - 3000, EAST + 3000, NORTH - 1000)
    gpd.GeoDataFrame({"name": ["A"]}, geometry=[shape], crs=32612).to_file(path, layer=layer)


def uncommented_staging(text: str, latitude: float, longitude: float) -> str:
    """As a user does who follows the lines of the file."""
    text = text.replace("# [staging]", "[staging]").replace('# name = "Yard"', 'name = "Yard"')
    text = re.sub(r"^# latitude = *$", f"latitude = {latitude}", text, flags=re.M)
    return re.sub(r"^# longitude = *$", f"longitude = {longitude}", text, flags=re.M)


@pytest.mark.parametrize("sample", list(SAMPLES))
def test_both_samples_get_a_mission_that_check_takes_once_staging_is_filled_in(sample, tmp_path, capsys):
    own = sample_mission(sample)
    folder = tmp_path / "layers"
    shutil.copytree(own.parent, folder, ignore=shutil.ignore_patterns("mission.toml"))
    code, out, err = shown(capsys, "new", str(folder), "--json")
    assert code == 0, err
    told = json.loads(out)
    assert told["fill_in"] == ["staging"]
    assert all(row["why"] for row in told["layers"])
    assert not [row for row in told["not_used"] if not row["file"].endswith((".md", ".txt"))]

    code, _, err = shown(capsys, "check", told["mission"], "--quiet")
    assert code == 2
    assert "field staging" in err
    assert "where the tow starts" in err

    file = Path(told["mission"])
    start = load_mission(own).staging[0]
    file.write_text(uncommented_staging(file.read_text("utf-8"), start.latitude, start.longitude), "utf-8")
    code, _, err = shown(capsys, "check", str(file), "--quiet")
    assert code == 0, err
    new, given = load_mission(file).layers, load_mission(own).layers
    for name in type(given).model_fields:
        if name not in ("road_columns",):
            assert getattr(new, name) == getattr(given, name), name
    assert new.road_columns.items() <= given.road_columns.items()
    assert ("highway" in given.road_columns) == ("highway" in new.road_columns)


def test_nothing_is_written_over_without_force(tmp_path, capsys):
    area(tmp_path / "area.geojson")
    mission = tmp_path / "mission.toml"
    mission.write_text("mine")
    code, out, err = shown(capsys, "new", str(tmp_path))
    assert (code, out) == (2, "")
    assert "--force" in err
    assert mission.read_text() == "mine"
    assert shown(capsys, "new", str(tmp_path), "--force")[0] == 0
    assert "[layers]" in mission.read_text()
    assert {p.name for p in tmp_path.iterdir()} == {"mission.toml", "area.geojson"}


def test_a_failed_write_leaves_what_was_there(tmp_path, capsys, monkeypatch):
    area(tmp_path / "area.geojson")
    mission = tmp_path / "mission.toml"
    mission.write_text("mine")

    def full(self, *_args, **_kw):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    code, _, err = shown(capsys, "new", str(tmp_path), "--force")
    assert code == 2
    assert "No space left" in err
    assert mission.read_text() == "mine"
    assert {p.name for p in tmp_path.iterdir()} == {"mission.toml", "area.geojson"}


def test_what_is_missing_is_named_and_check_says_so(tmp_path, capsys):
    area(tmp_path / "area.geojson")
    code, out, _ = shown(capsys, "new", str(tmp_path), "--json")
    assert code == 0
    assert json.loads(out)["fill_in"] == ["layers.elevation", "layers.roads", "staging"]
    code, _, err = shown(capsys, "check", str(tmp_path / "mission.toml"))
    assert code == 2
    for field in ("layers.elevation", "layers.roads", "staging"):
        assert field in err


@pytest.mark.parametrize(("folder", "words"), [("nowhere", "no such folder"), ("empty", "no files")])
def test_a_folder_without_layers_is_a_sentence(folder, words, tmp_path, capsys):
    (tmp_path / "empty").mkdir()
    code, out, err = shown(capsys, "new", str(tmp_path / folder))
    assert (code, out) == (2, "")
    assert words in err


def test_every_layer_of_a_file_with_several_is_looked_at(tmp_path):
    """Two areas and a road layer in one file: before, the areas were lost without a word beside the roads."""
    path = tmp_path / "county.gpkg"
    area(path, "incident_area")
    area(path, "flood_hazard")
    lines(path, "centerlines", RDCLASS=["primary", "track"])
    found = {item.path: item.role for item in look_at(path)}
    assert found == {
        "county.gpkg|incident_area": "incident_area",
        "county.gpkg|flood_hazard": "hazards",
        "county.gpkg|centerlines": "roads",
    }


def test_a_staging_layer_is_taken_and_no_placeholder_is_written(tmp_path):
    raster(tmp_path / "dem.tif", unit="m")
    area(tmp_path / "area.geojson")
    lines(tmp_path / "roads.geojson", highway=["primary", "track"])
    yard = gpd.GeoDataFrame({"name": ["East"]}, geometry=[Point(EAST + 300, NORTH - 500)], crs=32612)
    yard.to_file(tmp_path / "yards.geojson")
    text = text_of("x", look_over(tmp_path))
    (tmp_path / "mission.toml").write_text(text)
    mission = load_mission(tmp_path / "mission.toml")
    assert mission.layers.staging == ("yards.geojson",)
    assert "[staging]" not in text


def test_doubts_of_unit_crs_and_columns_are_written_down(tmp_path):
    raster(tmp_path / "dem.tif")
    raster(tmp_path / "lost.tif", crs=None)
    raster(tmp_path / "population.tif")
    area(tmp_path / "area.geojson")
    lines(
        tmp_path / "centerlines.geojson",
        CL=["primary", "tertiary"], RD_NAME=["A", "B"], LOAD_TONS=[3, 9], SURF=["P", "D"],
    )  # fmt: skip
    (tmp_path / "wind.csv").write_text("time,speed\n2026-06-01T00:00:00Z,5\n2026-06-01T01:00:00Z,6\n")
    text = text_of("x", look_over(tmp_path))
    assert "DOUBT: dem.tif does not say the unit of its heights" in text
    assert re.search(r"# - lost\.tif: .*CRS", text)
    assert "FILL IN: what the numbers of people count" in text
    assert "DOUBT: the forecast does not say the unit of its speeds" in text
    assert "CL, RD_NAME, LOAD_TONS, SURF" in text
    held = tomllib.loads(text)["layers"]
    assert held["road_columns"] == {"highway": "CL", "name": "RD_NAME"}  # codes and tons are for somebody who knows
    assert held["roads"] == "centerlines.geojson"
    assert "its values are like primary, tertiary" in text


def test_a_reason_stands_beside_every_guess(tmp_path):
    raster(tmp_path / "tile7.tif", unit="m")
    area(tmp_path / "area.geojson")
    lines(tmp_path / "layer1.geojson", voltage_kv=[110.0, 20.0])
    text = text_of("x", look_over(tmp_path))
    assert "tile7.tif: nothing in its name or columns says more" in text
    assert 'area.geojson: its name holds "area"' in text
    assert 'layer1.geojson: it has a column "voltage_kv"' in text


def test_a_second_area_is_told_and_an_archive_of_rasters_too(tmp_path):
    import zipfile

    area(tmp_path / "area1.geojson")
    area(tmp_path / "area2.geojson")
    raster(tmp_path / "dem.tif", unit="m")
    with zipfile.ZipFile(tmp_path / "tiles.zip", "w") as held:
        held.write(tmp_path / "dem.tif", "dem.tif")
    text = text_of("x", look_over(tmp_path))
    assert "area2.geojson: another file is the incident area already" in text
    assert re.search(r"# - tiles\.zip: \S+", text)


@pytest.mark.parametrize("name", ['a"b', "a\\b", "line\nbreak", "tab\t", "\x7f", "‮gnp", "]\n[sky]", "emoji 📡"])
def test_hostile_names_stay_text(name, tmp_path):
    raster(tmp_path / "dem.tif", unit="m")
    area(tmp_path / "area.geojson")
    text = text_of(name, look_over(tmp_path))
    held = tomllib.loads(text)
    assert held["name"] == name
    assert set(held) == {"name", "layers"}


def test_settings_in_comments_are_the_defaults_that_hold(tmp_path):
    """With every commented setting made live, nothing changes: what the file shows is what the plan would use."""
    raster(tmp_path / "dem.tif", unit="m")
    area(tmp_path / "area.geojson")
    lines(tmp_path / "roads.geojson", highway=["primary", "track"])
    text = uncommented_staging(text_of("x", look_over(tmp_path)), 44.2, -111.0)
    (tmp_path / "mission.toml").write_text(text)
    plain = load_mission(tmp_path / "mission.toml").parameters()
    shown_at = text.index("# What differs from unit to unit")
    live = re.sub(r"^# (\[|\w+ = (?!\.\.\.))", r"\1", text[shown_at:], flags=re.M)
    assert live.count("\n[") >= 4
    (tmp_path / "live.toml").write_text(text[:shown_at] + live)
    assert load_mission(tmp_path / "live.toml").parameters() == plain
    paths = {f.path for f in fields()}
    assert {"rig.mass_kg", "sky.satellites"} <= paths


def test_an_extract_is_roads_by_its_format(tmp_path):
    (tmp_path / "county.osm").write_text('<?xml version="1.0"?><osm version="0.6"></osm>')
    (item,) = look_at(tmp_path / "county.osm")
    assert (item.role, item.clue.by) == ("roads", "format")
    (tmp_path / "false.osm").write_text("no extract")
    (item,) = look_at(tmp_path / "false.osm")
    assert item.problem is not None


def test_the_app_saves_the_same_commented_file_for_a_dropped_folder_under_its_users_names(tmp_path):
    """Files are kept in the app under names that every system takes; the mission goes back to the user's folder."""
    from siteplanner.app import bring
    from siteplanner.app.session import Work

    folder = tmp_path / "ridge fire"
    folder.mkdir()
    raster(folder / "bare earth dem.tif", unit="metre")
    area(folder / "perimeter.gpkg")
    lines(folder / "forest roads.gpkg", highway=["track"])

    class Sent:
        def __init__(self, path):
            self.name, self.content = f"{folder.name}/{path.name}", path.read_bytes()
            self.file_id = self.name

        def getvalue(self):
            return self.content

    work = Work("token")
    bring.take_in(work, [Sent(p) for p in sorted(folder.iterdir())])
    text = bring.commented_mission(work)
    assert text == text_of("ridge fire", look_over(folder))
    assert tomllib.loads(text)["layers"]["elevation"] == "bare earth dem.tif"
    assert "# bare earth dem.tif: its name " in text
