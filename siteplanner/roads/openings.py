"""Which one shut road would lead the rig to most of what it cannot reach, were it open: a closure, a grade, a sign."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.noding import SNAP_M
from siteplanner.roads.routing import DriveTree
from siteplanner.roads.ruled_out import RuledOut, ruled_out
from siteplanner.roads.signposts import called


@dataclass(frozen=True)
class Opening:
    """A shut road, or a point that stops the rig, and every reason why; `opens_m` of wanted road for the rig lie behind
    it, `leads_m` of all roads for the rig.
    """

    reasons: tuple[RuledOut, ...]
    opens_m: float
    leads_m: float


def best_opening(network: RoadNetwork, trees: Sequence[DriveTree], wanted: np.ndarray) -> Opening | None:
    """The road or barrier whose opening, alone, reaches most of the wanted segments (bool) that no drive reaches now.

    Segments of one name with the same reasons open together, a point by itself. One-way rules are left aside. None
    where no single one opens any.
    """
    g, drivable = network.geometry, network.judged.drivable
    size = len(g.node_x)
    use = np.flatnonzero(drivable)
    graph = csr_matrix((np.ones(len(use)), (g.seg_from[use], g.seg_to[use])), shape=(size, size))
    part = connected_components(graph, directed=False)[1]
    length = np.where(drivable, g.length_m, 0.0)
    all_m = np.bincount(part[g.seg_from], length, part.max() + 1)
    wanted_m = np.bincount(part[g.seg_from], np.where(wanted, length, 0.0), part.max() + 1)
    here = {int(part[g.seg_from[tree.segment]]) for tree in trees if tree.refused is None}
    groups: dict[tuple[object, ...], list[int]] = {}
    for i in np.flatnonzero(network.tags.for_vehicles & ~drivable).tolist():
        reasons = network.judged.reasons[i]
        key = called(network, i), tuple((r.kind, r.structure, r.what, r.source) for r in reasons)
        groups.setdefault(key, []).append(i)
    best: tuple[float, float, tuple[RuledOut, ...] | list[int]] | None = None
    for members in groups.values():
        reached = _joined(members, part, g.seg_from, g.seg_to, here) - here
        # of the opened road itself only what is wanted counts
        own = float(g.length_m[[i for i in members if wanted[i]]].sum()) if reached else 0.0
        opens = float(wanted_m[list(reached)].sum()) + own
        if opens > 0 and (best is None or opens > best[0]):
            best = opens, float(all_m[list(reached)].sum()), members
    for stop, parts in _at_stops(network, use, part):
        reached = parts - here if parts & here else set()
        opens = float(wanted_m[list(reached)].sum())
        if opens > 0 and (best is None or opens > best[0]):
            best = opens, float(all_m[list(reached)].sum()), stop
    if best is None:
        return None
    return Opening(ruled_out(network, best[2]) if isinstance(best[2], list) else best[2], best[0], best[1])


def _at_stops(
    network: RoadNetwork, use: np.ndarray, part: np.ndarray
) -> Iterator[tuple[tuple[RuledOut, ...], set[int]]]:
    """Each point that stops the rig on roads for it, and the parts of the roads that would hang together there."""
    g = network.geometry
    if not network.stops or not len(use):
        return
    segment, node = np.concatenate([use, use]), np.concatenate([g.seg_from[use], g.seg_to[use]])
    ends = cKDTree(np.column_stack([g.node_x[node], g.node_y[node]]))
    for stop in network.stops:
        near = ends.query_ball_point((stop.x, stop.y), SNAP_M)
        if near:
            name = called(network, int(segment[min(near)]))
            yield tuple(RuledOut(name, r, 0.0, stop.x, stop.y) for r in stop.reasons), set(part[node[near]].tolist())


def _joined(
    members: Sequence[int], part: np.ndarray, seg_from: np.ndarray, seg_to: np.ndarray, here: set[int]
) -> set[int]:
    """The parts that hang together with `here` when these segments are open."""
    links: dict[int, set[int]] = {}
    for i in members:
        a, b = int(part[seg_from[i]]), int(part[seg_to[i]])
        links.setdefault(a, set()).add(b)
        links.setdefault(b, set()).add(a)
    found, stack = set(here), [p for p in here if p in links]
    while stack:
        for other in links.get(stack.pop(), ()):
            if other not in found:
                found.add(other)
                stack.append(other)
    return found
