"""Values of the ranking: what each criterion adds, a spot with its place, and how firm the first place is."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.mission.criteria import Gauge
from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.spot import Spot


@dataclass(frozen=True)
class ScoreLine:
    """One criterion's line of a score: contribution = 100 x weight x utility."""

    name: str
    gauge: Gauge  # what was measured at this spot
    value: float
    utility: float  # 0..1
    weight: float  # scaled, all add up to 1
    contribution: float

    @property
    def label(self) -> str:
        """What was measured."""
        return self.gauge.label

    @property
    def unit(self) -> str:
        """The unit of `value`."""
        return self.gauge.unit


@dataclass(frozen=True, eq=False)
class RankedSpot:
    """An evaluated spot with its place in the ranking."""

    rank: int
    evaluation: Evaluation
    criteria: tuple[ScoreLine, ...]
    score: float  # 0..100, the sum of the contributions

    @property
    def spot(self) -> Spot:
        return self.evaluation.spot

    @property
    def on_site(self) -> OnSite:
        """What waits on a listed spot."""
        assert self.evaluation.on_site is not None, "only listed spots are worked out so far"
        return self.evaluation.on_site


@dataclass(frozen=True)
class Firmness:
    """How sure the first place is: see `scoring.firmness`."""

    first_stays_first: float  # share of random changes of the weights
    lead_points: float  # NaN with fewer than two spots
    runner_up_better_on: str  # criterion; "" where there is none
