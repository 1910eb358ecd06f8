"""Parts of plans that earlier versions saved, as the classes of today hold them."""

from __future__ import annotations

from typing import Any

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.planning.limits.ground_way import GroundWay, steps_back
from siteplanner.planning.study.slope import Slope


def as_now(made: type, given: dict[str, Any]) -> dict[str, Any]:
    """Fields of a class by name, as they are now: since format 7 two rasters are no longer held whole, and since some
    time within format 6 the cell before, on a way over ground, is not kept by its number."""
    if isinstance(given.get("slope"), Grid):
        return {**given, "slope": Slope(given["elevation"])}
    if made is GroundWay and "distance_m" in given:
        reached = np.isfinite(given["distance_m"])
        first = np.concatenate([np.zeros(1, np.int64), np.cumsum(reached.sum(axis=1))])
        back = given.get("back")
        if back is None:
            back = steps_back(given["distance_m"], given["band_rows"], given["band_cols"], given["predecessor"])
        return {"back": back, "metres": given["distance_m"][reached], "first": first}
    return given
