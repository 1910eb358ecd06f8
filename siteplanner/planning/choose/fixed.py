"""What no weight changes of the judged spots: worked out once a plan, so that a change of weights only multiplies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from siteplanner.core.maximal_cover import pair_values
from siteplanner.mission import Mission, Weights
from siteplanner.planning.choose.certainty import MOST_DRAWN, Drawn, Key, Lots, draw_lots, weighed
from siteplanner.planning.choose.dominance import Compared, compared
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import Measures, measures_of, rank_measured
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.places import Nearby
from siteplanner.planning.study.area import AreaCells
from siteplanner.roads.network import RoadNetwork

MOST_PAIRED = 600  # spots of which every pair is worked out


@dataclass(frozen=True, eq=False)
class PairService:
    """(spots, spots) by the better server of each pair, on the diagonal of each spot alone; all in float64.

    `area`: share of the weighted area; `points`: mean probability at the named points, zero without any.
    """

    area: np.ndarray
    points: np.ndarray

    @cached_property
    def overlap(self) -> np.ndarray:
        """sum w min(p1, p2) / sum w max(p1, p2), as `choose.overlap` but for rounding; NaN where neither serves."""
        alone = self.area.diagonal()
        out = np.full(self.area.shape, np.nan)
        return np.divide(alone[:, None] + alone - self.area, self.area, out=out, where=self.area > 0)


@dataclass(frozen=True, eq=False)
class Fixed:
    """The judged spots that pass, a row each in any order, and what is found of them whatever the weights.

    `near`: what lies near each. `sets`: what was found of sets of several trailers, by what it hangs on (see `sets`).
    """

    judged: tuple[Evaluation, ...]
    near: tuple[Nearby, ...]
    mission: Mission
    roads: RoadNetwork
    area: AreaCells | None
    sets: dict[Any, Any] = field(default_factory=dict)
    _drawn: dict[tuple[int, ...], Lots] = field(default_factory=dict)

    @cached_property
    def row_of(self) -> dict[Key, int]:
        """Row by a spot's key."""
        return {e.spot.key: row for row, e in enumerate(self.judged)}

    @cached_property
    def measures(self) -> Measures:
        """What each criterion finds."""
        return measures_of(self.judged, self.mission)

    @cached_property
    def figures(self) -> Compared:
        """The figures by which spots are compared."""
        return compared(self.judged, self.mission, self.roads, self.near)

    @cached_property
    def pairs(self) -> PairService | None:
        """What each two serve together; None without service of every spot, or of too many spots."""
        cells = 0 if self.area is None else len(self.area.weight)
        every = [e.coverage for e in self.judged]
        held = [c.probability for c in every if c is not None and c.probability is not None]
        if self.area is None or not 0 < len(held) == len(every) <= MOST_PAIRED or any(len(p) != cells for p in held):
            return None
        product = np.empty((len(held), cells), np.float32)
        for row, probability in zip(product, held, strict=True):
            np.multiply(probability, self.area.weight, out=row, casting="unsafe")
        points = np.array([[p.probability for p in c.must_serve] for c in every if c is not None])
        better = np.maximum(points[:, None], points).mean(2) if points.size else np.zeros((len(held), len(held)))
        return PairService(pair_values(product), better)

    def ranked(self, now: Sequence[Evaluation], weights: Weights) -> tuple[RankedSpot, ...]:
        """All spots by these weights, best first. `now`: the evaluations in the order of the rows, with details."""
        return rank_measured(now, self.measures, weights)

    def rows(self, ranked: Sequence[RankedSpot]) -> np.ndarray:
        """Rows of ranked spots."""
        return np.array([self.row_of[r.spot.key] for r in ranked], int)

    def drawn(self, ranked: Sequence[RankedSpot], mission: Mission) -> Drawn:
        """Every doubt drawn for the best `MOST_DRAWN` of the ranking, under the mission's weights."""
        rows = self.rows(ranked[:MOST_DRAWN])
        taken = tuple(sorted(rows.tolist()))
        if taken not in self._drawn:
            self._drawn.clear()
            self._drawn[taken] = draw_lots(self.judged, self.measures, self.mission, taken)
        return weighed(self._drawn[taken], np.searchsorted(taken, rows), ranked, mission)
