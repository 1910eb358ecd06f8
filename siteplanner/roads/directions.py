"""The drive told so that a driver can follow it: steps at decision points, hazards in order along the way.

A step is told where a driver could go wrong: at junctions where the way is not simply straight on, at forks, and
where the road changes its name. A bend without a side road is no step. Everything is plain text that can be read
over a radio; names come from the road data as they are, and whoever shows them escapes them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from siteplanner.core.geodesy import bearing_deg, true_from_grid_deg, wrap_180_deg
from siteplanner.data.grid import Grid
from siteplanner.data.grid_reference import grid_reference
from siteplanner.errors import Severity
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route

LOOK_M = 30.0  # a road's direction at a junction is taken over this length
YARD_LOOK_M, YARD_CLASSES = 12.0, ("service", "track", "living_street")  # these may bend right behind a junction
SHORT_M = 10.0  # what is driven is looked at over at least this: a link of a few metres is not felt as a road
HEADING_M = 200.0  # "toward the north-east": over this length from the junction
STRAIGHT_DEG, SLIGHT_DEG, SHARP_DEG, BACK_DEG = 25.0, 55.0, 120.0, 165.0  # common practice, no source
FORK_DEG = 45.0  # another road that leaves within this of straight on makes a fork
LANDMARK_M = 1500.0  # a junction passed within this far of a turn helps to find it
STRETCH_GAP_M = 60.0  # pieces of narrow or unpaved road closer than this are one stretch

WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
CLASS_WORDS = {
    "track": "an unnamed track", "service": "an unnamed service road", "residential": "an unnamed street",
    "living_street": "an unnamed street", "motorway": "an unnamed motorway", "motorway_link": "a slip road",
    "trunk_link": "a slip road", "primary_link": "a slip road", "secondary_link": "a slip road",
}  # fmt: skip


@dataclass(frozen=True)
class HazardAhead:
    """A hazard on the drive; `length_m` is 0 for a point, `value` its figure or NaN."""

    running_m: float
    kind: str
    severity: Severity
    text: str
    x: float
    y: float
    value: float
    length_m: float = 0.0


@dataclass(frozen=True)
class Step:
    """One instruction. `distance_m` is to the next step, `running_m` from the start; the bearing is true and that
    of the road taken. `hazards` lie between this step and the next."""

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
    hazards: tuple[HazardAhead, ...] = ()


@dataclass(frozen=True)
class _Point:
    """A decision point before it has coordinates and hazards."""

    text: str
    kind: str
    name: str
    running_m: float
    leg: int  # index of the segment driven after it


def directions(network: RoadNetwork, route: Route, grid: Grid, start: str = "the staging point") -> tuple[Step, ...]:
    """Steps from the staging point's road to the access point; always at least a start and an arrival.

    `grid` turns metres into WGS 84 and true bearings. `start` is how the start is called.
    """
    points = [_depart(network, route, grid, start), *_junctions(network, route, grid), _arrive(route)]
    ahead = hazards_along(network, route)
    steps = []
    for number, point in enumerate(points):
        until = points[number + 1].running_m if number + 1 < len(points) else np.inf
        here = route.line.interpolate(point.running_m)
        lon, lat = (float(v) for v in grid.lonlat(here.x, here.y))
        bearing = _leaving(network, route, point.leg, grid, LOOK_M) if point.leg < len(route.segments) else np.nan
        steps.append(
            Step(
                text=point.text, kind=point.kind, name=point.name,
                distance_m=float(min(until, route.distance_m) - point.running_m), running_m=point.running_m,
                x=float(here.x), y=float(here.y), latitude=lat, longitude=lon, grid_reference=grid_reference(lat, lon),
                bearing_deg=float(bearing),
                hazards=tuple(h for h in ahead if point.running_m <= h.running_m < until),
            )
        )  # fmt: skip
    return tuple(steps)


def hazards_along(network: RoadNetwork, route: Route) -> tuple[HazardAhead, ...]:
    """Hazards on the way in driving order. Grades are told as climb or descent; stretches are joined."""
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
            out.append(HazardAhead(running, hazard.kind, hazard.severity, text, x, y, value, length))
    out.sort(key=lambda h: (h.running_m, h.kind, h.text))
    return tuple(_joined(out))


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
                whole = hazard.running_m + hazard.length_m - before.running_m
                out[last] = HazardAhead(before.running_m, before.kind, before.severity, before.text, before.x,
                                        before.y, before.value, whole)  # fmt: skip
                continue
        if hazard.length_m > 0:
            open_[key] = len(out)
        out.append(hazard)
    return out


def _depart(network: RoadNetwork, route: Route, grid: Grid, start: str) -> _Point:
    name = _called(network, int(route.segments[0]))
    return _Point(
        f"Leave {start} on {name}, toward the {_toward(network, route, 0, grid)}",
        "depart", str(network.name[route.segments[0]]), 0.0, 0,
    )  # fmt: skip


def _arrive(route: Route) -> _Point:
    access = route.access
    side = _side(route)
    leg = f"the spot is {access.offset_m:.0f} m off the road" if access.offset_m >= 1 else "the spot is at the road"
    return _Point(f"Stop: {leg}{side}", "arrive", "", route.distance_m, len(route.segments))


def _side(route: Route) -> str:
    """ ", on the left" or "", on the right", by the direction of the last metres of the drive."""
    access = route.access
    if access.offset_m < 1 or route.distance_m <= 0:
        return ""
    before = route.line.interpolate(max(route.distance_m - LOOK_M, 0.0))
    ahead = float(bearing_deg(access.x - before.x, access.y - before.y))
    spot = float(bearing_deg(access.target_x - access.x, access.target_y - access.y))
    turn = float(wrap_180_deg(spot - ahead))
    if abs(turn) < STRAIGHT_DEG:
        return ", straight ahead"
    return ", on the right" if turn > 0 else ", on the left"


def _junctions(network: RoadNetwork, route: Route, grid: Grid) -> list[_Point]:
    at_node = _roads_at_nodes(network, route)
    points: list[_Point] = []
    passed: tuple[str, float] | None = None  # the last junction driven through without a step
    exits, ring_from = 0, -1
    for leg in range(len(route.segments) - 1):
        here, onto = int(route.segments[leg]), int(route.segments[leg + 1])
        node = int(network.seg_to[here] if route.directions[leg] > 0 else network.seg_from[here])
        running = float(route.running_m[leg + 1])
        others = [s for s in at_node.get(node, ()) if s not in (here, onto)]
        if network.roundabout[onto] and not network.roundabout[here]:
            exits, ring_from = 0, leg + 1
            continue
        if network.roundabout[here]:
            if not network.roundabout[onto]:
                points.append(_roundabout(network, route, grid, ring_from, leg, exits + 1))
                passed = None
            elif any(not network.roundabout[s] and _may_leave(network, s, node) for s in others):
                exits += 1
            continue
        point = _with_surface(network, leg, here, onto, running,
                              _junction(network, route, grid, leg, node, running, others, passed))
        if point is not None:
            points.append(point)
            passed = None
        elif others:
            named = next((str(network.name[s]) for s in others if network.name[s]), "")
            passed = (named or f"a junction with {_class_words(network, others[0])}", running)
    return points


def _junction(
    network: RoadNetwork, route: Route, grid: Grid, leg: int, node: int, running: float, others: list[int],
    passed: tuple[str, float] | None,
) -> _Point | None:  # fmt: skip
    here, onto = int(route.segments[leg]), int(route.segments[leg + 1])
    arriving = _driven(route, running - _look(network, here), running)
    turn = float(wrap_180_deg(_driven(route, running, running + _look(network, onto)) - arriving))
    old, new = str(network.name[here]), str(network.name[onto])
    toward = _toward(network, route, leg + 1, grid)
    ways = [float(wrap_180_deg(_direction(network, s, node, away=True) - arriving)) for s in others]
    if not others:  # a bend: only a new name is worth a word
        if new and new != old:
            return _Point(f"Continue as {new}, toward the {toward}", "continue", new, running, leg + 1)
        return None
    ahead = [w for w in ways if abs(w) < FORK_DEG]
    onto_words = f"onto {_called(network, onto)}, toward the {toward}"
    if new and new == old:
        onto_words = f"to stay on {new}, toward the {toward}"
    lead = _landmark(passed, running)
    if ahead and abs(turn) < SLIGHT_DEG:
        # a fork: keep to a side unless this way is plainly the one straight on
        rival = min(ahead, key=abs)
        if abs(turn) < STRAIGHT_DEG and abs(rival) > abs(turn) + 20 and (new == old or not new):
            return None
        side = "left" if all(turn < w for w in ahead) else "right" if all(turn > w for w in ahead) else "straight on"
        return _Point(f"{lead}{_cap(lead, 'keep ' + side)} at the fork {onto_words}", f"keep {side}", new, running,
                      leg + 1)  # fmt: skip
    if abs(turn) < STRAIGHT_DEG:
        if new and new != old:
            return _Point(f"Continue as {new}, toward the {toward}", "continue", new, running, leg + 1)
        return None
    kind = _turn(turn)
    return _Point(f"{lead}{_cap(lead, kind)} {onto_words}", kind, new, running, leg + 1)


def _with_surface(
    network: RoadNetwork, leg: int, here: int, onto: int, running: float, point: _Point | None
) -> _Point | None:
    """Says where the pavement ends. A turn onto a track says so by itself."""
    if network.unpaved[onto] != 1 or network.unpaved[here] == 1:
        return point
    if point is None:
        return _Point(f"Unpaved from here, on {_called(network, onto)}", "unpaved", str(network.name[onto]), running,
                      leg + 1)  # fmt: skip
    if network.highway[onto] == "track" and not network.name[onto]:
        return point
    return replace(point, text=f"{point.text}; unpaved from here")


def _roundabout(network: RoadNetwork, route: Route, grid: Grid, ring_from: int, leg: int, exit_: int) -> _Point:
    onto = int(route.segments[leg + 1])
    words = ("first", "second", "third", "fourth", "fifth", "sixth")
    which = words[exit_ - 1] if exit_ <= len(words) else f"number {exit_}"
    toward = _toward(network, route, leg + 1, grid)
    return _Point(
        f"At the roundabout take the {which} exit onto {_called(network, onto)}, toward the {toward}",
        "roundabout", str(network.name[onto]), float(route.running_m[max(ring_from, 0)]), max(ring_from, 0),
    )  # fmt: skip


def _turn(turn_deg: float) -> str:
    """The words for a change of direction, clockwise positive."""
    size, side = abs(turn_deg), "right" if turn_deg > 0 else "left"
    if size >= BACK_DEG:
        return "turn back"
    if size >= SHARP_DEG:
        return f"turn sharp {side}"
    return f"turn {side}" if size >= SLIGHT_DEG else f"turn slightly {side}"


def _landmark(passed: tuple[str, float] | None, running: float) -> str:
    """ "300 m past Mill Lane, ": the last junction before the turn, when it is near."""
    if passed is None or running - passed[1] > LANDMARK_M:
        return ""
    distance = max(10, round((running - passed[1]) / 10) * 10)
    return f"{distance} m past {passed[0]}, "


def _cap(lead: str, words: str) -> str:
    return words if lead else words[0].upper() + words[1:]


def _called(network: RoadNetwork, segment: int) -> str:
    return str(network.name[segment]) or _class_words(network, segment)


def _class_words(network: RoadNetwork, segment: int) -> str:
    return CLASS_WORDS.get(str(network.highway[segment]), "an unnamed road")


def _wind(true_bearing_deg: float) -> str:
    return WINDS[round(true_bearing_deg / 45.0) % 8]


def _toward(network: RoadNetwork, route: Route, leg: int, grid: Grid) -> str:
    """The wind a road is taken toward, looked at no farther than the drive stays on that road."""
    on = [str(network.name[s]) or str(network.highway[s]) for s in route.segments[leg:]]
    stays = next((k for k, word in enumerate(on) if word != on[0]), len(on))
    over_m = float(route.running_m[leg + stays] - route.running_m[leg])
    return _wind(_leaving(network, route, leg, grid, min(over_m, HEADING_M)))


def _leaving(network: RoadNetwork, route: Route, leg: int, grid: Grid, over_m: float) -> float:
    """True bearing of the drive over the next metres from the start of a leg."""
    start = float(route.running_m[leg])
    a, b = route.line.interpolate(start), route.line.interpolate(min(start + over_m, route.distance_m))
    return float(true_from_grid_deg(bearing_deg(b.x - a.x, b.y - a.y), grid.convergence_deg(a.x, a.y))) % 360


def _look(network: RoadNetwork, segment: int) -> float:
    longest = YARD_LOOK_M if network.highway[segment] in YARD_CLASSES else LOOK_M
    return float(np.clip(network.length_m[segment], SHORT_M, longest))


def _driven(route: Route, start_m: float, end_m: float) -> float:
    """Grid bearing of the drive between two distances from its start."""
    a = route.line.interpolate(max(start_m, 0.0))
    b = route.line.interpolate(min(end_m, route.distance_m))
    return float(bearing_deg(b.x - a.x, b.y - a.y))


def _direction(network: RoadNetwork, segment: int, node: int, *, away: bool) -> float:
    """Grid bearing of a segment at one of its ends, leaving the node or running into it."""
    line, length = network.seg_geometry[segment], float(network.length_m[segment])
    look = min(_look(network, segment), length)
    from_start = int(network.seg_from[segment]) == node
    near = shapely.line_interpolate_point(line, 0.0 if from_start else length)
    far = shapely.line_interpolate_point(line, look if from_start else length - look)
    out = float(bearing_deg(shapely.get_x(far) - shapely.get_x(near), shapely.get_y(far) - shapely.get_y(near)))
    return out if away else (out + 180.0) % 360.0


def _may_leave(network: RoadNetwork, segment: int, node: int) -> bool:
    """Whether traffic may leave the node along a segment: signs count every exit, also those the rig cannot use."""
    forward = int(network.seg_from[segment]) == node
    time = network.forward_s[segment] if forward else network.backward_s[segment]
    return bool(np.isfinite(time)) or not bool(network.drivable[segment])


def _roads_at_nodes(network: RoadNetwork, route: Route) -> dict[int, list[int]]:
    """Segments for vehicles at the route's nodes: a driver sees them all, whether or not the rig may use them."""
    passed = np.zeros(len(network.node_x), bool)
    passed[network.seg_from[route.segments]] = passed[network.seg_to[route.segments]] = True
    near = network.for_vehicles & (passed[network.seg_from] | passed[network.seg_to])
    out: dict[int, list[int]] = {}
    for segment in np.flatnonzero(near).tolist():
        for node in {int(network.seg_from[segment]), int(network.seg_to[segment])}:
            out.setdefault(node, []).append(segment)
    return out
