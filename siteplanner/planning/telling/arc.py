"""The part of the geostationary arc in view from a spot, and what it means for the satellites named, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from siteplanner.mission.links import orbital_longitude
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.spots.slots import ArcSpan, VisibleArc
from siteplanner.planning.telling.units import METRIC, Units


def span_words(span: ArcSpan) -> str:
    """`62.4° W to 131° W`, each end rounded into the span."""
    width = (span.east_deg - span.west_deg) % 360
    east, west = math.floor(span.east_deg * 10) / 10, math.ceil(span.west_deg * 10) / 10
    if width < 0.2:
        return f"a sliver at {orbital_longitude(span.east_deg)}"
    return f"{orbital_longitude(east)} to {orbital_longitude(west)}"


def arc_words(arc: VisibleArc | None, looks: Sequence[Look], units: Units = METRIC) -> str:
    """`Sees satellites from 62.4° W to 131° W. Of those named: Relay one works.`; '' where
    the arc was not looked at."""
    if arc is None:
        return ""
    margin, least = units.stated(arc.margin_deg, "°"), units.stated(arc.min_elevation_deg, "°")
    asked = f"{margin} above the skyline and {least} above level"
    if arc.clear:
        parts = [f"Sees satellites from {' and from '.join(span_words(s) for s in arc.clear)} ({asked})."]
    elif arc.unknown:
        parts = [f"No satellite is known to be in view ({asked})."]
    else:
        parts = [f"Sees no geostationary satellite ({asked})."]
    if arc.unknown:
        spans = " and from ".join(span_words(s) for s in arc.unknown)
        parts.append(f"Not known from {spans}: what could stand there is not in the data.")
    words = [f"{look.satellite_name} {_verdict(look, arc.min_elevation_deg)}" for look in looks]
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
