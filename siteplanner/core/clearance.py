"""Distance that a raised mast keeps from overhead power lines, and how far from a trailer its tip can land."""

from __future__ import annotations

import math

import numpy as np

from siteplanner.core.constants import FOOT_M

# 29 CFR 1926.1408 Table A, minimum clearance: (up to and including kV, feet)
_TABLE_A = ((50.0, 10.0), (200.0, 15.0), (350.0, 20.0), (500.0, 25.0), (750.0, 35.0), (1000.0, 45.0))

UNKNOWN_VOLTAGE_CLEARANCE_M = 50 * FOOT_M
"""29 CFR 1926.1408(a)(2)(ii) allows 20 ft without the voltage up to 350 kV; 1926.1409(a) puts 50 ft in their place
above that, up to 1,000 kV. A line of which nothing is known may carry more than 350 kV."""

# outer conductor from the middle of the line, flat arrangement of three: (up to and including kV, metres). From memory:
# crossarms of 10 ft on distribution poles; phases 15 ft apart at 115 to 161 kV, 20 to 30 ft at 230 to 345 kV, 33 to
# 40 ft at 500 kV, 45 to 50 ft at 735 and 765 kV, about 22 m at 1,000 kV.
_HALF_WIDTHS = ((50.0, 1.5), (200.0, 5.0), (350.0, 9.0), (500.0, 12.0), (750.0, 15.0), (1000.0, 22.0))


def overhead_line_clearance_m(voltage_kv: float) -> float:
    """Minimum clearance in metres from an energised overhead line of this voltage in kilovolts.

    Source: 29 CFR 1926.1408 Table A. Above 1,000 kV the table gives no number (1926.1409(b): the line's owner or a
    qualified engineer sets it): NaN. Raises ValueError for a voltage that is not above 0.
    """
    return _by_class(_TABLE_A, voltage_kv) * FOOT_M


def line_half_width_m(voltage_kv: float | None) -> float:
    """How far the outer conductors hang from the middle of a line, metres; None: the widest class, for no one knows.

    From memory, see the table; the swing of conductors in wind is not in it. NaN above 1,000 kV. Raises ValueError for
    a voltage that is not above 0.
    """
    return _HALF_WIDTHS[-1][1] if voltage_kv is None else _by_class(_HALF_WIDTHS, voltage_kv)


def _by_class(table: tuple[tuple[float, float], ...], voltage_kv: float) -> float:
    if not voltage_kv > 0:
        raise ValueError("the voltage must be above 0 kV")
    return next((value for limit_kv, value in table if voltage_kv <= limit_kv), float(np.nan))


def tipping_reach_m(pivot_m: float, foot_m: float, tip_m: float) -> float:
    """Where the tip of a mast lands when the trailer tips over an edge of its stand, from the middle of the trailer.

    `pivot_m` from the middle to the edge, `foot_m` from the middle to the mast's foot on the side away from the edge,
    `tip_m` the tip above the ground. Closed form: the tip goes round the edge on a circle of radius
    sqrt((pivot + foot)^2 + tip^2).
    """
    return pivot_m + math.hypot(pivot_m + foot_m, tip_m)


def mast_reach_m(tip_m: float, length_m: float, width_m: float, stand_width_m: float) -> float:
    """How far from the middle of the trailer the tip of its mast can land, whichever way it goes; closed form.

    The mast stands anywhere on the body (`length_m` by `width_m`); it falls about its foot, or the trailer tips over an
    end or a side of the rectangle of its jacks (`length_m` by `stand_width_m`, outriggers included).
    """
    ahead, beside = length_m / 2, width_m / 2
    falls = math.hypot(ahead, beside) + tip_m
    over_end = math.hypot(tipping_reach_m(length_m / 2, ahead, tip_m), beside)
    over_side = math.hypot(tipping_reach_m(stand_width_m / 2, beside, tip_m), ahead)
    return max(falls, over_end, over_side)
