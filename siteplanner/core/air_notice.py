"""When a mast near a landing place calls for notice to the aviation authority: 14 CFR 77.9, and an approach kept clear.

14 CFR 77.9(a): more than 200 ft above the ground at its site. 77.9(b): above a surface that rises from the nearest
point of the nearest runway, or of the landing area of a heliport: 100 to 1 out to 20,000 ft where the longest runway is
more than 3,200 ft, 50 to 1 out to 10,000 ft where it is no more, 25 to 1 out to 5,000 ft for a heliport. 77.9(e)(4)
(from memory): an antenna of 20 ft or less needs none. Heights are metres above one zero, distances metres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.constants import FOOT_M

TALL_M = 200 * FOOT_M  # 14 CFR 77.9(a)
LOW_ANTENNA_M = 20 * FOOT_M  # 14 CFR 77.9(e)(4), from memory
LONG_RUNWAY_M = 3200 * FOOT_M  # 14 CFR 77.9(b)(1) and (2)
LONGEST_RUNWAY_M = 16_000 * FOOT_M  # the longest civil runway of the United States, from memory

Verdict = Literal["above", "below", "beyond", "unknown"]


@dataclass(frozen=True)
class NoticeSurface:
    """One surface of 14 CFR 77.9(b): it rises one in `run` out to `reach_m`."""

    run: float
    reach_m: float
    paragraph: str


LONG, SHORT, HELIPORT = (
    NoticeSurface(100.0, 20_000 * FOOT_M, "77.9(b)(1)"),
    NoticeSurface(50.0, 10_000 * FOOT_M, "77.9(b)(2)"),
    NoticeSurface(25.0, 5_000 * FOOT_M, "77.9(b)(3)"),
)


def notice_surface(heliport: bool, runway_m: float) -> NoticeSurface:
    """The surface of a landing place; a runway whose length is not known (NaN) has the lowest, which reaches farthest.

    Raises ValueError for a length of 0 or less.
    """
    if heliport:
        return HELIPORT
    if runway_m <= 0:
        raise ValueError("runway_m must be above 0")
    return SHORT if runway_m <= LONG_RUNWAY_M else LONG


def notice_verdict(surface: NoticeSurface, distance_m: float, above_m: float) -> Verdict:
    """Where a mast's top stands: above the surface, below it, beyond its reach; NaN heights within reach: unknown.

    `above_m`: the top above the landing place. A top that just touches the surface does not exceed it.
    """
    if distance_m > surface.reach_m:
        return "beyond"
    if math.isnan(above_m):
        return "unknown"
    return "above" if above_m > distance_m / surface.run else "below"


def nearest_runway_m(distance_m: float, drawn_as_point: bool, runway_m: float) -> float:
    """How near a runway may come to a mast that is `distance_m` from an airport as it is drawn.

    A point stands for runways that may run toward the mast by all of their length: the stated one, or the longest that
    there is where none is stated. Common practice, no source.
    """
    if not drawn_as_point:
        return distance_m
    return max(distance_m - (LONGEST_RUNWAY_M if math.isnan(runway_m) else runway_m), 0.0)


def approach_keep_m(above_m: float, run: float) -> float:
    """How far a mast stands from a landing area so as to stay under a slope of `run` to 1; NaN where a height is.

    8 to 1 is the approach surface of a heliport (14 CFR 77.23(b), from memory); here it is kept on every side, because
    the layer tells no direction: common practice, no source.
    """
    return math.nan if math.isnan(above_m) else run * max(above_m, 0.0)
