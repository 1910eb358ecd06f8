"""Water over ground: a queue-by-queue twin, closed forms, and what must hold on any ground."""

from __future__ import annotations

import heapq
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.core.flow import above_drainage_m, block_minima, drainage_level_m, drained, ends, flow

NEIGHBOURS = [(-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1)]


def filled(z):
    """Priority flood (Barnes, Lehman and Mulla 2014, Comput. Geosci. 62), cell by cell, the raster's rim outside."""
    rows, cols = z.shape
    out = np.full(z.shape, np.nan)
    queue, seen = [], set()
    for r in range(rows):
        for c in range(cols):
            rim = r in (0, rows - 1) or c in (0, cols - 1)
            hole = any(
                np.isnan(z[r + dr, c + dc]) for dr, dc in NEIGHBOURS if 0 <= r + dr < rows and 0 <= c + dc < cols
            )
            if not np.isnan(z[r, c]) and (rim or hole):
                heapq.heappush(queue, (z[r, c], r, c))
                seen.add((r, c))
    while queue:
        level, r, c = heapq.heappop(queue)
        out[r, c] = level
        for dr, dc in NEIGHBOURS:
            a, b = r + dr, c + dc
            if 0 <= a < rows and 0 <= b < cols and (a, b) not in seen and not np.isnan(z[a, b]):
                seen.add((a, b))
                heapq.heappush(queue, (max(level, z[a, b]), a, b))
    return out


def grounds(seed, shape=(23, 31), steps=None):
    rng = np.random.default_rng(seed)
    z = rng.random(shape) * 10 + np.linspace(0, 15, shape[1])
    if steps:
        z = np.round(z / steps) * steps  # level stretches and ties
    z[rng.random(shape) < 0.03] = np.nan
    return z


@pytest.mark.parametrize("steps", [None, 0.5, 4.0])
@pytest.mark.parametrize("seed", range(6))
def test_hollows_fill_to_their_lowest_pass_as_the_twin_says(seed, steps):
    z = grounds(seed, steps=steps)
    np.testing.assert_array_equal(flow(z, 10.0).fill_m, filled(z))


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000), st.sampled_from([None, 1.0, 20.0]))
def test_every_drop_leaves_and_is_counted_once(seed, steps):
    z = grounds(seed, (9, 13), steps)
    made = flow(z, 5.0)
    n = z.size
    known = np.isfinite(z.ravel())
    last = ends(made.receiver)
    assert (made.receiver[last] == last).all()  # no path runs in a circle
    rim = np.zeros(z.shape, bool)
    rim[[0, -1]] = rim[:, [0, -1]] = True
    hole = np.isnan(np.pad(z, 1))
    near = np.zeros(z.shape, bool)
    for dr, dc in NEIGHBOURS:
        near |= hole[1 + dr : 1 + dr + z.shape[0], 1 + dc : 1 + dc + z.shape[1]]
    reaches = (rim | near).ravel()
    for end in np.unique(last[known]):  # what ends together holds a place at the rim or beside unknown ground
        assert reaches[known & (last == end)].any()
    outlets = np.unique(last[known])
    assert made.area_m2.ravel()[outlets].sum() == pytest.approx(known.sum() * 25.0)
    # a path never climbs above the level that its hollow fills to
    fill = made.fill_m.ravel()
    inner = known & (made.receiver != np.arange(n))
    assert (fill[made.receiver[inner]] <= fill[inner] + 1e-9).all()


def test_counts_are_those_of_walking_every_path():
    receiver = flow(grounds(3), 10.0).receiver
    walked = np.zeros(len(receiver))
    for cell in range(len(receiver)):
        here = cell
        while True:
            walked[here] += 1
            if receiver[here] == here:
                break
            here = receiver[here]
    np.testing.assert_array_equal(drained(receiver, np.ones(len(receiver), bool)), walked)


def test_an_even_slope_drains_straight_down_in_strips():
    # closed form: on a plane falling south, a cell in row r has drained its column: (r + 1) cells
    rows, _ = np.indices((40, 20))
    made = flow(100.0 - 0.5 * rows, 10.0)
    np.testing.assert_array_equal(made.area_m2, (rows + 1) * 100.0)
    np.testing.assert_array_equal(made.fill_m, made.height_m)


def height_above_drainage_m(z, made, channel_area_m2, water=None):
    """Of every cell of the elevation."""
    return above_drainage_m(z, made, drainage_level_m(made, channel_area_m2, water), *np.indices(z.shape))


def v_valley(cross=0.2, along=0.02, shape=(101, 101), cell=10.0):
    """A straight valley falling south; its channel is the middle column."""
    rows, cols = np.indices(shape)
    return 500 + cross * cell * np.abs(cols - shape[1] // 2) - along * cell * rows


def test_height_above_the_channel_of_a_v_valley():
    # Down the side a path falls along the steepest of eight: straight across while 0.2 > (0.2 + 0.02) / sqrt 2.
    z = v_valley()
    made = flow(z, 10.0)
    hand = height_above_drainage_m(z, made, 20 * 101 * 100.0)  # a channel once twenty rows have drained
    rows, cols = np.indices(z.shape)
    low = rows >= 25
    np.testing.assert_allclose(hand[low], (0.2 * 10 * np.abs(cols - 50))[low], atol=1e-3)
    assert made.area_m2[100, 50] == pytest.approx(101 * 101 * 100.0)


def test_mapped_water_counts_where_no_channel_has_formed():
    z = v_valley()
    made = flow(z, 10.0)
    assert np.isnan(height_above_drainage_m(z, made, 1e12)).all()  # no channel: not known, not high
    water = np.zeros(z.shape, bool)
    water[:, 50] = True
    hand = height_above_drainage_m(z, made, 1e12, water)
    assert hand[5, 50] == 0
    assert hand[60, 47] == pytest.approx(6.0, abs=1e-3)


def test_the_bottom_of_a_hollow_is_not_high_ground():
    z = v_valley()
    z[40:60, 20:30] -= 30  # a pit in the side, deep enough to hold water
    made = flow(z, 10.0)
    hand = height_above_drainage_m(z, made, 20 * 101 * 100.0)
    assert made.fill_m[50, 25] > z[50, 25] + 10
    assert hand[50, 25] == 0


def test_large_rasters_are_thinned_and_channels_stay():
    z = v_valley(shape=(301, 301))
    whole, thin = flow(z, 10.0), flow(z, 10.0, max_cells=30_000)
    assert (thin.step, thin.cell_size_m) == (2, 20.0)
    assert thin.height_m.shape == (151, 151)
    a, b = (height_above_drainage_m(z, made, 4e5) for made in (whole, thin))
    inside = np.s_[60:290, 5:295]
    # a block's lowest cell is at most one row and one column off: 0.2 and 2 m here
    assert np.abs(a[inside] - b[inside]).max() <= 2.3
    np.testing.assert_array_equal(block_minima(np.array([[3.0, np.nan, 5], [1, 2, np.nan]]), 2), [[1.0, 5.0]])


def test_unknown_ground_stays_unknown_and_wrong_rasters_are_refused():
    made = flow(np.full((4, 5), np.nan), 10.0)
    assert np.isnan(height_above_drainage_m(np.full((4, 5), np.nan), made, 1.0)).all()
    assert made.area_m2.sum() == 0
    with pytest.raises(ValueError, match="two dimensions"):
        flow(np.zeros(4), 10.0)
    with pytest.raises(ValueError, match="cell size"):
        flow(np.zeros((4, 4)), 0.0)


def test_four_million_cells_take_little_more_than_smoothing_them():
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng(0)
    z = gaussian_filter(rng.random((2000, 2000)).astype(np.float32), 20) * 2000
    start = time.process_time()
    gaussian_filter(z, 20)
    base = time.process_time() - start
    start = time.process_time()
    made = flow(z, 10.0)
    height_above_drainage_m(z, made, 5e5)
    assert time.process_time() - start < 6 * base
