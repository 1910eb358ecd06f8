"""Slots of the geostationary arc from one spot: the part in view.

One function (`limits.toward.look_at`) judges a single named satellite and the whole arc alike, so both always agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.core.geodesy import visible_arc_deg, wrap_180_deg
from siteplanner.planning.limits.toward import look_at

if TYPE_CHECKING:
    from siteplanner.planning.spots.lines import Look
    from siteplanner.planning.study.inputs import DishView
    from siteplanner.planning.study.spot import Spot

SCAN_STEP_DEG = 0.5  # of orbital longitude; a window on the arc narrower than that may go unnoticed
END_WITHIN_DEG = 0.001  # ends of the visible arc are found that exactly, on the side that is in view


@dataclass(frozen=True)
class ArcSpan:
    """A stretch of the arc: orbital longitudes of its ends in [-180, 180), running westward from east to west."""

    east_deg: float
    west_deg: float


@dataclass(frozen=True)
class VisibleArc:
    """Which slots a spot sees, with the mission's margin and least elevation; all else is behind the skyline."""

    clear: tuple[ArcSpan, ...]
    unknown: tuple[ArcSpan, ...]  # the elevation ends before the skyline is certain
    margin_deg: float
    min_elevation_deg: float


def visible_arc(dish: DishView, spot: Spot, looks: tuple[Look, ...]) -> VisibleArc | None:
    """The part of the geostationary arc in view from a spot.

    Looked at every SCAN_STEP_DEG of orbital longitude and at each named satellite; ends are then halved down to
    END_WITHIN_DEG and lie inside what is in view. None outside the elevation.
    """
    grid = dish.relief.elevation
    cell = spot.cell
    if cell is None or not math.isfinite(grid.values[cell]):
        return None
    west, east = (float(v) for v in visible_arc_deg(spot.latitude, spot.longitude, dish.min_elevation_deg))
    clear: tuple[ArcSpan, ...] = ()
    unknown: tuple[ArcSpan, ...] = ()
    if math.isfinite(west) and math.isfinite(east):
        span = (east - west) % 360
        offsets = np.arange(0.0, span, SCAN_STEP_DEG)
        named = (np.array([look.satellite_longitude_deg for look in looks]) - west) % 360
        # from the eastern end westward; a hair inside the ends, where rounding cannot push a slot below the limit
        scan = np.unique(np.concatenate((offsets, [span], named[named <= span])))[::-1]
        scan = west + np.clip(scan, 1e-6, span - 1e-6)

        def state(longitudes: np.ndarray) -> np.ndarray:
            return look_at(dish, spot, cell, longitudes).state

        found = state(scan)
        edge = np.flatnonzero(found[:-1] != found[1:])
        before, after = scan[edge], scan[edge + 1]
        while len(edge) and np.max(before - after) > END_WITHIN_DEG:
            middle = (before + after) / 2
            like_before = state(middle) == found[edge]
            before, after = np.where(like_before, middle, before), np.where(like_before, after, middle)
        starts, stops = np.concatenate((scan[:1], after)), np.concatenate((before, scan[-1:]))
        kinds = found[np.concatenate(([0], edge + 1))]
        spans = [
            (kind, ArcSpan(float(wrap_180_deg(a)), float(wrap_180_deg(b))))
            for kind, a, b in zip(kinds, starts, stops, strict=True)
        ]
        clear = tuple(s for kind, s in spans if kind == "clear")
        unknown = tuple(s for kind, s in spans if kind == "unknown")
    return VisibleArc(clear, unknown, dish.min_margin_deg, dish.min_elevation_deg)
