"""A county-size mission: `python -m tests.benchmarks.region [--sizes 1 4] [--tree FOLDER]`.

Invented ground (fractal hills), invented roads (a net of 2 km), an incident area 24 km across, cells of 10 m, 36
million of them, 300 spots judged; size 4 is the same over four times the ground. Each size is planned in a process of
its own, which tells its processor seconds and the most memory it held, of each stage by itself (Linux); the last lines
give the ratios. `--tree` plans with another checkout of the program, for the figures before a change.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
CRS = 32612
MIDDLE = 500_000.0, 4_950_000.0  # of everything, in metres of the CRS
CELL_M, AREA_M, GROUND_M = 10.0, 24_000.0, 60_000.0
ROAD_NET_M, VERTEX_M = 2_000.0, 80.0
OCTAVES = ((12_000.0, 150.0), (5_000.0, 60.0), (2_000.0, 22.0), (800.0, 7.0), (300.0, 2.5), (120.0, 0.9), (40.0, 0.25))
MOST_S, MOST_GB = 60.0, 1.5
PLAN = """
import json, resource, sys, time
from siteplanner import load_mission
from siteplanner.planning.plan.pipeline import plan
stages, last = [], [None]

def of_status(name):
    with open("/proc/self/status") as file:
        return next(int(line.split()[1]) for line in file if line.startswith(name))

def begin_anew():
    with open("/proc/self/clear_refs", "w") as file:
        file.write("5")  # the most that was held counts from here on: proc(5)

def spent():
    own = resource.getrusage(resource.RUSAGE_SELF)
    return own.ru_utime + own.ru_stime

def told(stage, share):
    if stage != last[0]:
        close()
        last[0] = stage
        stages.append([stage, spent(), 0, 0])
        begin_anew()

def close():
    if stages:
        stages[-1][2:] = of_status("VmRSS"), max(stages[-1][3], of_status("VmHWM"))

before = of_status("VmHWM")

made = plan(load_mission(sys.argv[1]), told)
children = resource.getrusage(resource.RUSAGE_CHILDREN)
end = spent()
close()
for one, after in zip(stages, [*stages[1:], [None, end]]):
    one[1] = after[1] - one[1]
print(json.dumps({
    "cpu_s": end, "children_s": children.ru_utime + children.ru_stime,
    "rss_kb": max(before, *(stage[3] for stage in stages)), "stages": stages,
    "cells": int(made.scene.elevation.values.size), "judged": made.search.judged, "passed": made.search.passed,
    "best": [[r.spot.x, r.spot.y, round(r.score, 4)] for r in made.spots[:3]],
}))
"""


def _weights(at_m: np.ndarray, step_m: float):
    """Sparse (places, knots): uniform cubic B-splines with knots every `step_m`, from 0 on."""
    from scipy.sparse import csr_matrix

    before = np.floor(at_m / step_m).astype(int)
    t = at_m / step_m - before
    parts = (1 - t) ** 3 / 6, (3 * t**3 - 6 * t**2 + 4) / 6, (-3 * t**3 + 3 * t**2 + 3 * t + 1) / 6, t**3 / 6
    places = np.arange(len(at_m))
    data, cols = np.concatenate(parts), np.concatenate([before + k for k in range(4)])
    return csr_matrix((data, (np.tile(places, 4), cols)))


def ground(path: Path, side_m: float, seed: int = 5, cell_m: float = CELL_M) -> None:
    """Write fractal hills as a tiled GeoTIFF, strip by strip; the same place has the same height in any strip."""
    import rasterio
    from rasterio.windows import Window

    count = round(side_m / cell_m)
    rng = np.random.default_rng(seed)
    at = (np.arange(count) + 0.5) * cell_m
    across = [_weights(at, step) for step, _ in OCTAVES]
    knots = [rng.normal(0, 2.2 * high, (w.shape[1], w.shape[1])).astype(np.float32) for w, (_, high) in zip(across, OCTAVES, strict=True)]  # fmt: skip # noqa: E501
    profile = {
        "driver": "GTiff", "width": count, "height": count, "count": 1, "dtype": "float32", "crs": f"EPSG:{CRS}",
        "transform": rasterio.Affine(cell_m, 0, MIDDLE[0] - side_m / 2, 0, -cell_m, MIDDLE[1] + side_m / 2),
        "tiled": True, "blockxsize": 256, "blockysize": 256, "compress": "deflate", "predictor": 3, "zlevel": 1,
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as file:
        for top in range(0, count, 512):
            stop = min(top + 512, count)
            strip = np.full((stop - top, count), 900.0, np.float32)
            for weights, values in zip(across, knots, strict=True):
                strip += (weights @ (weights[top:stop] @ values).T).T.astype(np.float32)
            file.write(strip, 1, window=Window(0, top, count, stop - top))


def roads(path: Path, side_m: float, seed: int = 6) -> tuple[float, float]:
    """A net of winding roads; every fourth is paved and quick. Longitude and latitude of a crossing in the south."""
    from pyproj import Transformer

    rng = np.random.default_rng(seed)
    count = int(side_m / ROAD_NET_M) - 1
    place = (np.arange(count) - (count - 1) / 2) * ROAD_NET_M
    crossings = np.stack(np.meshgrid(place, place), -1) + rng.uniform(-400, 400, (count, count, 2))
    to_degrees = Transformer.from_crs(CRS, 4326, always_xy=True)
    features = []

    def add(a: np.ndarray, b: np.ndarray, number: int, name: str) -> None:
        along = np.linspace(0, 1, int(np.hypot(*(b - a)) / VERTEX_M) + 2)[:, None]
        side = np.array([a[1] - b[1], b[0] - a[0]]) / np.hypot(*(b - a))
        bend = np.sin(np.pi * along) * rng.uniform(-150, 150) + np.sin(3 * np.pi * along) * rng.uniform(-40, 40)
        line = a + along * (b - a) + bend * side
        x, y = to_degrees.transform(line[:, 0] + MIDDLE[0], line[:, 1] + MIDDLE[1])
        kind = "secondary" if number % 4 == 0 else "unclassified"
        properties = {"highway": kind, "name": name, "surface": "asphalt" if kind == "secondary" else "gravel"}
        line = {"type": "LineString", "coordinates": np.round(np.column_stack([x, y]), 7).tolist()}
        features.append({"type": "Feature", "properties": properties, "geometry": line})

    for i in range(count):
        for k in range(count - 1):
            add(crossings[i, k], crossings[i, k + 1], i, f"East Road {i}")
            add(crossings[k, i], crossings[k + 1, i], i, f"North Road {i}")
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return to_degrees.transform(*(crossings[min(1, count - 1), count // 2] + MIDDLE))


def mission(folder: Path, size: float, spots: int = 300) -> Path:
    """Write a mission whose ground is `size` times as large as the first's; its file."""
    from pyproj import Transformer

    folder.mkdir(parents=True, exist_ok=True)
    grown = size**0.5
    side_m, area_m = GROUND_M * grown, AREA_M * grown
    ground(folder / "elevation.tif", side_m)
    longitude, latitude = roads(folder / "roads.geojson", side_m)
    turn = np.linspace(0, 2 * np.pi, 181)
    to_degrees = Transformer.from_crs(CRS, 4326, always_xy=True)
    x, y = to_degrees.transform(MIDDLE[0] + area_m / 2 * np.cos(turn), MIDDLE[1] + area_m / 2 * np.sin(turn))
    ring = np.column_stack([x, y]).tolist()
    shape = {"type": "Polygon", "coordinates": [[*ring[:-1], ring[0]]]}
    area = {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": shape}]}
    (folder / "area.geojson").write_text(json.dumps(area))
    (folder / "mission.toml").write_text(f"""
name = "Invented county"
crs = "EPSG:{CRS}"
[layers]
elevation = "elevation.tif"
incident_area = "area.geojson"
roads = "roads.geojson"
[staging]
latitude = {latitude:.6f}
longitude = {longitude:.6f}
[sky]
satellites = [{{ name = "slot 113 W", longitude_deg = -113.0 }}]
[search]
radius_m = {(side_m - area_m) / 2 - 2_500:g}
max_spots = {spots}
""")
    return folder / "mission.toml"


def measured(file: Path, tree: Path = ROOT) -> dict:
    """Plan in a process of its own and take its figures."""
    env = {**os.environ, "PYTHONPATH": str(tree)}
    done = subprocess.run([sys.executable, "-c", PLAN, str(file)], env=env, cwd=file.parent, capture_output=True, text=True)  # fmt: skip # noqa: E501
    if done.returncode:
        sys.exit(done.stderr[-2000:])
    return json.loads(done.stdout.splitlines()[-1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", type=float, nargs="+", default=[1, 4])
    parser.add_argument("--tree", type=Path, default=ROOT)
    parser.add_argument("--folder", type=Path, help="keep the missions here and take those that are there")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as own:
        found = {}
        for size in asked.sizes:
            folder = (asked.folder or Path(own)) / f"size_{size:g}"
            file = folder / "mission.toml"
            file = file if file.exists() else mission(folder, size)
            one = found[size] = measured(file, asked.tree)
            print(
                f"size {size:g}: {one['cells'] / 1e6:.0f} million cells, {one['judged']} spots judged, "
                f"{one['passed']} pass; processor {one['cpu_s']:.1f} s (compiling {one['children_s']:.1f} s), "
                f"memory {one['rss_kb'] / 1e6:.2f} GB"
            )
            print("   best:", one["best"])
            for stage, seconds, held, peak in one["stages"]:
                print(f"   {stage:38s} {seconds:6.1f} s   peak {peak / 1e6:.2f}   held after it {held / 1e6:.2f} GB")
    first = found[asked.sizes[0]]
    seconds, memory = first["cpu_s"], first["rss_kb"] / 1e6
    print(f"first size: {seconds / MOST_S:.2f} of the goal of {MOST_S:g} s, {memory / MOST_GB:.2f} of {MOST_GB:g} GB")
    for size, one in found.items():
        print(
            f"size {size:g} / size {asked.sizes[0]:g}: processor {one['cpu_s'] / seconds:.2f}, "
            f"memory {one['rss_kb'] / 1e6 / memory:.2f} (goal: at most {size / asked.sizes[0]:g})"
        )


if __name__ == "__main__":
    main()
