"""Parking: plane and its standard errors, attitude and jacks at any heading, the mast in the dish's line."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siteplanner.core.parking import chance_above, mast_in_beam, parking_heading, steepest_for_jacks_deg
from siteplanner.core.terrain import (
    attitude,
    fit_plane,
    footprint,
    jack_lifts_m,
    plane_gradient_sd_per_m,
    slope_deg,
)


@pytest.mark.parametrize(("n", "sd"), [(3, 0.40825), (5, 0.14142), (7, 0.07143)])
def test_error_of_a_plane_over_a_square_of_cells(n, sd):
    # least squares over n x n cells: sigma / (s sqrt(n^2 (n^2 - 1) / 12)); closed form
    y, x = np.mgrid[0:n, 0:n] * 2.0
    assert plane_gradient_sd_per_m(x, y) == pytest.approx(sd / 2.0, rel=1e-4)
    assert math.isnan(plane_gradient_sd_per_m([0, 1, 2], [0, 1, 2]))
    assert math.isnan(plane_gradient_sd_per_m([0, 1], [0, 1]))


def test_error_of_a_footprint_against_drawn_noise():
    # a plane of 4 % east and -3 % north in cells of 1 m with noise of 0.05 m: the fitted part of the gradient spreads
    # as least squares says, the slope is right in the mean, and the noise is found again from the residuals
    rng = np.random.default_rng(5)
    rows, cols = np.mgrid[0:21, 0:21]
    plane = 100 + 0.04 * cols + 0.03 * rows
    drawn = [
        footprint(plane + rng.normal(0, 0.05, plane.shape), 1.0, 10, 10, 6.0, 2.4, 1.2, heading_deg=0.0)
        for _ in range(1500)
    ]
    assert drawn[0].fitted
    # 5 columns across, 7 rows along: the worse direction is across; 7 x (4 + 1 + 0 + 1 + 4) = 70
    assert drawn[0].gradient_sd_per_m == pytest.approx(1 / math.sqrt(70), rel=1e-9)
    across = np.array([d.east_gradient for d in drawn])
    assert across.mean() == pytest.approx(0.04, abs=4 * 0.05 / math.sqrt(70 * 1500))
    assert across.std() == pytest.approx(0.05 / math.sqrt(70), rel=0.06)
    assert np.sqrt(np.mean([d.noise_m**2 for d in drawn])) == pytest.approx(0.05, rel=0.03)


def test_error_of_horns_window_against_drawn_noise():
    rng = np.random.default_rng(6)
    z = rng.normal(0, 0.8, (400, 400)) + 0.05 * 10 * np.arange(400)
    window = footprint(z, 10.0, 200, 200, 6.0, 2.4, 1.2)
    assert not window.fitted
    assert window.gradient_sd_per_m == pytest.approx(math.sqrt(12) / 8 / 10)
    # how often the slope comes out above 5 deg where it truly is atan 0.05: Rice's tail, here by drawing
    slopes = slope_deg(z, 10.0)[1:-1, 1:-1]
    told = math.degrees(math.atan(0.05))
    unsure = math.degrees(math.atan(0.8 * window.gradient_sd_per_m))
    assert chance_above(told, 5.0, unsure) == pytest.approx(float((slopes > 5.0).mean()), abs=0.01)


def test_chance_of_plain_cases():
    # flat ground: Rayleigh's tail exp(-(limit / sd)^2 / 2); no error: yes or no
    limit, sd = 5.0, 2.0
    ratio = math.tan(math.radians(limit)) / math.tan(math.radians(sd))
    assert chance_above(0.0, limit, sd) == pytest.approx(math.exp(-(ratio**2) / 2), rel=1e-6)
    np.testing.assert_array_equal(chance_above([4.0, 6.0], limit, 0.0), [0.0, 1.0])
    assert np.isnan(chance_above([3.0, math.nan], limit, [math.nan, sd])).all()  # unknown stays unknown
    rising = chance_above(np.linspace(0, 10, 20), limit, sd)
    assert (np.diff(rising) > 0).all()


@given(st.floats(0, 0.2), st.floats(0, 360), st.floats(0, 360))
def test_attitude_and_jacks_of_a_tilted_plane_at_any_heading(steep, downhill, heading):
    """Closed form: with t the turn from heading to the fall line, tan pitch = -g cos t, tan roll = g sin t (right
    side down when the fall line lies to the right), largest lift = L |tan pitch| + W |tan roll|.
    """
    east, north = -steep * math.sin(math.radians(downhill)), -steep * math.cos(math.radians(downhill))
    roll, pitch = attitude(east, north, heading)
    t = math.radians(downhill - heading)
    assert math.tan(math.radians(pitch)) == pytest.approx(-steep * math.cos(t), abs=1e-12)
    assert math.tan(math.radians(roll)) == pytest.approx(steep * math.sin(t), abs=1e-12)
    lifts = jack_lifts_m(east, north, heading, 6.0, 2.4)
    assert max(lifts.values()) == pytest.approx(6.0 * steep * abs(math.cos(t)) + 2.4 * steep * abs(math.sin(t)))
    # the same from the corners' own heights on the plane
    z0, e, n, _ = fit_plane([0, 10, 0, 10], [0, 0, 10, 10], [0, 10 * east, 10 * north, 10 * (east + north)])
    assert (z0, e, n) == pytest.approx((0, east, north), abs=1e-9)


@given(st.floats(-0.08, 0.08), st.floats(-0.08, 0.08), st.floats(0, 360))
def test_the_heading_never_breaks_a_limit_and_no_other_rolls_less(east, north, prefer):
    travel, tilt = 0.3, 5.0
    heading = parking_heading(east, north, tilt, 6.0, 2.4, travel, prefer, 1.0)
    every = np.arange(0, 360, 1.0)
    roll, pitch = attitude(east, north, every)
    lift = np.max(list(jack_lifts_m(east, north, every, 6.0, 2.4).values()), axis=0)
    fits = (np.abs(roll) <= tilt) & (np.abs(pitch) <= tilt) & (lift <= travel)
    if math.isnan(heading):
        assert not fits.any()
        return
    own_roll, own_pitch = attitude(east, north, heading)
    assert abs(own_roll) <= tilt + 1e-6
    assert abs(own_pitch) <= tilt + 1e-6
    assert max(jack_lifts_m(east, north, heading, 6.0, 2.4).values()) <= travel + 1e-6
    if fits.any():
        assert abs(own_roll) <= max(float(np.abs(roll[fits]).min()), 1.0) + 1e-6


def test_jacks_that_do_not_reach():
    # 0.45 m over 2.4 m across: atan 0.1875 = 10.62 deg at best, along the shorter side
    assert steepest_for_jacks_deg(6.0, 2.4, 0.45) == pytest.approx(10.6197, abs=1e-4)
    # 8 % down to the south: nose down the fall line lifts 6.0 x 0.08 = 0.48 m, more than 0.45 m: it turns off it until
    # 6.0 cos t + 2.4 sin t = 0.45 / 0.08
    heading = parking_heading(0.0, 0.08, 10.0, 6.0, 2.4, 0.45, 180.0)
    turn = math.radians(abs(heading - 180))
    assert 6.0 * math.cos(turn) + 2.4 * math.sin(turn) == pytest.approx(0.45 / 0.08, abs=0.05)
    assert math.isnan(parking_heading(0.0, 0.2, 15.0, 6.0, 2.4, 0.45))  # 20 %: even across 0.48 m
    assert math.isnan(parking_heading(math.nan, 0.0, 5.0, 6.0, 2.4, 0.45))


def test_the_mast_in_the_line_of_the_dish():
    # mast 2 m ahead of the dish; 1.2 m of dish and 0.3 m of mast: in the way within asin(0.75 / 2) = 22.02 deg
    edge = math.degrees(math.asin(0.75 / 2))
    for off, inside in ((0.0, True), (edge - 0.1, True), (edge + 0.1, False), (-edge - 0.1, False), (180.0, False)):
        assert mast_in_beam(100.0, 100.0 + off, 2.0, 0.0, 1.2, 0.3) == inside, off
    # mast to the right: in the way of a satellite abeam to the right
    assert mast_in_beam(0.0, 90.0, 0.0, 2.0, 1.2, 0.3)
    assert not mast_in_beam(0.0, 270.0, 0.0, 2.0, 1.2, 0.3)


@given(st.floats(0, 360), st.floats(0, 360), st.floats(-5, 5), st.floats(-5, 5))
def test_the_mast_s_place_by_turning_the_trailer(heading, azimuth, ahead, right):
    """The same by coordinates: mast in the plane, distance to the ray from the dish."""
    h, a = math.radians(heading), math.radians(azimuth)
    mast = np.array([ahead * math.sin(h) + right * math.cos(h), ahead * math.cos(h) - right * math.sin(h)])
    ray = np.array([math.sin(a), math.cos(a)])
    along = float(mast @ ray)
    beside = math.sqrt(max(float(mast @ mast) - along**2, 0.0))
    if abs(along) < 1e-6 or abs(beside - 0.75) < 1e-6:
        return
    assert mast_in_beam(heading, azimuth, ahead, right, 1.2, 0.3) == (along > 0 and beside < 0.75)


def test_the_trailer_turns_until_the_dish_looks_past_the_mast():
    def shaded(headings):
        return mast_in_beam(headings, 180.0, 2.0, 0.0, 1.2, 0.3)

    # level ground, way out due south, satellite due south: the nose goes as far aside as the mast needs
    heading = parking_heading(0.0, 0.0, 5.0, 6.0, 2.4, 0.45, 180.0, 1.0, shaded)
    assert abs(heading - 180) == pytest.approx(math.degrees(math.asin(0.375)), abs=0.5)
    # without a satellite there the nose points straight out
    assert parking_heading(0.0, 0.0, 5.0, 6.0, 2.4, 0.45, 180.0, 1.0) == 180.0
    # on a slope that leaves no other heading, none is found
    assert math.isnan(parking_heading(0.0, 0.08, 5.0, 6.0, 2.4, 9.0, 180.0, 1.0, lambda h: np.full(len(h), True)))
