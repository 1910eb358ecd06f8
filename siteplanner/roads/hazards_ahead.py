"""Hazards in the order in which the drive meets them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from siteplanner.core.geodesy import bearing_deg, wrap_180_deg
from siteplanner.data.grid import Grid
from siteplanner.data.grid_reference import grid_reference
from siteplanner.errors import Severity
from siteplanner.roads.hazards import Hazard
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route

STRETCH_GAP_M = 60.0  # pieces of narrow or unpaved road closer than this are one stretch
BEND_LOOK_M = 20.0  # a bend's side and size are looked at this far before and after it
HAIRPIN_DEG = 135.0  # a bend that turns by more is called a hairpin. Common practice


@dataclass(frozen=True)
class HazardAhead:
    """A hazard on the drive; `length_m` is 0 for a point, `value` its figure or NaN. Place: WGS 84 when asked for."""

    running_m: float
    kind: str
    severity: Severity
    text: str
    x: float
    y: float
    value: float
    length_m: float = 0.0
    latitude: float = float("nan")
    longitude: float = float("nan")
    grid_reference: str = ""


def hazards_along(network: RoadNetwork, route: Route, grid: Grid | None = None) -> tuple[HazardAhead, ...]:
    """Hazards on the way in driving order. Grades are told as climb or descent, bends by their side; stretches of the
    same kind are joined. `grid` turns metres into WGS 84.
    """
    out: list[HazardAhead] = []
    for leg, segment in enumerate(route.segments.tolist()):
        low, high = sorted((float(route.start_m[leg]), float(route.end_m[leg])))
        sign = 1.0 if route.directions[leg] > 0 else -1.0
        for hazard in network.hazards[segment]:
            if hazard.stretch:
                running, length = float(route.running_m[leg]), high - low
                place = route.line.interpolate(running)
                x, y = float(place.x), float(place.y)
            elif low - 1 <= hazard.along_m <= high + 1:
                running = float(route.running_m[leg] + abs(hazard.along_m - route.start_m[leg]))
                length, x, y = 0.0, hazard.x, hazard.y
            else:
                continue
            text, value = hazard.text, hazard.value
            if hazard.kind == "steep":
                value = sign * value
                text = f"steep {'climb' if value > 0 else 'descent'}: {text}"
            if hazard.kind == "bend":
                text = _bend(route, running, hazard)
            out.append(HazardAhead(running, hazard.kind, hazard.severity, text, x, y, value, length))
    return placed(_joined(sorted(out, key=_order)), grid)


def placed(hazards: list[HazardAhead], grid: Grid | None) -> tuple[HazardAhead, ...]:
    """In driving order, each with its coordinates in WGS 84."""
    if grid is None:
        return tuple(sorted(hazards, key=_order))
    out = []
    for hazard in sorted(hazards, key=_order):
        lon, lat = (float(v) for v in grid.lonlat(hazard.x, hazard.y))
        out.append(replace(hazard, latitude=lat, longitude=lon, grid_reference=grid_reference(lat, lon)))
    return tuple(out)


def _order(hazard: HazardAhead) -> tuple[float, str, str]:
    return hazard.running_m, hazard.kind, hazard.text


def _bend(route: Route, running_m: float, hazard: Hazard) -> str:
    """`hairpin bend to the left, radius about 8 m ...`, by the direction of travel well before and after it."""
    look = max(BEND_LOOK_M, np.pi * hazard.value / 2 if np.isfinite(hazard.value) else 0.0)

    def bearing(start_m: float, end_m: float) -> float:
        a, b = (route.line.interpolate(float(np.clip(m, 0.0, route.distance_m))) for m in (start_m, end_m))
        return float(bearing_deg(b.x - a.x, b.y - a.y))

    if running_m < 5 or running_m > route.distance_m - 5:
        return hazard.text
    turn = float(
        wrap_180_deg(bearing(running_m + look / 2, running_m + look) - bearing(running_m - look, running_m - look / 2))
    )
    side = "right" if turn > 0 else "left"
    word = "hairpin bend" if abs(turn) >= HAIRPIN_DEG else "sharp bend"
    return hazard.text.replace("sharp bend", f"{word} to the {side}", 1)


def _joined(hazards: list[HazardAhead]) -> list[HazardAhead]:
    """Stretches of the same kind and words that follow each other become one with the whole length."""
    out: list[HazardAhead] = []
    open_: dict[tuple[str, str], int] = {}
    for hazard in hazards:
        key = (hazard.kind, hazard.text)
        last = open_.get(key)
        if hazard.length_m > 0 and last is not None:
            before = out[last]
            end = before.running_m + before.length_m
            if hazard.running_m - end <= STRETCH_GAP_M:
                out[last] = replace(before, length_m=hazard.running_m + hazard.length_m - before.running_m)
                continue
        if hazard.length_m > 0:
            open_[key] = len(out)
        out.append(hazard)
    return out
