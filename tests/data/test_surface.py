"""Surfaces finer than the cells keep their tops: a tree, a hedge, a roof is not lost in a mean."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from shapely.geometry import box

from siteplanner.core.resample import highest_around
from siteplanner.data import raster_read
from siteplanner.data.rasters import read_elevation
from siteplanner.data.warping import block_maxima, block_means

from .conftest import UTM

EAST, NORTH = 750_000.0, 4_050_000.0  # whole multiples of the cells below; UTM 16N


def near(east_m=300.0, south_m=300.0):
    """The WGS 84 box of the middle of the raster."""
    from pyproj import Transformer

    to = Transformer.from_crs(UTM, 4326, always_xy=True).transform
    corners = [to(EAST + x, NORTH - y) for x in (30, east_m - 30) for y in (30, south_m - 30)]
    lon, lat = zip(*corners, strict=True)
    return box(min(lon), min(lat), max(lon), max(lat))


def read(path, role, cell_m=5.0):
    return read_elevation([path], near=near(), target_crs=UTM, cell_size_m=cell_m, role=role).grid


@pytest.fixture
def one_tree_and_a_hedge(write_raster):
    """1 m pixels at 300 m above the sea: a crown of 5 m, 20 m tall, about (150.5, 150.5); a hedge 15 m tall, 3 m wide,
    along x = 201..203."""
    z = np.full((300, 300), 300.0, np.float32)
    y, x = np.mgrid[0:300, 0:300] + 0.5
    crown = np.hypot(x - 150.5, y - 150.5)
    z[crown < 2.5] += 20 - 4 * crown[crown < 2.5]  # a cone
    z[:, 201:204] += 15
    return write_raster(z, Affine(1, 0, EAST, 0, -1, NORTH), UTM, name="surface.tif", unit="m")


@pytest.mark.parametrize("cell_m", [5.0, 10.0, 7.5])
def test_the_top_of_a_tree_is_kept(one_tree_and_a_hedge, cell_m):
    # Means told 7 m for the tree and 9 m for the hedge at cells of 5 m: at 20 m, 13.9 degrees instead of 42.
    surface = read(one_tree_and_a_hedge, "surface", cell_m)
    row, col = surface.cell(EAST + 150.5, NORTH - 150.5)
    assert surface.values[row, col] == pytest.approx(320.0, abs=0.01)
    hedge = surface.cell(EAST + 202.5, NORTH - 100.5)[1]
    assert np.all(surface.values[5:-5, hedge] == pytest.approx(315.0))


def test_ground_is_still_the_mean(one_tree_and_a_hedge):
    ground = read(one_tree_and_a_hedge, "elevation")
    row, col = ground.cell(EAST + 150.5, NORTH - 150.5)
    assert 303.0 < ground.values[row, col] < 312.0


def test_a_tree_reaches_into_no_cell_that_it_does_not_touch(one_tree_and_a_hedge):
    surface = read(one_tree_and_a_hedge, "surface")
    assert (surface.values > 300.5).any(axis=0).sum() <= 2 + 2  # the hedge in 1 or 2 columns, the crown in 1 or 2


def test_cells_of_the_raster_s_own_are_its_pixels(write_raster):
    z = np.random.default_rng(5).uniform(300, 320, (60, 60)).astype(np.float32)
    path = write_raster(z, Affine(5, 0, EAST, 0, -5, NORTH), UTM, name="surface.tif", unit="m")
    surface = read(path, "surface")
    row, col = surface.cell(EAST + 152.5, NORTH - 152.5)
    np.testing.assert_array_equal(surface.values[row - 10 : row + 10, col - 10 : col + 10], z[20:40, 20:40])


def test_shifted_by_half_a_pixel_nothing_is_lost(write_raster):
    z = np.full((60, 60), 300.0, np.float32)
    z[30, 30] = 320.0
    path = write_raster(z, Affine(5, 0, EAST + 2.5, 0, -5, NORTH - 2.5), UTM, name="surface.tif", unit="m")
    surface = read(path, "surface")
    assert surface.values.max() == 320.0
    assert (surface.values == 320.0).sum() == 4  # the cells that the pixel lies on


def test_reduced_copies_are_not_read_for_it(write_raster, monkeypatch):
    import rasterio

    z = np.full((320, 320), 300.0, np.float32)
    z[163, 171] = 330.0
    path = write_raster(z, Affine(1, 0, EAST, 0, -1, NORTH), UTM, name="surface.tif", unit="m", tiled=True)
    with rasterio.open(path, "r+") as file:
        file.build_overviews([2, 4, 8], rasterio.enums.Resampling.average)
    monkeypatch.setattr(raster_read, "_FULL_READ", 1000)
    assert read(path, "surface", 8.0).values.max() == 330.0


def test_block_maxima_and_means_know_the_same():
    z = np.random.default_rng(6).uniform(0, 9, (12, 15)).astype(np.float32)
    z[np.random.default_rng(7).random(z.shape) < 0.5] = np.nan
    highest, mean = block_maxima(z, 3, 5), block_means(z, 3, 5)
    np.testing.assert_array_equal(np.isnan(highest), np.isnan(mean))
    assert np.isnan(highest).any()
    known = np.isfinite(mean)
    assert np.all(highest[known] >= mean[known])
    assert highest[known].max() == np.nanmax(np.where(np.kron(known, np.ones((3, 5))) > 0, z, np.nan))


def test_highest_around_against_its_twin():
    rng = np.random.default_rng(8)
    z = rng.uniform(0, 9, (14, 11)).astype(np.float32)
    z[rng.random(z.shape) < 0.2] = np.nan
    row, col = rng.uniform(-1, 14, 300), rng.uniform(-1, 11, 300)
    got = highest_around(z, row, col, 0.7, 1.3)
    for r, c, value in zip(row, col, got, strict=True):
        if not (-0.5 <= r <= 13.5 and -0.5 <= c <= 10.5):
            assert np.isnan(value)
            continue
        touched = [
            z[i, j]
            for i in range(14)
            for j in range(11)
            if abs(i - r) < 0.5 + 0.7 - 1e-3 and abs(j - c) < 0.5 + 1.3 - 1e-3
        ]
        known = [v for v in touched if not np.isnan(v)]
        if known and 2 * len(known) >= len(touched):
            assert value == max(known)
        else:
            assert np.isnan(value)
