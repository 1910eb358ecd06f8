"""Whether two figures are told apart: by numbers, never by how they are printed."""

from __future__ import annotations

import math


def alike(one: float, other: float, step: float, doubt: float = math.nan) -> bool:
    """Two figures differ by less than the step in which they are told, or than what they are known to.

    `step`, `doubt`: in the figures' unit; a doubt of NaN is none known. Two unknown figures are alike, one of them is
    not. Two infinite ones of one sign are alike.
    """
    if not (math.isfinite(one) and math.isfinite(other)):
        return one == other or (math.isnan(one) and math.isnan(other))
    off = abs(one - other)
    return off < step or (math.isfinite(doubt) and off < doubt) or off == 0
