"""Many rasters, and rasters far larger than memory."""

from __future__ import annotations

import time
import tracemalloc

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from rasterio.windows import Window
from shapely.geometry import box

from siteplanner.data import raster_read
from siteplanner.data.rasters import read_elevation
from siteplanner.errors import Cancelled, InputError
from siteplanner.planning.telling.findings import said

from .conftest import LAT, LON, UTM

WEST, NORTH = 740_000.0, 4_055_000.0  # EPSG:32616
NEAR = box(-84.306, 36.592, -84.286, 36.607)


def flat(height, cells=400):
    return np.full((cells, cells), height, np.float32)


def codes(elevation):
    return [f.code for f in elevation.findings]


def test_neighbours_join_without_a_gap(write_raster):
    ramp = np.tile(np.arange(800, dtype=np.float32), (400, 1))
    west = write_raster(ramp[:, :100], from_origin(WEST, NORTH, 10, 10), "EPSG:32616", name="w.tif", unit="m")
    east = write_raster(ramp[:, 100:], from_origin(WEST + 1000, NORTH, 10, 10), "EPSG:32616", name="e.tif", unit="m")
    elevation = read_elevation([west, east], near=box(-84.314, 36.592, -84.306, 36.607), target_crs=UTM)
    grid = elevation.grid
    first = int((grid.transform.c - WEST) / 10)
    assert first < 100 < first + grid.shape[1]
    assert np.array_equal(grid.values, np.tile(np.arange(first, first + grid.shape[1]), (grid.shape[0], 1)))
    assert not elevation.findings
    assert [r.file for r in elevation.records] == ["w.tif", "e.tif"]


def test_tiles_in_degrees_join_without_a_gap(write_hill, write_raster):
    """Two halves of one raster in degrees give what the whole gives, but for the cells at the seam."""
    path = write_hill(unit="m", name="whole.tif")
    with rasterio.open(path) as file:
        z, t = file.read(1), file.transform
    half = z.shape[1] // 2
    left = write_raster(z[:, :half], t, name="left.tif", unit="m")
    right = write_raster(z[:, half:], from_origin(t.c + half * t.a, t.f, t.a, t.a), name="right.tif", unit="m")
    near = box(LON - 0.02, LAT - 0.02, LON + 0.02, LAT + 0.02)
    one = read_elevation([path], near=near, target_crs=UTM).grid.values
    two = read_elevation([left, right], near=near, target_crs=UTM)
    assert not np.isnan(two.grid.values).any()
    assert np.mean(np.abs(one - two.grid.values) < 0.01) > 0.96
    assert np.abs(one - two.grid.values).max() < 27.5 * 0.3 / 2  # half a cell of the steepest slope


def test_finest_is_on_top_whatever_the_order(write_raster):
    coarse = write_raster(
        flat(100), from_origin(WEST - 5000, NORTH + 5000, 30, 30), "EPSG:32616", name="c.tif", unit="m"
    )
    fine = write_raster(
        flat(101, 40), from_origin(WEST + 1700, NORTH - 700, 10, 10), "EPSG:32616", name="f.tif", unit="m"
    )
    for paths in ([coarse, fine], [fine, coarse]):
        elevation = read_elevation(paths, near=NEAR, target_crs=UTM)
        assert elevation.grid.cell_size_m == 10
        assert elevation.source_cell_m == pytest.approx(10, abs=0.01)
        assert set(np.unique(elevation.grid.values)) == {100.0, 101.0}
        assert (elevation.grid.values == 101).sum() == 40 * 40
        assert [r.file for r in elevation.records] == [p.name for p in paths]


def test_first_named_is_on_top_among_equals(write_raster):
    a, b = (
        write_raster(flat(h), from_origin(WEST, NORTH, 10, 10), "EPSG:32616", name=f"{h}.tif", unit="m")
        for h in (100, 101)
    )
    assert set(np.unique(read_elevation([a, b], near=NEAR, target_crs=UTM).grid.values)) == {100.0}
    assert set(np.unique(read_elevation([b, a], near=NEAR, target_crs=UTM).grid.values)) == {101.0}


def test_seam_that_disagrees_is_reported(write_raster):
    a, b = (
        write_raster(flat(h), from_origin(WEST, NORTH, 10, 10), "EPSG:32616", name=f"{h}.tif", unit="m")
        for h in (100, 112)
    )
    (finding,) = read_elevation([a, b], near=NEAR, target_crs=UTM).findings
    assert finding.code == "elevation_seam"
    assert "-12.0 m" in said(finding).message


def test_one_of_two_in_feet_is_refused(write_raster):
    a = write_raster(flat(400), from_origin(WEST, NORTH, 10, 10), "EPSG:32616", name="a.tif", unit="m")
    b = write_raster(flat(400 / 0.3048), from_origin(WEST, NORTH, 10, 10), "EPSG:32616", name="b.tif", unit="m")
    with pytest.raises(InputError, match="one of the two is in feet") as caught:
        read_elevation([a, b], near=NEAR, target_crs=UTM)
    assert caught.value.field == "layers.elevation_unit"


def test_rasters_off_the_ground_are_named_not_read(write_raster):
    a = write_raster(flat(400), from_origin(WEST, NORTH, 10, 10), "EPSG:32616", name="a.tif", unit="m")
    b = write_raster(flat(400), from_origin(WEST + 90_000, NORTH, 10, 10), "EPSG:32616", name="b.tif", unit="m")
    elevation = read_elevation([a, b], near=NEAR, target_crs=UTM)
    assert codes(elevation) == ["elevation_unused"]
    assert [r.file for r in elevation.records] == ["a.tif"]


def test_heights_from_different_zeros(write_raster):
    a = write_raster(flat(400), from_origin(WEST, NORTH, 10, 10), "EPSG:32616+5703", name="a.tif", unit="m")
    b = write_raster(flat(400), from_origin(WEST, NORTH, 10, 10), "EPSG:32616+5773", name="b.tif", unit="m")
    assert codes(read_elevation([a, b], near=NEAR, target_crs=UTM)) == ["elevation_datums_differ"]


def test_finer_cells_than_the_source_are_said(write_raster):
    path = write_raster(flat(400), from_origin(WEST, NORTH, 30, 30), "EPSG:32616", unit="m")
    assert codes(read_elevation([path], near=NEAR, target_crs=UTM, cell_size_m=10)) == ["elevation_coarser_than_cells"]


def test_cells_are_at_least_five_metres(write_raster):
    path = write_raster(flat(400, 2000), from_origin(WEST, NORTH, 2, 2), "EPSG:32616", unit="m")
    elevation = read_elevation([path], near=NEAR, target_crs=UTM)
    assert elevation.grid.cell_size_m == 5
    assert elevation.source_cell_m == pytest.approx(2, abs=0.001)


def test_huge_raster_is_read_by_windows(tmp_path):
    """200,000 x 200,000 cells are 80 GB in memory; only the mission's window is read."""
    path = tmp_path / "huge.tif"
    row, col = 120_000, 90_000
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=200_000,
        width=200_000,
        count=1,
        dtype="int16",
        crs="EPSG:32616",
        tiled=True,
        blockxsize=512,
        blockysize=512,
        sparse_ok=True,
        bigtiff="yes",
        compress="deflate",
        transform=from_origin(WEST - 5 * col, NORTH + 5 * row, 5, 5),
    ) as file:
        file.units = ("m",)
        file.write(np.full((800, 800), 321, "int16"), 1, window=Window(col, row, 800, 800))
    start = time.perf_counter()
    tracemalloc.start()
    elevation = read_elevation([path], near=NEAR, target_crs=UTM)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert np.all(elevation.grid.values == 321)
    assert most < 60e6
    assert time.perf_counter() - start < 20  # reading it whole takes many minutes


def test_fine_raster_onto_coarse_cells_in_bounded_memory(write_raster, monkeypatch):
    """Blocks shrink as the source gets finer, and the result does not depend on the size of the blocks."""
    rng = np.random.default_rng(3)
    z = rng.uniform(100, 200, (3000, 3000)).astype(np.float32)
    path = write_raster(z, from_origin(WEST, NORTH, 1, 1), "EPSG:26916", unit="m", tiled=True)
    near = box(-84.306, 36.592, -84.290, 36.603)
    whole = read_elevation([path], near=near, target_crs=UTM, cell_size_m=30).grid.values
    largest = []
    monkeypatch.setattr(raster_read, "_WINDOW", 200_000)
    original = raster_read._window
    monkeypatch.setattr(
        raster_read,
        "_window",
        lambda s, low, high, seen: (
            largest.append((high[0] - low[0]) * (high[1] - low[1])),
            original(s, low, high, seen),
        )[1],
    )
    blocks = read_elevation([path], near=near, target_crs=UTM, cell_size_m=30).grid.values
    assert len(largest) > 4
    assert max(largest) < 1_000_000 < z.size
    assert np.array_equal(whole, blocks)


def test_reduced_copies_are_used_when_the_raster_is_far_too_fine(write_raster, monkeypatch):
    rng = np.random.default_rng(4)
    z = np.kron(rng.uniform(100, 200, (100, 100)), np.ones((32, 32))).astype(np.float32)
    path = write_raster(z, from_origin(WEST, NORTH, 1, 1), "EPSG:32616", unit="m", tiled=True)
    with rasterio.open(path, "r+") as file:
        file.build_overviews([2, 4, 8, 16, 32], rasterio.enums.Resampling.average)
    near = box(-84.306, 36.592, -84.295, 36.601)
    full = read_elevation([path], near=near, target_crs=UTM, cell_size_m=32)
    sizes = []
    original = raster_read._window
    monkeypatch.setattr(
        raster_read,
        "_window",
        lambda s, low, high, seen: (sizes.append(s.dataset.shape), original(s, low, high, seen))[1],
    )
    monkeypatch.setattr(raster_read, "_FULL_READ", 1000)
    reduced = read_elevation([path], near=near, target_crs=UTM, cell_size_m=32)
    assert set(sizes) == {(100, 100)}
    assert np.allclose(full.grid.values, reduced.grid.values, atol=0.01)


def test_progress_is_told_and_can_stop(write_raster):
    path = write_raster(flat(400), from_origin(WEST, NORTH, 10, 10), "EPSG:32616", unit="m")
    seen = []
    read_elevation([path], near=NEAR, target_crs=UTM, progress=lambda text, share: seen.append((text, share)))
    assert seen[0] == ("Reading ground.tif", 0.0)
    assert [s for _, s in seen] == sorted(s for _, s in seen)
    assert seen[-1][1] == 1.0

    def stop(text, share):
        raise Cancelled()

    with pytest.raises(Cancelled):
        read_elevation([path], near=NEAR, target_crs=UTM, progress=stop)


def test_same_bits_twice(write_hill):
    path = write_hill(unit="m")
    near = box(LON - 0.02, LAT - 0.02, LON + 0.02, LAT + 0.02)
    one, two = (read_elevation([path], near=near, target_crs=UTM) for _ in range(2))
    assert one.grid.values.tobytes() == two.grid.values.tobytes()
    assert one.records == two.records
