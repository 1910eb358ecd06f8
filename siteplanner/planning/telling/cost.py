"""What a run will take of memory and time, before it starts."""

from __future__ import annotations

from typing import Any

from siteplanner.planning.study.cost import Fit, Part
from siteplanner.planning.telling.units import METRIC, Units

COARSER: dict[Part, str] = {
    "cells": "a larger search.cell_size_m or a smaller search.radius_m",
    "service": "a larger search.coverage_cell_m or fewer search.max_spots",
    "roads": "roads cut to the mission's ground",
}


def cost_words(fit: Fit, units: Units = METRIC) -> str:
    """`A plan takes about 30 s of work (10 to 80 s) and 1.2 GB of memory (at most about 1.7 GB); ...`."""
    cost = fit.cost
    low, likely, high = (_time(s, units) for s in (cost.processor_low_s, cost.processor_s, cost.processor_high_s))
    words = (
        f"A plan takes about {likely} of work ({low} to {high}; longer on a busy or "
        f"slow computer) and {_gb(cost.memory_mb)} of memory (at most about {_gb(cost.memory_high_mb)})."
    )
    if fit.available_mb is None:
        return f"{words} How much memory is free here is not known."
    if fit.tight:
        return (
            f"{words} Only {_gb(fit.available_mb)} are free: it may not fit. Close other programs, or take "
            f"{COARSER[cost.largest]}."
        )
    return f"{words} {_gb(fit.available_mb)} are free."


def cost_record(fit: Fit) -> dict[str, Any]:
    """The estimate as plain values, with the counts that it comes from."""
    cost, counts = fit.cost, fit.cost.counts
    return {
        "processor_s": round(cost.processor_s, 1),
        "processor_low_s": round(cost.processor_low_s, 1),
        "processor_high_s": round(cost.processor_high_s, 1),
        "memory_mb": round(cost.memory_mb),
        "memory_low_mb": round(cost.memory_low_mb),
        "memory_high_mb": round(cost.memory_high_mb),
        "available_mb": None if fit.available_mb is None else round(fit.available_mb),
        "fits": None if fit.available_mb is None else not fit.tight,
        "counts": {
            "cells": counts.cells,
            "area_cells": counts.area_cells,
            "segments": counts.segments,
            "spots_at_most": counts.spots,
            "mast_stops": counts.stops,
        },
    }


def _time(seconds: float, units: Units) -> str:
    """To ten seconds above twenty, to minutes above ninety: nothing finer is known."""
    if seconds > 90:
        return units.seconds(seconds)
    return units.figure(round(seconds / 10) * 10 if seconds > 20 else round(seconds), "s")


def _gb(megabytes: float) -> str:
    return f"{megabytes / 1000:.1f} GB"
