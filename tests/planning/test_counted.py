"""Who is served, counted by a raster of people: by cell, by polygon, in plan and words."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely.geometry import box

from siteplanner import load_mission, plan
from siteplanner.errors import InputError
from siteplanner.outputs.write import json_text
from siteplanner.planning.study.area import area_cells
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import plan_record
from tests.planning.conftest import CRS, at, write_mission
from tests.planning.test_served import GRID, area, served


def test_people_of_a_raster_are_served_cell_by_cell():
    """All 90 live in the western half, which is served wholly; the area alone would say half of them are not."""
    people = np.zeros(GRID.shape)
    people[:, :20] = 90 / 800
    cells = area_cells(area(name=["West", "East"], people=[1, 500]), GRID, None, people)
    assert cells.weighted_by == "people"
    assert cells.people.sum() == pytest.approx(90)
    assert [p.people for p in cells.polygons] == [pytest.approx(90), pytest.approx(0, abs=1e-9)]
    probability = np.where(cells.cols < 20, 1.0, 0.25)
    assert (probability * cells.weight).sum() == pytest.approx(1.0)


@pytest.mark.parametrize("coverage_cell_m", [None, 35.0, 110.0])
def test_thinned_cells_keep_everybody(coverage_cell_m):
    people = np.random.default_rng(0).gamma(0.2, 3, GRID.shape)
    cells = area_cells(area(), GRID, coverage_cell_m, people)
    assert cells.people.sum() == pytest.approx(people.sum(), rel=1e-9)
    assert sum(p.people_of.sum() for p in cells.polygons) == pytest.approx(people.sum(), rel=1e-9)


def test_without_a_raster_the_column_counts():
    assert served(area(people=[100, 300])).people_from == "polygons"
    assert served(area()).people_from is None


def with_people(folder, **stated):
    path = write_mission(folder)
    shapes = [box(*at(1300, 1200), *at(1800, 1700)), box(*at(1800, 1200), *at(2300, 1700))]
    gpd.GeoDataFrame({"name": ["Camp", "Farm"], "people": [40, 60]}, geometry=shapes, crs=CRS).to_file(
        folder / "area.gpkg", driver="GPKG"
    )
    left, bottom = at(1300, 1200)
    values = np.zeros((5, 10), np.float32)
    values[:, :5] = 10.0  # 250 in the camp, nobody on the farm
    with rasterio.open(
        folder / "people.tif", "w", driver="GTiff", height=5, width=10, count=1, dtype="float32", crs=CRS,
        transform=Affine(100, 0, left, 0, -100, bottom + 500),
    ) as file:  # fmt: skip
        file.write(values, 1)
    text = Path(path).read_text(encoding="utf-8")
    lines = "".join(f'{k} = "{v}"\n' for k, v in stated.items())
    Path(path).write_text(text.replace("[layers]\n", f"[layers]\n{lines}", 1), encoding="utf-8")
    return path


def test_the_plan_counts_by_the_raster_and_says_so(tmp_path):
    made = plan(load_mission(with_people(tmp_path, people="people.tif", people_unit="per_cell")))
    record = json.loads(json_text(plan_record(made)))
    for spot in record["spots"]:
        service = spot["service"]
        assert (service["people_from"], service["weighted_by"]) == ("raster", "people")
        assert service["people"] == pytest.approx(250, rel=0.005)
        camp, farm = service["polygons"]
        assert (camp["people"], farm["people"]) == (pytest.approx(250, rel=0.03), pytest.approx(0, abs=8))
        assert any("of 250 people" in line for line in service["sentences"])
    told = [said(f).message for f in made.findings if f.code == "people_counted"]
    assert told == [
        "People are counted by this raster: 250 in the incident area. The incident area's own column `people` is not "
        "used. They weigh the area, for it has no column `weight`."
    ]
    assert any(r.role == "people" for r in made.inputs)


def test_area_that_the_raster_does_not_tell_of_is_named(tmp_path):
    path = with_people(tmp_path, people="people.tif", people_unit="per_cell")
    with rasterio.open(tmp_path / "people.tif", "r+") as file:
        values = file.read(1)
        values[:, 5:] = -9
        file.write(values, 1)
        file.nodata = -9
    made = plan(load_mission(path))
    (gap,) = [f for f in made.findings if f.code == "people_gaps"]
    assert gap.facts["share"] == pytest.approx(0.5, abs=0.05)
    assert "nobody is counted there" in said(gap).message


@pytest.mark.parametrize("stated", [{"people": "people.tif"}, {"people_unit": "per_cell"}])
def test_a_raster_without_a_unit_and_a_unit_without_a_raster(tmp_path, stated):
    with pytest.raises(InputError) as caught:
        plan(load_mission(with_people(tmp_path, **stated)))
    assert caught.value.field == "layers.people_unit"
    assert caught.value.remedy
