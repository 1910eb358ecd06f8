"""Overhead line clearance against 29 CFR 1926.1408 Table A."""

import math

import pytest

from siteplanner.core.clearance import line_half_width_m, mast_reach_m, overhead_line_clearance_m, tipping_reach_m


@pytest.mark.parametrize(
    ("voltage_kv", "feet"),
    # 29 CFR 1926.1408 Table A; the edges by its note: "to" includes the upper value
    [(12, 10), (50, 10), (50.1, 15), (200, 15), (200.1, 20), (350, 20), (350.1, 25), (500, 25), (750, 35), (1000, 45)],
)
def test_table_a(voltage_kv, feet):
    assert overhead_line_clearance_m(voltage_kv) == pytest.approx(feet * 0.3048, abs=1e-12)


def test_no_number_above_the_table():
    assert math.isnan(overhead_line_clearance_m(1100))


def test_no_voltage_is_an_error():
    with pytest.raises(ValueError, match="above 0"):
        overhead_line_clearance_m(0)


# the tip of 16.5 m (1.1 x 15 m) about the outriggers' pads, 2.42 m from the middle, and about the end jacks, 3 m
@pytest.mark.parametrize(
    ("pivot", "foot", "lands"), [(2.42, 0, 19.097), (3.0, 0, 19.771), (3.0, 3.0, 20.557), (0, 0, 16.5)]
)
def test_a_trailer_that_tips_throws_the_tip_farther_than_the_mast_is_tall(pivot, foot, lands):
    assert tipping_reach_m(pivot, foot, 16.5) == pytest.approx(lands, abs=5e-4)


def test_the_reach_is_the_worst_of_falling_and_tipping():
    """Against every way to go over, each worked out by turning the tip round the edge in small steps."""
    length, body, stand, tip = 6.0, 2.4, 4.8384, 16.5
    worst = 0.0
    for ahead in (-length / 2, length / 2):
        for beside in (-body / 2, body / 2):
            worst = max(worst, math.hypot(ahead, beside) + tip)
            for pivot, along, across in ((length / 2, ahead, beside), (stand / 2, beside, ahead)):
                angle = [k * math.pi / 2 / 50_000 for k in range(150_000)]
                up = [(pivot - along) * math.sin(a) + tip * math.cos(a) for a in angle]
                a = angle[next(k for k, height in enumerate(up) if height <= 0)]
                lands = pivot + tip * math.sin(a) - (pivot - along) * math.cos(a)
                worst = max(worst, math.hypot(lands, across))
    assert mast_reach_m(tip, length, body, stand) == pytest.approx(worst, abs=2e-3)
    assert mast_reach_m(tip, length, body, stand) == pytest.approx(20.592, abs=1e-3)


def test_the_width_of_a_line_grows_with_its_voltage():
    # from memory: see the table; 345 kV flat 7 to 9 m, 500 kV 10 to 12 m off the centre
    assert [line_half_width_m(v) for v in (13, 161, 345, 500, 750, 765)] == [1.5, 5, 9, 12, 15, 22]
    assert line_half_width_m(None) == max(line_half_width_m(v) for v in range(1, 1001))
    assert math.isnan(line_half_width_m(1100))
    with pytest.raises(ValueError, match="above 0"):
        line_half_width_m(-1)
