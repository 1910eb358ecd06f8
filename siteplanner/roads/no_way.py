"""Why the road nearest to a place is no way to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.reasons import Reason
from siteplanner.roads.routing import DriveTree


@dataclass(frozen=True)
class NoWay:
    """The nearest road, `distance_m` away (None: there is none), and why it does not lead to the place.

    `kind`: there are no roads; the nearest is too far for the last leg; it is refused to the rig (`reasons`); it is
    closed before (`closed_by`); the drive does not reach it; or the ground between is no way.
    """

    kind: Literal["no_road", "far", "refused", "closed_before", "not_reached", "ground_between"]
    name: str = ""
    distance_m: float | None = None
    reasons: tuple[Reason, ...] = ()
    closed_by: tuple[str, ...] = ()


def why_no_way(network: RoadNetwork, trees: Sequence[DriveTree], x: float, y: float, reach_m: float) -> NoWay:
    """What is wrong with the road nearest to (x, y). `reach_m`: as far as a last leg may come from a road."""
    roads = np.flatnonzero(network.tags.for_vehicles)
    if not len(roads):
        return NoWay("no_road")
    away = shapely.distance(network.geometry.line[roads], shapely.points(x, y))
    nearest, distance = int(roads[int(np.argmin(away))]), float(away.min())
    name = str(network.tags.name[nearest])
    if distance > reach_m:
        return NoWay("far", name, distance)
    reasons = network.judged.reasons[nearest]
    if reasons:
        return NoWay("refused", name, distance, reasons)
    if any(tree.reached[nearest] for tree in trees):
        return NoWay("ground_between", name, distance)
    before = tuple(dict.fromkeys(c for tree in trees for c in tree.closed_off.closures_before(nearest)))
    return NoWay("closed_before" if before else "not_reached", name, distance, closed_by=before)
