"""What cells hide, against real heights: a coarse raster's told chance against the finer raster it was made from.

The heights are those of the sample (cells of 3 seconds of arc, about 83 m). Means of their blocks are the coarse
raster; nothing of the law was fitted to any part of them but its one factor for wide cells, to all of them at once.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import rasterio

from siteplanner.core.parking import chance_above
from siteplanner.core.resample import resample
from siteplanner.core.roughness import REACH, WIDE_FACTOR, halving_sd, hidden_gradient_sd
from siteplanner.core.terrain import drawn_gradient_sd_per_m, gradient
from siteplanner.data.warping import block_means

HILLS = Path(__file__).parents[2] / "data_samples" / "real_hills" / "elevation.tif"
CELL_M = 83.0
LIMIT_DEG = 5.0


@pytest.fixture(scope="module")
def hills():
    with rasterio.open(HILLS) as source:
        return source.read(1).astype(float)


def degrees(east, north):
    return np.degrees(np.arctan(np.hypot(east, north)))


def told_and_true(heights, times, cell_m=CELL_M):
    """(told slope, told doubt, true slope) in degrees of cells `times` as fine as the coarse raster's."""
    rows, cols = (n // times * times for n in heights.shape)
    heights = heights[:rows, :cols]
    coarse = block_means(heights, times, times)
    fine = degrees(*gradient(heights, cell_m))
    slope = degrees(*gradient(coarse, times * cell_m))
    told, doubt, true = [], [], []
    for r in range(REACH, coarse.shape[0] - REACH):
        for c in range(REACH, coarse.shape[1] - REACH):
            part = coarse[r - REACH : r + REACH + 1, c - REACH : c + REACH + 1]
            hidden = math.degrees(math.atan(hidden_gradient_sd(part, times * cell_m, cell_m)))
            below = fine[times * r : times * (r + 1), times * c : times * (c + 1)].ravel()
            told += [slope[r, c]] * len(below)
            doubt += [hidden] * len(below)
            true += below.tolist()
    return np.array(told), np.array(doubt), np.array(true)


@pytest.mark.parametrize("part", ["north", "middle", "south", "east"])
def test_told_chances_cover_what_finer_cells_show(hills, part):
    """Where 166 m cells tell 2 to 3 deg some 36 % of the 83 m cells are above 5 deg: never a chance of nothing."""
    third, half = hills.shape[0] // 3, hills.shape[1] // 2
    first = {"north": 0, "middle": third, "south": 2 * third}
    told, doubt, true = told_and_true(hills[first[part] :][:third] if part in first else hills[:, half:], 2)
    ruled = 0
    for low, high in ((0, 2), (2, 3), (3, 4), (4, 5), (5, 7)):
        mine = (told >= low) & (told < high)
        if mine.sum() < 200:
            continue
        ruled += 1
        seen = np.mean(true[mine] > LIMIT_DEG)
        chance = np.mean(chance_above(told[mine], LIMIT_DEG, doubt[mine]))
        assert chance == pytest.approx(seen, abs=0.10), (low, high)
    assert ruled >= 3


@pytest.mark.parametrize(("times", "of"), [(2, 1), (4, 1), (2, 2)])
def test_the_law_holds_over_one_and_two_halvings(hills, times, of):
    """All of the sample: 166 to 83 m, 332 to 83 m, 332 to 166 m; a passing slope's chance within 10 points."""
    heights = block_means(hills[: hills.shape[0] // of * of, : hills.shape[1] // of * of], of, of)
    told, doubt, true = told_and_true(heights, times, CELL_M * of)
    mine = told < LIMIT_DEG
    seen = np.mean(true[mine] > LIMIT_DEG)
    chance = np.mean(chance_above(told[mine], LIMIT_DEG, doubt[mine]))
    assert chance == pytest.approx(seen, abs=0.10)
    if (times, of) == (2, 1):
        between = mine & (told >= 2) & (told < 3)
        assert np.mean(true[between] > LIMIT_DEG) == pytest.approx(0.36, abs=0.03)
        assert np.mean(chance_above(told[between], LIMIT_DEG, doubt[between])) > 0.3


def around(height, cell_m):
    off = np.arange(-REACH, REACH + 1) * cell_m
    return height(off[None, :], -off[:, None])


def test_a_plane_hides_nothing_and_a_bowl_what_its_curve_makes():
    assert halving_sd(around(lambda x, y: 3 + 0.1 * x - 0.2 * y, 10.0), 10.0) == pytest.approx(0, abs=1e-6)
    assert halving_sd(around(lambda x, y: 0.001 * (x**2 + y**2), 10.0), 10.0) == pytest.approx(0, abs=1e-6)
    # a wave of 80 m: Horn's window passes sin(k d) / (k d) times the other way's mean of it, the wide one
    # cos^2(k d / 2) sin(2 k d) / (2 k d) (transfer functions of the weights)
    k, d, high = 2 * math.pi / 80, 10.0, 2.0
    near = math.sin(k * d) / (k * d)
    wide = math.cos(k * d / 2) ** 2 * math.sin(2 * k * d) / (2 * k * d)
    found = halving_sd(around(lambda x, y: high * np.sin(k * x) + 0 * y, d), d)
    assert found == pytest.approx(high * k * (near - wide) / math.sqrt(2) / math.sqrt(2), rel=0.08)


def test_noise_alone_is_not_taken_for_rough_ground():
    rng = np.random.default_rng(4)
    found = [halving_sd(rng.normal(0, 0.8, (2 * REACH + 1,) * 2), 10.0, 0.8) for _ in range(200)]
    assert np.mean(np.array(found) > 0) < 0.25  # one standard deviation above the mean: one in six
    assert halving_sd(rng.normal(0, 0.8, (2 * REACH + 1,) * 2), 10.0) == pytest.approx(0.41 * 0.08, rel=0.3)


def test_each_halving_adds_the_same_variance_and_less_in_soil():
    rough = np.random.default_rng(5).normal(0, 3.0, (2 * REACH + 1,) * 2)
    one = hidden_gradient_sd(rough, 8.0, 4.0)
    assert one == pytest.approx(halving_sd(rough, 8.0))
    assert hidden_gradient_sd(rough, 8.0, 1.0) == pytest.approx(math.sqrt(1 + 2 / 3 + 4 / 9) * one)
    assert hidden_gradient_sd(rough, 8.0, 8.0) == 0
    wide = WIDE_FACTOR * halving_sd(rough, 160.0)
    assert hidden_gradient_sd(rough, 160.0, 80.0) == pytest.approx(wide)
    assert hidden_gradient_sd(rough, 160.0, 20.0) == pytest.approx(math.sqrt(3) * wide)
    assert hidden_gradient_sd(rough, 160.0, 5.0) == pytest.approx(math.sqrt(3 + 1 + 2 / 3) * wide)


def test_unknown_ground_is_not_calm_ground():
    heights = np.random.default_rng(6).normal(0, 3.0, (2 * REACH + 1,) * 2)
    heights[:, :5] = np.nan
    assert math.isfinite(halving_sd(heights, 10.0))
    heights[5:, :] = np.nan
    assert math.isnan(halving_sd(heights, 10.0))
    assert math.isnan(hidden_gradient_sd(heights, 10.0, 2.0))
    with pytest.raises(ValueError, match="15 x 15"):
        halving_sd(np.zeros((9, 9)), 10.0)


@pytest.mark.parametrize(("source_m", "cell_m"), [(10.0, 5.0), (30.0, 10.0), (30.0, 5.0), (92.0, 45.0), (30.0, 2.0)])
def test_ground_drawn_between_wider_cells_errs_as_told(source_m, cell_m):
    """The tool's own cubic resampling of independent errors, Horn's window on it."""
    rng = np.random.default_rng(7)
    source = rng.normal(0, 2.0, (90, 90)).astype(np.float32)
    n = int(60 * source_m / cell_m)
    at = (np.arange(n) + rng.uniform()) * cell_m / source_m + 5
    east, north = gradient(resample(source, *np.meshgrid(at, at, indexing="ij")), cell_m)
    found = math.sqrt(float(np.nanmean((east.astype(float) ** 2 + north.astype(float) ** 2) / 2)))
    # the resampling is held within its 16 heights, which takes a little off
    assert found == pytest.approx(2.0 * drawn_gradient_sd_per_m(source_m, cell_m), rel=0.04)
    assert drawn_gradient_sd_per_m(source_m, cell_m) <= math.sqrt(2) / source_m
