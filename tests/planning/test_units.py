"""Figures in words: conversions by the definitions, roundings on the safe side, listeners and readers."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from siteplanner.planning.telling.units import BOTH, FOOT_M, METRIC, US, Units

RADIO = Units("both", spoken=True)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (METRIC.distance(700), "700 m"),
        (METRIC.distance(2400), "2.4 km"),
        (US.distance(2400), "1.5 mi"),  # 2400 / 1609.344 (NIST SP 811, appendix B.8) = 1.49
        (US.distance(100), "328 ft"),  # 100 / 0.3048
        (BOTH.distance(2400), "2.4 km (1.5 mi)"),
        (RADIO.distance(2400), "2.4 kilometers or 1.5 miles"),
        (METRIC.mass(3200), "3.2 t"),
        (US.mass(1814.36948), "4,000 lb"),  # 4000 x 0.45359237 kg (NIST SP 811, appendix B.8)
        (US.speed(20.1168), "45 mph"),  # 45 x 0.44704 m/s (NIST SP 811, appendix B.8)
        (METRIC.area(2.58), "2.6 km²"),
        (US.area(2.589988110336), "1.0 sq mi"),  # one square mile (NIST SP 811, appendix B.8)
        (METRIC.angle(12.34), "12.3°"),
        (METRIC.angle(-0.04), "0.0°"),
        (METRIC.bearing(359.6), "000°"),
        (METRIC.grade(-12.3), "12 % descent"),
        (METRIC.grade(0.4), "level"),
        (RADIO.grade(12.3), "12 percent climb"),
        (METRIC.share(0.996), "above 99 %"),
        (METRIC.share(0.004), "below 1 %"),
        (METRIC.share(1.0), "100 %"),
        (METRIC.share_at_least(0.949), "94 %"),
        (METRIC.minutes(61), "1 h 01 min"),
        (METRIC.minutes(0.2), "1 min"),
        (RADIO.minutes(1), "1 minute"),
        (RADIO.minutes(120), "2 hours"),
        (METRIC.length(float("nan")), "not known"),
        (METRIC.length(None), "not known"),
        (METRIC.figure(math.inf, "m"), "no limit"),
    ],
)
def test_figures_by_hand(text, expected):
    assert text == expected


def numbers(text: str) -> list[float]:
    return [float(v.replace(",", "")) for v in re.findall(r"[\d,]+(?:\.\d+)?", text)]


@given(st.floats(0.01, 5000), st.integers(0, 2))
def test_no_rounding_makes_room(metres, digits):
    """A distance to keep is never told shorter, a distance that is there never longer, in either unit."""
    hair = 1e-6 * max(1.0, metres)
    for system, to_m in ((METRIC, (1.0,)), (US, (FOOT_M,)), (BOTH, (1.0, FOOT_M))):
        keep, there = numbers(system.keep(metres, digits)), numbers(system.there(metres, digits))
        assert len(keep) == len(there) == len(to_m)
        for said, factor in zip(keep, to_m, strict=True):
            assert metres - hair <= said * factor <= metres + 1.0
        for said, factor in zip(there, to_m, strict=True):
            assert metres - 1.0 <= said * factor <= metres + hair


@given(st.floats(0, 1))
def test_a_share_is_nothing_or_all_only_when_it_is(share):
    said = METRIC.share(share)
    assert (said == "0 %") == (share == 0)
    assert (said == "100 %") == (share == 1)
