"""Overhead line clearance against 29 CFR 1926.1408 Table A."""

import math

import pytest

from siteplanner.core.clearance import mast_keep_away_m, overhead_line_clearance_m


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


def test_keep_away_is_fall_plus_clearance():
    # common practice, no source: the whole mast falling toward the line ends outside the table's clearance
    assert mast_keep_away_m(115, 15, 1.1) == pytest.approx(15 * 1.1 + 15 * 0.3048)
