"""The horizon of every cell against the exact walk of one point: the same angle, the same end of what is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from siteplanner.core.horizon import horizon_reach
from siteplanner.core.horizon_raster import horizon_raster
from siteplanner.core.sky import known_margin_deg
from tests.core.test_horizon import EARTH_M, hills
from tests.core.test_sky import holed, terrain


def turning(at):
    """A bearing that turns a little from cell to cell, exactly blended by a straight line."""
    return lambda rows, cols: at + 0.002 * rows + 0.001 * cols


@pytest.mark.parametrize("azimuth", [0.0, 61.7, 123.4, 180.0, 215.0, 270.0, 333.3])
@pytest.mark.parametrize("holes", [False, True])
def test_every_cell_has_the_horizon_that_a_walk_from_it_finds(azimuth, holes):
    z, cell = terrain("hills")
    z = holed(z) if holes else z
    trees = np.fmax(z, z + np.where(np.random.default_rng(2).random(z.shape) < 0.05, 20, 0).astype(np.float32))
    angle, known_to = horizon_raster(z, cell, turning(azimuth), 2.0, obstacles_m=trees)
    rng = np.random.default_rng(4)
    for row, col in [(0, 0), (189, 219), *rng.integers(0, z.shape, (120, 2)).tolist()]:
        want, want_to = horizon_reach(z, cell, row, col, turning(azimuth)(row, col), 2.0, obstacles_m=trees)
        if math.isnan(z[row, col]):
            assert math.isnan(angle[row, col])
            continue
        # bearings are blended between points 64 cells apart, by unit vectors: 0.00001 deg off here
        assert angle[row, col] == pytest.approx(want, abs=2e-3, nan_ok=True)
        assert known_to[row, col] == pytest.approx(float(want_to), rel=1e-6)


def test_along_the_axes_nothing_is_blended_and_nothing_differs():
    z = hills(seed=5)
    for azimuth in (0.0, 90.0, 180.0, 270.0):
        angle, known_to = horizon_raster(z, 30.0, lambda r, c, a=azimuth: np.full(np.shape(r), a), 2.0)
        for row, col in np.random.default_rng(1).integers(0, z.shape, (60, 2)).tolist():
            want, want_to = horizon_reach(z, 30.0, row, col, azimuth, 2.0)
            assert angle[row, col] == pytest.approx(want, abs=1e-5, nan_ok=True)
            assert known_to[row, col] == np.float32(want_to)


def test_a_wall_stands_as_high_as_its_closed_form_from_every_cell():
    z = np.zeros((5, 300), np.float32)
    z[:, 250] = 60.0
    angle, known_to = horizon_raster(z, 10.0, lambda r, c: np.full(np.shape(r), 90.0), 2.0)
    distance = (250 - np.arange(249)) * 10.0
    tangent = 58 / distance - distance / (2 * EARTH_M)
    assert np.tan(np.radians(angle[2, :249])) == pytest.approx(tangent, rel=1e-5)
    assert np.isinf(known_to[2, :249]).all()
    assert np.isfinite(known_to[2, 251:]).all()  # behind the wall the raster ends before anything is certain


def test_only_the_wanted_cells_and_the_same_for_any_number_of_threads():
    z = holed(terrain("hills")[0])
    wanted = np.zeros(z.shape, bool)
    wanted[3::4, 1::4] = True
    whole, reach = horizon_raster(z, 90.0, turning(200.0), 2.0, threads=1)
    for threads in (1, 3):
        some, some_reach = horizon_raster(z, 90.0, turning(200.0), 2.0, wanted, threads=threads)
        assert np.isnan(some[~wanted]).all()
        np.testing.assert_array_equal(some[wanted], whole[wanted])
        np.testing.assert_array_equal(some_reach[wanted], reach[wanted])


def test_refusals():
    z = hills()
    with pytest.raises(ValueError, match="rows and columns"):
        horizon_raster(z, 10.0, turning(0.0), 2.0, np.ones((3, 3), bool))
    with pytest.raises(ValueError, match="height"):
        horizon_raster(z, 10.0, turning(0.0), -1.0)
    nothing, _ = horizon_raster(np.full((9, 9), np.nan, np.float32), 10.0, turning(0.0), 2.0)
    assert np.isnan(nothing).all()


def test_of_a_beam_the_highest_ray_is_told_and_the_same_verdict_as_ray_by_ray():
    z = holed(terrain("hills")[0])
    rays = np.array([-1.5, 0.0, 1.5])
    whole, reach = horizon_raster(z, 90.0, lambda r, c: turning(200.0)(r, c)[..., None] + rays, 2.0)
    each = [horizon_raster(z, 90.0, lambda r, c, off=off: turning(200.0)(r, c) + off, 2.0) for off in rays]
    horizon, known_to = np.stack([h for h, _ in each]), np.stack([k for _, k in each])
    known = np.isfinite(z) & np.isfinite(horizon).all(axis=0)
    np.testing.assert_array_equal(whole[known], horizon.max(axis=0)[known])
    ceiling, least = float(np.nanmax(z)), 2.0
    for elevation in (4.0, 9.0, 16.0):
        one = known_margin_deg(elevation, whole, reach, z + 2.0, ceiling, least)
        other = known_margin_deg(elevation, horizon.max(axis=0), known_to.min(axis=0), z + 2.0, ceiling, least)
        np.testing.assert_array_equal(np.isnan(one)[known], np.isnan(other)[known])
        assert np.isnan(one[known]).any()
        assert np.isfinite(one[known]).any()
