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


@dataclass(frozen=True)
class FigureRange:
    """A figure that is scored: as told, and the range that holds the true one in nine cases of ten."""

    name: str  # of the criterion
    value: float
    low: float
    high: float
    doubt: float  # one standard deviation of its own error, in the figure's unit


@dataclass(frozen=True)
class Certainty:
    """How sure a spot's place is when the figures' own errors are drawn again; weights as they are."""

    best_chance: float  # chance that it is the best of the judged spots
    score_low: float  # nine cases in ten
    score_mean: float
    score_high: float
    figures: tuple[FigureRange, ...]
    draws: int
    drawn_over: int  # spots drawn together


@dataclass(frozen=True, eq=False)
class RankedSpot:
    """An evaluated spot with its place in the ranking."""

    rank: int
    evaluation: Evaluation
    criteria: tuple[ScoreLine, ...]
    score: float  # 0..100, the sum of the contributions
    certainty: Certainty | None = None  # of listed spots

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
    """How sure the first place is: see `scoring.firmness` for the weights, `certainty.certainties` for the figures."""

    first_stays_first: float  # share of random changes of the weights, all judged spots
    lead_points: float  # NaN with fewer than two spots
    runner_up_better_on: str  # criterion; "" where there is none
    judged: int = 0  # spots that pass, all of them rivals
    corners: int = 0  # of the box of weights: each one half up or half down
    corners_held: int = 0  # at which the first place stays first; all of them: no change within the box takes it
    taken_by: str = ""  # the spot that leads by most at a corner; "": none does
    best_chance: float = float("nan")  # chance that the first place is the best, weights as they are
    told_too_high: float = float("nan")  # points that its score is likely told above the true one

    @property
    def whatever_the_weights(self) -> bool:
        """No change of the weights within the box takes the first place; exact, for scores are linear in them."""
        return self.corners_held == self.corners
