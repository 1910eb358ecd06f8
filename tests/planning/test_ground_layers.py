"""Optional layers of the ground: read and vetted like every other, recorded, refused with field and remedy."""

from __future__ import annotations

import geopandas as gpd
import pytest
from shapely.geometry import LineString, Point, box

from siteplanner import load_mission
from siteplanner.errors import InputError
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.telling.findings import said
from tests.planning.conftest import CRS, at, write_mission


def save(folder, file, shapes, **columns):
    gpd.GeoDataFrame(columns or {"id": range(len(shapes))}, geometry=shapes, crs=CRS).to_file(folder / file)


@pytest.fixture
def folder(tmp_path):
    write_mission(tmp_path, layers='structures = ["s.gpkg", "t.geojson"]\nwater = "w.gpkg"\nsoft_ground = "bog.gpkg"')
    save(tmp_path, "s.gpkg", [box(*at(1700, 950), *at(1720, 960))], name=["barn"])
    mixed = [LineString([at(1500, 1000), at(1600, 1000)]), Point(at(1650, 950)), Point(at(1650, 99_000))]
    gpd.GeoDataFrame({"name": ["fence", "tank", "far"]}, geometry=mixed, crs=CRS).to_crs(4326).to_file(
        tmp_path / "t.geojson"
    )
    save(tmp_path, "w.gpkg", [LineString([at(0, 600), at(3000, 600)]), box(*at(800, 550), *at(900, 650))])
    save(tmp_path, "bog.gpkg", [box(*at(1900, 850), *at(2000, 890))])
    return tmp_path


def load(folder):
    return load_study(load_mission(folder / "mission.toml"), Stages(None))


def test_they_are_read_recorded_and_brought_to_one_crs(folder):
    study = load(folder)
    kept = study.overlay("structures")
    assert sorted(kept["name"]) == ["barn", "fence", "tank"]  # the far one is left out
    assert set(kept.geom_type) == {"Polygon", "LineString", "Point"}
    assert kept.crs == study.crs
    assert len(study.overlay("water")) == 2
    assert len(study.overlay("soft_ground")) == 1
    assert {"structures", "water", "soft ground"} <= {record.role for record in study.inputs}


def test_a_layer_without_its_kind_is_a_finding_not_silence(folder):
    save(folder, "bog.gpkg", [Point(at(1900, 850))])
    study = load(folder)
    assert study.overlay("soft_ground") is None
    (finding,) = [f for f in study.findings if f.code == "layer_without_kind"]
    assert finding.file == "bog.gpkg"
    assert "polygon" in said(finding).message


@pytest.mark.parametrize("role", ["structures", "water", "soft_ground"])
def test_a_missing_file_names_the_field(folder, role):
    file = {"structures": "s.gpkg", "water": "w.gpkg", "soft_ground": "bog.gpkg"}[role]
    (folder / file).unlink()
    with pytest.raises(InputError) as caught:
        load(folder)
    assert caught.value.field == f"layers.{role}"
    assert file in str(caught.value)
    assert caught.value.remedy
