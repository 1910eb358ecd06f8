"""Slots of the geostationary arc from one spot: the part in view, and what it means for the satellites named.

One function (`limits.toward.look_at`) judges a single named satellite and the whole arc alike, so both always agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.core.geodesy import visible_arc_deg, wrap_180_deg
from siteplanner.planning.limits.toward import look_at
from siteplanner.planning.site.slot_names import slot_text

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
    sentence: str


def visible_arc(dish: DishView, spot: Spot, looks: tuple[Look, ...]) -> VisibleArc | None:
    """The part of the geostationary arc in view from a spot, with what it means for the satellites named.

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
    return VisibleArc(
        clear,
        unknown,
        dish.min_margin_deg,
        dish.min_elevation_deg,
        arc_sentence(clear, unknown, looks, dish.min_margin_deg, dish.min_elevation_deg),
    )


def span_text(span: ArcSpan) -> str:
    """`62.4 W to 131 W`, each end rounded into the span."""
    width = (span.east_deg - span.west_deg) % 360
    east, west = math.floor(span.east_deg * 10) / 10, math.ceil(span.west_deg * 10) / 10
    if width < 0.2:
        return f"a sliver at {slot_text(span.east_deg)}"
    return f"{slot_text(east)} to {slot_text(west)}"


def arc_sentence(
    clear: tuple[ArcSpan, ...],
    unknown: tuple[ArcSpan, ...],
    looks: tuple[Look, ...],
    margin_deg: float,
    min_elevation_deg: float,
) -> str:
    """`Sees slots from 62.4 W to 131 W. Of those named: slot 113 W works; slot 61 W is behind the skyline.`"""
    asked = f"{margin_deg:g} deg above the skyline and {min_elevation_deg:g} deg above level"
    if clear:
        parts = [f"Sees slots from {' and from '.join(span_text(s) for s in clear)} ({asked})."]
    elif unknown:
        parts = [f"No slot is known to be in view ({asked})."]
    else:
        parts = [f"Sees no geostationary slot ({asked})."]
    if unknown:
        spans = " and from ".join(span_text(s) for s in unknown)
        parts.append(f"Not known from {spans}: what could stand there is not in the data.")
    words = [f"{look.satellite_name} {_verdict(look, min_elevation_deg)}" for look in looks]
    if words:
        parts.append(f"Of those named: {'; '.join(words)}.")
    return " ".join(parts)


def _verdict(look: Look, min_elevation_deg: float) -> str:
    if look.clear:
        return "works"
    if look.elevation_deg < 0:
        return "is below the horizon"
    if look.elevation_deg < min_elevation_deg:
        return "is too low"
    return "is not known to be in view" if look.state == "unknown" else "is behind the skyline or too near it"
