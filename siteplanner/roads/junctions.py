"""What a driver sees at a junction of the route: angles, rivals, names."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route

STRAIGHT_DEG, SLIGHT_DEG, SHARP_DEG = 20.0, 50.0, 120.0  # common practice
FORK_GAP_DEG = 60.0  # two ways ahead closer than this are a fork
BEND_LEAD_DEG = 30.0  # a road that bends this much less than every side road is simply followed
_LOOK_M = 20.0  # a direction is that of the first 20 m, as seen from the seat
_SHORTEST_LOOK_M = 8.0

_NOUNS = {"motorway": "motorway", "trunk": "main road", "primary": "main road", "residential": "street",
          "living_street": "street", "service": "service road", "track": "track"}


def described(name: str, highway: str) -> str:
    """The road's name, or `unnamed track` and the like."""
    if name:
        return name
    return f"unnamed {'ramp' if highway.endswith('_link') else _NOUNS.get(highway, 'road')}"


@dataclass(frozen=True)
class Side:
    """Another road at the junction. `deflection_deg` is the turn it would take, right positive."""

    name: str
    highway: str
    deflection_deg: float
    may_enter: bool
    roundabout: bool


@dataclass(frozen=True)
class Junction:
    """Where the route goes from segment `before` to segment `after`. Angles in the grid, right positive."""

    running_m: float
    before: int
    after: int
    x: float
    y: float
    heading_deg: float  # leaving, grid bearing
    deflection_deg: float
    sides: tuple[Side, ...]


def _turn(from_deg: float, to_deg: float) -> float:
    return (to_deg - from_deg + 180.0) % 360.0 - 180.0


def heading_deg(line: shapely.LineString, start_m: float, end_m: float) -> float:
    """Grid bearing from one place on a line to another, clockwise from north."""
    a, b = line.interpolate(start_m), line.interpolate(end_m)
    return float(np.degrees(np.arctan2(b.x - a.x, b.y - a.y)) % 360.0)


def _away_deg(network: RoadNetwork, segment: int, from_start: bool) -> float:
    line, length = network.seg_geometry[segment], float(network.length_m[segment])
    reach = min(_LOOK_M, length)
    return heading_deg(line, 0.0, reach) if from_start else heading_deg(line, length, length - reach)


def _sides(network: RoadNetwork, node: int, ends: list[tuple[int, bool]], before: int, after: int,
           inward_deg: float) -> tuple[Side, ...]:
    out = []
    for segment, from_start in ends:
        if segment in (before, after) or not network.for_vehicles[segment]:
            continue
        way = network.forward_s if from_start else network.backward_s
        out.append(Side(str(network.name[segment]), str(network.highway[segment]),
                        _turn(inward_deg, _away_deg(network, segment, from_start)),
                        bool(np.isfinite(way[segment]) or not network.drivable[segment]),
                        bool(network.roundabout[segment])))
    return tuple(out)


def route_junctions(network: RoadNetwork, route: Route) -> tuple[Junction, ...]:
    """All nodes that the route passes, in order."""
    count = len(route.segments)
    if count < 2:
        return ()
    running = route.running_m
    end_at_start = route.end_m[:-1] < route.start_m[:-1]
    nodes = np.where(end_at_start, network.seg_from[route.segments[:-1]], network.seg_to[route.segments[:-1]])
    ends: dict[int, list[tuple[int, bool]]] = {int(n): [] for n in nodes}
    for seat, from_start in ((network.seg_from, True), (network.seg_to, False)):
        for segment in np.flatnonzero(np.isin(seat, nodes)).tolist():
            ends[int(seat[segment])].append((segment, from_start))
    out = []
    for k in range(count - 1):
        at = float(running[k + 1])
        back = float(np.clip(running[k + 1] - running[k], _SHORTEST_LOOK_M, _LOOK_M))
        ahead = float(np.clip(running[k + 2] - running[k + 1], _SHORTEST_LOOK_M, _LOOK_M))
        inward = heading_deg(route.line, max(at - back, 0.0), at)
        outward = heading_deg(route.line, at, min(at + ahead, route.line.length))
        node = int(nodes[k])
        before, after = int(route.segments[k]), int(route.segments[k + 1])
        out.append(Junction(at, before, after, float(network.node_x[node]), float(network.node_y[node]), outward,
                            _turn(inward, outward), _sides(network, node, ends[node], before, after, inward)))
    return tuple(out)
