"""Which backhaul ground would use, asked of cells before spots are chosen among them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.planning.limits.toward import look_at
from siteplanner.planning.spots.backhaul import by_donor, by_open_sky
from siteplanner.planning.spots.candidates import spot_at
from siteplanner.planning.study.inputs import BackhaulInputs, DonorInputs, OpenSkyInputs, SatelliteInputs

if TYPE_CHECKING:
    from siteplanner.planning.study.spot import Spot

NONE = -1  # no wanted backhaul is known to work


def first_working(
    inputs: BackhaulInputs, rows: np.ndarray, cols: np.ndarray, tick: Callable[[float], None] = lambda share: None
) -> np.ndarray:
    """(n,) place in `backhaul.wanted` (0: the preferred one) of the first that works at each cell, else NONE.

    By the same functions that judge a spot. A donor link is asked from the highest mast stop.
    """
    out = np.full(len(rows), NONE, np.int8)
    for n, (row, col) in enumerate(zip(rows.tolist(), cols.tolist(), strict=True)):
        tick(n / len(rows))
        spot = spot_at(inputs.elevation, row, col, "")
        for place, way in enumerate(inputs.wanted):
            if works(way, spot, (row, col)):
                out[n] = place
                break
    return out


def works(way: SatelliteInputs | OpenSkyInputs | DonorInputs, spot: Spot, cell: tuple[int, int]) -> bool:
    """Whether one kind of backhaul works at a cell."""
    if isinstance(way, SatelliteInputs):
        seen = look_at(way.dish, spot, cell, np.array([s.longitude_deg for s in way.dish.satellites]))
        return bool(seen.clear.any() if way.need == "any" else seen.clear.all())
    if isinstance(way, OpenSkyInputs):
        return by_open_sky(way, spot, cell).verdict == "works"
    return by_donor(way, spot, cell, None, way.mast_stops_m[-1:]).verdict == "works"
