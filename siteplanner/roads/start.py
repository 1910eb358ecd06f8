"""Where a rig at a staging point gets onto the roads, or why it does not: never moved far, never past a shut road."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from siteplanner.errors import Finding
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.reasons import Reason

MOST_GAP_M = 200.0  # a yard farther from its road is on another one, or is misplaced. Common practice
TOLD_GAP_M = 10.0  # nearer than this the point is on the road as far as anybody can point at a map. Common practice
CORNER_M = 30.0  # a yard this near to a second road may leave by that one. Common practice


@dataclass(frozen=True)
class Start:
    """The place on a road for the rig, `along_m` on `segment`, that a staging point `gap_m` away gets onto."""

    segment: int
    along_m: float
    x: float
    y: float
    gap_m: float


@dataclass(frozen=True)
class NoStart:
    """Why no rig leaves a staging point.

    `no_road`: none that a rig may stop on lies within MOST_GAP_M; the nearest is `distance_m` away (None: there is
    none). `shut`: the road beside it, `name`, is shut for it (`reasons`). `none_for_rig`: all roads are.
    """

    kind: Literal["no_road", "shut", "none_for_rig"]
    name: str = ""
    distance_m: float | None = None
    reasons: tuple[Reason, ...] = ()


def find_start(network: RoadNetwork, x: float, y: float) -> Start | NoStart:
    """Where the rig at (x, y), metres in the network's CRS, gets onto a road, over at most MOST_GAP_M.

    The road beside the staging point is its own: where that is shut for the rig nothing farther along it or behind
    it will do, only another road within CORNER_M. Roads that nobody stops on (tunnels, motorways) do not count.
    """
    point = shapely.points(x, y)
    away = shapely.distance(network.geometry.line, point)
    open_ = np.zeros(len(network), bool)
    open_[network.usable] = True
    for_rig = np.flatnonzero(network.may_stop & open_)
    roads = np.flatnonzero(network.may_stop)
    if not len(roads) or away[roads].min() > MOST_GAP_M:
        distance = float(away[roads].min()) if len(roads) else None
        return NoStart("no_road", _name(network, roads, away), distance)
    own = int(roads[int(np.argmin(away[roads]))])
    best = int(for_rig[int(np.argmin(away[for_rig]))]) if len(for_rig) else -1
    if best < 0 or away[best] > away[own] + 1e-9:
        corner = best >= 0 and away[best] <= CORNER_M
        if not (corner and network.tags.source_row[best] != network.tags.source_row[own]):
            if open_.any() or network.judged.drivable.any():
                return NoStart("shut", str(network.tags.name[own]), float(away[own]), network.judged.reasons[own])
            return NoStart("none_for_rig", str(network.tags.name[own]), float(away[own]), network.judged.reasons[own])
    line = network.geometry.line[best]
    along = float(shapely.line_locate_point(line, point))
    on = shapely.get_coordinates(shapely.line_interpolate_point(line, along))[0]
    return Start(best, along, float(on[0]), float(on[1]), float(away[best]))


def _name(network: RoadNetwork, roads: np.ndarray, away: np.ndarray) -> str:
    return str(network.tags.name[roads[int(np.argmin(away[roads]))]]) if len(roads) else ""


def start_findings(gap_m: float, refused: NoStart | None) -> tuple[Finding, ...]:
    """A staging point that no rig leaves, or one that lies off its road."""
    if refused is not None:
        facts = {"kind": refused.kind, "name": refused.name, "distance_m": refused.distance_m}
        return (Finding("staging_no_way", "check", facts={**facts, "reasons": refused.reasons}),)
    return (Finding("staging_off_road", "check", facts={"offset_m": gap_m}),) if gap_m > TOLD_GAP_M else ()
