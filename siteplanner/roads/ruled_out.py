"""Roads that are shut for the rig, named with their reasons: near a drive, and on ways that would be quicker."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from siteplanner.roads.legs import legs_s
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.reasons import Reason
from siteplanner.roads.routing import DriveTree, Route, route_legs
from siteplanner.roads.search import search
from siteplanner.roads.signposts import called

LEAST_GAIN_S = 10.0  # a way that saves less is as quick. Common practice
MOST_WAYS = 3  # quicker ways looked at, one after the other
_LESS_IS_WORSE = ("height limit", "weight limit", "width", "length limit", "bend")


@dataclass(frozen=True)
class RuledOut:
    """One road and one reason why it is shut for the rig; of several figures of one kind the worst.

    `length_m` of its segments with that reason; `x`, `y` a point on the one with the worst figure.
    """

    name: str
    reason: Reason
    length_m: float
    x: float
    y: float


def ruled_out(network: RoadNetwork, segments: Sequence[int] | np.ndarray) -> tuple[RuledOut, ...]:
    """One entry for each road's name and reason among shut segments, in the order in which they are met."""
    groups: dict[tuple[str, ...], list[tuple[int, Reason]]] = {}
    for i in np.asarray(segments, int).tolist():
        for r in network.judged.reasons[i]:
            key = called(network, i), r.kind, r.structure, r.what, r.source, str(r.certain)
            groups.setdefault(key, []).append((i, r))
    out = []
    for (name, *_), members in groups.items():
        segment, reason = min(members, key=lambda member: _badness(member[1]))
        at = shapely.line_interpolate_point(network.geometry.line[segment], 0.5, normalized=True)
        length = float(network.geometry.length_m[[i for i, _ in members]].sum())
        out.append(RuledOut(name, reason, length, float(shapely.get_x(at)), float(shapely.get_y(at))))
    return tuple(out)


def _badness(reason: Reason) -> float:
    """Smaller is worse."""
    if reason.figure is None:
        return 0.0
    return reason.figure if reason.kind in _LESS_IS_WORSE else -reason.figure


def shut_within(network: RoadNetwork, place: shapely.Geometry, within_m: float) -> np.ndarray:
    """Roads for vehicles that are shut for the rig and come as near as that to a place, whatever its shape."""
    near = np.sort(network.lines_tree.query(place, predicate="dwithin", distance=within_m))
    return near[network.tags.for_vehicles[near] & ~network.judged.drivable[near]]


def shut_on_quicker_ways(network: RoadNetwork, tree: DriveTree, route: Route) -> tuple[RuledOut, ...]:
    """The shut roads that a driver would take who did not know: on ways to the same place that would be quicker than
    the drive by LEAST_GAIN_S or more, were nothing shut. The quickest way first; then the quickest without its shut
    roads, and so on.
    """
    barred = np.zeros(len(network), bool)
    found: list[int] = []
    for _ in range(MOST_WAYS):
        lifted = network.with_limits_lifted(but=barred)
        ways = search(lifted, tree.segment, tree.along_m)
        legs = route_legs(lifted, replace(tree, network=lifted, search=ways), route.access)
        if legs_s(lifted, legs) > route.time_s - LEAST_GAIN_S:
            break
        shut = [s for s, _, _ in legs if not network.judged.drivable[s]]
        if not shut:
            break
        found += shut
        barred[shut] = True
    return ruled_out(network, found)
