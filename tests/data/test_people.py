"""People from rasters of other systems and cells: as many come out as went in."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Transformer

from siteplanner.data.grid import Grid
from siteplanner.data.people import read_people
from siteplanner.errors import InputError
from siteplanner.planning.telling.findings import said

UTM = CRS.from_epsg(32612)
GRID = Grid(np.zeros((300, 300), np.float32), Affine(20, 0, 500_000, 0, -20, 5_006_000), UTM)
MIDDLE = (503_000.0, 5_003_000.0)


def save(path, values, transform, crs, nodata=None, **more):
    profile = {"driver": "GTiff", "height": values.shape[-2], "width": values.shape[-1], "count": 1, "crs": crs}
    profile |= {"dtype": values.dtype, "transform": transform, "nodata": nodata, **more}
    with rasterio.open(path, "w", **profile) as file:
        file.write(values if values.ndim == 3 else values[None])
    return path


def around(epsg, cell, side):
    """A transform of `side` cells about the middle of the grid."""
    x, y = Transformer.from_crs(UTM, epsg, always_xy=True).transform(*MIDDLE)
    return Affine(cell, 0, x - cell * side / 2, 0, -cell, y + cell * side / 2)


CASES = [  # EPSG, cell in its unit, cells: all within the grid of 6 km
    (32612, 20.0, 200),
    (32612, 7.0, 500),
    (32612, 250.0, 16),
    (4326, 0.0008333333, 50),  # 3 seconds of arc
    (4326, 0.0083333333, 5),  # 30
    (3857, 100.0, 50),
    (5070, 90.0, 40),
    (2256, 300.0, 40),  # feet
]


@pytest.mark.parametrize(("epsg", "cell", "side"), CASES)
def test_as_many_people_leave_as_came_in(tmp_path, epsg, cell, side):
    rng = np.random.default_rng(side)
    values = rng.gamma(0.3, 5.0, (side, side)).astype(np.float32)
    path = save(tmp_path / "people.tif", values, around(epsg, cell, side), f"EPSG:{epsg}")
    people = read_people(path, "per_cell", like=GRID)
    assert people.grid.values.sum() == pytest.approx(float(values.sum(dtype=float)), rel=0.005)
    assert (people.record.role, people.record.unit) == ("people", "per_cell")


@pytest.mark.parametrize(("epsg", "cell", "side"), CASES)
def test_a_density_is_counted_by_true_area(tmp_path, epsg, cell, side):
    """50 people to a square kilometre over the whole grid: 0.02 a cell of 20 m, by the area in the plan's metres."""
    values = np.full((side * 6, side * 6), 50.0, np.float32)
    path = save(tmp_path / "people.tif", values, around(epsg, cell, side * 6), f"EPSG:{epsg}")
    people = read_people(path, "per_km2", like=GRID)
    inner = people.grid.values[60:-60, 60:-60]
    assert people.known.all()
    assert inner.sum() == pytest.approx(50 * inner.size * 400 / 1e6, rel=0.005)


def test_people_are_where_they_live(tmp_path):
    values = np.zeros((16, 16), np.float32)
    values[2, 3] = 80
    path = save(tmp_path / "people.tif", values, around(32612, 250.0, 16), "EPSG:32612")
    people = read_people(path, "per_cell", like=GRID)
    rows, cols = np.nonzero(people.grid.values)
    x, y = GRID.xy(rows, cols)
    west, north = MIDDLE[0] - 2000 + 3 * 250, MIDDLE[1] + 2000 - 2 * 250
    assert x.min() >= west - 10
    assert x.max() <= west + 260
    assert y.max() <= north + 10
    assert y.min() >= north - 260


def test_nodata_is_nobody_and_negative_numbers_are_told(tmp_path):
    values = np.full((16, 16), 2.0, np.float32)
    values[0, :4], values[1, :3] = -1.0, -200.0
    path = save(tmp_path / "people.tif", values, around(32612, 250.0, 16), "EPSG:32612", nodata=-1.0)
    people = read_people(path, "per_cell", like=GRID)
    assert people.grid.values.sum() == pytest.approx(2.0 * (256 - 7))
    assert not people.known[GRID.shape[0] // 2 - 95, GRID.shape[1] // 2 - 95]
    (finding,) = people.findings
    assert (finding.code, finding.facts["count"]) == ("people_negative", 3)
    assert "3 cells have negative numbers of people, such as -200" in said(finding).message


def test_the_unit_is_asked_for(tmp_path):
    path = save(tmp_path / "people.tif", np.ones((4, 4), np.float32), around(32612, 250.0, 4), "EPSG:32612")
    with pytest.raises(InputError, match="not said what the numbers") as caught:
        read_people(path, None, like=GRID)
    assert caught.value.field == "layers.people_unit"
    assert "per_km2" in caught.value.remedy
    assert "people.tif" in str(caught.value.file)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"crs": None}, "does not say where it lies"),
        ({"count": 2}, "one band of numbers"),
        ({"away": True}, "does not reach"),
        ({"broken": True}, "cannot be read|is none that is read|not"),
    ],
)
def test_what_cannot_be_used_is_refused_by_name(tmp_path, change, says):
    values = np.ones((change.get("count", 1), 8, 8), np.float32)
    transform = around(32612, 250.0, 8)
    if change.get("away"):
        transform = Affine(250, 0, 590_000, 0, -250, 5_006_000)
    path = tmp_path / "people.tif"
    save(path, values, transform, change.get("crs", "EPSG:32612"), count=len(values))
    if change.get("broken"):
        path.write_bytes(path.read_bytes()[:60])
    with pytest.raises(InputError, match=says) as caught:
        read_people(path, "per_cell", like=GRID)
    assert caught.value.field == "layers.people"
    assert caught.value.remedy
    assert "people.tif" in str(caught.value.file)


def test_a_virtual_raster_is_never_opened(tmp_path):
    path = tmp_path / "people.tif"
    path.write_text('<VRTDataset rasterXSize="1" rasterYSize="1"></VRTDataset>')
    with pytest.raises(InputError) as caught:
        read_people(path, "per_cell", like=GRID)
    assert caught.value.field == "layers.people"
