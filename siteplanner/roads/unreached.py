"""Roads for the rig that cannot be reached: where a gap in the data, a limit or a closure parts the network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from pyproj import CRS
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from siteplanner.data.projections import written_place
from siteplanner.errors import Finding
from siteplanner.roads.network import RoadNetwork


@dataclass(frozen=True)
class UnreachedPart:
    """Roads for the rig that hang together but cannot be reached: where they come nearest to reached ones."""

    segments: tuple[int, ...]
    length_m: float
    x: float  # the point of the part nearest to a reached road
    y: float
    reached_x: float  # and that road's point nearest to it
    reached_y: float
    gap_m: float


def unreached_parts(
    network: RoadNetwork, reached: np.ndarray, reached_segments: np.ndarray, reached_tree: shapely.STRtree
) -> tuple[UnreachedPart, ...]:
    """Parts for the rig that cannot be reached, the longest first. `reached_tree` holds the lines of what can."""
    g = network.geometry
    left = np.flatnonzero(network.judged.drivable & ~reached)
    if not len(left) or not len(reached_segments):
        return ()
    size = len(g.node_x)
    graph = csr_matrix((np.ones(len(left)), (g.seg_from[left], g.seg_to[left])), shape=(size, size))
    label = connected_components(graph, directed=False)[1][g.seg_from[left]]
    (mine, near), gap = reached_tree.query_nearest(g.line[left], all_matches=False, return_distance=True)
    parts = []
    order = np.lexsort((gap, label[mine]))
    best = order[np.flatnonzero(np.diff(label[mine][order], prepend=-1))]
    for k in best.tolist():
        members = left[label == label[mine[k]]]
        link = shapely.shortest_line(g.line[left[mine[k]]], g.line[reached_segments[near[k]]])
        (x, y), (rx, ry) = shapely.get_coordinates(link).tolist()
        parts.append(
            UnreachedPart(tuple(members.tolist()), float(g.length_m[members].sum()), x, y, rx, ry, float(gap[k]))
        )
    return tuple(sorted(parts, key=lambda p: (-p.length_m, p.segments)))


def unreached_finding(parts: Sequence[UnreachedPart], crs: CRS) -> Finding | None:
    """How much cannot be reached, and where the longest part comes nearest; None where there is nothing."""
    if not parts:
        return None
    worst = parts[0]
    facts = {
        "parts": len(parts),
        "length_m": sum(p.length_m for p in parts),
        "longest_m": worst.length_m,
        "gap_m": worst.gap_m,
        "nearest_at": written_place(crs, worst.reached_x, worst.reached_y),
    }
    return Finding("roads_not_reached", "check", facts=facts)
