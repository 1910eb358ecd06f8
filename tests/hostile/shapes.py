"""Layers that are small on disk and large at work: each takes the place of one of a good mission's layers.

`python -m tests.hostile.shapes [NAME ...]` runs them through the command line with limits of memory and processor.
"""

from __future__ import annotations

import json
import math
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.planning.conftest import write_mission

MEMORY, SECONDS = 3 << 30, 60


def _to_lonlat(points):
    import pyproj

    from tests.planning.conftest import CRS, at

    change = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
    return [list(change.transform(*at(x, y))) for x, y in points]


def _geojson(path: Path, shapes, properties=None) -> None:
    features = [
        {"type": "Feature", "properties": properties or {}, "geometry": {"type": kind, "coordinates": c}}
        for kind, c in shapes
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")


def _ring(points):
    made = _to_lonlat(points)
    return [[*made, made[0]]]


def scribble_area(folder: Path, corners: int = 600) -> str:
    rng = random.Random(1)
    ring = _ring([(rng.uniform(1000, 2500), rng.uniform(800, 1900)) for _ in range(corners)])
    _geojson(folder / "odd.geojson", [("Polygon", ring)])
    return 'incident_area = "odd.geojson"'


def star_area(folder: Path, corners: int = 2001) -> str:
    step = corners // 2
    points = [
        (
            1800 + 600 * math.cos(2 * math.pi * k * step / corners),
            1400 + 500 * math.sin(2 * math.pi * k * step / corners),
        )
        for k in range(corners)
    ]
    _geojson(folder / "odd.geojson", [("Polygon", _ring(points))])
    return 'incident_area = "odd.geojson"'


def equal_roads(folder: Path, count: int = 100_000) -> str:
    line = _to_lonlat([(100, 900), (1500, 905), (2900, 900)])
    _geojson(folder / "odd.geojson", [("LineString", line)] * count, {"highway": "secondary"})
    return 'roads = "odd.geojson"'


def road_with_a_corner_put_wrong(folder: Path) -> str:
    """A Shapefile in metres, for in degrees no corner can lie so far away."""
    import geopandas as gpd
    from shapely.geometry import LineString

    from tests.planning.conftest import CRS, at

    line = LineString([at(100, 900), at(1500, 900), (1e8, 4.95e6), at(2900, 900)])
    gpd.GeoDataFrame({"highway": ["secondary"]}, geometry=[line], crs=CRS).to_file(folder / "odd.shp")
    return 'roads = "odd.shp"'


def scribble_road(folder: Path, corners: int = 3000) -> str:
    rng = random.Random(2)
    line = _to_lonlat([(100, 900), *((rng.uniform(200, 2800), rng.uniform(200, 2000)) for _ in range(corners))])
    _geojson(folder / "odd.geojson", [("LineString", line)], {"highway": "secondary"})
    return 'roads = "odd.geojson"'


def back_and_forth_roads(folder: Path, count: int = 4000) -> str:
    a, b = _to_lonlat([(100, 900), (2900, 900)])
    _geojson(folder / "odd.geojson", [("LineString", [a, b] * 3)] * count, {"highway": "secondary"})
    return 'roads = "odd.geojson"'


def repeated_nodes(folder: Path, times: int = 20_000) -> str:
    (a, b) = _to_lonlat([(100, 900), (2900, 900)])
    text = ["<osm version='0.6'>"]
    text += [f"<node id='{k + 1}' lat='{p[1]:.7f}' lon='{p[0]:.7f}'/>" for k, p in enumerate((a, b))]
    text.append("<way id='1'>" + "<nd ref='1'/><nd ref='2'/>" * times + "<tag k='highway' v='secondary'/></way></osm>")
    (folder / "odd.osm").write_text("".join(text), encoding="utf-8")
    return 'roads = "odd.osm"'


def overlapping_hazards(folder: Path, count: int = 20_000) -> str:
    rng, shapes = random.Random(3), []
    for _ in range(count):
        x, y = rng.uniform(1000, 1400), rng.uniform(880, 1200)
        shapes.append(("Polygon", _ring([(x, y), (x + 110, y), (x + 110, y + 110), (x, y + 110)])))
    _geojson(folder / "odd.geojson", shapes, {"kind": "flood"})
    return 'hazards = "odd.geojson"'


def zigzag_keep_out(folder: Path, corners: int = 1_000_000) -> str:
    x = np.linspace(200, 800, corners // 2)
    upper = np.column_stack([x, 300 + 40 * (np.arange(len(x)) % 2)])
    points = np.vstack([upper, np.column_stack([x[::-1], np.full(len(x), 200.0)])])
    _geojson(folder / "odd.geojson", [("Polygon", _ring(points.tolist()))])
    return 'keep_out = "odd.geojson"'


def kml_of_folders(folder: Path, count: int = 1500) -> str:
    (x, y) = _to_lonlat([(500, 500)])[0]
    place = f"<Placemark><Point><coordinates>{x},{y}</coordinates></Point></Placemark>"
    text = "".join(f"<Folder><name>f{k}</name>{place}</Folder>" for k in range(count))
    (folder / "odd.kml").write_text(
        f'<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>{text}</Document></kml>'
    )
    return 'spots = "odd.kml"'


def _gpkg(folder: Path, change: str) -> str:
    import sqlite3

    import geopandas as gpd
    from shapely.geometry import box

    from tests.planning.conftest import CRS, at

    gpd.GeoDataFrame({"a": [1]}, geometry=[box(*at(300, 300), *at(400, 400))], crs=CRS).to_file(
        folder / "odd.gpkg", layer="odd", driver="GPKG"
    )
    base = sqlite3.connect(folder / "odd.gpkg")
    base.executescript(change)
    base.commit()
    base.close()
    return 'keep_out = "odd.gpkg"'


def false_count(folder: Path) -> str:
    return _gpkg(folder, "update gpkg_ogr_contents set feature_count = 9000000000000;")


def endless_view(folder: Path) -> str:
    return _gpkg(
        folder,
        "create view v as with recursive c(fid) as (select 1 union all select fid + 1 from c) "
        "select c.fid as fid, o.geom as geom from c, odd o;"
        "insert into gpkg_contents (table_name, data_type, identifier, srs_id) select 'v', 'features', 'v', srs_id "
        "from gpkg_contents where table_name = 'odd';"
        "insert into gpkg_geometry_columns select 'v', 'geom', geometry_type_name, srs_id, z, m from "
        "gpkg_geometry_columns where table_name = 'odd';"
        "delete from gpkg_geometry_columns where table_name = 'odd';"
        "delete from gpkg_contents where table_name = 'odd';",
    )


def group_that_holds_itself(folder: Path) -> str:
    import h5py

    with h5py.File(folder / "odd.nc", "w") as held:
        held.create_dataset("z", data=np.zeros((10, 10), np.float32))
        held["round"] = held["/"]
    return 'elevation = "odd.nc"'


def _tiff(path: Path, width: int, height: int, rows_per_strip: int, bits: int = 32, tile: int = 0, cell: float = 10.0):
    """A TIFF header that claims much and holds nothing; in the CRS and at the place of the good mission."""
    import struct

    from tests.planning.conftest import HEIGHT, ORIGIN_X, ORIGIN_Y

    epsg = 32612
    doubles = {33550: (cell, cell, 0.0), 33922: (0.0, 0.0, 0.0, ORIGIN_X, ORIGIN_Y + HEIGHT, 0.0)}
    shorts = {34735: (1, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, epsg)}
    entries, extra = [], b""
    base = 8 + 2 + 12 * (13 if not tile else 14) + 4

    def put(tag, kind, values, code):
        nonlocal extra
        raw = struct.pack(f"<{len(values)}{code}", *values)
        if len(raw) <= 4:
            entries.append(struct.pack("<HHI", tag, kind, len(values)) + raw.ljust(4, b"\0"))
        else:
            entries.append(struct.pack("<HHII", tag, kind, len(values), base + len(extra)))
            extra += raw

    put(256, 4, (width,), "I")
    put(257, 4, (height,), "I")
    put(258, 3, (bits,), "H")
    put(259, 3, (1,), "H")
    put(262, 3, (1,), "H")
    if not tile:
        put(273, 4, (0,), "I")
    put(277, 3, (1,), "H")
    if tile:
        put(322, 4, (tile,), "I")
        put(323, 4, (tile,), "I")
        put(324, 4, (0,), "I")
        put(325, 4, (0,), "I")
    else:
        put(278, 4, (rows_per_strip,), "I")
        put(279, 4, (0,), "I")
    put(339, 3, (3 if bits == 32 else 2,), "H")
    for tag, values in doubles.items():
        put(tag, 12, values, "d")
    for tag, values in shorts.items():
        put(tag, 3, values, "H")
    count = len(entries)
    base_now = 8 + 2 + 12 * count + 4
    shift = base_now - base
    if shift:  # the places of the long values moved with the number of entries
        entries = [
            e if struct.unpack("<I", e[4:8])[0] * {3: 2, 4: 4, 12: 8}[struct.unpack("<H", e[2:4])[0]] <= 4
            else e[:8] + struct.pack("<I", struct.unpack("<I", e[8:12])[0] + shift)
            for e in entries
        ]  # fmt: skip
    path.write_bytes(b"II*\0" + struct.pack("<IH", 8, count) + b"".join(entries) + b"\0\0\0\0" + extra)


def one_strip(folder: Path) -> str:
    _tiff(folder / "odd.tif", 60_000, 60_000, 60_000)
    return 'elevation = "odd.tif"'


def one_tile(folder: Path) -> str:
    _tiff(folder / "odd.tif", 32_768, 32_768, 0, tile=32_768)
    return 'elevation = "odd.tif"'


def billions(folder: Path) -> str:
    _tiff(folder / "odd.tif", 2**31 - 1, 2**31 - 1, 1)
    return 'elevation = "odd.tif"'


def people_in_one_tile(folder: Path) -> str:
    _tiff(folder / "odd.tif", 32_768, 32_768, 0, tile=32_768)
    return 'people = "odd.tif"\npeople_unit = "per_cell"'


def classes_in_one_tile(folder: Path) -> str:
    _tiff(folder / "odd.tif", 32_768, 32_768, 0, bits=16, tile=32_768)
    return 'land_cover = "odd.tif"'


def rise_without_end(folder: Path) -> str:
    os.mkfifo(folder / "odd.csv")  # whoever opens it without a look waits for good
    return 'rise_forecast = "odd.csv"'


def tiny_cells(folder: Path) -> str:
    _tiff(folder / "odd.tif", 250, 250, 250, cell=1e-4)
    return 'elevation = "odd.tif"'


def huge_cells(folder: Path) -> str:
    _tiff(folder / "odd.tif", 250, 250, 250, cell=1e300)
    return 'elevation = "odd.tif"'


CASES: dict[str, Callable[[Path], str]] = {
    f.__name__: f
    for f in (
        scribble_area, star_area, equal_roads, road_with_a_corner_put_wrong, scribble_road, back_and_forth_roads,
        repeated_nodes, overlapping_hazards, zigzag_keep_out, kml_of_folders, false_count, endless_view,
        group_that_holds_itself, one_strip, one_tile, billions, tiny_cells, huge_cells,
        people_in_one_tile, classes_in_one_tile, rise_without_end,
    )
}  # fmt: skip


def replaced(folder: Path, line: str) -> Path:
    """The good mission with one layer's line in the place of its own, or added."""
    mission = Path(write_mission(folder))
    text, key = mission.read_text(encoding="utf-8"), line.split(" = ")[0]
    lines = [old for old in text.splitlines() if not old.startswith(f"{key} = ")]
    lines.insert(lines.index("[layers]") + 1, line)
    mission.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return mission


def limited(*args: object, memory: int = MEMORY, seconds: int = SECONDS) -> subprocess.CompletedProcess:
    """The command line under limits of memory and processor time."""

    def bound() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (memory + (2 << 30),) * 2)  # libraries map far more than they use
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))

    return subprocess.run(
        [sys.executable, "-m", "siteplanner", *map(str, args)],
        capture_output=True, text=True, check=False, preexec_fn=bound, timeout=20 * seconds,
    )  # fmt: skip


if __name__ == "__main__":
    names = [a for a in sys.argv[1:] if a not in ("check", "plan")] or list(CASES)
    command = "plan" if "plan" in sys.argv else "check"
    for name in names:
        with tempfile.TemporaryDirectory() as held:
            folder = Path(held) / "m"
            folder.mkdir()
            mission = replaced(folder, CASES[name](folder))
            before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
            args = [command, mission, *(["--out", f"{held}/out"] if command == "plan" else [])]
            done = limited(*args)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            last = done.stderr.strip().splitlines()[-1][:170] if done.stderr.strip() else ""
            trace = "TRACEBACK" if "Traceback" in done.stderr else ""
            print(
                f"{name:24} rc {done.returncode:4} cpu {after.ru_utime - before.ru_utime:6.1f} wall "
                f"{time.monotonic() - start:5.0f} most {after.ru_maxrss >> 10} MB {trace} {last}",
                flush=True,
            )
