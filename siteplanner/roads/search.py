"""Quickest ways from one place on the network to everywhere: Dijkstra 1959, by scipy.

Without signed turns the search runs over nodes. With them it runs over arcs, because what may be done at a junction
depends on where one comes from; there the rig never turns round on the spot either. Where no turn is banned both give
the same times: a quickest way passes no junction twice.

Roads that are not to be passed through are chosen unwillingly: they count longer than they take (`RoadNetwork.arcs`).
The seconds told are those that the way takes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from siteplanner.roads.arcs import Arcs
from siteplanner.roads.tables import Geometry, Times
from siteplanner.roads.turns import Turns

_NONE_S = 1e-9  # an edge of no length would be no edge to scipy; a nanosecond is none to a driver


class Roads(Protocol):
    """The part of a network that a search needs."""

    @property
    def geometry(self) -> Geometry: ...
    @property
    def times(self) -> Times: ...
    @property
    def banned_turns(self) -> np.ndarray: ...
    @property
    def arcs(self) -> Arcs: ...
    @property
    def turns(self) -> Turns: ...
    @property
    def unwilling(self) -> bool: ...


@dataclass(frozen=True, eq=False)
class Search:
    """Seconds to each node by the way chosen, and to the start of each segment from either end in a way that lets it
    be driven on.

    `enter_from_s` is the earliest time at which a segment can be entered at its first node to drive forward (as
    `node_s` there, unless a sign forbids the turn), `enter_to_s` the same at its last node, backward.
    """

    node_s: np.ndarray
    enter_from_s: np.ndarray
    enter_to_s: np.ndarray
    arcs: Arcs | None  # of a search over nodes
    before: np.ndarray  # node before each node, or state before each arc; see `way`
    last: np.ndarray  # of a search over arcs: the state that is first at each node
    start_nodes: tuple[int, int]
    leave_m: tuple[float, float]  # metres along the first segment where it is left for either node
    start_s: tuple[float, float]

    def way(self, node: int, onto: int | None) -> tuple[float, list[int]]:
        """(metres along the first segment where it is left, arcs driven whole) to a node.

        `onto`: the arc that will be driven next, or None when the way ends at the node.
        """
        if self.arcs is not None:
            path = [node]
            while self.before[path[-1]] >= 0:
                path.append(int(self.before[path[-1]]))
            path.reverse()
            ends = [k for k in (0, 1) if self.start_nodes[k] == path[0]]
            leave = self.leave_m[min(ends, key=lambda k: self.start_s[k])]
            if len(path) < 2:
                return leave, []
            return leave, self.arcs.arc[self.arcs.find(np.array(path[:-1]), np.array(path[1:]))].tolist()
        size = len(self.before) - 3
        state = int(self.last[node]) if onto is None else int(self.before[onto])
        driven = []
        while state < size:
            driven.append(state)
            state = int(self.before[state])
        return self.leave_m[state - size], driven[::-1]


def nowhere(roads: Roads) -> Search:
    """The search of a rig that gets onto no road."""
    never = np.full(len(roads.geometry.node_x), np.inf)
    segments = np.full(len(roads.geometry.length_m), np.inf)
    none = np.empty(0, int)
    return Search(never, segments, segments, None, none, none, (-1, -1), (np.nan, np.nan), (np.inf, np.inf))


def search(roads: Roads, segment: int, along_m: float) -> Search:
    """From a point `along_m` metres along a segment to everywhere."""
    length = float(roads.geometry.length_m[segment])
    share = along_m / length
    ends = int(roads.geometry.seg_from[segment]), int(roads.geometry.seg_to[segment])
    seconds = (
        float(roads.times.backward_s[segment] * share) if share > 0 else 0.0,
        float(roads.times.forward_s[segment] * (1 - share)) if share < 1 else 0.0,
    )
    over = _over_arcs if len(roads.banned_turns) else _over_nodes
    return over(roads, segment, share, ends, seconds, (0.0, length))


def _arc_s(roads: Roads) -> np.ndarray:
    """Seconds to drive each arc, however unwillingly it is chosen."""
    out = np.empty(2 * len(roads.geometry.length_m))
    out[0::2], out[1::2] = roads.times.forward_s, roads.times.backward_s
    return out


def _summed(own: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Sum of `own` over each entry and all before it (`before`: the one before, negative for none), by doubling."""
    total, at = own.copy(), before.copy()
    while (at >= 0).any():
        on = np.flatnonzero(at >= 0)
        total[on] += total[at[on]]
        at[on] = at[at[on]]
    return total


def _over_nodes(
    roads: Roads,
    segment: int,
    share: float,
    ends: tuple[int, int],
    seconds: tuple[float, float],
    leave_m: tuple[float, float],
) -> Search:
    size, arcs = len(roads.geometry.node_x), roads.arcs
    best: dict[int, float] = {}
    for node, cost in zip(ends, seconds, strict=True):
        if np.isfinite(cost):
            best[node] = min(cost, best.get(node, np.inf))
    head = np.array(sorted(best), int)
    indptr = np.append(np.searchsorted(arcs.tail, np.arange(size + 1)), len(arcs.tail) + len(head))
    costs = np.concatenate([arcs.cost_s, np.maximum([best[h] for h in head], _NONE_S)])
    graph = csr_matrix(
        (costs, np.concatenate([arcs.head, head]).astype(np.int32), indptr.astype(np.int32)), shape=(size + 1, size + 1)
    )
    found, before = dijkstra(graph, indices=size, return_predecessors=True)
    before = np.where(before[:size] == size, -1, before[:size])
    node_s = found[:size]
    if roads.unwilling:
        own = np.where(before < 0, node_s, 0.0)
        on = np.flatnonzero(before >= 0)
        own[on] = _arc_s(roads)[arcs.arc[arcs.find(before[on], on)]]
        node_s = np.where(np.isfinite(node_s), _summed(own, before), np.inf)
    return Search(
        node_s,
        node_s[roads.geometry.seg_from],
        node_s[roads.geometry.seg_to],
        arcs,
        before,
        np.empty(0, int),
        ends,
        leave_m,
        seconds,
    )


def _over_arcs(
    roads: Roads,
    segment: int,
    share: float,
    ends: tuple[int, int],
    seconds: tuple[float, float],
    leave_m: tuple[float, float],
) -> Search:
    turns, size = roads.turns, len(roads.geometry.node_x)
    count = len(turns.cost_s)  # states: all arcs, the two halves of the first segment, the start
    follow, first = [turns.follow], [turns.first]
    run = len(turns.follow)
    # a half is followed like the whole; from a start at the very node, any arc that leaves it
    whole = (2 * segment + 1, 2 * segment)
    at_node = (share <= 0, share >= 1)
    for k in (0, 1):
        if at_node[k]:
            after = turns.leaving[turns.start[ends[k]] : turns.start[ends[k] + 1]]
        else:
            after = turns.follow[turns.first[whole[k]] : turns.first[whole[k] + 1]]
        run += len(after)
        follow.append(after)
        first.append(np.array([run]))
    halves = [k for k in (0, 1) if np.isfinite(seconds[k])]
    follow.append(np.array([count + k for k in halves], int))
    first.append(np.array([run + len(halves)]))
    to = np.concatenate(follow)
    cost = np.concatenate([turns.cost_s, np.maximum(seconds, _NONE_S), [0.0]])[to]
    graph = csr_matrix(
        (cost, to.astype(np.int32), np.concatenate(first).astype(np.int32)), shape=(count + 3, count + 3)
    )
    found, before = dijkstra(graph, indices=count + 2, return_predecessors=True)
    real = found
    if roads.unwilling:
        own = np.concatenate([_arc_s(roads), np.maximum(seconds, _NONE_S), [0.0]])
        real = np.where(np.isfinite(found), _summed(own, np.where(before == count + 2, -1, before)), np.inf)
    head = np.concatenate([turns.head, ends])
    order = np.lexsort((np.arange(count + 2), found[: count + 2], head))
    lead = order[np.flatnonzero(np.diff(head[order], prepend=-1))]
    node_s, last = np.full(size, np.inf), np.full(size, -1)
    node_s[head[lead]], last[head[lead]] = real[lead], lead
    known = before[:count] >= 0
    enter = np.where(known, real[np.where(known, before[:count], 0)], np.inf)
    return Search(node_s, enter[0::2], enter[1::2], None, before, last, ends, leave_m, seconds)
