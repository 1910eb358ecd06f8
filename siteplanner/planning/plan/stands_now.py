"""Where the trailer stands, as every plan that is made after its arrival says it: whatever that plan has first, and
whether or not the place passes its limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from siteplanner.planning.plan.records import list_of, number, of, text
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.spot import Stance


@dataclass(frozen=True)
class StandsNow:
    """Bearings true; `share` of the weighted area as it was told there last. `reported`: a crew has said so; else it is
    taken as planned. NaN: not known."""

    name: str
    latitude: float
    longitude: float
    grid_reference: str
    heading_deg: float
    mast_stop_m: float
    sector_bearings_deg: tuple[float, ...]
    share: float
    ways_out: float
    reported: bool


def standing_now(e: Evaluation, stands: Stance, share: float, reported: bool) -> StandsNow:
    """Of a place that was judged with a trailer on it."""
    line = None if e.access is None else e.access.lifeline
    ways = None if line is None or line.outside is None else line.outside.ways
    spot = e.spot
    return StandsNow(
        spot.name, spot.latitude, spot.longitude, spot.grid_reference, stands.heading_deg, stands.mast_stop_m,
        stands.sector_bearings_deg, share, math.nan if ways is None else ways, reported,
    )  # fmt: skip


def standing_row(record: Mapping[str, Any], name: str = "") -> Mapping[str, Any] | None:
    """The row of a plan.json, shaped as one of its spots, of the place where the trailer stands; None where that plan
    was made before anything stood, or where another spot is asked for."""
    held = of(record, "stands")
    called = text(of(held, "name"))
    if not called or (name and name.casefold() != called.casefold()):
        return None
    return {
        "name": called,
        **{key: of(held, key) for key in ("latitude", "longitude", "grid_reference")},
        "ground": {"heading_deg": of(held, "heading_deg")},
        "coverage": {
            "share": of(held, "share"),
            "mast_height_m": of(held, "mast_stop_m"),
            "sector_bearings_deg": [number(b) for b in list_of(of(held, "sector_bearings_deg"))],
        },
        "access": {"lifeline": {"outside": {"ways": of(held, "ways_out")}}},
    }


def reported_in(record: Mapping[str, Any]) -> bool:
    """Whether a crew has said how the trailer stands that a plan.json tells of."""
    return of(record, "as_built") is not None or of(record, "stands", "reported") is True
