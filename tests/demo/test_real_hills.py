"""The sample on real ground, read from its files."""

from __future__ import annotations

import os
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio

from siteplanner.demo import sample_mission
from siteplanner.mission import load_mission

FOLDER = Path(__file__).parents[2] / "data_samples" / "real_hills"


def test_heights_are_those_of_the_source() -> None:
    """Figures of matplotlib's jacksboro_fault_dem.npz, key `elevation`: extremes and their cells, mean, corners."""
    with rasterio.open(FOLDER / "elevation.tif") as source:
        z = source.read(1)
        assert source.crs.to_epsg() == 4326
        assert source.units == ("m",)
        assert source.nodata == -32768
        # the source's `ymin` holds the northern edge
        assert source.bounds == pytest.approx((-84.41375, 36.44625, -84.0779167, 36.7329167), abs=1e-6)
        assert source.res == pytest.approx((1 / 1200, 1 / 1200), rel=1e-6)
    assert z.shape == (344, 403)
    assert (z.min(), z.max()) == (236, 1076)
    assert np.argwhere(z == 236).tolist() == [[288, 347]]
    assert np.argwhere(z == 1076).tolist() == [[297, 219]]
    assert z.mean() == pytest.approx(531.0312, abs=1e-4)
    assert [z[0, 0], z[0, -1], z[-1, 0], z[-1, -1]] == [483, 444, 545, 272]


def test_heights_equal_matplotlibs_array() -> None:
    heights = pytest.importorskip("matplotlib.cbook", reason="needs matplotlib's sample data")
    with (
        np.load(heights.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as data,
        rasterio.open(FOLDER / "elevation.tif") as source,
    ):
        assert np.array_equal(source.read(1), data["elevation"])


def test_formats_and_coordinates_differ() -> None:
    roads = gpd.read_file(FOLDER / "roads.zip")
    assert roads.crs.to_epsg() == 2274
    assert roads.crs.axis_info[0].unit_name == "US survey foot"
    assert {"CLASS", "RDNAME", "SURF", "TRACK", "MAXHT"} <= set(roads.columns)
    assert gpd.read_file(FOLDER / "incident_area.gpkg").crs.to_epsg() == 5070
    assert gpd.read_file(FOLDER / "power_line.fgb").crs.to_epsg() == 3857
    assert len(gpd.read_file(FOLDER / "must_serve.kml")) == 4
    assert len(gpd.read_file(FOLDER / "spots.gpx", layer="waypoints")) == 3


def test_layers_lie_on_the_sheet() -> None:
    with rasterio.open(FOLDER / "elevation.tif") as source:
        west, south, east, north = source.bounds
    for name in ("roads.zip", "incident_area.gpkg", "power_line.fgb", "must_serve.kml"):
        x0, y0, x1, y1 = gpd.read_file(FOLDER / name).to_crs(4326).total_bounds
        assert west - 0.003 <= x0 <= x1 <= east + 0.003, name
        assert south - 0.003 <= y0 <= y1 <= north + 0.003, name


def test_roads_touch_one_another() -> None:
    roads = gpd.read_file(FOLDER / "roads.zip")
    points = [{(round(x, 1), round(y, 1)) for x, y in g.coords} for g in roads.geometry]
    for k in range(1, len(points)):
        assert any(points[k] & points[j] for j in range(len(points)) if j != k), roads["RDNAME"][k]


def test_mission_notice_and_words() -> None:
    mission = load_mission(FOLDER / "mission.toml")
    assert mission.layers.road_columns["highway"] == "CLASS"
    assert "invented" in mission.name
    notice = (FOLDER / "NOTICE.txt").read_text(encoding="utf-8")
    assert "Matplotlib Development Team; All Rights Reserved" in notice
    assert "Everything else is invented" in (FOLDER / "README.md").read_text(encoding="utf-8")
    assert sample_mission("real_hills").parent == FOLDER
    assert sum(p.stat().st_size for p in FOLDER.iterdir()) < 500_000


@pytest.mark.skipif("SITEPLANNER_REBUILD" not in os.environ, reason="builds anew; set SITEPLANNER_REBUILD=1")
def test_building_anew_gives_the_same_layers(tmp_path) -> None:
    from data_samples.making.real_hills import build

    build(tmp_path)
    for name in ("mission.toml", "must_serve.kml", "spots.gpx", "README.md"):
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes()
    with zipfile.ZipFile(tmp_path / "roads.zip") as new, zipfile.ZipFile(FOLDER / "roads.zip") as old:
        assert new.read("roads.shp") == old.read("roads.shp")
