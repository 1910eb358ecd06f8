"""Where random draws come from: each spot and each road has its own, the same whatever is drawn beside it.

So a change of weights, another order or a spot more draws the same errors again: what differs between two plans is
never the luck of the draw.
"""

from __future__ import annotations

import zlib

import numpy as np

_ALL, _SPOT, _ROAD = 0, 1, 2
_CM = 100.0
_WHOLE = (1 << 64) - 1


def luck_of_all() -> np.random.Generator:
    """What all spots share."""
    return np.random.default_rng([_ALL])


def luck_of_spot(x: float, y: float, number: int) -> np.random.Generator:
    """Of one place, metres to the cm; `number` tells spots at one place apart, 0 the first."""
    return np.random.default_rng([_SPOT, round(x * _CM) & _WHOLE, round(y * _CM) & _WHOLE, number])


def luck_of_road(road: str) -> np.random.Generator:
    """Of one road by what tells it from others."""
    return np.random.default_rng([_ROAD, zlib.crc32(road.encode("utf-8", "surrogatepass"))])
