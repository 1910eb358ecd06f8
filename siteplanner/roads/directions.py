"""Turn-by-turn directions in words that can be read over a radio.

Each step stands at the place where the driver must decide, with the coordinates and the grid reference of that
place. Bearings are true. A bend without a choice is no step.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from siteplanner.data.grid import Grid
from siteplanner.roads.junctions import (
    BEND_LEAD_DEG,
    FORK_GAP_DEG,
    SHARP_DEG,
    SLIGHT_DEG,
    STRAIGHT_DEG,
    Junction,
    described,
    heading_deg,
    route_junctions,
)
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.on_route import RouteHazard, hazards_along, length_words
from siteplanner.roads.routing import Route

__all__ = ["RouteHazard", "Step", "directions", "hazards_along"]

PAST_LEG_M = 500.0  # on a leg this long a road that is passed assures the driver. Common practice
PAST_CLEAR_M = 150.0  # and it must not be mistaken for the turn itself
AT_ROAD_M = 5.0  # a spot this close lies at the road

_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
_MINOR = ("service", "track")


@dataclass(frozen=True)
class Step:
    """One instruction. `distance_m` is to the next step, `running_m` from the start.

    `kind`: depart, straight, continue_as, slight_left, left, sharp_left (and right), keep_left, keep_right,
    keep_middle, ramp, roundabout, past, unpaved, paved, arrive. `bearing_deg` is the true bearing on leaving the
    place (on arrival: toward the spot). `hazards` lie between this step and the next.
    """

    text: str
    kind: str
    name: str
    distance_m: float
    running_m: float
    x: float
    y: float
    latitude: float
    longitude: float
    grid_reference: str
    bearing_deg: float
    hazards: tuple[RouteHazard, ...] = ()


@dataclass(frozen=True)
class _Call:
    """A step before it knows its coordinates: the heading is a grid bearing."""

    kind: str
    text: str
    name: str
    running_m: float
    heading_deg: float


def compass_word(bearing_deg: float) -> str:
    """The nearest of the eight points: 40 is `north-east`."""
    return _COMPASS[round(bearing_deg / 45.0) % 8]


def _turn_call(deflection_deg: float) -> tuple[str, str]:
    """(kind, words) of a turn, right positive."""
    side = "right" if deflection_deg > 0 else "left"
    size = abs(deflection_deg)
    if size <= SLIGHT_DEG:
        return f"slight_{side}", f"Turn slightly {side}"
    if size <= SHARP_DEG:
        return side, f"Turn {side}"
    return f"sharp_{side}", f"Turn sharp {side}"


class _Words:
    """Names of the route's network as they are said."""

    def __init__(self, network: RoadNetwork) -> None:
        self.network = network

    def name(self, segment: int) -> str:
        return described(str(self.network.name[segment]), str(self.network.highway[segment]))

    def onto(self, segment: int) -> str:
        name = self.name(segment)
        if self.network.name[segment]:
            return name
        return f"an {name}"  # 'an unnamed track'

    def same_road(self, a: int, b: int) -> bool:
        n = self.network
        return n.name[a] == n.name[b] and (n.name[a] != "" or n.highway[a] == n.highway[b])


def _fork(j: Junction) -> str | None:
    """`left`, `right` or `middle` where another way ahead could be taken for ours."""
    if abs(j.deflection_deg) > SLIGHT_DEG:
        return None
    rivals = [s.deflection_deg for s in j.sides if s.may_enter and abs(s.deflection_deg) <= SLIGHT_DEG
              and abs(s.deflection_deg - j.deflection_deg) < FORK_GAP_DEG]
    if not rivals:
        return None
    if j.deflection_deg < min(rivals):
        return "left"
    return "right" if j.deflection_deg > max(rivals) else "middle"


def _followed(j: Junction, words: _Words) -> bool:
    """Whether the route simply goes on: straight, or a bend that no side road rivals."""
    if abs(j.deflection_deg) <= STRAIGHT_DEG:
        return True
    lead = min((abs(s.deflection_deg) for s in j.sides), default=180.0) - abs(j.deflection_deg)
    return lead >= BEND_LEAD_DEG and words.same_road(j.before, j.after)


def _renamed(j: Junction, words: _Words) -> _Call | None:
    """`Continue as` where the road takes another name; losing a name is not worth a call."""
    after = str(words.network.name[j.after])
    if not after or after == words.network.name[j.before]:
        return None
    return _Call("continue_as", f"Continue as {after}", after, j.running_m, j.heading_deg)


def _call(j: Junction, words: _Words) -> _Call | None:
    """What to say at a junction that is no roundabout, without the compass word; None: nothing."""
    n = words.network
    if not j.sides:
        return _renamed(j, words)
    minor_only = all(s.highway in _MINOR for s in j.sides) and n.highway[j.after] not in _MINOR
    plain = minor_only and abs(j.deflection_deg) <= STRAIGHT_DEG and words.same_road(j.before, j.after)
    onto = f"on {n.name[j.after]}" if n.name[j.after] and words.same_road(j.before, j.after) \
        else f"onto {words.onto(j.after)}"
    name = words.name(j.after)
    if str(n.highway[j.after]).endswith("_link") and not str(n.highway[j.before]).endswith("_link") \
            and abs(j.deflection_deg) <= SHARP_DEG:
        side = "right" if j.deflection_deg > min(s.deflection_deg for s in j.sides) else "left"
        return _Call("ramp", f"Take the ramp on the {side}" + (f" onto {name}" if n.name[j.after] else ""), name,
                     j.running_m, j.heading_deg)
    fork = None if plain else _fork(j)
    if fork:
        way = "straight on, the middle way" if fork == "middle" else fork
        return _Call(f"keep_{fork}", f"Keep {way} at the fork, {onto}", name, j.running_m, j.heading_deg)
    if _followed(j, words):
        return _renamed(j, words)
    kind, text = _turn_call(j.deflection_deg)
    if onto.startswith("on "):
        onto = f"to stay {onto}"
    return _Call(kind, f"{text} {onto}", name, j.running_m, j.heading_deg)


def _roundabout(junctions: tuple[Junction, ...], k: int, words: _Words) -> tuple[_Call, int]:
    """The call on entering a roundabout at junction k, and the junction where the route leaves it."""
    n, count = words.network, 1
    for m in range(k + 1, len(junctions)):
        j = junctions[m]
        if not n.roundabout[j.after]:
            ordinal = _ORDINALS[count - 1] if count <= len(_ORDINALS) else f"{count}th"
            return _Call("roundabout", f"At the roundabout take the {ordinal} exit, onto {words.onto(j.after)}",
                         words.name(j.after), junctions[k].running_m, j.heading_deg), m
        count += sum(1 for s in j.sides if s.may_enter and not s.roundabout)
    return _Call("roundabout", "Enter the roundabout", words.name(junctions[k].after), junctions[k].running_m,
                 junctions[k].heading_deg), len(junctions)


def _surface_call(j: Junction, words: _Words) -> _Call | None:
    before, after = (int(words.network.unpaved[s]) for s in (j.before, j.after))
    if after == 1 and before != 1:
        return _Call("unpaved", "Unpaved from here", words.name(j.after), j.running_m, j.heading_deg)
    if after == 0 and before == 1:
        return _Call("paved", "Paved from here", words.name(j.after), j.running_m, j.heading_deg)
    return None


def _calls(junctions: tuple[Junction, ...], words: _Words, true_of_grid: float) -> Iterator[_Call]:
    n, k = words.network, 0
    while k < len(junctions):
        j = junctions[k]
        if n.roundabout[j.after] and not n.roundabout[j.before]:
            call, k = _roundabout(junctions, k, words)
            surface = None
        else:
            found = _call(j, words)
            surface = _surface_call(j, words)
            if found is None and surface is not None:
                still = "still on" if words.same_road(j.before, j.after) else "on"
                found, surface = replace(surface, text=f"{surface.text}, {still} {words.onto(j.after)}"), None
            if found is None:
                k += 1
                continue
            call = found
        text = call.text
        if call.kind not in ("continue_as", "unpaved", "paved"):
            text += f", toward the {compass_word(call.heading_deg + true_of_grid)}"
        if surface is not None:
            text += f"; {surface.text[0].lower()}{surface.text[1:]}"
        yield replace(call, text=text)
        k += 1


def _past(junctions: tuple[Junction, ...], words: _Words, calls: list[_Call], end_m: float) -> Iterator[_Call]:
    """On each long leg the last named side road before the next call."""
    stops = [*(c.running_m for c in calls), end_m]
    for start, stop in pairwise(stops):
        if stop - start < PAST_LEG_M:
            continue
        for j in reversed(junctions):
            if not start + PAST_CLEAR_M <= j.running_m <= stop - PAST_CLEAR_M:
                continue
            named = [s for s in j.sides if s.name and s.name != words.network.name[j.after]]
            if not named:
                continue
            side = named[0]
            both = len({s.deflection_deg > 0 for s in named if s.name == side.name}) > 1
            where = "which crosses" if both else f"on the {'right' if side.deflection_deg > 0 else 'left'}"
            yield _Call("past", f"Continue past {side.name}, {where}", words.name(j.after), j.running_m,
                        j.heading_deg)
            break


def _arrival(route: Route, words: _Words) -> _Call:
    access, line = route.access, route.line
    name = words.name(access.segment)
    length = line.length
    heading = heading_deg(line, max(length - 20.0, 0.0), length)
    if access.offset_m <= AT_ROAD_M:
        return _Call("arrive", "Arrive: the spot is at the road", name, route.distance_m, heading)
    from shapely.geometry import LineString

    toward = heading_deg(LineString([(access.x, access.y), (access.target_x, access.target_y)]), 0.0, access.offset_m)
    turn = (toward - heading + 180.0) % 360.0 - 180.0
    side = "straight ahead" if abs(turn) < 30 else "behind" if abs(turn) > 150 else \
        f"on the {'right' if turn > 0 else 'left'}"
    return _Call("arrive", f"Arrive: the spot is {side}, {length_words(access.offset_m)} from the road", name,
                 route.distance_m, toward)


def directions(network: RoadNetwork, route: Route, grid: Grid) -> tuple[Step, ...]:
    """Steps from the start to the access point, in order; the first departs, the last arrives.

    `grid` is any grid in the network's CRS: it gives latitude, longitude and the turn from grid to true north.
    Grid references are MGRS to 1 m, truncated, never rounded (FGDC-STD-011-2001).
    """
    from mgrs import MGRS

    words, junctions = _Words(network), route_junctions(network, route)
    line, first = route.line, int(route.segments[0])
    start = line.coords[0]
    convergence = grid.convergence_deg(start[0], start[1])
    out = heading_deg(line, 0.0, min(20.0, line.length))
    depart = _Call("depart", f"Start on {words.onto(first)}, heading {compass_word(out + convergence)}"
                   + ("; unpaved" if network.unpaved[first] == 1 else ""), words.name(first), 0.0, out)
    calls = [depart, *_calls(junctions, words, convergence)]
    calls += list(_past(junctions, words, calls, route.distance_m))
    calls.sort(key=lambda c: c.running_m)
    calls.append(_arrival(route, words))
    hazards, reference, steps = hazards_along(network, route), MGRS(), []
    for k, call in enumerate(calls):
        point = line.interpolate(call.running_m)
        lon, lat = (float(v) for v in grid.lonlat(point.x, point.y))
        until = calls[k + 1].running_m if k + 1 < len(calls) else float("inf")
        low = call.running_m if k else float("-inf")
        mine = tuple(h for h in hazards if low <= h.running_m < until) if k + 1 < len(calls) else ()
        if k + 2 == len(calls):  # what lies right at the end is met before arriving
            mine = tuple(h for h in hazards if h.running_m >= low)
        steps.append(Step(
            call.text, call.kind, call.name, max(until - call.running_m, 0.0) if k + 1 < len(calls) else 0.0,
            call.running_m, float(point.x), float(point.y), lat, lon,
            str(reference.toMGRS(lat, lon, MGRSPrecision=5)),
            (call.heading_deg + grid.convergence_deg(point.x, point.y)) % 360.0, mine))
    return tuple(steps)
