"""What parts a place from the outside world: bridges of the road graph, found once for all places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from siteplanner.roads.tables import Geometry

EDGE_SHARE = 0.02  # of the network's diagonal: dead ends this close to its hull are roads that go on. Common practice
EDGE_M = 100.0


@dataclass(frozen=True, eq=False)
class ExitTree:
    """For each node the last bridge (segment without a way round) between it and the exits, if any.

    "Bridge" in the sense of graphs. `next_cut` is the segment, `next_node` the node behind it, -1: none;
    `linked` tells whether the node hangs together with an exit at all.
    """

    linked: np.ndarray
    next_cut: np.ndarray
    next_node: np.ndarray
    is_cut: np.ndarray  # per segment


def outer_ends(geometry: Geometry, drivable: np.ndarray) -> np.ndarray:
    """Nodes where a road for the rig ends at the edge of the data, so goes on beyond."""
    use = drivable
    ends = np.concatenate([geometry.seg_from[use], geometry.seg_to[use]])
    degree = np.bincount(ends, minlength=len(geometry.node_x))
    lone = np.flatnonzero(degree == 1)
    if not len(lone):
        return lone
    points = np.asarray(shapely.points(geometry.node_x, geometry.node_y), object)
    hull = shapely.convex_hull(shapely.multipoints(points[np.unique(ends)]))
    west, south, east, north = geometry.bounds
    reach = max(EDGE_M, EDGE_SHARE * float(np.hypot(east - west, north - south)))
    return lone[shapely.distance(points[lone], shapely.boundary(hull)) <= reach]


def exit_tree(geometry: Geometry, drivable: np.ndarray, exits: np.ndarray) -> ExitTree:
    """Depth-first search from all exits together; bridges by low-link (Tarjan 1974).

    Ways are roads for the rig, driven either way: who must leave may be let out against a one-way rule. A ring
    road that starts and ends at one node never cuts anything off.
    """
    size = len(geometry.node_x)
    use = np.flatnonzero(drivable & (geometry.seg_from != geometry.seg_to))
    root = size
    # two links to each exit: the outside world is never cut off
    tail = np.concatenate([geometry.seg_from[use], np.repeat(root, 2 * len(exits))])
    head = np.concatenate([geometry.seg_to[use], np.repeat(exits, 2)])
    m = len(tail)
    order = np.argsort(np.concatenate([tail, head]), kind="stable")
    first = np.searchsorted(np.concatenate([tail, head])[order], np.arange(size + 2)).tolist()
    other = np.concatenate([head, tail])[order].tolist()
    edge = (order % m).tolist() if m else []
    found = [0] * (size + 1)
    low = [0] * (size + 1)
    parent = [-1] * (size + 1)
    via = [-1] * (size + 1)
    at = first[:-1]
    visit = [root]
    found[root] = low[root] = clock = 1
    stack = [root]
    while stack:
        u = stack[-1]
        if at[u] < first[u + 1]:
            k = at[u]
            at[u] += 1
            v = other[k]
            if edge[k] == via[u]:
                continue
            if found[v]:
                if found[v] < low[u]:
                    low[u] = found[v]
            else:
                clock += 1
                found[v] = low[v] = clock
                parent[v], via[v] = u, edge[k]
                visit.append(v)
                stack.append(v)
        else:
            stack.pop()
            if stack and low[u] < low[stack[-1]]:
                low[stack[-1]] = low[u]
    next_cut, next_node = [-1] * (size + 1), [-1] * (size + 1)
    is_cut = np.zeros(len(drivable), bool)
    for u in visit[1:]:
        p = parent[u]
        if low[u] > found[p]:
            segment = int(use[via[u]])
            next_cut[u], next_node[u] = segment, p
            is_cut[segment] = True
        else:
            next_cut[u], next_node[u] = next_cut[p], next_node[p]
    return ExitTree(np.array(found[:-1]) > 0, np.array(next_cut[:-1]), np.array(next_node[:-1]), is_cut)
