"""What cannot be reached only because something is closed."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from siteplanner.roads.closures import without_closures
from siteplanner.roads.routing import DriveTree

_made: WeakKeyDictionary[DriveTree, tuple[np.ndarray, np.ndarray]] = WeakKeyDictionary()


def closures_before(tree: DriveTree, segment: int) -> tuple[str, ...]:
    """Names of the closures between the staging point and a segment that is not reached; () where there is none.

    Those are the closures that touch reached roads and, were they open, would hang together with the segment.
    """
    network = tree.network
    if tree not in _made:
        shut = without_closures(network.closed, network.reason)
        left = np.flatnonzero(shut | (network.drivable & ~tree.reached))
        size = len(network.node_x)
        # reached nodes do not tie two parts together: each part counts by itself
        ends = [network.seg_from[left].copy(), network.seg_to[left].copy()]
        touches = np.zeros(len(left), bool)
        for side in ends:
            at_reached = np.isfinite(tree.node_s[side])
            touches |= at_reached
            side[at_reached] = size + np.flatnonzero(at_reached)
        both = size + len(left)
        graph = csr_matrix((np.ones(len(left)), (ends[0], ends[1])), shape=(both, both))
        part = np.full(len(network), -1)
        part[left] = connected_components(graph, directed=False)[1][ends[0]]
        gate = np.zeros(len(network), bool)
        gate[left] = touches & shut[left]
        _made[tree] = part, gate
    part, gate = _made[tree]
    if part[segment] < 0:
        return ()
    return tuple(dict.fromkeys(str(network.closed[i]) for i in np.flatnonzero(gate & (part == part[segment]))))
