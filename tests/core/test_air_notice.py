"""14 CFR 77.9: each figure of the regulation, at its edges; and channels that share spectrum."""

from __future__ import annotations

import math

import pytest

from siteplanner.core.air_notice import (
    HELIPORT,
    LONG,
    LOW_ANTENNA_M,
    SHORT,
    TALL_M,
    approach_keep_m,
    nearest_runway_m,
    notice_surface,
    notice_verdict,
)
from siteplanner.core.spectrum import field_strength_dbuv_m, overlap_mhz

FT = 0.3048  # NIST SP 811, appendix B.8


def test_the_figures_of_the_regulation():
    """14 CFR 77.9(a): 200 ft; 77.9(b)(1) to (3); 77.9(e)(4): 20 ft (from memory)."""
    assert pytest.approx(200 * FT) == TALL_M
    assert pytest.approx(20 * FT) == LOW_ANTENNA_M
    for surface, run, reach_ft in ((LONG, 100, 20_000), (SHORT, 50, 10_000), (HELIPORT, 25, 5_000)):
        assert (surface.run, surface.reach_m) == (run, pytest.approx(reach_ft * FT))
        # all three are 200 ft high where they end
        assert surface.reach_m / surface.run == pytest.approx(200 * FT)


@pytest.mark.parametrize(
    ("heliport", "runway_ft", "surface"),
    [
        (False, 3201, LONG),  # "more than 3,200 ft"
        (False, 3200, SHORT),  # "no more than 3,200 ft"
        (False, 900, SHORT),
        (False, math.nan, LONG),  # not known: the longest reach, and the lowest surface
        (True, math.nan, HELIPORT),
        (True, 9000, HELIPORT),  # "excluding heliports"
    ],
)
def test_the_surface_goes_by_the_longest_runway(heliport, runway_ft, surface):
    assert notice_surface(heliport, runway_ft * FT) is surface


def test_the_surface_of_an_unknown_runway_is_nowhere_above_the_others():
    for other in (SHORT, HELIPORT):
        assert LONG.reach_m > other.reach_m
        assert 1 / LONG.run < 1 / other.run
    with pytest.raises(ValueError, match="above 0"):
        notice_surface(False, 0.0)


@pytest.mark.parametrize(
    ("surface", "distance_ft", "above_ft", "verdict"),
    [
        (LONG, 2200, 22.0, "below"),  # 2,200 ft away 22 ft just touch the surface
        (LONG, 2200, 22.1, "above"),
        (LONG, 19_999, 200.1, "above"),
        (LONG, 20_001, 900.0, "beyond"),
        (SHORT, 10_000, 199.9, "below"),
        (SHORT, 10_001, 900.0, "beyond"),
        (HELIPORT, 2_500, 100.1, "above"),
        (HELIPORT, 2_500, 99.9, "below"),
        (HELIPORT, 5_001, 900.0, "beyond"),
        (LONG, 0, 0.1, "above"),
        (LONG, 15_000, -80.0, "below"),  # the mast stands far lower than the runway
        (LONG, 15_000, math.nan, "unknown"),
        (LONG, 20_001, math.nan, "beyond"),
    ],
)
def test_where_the_top_stands(surface, distance_ft, above_ft, verdict):
    assert notice_verdict(surface, distance_ft * FT, above_ft * FT) == verdict


def test_a_point_stands_for_runways_that_may_come_nearer():
    assert nearest_runway_m(5000.0, False, 900.0) == 5000.0
    assert nearest_runway_m(5000.0, True, 900.0) == 4100.0
    assert nearest_runway_m(6000.0, True, math.nan) == pytest.approx(6000 - 16_000 * FT)
    assert nearest_runway_m(500.0, True, 900.0) == 0.0


def test_an_approach_is_kept_by_slope():
    assert approach_keep_m(17.0, 8.0) == 136.0
    assert approach_keep_m(-5.0, 8.0) == 0.0
    assert math.isnan(approach_keep_m(math.nan, 8.0))


@pytest.mark.parametrize(
    ("second_mhz", "width_mhz", "shared"),
    [(763, 10, 10), (768, 10, 5), (773, 10, 0), (760, 1.4, 1.4), (753.5, 10, 0.5), (900, 20, 0)],
)
def test_channels_share_what_lies_in_both(second_mhz, width_mhz, shared):
    assert overlap_mhz(763, 10, second_mhz, width_mhz) == pytest.approx(shared)
    assert overlap_mhz(second_mhz, width_mhz, 763, 10) == pytest.approx(shared)


def test_field_of_a_known_transmitter():
    """1 kW e.i.r.p. at 1 km in free space: 104.8 dB over 1 uV/m at any frequency (ITU-R P.525-4 equation 2:
    E = sqrt(30 P) / d)."""
    from siteplanner.core.propagation import free_space_db

    told = 20 * math.log10(math.sqrt(30 * 1000) / 1000 * 1e6)
    for frequency in (150.0, 763.0, 2400.0):
        assert float(field_strength_dbuv_m(60 - free_space_db(1000.0, frequency), frequency)) == pytest.approx(
            told, abs=0.05
        )
    with pytest.raises(ValueError, match="above 0"):
        overlap_mhz(763, 0, 763, 10)
    with pytest.raises(ValueError, match="above 0"):
        field_strength_dbuv_m(-60.0, 0.0)
