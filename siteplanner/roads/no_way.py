"""Why the road nearest to a place is no way to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.noding import SNAP_M
from siteplanner.roads.reasons import Reason
from siteplanner.roads.routing import DriveTree
from siteplanner.roads.start import NoStart


@dataclass(frozen=True)
class NoWay:
    """The nearest road, `distance_m` away (None: there is none), and why it does not lead to the place.

    `kind`: no rig leaves the staging points (`start`); there are no roads; the nearest is too far for the last leg; it
    is refused to the rig (`reasons`); nobody stops on it (`what`: tunnel, motorway); it is closed before (`closed_by`);
    something at a point stops the rig before it (`reasons`); the drive does not reach it; or the ground between is no
    way.
    """

    kind: Literal[
        "no_start", "no_road", "far", "refused", "no_stopping", "closed_before", "stopped_before", "not_reached",
        "ground_between",
    ]  # fmt: skip
    name: str = ""
    distance_m: float | None = None
    reasons: tuple[Reason, ...] = ()
    closed_by: tuple[str, ...] = ()
    what: str = ""
    start: NoStart | None = None


def why_no_way(network: RoadNetwork, trees: Sequence[DriveTree], x: float, y: float, reach_m: float) -> NoWay:
    """What is wrong with the road nearest to (x, y). `reach_m`: as far as a last leg may come from a road."""
    if all(tree.refused is not None for tree in trees):
        return NoWay("no_start", start=trees[0].refused)
    roads = np.flatnonzero(network.tags.for_vehicles)
    if not len(roads):
        return NoWay("no_road")
    away = shapely.distance(network.geometry.line[roads], shapely.points(x, y))
    nearest, distance = int(roads[int(np.argmin(away))]), float(away.min())
    name = str(network.tags.name[nearest])
    if distance > reach_m:
        return NoWay("far", name, distance)
    reasons = network.judged.reasons[nearest]
    if reasons:
        return NoWay("refused", name, distance, reasons)
    if network.tags.no_stop[nearest] and any(tree.reached[nearest] for tree in trees):
        return NoWay("no_stopping", name, distance, what=str(network.tags.no_stop[nearest]))
    if any(tree.reached[nearest] for tree in trees):
        return NoWay("ground_between", name, distance)
    before = tuple(dict.fromkeys(c for tree in trees for c in tree.closed_off.closures_before(nearest)))
    if before:
        return NoWay("closed_before", name, distance, closed_by=before)
    stopped = _stops_before(network, trees, nearest)
    return NoWay("stopped_before" if stopped else "not_reached", name, distance, stopped)


def _stops_before(network: RoadNetwork, trees: Sequence[DriveTree], segment: int) -> tuple[Reason, ...]:
    """What at points of the roads parts a segment's roads from those that are reached."""
    if not network.stops:
        return ()
    g, reached = network.geometry, np.logical_or.reduce([tree.reached for tree in trees])
    left = np.flatnonzero(network.judged.drivable & ~reached)
    size = len(g.node_x)
    graph = csr_matrix((np.ones(len(left)), (g.seg_from[left], g.seg_to[left])), shape=(size, size))
    label = connected_components(graph, directed=False)[1]
    mine = g.line[left[label[g.seg_from[left]] == label[g.seg_from[segment]]]]
    points = np.asarray(shapely.points([(s.x, s.y) for s in network.stops]), object)
    here = shapely.STRtree(mine).query(points, predicate="dwithin", distance=SNAP_M)[0]
    there = shapely.STRtree(g.line[reached]).query(points, predicate="dwithin", distance=SNAP_M)[0]
    both = np.intersect1d(here, there).tolist()
    return tuple(dict.fromkeys(reason for k in both for reason in network.stops[k].reasons))
