"""How many ways lead out of a place: one fallen tree must not hold the crew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal
from weakref import WeakKeyDictionary

import numpy as np
import shapely

from siteplanner.errors import Finding
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import AccessPoint, DriveTree

EDGE_SHARE = 0.02  # of the network's diagonal: dead ends this close to its hull are roads that go on. Common practice
EDGE_M = 100.0


@dataclass(frozen=True)
class WaysOut:
    """`count` is 2 when no single segment's loss cuts the place off, 1 when one does, 0 without any way.

    `cut_segments` are those whose loss cuts it off, from the place outward.
    """

    count: int
    cut_segments: tuple[int, ...]

    def finding(self, network: RoadNetwork) -> Finding | None:
        """The finding `one way in`, or None when there are two ways."""
        if self.count >= 2:
            return None
        cuts = len(self.cut_segments)
        words = "1 road section" if cuts == 1 else f"{cuts} road sections"
        km = float(network.length_m[list(self.cut_segments)].sum()) / 1000
        return Finding(
            "one_way_in",
            "caution",
            f"There is one way in: {words} ({km:.1f} km) without a way round.",
            "Keep the way clear, keep radio contact, and agree when to leave.",
        )


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


def outer_ends(network: RoadNetwork) -> np.ndarray:
    """Nodes where a road ends at the edge of the data, so goes on beyond."""
    use = network.drivable
    ends = np.concatenate([network.seg_from[use], network.seg_to[use]])
    degree = np.bincount(ends, minlength=len(network.node_x))
    lone = np.flatnonzero(degree == 1)
    if not len(lone):
        return lone
    points = np.asarray(shapely.points(network.node_x, network.node_y), object)
    hull = shapely.convex_hull(shapely.multipoints(points[np.unique(ends)]))
    west, south, east, north = network.bounds
    reach = max(EDGE_M, EDGE_SHARE * float(np.hypot(east - west, north - south)))
    return lone[shapely.distance(points[lone], shapely.boundary(hull)) <= reach]


def exit_tree(network: RoadNetwork, exits: np.ndarray) -> ExitTree:
    """Depth-first search from all exits together; bridges by low-link (Tarjan 1974).

    Ways are roads for the rig, driven either way: who must leave may be let out against a one-way rule. A ring
    road that starts and ends at one node never cuts anything off.
    """
    size = len(network.node_x)
    use = np.flatnonzero(network.drivable & (network.seg_from != network.seg_to))
    root = size
    # two links to each exit: the outside world is never cut off
    tail = np.concatenate([network.seg_from[use], np.repeat(root, 2 * len(exits))])
    head = np.concatenate([network.seg_to[use], np.repeat(exits, 2)])
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
    is_cut = np.zeros(len(network), bool)
    for u in visit[1:]:
        p = parent[u]
        if low[u] > found[p]:
            segment = int(use[via[u]])
            next_cut[u], next_node[u] = segment, p
            is_cut[segment] = True
        else:
            next_cut[u], next_node[u] = next_cut[p], next_node[p]
    return ExitTree(np.array(found[:-1]) > 0, np.array(next_cut[:-1]), np.array(next_node[:-1]), is_cut)


def _staging_exits(tree: DriveTree) -> np.ndarray:
    n = tree.network
    return np.unique([n.seg_from[tree.segment], n.seg_to[tree.segment]])


_made: WeakKeyDictionary[RoadNetwork | DriveTree, ExitTree] = WeakKeyDictionary()


def _known_exits(network: RoadNetwork, tree: DriveTree | None, exits: str) -> ExitTree:
    """The exit tree of a network or a drive tree, searched once and kept as long as its owner lives."""
    if exits == "outer ends":
        if network in _made:
            return _made[network]
        ends = outer_ends(network)
        if len(ends) or tree is None:
            return _made.setdefault(network, exit_tree(network, ends))
    assert tree is not None
    if tree not in _made:
        _made[tree] = exit_tree(network, _staging_exits(tree))
    return _made[tree]


def ways_out(
    network: RoadNetwork,
    access: AccessPoint,
    tree: DriveTree | None = None,
    *,
    exits: Literal["staging", "outer ends"] | ExitTree = "outer ends",
) -> WaysOut:
    """Count the segment-disjoint ways (1 or 2) from an access point to the exits.

    By Menger's theorem there are two such ways exactly when no single segment parts the place from the exits.
    `exits`: the staging point's segment (needs `tree`), the roads that leave the data (the staging point's where
    none does and `tree` is given), or an `exit_tree` of one's own.
    """
    if isinstance(exits, str):
        if exits == "staging" and tree is None:
            raise ValueError("exits='staging' needs the drive tree")
        exits = _known_exits(network, tree, exits)
    seg = access.segment
    a, b = int(network.seg_from[seg]), int(network.seg_to[seg])
    if not (exits.linked[a] or exits.linked[b]):
        return WaysOut(0, ())
    cuts = []
    # on a bridge the way out is through the end that does not itself lie behind that bridge
    node = a
    if exits.is_cut[seg]:
        cuts.append(seg)
        node = b if exits.next_cut[a] == seg else a
    while exits.next_cut[node] >= 0:
        cuts.append(int(exits.next_cut[node]))
        node = int(exits.next_node[node])
    return WaysOut(1 if cuts else 2, tuple(cuts))
