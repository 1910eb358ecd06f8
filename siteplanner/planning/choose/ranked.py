"""Values of the ranking: what each criterion adds, a spot with its place, and how sure the places are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
    mean: float  # of the draws: what the true one is likely to be
    doubt: float = float("nan")  # one standard deviation of its own error, in the figure's unit


LossCause = Literal["road", "ground", "backhaul"]


@dataclass(frozen=True)
class Certainty:
    """How sure a spot's place is when every doubt is drawn again: what all spots share, what each has of its own, the
    weights."""

    best_chance: float  # chance that it is the best of the judged spots
    score_low: float  # nine cases in ten
    score_mean: float
    score_high: float
    figures: tuple[FigureRange, ...]
    draws: int
    drawn_over: int  # spots drawn together
    on_air: FigureRange | None = None  # minutes from dispatch to first service: the mean and its range
    lost_chance: float = 0.0  # chance that it breaks a limit after all
    lost: tuple[tuple[LossCause, float], ...] = ()  # by cause; one draw may have several


@dataclass(frozen=True)
class Flip:
    """The smallest change of one figure that makes another spot first, all else as told."""

    spot: str  # whose figure changes
    criterion: str  # of the figure; '' where a limit takes the spot out
    cause: LossCause | Literal[""]  # the limit; '' where a figure changes the score
    amount: float  # by how much the figure changes, always worse for the first place or better for a rival
    at: float  # the figure with which the other spot draws level
    unit: str
    leader: str  # who is first then; '' where no spot is left
    chance: float  # of that much or more, in the draws
    road: str = ""  # the road that would be too steep; '' also where it has no name


@dataclass(frozen=True)
class Tied:
    """A spot whose chance to lead is not told apart from the first place's."""

    spot: str
    rank: int
    ahead_chance: float  # of the draws in which it is ahead of the first place
    best_chance: float


@dataclass(frozen=True, eq=False)
class RankedSpot:
    """An evaluated spot with its place in the ranking."""

    rank: int
    evaluation: Evaluation
    criteria: tuple[ScoreLine, ...]
    score: float  # 0..100, the sum of the contributions
    certainty: Certainty | None = None  # of the judged spots that were drawn, the best ones

    @property
    def spot(self) -> Spot:
        return self.evaluation.spot

    @property
    def on_site(self) -> OnSite:
        """What waits on a listed spot."""
        assert self.evaluation.on_site is not None, "only listed spots are calculated so far"
        return self.evaluation.on_site


@dataclass(frozen=True)
class Firmness:
    """How sure the first place is: see `corners.holding` for the weights, `certainty.how_sure` for every doubt."""

    lead_points: float  # NaN with fewer than two spots
    runner_up_better_on: str  # criterion; "" where there is none
    judged: int = 0  # spots that pass, all of them rivals
    holds_to: float = float("nan")  # share by which every weight may change, each its own way, and the first stays
    taken_by: str = ""  # the spot that leads first beyond that; "": none does, whatever the weights
    taken_on: str = ""  # the criterion whose weight does most for it
    best_chance: float = float("nan")  # chance that the first place is the best, every doubt drawn
    none_chance: float = 0.0  # chance that every spot drawn breaks a limit after all
    told_too_high: float = float("nan")  # points that its score is likely told above the true one
    share_too_high: float = float("nan")  # percent of the weighted area that its share is told above the likely one
    ties: tuple[Tied, ...] = ()  # spots that are not told apart from it
    flips: tuple[Flip, ...] = ()  # what would make another spot first, the likeliest first
    weights_varied: float = float("nan")  # share by which each weight was drawn up or down

    @property
    def whatever_the_weights(self) -> bool:
        """No weights take the first place: no rival is better at anything."""
        return self.holds_to >= 1
