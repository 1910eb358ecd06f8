"""Where two drives from one start part."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route


@dataclass(frozen=True)
class Parting:
    """The last place that two drives share: metres and likely seconds of driving from the start, waits left out."""

    distance_m: float
    time_s: float


def parting(network: RoadNetwork, one: Route, other: Route) -> Parting:
    """Where `other` leaves `one`: the end of the road driven the same way by both, from the first metre on.

    Nothing is shared where they start on different roads or opposite ways.
    """
    distance = time = 0.0
    legs = (zip(r.segments.tolist(), r.start_m.tolist(), r.end_m.tolist(), strict=True) for r in (one, other))
    for (segment, start, end), (twin, twin_start, twin_end) in zip(*legs, strict=False):
        if segment != twin or abs(start - twin_start) > 1e-6 or (end - start) * (twin_end - twin_start) <= 0:
            break
        shared = min(abs(end - start), abs(twin_end - twin_start))
        times = network.times.forward_s if end > start else network.times.backward_s
        distance += shared
        time += float(times[segment]) * shared / float(network.geometry.length_m[segment])
        if abs(end - twin_end) > 1e-6:
            break
    return Parting(distance, time)
