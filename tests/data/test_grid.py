"""Grid: metres to cells and back, sampling, degrees, convergence."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from siteplanner.data.grid import Grid
from siteplanner.errors import InputError

from .conftest import LAT, LON, UTM


def grid(rows=7, cols=5, cell=10.0, west=740_000.0, north=4_050_000.0, values=None):
    if values is None:
        values = np.arange(rows * cols, dtype=np.float32).reshape(rows, cols)
    return Grid(values, Affine(cell, 0, west, 0, -cell, north), UTM)


@given(
    cell=st.floats(0.5, 500),
    west=st.floats(-1e6, 1e6),
    north=st.floats(-1e7, 1e7),
    row=st.floats(-100, 5000),
    col=st.floats(-100, 5000),
)
def test_rowcol_and_xy_undo_each_other(cell, west, north, row, col):
    g = grid(cell=cell, west=west, north=north)
    back = g.rowcol(*g.xy(row, col))
    # coordinates of 1e7 m have a step of 2e-9 m in a double
    assert np.allclose(back, (row, col), atol=1e-8 / cell + 1e-9)


@given(row=st.integers(0, 6), col=st.integers(0, 4), dx=st.floats(-0.499, 0.499), dy=st.floats(-0.499, 0.499))
def test_a_point_lies_in_the_cell_whose_centre_is_nearest(row, col, dx, dy):
    g = grid()
    x, y = g.xy(row, col)
    assert g.cell(float(x) + 10 * dx, float(y) + 10 * dy) == (row, col)


def test_corners_and_outside():
    g = grid()
    assert g.bounds == (740_000, 4_049_930, 740_050, 4_050_000)
    assert g.xy(0, 0) == (740_005, 4_049_995)
    assert g.cell(739_999, 4_049_995) is None
    assert g.cell(740_005, 4_050_001) is None
    assert g.shape == (7, 5)
    assert g.cell_size_m == 10


def test_arrays_broadcast():
    x, y = grid().xy(np.arange(7)[:, None], np.arange(5)[None, :])
    assert np.broadcast_shapes(x.shape, y.shape) == (7, 5)


@given(a=st.floats(-3, 3), b=st.floats(-3, 3), row=st.floats(0, 6), col=st.floats(0, 4))
def test_sample_is_exact_on_a_plane(a, b, row, col):
    r, c = np.mgrid[0:7, 0:5]
    g = grid(values=(a * r + b * c + 100.0))
    assert g.sample(*g.xy(row, col)) == pytest.approx(a * row + b * col + 100, abs=1e-6)


def test_sample_at_the_rim_beside_unknown_and_outside():
    values = np.full((7, 5), 8.0)
    values[3, 2] = np.nan
    g = grid(values=values)
    assert np.isnan(g.sample(*g.xy(3.4, 2.4)))
    assert g.sample(*g.xy(5, 3)) == 8
    assert np.isnan(g.sample(*g.xy(-0.6, 0)))
    assert np.isnan(g.sample(*g.xy(0, 4.6)))
    assert g.sample(*g.xy(-0.4, 4.4)) == pytest.approx(8)


def test_an_exact_cell_centre_beside_unknown_ground_is_known():
    """Weight 0 times unknown is nothing, not unknown."""
    values = np.full((3, 3), 8.0)
    values[1, 2] = values[2, 1] = np.nan
    g = grid(values=values)
    assert g.sample(*g.xy(1, 1)) == 8


def test_degrees_there_and_back():
    g = grid()
    assert np.allclose(g.from_lonlat(*g.lonlat(740_020.0, 4_049_960.0)), (740_020, 4_049_960), atol=1e-3)


def test_convergence():
    """Transverse Mercator: convergence is about (lon - lon0) sin(lat); Snyder, USGS PP 1395 (1987), p. 61 ff.
    gives the series whose first term this is; the next is below 0.001 degree within 3 degrees."""
    g = grid()
    x, y = g.from_lonlat(LON, LAT)
    assert g.convergence_deg(x, y) == pytest.approx((LON + 87) * np.sin(np.radians(LAT)), abs=0.002)
    # many places at once, and what it is for: grid bearing + convergence = true bearing
    many = g.convergence_deg(np.array([x, x + 500.0]), np.array([y, y]))
    assert many.tolist() == [g.convergence_deg(x, y), g.convergence_deg(x + 500.0, y)]
    assert g.grid_bearing_deg(200.0, x, y) + g.convergence_deg(x, y) == 200.0


@pytest.mark.parametrize(
    "transform",
    [Affine(10, 1, 0, 0, -10, 0), Affine(10, 0, 0, 0, 10, 0), Affine(10, 0, 0, 0, -11, 0), Affine(-10, 0, 0, 0, 10, 0)],
)
def test_only_square_north_up_cells(transform):
    with pytest.raises(InputError, match="north up"):
        Grid(np.zeros((3, 3)), transform, UTM)


def test_only_two_dimensions_and_fitting_values():
    with pytest.raises(InputError, match="two dimensions"):
        Grid(np.zeros(3), Affine(10, 0, 0, 0, -10, 0), CRS.from_epsg(32616))
    with pytest.raises(InputError, match="another shape"):
        grid().with_values(np.zeros((2, 2)))
    assert grid().with_values(np.ones((7, 5))).values.sum() == 35
