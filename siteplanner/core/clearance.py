"""Distance that a raised mast keeps from overhead power lines."""

from __future__ import annotations

import numpy as np

from siteplanner.core.constants import FOOT_M

# 29 CFR 1926.1408 Table A, minimum clearance: (up to and including kV, feet)
_TABLE_A = ((50.0, 10.0), (200.0, 15.0), (350.0, 20.0), (500.0, 25.0), (750.0, 35.0), (1000.0, 45.0))


def overhead_line_clearance_m(voltage_kv: float) -> float:
    """Minimum clearance in metres from an energised overhead line of this voltage in kilovolts.

    Source: 29 CFR 1926.1408 Table A. Above 1,000 kV the table gives no number: NaN, the line's owner or a
    qualified engineer decides. Raises ValueError for a voltage that is not above 0.
    """
    if not voltage_kv > 0:
        raise ValueError("the voltage must be above 0 kV")
    for limit_kv, feet in _TABLE_A:
        if voltage_kv <= limit_kv:
            return feet * FOOT_M
    return float(np.nan)


def mast_keep_away_m(voltage_kv: float, mast_height_m: float, fall_factor: float = 1.1) -> float:
    """Horizontal distance from the line at which the mast may stand: its fall plus the table's clearance.

    The whole mast falling toward the line must still end outside the clearance (common practice, no source).
    """
    return overhead_line_clearance_m(voltage_kv) + fall_factor * mast_height_m
