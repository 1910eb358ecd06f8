"""A second way: the quickest drive that shares at most about half its length with the quickest one.

Penalty method: the segments of the quickest drive are made slower and the search is run again; the least penalty whose
drive is distinct enough wins, so that the second way is as quick as it can be. The penalties are common practice, no
source; the drive found is always timed without them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import DriveTree, Route, route_along, route_legs
from siteplanner.roads.search import search
from siteplanner.roads.signposts import called

PENALTIES = (2.0, 5.0, 25.0)
MOST_SHARED = 0.55  # of the second way's length: about half. Common practice
LEAST_APART_M = 50.0  # less than this off the quickest drive is no other way


@dataclass(frozen=True, eq=False)
class Alternative:
    """The second way to one access point, or that there is none.

    `way` is the most different way found, None where the rig has no other at all; it counts as another way (`route`)
    where it is `distinct`. `shared_m` is how much of it the quickest drive also takes; `longer_s` and `farther_m` are
    against the quickest drive.
    """

    way: Route | None
    distinct: bool
    shared_m: float
    longer_s: float = float("nan")
    farther_m: float = float("nan")
    by: str = ""  # the longest road that only this way takes
    instead_of: str = ""  # the longest that only the quickest takes

    @property
    def route(self) -> Route | None:
        """The second way, None where none is distinct enough."""
        return self.way if self.distinct else None


def alternative_to(network: RoadNetwork, tree: DriveTree, quickest: Route) -> Alternative:
    """A distinct alternative to a drive of `route_to` for the same tree. One search a penalty, at most three."""
    taken = np.unique(quickest.segments)
    closest: tuple[float, Route] | None = None
    for penalty in PENALTIES:
        forward, backward = network.times.forward_s.copy(), network.times.backward_s.copy()
        forward[taken] *= penalty
        backward[taken] *= penalty
        slowed = network.with_times(forward, backward)
        found = search(slowed, tree.segment, tree.along_m)
        legs = route_legs(slowed, replace(tree, network=slowed, search=found), quickest.access)
        route = route_along(network, legs, quickest.access)
        shared = _shared_m(route, quickest)
        if route.distance_m - shared < LEAST_APART_M:
            continue
        if shared <= MOST_SHARED * route.distance_m:
            return _against(network, route, quickest, shared, True)
        if closest is None or shared / route.distance_m < closest[0] / closest[1].distance_m:
            closest = shared, route
    if closest is None:
        return Alternative(None, False, quickest.distance_m)
    shared, route = closest
    return _against(network, route, quickest, shared, False)


def _shared_m(route: Route, other: Route) -> float:
    """Metres of `route` on segments that the other takes too."""
    return float(np.abs(route.end_m - route.start_m)[np.isin(route.segments, other.segments)].sum())


def _against(network: RoadNetwork, route: Route, quickest: Route, shared_m: float, distinct: bool) -> Alternative:
    mine, theirs = _only(network, route, quickest), _only(network, quickest, route)
    by = mine[0] if mine else ""
    instead = next((name for name in theirs if name != by), "")
    longer, farther = route.time_s - quickest.time_s, route.distance_m - quickest.distance_m
    return Alternative(route, distinct, shared_m, longer, farther, by, instead)


def _only(network: RoadNetwork, route: Route, other: Route) -> list[str]:
    """Roads that only this drive takes, the longest first; named ones before those without a name."""
    length: dict[str, float] = {}
    driven = np.abs(route.end_m - route.start_m)
    for segment, metres in zip(route.segments.tolist(), driven.tolist(), strict=True):
        if segment not in other.segments:
            name = called(network, segment)
            length[name] = length.get(name, 0.0) + metres
    unnamed = {called(network, s) for s in route.segments.tolist() if not network.tags.name[s]}
    return sorted(length, key=lambda name: (name in unnamed, -length[name], name))
