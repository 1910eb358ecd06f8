"""The drive told so that a driver can follow it: steps at decision points, hazards in order along the way.

A step is told where a driver could go wrong: at junctions where the way is not simply straight on, at forks, and
where the road changes its name. A bend without a side road is no step. Values only: the words are made elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from siteplanner.core.geodesy import bearing_deg, degrees_minutes, true_from_grid_deg, wrap_180_deg
from siteplanner.data.grid import Grid
from siteplanner.data.grid_reference import grid_reference
from siteplanner.roads.elapsed import elapsed_s
from siteplanner.roads.hazards_ahead import hazards_along
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route
from siteplanner.roads.signposts import (
    SLIGHT_DEG,
    STRAIGHT_DEG,
    called,
    class_words,
    is_ramp,
    junction_shape,
    turn_sharpness,
    wind,
)
from siteplanner.roads.steps import Beyond, Move, Side, Step

LOOK_M = 30.0  # a road's direction at a junction is taken over this length
YARD_LOOK_M, YARD_CLASSES = 12.0, ("service", "track", "living_street")  # these may bend right behind a junction
SHORT_M = 10.0  # what is driven is looked at over at least this: a link of a few metres is not felt as a road
HEADING_M = 200.0  # "toward the north-east": over this length from the junction, no farther than the next step
DEPART_M = 40.0  # at the start it is the only clue: as the driver sees it there
CLEARLY_DEG = 20.0  # a way this much straighter than any other is the one straight on
FORK_DEG = 45.0  # another road that leaves within this of straight on makes a fork
LEAST_BEYOND_M = 20.0  # what comes sooner behind the stop than this is seen from it
LANDMARK_M = 1500.0  # a junction passed within this far of a turn helps to find it


@dataclass(frozen=True)
class _Point:
    """A decision point before it has coordinates and hazards."""

    move: Move
    name: str
    running_m: float
    leg: int  # index of the segment driven after it
    passed: tuple[str, float] | None = None  # the junction that helps to find it, and where on the drive it lies
    beyond: Beyond | None = None
    leads: int = -1  # the leg whose direction is told as `toward`, where that is not `leg`

    @property
    def past_m(self) -> float:
        return self.running_m - self.passed[1] if self.passed else float("nan")


def directions(network: RoadNetwork, route: Route, grid: Grid, start: str = "the staging point") -> tuple[Step, ...]:
    """Steps from the staging point's road to the access point; always at least a start and an arrival.

    `grid` turns metres into WGS 84 and true bearings. `start` is how the start is called.
    """
    points = [_depart(network, route, start), *_junctions(network, route), _arrive(network, route)]
    ahead = hazards_along(network, route, grid)
    seconds = elapsed_s(network, route, np.array([point.running_m for point in points])).tolist()
    steps = []
    for number, point in enumerate(points):
        until = points[number + 1].running_m if number + 1 < len(points) else np.inf
        here = route.line.interpolate(point.running_m)
        lon, lat = (float(v) for v in grid.lonlat(here.x, here.y))
        on = point.leg < len(route.segments)
        look_m = DEPART_M if number == 0 else HEADING_M
        toward = _toward(network, route, max(point.leg, point.leads), grid, look_m, until) if on else ""
        steps.append(
            Step(
                move=replace(point.move, toward=toward),
                name=point.name,
                distance_m=float(min(until, route.distance_m) - point.running_m),
                running_m=point.running_m,
                x=float(here.x),
                y=float(here.y),
                latitude=lat,
                longitude=lon,
                degrees_minutes=degrees_minutes(lat, lon),
                grid_reference=grid_reference(lat, lon),
                bearing_deg=_leaving(network, route, point.leg, grid, LOOK_M) if on else float("nan"),
                toward=toward,
                past=point.passed[0] if point.passed else "",
                past_m=point.past_m,
                beyond=point.beyond,
                hazards=tuple(h for h in ahead if point.running_m <= h.running_m < until),
                running_s=seconds[number],
            )
        )
    return tuple(steps)


def _depart(network: RoadNetwork, route: Route, start: str) -> _Point:
    first = int(route.segments[0])
    move = Move("depart", onto=called(network, first), start=start, ref=_ref(network, first))
    return _Point(move, str(network.tags.name[first]), 0.0, 0)


def _arrive(network: RoadNetwork, route: Route) -> _Point:
    move = Move("arrive", side=_side(route), off_road_m=float(route.access.offset_m))
    return _Point(move, "", route.distance_m, len(route.segments), beyond=_beyond(network, route))


def _beyond(network: RoadNetwork, route: Route) -> Beyond | None:
    """What a driver who missed the end comes to next: a junction, or the end of the road."""
    segment, forward = int(route.segments[-1]), bool(route.directions[-1] > 0)
    beyond = float(network.geometry.length_m[segment] - route.end_m[-1] if forward else route.end_m[-1])
    while beyond <= LANDMARK_M:
        node = int(network.geometry.seg_to[segment] if forward else network.geometry.seg_from[segment])
        at_node = network.tags.for_vehicles & ((network.geometry.seg_from == node) | (network.geometry.seg_to == node))
        others = [s for s in np.flatnonzero(at_node).tolist() if s != segment]
        if not others:
            return Beyond("", beyond) if beyond >= LEAST_BEYOND_M else None
        if len(others) > 1 or network.tags.name[others[0]] != network.tags.name[segment]:
            here = str(network.tags.name[segment])
            named = next(
                (str(network.tags.name[s]) for s in others if network.tags.name[s] and network.tags.name[s] != here), ""
            )
            place = named or f"a junction with {class_words(network, others[0])}"
            return Beyond(place, beyond) if beyond >= LEAST_BEYOND_M else None
        segment, forward = others[0], int(network.geometry.seg_from[others[0]]) == node
        beyond += float(network.geometry.length_m[segment])
    return None


def _side(route: Route) -> Side:
    """On which hand the spot lies, by the direction of the last metres of the drive; '' where it is at the road."""
    access = route.access
    if access.offset_m < 1 or route.distance_m <= 0:
        return ""
    before = route.line.interpolate(max(route.distance_m - LOOK_M, 0.0))
    ahead = float(bearing_deg(access.x - before.x, access.y - before.y))
    spot = float(bearing_deg(access.target_x - access.x, access.target_y - access.y))
    turn = float(wrap_180_deg(spot - ahead))
    if abs(turn) < STRAIGHT_DEG:
        return "straight on"
    return "right" if turn > 0 else "left"


def _junctions(network: RoadNetwork, route: Route) -> list[_Point]:
    at_node = _roads_at_nodes(network, route)
    points: list[_Point] = []
    passed: tuple[str, float] | None = None  # the last junction driven through without a step
    exits, ring_from = 0, -1
    for leg in range(len(route.segments) - 1):
        here, onto = int(route.segments[leg]), int(route.segments[leg + 1])
        node = int(network.geometry.seg_to[here] if route.directions[leg] > 0 else network.geometry.seg_from[here])
        running = float(route.running_m[leg + 1])
        others = [s for s in at_node.get(node, ()) if s not in (here, onto)]
        if network.tags.roundabout[onto] and not network.tags.roundabout[here]:
            exits, ring_from = 0, leg + 1
            continue
        if network.tags.roundabout[here]:
            if not network.tags.roundabout[onto]:
                points.append(_roundabout(network, route, ring_from, leg, exits + 1))
                passed = None
            elif any(not network.tags.roundabout[s] and _may_leave(network, s, node) for s in others):
                exits += 1
            continue
        point = _with_surface(
            network,
            leg,
            here,
            onto,
            running,
            _junction(
                network, route, leg, node, running, others, passed, _bend_ahead(network, route, leg + 1, at_node)
            ),
        )
        if point is not None:
            points.append(point)
            passed = None
        elif others:
            # the other carriageway of one's own road is no landmark
            own = str(network.tags.name[here])
            names = [str(network.tags.name[s]) for s in others]
            named = next((name for name in names if name and name != own), "")
            if named or own not in names or not own:
                passed = (named or f"a junction with {class_words(network, others[0])}", running)
    return points


def _junction(
    network: RoadNetwork,
    route: Route,
    leg: int,
    node: int,
    running: float,
    others: list[int],
    passed: tuple[str, float] | None,
    look_m: float,
) -> _Point | None:
    here, onto = int(route.segments[leg]), int(route.segments[leg + 1])
    arriving = _driven(route, running - _look(network, here), running)
    first = float(wrap_180_deg(_driven(route, running, running + _look(network, onto)) - arriving))
    turn = float(wrap_180_deg(_driven(route, running, running + look_m) - arriving))
    if turn * first <= 0 or abs(turn) < abs(first):  # it bends back: what is seen at the junction counts
        turn = first
    old, new = str(network.tags.name[here]), str(network.tags.name[onto])
    ref = _ref(network, onto)
    ways = [float(wrap_180_deg(_direction(network, s, node, away=True) - arriving)) for s in others]
    choices = [w for w, s in zip(ways, others, strict=True) if _may_leave(network, s, node)]
    # onto a road where nothing else leaves: whoever comes along it, gives way or not, is merged with
    if others and is_ramp(network, here) and not is_ramp(network, onto) and abs(turn) < STRAIGHT_DEG and not choices:
        return _Point(Move("merge", onto=called(network, onto), ref=ref), new, running, leg + 1)
    # a bend: only a new name is worth a word. Beside the carriageway that comes toward one there is no choice either
    plain = STRAIGHT_DEG if new and new != old else SLIGHT_DEG
    if not choices and (not others or abs(turn) < plain):
        # right behind a turn it is that turn that is looked back at, not a bend
        if new and new != old and abs(turn) >= STRAIGHT_DEG and running - route.running_m[leg] >= SHORT_M:
            bend = Move("continue", side=_hand(turn), shape="bend", onto=new, ref=ref)
            return _Point(bend, new, running, leg + 1)
        if new and new != old:
            return _Point(Move("continue", onto=new, ref=ref), new, running, leg + 1)
        return None
    ahead = [w for w in choices if abs(w) < FORK_DEG]
    stays, onto_name = bool(new) and new == old, called(network, onto)
    near = passed if passed is not None and running - passed[1] <= LANDMARK_M else None
    if is_ramp(network, onto) and not is_ramp(network, here) and abs(turn) < SLIGHT_DEG and ahead:
        side: Side = "right" if all(turn > w for w in ahead) else "left" if all(turn < w for w in ahead) else ""
        number, leads = _signed(network, node, onto)
        named = new if new != old else ""
        ramp = Move("ramp", side=side, onto=named, ref=ref, exit_ref=number, destination=leads)
        return _Point(ramp, new, running, leg + 1, near)
    if ahead and abs(turn) < SLIGHT_DEG:
        # a fork: keep to a side unless this way is plainly the one straight on
        rival = min(ahead, key=abs)
        if abs(turn) < STRAIGHT_DEG and abs(rival) > abs(turn) + CLEARLY_DEG:
            if new == old or not new:
                return None
            return _Point(Move("continue", onto=new, ref=ref), new, running, leg + 1)
        # side by side as far as both are looked at: the arms are seen over one segment only
        keep: Side = (
            "left" if all(first < w for w in ahead) else "right" if all(first > w for w in ahead) else "straight on"
        )
        fork = Move("keep", side=keep, onto=onto_name, stays=stays, ref=ref)
        return _Point(fork, new, running, leg + 1, near)
    if abs(turn) < STRAIGHT_DEG:
        if new and new != old:
            return _Point(Move("continue", onto=new, ref=ref), new, running, leg + 1)
        return None
    move = Move(
        "turn",
        side=_hand(turn),
        shape=junction_shape(turn, ways),
        sharpness=turn_sharpness(turn),
        onto=onto_name,
        stays=stays,
        ref=ref,
    )
    return _Point(move, new, running, leg + 1, near)


def _ref(network: RoadNetwork, segment: int) -> str:
    """The road's number, where it does not stand for the missing name already."""
    ref = "" if network.signs is None else str(network.signs.ref[segment])
    return "" if ref == str(network.tags.name[segment]) else ref


def _signed(network: RoadNetwork, node: int, onto: int) -> tuple[str, str]:
    """The number of the exit and where it leads, as the signs at a ramp say."""
    signs = network.signs
    return ("", "") if signs is None else (signs.exit_number(node, onto), str(signs.destination[onto]))


def _hand(turn_deg: float) -> Side:
    return "right" if turn_deg > 0 else "left"


def _with_surface(
    network: RoadNetwork, leg: int, here: int, onto: int, running: float, point: _Point | None
) -> _Point | None:
    """Says where the pavement ends. A turn onto a track says so by itself."""
    if network.tags.unpaved[onto] != 1 or network.tags.unpaved[here] == 1:
        return point
    if point is None:
        move = Move("unpaved", onto=called(network, onto))
        return _Point(move, str(network.tags.name[onto]), running, leg + 1)
    if network.tags.highway[onto] == "track" and not network.tags.name[onto]:
        return point
    return replace(point, move=replace(point.move, then_unpaved=True))


def _roundabout(network: RoadNetwork, route: Route, ring_from: int, leg: int, exit_: int) -> _Point:
    onto = int(route.segments[leg + 1])
    ring = max(ring_from, 0)
    move = Move("roundabout", exit_number=exit_, onto=called(network, onto), ref=_ref(network, onto))
    return _Point(move, str(network.tags.name[onto]), float(route.running_m[ring]), ring, leads=leg + 1)


def _toward(network: RoadNetwork, route: Route, leg: int, grid: Grid, look_m: float, until_m: float) -> str:
    """The wind a road is taken toward, looked at no farther than the drive stays on that road and than `until_m`,
    where the next step is told.
    """
    on = [str(network.tags.name[s]) or str(network.tags.highway[s]) for s in route.segments[leg:]]
    stays = next((k for k, word in enumerate(on) if word != on[0]), len(on))
    over_m = min(float(route.running_m[leg + stays]), until_m) - float(route.running_m[leg])
    return wind(_leaving(network, route, leg, grid, min(max(over_m, SHORT_M), look_m)))


def _leaving(network: RoadNetwork, route: Route, leg: int, grid: Grid, over_m: float) -> float:
    """True bearing of the drive over the next metres from the start of a leg."""
    start = float(route.running_m[leg])
    a, b = route.line.interpolate(start), route.line.interpolate(min(start + over_m, route.distance_m))
    return float(true_from_grid_deg(bearing_deg(b.x - a.x, b.y - a.y), grid.convergence_deg(a.x, a.y))) % 360


def _look(network: RoadNetwork, segment: int) -> float:
    longest = YARD_LOOK_M if network.tags.highway[segment] in YARD_CLASSES else LOOK_M
    return float(np.clip(network.geometry.length_m[segment], SHORT_M, longest))


def _bend_ahead(network: RoadNetwork, route: Route, leg: int, at_node: dict[int, list[int]]) -> float:
    """Metres over which the way taken is looked at: beyond a short segment's end where nothing else leaves there.

    A carriageway that bends away just behind a fork is felt as one turn with it, wherever its line is cut.
    """
    look = _look(network, int(route.segments[leg]))
    if look < float(network.geometry.length_m[route.segments[leg]]):
        return look
    longest = YARD_LOOK_M if network.tags.highway[route.segments[leg]] in YARD_CLASSES else LOOK_M
    start = float(route.running_m[leg])
    while leg + 1 < len(route.segments) and float(route.running_m[leg + 1]) - start < longest:
        segment = int(route.segments[leg])
        node = int(
            network.geometry.seg_to[segment] if route.directions[leg] > 0 else network.geometry.seg_from[segment]
        )
        if set(at_node.get(node, ())) - {segment, int(route.segments[leg + 1])}:
            break
        leg += 1
    return max(look, min(longest, float(route.running_m[leg + 1]) - start))


def _driven(route: Route, start_m: float, end_m: float) -> float:
    """Grid bearing of the drive between two distances from its start."""
    a = route.line.interpolate(max(start_m, 0.0))
    b = route.line.interpolate(min(end_m, route.distance_m))
    return float(bearing_deg(b.x - a.x, b.y - a.y))


def _direction(network: RoadNetwork, segment: int, node: int, *, away: bool) -> float:
    """Grid bearing of a segment at one of its ends, leaving the node or running into it."""
    line, length = network.geometry.line[segment], float(network.geometry.length_m[segment])
    look = min(_look(network, segment), length)
    from_start = int(network.geometry.seg_from[segment]) == node
    near = shapely.line_interpolate_point(line, 0.0 if from_start else length)
    far = shapely.line_interpolate_point(line, look if from_start else length - look)
    out = float(bearing_deg(shapely.get_x(far) - shapely.get_x(near), shapely.get_y(far) - shapely.get_y(near)))
    return out if away else (out + 180.0) % 360.0


def _may_leave(network: RoadNetwork, segment: int, node: int) -> bool:
    """Whether traffic may leave the node along a segment: signs count every exit, also those the rig cannot use."""
    against = "backward" if int(network.geometry.seg_from[segment]) == node else "forward"
    if network.geometry.seg_from[segment] == network.geometry.seg_to[segment]:
        return True  # a loop leaves at one of its ends
    return bool(network.times.direction[segment] != against)


def _roads_at_nodes(network: RoadNetwork, route: Route) -> dict[int, list[int]]:
    """Segments for vehicles at the route's nodes: a driver sees them all, whether or not the rig may use them."""
    passed = np.zeros(len(network.geometry.node_x), bool)
    passed[network.geometry.seg_from[route.segments]] = passed[network.geometry.seg_to[route.segments]] = True
    near = network.tags.for_vehicles & (passed[network.geometry.seg_from] | passed[network.geometry.seg_to])
    out: dict[int, list[int]] = {}
    for segment in np.flatnonzero(near).tolist():
        for node in {int(network.geometry.seg_from[segment]), int(network.geometry.seg_to[segment])}:
            out.setdefault(node, []).append(segment)
    return out
