"""Slope, planes and the trailer's attitude against published windows, closed forms and real ground."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import cbook

from siteplanner.core.terrain import (
    attitude,
    best_heading,
    fit_plane,
    footprint,
    gradient,
    jack_lifts_m,
    slope_deg,
)


def plane(east: float, north: float, cell: float, shape=(9, 11)) -> np.ndarray:
    rows, cols = np.indices(shape, dtype=float)
    return 100 + east * cols * cell - north * rows * cell


def downhill_deg(east, north):
    """The grid bearing that a slope faces."""
    return np.degrees(np.arctan2(-east, -north)) % 360


@pytest.mark.parametrize(
    ("window", "slope", "aspect"),
    [
        # GIS vendor help "How Slope works", window and result; aspect by gdaldem 3.6.2
        ([[50, 45, 50], [30, 30, 30], [8, 10, 10]], 75.25762, 180.7538),
        # help "How Aspect works" (from memory), gdaldem 3.6.2 agrees: aspect 92.64; slope with 5 m cells
        ([[101, 92, 85], [101, 92, 85], [101, 91, 84]], 58.41970, 92.64255),
    ],
)
def test_horn_window(window, slope, aspect):
    z = np.array(window, float)
    assert slope_deg(z, 5.0)[1, 1] == pytest.approx(slope, abs=1e-4)
    east, north = gradient(z, 5.0)
    assert downhill_deg(east, north)[1, 1] == pytest.approx(aspect, abs=1e-4)


@pytest.mark.parametrize("cell", [1.0, 10.0, 30.0])
@pytest.mark.parametrize(
    ("east", "north", "slope", "aspect"),
    [
        # closed form: slope = atan of the gradient, aspect = atan2(-east, -north)
        (0.03, -0.04, 2.862405, 323.1301),
        (-0.06, 0.08, 5.710593, 143.1301),
        (0.10, 0.0, 5.710593, 270.0),
        (0.0, 0.10, 5.710593, 180.0),
    ],
)
def test_tilted_plane(east, north, slope, aspect, cell):
    z = plane(east, north, cell)
    inside = np.s_[1:-1, 1:-1]
    np.testing.assert_allclose(slope_deg(z, cell)[inside], slope, atol=1e-5)
    p, q = gradient(z, cell)
    np.testing.assert_allclose(downhill_deg(p, q)[inside], aspect, atol=1e-3)
    np.testing.assert_allclose(p[inside], east, atol=1e-6)
    np.testing.assert_allclose(q[inside], north, atol=1e-6)


def test_cells_of_another_size_in_each_row_scale_that_row_alone():
    z = np.random.default_rng(5).normal(0, 10, (40, 30)).astype(np.float32)
    size = np.linspace(8.0, 12.0, 40)
    one, each = gradient(z, 10.0), gradient(z, size)
    for whole, by_row in zip(one, each, strict=True):
        np.testing.assert_allclose(by_row, whole * (10.0 / size[:, None]), rtol=1e-6)
    size[3] = 0.0
    with pytest.raises(ValueError, match="cell size"):
        gradient(z, size)


def test_slope_is_unknown_beside_gaps_and_at_the_rim():
    z = plane(0.1, 0.0, 10.0)
    z[4, 5] = np.nan
    slope = slope_deg(z, 10.0)
    expected = np.ones(z.shape, bool)
    expected[1:-1, 1:-1] = False
    expected[3:6, 4:7] = True  # the gap itself too, though Horn gives it no weight
    np.testing.assert_array_equal(np.isnan(slope), expected)


def test_level_ground_has_no_slope():
    assert slope_deg(np.full((3, 3), 7.0), 10.0)[1, 1] == 0


def test_bands_of_a_tall_raster_join_without_a_seam():
    z = np.random.default_rng(0).random((700, 5)).astype(np.float32) * 10
    whole = slope_deg(z, 10.0)
    for row in (255, 256, 257, 512, 513):
        np.testing.assert_array_equal(whole[row], slope_deg(z[row - 1 : row + 2], 10.0)[1])


def test_slope_of_real_hills():
    # matplotlib sample data jacksboro_fault_dem.npz, read as squares of 90 m: gdaldem 3.6.2 gives the same
    z = cbook.get_sample_data("jacksboro_fault_dem.npz")["elevation"]
    assert (z.shape, z.min(), z.max(), z[288, 347], z[297, 219]) == ((344, 403), 236, 1076, 236, 1076)
    slope = slope_deg(z, 90.0)[1:-1, 1:-1]
    assert slope.max() == pytest.approx(33.7599, abs=1e-4)
    assert slope.mean(dtype=float) == pytest.approx(11.93772, abs=1e-4)


def test_a_wrong_raster_is_refused():
    with pytest.raises(ValueError, match="two dimensions"):
        slope_deg(np.zeros(5), 10.0)
    with pytest.raises(ValueError, match="cell size"):
        slope_deg(np.zeros((5, 5)), 0.0)


@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-1e6, 1e6))
def test_fit_plane_finds_the_plane_far_from_the_origin(east, north, offset):
    rng = np.random.default_rng(2)
    x, y = rng.random(20) * 8 + offset, rng.random(20) * 5 - offset
    z0, e, n, residuals = fit_plane(x, y, 50 + east * (x - offset) + north * (y + offset))
    assert e == pytest.approx(east, abs=1e-7)
    assert n == pytest.approx(north, abs=1e-7)
    assert np.abs(residuals).max() < 1e-7
    assert z0 + e * offset - n * offset == pytest.approx(50, abs=1e-2)


def test_fit_plane_is_the_least_squares_solution():
    rng = np.random.default_rng(3)
    x, y, z = rng.random((3, 30))
    z0, e, n, residuals = fit_plane(x, y, z)
    best, *_ = np.linalg.lstsq(np.column_stack([np.ones(30), x, y]), z, rcond=None)
    np.testing.assert_allclose((z0, e, n), best, atol=1e-10)
    np.testing.assert_allclose(residuals, z - z0 - e * x - n * y, atol=1e-12)


@pytest.mark.parametrize(
    ("x", "y", "z"),
    [([0, 1], [0, 1], [0, 1]), ([0, 1, 2], [0, 1, 2], [0, 5, 1]), ([0, 1, 0], [0, 0, 1], [0, np.nan, 1])],
)
def test_no_plane_through_too_little(x, y, z):
    z0, east, north, residuals = fit_plane(x, y, z)
    assert np.isnan([z0, east, north, *residuals]).all()


@pytest.mark.parametrize("heading", [None, 0.0, 37.0, 90.0])
def test_footprint_on_fine_cells_fits_its_own_ground(heading):
    z = plane(0.05, -0.02, 0.5, (60, 60))
    z[:10] += 50  # a bank outside the trailer's own ground does not count
    under = footprint(z, 0.5, 40, 30, 6.0, 2.4, outrigger_m=1.2, heading_deg=heading)
    assert under.fitted
    assert under.cells > 20
    assert (under.east_gradient, under.north_gradient) == pytest.approx((0.05, -0.02), abs=1e-9)
    assert under.relief_m < 1e-9
    assert under.ground_m == pytest.approx(z[40, 30], abs=1e-9)
    assert under.slope_deg == pytest.approx(math.degrees(math.atan(math.hypot(0.05, 0.02))))


def test_footprint_counts_the_cells_of_the_turned_rectangle():
    z = np.zeros((41, 41))
    # 6 m x 4 m on 1 m cells about a cell centre, rim included: 7 x 5 cells lengthwise north, 5 x 7 east
    assert footprint(z, 1.0, 20, 20, 6.0, 2.0, 1.0, 0.0).cells == 35
    z[20, 23] = 9.0  # 3 m east of the middle: under the nose when it points east, outside when north
    assert footprint(z, 1.0, 20, 20, 6.0, 2.0, 1.0, 0.0).relief_m == 0
    assert footprint(z, 1.0, 20, 20, 6.0, 2.0, 1.0, 90.0).relief_m > 1


def test_footprint_relief_is_the_largest_step_off_the_plane():
    z = np.zeros((41, 41))
    z[20, 20] = 1.0
    under = footprint(z, 0.5, 20, 20, 6.0, 4.0, 0.0, 0.0)
    assert under.relief_m == pytest.approx(1 - 1 / under.cells)


def test_footprint_on_coarse_cells_is_the_horn_window():
    rng = np.random.default_rng(4)
    z = plane(0.05, 0.02, 10.0) + rng.random((9, 11))
    under = footprint(z, 10.0, 4, 5, 6.0, 2.4, 1.2)
    assert not under.fitted
    assert under.cells == 9
    assert under.slope_deg == pytest.approx(slope_deg(z, 10.0)[4, 5], abs=1e-5)


def test_footprint_over_unknown_ground_is_unknown():
    fine = plane(0.05, 0.0, 0.5, (40, 40))
    fine[20, 22] = np.nan
    assert math.isnan(footprint(fine, 0.5, 20, 20, 6.0, 2.4, 1.2).slope_deg)
    assert math.isnan(footprint(fine, 0.5, 3, 3, 6.0, 2.4, 1.2).relief_m)  # reaches outside the raster
    coarse = plane(0.05, 0.0, 10.0)
    assert math.isnan(footprint(coarse, 10.0, 0, 4, 6.0, 2.4).slope_deg)
    with pytest.raises(ValueError, match="length and a width"):
        footprint(fine, 0.5, 20, 20, 0.0, 2.4)


@pytest.mark.parametrize(
    ("heading", "roll", "pitch"),
    [(90, 0, 5), (270, 0, -5), (0, -5, 0), (180, 5, 0)],  # ground rising to the east by 5 degrees
)
def test_attitude_signs(heading, roll, pitch):
    # nose uphill is nose up; heading north the right side stands on higher ground, so it is not down
    assert attitude(math.tan(math.radians(5)), 0.0, heading) == pytest.approx((roll, pitch), abs=1e-9)


angles = st.floats(0, 359.9)
gentle = st.floats(-0.2, 0.2)


@given(gentle, gentle, angles)
def test_attitude_holds_the_whole_gradient(east, north, heading):
    roll, pitch = np.tan(np.radians(attitude(east, north, heading)))
    assert math.hypot(roll, pitch) == pytest.approx(math.hypot(east, north), abs=1e-12)


def test_best_heading_along_the_fall_line():
    # ground rising to the east: nose east or west; the way out decides
    assert best_heading(0.05, 0.0, 2.0, 5.0, prefer_deg=80) == pytest.approx(90)
    assert best_heading(0.05, 0.0, 2.0, 5.0, prefer_deg=200) == pytest.approx(270)
    assert best_heading(0.05, 0.0, 2.0, 5.0) == pytest.approx(270)  # downhill without a wish


def test_best_heading_turns_off_a_slope_too_steep_for_the_pitch():
    heading = best_heading(0.1, 0.0, 5.0, 5.0, prefer_deg=0)
    roll, pitch = attitude(0.1, 0.0, heading)
    assert abs(pitch) == pytest.approx(5.0)
    assert abs(roll) == pytest.approx(2.7728, abs=1e-3)  # tan roll = sqrt(0.1^2 - tan^2 5)
    assert math.isnan(best_heading(0.1, 0.0, 2.0, 5.0))
    assert math.isnan(best_heading(np.nan, 0.0, 2.0, 5.0))


def test_best_heading_on_level_ground_is_the_way_out():
    assert best_heading(0.0, 0.0, 2.0, 5.0, prefer_deg=33) == pytest.approx(33)
    assert best_heading(0.005, 0.0, 2.0, 5.0, prefer_deg=33, level_deg=0.5) == pytest.approx(33)
    headings = best_heading(np.array([0.05, 0.0, 0.5]), 0.0, 2.0, 5.0, prefer_deg=10.0)
    assert headings[:2] == pytest.approx([90, 10])
    assert math.isnan(headings[2])


@given(gentle, gentle, st.floats(0.1, 6), st.floats(0.1, 8), angles)
def test_no_heading_beats_the_best(east, north, max_roll, max_pitch, prefer):
    best = best_heading(east, north, max_roll, max_pitch, prefer_deg=prefer)
    rolls, pitches = attitude(east, north, np.arange(0, 360, 0.25))
    fits = (np.abs(pitches) <= max_pitch) & (np.abs(rolls) <= max_roll)
    if math.isnan(best):
        assert not fits.any()
        return
    roll, pitch = attitude(east, north, best)
    assert abs(pitch) <= max_pitch + 1e-9
    assert abs(roll) <= max_roll + 1e-9
    if fits.any():
        assert abs(roll) <= np.abs(rolls[fits]).min() + 1e-9


@pytest.mark.parametrize(
    ("length", "width", "pitch", "roll", "largest"),
    # closed form L tan|pitch| + W tan|roll|
    [(6.0, 2.4, 3.0, 2.0, 0.39826), (4.0, 2.0, 5.0, 0.0, 0.34995), (5.2, 2.1, -1.5, 4.0, 0.28301)],
)
@pytest.mark.parametrize("heading", [0.0, 71.0, 200.0])
def test_jack_lifts(length, width, pitch, roll, largest, heading):
    forward, right = math.tan(math.radians(pitch)), -math.tan(math.radians(roll))
    h = math.radians(heading)
    east = forward * math.sin(h) + right * math.cos(h)
    north = forward * math.cos(h) - right * math.sin(h)
    assert attitude(east, north, heading) == pytest.approx((roll, pitch), abs=1e-9)
    lifts = jack_lifts_m(east, north, heading, length, width)
    assert max(lifts.values()) == pytest.approx(largest, abs=1e-5)
    assert min(lifts.values()) == pytest.approx(0.0, abs=1e-12)
    assert min(lifts.values()) >= 0
    # lifted by these, all four corners stand at one height
    corners = {"front_left": (1, -1), "front_right": (1, 1), "rear_left": (-1, -1), "rear_right": (-1, 1)}
    tops = [lifts[k] + f * length / 2 * forward + r * width / 2 * right for k, (f, r) in corners.items()]
    assert tops == pytest.approx([tops[0]] * 4, abs=1e-12)


def test_nose_up_means_lifting_the_rear():
    lifts = jack_lifts_m(0.0, 0.05, 0.0, 6.0, 2.4)
    assert lifts["front_left"] == lifts["front_right"] == 0
    assert lifts["rear_left"] == pytest.approx(0.3)
