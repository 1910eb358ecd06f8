"""The highest ground of raster files, as a figure and on coarse cells: no ridge is lost, unknown stays unknown."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Transformer
from rasterio.enums import Resampling

from siteplanner.data.far_heights import block_highest, coarse_grid, highest_of, read_highest, widened
from siteplanner.errors import InputError

UTM = CRS.from_epsg(32612)
X0, Y0 = 500_000.0, 4_950_000.0
NEAR = (-112.0, 44.0, -110.0, 46.0)


def write(path, values, cell=10.0, unit="m", x=X0, y=Y0, crs="EPSG:32612", nodata=None, **more):
    rows, cols = values.shape
    shape = {"height": rows, "width": cols, "count": 1, "dtype": values.dtype, "crs": crs, "nodata": nodata}
    place = Affine(cell, 0, x, 0, -cell, y + rows * cell)
    with rasterio.open(path, "w", driver="GTiff", transform=place, **shape, **more) as dst:
        dst.write(values, 1)
        if unit:
            dst.units = (unit,)
    return path


def test_a_ridge_one_pixel_wide_is_not_lost_between_coarse_cells(tmp_path):
    """Pixels of 10 m on cells of 70 m: a mean would make a seventh of the ridge; each cell it crosses holds its top."""
    ground = np.full((400, 400), 100.0, np.float32)
    for n in range(400):  # a diagonal crest
        ground[n, n] = 900.0
    path = write(tmp_path / "dem.tif", ground)
    like = coarse_grid((X0 + 700, Y0 + 700, X0 + 3300, Y0 + 3300), 70.0, UTM)
    made = read_highest([path], like, "auto")
    rows, cols = np.indices(like.shape)
    x, y = like.xy(rows, cols)
    off = np.abs((x - X0) - (Y0 + 4000 - y)) / np.sqrt(2)  # distance of a cell's middle from the crest
    assert (made[off < 35] == 900.0).all()
    assert (made[off > 35 * np.sqrt(2) + 70] == 100.0).all()
    assert np.isfinite(made).all()


def test_every_pixel_lies_below_the_coarse_cell_that_holds_it(tmp_path):
    rng = np.random.default_rng(5)
    ground = (rng.normal(0, 30, (300, 260)).cumsum(0).cumsum(1) / 30 + 800).astype(np.float32)
    path = write(tmp_path / "dem.tif", ground, cell=7.0)
    like = coarse_grid((X0, Y0, X0 + 1820, Y0 + 2100), 40.0, UTM)
    made = read_highest([path], like, "auto")
    rows, cols = np.indices(ground.shape)
    row, col = like.rowcol(X0 + (cols + 0.5) * 7, Y0 + (300 - rows - 0.5) * 7)
    holds = made[np.floor(row + 0.5).astype(int), np.floor(col + 0.5).astype(int)]
    assert (holds >= ground)[np.isfinite(holds)].all()
    assert np.isfinite(holds).mean() > 0.98  # the rim: half a pixel block beyond the file


def test_a_source_as_coarse_as_the_cells_is_read_as_the_fine_grid_is(tmp_path):
    ground = np.arange(2500, dtype=np.float32).reshape(50, 50)
    path = write(tmp_path / "dem.tif", ground, cell=40.0)
    like = coarse_grid((X0, Y0, X0 + 2000, Y0 + 2000), 40.0, UTM)
    np.testing.assert_allclose(read_highest([path], like, "auto"), ground)


def test_units_and_the_finest_on_top(tmp_path):
    feet = write(tmp_path / "feet.tif", np.full((100, 100), 1000.0, np.float32), unit="ft")
    fine = write(tmp_path / "fine.tif", np.full((100, 50), 200.0, np.float32), cell=5.0)
    like = coarse_grid((X0, Y0, X0 + 1000, Y0 + 1000), 50.0, UTM)
    made = read_highest([feet, fine], like, "auto")
    assert made[0, 0] == pytest.approx(304.8)
    assert made[-1, 0] == pytest.approx(200.0)  # the fine one covers the south-west corner
    top = highest_of([feet, fine], NEAR, "auto", UTM)
    assert (top.height_m, top.file) == (pytest.approx(304.8), "feet.tif")
    assert highest_of([feet, fine], (10.0, 44.0, 11.0, 46.0), "auto", UTM).file == ""


def test_unknown_stays_unknown_and_small_holes_do_not_make_it(tmp_path):
    ground = np.full((200, 200), 50.0, np.float32)
    ground[100:, :] = -9999.0
    ground[20, 20] = -9999.0
    path = write(tmp_path / "dem.tif", ground, nodata=-9999.0)
    like = coarse_grid((X0 - 500, Y0, X0 + 2000, Y0 + 2000), 50.0, UTM)
    made = read_highest([path], like, "auto")
    assert np.isnan(made[:, :10]).all()  # west of the file
    assert np.isnan(made[21:, :]).all()
    assert (made[:19, 10:] == 50.0).all()


def test_what_nobody_asks_for_is_left_out(tmp_path):
    path = write(tmp_path / "dem.tif", np.full((2000, 2000), 50.0, np.float32))
    like = coarse_grid((X0, Y0, X0 + 20_000, Y0 + 20_000), 20.0, UTM)
    made = read_highest([path], like, "auto", (slice(200, 800), slice(200, 800)))
    assert np.isnan(made[300:500, 300:500]).any()
    rim = np.ones(made.shape, bool)
    rim[200:800, 200:800] = False
    assert (made[rim] == 50.0).all()


def test_heights_that_no_ground_has_are_refused(tmp_path):
    path = write(tmp_path / "dem.tif", np.full((50, 50), 20_000.0, np.float32))
    with pytest.raises(InputError, match=r"20,000 m, higher than any ground") as caught:
        highest_of([path], NEAR, "auto", UTM)
    assert "layers.elevation_unit" in str(caught.value)
    assert "dem.tif" in str(caught.value)


def test_a_part_too_large_is_read_from_the_reduced_copies(tmp_path, monkeypatch):
    ground = np.full((512, 512), 100.0, np.float32)
    ground[200:232, 200:232] = 700.0
    path = write(tmp_path / "dem.tif", ground, tiled=True, blockxsize=128, blockysize=128)
    with rasterio.open(path, "r+") as dst:
        dst.build_overviews([2, 4, 8], Resampling.average)
    monkeypatch.setattr("siteplanner.data.far_heights.MOST_PIXELS", 20_000)
    assert highest_of([path], NEAR, "auto", UTM).height_m == pytest.approx(700.0)
    like = coarse_grid((X0, Y0, X0 + 5120, Y0 + 5120), 160.0, UTM)
    made = read_highest([path], like, "auto")
    assert made.max() == pytest.approx(700.0)
    assert np.isfinite(made).all()


def test_across_the_180th_meridian(tmp_path):
    crs = CRS.from_epsg(32601)
    ground = np.full((100, 100), 30.0, np.float32)
    ground[50, 50] = 90.0
    path = write(tmp_path / "west.tif", ground, cell=0.001, x=179.9, y=59.95, crs="EPSG:4326")
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(179.95, 60.0)
    like = coarse_grid((x - 2000, y - 3000, x + 4000, y + 3000), 200.0, crs)
    lon, _ = like.lonlat(*like.xy(np.array([0, 0]), np.array([0, like.shape[1] - 1])))
    assert lon[0] > 179.9 > 0 > lon[1]  # the grid lies on both sides
    made = read_highest([path], like, "auto")
    assert np.nanmax(made) >= 89
    assert np.isfinite(made[:, :10]).all()
    assert np.isnan(made[:, -1]).all()


def test_block_maxima_by_hand():
    values = np.array([[1, 2, 3, 4, 9], [5, np.nan, np.nan, np.nan, 9]], np.float32)
    np.testing.assert_array_equal(block_highest(values, 2, 2), np.array([[5, 4, 9]], np.float32))
    np.testing.assert_array_equal(block_highest(values[1:], 1, 4), np.array([[np.nan, 9]], np.float32))
    np.testing.assert_array_equal(widened(np.array([[1, 7, np.nan], [2, 3, 4]])), np.array([[7, 7, np.nan], [7, 7, 7]]))
