"""Roads of the search ground and around the drives that are shut for the rig: what a local driver may know of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from siteplanner.planning.limits.ruling import OUTSIDE
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.roads.alternatives import Alternative
from siteplanner.roads.openings import Opening, best_opening
from siteplanner.roads.ruled_out import RuledOut, ruled_out, shut_within

AROUND_M = 500.0  # beside a drive: what a driver may think of turning into. Common practice
MOST_ROWS = 200


@dataclass(frozen=True)
class ShutRoads:
    """One row for each road's name and reason, by name; `left_out` more lie farther from the drives."""

    rows: tuple[RuledOut, ...]
    left_out: int


def shut_roads(plan: Plan) -> ShutRoads:
    """At most MOST_ROWS, those nearest to the drives. Where there is no drive, those of the search ground."""
    network = plan.scene.roads
    drives = [r.evaluation.access.route.line for r in plan.spots if r.evaluation.access is not None]
    told = [o.route.line for r in plan.spots if (o := _other(r.evaluation)) is not None and o.route is not None]
    ways = shapely.union_all([*drives, *told]) if drives else shapely.Point()
    near = shut_within(network, ways, AROUND_M) if drives else np.empty(0, int)
    shut = np.flatnonzero(network.tags.for_vehicles & ~network.judged.drivable)
    segments = np.union1d(near, shut[_on_search_ground(plan, network.geometry.line[shut])])
    if drives:
        away = shapely.distance(network.geometry.line[segments], ways)
        segments = segments[np.argsort(away, kind="stable")]
    rows = ruled_out(network, segments)
    kept = sorted(rows[:MOST_ROWS], key=lambda row: (row.name, row.reason.kind, row.reason.what, row.x, row.y))
    return ShutRoads(tuple(kept), len(rows) - len(kept))


def opening(plan: Plan) -> Opening | None:
    """The shut road that would lead to most road on the search ground, were it open; None where no single one does."""
    if plan.judge is None:
        return None
    network = plan.scene.roads
    return best_opening(network, plan.judge.study.trees, _on_search_ground(plan, network.geometry.line))


def _other(evaluation: Evaluation) -> Alternative | None:
    access = evaluation.access
    return access.told.alternative if access is not None and access.told is not None else None


def _on_search_ground(plan: Plan, lines: np.ndarray) -> np.ndarray:
    """Which lines have a vertex or their middle on the search ground."""
    ruling = plan.scene.ruling
    out = np.zeros(len(lines), bool)
    if not len(lines):
        return out
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    middle = shapely.get_coordinates(shapely.line_interpolate_point(lines, 0.5, normalized=True))
    xy, owner = np.vstack([xy, middle]), np.append(owner, np.arange(len(lines)))
    row, col = (np.floor(v + 0.5).astype(int) for v in ruling.rowcol(xy[:, 0], xy[:, 1]))
    inside = (row >= 0) & (col >= 0) & (row < ruling.shape[0]) & (col < ruling.shape[1])
    out[owner[inside][ruling.values[row[inside], col[inside]] != OUTSIDE]] = True
    return out
