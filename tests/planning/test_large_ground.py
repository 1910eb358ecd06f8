"""Large missions: memory bounded by the system, tiles that answer as the whole, mosaics of which a part is needed."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from shapely.geometry import box

from siteplanner import load_mission
from siteplanner.core import likely_ground as likely
from siteplanner.core.terrain import slope_deg, slope_part_deg
from siteplanner.data import records
from siteplanner.planning.limits.ground_way import find_ground_way
from siteplanner.planning.spots import candidates
from siteplanner.planning.spots.service import predict_coverage
from siteplanner.planning.study.inputs import coverage_inputs
from siteplanner.planning.study.load import read_area, read_ground
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.study import elevation_error_m
from tests.benchmarks import region

ROOT = Path(__file__).parents[2]
MOST_BYTES = 240_000_000  # on top of what libraries and a plan of 1 million cells hold; see the test
CHILD = """
import resource, sys
from siteplanner import load_mission, plan

def made(path):
    mission = load_mission(path)
    search = mission.search.model_copy(update={"refined_spots": 0, "sets": 1})
    return plan(mission.model_copy(update={"search": search}))

made(sys.argv[1])
with open("/proc/self/status") as file:
    held = next(int(line.split()[1]) for line in file if line.startswith("VmData")) * 1024
resource.setrlimit(resource.RLIMIT_DATA, (held + int(sys.argv[3]),) * 2)
print(len(made(sys.argv[2]).spots))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the limit and /proc are Linux's")
def test_a_plan_of_four_million_cells_fits_the_memory_that_the_system_gives(tmp_path):
    """A limit on data (RLIMIT_DATA): it takes 208 MB more than a plan of 1 million; 363 MB where slope, ways over
    ground and both answers of the sky are kept whole and the likely ground is worked out everywhere."""
    small, file = region.mission(tmp_path / "small", 1 / 36, 3), region.mission(tmp_path / "large", 1 / 9, 5)
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", CHILD, str(small), str(file), str(MOST_BYTES)]
    done = subprocess.run(command, env=env, capture_output=True, text=True, timeout=600)
    assert done.returncode == 0, done.stderr[-2000:]
    assert int(done.stdout) > 0


def test_ways_over_ground_are_the_same_in_tiles():
    rng = np.random.default_rng(1)
    passable = rng.random((150, 170)) < 0.8
    road = np.zeros(passable.shape, bool)
    road[rng.integers(0, 150, 12), rng.integers(0, 170, 12)] = True
    whole = find_ground_way(road, passable, 10.0, 250.0)
    shares = []
    tiled = find_ground_way(road, passable, 10.0, 250.0, shares.append, tile_cells=32)
    np.testing.assert_array_equal(tiled.distance_m, whole.distance_m)
    assert np.isfinite(whole.distance_m).sum() > 2000
    assert shares == sorted(shares)
    assert len(shares) == 30
    dense = tiled.distance_m
    for _ in range(40):  # and a part is that of the whole
        rows, cols = (slice(*np.sort(rng.integers(0, n + 1, 2)).tolist()) for n in passable.shape)
        np.testing.assert_array_equal(tiled.within(rows, cols), dense[rows, cols])
    for row, col in np.argwhere(np.isfinite(tiled.distance_m))[::17]:  # and following them back costs what they say
        cells = np.array(tiled.path_cells(row, col))
        assert road[tuple(cells[0])]
        assert np.hypot(*np.diff(cells, axis=0).T).sum() * 10 == pytest.approx(tiled.distance_m[row, col], rel=1e-6)


def test_the_likely_ground_is_the_same_in_tiles(monkeypatch):
    z = np.random.default_rng(2).normal(0, 3, (160, 140)).cumsum(0).astype(np.float32)
    z[40:45, 60:70] = np.nan
    whole = likely.likely_ground(z, 10.0, 10.0, 0.8)
    monkeypatch.setattr(likely, "_TILE_CELLS", 50)
    tiled = likely.likely_ground(z, 10.0, 10.0, 0.8)
    # a running sum that starts elsewhere may round to the next step of half a millimetre
    assert np.abs(tiled.parts.astype(int) - whole.parts).max() <= 1
    assert whole.units_m[0] < 1e-3
    assert np.abs(whole.parts).max() > 1000


def test_the_likely_ground_is_worked_out_where_a_path_may_come_and_a_spot_is_told_the_same(valley_plan, monkeypatch):
    monkeypatch.setattr(likely, "_TILE_CELLS", 64)
    judge = valley_plan.judge
    radio = judge.study.mission.radio.model_copy(update={"max_radius_m": 2000.0})
    grid = judge.study.elevation
    noise = np.random.default_rng(6).normal(0, 1, grid.shape).astype(np.float32)
    rough, mission = (
        grid.with_values(np.nan_to_num(grid.values, nan=1500.0) + noise),
        judge.study.mission.model_copy(update={"radio": radio}),
    )
    study = replace(judge.study, mission=mission, overlays={}, elevation=rough)
    grid = rough
    whole = likely.likely_ground(
        grid.values, grid.cell_size_m, study.source_cell_m, elevation_error_m(study.mission, study.source_cell_m)
    )
    part = study.likely.parts
    left_out = (part != whole.parts).any(-1)
    assert left_out.any()
    assert not part[left_out].any()
    inputs = coverage_inputs(study)
    told = 0
    middle = study.area.geometry.union_all().centroid
    near = sorted(valley_plan.judged, key=lambda r: np.hypot(r.spot.x - middle.x, r.spot.y - middle.y))
    for r in near[:4]:
        here, there = (
            predict_coverage(given, r.spot, r.spot.cell) for given in (inputs, replace(inputs, likely=whole))
        )
        assert repr(here.elevation) == repr(there.elevation)
        told += here.share > 0 and here.elevation.spread > 0
    assert told


def test_a_slope_of_a_part_is_that_of_the_whole():
    z = np.random.default_rng(4).normal(0, 3, (60, 50)).astype(np.float32)
    z[20:22, 30] = np.nan
    whole, rng = slope_deg(z, 10.0), np.random.default_rng(5)
    for _ in range(50):
        top, stop = np.sort(rng.integers(0, 61, 2)).tolist()
        left, right = np.sort(rng.integers(0, 51, 2)).tolist()
        part = slope_part_deg(z, 10.0, slice(top, stop), slice(left, right))
        np.testing.assert_array_equal(part, whole[top:stop, left:right])


def test_candidates_are_the_same_in_tiles(monkeypatch):
    rng = np.random.default_rng(3)
    feasible, value = rng.random((200, 230)) < 0.3, rng.random((200, 230))
    whole = candidates.choose_cells(feasible, value, 10.0, 120.0, 40)
    monkeypatch.setattr(candidates, "TILE_CELLS", 37)
    for a, b in zip(candidates.choose_cells(feasible, value, 10.0, 120.0, 40), whole, strict=True):
        np.testing.assert_array_equal(a, b)


def test_of_a_mosaic_only_the_part_that_is_needed_is_read(tmp_path, monkeypatch):
    """225 tiles of a degree's ground: each is opened once for its header, and none but the few at hand is read."""
    side, count, size_m = 40, 15, 3000.0
    west, north = region.MIDDLE[0] - count * size_m / 2, region.MIDDLE[1] + count * size_m / 2
    profile = {"driver": "GTiff", "width": side, "height": side, "count": 1, "dtype": "float32", "crs": region.CRS}
    names = []
    for row in range(count):
        for col in range(count):
            names.append(f"tile_{row}_{col}.tif")
            place = rasterio.Affine(size_m / side, 0, west + col * size_m, 0, -size_m / side, north - row * size_m)
            with rasterio.open(tmp_path / names[-1], "w", transform=place, **profile) as file:
                file.write(np.full((side, side), 100 + row + col, np.float32), 1)
    lonlat = [-111.005, 44.700, -110.995, 44.705]
    import geopandas

    geopandas.GeoSeries([box(*lonlat)], crs=4326).to_file(tmp_path / "area.geojson")
    (tmp_path / "roads.geojson").write_text('{"type": "FeatureCollection", "features": []}')
    (tmp_path / "mission.toml").write_text(f"""
crs = "EPSG:{region.CRS}"
[layers]
elevation = {names}
incident_area = "area.geojson"
roads = "roads.geojson"
[staging]
latitude = 44.7
longitude = -111.0
[sky]
satellites = [{{ longitude_deg = -113.0 }}]
[search]
radius_m = 500
cell_size_m = 75
""")
    opened, hashed = [], []
    real_open, real_digest = rasterio.open, records._digest
    monkeypatch.setattr(rasterio, "open", lambda path, *a, **k: opened.append(str(path)) or real_open(path, *a, **k))
    monkeypatch.setattr(records, "_digest", lambda files: hashed.append(files[0].name) or real_digest(files))
    mission = load_mission(tmp_path / "mission.toml")
    place = read_area(mission).value
    ground = read_ground(mission, place, (), Reuse())
    used = {record.file for record in ground.records}
    assert 1 <= len(used) <= 9
    assert set(hashed) - {"area.geojson"} == used
    opens = [Path(name).name for name in opened]
    assert all(opens.count(name) == 1 for name in names if name not in used)
    assert sum(f.code == "elevation_unused" for f in ground.findings) == len(names) - len(used)
