"""Directed ways between nodes. Arcs are numbered 2 x segment, + 1 when driven backward."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Arcs:
    """Directed edges sorted by (tail, head), no pair twice; `arc` is 2 x segment, + 1 when driven backward."""

    tail: np.ndarray
    head: np.ndarray
    cost_s: np.ndarray
    arc: np.ndarray

    def find(self, tail: np.ndarray, head: np.ndarray) -> np.ndarray:
        """Positions of the edges tail -> head, which must exist."""
        width = int(max(self.head.max(initial=0), np.max(head, initial=0))) + 1
        return np.searchsorted(self.tail * width + self.head, np.asarray(tail) * width + np.asarray(head))


def quickest_arcs(seg_from: np.ndarray, seg_to: np.ndarray, forward_s: np.ndarray, backward_s: np.ndarray) -> Arcs:
    """The quickest open way between each pair of nodes; infinite times are closed, rings at one node lead nowhere."""
    segment = np.arange(len(seg_from))
    u, v = np.concatenate([seg_from, seg_to]), np.concatenate([seg_to, seg_from])
    cost = np.concatenate([forward_s, backward_s])
    arc = np.concatenate([2 * segment, 2 * segment + 1])
    open_ = np.isfinite(cost) & (u != v)
    u, v, cost, arc = u[open_], v[open_], cost[open_], arc[open_]
    order = np.lexsort((arc, cost, v, u))
    u, v, cost, arc = u[order], v[order], cost[order], arc[order]
    first = np.ones(len(u), bool)
    first[1:] = (np.diff(u) != 0) | (np.diff(v) != 0)
    return Arcs(u[first], v[first], cost[first], arc[first])
