"""Quickest ways from one place on the network to everywhere: Dijkstra 1959, by scipy.

The search runs over arcs, because what may be done at a junction and what it takes depends on where one comes from.
The rig never turns round on the spot.

Roads that are not to be passed through are chosen unwillingly: they count longer than they take
(`RoadNetwork.choice_s`). The seconds told are those that the way takes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

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
    def turns(self) -> Turns: ...
    @property
    def choice_s(self) -> np.ndarray: ...


@dataclass(frozen=True, eq=False)
class Search:
    """Seconds to each node by the way chosen, and to the start of each segment from either end in a way that lets it
    be driven on.

    `enter_from_s` is the earliest time at which a segment can be entered at its first node to drive forward: `node_s`
    there and the turn into it. `enter_to_s` is the same at its last node, backward.
    """

    node_s: np.ndarray
    enter_from_s: np.ndarray
    enter_to_s: np.ndarray
    arc: np.ndarray  # of each state
    before: np.ndarray  # state before each state; see `way`
    best: np.ndarray  # for each arc the state in which it is entered first
    last: np.ndarray  # the state that is first at each node
    leave_m: tuple[float, float]  # metres along the first segment where it is left for either node

    def way(self, node: int, onto: int | None) -> tuple[float, list[int]]:
        """(metres along the first segment where it is left, arcs driven whole) to a node.

        `onto`: the arc that will be driven next, or None when the way ends at the node.
        """
        size = len(self.arc)
        state = int(self.last[node]) if onto is None else int(self.before[self.best[onto]])
        driven = []
        while state < size:
            driven.append(int(self.arc[state]))
            state = int(self.before[state])
        return self.leave_m[state - size], driven[::-1]


def nowhere(roads: Roads) -> Search:
    """The search of a rig that gets onto no road."""
    never = np.full(len(roads.geometry.node_x), np.inf)
    segments = np.full(len(roads.geometry.length_m), np.inf)
    none = np.empty(0, int)
    return Search(never, segments, segments, none, none, none, none, (np.nan, np.nan))


def arc_seconds(times: Times) -> np.ndarray:
    """Seconds to drive each arc; infinite where it is shut."""
    return np.stack([times.forward_s, times.backward_s], axis=1).reshape(-1)


def _summed(own: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Sum of `own` over each entry and all before it (`before`: the one before, negative for none), by doubling."""
    total, at = own.copy(), before.copy()
    while (at >= 0).any():
        on = np.flatnonzero(at >= 0)
        total[on] += total[at[on]]
        at[on] = at[at[on]]
    return total


def _by_the_clock(found: np.ndarray, before: np.ndarray, cost_s: np.ndarray, taken_s: np.ndarray) -> np.ndarray:
    """What each state adds to the way: what it takes and the turn into it, of which it is chosen by `cost_s`."""
    on = np.flatnonzero(before >= 0)
    out = np.zeros(len(found))
    out[on] = found[on] - found[before[on]] - cost_s[on] + taken_s[on]
    return out


def search(roads: Roads, segment: int, along_m: float) -> Search:
    """From a point `along_m` metres along a segment to everywhere."""
    geometry, turns = roads.geometry, roads.turns
    length = float(geometry.length_m[segment])
    share = along_m / length
    ends = int(geometry.seg_from[segment]), int(geometry.seg_to[segment])
    seconds = (
        float(roads.times.backward_s[segment] * share) if share > 0 else 0.0,
        float(roads.times.forward_s[segment] * (1 - share)) if share < 1 else 0.0,
    )
    whole_s = arc_seconds(roads.times)
    cost_s = roads.choice_s[turns.arc]
    count, size = len(cost_s), len(geometry.node_x)  # states: all arcs, the two halves of the first segment, the start
    follow, between, first = [turns.follow], [turns.turn_s], [turns.first]
    run = len(turns.follow)
    # a half is followed like the whole; from a start at the very node, any arc that leaves it
    whole = (2 * segment + 1, 2 * segment)
    at_node = (share <= 0, share >= 1)
    for k in (0, 1):
        if at_node[k]:
            after = turns.leaving[turns.start[ends[k]] : turns.start[ends[k] + 1]]
            turn = np.zeros(len(after))
        else:
            part = slice(turns.first[whole[k]], turns.first[whole[k] + 1])
            after, turn = turns.follow[part], turns.turn_s[part]
        run += len(after)
        follow.append(after)
        between.append(turn)
        first.append(np.array([run]))
    halves = [k for k in (0, 1) if np.isfinite(seconds[k])]
    follow.append(np.array([count + k for k in halves], int))
    between.append(np.zeros(len(halves)))
    first.append(np.array([run + len(halves)]))
    to = np.concatenate(follow)
    halves_s = np.append(np.maximum(seconds, _NONE_S), 0.0)
    cost = np.concatenate([cost_s, halves_s])[to] + np.concatenate(between)
    graph = csr_matrix(
        (cost, to.astype(np.int32), np.concatenate(first).astype(np.int32)), shape=(count + 3, count + 3)
    )
    found, before = dijkstra(graph, indices=count + 2, return_predecessors=True)
    real, taken_s = found, whole_s[turns.arc]
    if not np.array_equal(taken_s, cost_s):
        own = _by_the_clock(found, before, np.concatenate([cost_s, halves_s]), np.concatenate([taken_s, halves_s]))
        real = np.where(np.isfinite(found), _summed(own, np.where(before == count + 2, -1, before)), np.inf)
    head = np.concatenate([turns.head, ends])
    order = np.lexsort((np.arange(count + 2), found[: count + 2], head))
    lead = order[np.flatnonzero(np.diff(head[order], prepend=-1))]
    node_s, last = np.full(size, np.inf), np.full(size, -1)
    node_s[head[lead]], last[head[lead]] = real[lead], lead
    best = np.arange(len(whole_s))
    for state in range(len(whole_s), count):
        arc = turns.arc[state]
        if found[state] < found[best[arc]]:
            best[arc] = state
    known = np.isfinite(found[best])
    enter = np.where(known, real[best] - np.where(known, whole_s, 0.0), np.inf)
    return Search(node_s, enter[0::2], enter[1::2], turns.arc, before, best, last, (0.0, length))
