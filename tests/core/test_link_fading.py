"""Multipath and low k of a point-to-point link, by ITU-R P.530."""

import math

import pytest

from siteplanner.core.link_fading import low_k_factor, multipath_faded_pct

HERE = (300.0, 320.0, 5800.0)  # antennas above sea level, MHz


def deep_pct(km, fade_db, gradient=-300.0):
    """The quick formula by hand, P.530-14 equations (4), (6), (7)."""
    e = 20.0 / km
    factor = 10 ** (-4.6 - 0.0027 * gradient)
    return factor * km**3.1 * (1 + e) ** -1.29 * 5.8**0.8 * 10 ** (-0.00089 * 300 - fade_db / 10)


@pytest.mark.parametrize("km", [10, 20, 30, 50])
def test_deep_fades_are_the_quick_formula(km):
    assert multipath_faded_pct(km * 1000, *HERE, 40.0, -300.0) == pytest.approx(deep_pct(km, 40.0), rel=1e-9)


def test_ten_decibels():
    # 5.8 GHz, fade margin of 10 dB: 0.2 % of the worst month at 20 km, half a per cent at 30 km
    found = [multipath_faded_pct(km * 1000, *HERE, 10.0, -300.0) for km in (20, 30)]
    assert found == pytest.approx([0.181, 0.544], abs=0.002)


@pytest.mark.parametrize("km", [20, 30, 50])
def test_beside_the_method_that_takes_maps(km):
    """Second opinion: the detailed formula of P.530-17 with its maps, by itur; the quick one within a factor of 3."""
    models = pytest.importorskip("itur.models", reason="the optional extra `rain` is not installed")
    detailed = models.itu530.multipath_loss_for_A(36.6, -84.2, 300, 320, km, 5.8, 30)
    quick = multipath_faded_pct(km * 1000, *HERE, 30.0, -344.2)
    assert 1 / 3 < quick / float(getattr(detailed, "value", detailed)) < 3


@pytest.mark.parametrize("km", [12, 25, 40])
def test_the_bend_joins_without_a_step(km):
    p0 = deep_pct(km, 0.0)
    turn = 25 + 1.2 * math.log10(p0)
    below, above = (multipath_faded_pct(km * 1000, *HERE, turn + d, -300.0) for d in (-1e-6, 1e-6))
    assert below == pytest.approx(above, rel=1e-3)


def test_shallower_fades_come_more_often():
    found = [multipath_faded_pct(25_000, *HERE, fade, -300.0) for fade in range(1, 45)]
    assert found == sorted(found, reverse=True)
    assert found[0] < 50


def test_short_paths_and_ends():
    assert multipath_faded_pct(5_000, *HERE, 10.0, -300.0) == 0.0
    assert multipath_faded_pct(25_000, *HERE, 0.0, -300.0) == 100.0
    assert math.isnan(multipath_faded_pct(25_000, math.nan, 320.0, 5800.0, 10.0, -300.0))


def test_low_k():
    # P.530 section 2.2.2, figure, from memory: 0.6 at 20 km, 0.8 at 50 km
    assert low_k_factor([20_000, 50_000]) == pytest.approx([0.6, 0.8])
    assert low_k_factor([100.0, 10_000, 500_000]) == pytest.approx([0.5, 0.5, 0.95])
    assert (low_k_factor([1e3, 15e3, 25e3, 80e3]) < 4 / 3).all()
