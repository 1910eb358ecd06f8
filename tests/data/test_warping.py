"""The resampling kernel, the mapping and the bridging of holes, against slow twins and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from siteplanner.core.resample import resample
from siteplanner.data.gaps import fill_small_gaps
from siteplanner.data.warping import Mapping, block_means

from .conftest import LAT, LON, UTM


def keys(distance: float) -> float:
    """Keys 1981, "Cubic convolution interpolation for digital image processing", IEEE Trans. ASSP 29(6), eq. 15."""
    s = abs(distance)
    if s < 1:
        return 1.5 * s**3 - 2.5 * s**2 + 1
    return -0.5 * s**3 + 2.5 * s**2 - 4 * s + 2 if s < 2 else 0.0


def twin(z: np.ndarray, row: float, col: float) -> float:
    rows, cols = z.shape
    if not (-0.5 <= row <= rows - 0.5 and -0.5 <= col <= cols - 0.5):
        return np.nan
    near = [
        (i, j, z[min(max(i, 0), rows - 1), min(max(j, 0), cols - 1)])
        for i in range(int(np.floor(row)) - 1, int(np.floor(row)) + 3)
        for j in range(int(np.floor(col)) - 1, int(np.floor(col)) + 3)
    ]
    heights = [v for _, _, v in near]
    if not np.isnan(heights).any():
        total = sum(keys(row - i) * keys(col - j) * v for i, j, v in near)
        return min(max(total, min(heights)), max(heights))
    linear = [(max(0, 1 - abs(row - i)) * max(0, 1 - abs(col - j)), v) for i, j, v in near]
    known = [(w, v) for w, v in linear if not np.isnan(v)]
    weight = sum(w for w, _ in known)
    return sum(w * v for w, v in known) / weight if weight >= 0.5 - 1e-9 else np.nan


def test_kernel_against_its_twin():
    rng = np.random.default_rng(11)
    z = rng.uniform(100, 900, (20, 17)).astype(np.float32)
    z[rng.random(z.shape) < 0.06] = np.nan
    row, col = rng.uniform(-1, 20, 600), rng.uniform(-1, 17, 600)
    want = np.array([twin(z, r, c) for r, c in zip(row, col, strict=True)])
    got = resample(z, row, col)
    assert 50 < np.isnan(want).sum() < 300
    assert np.array_equal(np.isnan(got), np.isnan(want))
    assert np.allclose(got, want, rtol=1e-6, equal_nan=True)


def test_cell_centres_give_their_own_height():
    z = np.random.default_rng(2).uniform(0, 9, (12, 9)).astype(np.float32)
    row, col = np.mgrid[0:12, 0:9].astype(float)
    assert np.array_equal(resample(z, row, col), z)


def test_quadratic_ground_is_exact_inside():
    """Cubic convolution with a = -1/2 reproduces quadratics (Keys 1981, section III)."""
    r, c = np.mgrid[0:20, 0:20].astype(float)
    ground = lambda r, c: 500 + 3 * r - 2 * c + 0.5 * r * r - 0.25 * c * c + 0.1 * r * c  # noqa: E731
    row, col = np.random.default_rng(1).uniform(2, 17, (2, 200))
    assert np.allclose(resample(ground(r, c).astype(np.float32), row, col), ground(row, col), atol=2e-3)


def test_a_cliff_does_not_ring():
    z = np.zeros((9, 9), np.float32)
    z[:, 5:] = 300
    out = resample(z, *np.mgrid[2:6:0.1, 2:6:0.1])
    assert out.min() == 0
    assert out.max() == 300


def test_nan_positions_stay_unknown():
    assert np.isnan(resample(np.ones((3, 3), np.float32), np.array([np.nan, 1.0]), np.array([1.0, np.nan]))).all()


@pytest.mark.parametrize(("epsg", "cell"), [(4326, 1 / 3600), (2274, 100.0), (32617, 30.0), (5070, 30.0)])
def test_mapping_between_knots_is_straight_enough(epsg, cell):
    """The knots' error stays below 0.001 source cell on a block of 512 cells of 30 m."""
    crs = CRS.from_epsg(epsg)
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(LON, LAT)
    east, north = Transformer.from_crs(4326, UTM, always_xy=True).transform(LON, LAT)
    mapping = Mapping(
        Affine(30, 0, east, 0, -30, north), UTM, Affine(cell, 0, x, 0, -cell, y), crs, LON if epsg == 4326 else None
    )
    row, col = mapping.block(100, 37, 512, 500)
    exact = mapping.rowcol(np.arange(100.0, 612.0), np.arange(37.0, 537.0))
    assert np.abs(row - exact[0]).max() < 1e-3
    assert np.abs(col - exact[1]).max() < 1e-3


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (17, 1), (2, 2)])
def test_mapping_of_tiny_blocks(shape):
    mapping = Mapping(Affine(10, 0, 0, 0, -10, 0), UTM, Affine(5, 0, 0, 0, -5, 0), UTM, None)
    row, col = mapping.block(0, 0, *shape)
    assert row.shape == col.shape == shape
    assert row[0, 0] == col[0, 0] == 0.5  # the centre of a 10 m cell lies between four centres of 5 m cells


def test_block_means_count_only_what_is_known():
    z = np.array([[1, 3, 9, np.nan], [5, 7, np.nan, np.nan]], dtype=np.float32)
    assert np.array_equal(block_means(z, 2, 2), np.array([[4, np.nan]], np.float32), equal_nan=True)
    assert np.array_equal(block_means(z, 1, 2), np.array([[2, 9], [6, np.nan]], np.float32), equal_nan=True)


# --- holes


def plane(rows=30, cols=30):
    r, c = np.mgrid[0:rows, 0:cols]
    return (100 + 2.0 * r - 1.0 * c).astype(np.float32)


@given(row=st.integers(1, 20), col=st.integers(1, 20), tall=st.integers(1, 3), wide=st.integers(1, 3))
@settings(max_examples=30, deadline=None)
def test_holes_in_a_plane_are_filled_exactly(row, col, tall, wide):
    z = plane()
    z[row : row + tall, col : col + wide] = np.nan
    filled, count = fill_small_gaps(z, 3)
    assert count == tall * wide
    assert np.allclose(filled, plane(), atol=1e-4)


def test_holes_wider_than_allowed_stay_whole():
    z = plane()
    z[10:14, 10:14] = np.nan
    filled, count = fill_small_gaps(z, 3)
    assert count == 0
    assert np.isnan(filled).sum() == 16
    assert fill_small_gaps(z, 4)[1] == 16


def test_a_small_hole_that_hangs_on_a_large_one_stays():
    z = plane()
    z[10:20, 10:20] = np.nan
    z[9, 9] = np.nan  # touches its corner
    z[25, 25] = np.nan
    filled, count = fill_small_gaps(z, 3)
    assert count == 1
    assert np.isnan(filled[9, 9])


def test_a_seam_across_the_raster_is_bridged():
    z = plane()
    z[:, 14:16] = np.nan
    filled, count = fill_small_gaps(z, 3)
    assert count == 60
    assert np.allclose(filled, plane(), atol=1e-4)


def test_the_rim_is_never_extrapolated():
    z = plane()
    z[:, 28:] = np.nan
    z[:2, :] = np.nan
    assert fill_small_gaps(z, 3)[1] == 0


def test_nothing_to_do_and_all_unknown():
    assert fill_small_gaps(plane(), 3)[1] == 0
    assert fill_small_gaps(np.full((9, 9), np.nan, np.float32), 3)[1] == 0
    z = plane()
    z[5, 5] = np.nan
    assert fill_small_gaps(z, 0)[1] == 0
    assert np.isnan(z[5, 5])


def test_given_values_are_not_changed():
    z = plane()
    z[5, 5] = np.nan
    fill_small_gaps(z, 3)
    assert np.isnan(z[5, 5])
