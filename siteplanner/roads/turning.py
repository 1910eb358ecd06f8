"""Where the road itself lets a rig turn round: junctions to back into, loops, and ways that lead on and back.

A rig that meets no room at the spot backs along the road to the last such place. Angles and lengths are from the map;
whether there is room shows only on the ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from siteplanner.core.geodesy import bearing_deg, wrap_180_deg
from siteplanner.mission import Rig
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route
from siteplanner.roads.signposts import called

LEAST_ANGLE_DEG = 60.0  # between two roads that a rig swings from one into the other. Common practice
ARM_LOOK_M = 20.0
LOOP_SHARE = 0.8  # of the rig's turning circle: a loop shorter than this cannot be driven round. Common practice
SEARCH_BACK_M = 400.0  # nobody backs a trailer farther than this; beyond it there is no turning place. Common practice


@dataclass(frozen=True)
class TurningPlace:
    """A place on the drive where the rig can turn round. `back_m` along the road from the drive's end."""

    kind: Literal["junction", "loop", "roundabout", "open ground"]
    name: str  # of the road beside it
    running_m: float
    back_m: float
    x: float
    y: float


def last_turning_place(network: RoadNetwork, route: Route, rig: Rig) -> TurningPlace | None:
    """The last junction, loop or roundabout of the drive where the rig can turn round, or None.

    A junction counts when a third road for the rig leaves it, at least `LEAST_ANGLE_DEG` from both roads of the
    drive and as long as the rig, and may be driven back toward the junction: the rig backs into it and leaves
    forward. The road between it and the drive's end is one that may be driven both ways,
    SEARCH_BACK_M at most. A loop counts when it starts and ends at one node and is as long as the rig's turning circle.
    """
    for leg in range(len(route.segments) - 1, -1, -1):
        running = float(route.running_m[leg])
        if route.distance_m - running > SEARCH_BACK_M:
            return None
        after = int(route.segments[leg])
        node = int(network.geometry.seg_from[after] if route.directions[leg] > 0 else network.geometry.seg_to[after])
        if network.tags.roundabout[after] and not _is_at_start(route, leg):
            return _place(network, route, "roundabout", called(network, after), running, node)
        if not _both_ways(network, after):
            return None  # the rig would back against the traffic
        if _is_at_start(route, leg):
            continue
        before = int(route.segments[leg - 1])
        arms = np.flatnonzero(
            network.judged.drivable & ((network.geometry.seg_from == node) | (network.geometry.seg_to == node))
        )
        for arm in arms.tolist():
            if arm in (before, after):
                continue
            if network.geometry.seg_from[arm] == network.geometry.seg_to[arm]:
                if network.geometry.length_m[arm] >= LOOP_SHARE * 2 * np.pi * rig.turning_radius_m:
                    return _place(network, route, "loop", called(network, arm), running, node)
                continue
            if _lets_back_in(network, node, arm, before, after, rig):
                return _place(network, route, "junction", called(network, arm), running, node)
    return None


def _both_ways(network: RoadNetwork, segment: int) -> bool:
    return bool(np.isfinite(network.times.forward_s[segment]) and np.isfinite(network.times.backward_s[segment]))


def _is_at_start(route: Route, leg: int) -> bool:
    """The drive's first leg starts in the middle of a road, not at a node."""
    return leg == 0


def _place(
    network: RoadNetwork,
    route: Route,
    kind: Literal["junction", "loop", "roundabout"],
    name: str,
    running_m: float,
    node: int,
) -> TurningPlace:
    return TurningPlace(
        kind,
        name,
        running_m,
        float(route.distance_m - running_m),
        float(network.geometry.node_x[node]),
        float(network.geometry.node_y[node]),
    )


def _lets_back_in(network: RoadNetwork, node: int, arm: int, before: int, after: int, rig: Rig) -> bool:
    out_again = (
        network.times.backward_s[arm] if network.geometry.seg_from[arm] == node else network.times.forward_s[arm]
    )
    home = (
        network.times.backward_s[before] if network.geometry.seg_to[before] == node else network.times.forward_s[before]
    )
    if not (np.isfinite(out_again) and np.isfinite(home)) or network.geometry.length_m[arm] < rig.length_m:
        return False
    side = _outward(network, node, arm)
    return all(abs(float(wrap_180_deg(side - _outward(network, node, s)))) >= LEAST_ANGLE_DEG for s in (before, after))


def _outward(network: RoadNetwork, node: int, segment: int) -> float:
    """Grid bearing of a segment leaving a node."""
    line, length = network.geometry.line[segment], float(network.geometry.length_m[segment])
    look = min(ARM_LOOK_M, length)
    from_start = int(network.geometry.seg_from[segment]) == node
    near = shapely.line_interpolate_point(line, 0.0 if from_start else length)
    far = shapely.line_interpolate_point(line, look if from_start else length - look)
    return float(bearing_deg(shapely.get_x(far) - shapely.get_x(near), shapely.get_y(far) - shapely.get_y(near)))


def carry_on_m(network: RoadNetwork, route: Route) -> float | None:
    """Metres of the quickest way back to the start that goes on from the drive's end without turning round.

    None where there is none: at a dead end, or where the road ahead is closed to the rig.
    """
    last, ahead = int(route.segments[-1]), bool(route.directions[-1] > 0)
    first = int(route.segments[0])
    turns = network.turns
    cost_s, count = network.choice_s[turns.arc], len(turns.arc)
    arc = 2 * last + (0 if ahead else 1)
    if not np.isfinite(cost_s[arc]):
        return None
    weight = cost_s[turns.follow] + turns.turn_s
    graph = csr_matrix(
        (np.maximum(weight, 1e-9), turns.follow.astype(np.int32), turns.first.astype(np.int32)), shape=(count, count)
    )
    seconds, before = dijkstra(graph, indices=arc, return_predecessors=True)
    # the arc driven last onto the start's own segment, either way round; that may be the arc set out on
    entries = []
    for goal in (2 * first, 2 * first + 1):
        onto = np.searchsorted(turns.first, np.flatnonzero(turns.arc[turns.follow] == goal), side="right") - 1
        entries += [(float(seconds[a]), goal, int(a)) for a in onto if np.isfinite(seconds[a])]
    if not entries:
        return None
    _, goal, at = min(entries)
    start = float(route.start_m[0])
    metres = float(network.geometry.length_m[first]) - start if goal & 1 else start
    while at != arc and at >= 0:
        metres += float(network.geometry.length_m[turns.arc[at] >> 1])
        at = int(before[at])
    end = float(route.end_m[-1])
    return metres + (float(network.geometry.length_m[last]) - end if ahead else end)
