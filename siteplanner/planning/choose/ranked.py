"""Values of the ranking: what each criterion adds, and a spot with its place."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.spot import Spot


@dataclass(frozen=True)
class Criterion:
    """One line of a score: contribution = 100 x weight x utility."""

    name: str
    label: str
    value: float
    unit: str
    utility: float  # 0..1
    weight: float  # scaled, all add up to 1
    contribution: float


@dataclass(frozen=True, eq=False)
class RankedSpot:
    """An evaluated spot with its place in the ranking."""

    rank: int
    evaluation: Evaluation
    criteria: tuple[Criterion, ...]
    score: float  # 0..100, the sum of the contributions

    @property
    def spot(self) -> Spot:
        return self.evaluation.spot

    @property
    def on_site(self) -> OnSite:
        """What waits on a listed spot."""
        assert self.evaluation.on_site is not None, "only listed spots are worked out so far"
        return self.evaluation.on_site
