"""The horizon around a point against a walk of every sample, published profiles and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from matplotlib import cbook

from siteplanner.core.horizon import blocks, ground_at, horizon_deg, horizon_reach

EARTH_M = 4 / 3 * 6_371_000.0  # ITU-R P.526-15 section 2, k = 4/3


def walked(z, cell, row, col, azimuth, height, ceiling=None):
    """(highest known angle, known to) by visiting every half-cell sample; shares nothing with the product."""
    rows, cols = len(z), len(z[0])
    ceiling = max(v for line in z for v in line if v == v) if ceiling is None else ceiling
    eye = z[row][col] + height
    dr, dc = -math.cos(math.radians(azimuth)) / 2, math.sin(math.radians(azimuth)) / 2
    dr, dc = (0.0 if abs(v) < 1e-9 else v for v in (dr, dc))
    best, known_to = -math.inf, math.inf
    k = 0
    while True:
        k += 1
        d = k * cell / 2
        r, c = row + k * dr, col + k * dc
        if r < 0 or r > rows - 1 or c < 0 or c > cols - 1:
            # could ground at the ceiling show above the best angle anywhere from here on?
            far = max(d, math.sqrt(2 * EARTH_M * max(eye - ceiling, 0)))
            if (ceiling - eye) / far - far / (2 * EARTH_M) > best:
                known_to = min(known_to, d)
            break
        r0, c0 = min(math.floor(r), rows - 2), min(math.floor(c), cols - 2)
        u, v = r - r0, c - c0
        height_here = (
            (1 - u) * (1 - v) * z[r0][c0]
            + (1 - u) * v * z[r0][c0 + 1]
            + u * (1 - v) * z[r0 + 1][c0]
            + u * v * z[r0 + 1][c0 + 1]
        )
        if math.isnan(height_here):
            if (ceiling - eye) / d - d / (2 * EARTH_M) > best:
                known_to = min(known_to, d)
        else:
            best = max(best, (height_here - eye) / d - d / (2 * EARTH_M))
    return (math.degrees(math.atan(best)) if best > -math.inf else math.nan), known_to


def hills(shape=(90, 110), seed=0, relief=300.0):
    rng = np.random.default_rng(seed)
    wave = np.hypot(np.fft.fftfreq(shape[0])[:, None], np.fft.fftfreq(shape[1])[None])
    wave[0, 0] = 1
    z = np.fft.ifft2(wave**-2.4 * np.exp(2j * np.pi * rng.random(shape))).real
    return ((z - z.min()) / np.ptp(z) * relief).astype(np.float32)


@pytest.mark.parametrize("gaps", [False, True])
@pytest.mark.parametrize("cell", [2.0, 30.0])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_every_direction_equals_visiting_every_sample(gaps, cell, dtype):
    z = hills(relief=25 * cell).astype(dtype)
    if gaps:
        z[20:30, 60:75] = np.nan
        z[50, 40] = np.nan
        z[:15, :20] = np.nan
    plain = z.astype(float).tolist()
    azimuths = np.array([0, 45, 61.7, 90, 123.4, 180, 215, 270, 333.3, 359.99])
    known = blocks(z)
    for row, col in ((45, 50), (1, 100), (89, 30), (60, 0), (32, 48), (48, 109), (16, 16)):
        angle, known_to = horizon_reach(z, cell, row, col, azimuths, 2.0, known=known)
        for i, azimuth in enumerate(azimuths):
            want, want_to = walked(plain, cell, row, col, azimuth, 2.0)
            assert angle[i] == pytest.approx(want, abs=1e-9, nan_ok=True), (row, col, azimuth)
            assert known_to[i] == want_to, (row, col, azimuth)


def test_all_round_on_real_hills():
    # matplotlib sample data jacksboro_fault_dem.npz as squares of 90 m
    z = cbook.get_sample_data("jacksboro_fault_dem.npz")["elevation"].astype(np.float32)
    azimuths = np.arange(0, 360, 5.0)
    angle, known_to = horizon_reach(z, 90.0, 180, 200, azimuths, 2.0)
    want = [walked(z.astype(float).tolist(), 90.0, 180, 200, a, 2.0) for a in azimuths]
    np.testing.assert_allclose(angle, [w[0] for w in want], atol=1e-9)
    np.testing.assert_array_equal(known_to, [w[1] for w in want])
    np.testing.assert_array_equal(horizon_deg(z, 90.0, 180, 200, azimuths, 2.0), angle)


@pytest.mark.parametrize(
    ("profile", "angles"),
    [
        # stored topocalc 0.5.0 test_horizon, looking to the higher index, 30 m apart; indices 0 3 3 9 9 6 8 8 9 9
        (
            [100, 80, 75, 85, 70, 50, 64, 65, 85, 90],
            [0, 4.764, 18.435, 1.591, 7.595, 25.017, 19.290, 33.690, 9.462],
        ),
        # same; 0 3 3 9 5 9 9 9 9 9
        (
            [100, 80, 75, 85, 70, 80, 64, 65, 70, 90],
            [0, 4.764, 18.435, 1.591, 18.435, 4.764, 16.113, 22.620, 33.690],
        ),
        # same; 3 3 3 5 5 7 7 7 9 9
        (
            [0, 5, 7, 20, 18, 30, 30, 35, 20, 21],
            [12.529, 14.036, 23.429, 9.462, 21.801, 4.764, 9.462, 0, 1.909],
        ),
    ],
)
def test_published_profiles(profile, angles):
    z = np.tile(np.array(profile, float), (3, 1))
    for col, expected in enumerate(angles):
        # the source counts nothing below level; it knows no curvature, which takes 0.0009 deg at 270 m
        seen = max(float(horizon_deg(z, 30.0, 1, col, 90.0, 0.0)), 0.0)
        assert seen == pytest.approx(expected, abs=0.0015)


def test_a_wall_at_a_known_distance():
    z = np.zeros((40, 400))
    z[:, 300] = 100.0
    # closed form: (100 - 2)/2500 m less the curve's d/2a
    tangent = 98 / 2500 - 2500 / (2 * EARTH_M)
    angle, known_to = horizon_reach(z, 10.0, 20, 50, [90.0, 270.0], 2.0)
    assert math.tan(math.radians(angle[0])) == pytest.approx(tangent, abs=1e-12)
    assert known_to[0] == math.inf  # nothing behind can be higher
    assert known_to[1] == 505.0  # 50 cells and the first half cell outside
    assert angle[1] < 0


def test_a_wall_one_cell_away():
    z = np.zeros((9, 9))
    z[:, 5] = 50.0
    # the sample at half a cell stands half as high: (25-2)/5; the one at the wall (50-2)/10
    angle = horizon_deg(z, 10.0, 4, 4, 90.0, 2.0)
    assert math.tan(math.radians(angle)) == pytest.approx(48 / 10 - 10 / (2 * EARTH_M), abs=1e-12)


@pytest.mark.parametrize("azimuth", [90.0, 60.0, 120.0])
def test_a_step_up_to_level_ground(azimuth):
    """Closed form: of a plateau H higher from x = e on, the edge stands highest, (H - h)/d less the curve's d/2a, at
    d = e / sin(azimuth)."""
    z = np.zeros((801, 801), np.float32)
    z[:, 500:] = 60.0
    d = 1000.0 / math.sin(math.radians(azimuth))
    got = math.tan(math.radians(horizon_deg(z, 10.0, 400, 400, azimuth, 2.0)))
    # samples stand 5 m apart along the ray and the edge is drawn over one cell: 15 m of distance at most
    nearest, farthest = (58 / far - far / (2 * EARTH_M) for far in (d - 15, d + 15))
    assert farthest <= got <= nearest
    if azimuth == 90.0:
        assert got == pytest.approx(58 / d - d / (2 * EARTH_M), abs=1e-9)


@pytest.mark.parametrize("off_deg", [0.0, 5.0, 12.0])
def test_a_cone(off_deg):
    """Closed form: a cone of height Z and slope s with its apex at D. Toward the apex the skyline is the apex,
    (Z - h)/D; at an angle p beside it the largest (Z - s sqrt(D^2 - 2 D x cos p + x^2) - h)/x, taken here at
    every centimetre of the ray; both less the curve's x/2a."""
    top, slope, far, eye = 400.0, 0.5, 2000.0, 2.0
    y, x = np.mgrid[-300:301, -50:451] * 10.0
    z = np.maximum(top - slope * np.hypot(x - far, y), 0.0)
    p = math.radians(off_deg)
    steps = np.arange(5.0, 4000.0, 0.01)
    over = top - slope * np.sqrt(far**2 - 2 * far * steps * math.cos(p) + steps**2)
    tangent = ((np.maximum(over, 0) - eye) / steps - steps / (2 * EARTH_M)).max()
    got = math.tan(math.radians(horizon_deg(z, 10.0, 300, 50, 90.0 + off_deg, eye)))
    if off_deg == 0.0:
        assert tangent == pytest.approx((top - eye) / far - far / (2 * EARTH_M), abs=1e-6)
    assert got == pytest.approx(tangent, abs=3e-4)  # a cone drawn in cells of 10 m lies up to 0.6 m off its curve


def test_the_dip_over_a_plain():
    # closed form: the true horizon of an eye h above a sphere lies sqrt(2h/a) below level, sqrt(2ah) away
    z = np.zeros((5, 2001))
    angle, known_to = horizon_reach(z, 10.0, 2, 0, 90.0, 10.0)
    assert math.tan(math.radians(angle)) == pytest.approx(-math.sqrt(20 / EARTH_M), rel=1e-6)
    assert known_to == math.inf
    short, known_to = horizon_reach(z[:, :500], 10.0, 2, 0, 90.0, 10.0)
    assert known_to == 4995.0  # the dip's distance is 13 km: the raster ends first
    assert short < angle


def test_a_higher_ceiling_makes_less_certain():
    z = np.zeros((9, 60))
    z[:, 30] = 40.0
    assert horizon_reach(z, 10.0, 4, 0, 90.0, 2.0)[1] == math.inf
    assert horizon_reach(z, 10.0, 4, 0, 90.0, 2.0, ceiling_m=500.0)[1] == 595.0
    with pytest.raises(ValueError, match="ceiling"):
        horizon_reach(z, 10.0, 4, 0, 90.0, 2.0, ceiling_m=39.0)


def test_a_gap_is_unknown_only_where_it_can_matter():
    z = np.zeros((9, 60))
    z[:, 30] = 40.0
    z[4, 40] = np.nan
    assert not math.isnan(horizon_deg(z, 10.0, 4, 0, 90.0, 2.0))  # behind the wall
    z[4, 10] = np.nan
    assert math.isnan(horizon_deg(z, 10.0, 4, 0, 90.0, 2.0))  # in front of it
    angle, known_to = horizon_reach(z, 10.0, 4, 0, 90.0, 2.0)
    assert angle == pytest.approx(math.degrees(math.atan(38 / 300)), abs=0.01)  # still what is known
    assert known_to == 90.0  # the sample on the ninth cell has the gap as a corner, though without weight
    z[4, 0] = np.nan
    assert math.isnan(horizon_deg(z, 10.0, 4, 0, 90.0, 2.0))
    assert horizon_reach(z, 10.0, 4, 0, 90.0, 2.0)[1] == 0


def test_obstacles_block_but_do_not_lift_the_eye():
    z = np.zeros((9, 60))
    trees = np.full((9, 60), -5.0)
    trees[:, 30] = 20.0
    angle = horizon_deg(z, 10.0, 4, 0, [90.0], 2.0, obstacles_m=trees)
    assert math.tan(math.radians(angle[0])) == pytest.approx(18 / 300 - 300 / (2 * EARTH_M), abs=1e-9)


def test_between_cell_centres_the_eye_stands_on_blended_ground():
    z = np.tile(np.arange(20.0), (5, 1))
    assert ground_at(z, 2.0, 7.25) == 7.25
    z[3, 7] = np.nan
    assert ground_at(z, 2.0, 7.0) == 7.0  # a corner without weight may be unknown
    assert math.isnan(ground_at(z, 2.5, 7.0))


def test_shapes_and_refusals():
    z = hills()
    assert horizon_deg(z, 10.0, 5, 5, np.zeros((2, 3)), 2.0).shape == (2, 3)
    assert np.shape(horizon_deg(z, 10.0, 5, 5, 45.0, 2.0)) == ()
    with pytest.raises(ValueError, match="outside"):
        horizon_deg(z, 10.0, 90, 5, 0.0, 2.0)
    with pytest.raises(ValueError, match="height"):
        horizon_deg(z, 10.0, 5, 5, 0.0, -1.0)
    with pytest.raises(ValueError, match="two rows"):
        horizon_deg(z[0], 10.0, 5, 5, 0.0, 2.0)
    with pytest.raises(ValueError, match="obstacles"):
        horizon_deg(z, 10.0, 5, 5, 0.0, 2.0, obstacles_m=z[:-1])
