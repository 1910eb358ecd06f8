"""What sets of trailers are worth: the mission's own weights of service, and what each spot serves of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from siteplanner.mission import Mission
from siteplanner.planning.choose.fixed import Fixed
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.units import Group
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.area import AreaCells


def pairs_of(
    groups: tuple[Group, ...], ranked: Sequence[RankedSpot], mission: Mission, points: int, fixed: Fixed | None
) -> np.ndarray | None:
    """The value of every pair from what is known of the plan's own spots: it is linear in the two weights."""
    held = None if fixed is None or len(groups) != 1 or groups[0].own else fixed.pairs
    if fixed is None or held is None or not all(r.spot.key in fixed.row_of for r in ranked):
        return None
    rows, part = fixed.rows(ranked), area_part(mission, points)
    at = np.ix_(rows, rows)
    return part * held.area[at] + (1 - part) * held.points[at]


def served_by(spots: Sequence[RankedSpot], area: AreaCells, points: int) -> np.ndarray:
    """(spots, cells + points) float32 probability of service."""
    served = np.zeros((len(spots), len(area.weight) + points), np.float32)
    for row, r in zip(served, spots, strict=True):
        coverage = r.evaluation.coverage
        assert coverage is not None
        assert coverage.probability is not None
        row[: len(area.weight)] = coverage.probability
        row[len(area.weight) :] = [p.probability for p in coverage.must_serve]
    return served


def area_part(mission: Mission, points: int) -> float:
    """What the area counts beside the named points, 0..1."""
    service, named = mission.weights.coverage, mission.weights.must_serve if points else 0.0
    return service / (service + named) if service + named > 0 else 1.0


def objective(mission: Mission, area: AreaCells, points: int) -> np.ndarray:
    """(cells + points,) what each counts, adding up to 1."""
    part = area_part(mission, points)
    return np.concatenate([part * area.weight, np.full(points, (1 - part) / points if points else 0.0)])


def serves(e: Evaluation, area: AreaCells) -> bool:
    """Whether it is known what a spot serves of each cell."""
    c = e.coverage
    return c is not None and c.probability is not None and len(c.probability) == len(area.weight)
