"""Which backhaul ground would use, asked of cells before spots are chosen among them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.planning.limits.toward import look_at
from siteplanner.planning.spots.backhaul import by_donor, by_open_sky
from siteplanner.planning.spots.candidates import spot_at

if TYPE_CHECKING:
    from siteplanner.planning.study.spot import Spot
    from siteplanner.planning.study.study import Study

NONE = -1  # no wanted backhaul is known to work


def first_working(
    study: Study, rows: np.ndarray, cols: np.ndarray, tick: Callable[[float], None] = lambda share: None
) -> np.ndarray:
    """(n,) place in `backhaul.wanted` (0: the preferred one) of the first that works at each cell, else NONE.

    By the same functions that judge a spot. A donor link is asked from the highest mast stop.
    """
    out = np.full(len(rows), NONE, np.int8)
    for n, (row, col) in enumerate(zip(rows.tolist(), cols.tolist(), strict=True)):
        tick(n / len(rows))
        spot = spot_at(study.elevation, row, col, "")
        for place, kind in enumerate(study.mission.backhaul.wanted):
            if works(study, spot, (row, col), kind):
                out[n] = place
                break
    return out


def works(study: Study, spot: Spot, cell: tuple[int, int], kind: str) -> bool:
    """Whether one kind of backhaul works at a cell."""
    mission = study.mission
    if kind == "geostationary":
        seen = look_at(study, spot, cell, np.array([s.longitude_deg for s in mission.sky.satellites]))
        return bool(seen.clear.any() if mission.sky.need == "any" else seen.clear.all())
    if kind == "open_sky":
        return by_open_sky(study, spot, cell).verdict == "works"
    return by_donor(study, spot, cell, None, mission.trailer.mast_stops_m[-1:]).verdict == "works"
