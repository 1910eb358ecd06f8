"""What a drive is warned of as a whole: dangers on its segments, and roads that are not open to through traffic."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from siteplanner.errors import Finding
from siteplanner.roads.hazards import Warned, warning_findings
from siteplanner.roads.network import RoadNetwork


def passed_through(network: RoadNetwork, segments: np.ndarray) -> list[tuple[int, int]]:
    """(first leg, leg after the last) of runs of roads that are not open to through traffic and that the drive passes
    through: neither its start nor its end lies on them.
    """
    on = network.tags.destination[segments]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    runs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(a, b) for a, b in runs if a > 0 and b < len(segments)]


def drive_findings(
    network: RoadNetwork, segments: np.ndarray, driven_m: np.ndarray, besides: Sequence[Warned] = ()
) -> tuple[Finding, ...]:
    """Findings of a drive over these segments, `driven_m` metres on each, and of what else it meets."""
    on_roads = (h for seg in dict.fromkeys(segments.tolist()) for h in network.hazards[seg])
    found = warning_findings([*on_roads, *besides])
    through = passed_through(network, segments)
    if not through:
        return found
    metres = float(sum(driven_m[a:b].sum() for a, b in through))
    return (*found, Finding("route_not_for_through_traffic", "check", facts={"length_m": metres}))
