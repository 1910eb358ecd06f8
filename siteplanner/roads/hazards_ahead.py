"""Hazards in the order in which the drive meets them."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np

from siteplanner.core.geodesy import bearing_deg, wrap_180_deg
from siteplanner.data.grid import Grid
from siteplanner.data.grid_reference import grid_reference
from siteplanner.roads.hazards import Warned, tight_warned
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route
from siteplanner.roads.through import passed_through

SAME_PLACE_M = 2.0  # a thing at the end of one segment and at the start of the next is one
STRETCH_GAP_M = 60.0  # pieces of narrow or unpaved road closer than this are one stretch
BEND_LOOK_M = 20.0  # a bend's side and size are looked at this far before and after it
SAME_M = 1.0
HAIRPIN_DEG = 135.0  # a bend that turns by more is called a hairpin. Common practice


@dataclass(frozen=True, kw_only=True)
class HazardAhead(Warned):
    """A hazard on the drive; `length_m` is 0 for a point. Place: WGS 84 when asked for.

    `value` of `steep` is positive where the drive climbs. `side` is that of a bend as driven ('' where the drive does
    not show it), `hairpin` a bend that turns back.
    """

    running_m: float
    x: float
    y: float
    length_m: float = 0.0
    side: Literal["", "left", "right"] = ""
    hairpin: bool = False
    latitude: float = float("nan")
    longitude: float = float("nan")
    grid_reference: str = ""


def hazard_ahead(warned: Warned, running_m: float, x: float, y: float, length_m: float = 0.0) -> HazardAhead:
    """What is warned of, at a place of the drive."""
    own = {f.name: getattr(warned, f.name) for f in fields(Warned)}
    return HazardAhead(**own, running_m=float(running_m), x=float(x), y=float(y), length_m=float(length_m))


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
            ahead = hazard_ahead(hazard, running, x, y, length)
            if ahead.kind == "steep" and ahead.value is not None:
                ahead = replace(ahead, value=sign * ahead.value)
            if ahead.kind == "bend":
                ahead = _bend(route, ahead)
            out.append(ahead)
    for first, after in passed_through(network, route.segments):
        at, length = float(route.running_m[first]), float(route.running_m[after] - route.running_m[first])
        place = route.line.interpolate(at)
        through = Warned(kind="through traffic", severity="warning")
        out.append(hazard_ahead(through, at, place.x, place.y, length))
    for turn in route.tight_turns:
        warned = tight_warned(turn.radius_m, network.turning_radius_m)
        out.append(_bend(route, hazard_ahead(warned, turn.running_m, turn.x, turn.y)))
    return placed(_joined(_once(sorted(out, key=_order))), grid)


def _once(hazards: list[HazardAhead]) -> list[HazardAhead]:
    """A point where two segments meet lies on both: what stands there is told once."""
    out: list[HazardAhead] = []
    for hazard in hazards:
        near = [h for h in out if hazard.running_m - h.running_m < SAME_M and h.length_m == hazard.length_m == 0]
        if not any(h.warned == hazard.warned and np.hypot(h.x - hazard.x, h.y - hazard.y) < SAME_M for h in near):
            out.append(hazard)
    return out


def placed(hazards: list[HazardAhead], grid: Grid | None) -> tuple[HazardAhead, ...]:
    """In driving order, each with its coordinates in WGS 84."""
    if grid is None:
        return tuple(sorted(hazards, key=_order))
    out = []
    for hazard in sorted(hazards, key=_order):
        lon, lat = (float(v) for v in grid.lonlat(hazard.x, hazard.y))
        out.append(replace(hazard, latitude=lat, longitude=lon, grid_reference=grid_reference(lat, lon)))
    return tuple(out)


def _order(hazard: HazardAhead) -> tuple[float, str, str, str, float]:
    return hazard.running_m, hazard.kind, hazard.state, hazard.what, hazard.value or 0.0


def _bend(route: Route, bend: HazardAhead) -> HazardAhead:
    """With its side, by the direction of travel well before and after it."""
    look = max(BEND_LOOK_M, np.pi * (bend.value or 0.0) / 2)
    at = bend.running_m

    def bearing(start_m: float, end_m: float) -> float:
        a, b = (route.line.interpolate(float(np.clip(m, 0.0, route.distance_m))) for m in (start_m, end_m))
        return float(bearing_deg(b.x - a.x, b.y - a.y))

    if at < 5 or at > route.distance_m - 5:
        return bend
    turn = float(wrap_180_deg(bearing(at + look / 2, at + look) - bearing(at - look, at - look / 2)))
    return replace(bend, side="right" if turn > 0 else "left", hairpin=abs(turn) >= HAIRPIN_DEG)


def _joined(hazards: list[HazardAhead]) -> list[HazardAhead]:
    """Stretches of the same hazard that follow each other become one with the whole length; what stands where two
    segments meet is told once.
    """
    out: list[HazardAhead] = []
    open_: dict[Warned, int] = {}
    points: dict[Warned, float] = {}
    for hazard in hazards:
        key = hazard.warned
        last = open_.get(key)
        if hazard.length_m == 0:
            before_m = points.get(key)
            points[key] = hazard.running_m
            if before_m is not None and hazard.running_m - before_m <= SAME_PLACE_M:
                continue
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
