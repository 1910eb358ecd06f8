"""Sector patterns against the constants of their sources."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siteplanner.core.antenna import (
    SectorPattern,
    directivity_dbi,
    horizontal_loss_db,
    sector_gain_db,
    vertical_loss_db,
)


def test_horizontal_pattern_of_tr_36_942():
    # 3GPP TR 36.942 section 4.2.1: 65 degrees, 20 dB.
    found = sector_gain_db([0, 10, 32.5, 60, 65, 90])
    np.testing.assert_allclose(found, [0, -0.2840, -3.0, -10.2249, -12.0, -20], atol=1e-4)
    assert sector_gain_db(83.9) > -20
    assert sector_gain_db(83.92) == -20  # floor from 83.915 degrees


def test_horizontal_pattern_of_tr_36_814():
    # TR 36.814 Table A.2.1.1-2, from memory: 70 degrees, 25 dB; floor from 101.036 degrees.
    found = sector_gain_db([35, 60, 90, 180], 0, 70, 25)
    np.testing.assert_allclose(found, [-3.0, -8.8163, -19.8367, -25], atol=1e-4)


def test_vertical_pattern_of_tr_36_814():
    # TR 36.814 Table A.2.1.1-2, from memory: 10 degrees, SLA 20, tilt 15; elevations 0, -10, -15, -25.
    found = -vertical_loss_db([0, -10, -15, -25], 10, 20, 15)
    np.testing.assert_allclose(found, [-20, -3, 0, -12], atol=1e-4)


def test_downtilt_looks_down():
    # Up is positive: with 4 degrees of downtilt a cell 4 degrees below the mast head is on the peak.
    assert sector_gain_db(0, -4, downtilt_deg=4) == 0
    assert sector_gain_db(0, 4, downtilt_deg=4) < -7


def test_both_planes_share_one_floor():
    # TR 36.814: A = -min(A_H + A_V, A_m).
    assert sector_gain_db(30, 5) == pytest.approx(-12 * (30 / 65) ** 2 - 12 * 0.25)
    assert sector_gain_db(80, 20) == -20


@given(st.floats(-1000, 1000), st.floats(-90, 90))
def test_even_periodic_and_never_above_the_peak(azimuth, elevation):
    gain = sector_gain_db(azimuth, elevation)
    assert -20 <= gain <= 0
    assert sector_gain_db(-azimuth, elevation) == pytest.approx(gain, abs=1e-9)
    assert sector_gain_db(azimuth + 360, elevation) == pytest.approx(gain, abs=1e-9)


def test_all_round_antenna():
    np.testing.assert_array_equal(horizontal_loss_db([0, 90, 180], 360), [0, 0, 0])


def test_pattern_value_is_the_function():
    pattern = SectorPattern(70, 25, 8, 18, 3)
    np.testing.assert_array_equal(
        pattern.gain_db([10, 50], [-2, -6]), sector_gain_db([10, 50], [-2, -6], 70, 25, 8, 18, 3)
    )


def test_unknown_stays_unknown():
    assert np.isnan(sector_gain_db(np.nan))
    assert np.isnan(horizontal_loss_db(np.nan, 360))
    assert np.isnan(sector_gain_db(0, np.nan))


@pytest.mark.parametrize(
    ("name", "value"), [("beamwidth_deg", 0), ("beamwidth_deg", 361), ("vertical_beamwidth_deg", 0)]
)
def test_refusals(name, value):
    with pytest.raises(ValueError, match=name):
        sector_gain_db(0, 0, **{name: value})


class TestDirectivity:
    @pytest.mark.parametrize(
        ("beam", "vertical", "dbi"),
        [(65, 10, 15.71), (65, 15, 14.53), (65, 20, 13.62), (360, 10, 9.99)],
    )
    def test_by_scipy(self, beam, vertical, dbi):
        """Independent: the same integral by adaptive quadrature, plane by plane."""
        from scipy.integrate import dblquad

        def power(elevation, azimuth):
            gain = sector_gain_db(math.degrees(azimuth), math.degrees(elevation), beam, 20, vertical, 20)
            return 10 ** (float(gain) / 10) * math.cos(elevation)

        held, _ = dblquad(power, 0, math.pi, 0, math.pi / 2, epsabs=2e-4, epsrel=2e-4)
        found = directivity_dbi(SectorPattern(beam, 20, vertical, 20))
        assert found == pytest.approx(10 * math.log10(4 * math.pi / (4 * held)), abs=0.02)
        assert found == pytest.approx(dbi, abs=0.01)

    def test_an_antenna_alike_on_all_sides(self):
        assert directivity_dbi(SectorPattern(360, 0.001, 180, 0.0)) == pytest.approx(0.0, abs=0.01)

    def test_tilt_takes_nothing(self):
        assert directivity_dbi(SectorPattern(downtilt_deg=8)) == directivity_dbi(SectorPattern())
