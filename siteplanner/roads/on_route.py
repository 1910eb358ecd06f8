"""The hazards of a route in the order they are met, each told once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from siteplanner.errors import Severity
from siteplanner.roads.hazards import Hazard
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route

_LASTING = ("unpaved", "narrow", "private")  # told with their length
_JOIN_M = 30.0  # the same warning again within this is one warning


@dataclass(frozen=True)
class RouteHazard:
    """A hazard met after `running_m` of driving; `length_m` is 0 for a point. `value` as in `Hazard`.

    For `steep` the value is the grade in the direction driven: positive uphill.
    """

    running_m: float
    length_m: float
    kind: str
    severity: Severity
    text: str
    x: float
    y: float
    value: float = float("nan")


def length_words(metres: float) -> str:
    """A length for reading aloud: `80 m`, `1.4 km`."""
    return f"{metres / 1000:.1f} km" if metres >= 995 else f"{max(10, round(metres / 10) * 10)} m"


def _met(hazard: Hazard, start: float, end: float, run: float) -> RouteHazard | None:
    """The hazard as met on a segment that is driven from `start` to `end`, or None when it lies elsewhere."""
    low, high = min(start, end), max(start, end)
    value, text = hazard.value, hazard.text
    if hazard.stretch:
        return RouteHazard(run, high - low, hazard.kind, hazard.severity, text, hazard.x, hazard.y, value)
    if not low - 1.0 <= hazard.along_m <= high + 1.0:
        return None
    if hazard.kind == "steep":
        value = value if end >= start else -value
        text = f"steep {'climb' if value > 0 else 'descent'}, {text}"
    return RouteHazard(run + min(abs(hazard.along_m - start), high - low), 0.0, hazard.kind, hazard.severity, text,
                       hazard.x, hazard.y, value)


def _merged(first: RouteHazard, then: RouteHazard) -> RouteHazard | None:
    """One hazard from two, or None when they must be told apart."""
    if first.kind != then.kind or then.running_m - (first.running_m + first.length_m) > _JOIN_M:
        return None
    end = max(first.running_m + first.length_m, then.running_m + then.length_m)
    if first.kind == "steep":
        if first.value * then.value < 0:
            return None
        worse = first if abs(first.value) >= abs(then.value) else then
        return replace(worse, running_m=first.running_m, length_m=end - first.running_m)
    if first.text != then.text or first.kind == "bend":
        return None
    return replace(first, length_m=end - first.running_m)


def hazards_along(network: RoadNetwork, route: Route) -> tuple[RouteHazard, ...]:
    """Hazards in driving order. A stretch that runs over several segments is one, with its length."""
    running = route.running_m
    met: dict[str, list[RouteHazard]] = {}
    for segment, start, end, run in zip(route.segments.tolist(), route.start_m.tolist(), route.end_m.tolist(),
                                        running.tolist(), strict=False):
        found = [h for hazard in network.hazards[segment] if (h := _met(hazard, start, end, run)) is not None]
        for hazard in sorted(found, key=lambda h: h.running_m):
            of_kind = met.setdefault(hazard.kind, [])
            whole = _merged(of_kind[-1], hazard) if of_kind else None
            if whole is not None:
                of_kind[-1] = whole
            else:
                of_kind.append(hazard)
    out = [h for of_kind in met.values() for h in of_kind]
    out.sort(key=lambda h: (h.running_m, h.kind))
    at = np.asarray(shapely.line_interpolate_point(route.line, [h.running_m for h in out]), object)
    return tuple(
        replace(h, x=float(p.x), y=float(p.y),
                text=f"{h.text} for {length_words(h.length_m)}" if h.kind in _LASTING else h.text)
        for h, p in zip(out, at, strict=True))
