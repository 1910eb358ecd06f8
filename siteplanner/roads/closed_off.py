"""What cannot be reached only because something is closed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.reasons import closure_names


@dataclass(frozen=True, eq=False)
class ClosedOff:
    """Parts of the network that would be reached were their closures open.

    For each segment `part`, the number of its part (-1: reached, or shut for another reason), and `gate`, whether it
    is a closed segment that touches reached roads.
    """

    network: RoadNetwork
    part: np.ndarray
    gate: np.ndarray

    def closures_before(self, segment: int) -> tuple[str, ...]:
        """Names of the closures between the staging point and a segment that is not reached; () where there is none.

        Those are the closures that touch reached roads and, were they open, would hang together with the segment.
        """
        if self.part[segment] < 0:
            return ()
        gates = np.flatnonzero(self.gate & (self.part == self.part[segment]))
        return tuple(dict.fromkeys(name for i in gates for name in closure_names(self.network.judged.reasons[i])))


def closed_off(network: RoadNetwork, reached: np.ndarray, node_s: np.ndarray) -> ClosedOff:
    """What the closures part from the roads reached. `node_s`: seconds to the nodes, infinite where not reached."""
    shut, geometry = network.judged.only_closed, network.geometry
    left = np.flatnonzero(shut | (network.judged.drivable & ~reached))
    size = len(geometry.node_x)
    # reached nodes do not tie two parts together: each part counts by itself
    ends = [geometry.seg_from[left].copy(), geometry.seg_to[left].copy()]
    touches = np.zeros(len(left), bool)
    for side in ends:
        at_reached = np.isfinite(node_s[side])
        touches |= at_reached
        side[at_reached] = size + np.flatnonzero(at_reached)
    both = size + len(left)
    graph = csr_matrix((np.ones(len(left)), (ends[0], ends[1])), shape=(both, both))
    part = np.full(len(network), -1)
    part[left] = connected_components(graph, directed=False)[1][ends[0]]
    gate = np.zeros(len(network), bool)
    gate[left] = touches & shut[left]
    return ClosedOff(network, part, gate)
