"""A small valley made by hand: 3 km x 2 km, 10 m cells, UTM 12N, with one thing of each kind in a known place.

x runs 0..3000 m east, y 0..2000 m north of (ORIGIN_X, ORIGIN_Y). The ground is a plane at 1,500 m that rises 1 in
100 to the north; a wall 400 m high stands along y = 200..260 m for x < 1000, so that ground north of it, west, has
its satellite (azimuth close to south) hidden.
"""

from __future__ import annotations

import functools
import shutil
import tempfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely.geometry import LineString, Point, box

ORIGIN_X, ORIGIN_Y = 500_000.0, 4_950_000.0
WIDTH, HEIGHT, CELL = 3000, 2000, 10
CRS = "EPSG:32612"


def at(x: float, y: float) -> tuple[float, float]:
    return ORIGIN_X + x, ORIGIN_Y + y


def valley() -> np.ndarray:
    rows, cols = HEIGHT // CELL, WIDTH // CELL
    y = HEIGHT - (np.arange(rows) + 0.5) * CELL
    x = (np.arange(cols) + 0.5) * CELL
    ground = 1500 + 0.01 * np.broadcast_to(y[:, None], (rows, cols))
    wall = (y[:, None] >= 200) & (y[:, None] < 260) & (x[None, :] < 1000)
    steep = x[None, :] > 2600
    return np.where(wall, ground + 400, np.where(steep, ground + 0.3 * (x[None, :] - 2600), ground)).astype(np.float32)


@functools.cache
def _kept() -> tempfile.TemporaryDirectory:
    return tempfile.TemporaryDirectory(prefix="valley-")  # goes with the process


@functools.cache
def _layers() -> Path:
    """The valley's layers, written once a process."""
    folder = Path(_kept().name)
    with rasterio.open(
        folder / "dem.tif",
        "w",
        driver="GTiff",
        height=HEIGHT // CELL,
        width=WIDTH // CELL,
        count=1,
        dtype="float32",
        crs=CRS,
        transform=Affine(CELL, 0, ORIGIN_X, 0, -CELL, ORIGIN_Y + HEIGHT),
        nodata=-9999,
    ) as dst:
        dst.write(valley(), 1)
        dst.units = ("m",)

    def save(file, shapes, **columns):
        gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(folder / file, driver="GPKG")

    save("area.gpkg", [box(*at(1300, 1200), *at(2300, 1700))], weight=[100])
    save(
        "roads.gpkg",
        [
            LineString([at(100, 900), at(2900, 900)]),
            LineString([at(1500, 900), at(1500, 1900)]),
            LineString([at(2000, 900), at(2000, 300)]),
        ],
        highway=["secondary", "unclassified", "track"],
        name=["Valley Road", "Bench Road", "Low Lane"],
        maxheight=[None, None, "2.5"],
    )
    save("keep.gpkg", [box(*at(1000, 800), *at(1200, 1000))], name=["school"])
    save("hazard.gpkg", [box(*at(2300, 800), *at(2500, 1000))], name=["slide"])
    save("lines.gpkg", [LineString([at(100, 1000), at(1300, 1000)])], voltage_kv=[115])
    save("points.gpkg", [Point(at(1800, 1500))], name=["camp"])
    save("spots.gpkg", [Point(at(500, 700)), Point(at(1700, 930))], name=["behind the wall", "lay-by"])
    return folder


def write_mission(folder, stated: str = 'default_clutter = "open"', spots: int = 12, **changes) -> str:
    """The valley's layers and mission in a folder; `changes` are TOML lines per table.

    `stated`: nothing stands in this valley, which neither a surface nor land cover tells; '' leaves that open.
    `spots`: so many are judged; the shared plan below, of which counts are asked, has 40.
    """
    shutil.copytree(_layers(), folder, copy_function=shutil.copyfile, dirs_exist_ok=True)
    lon, lat = gpd.GeoSeries([Point(at(200, 900))], crs=CRS).to_crs(4326).iloc[0].coords[0]
    tables = {
        "layers": 'elevation = "dem.tif"\nincident_area = "area.gpkg"\nroads = "roads.gpkg"\nkeep_out = "keep.gpkg"\n'
        'hazards = "hazard.gpkg"\npower_lines = "lines.gpkg"\nmust_serve = "points.gpkg"\n'
        'spots = "spots.gpkg"\n' + stated,
        "staging": f"latitude = {lat:.8f}\nlongitude = {lon:.8f}",
        "sky": 'satellites = [{name = "south", longitude_deg = -111.0}]',
        "search": f"radius_m = 1500\nspacing_m = 100\nmax_spots = {spots}",
    }
    for table, lines in changes.items():
        tables[table] = f"{tables.get(table, '')}\n{lines}"
    text = 'name = "valley"\n' + "\n".join(f"[{name}]\n{lines}" for name, lines in tables.items())
    path = folder / "mission.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="session")
def valley_mission(tmp_path_factory):
    return write_mission(tmp_path_factory.mktemp("valley"), spots=40)


@pytest.fixture(scope="session")
def valley_plan(valley_mission):
    from siteplanner import load_mission, plan

    return plan(load_mission(valley_mission))
