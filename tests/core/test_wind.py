"""Topographic factor and profile against ASCE 7-16 section 26.8, Figure 26.8-1 and Table 26.10-1."""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.core.constants import KNOT_M_S, MPH_M_S
from siteplanner.core.wind import (
    beaufort_number,
    landform_along,
    spans_above,
    speed_at_height,
    speed_at_height_log,
    topographic_factor,
)


# Figure 26.8-1, column K1 for exposure C at H/L_h 0.20 ... 0.50; at the crest and on the ground K2 = K3 = 1
@pytest.mark.parametrize(
    ("landform", "table"),
    [
        ("ridge", [0.29, 0.36, 0.43, 0.51, 0.58, 0.65, 0.72]),
        ("escarpment", [0.17, 0.21, 0.26, 0.30, 0.34, 0.38, 0.43]),
        ("hill", [0.21, 0.26, 0.32, 0.37, 0.42, 0.47, 0.53]),
    ],
)
def test_k1_of_the_figure(landform, table):
    got = [np.sqrt(topographic_factor(landform, "C", 100 * s, 100, 0, 0)) - 1 for s in np.arange(0.2, 0.51, 0.05)]
    assert got == pytest.approx(table, abs=0.006)  # the figure's own rounding


# K2 and K3 of the same figure
@pytest.mark.parametrize(
    ("landform", "x", "z", "k2k3"),
    [
        ("ridge", 50, 0, 0.67),
        ("ridge", -100, 0, 0.33),
        ("escarpment", 50, 0, 0.88),
        ("escarpment", 100, 0, 0.75),
        ("escarpment", -50, 0, 0.67),
        ("ridge", 0, 10, 0.74),
        ("ridge", 0, 20, 0.55),
        ("ridge", 0, 50, 0.22),
        ("escarpment", 0, 10, 0.78),
        ("escarpment", 0, 20, 0.61),
        ("escarpment", 0, 50, 0.29),
        ("hill", 0, 10, 0.67),
        ("hill", 0, 20, 0.45),
        ("hill", 0, 50, 0.14),
        ("ridge", 200, 0, 0.0),
    ],
)
def test_k2_and_k3_of_the_figure(landform, x, z, k2k3):
    k1 = np.sqrt(topographic_factor(landform, "C", 40, 100, 0, 0)) - 1
    assert (np.sqrt(topographic_factor(landform, "C", 40, 100, x, z)) - 1) / k1 == pytest.approx(k2k3, abs=0.005)


# closed forms of equation 26.8-1; the last one by note 2 of the figure (steeper than 0.5)
@pytest.mark.parametrize(
    ("landform", "exposure", "h", "lh", "x", "z", "kzt"),
    [
        ("ridge", "C", 30, 100, 0, 15, 1.63167),
        ("escarpment", "C", 20, 60, 30, 10, 1.35359),
        ("hill", "D", 25, 100, -50, 10, 1.27346),
        ("hill", "B", 40, 60, 0, 12, 1.58933),
    ],
)
def test_worked_factors(landform, exposure, h, lh, x, z, kzt):
    assert topographic_factor(landform, exposure, h, lh, x, z) == pytest.approx(kzt, abs=1e-5)


def test_no_factor_where_the_section_asks_for_none():
    assert topographic_factor("ridge", "C", 19.9, 100, 0, 10) == 1.0  # H/L_h below 0.2
    assert topographic_factor("ridge", "C", 4.5, 10, 0, 2) == 1.0  # below 15 ft
    assert topographic_factor("ridge", "B", 18.2, 40, 0, 2) == 1.0  # below 60 ft
    assert topographic_factor("ridge", "B", 18.3, 40, 0, 2) > 1.0
    with pytest.raises(ValueError, match="half_length_m"):
        topographic_factor("ridge", "C", 30, 0, 0, 10)


def test_profile_by_the_power_law():
    assert speed_at_height(1.0, [5, 10, 15, 20, 30]) == pytest.approx([1, 1, 1.05963, 1.10409, 1.16993], abs=1e-5)


def test_logarithmic_profile():
    # ln(z / 0.03) / ln(10 / 0.03), closed form; below 10 m as at 10 m
    assert speed_at_height_log(1.0, [5, 10, 15, 20, 30]) == pytest.approx([1, 1, 1.06980, 1.11932, 1.18912], abs=1e-5)
    assert speed_at_height_log([2.0, 4.0], 15.0) == pytest.approx([2.13960, 4.27920], abs=2e-5)
    with pytest.raises(ValueError, match="roughness_m"):
        speed_at_height_log(1.0, 15, 0.0)


def test_miles_an_hour_are_exact():
    assert [round(v * MPH_M_S, 10) for v in (45, 50)] == [20.1168, 22.352]


# Beaufort 6 to 11 in knots and in miles an hour, as several published tables print them
@pytest.mark.parametrize(
    ("number", "knots", "mph"),
    [
        (6, (22, 27), (25, 31)),
        (7, (28, 33), (32, 38)),
        (8, (34, 40), (39, 46)),
        (9, (41, 47), (47, 54)),
        (10, (48, 55), (55, 63)),
        (11, (56, 63), (64, 72)),
    ],
)
def test_beaufort_scale(number, knots, mph):
    for speed in (*(k * KNOT_M_S for k in knots), *(m * MPH_M_S for m in mph)):
        assert beaufort_number(speed) == number
    assert beaufort_number((knots[0] - 0.6) * KNOT_M_S) == number - 1


def test_beaufort_ends_and_law():
    assert [beaufort_number(v) for v in (0.0, 0.2, 33.5, 90.0)] == [0, 0, 12, 12]
    # WMO relation 0.836 B^1.5, from memory
    assert [beaufort_number(0.836 * b**1.5) for b in range(1, 12)] == list(range(1, 12))
    with pytest.raises(ValueError, match="known"):
        beaufort_number(float("nan"))


# ASCE 7-16 Figure 26.8-1: K1 / (H / L_h) by landform and exposure; at the crest and on the ground K2 = K3 = 1
@pytest.mark.parametrize(
    ("landform", "b", "c", "d"),
    [("ridge", 1.30, 1.45, 1.55), ("escarpment", 0.75, 0.85, 0.95), ("hill", 0.95, 1.05, 1.15)],
)
def test_factors_of_each_exposure(landform, b, c, d):
    got = [np.sqrt(topographic_factor(landform, e, 40, 100, 0, 0)) - 1 for e in "BCD"]
    assert got == pytest.approx([0.4 * b, 0.4 * c, 0.4 * d], rel=1e-12)


# the same figure: the reach of K2 upwind 1.5 L_h for all, downwind 1.5, 4, 1.5 L_h; the decay of K3 3, 2.5, 4
@pytest.mark.parametrize(("landform", "down", "decay"), [("ridge", 1.5, 3), ("escarpment", 4, 2.5), ("hill", 1.5, 4)])
def test_reach_and_decay_of_each_landform(landform, down, decay):
    crest = np.sqrt(topographic_factor(landform, "C", 40, 100, 0, 0)) - 1
    for x, reach in ((-75.0, 1.5), (0.5 * down * 100, down)):
        got = (np.sqrt(topographic_factor(landform, "C", 40, 100, x, 0)) - 1) / crest
        assert got == pytest.approx(1 - abs(x) / (reach * 100), rel=1e-12)
    assert topographic_factor(landform, "C", 40, 100, -150, 0) == 1.0
    assert topographic_factor(landform, "C", 40, 100, down * 100, 0) == 1.0
    high = (np.sqrt(topographic_factor(landform, "C", 40, 100, 0, 50)) - 1) / crest
    assert high == pytest.approx(np.exp(-decay * 0.5), rel=1e-12)


# the factors K1, K2, K3 of the worked cases, one by one (closed forms of equation 26.8-1)
@pytest.mark.parametrize(
    ("landform", "exposure", "h", "lh", "x", "z", "k"),
    [
        ("ridge", "C", 30, 100, 0, 15, (0.435, 1, 0.637628)),
        ("escarpment", "C", 20, 60, 30, 10, (0.283333, 0.875, 0.659241)),
        ("hill", "D", 25, 100, -50, 10, (0.2875, 0.666667, 0.670320)),
        ("hill", "B", 40, 60, 0, 12, (0.475, 1, 0.548812)),
    ],
)
def test_worked_factors_one_by_one(landform, exposure, h, lh, x, z, k):
    def rise(at, above):
        return np.sqrt(topographic_factor(landform, exposure, h, lh, at, above)) - 1

    k1, k12, k123 = rise(0, 0), rise(x, 0), rise(x, z)
    assert (k1, k12 / k1, k123 / k12) == pytest.approx(k, abs=1e-6)


def _ridge(distance, height, half):
    """A tent: H at x = 0 and H/2 at `half` either side."""
    return np.maximum(0, height * (1 - np.abs(distance) / (2 * half)))


def test_the_landform_of_a_tent_and_of_a_step():
    d = np.arange(-2000, 2001, 10.0)
    tent = landform_along(d, 500 + _ridge(d, 60, 150))
    assert tent is not None
    assert (tent.landform, tent.height_m, tent.from_crest_m) == ("ridge", 60.0, 0.0)
    assert tent.half_length_m == pytest.approx(150, abs=1e-6)
    # 80 m beyond the crest (the crest lies upwind)
    off = landform_along(d, _ridge(d + 80, 60, 150))
    assert off is not None
    assert off.from_crest_m == pytest.approx(80)
    step = landform_along(d, np.where(d > 0, 60.0, np.clip(60 + d / 2.5, 0, 60)))
    assert step is not None
    assert (step.landform, step.height_m) == ("escarpment", 60.0)
    assert step.half_length_m == pytest.approx(75, abs=1e-6)


def test_no_landform_on_a_plain_or_beside_unknown_ground():
    d = np.arange(-1000, 1001, 10.0)
    assert landform_along(d, np.full(len(d), 300.0)) is None
    assert landform_along(d, -0.01 * d) is None
    hole = _ridge(d, 60, 150)
    hole[20] = np.nan
    assert landform_along(d, hole) is None


def test_spans_start_and_end_where_the_line_crosses():
    hours = np.array([0.0, 1, 2, 3, 4, 5])
    assert spans_above(hours, np.array([10, 30, 30, 10, 10, 10.0]), 20) == [(0.5, 2.5)]
    assert spans_above(hours, np.array([30, 30, 10, 10, 30, 30.0]), 20) == [(0.0, 1.5), (3.5, 5.0)]
    assert spans_above(hours, np.array([20, 20, 20, 20, 20, 20.0]), 20) == []
    assert spans_above(hours, np.array([30, np.nan, 30, 30, 10, 10.0]), 20) == [(2.0, 3.5)]
