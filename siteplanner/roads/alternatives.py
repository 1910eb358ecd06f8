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
    """The second way to one access point, or that there is none (`route` None); `sentence` says either.

    `shared_m` is how much of it the quickest drive also takes (of the most different way found when there is none),
    `longer_s` and `farther_m` are against the quickest drive.
    """

    route: Route | None
    shared_m: float
    longer_s: float
    farther_m: float
    by: str  # the longest road that only this way takes
    instead_of: str  # the longest that only the quickest takes
    sentence: str


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
            return _told(network, route, quickest, shared)
        if closest is None or shared / route.distance_m < closest[0] / closest[1].distance_m:
            closest = shared, route
    nan = float("nan")
    if closest is None:
        return Alternative(
            None,
            quickest.distance_m,
            nan,
            nan,
            "",
            "",
            "No alternative: the rig has no other way from the start to the spot.",
        )
    shared, route = closest
    told = _told(network, route, quickest, shared)
    return Alternative(
        None,
        shared,
        nan,
        nan,
        "",
        "",
        f"No distinct alternative: the most different way shares {shared / 1000:.1f} of its "
        f"{route.distance_m / 1000:.1f} km with the drive ({told.sentence[0].lower()}{told.sentence[1:-1]}).",
    )


def _shared_m(route: Route, other: Route) -> float:
    """Metres of `route` on segments that the other takes too."""
    return float(np.abs(route.end_m - route.start_m)[np.isin(route.segments, other.segments)].sum())


def _told(network: RoadNetwork, route: Route, quickest: Route, shared_m: float) -> Alternative:
    longer, farther = route.time_s - quickest.time_s, route.distance_m - quickest.distance_m
    mine, theirs = _only(network, route, quickest), _only(network, quickest, route)
    by = mine[0] if mine else ""
    instead = next((name for name in theirs if name != by), "")
    minutes = round(longer / 60)
    words = [f"{minutes} min longer" if minutes >= 1 else "about as long in time"]
    if abs(farther) >= 50:
        words.append(f"{abs(farther) / 1000:.1f} km {'farther' if farther > 0 else 'shorter'}")
    text = f"By {by}" + (f" instead of {instead}" if instead else "")
    if abs(route.worst_grade_pct) >= 1:  # False for an unknown one
        way = "climb" if route.worst_grade_pct > 0 else "descent"
        words.append(f"steepest {abs(route.worst_grade_pct):.0f} % {way}")
    return Alternative(route, shared_m, longer, farther, by, instead, f"{text}, {', '.join(words)}.")


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
