"""How much more one place serves than another, with the doubt of both: the same draws of what they share.

The radio model, the season and the clutter err at both places alike: their draws are common, so that only what the
two places make of them differently counts (`shared_errors`). Each place's own error is drawn by its own luck, as the
certainty of a ranking draws it; of a place that was judged among others it is the one that is left after the best of
many was taken (`certainty.true_figure`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from siteplanner.mission import Mission
from siteplanner.planning.choose.certainty import DRAWS, NINE_IN_TEN, Drawn, bias_of, doubt_of, leeway
from siteplanner.planning.choose.luck import luck_of_all, luck_of_spot
from siteplanner.planning.choose.shared_errors import draw_shared, radio_spread_db, share_off
from siteplanner.planning.spots.evaluation import Evaluation, PointService

LEAST_SIGMA_DB = 1e-9


@dataclass(frozen=True)
class Gain:
    """What a place gives more than another, as a share: as told, and 9 in 10 of the draws. NaN: not known."""

    told: float
    low: float
    high: float

    @property
    def clear(self) -> bool:
        """Whether the draws leave no doubt that it is more: 19 in 20 are above nothing."""
        return self.low > 0


NOT_KNOWN = Gain(math.nan, math.nan, math.nan)


def share_gain(there: Evaluation, here: Evaluation, mission: Mission, here_share: float, drawn: Drawn | None) -> Gain:
    """Gain in share of the weighted area of one place over another.

    `here_share`: what is told of the other one, where that is not the share as its sectors point. `drawn`: the draws of
    the plan that judged `there` among others; None: its own error is taken as it is stated.
    """
    if there.coverage is None or here.coverage is None or not math.isfinite(there.coverage.share + here_share):
        return NOT_KNOWN
    shared = draw_shared(luck_of_all(), DRAWS)
    told = there.coverage.share - here_share
    one = there.coverage.share + (_own(there, mission, drawn) + share_off(there.coverage, shared, mission)) / 100
    other = here_share + (_own(here, mission, None) + share_off(here.coverage, shared, mission)) / 100
    return _of(told, np.clip(one, 0, 1) - np.clip(other, 0, 1))


def point_gain(there: PointService, here: PointService, at: Evaluation, mission: Mission) -> Gain:
    """The same of the chance of service at one named point, by its margin from either place. `at`: the place of
    `there`, whose luck is drawn."""
    if not math.isfinite(there.margin_db + here.margin_db):
        return NOT_KNOWN
    radio = draw_shared(luck_of_all(), DRAWS).radio * radio_spread_db(mission)
    place_db = max(mission.radio.location_sigma_db, LEAST_SIGMA_DB)
    luck = luck_of_spot(*at.spot.key, 0).standard_normal((2, DRAWS))
    ends = []
    for point, own in zip((there, here), luck, strict=True):
        off = mission.doubts.must_serve * leeway(point.probability) * own
        ends.append(np.clip(ndtr((point.margin_db + radio) / place_db) + off, 0, 1))
    return _of(there.probability - here.probability, ends[0] - ends[1])


def _own(e: Evaluation, mission: Mission, drawn: Drawn | None) -> np.ndarray:
    """(draws,) points of share by which a place is off by errors of its own."""
    if drawn is not None:
        found = next((k for k, r in enumerate(drawn.spots) if r.spot.key == e.spot.key), None)
        if found is not None and drawn.scores.shape[1] == DRAWS:
            return drawn.own("coverage", found)
    luck = luck_of_spot(*e.spot.key, 0).standard_normal(DRAWS)
    return bias_of("coverage", e) + doubt_of("coverage", e, mission) * luck


def _of(told: float, more: np.ndarray) -> Gain:
    low, high = (float(v) for v in np.percentile(more, NINE_IN_TEN))
    return Gain(told, low, high)
