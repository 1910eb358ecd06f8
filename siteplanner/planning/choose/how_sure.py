"""Everything that is said of how sure the ranking is, from one set of draws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from siteplanner.mission import Mission
from siteplanner.planning.choose.certainty import DRAWS, Drawn, Key, certainties, draw
from siteplanner.planning.choose.flips import flips
from siteplanner.planning.choose.ranked import Certainty, Firmness, RankedSpot
from siteplanner.planning.choose.scoring import firmness
from siteplanner.planning.choose.ties import ties


@dataclass(frozen=True, eq=False)
class HowSure:
    """How sure each spot's place is, by its key, and how firm the first place."""

    certainty: Mapping[Key, Certainty]
    firmness: Firmness


def how_sure(
    ranked: Sequence[RankedSpot], mission: Mission, draws: int = DRAWS, drawn: Drawn | None = None,
    options: Sequence[int] = (),
) -> HowSure:  # fmt: skip
    """Over all judged spots: when the weights change, and when every doubt is drawn again.

    `drawn`: where that was done before. `options`: their rows in the ranking, held against the first as well.
    """
    if not ranked:
        return HowSure({}, firmness(ranked))
    drawn = draw(ranked, mission, draws) if drawn is None else drawn
    sure = certainties(drawn)
    first = sure[ranked[0].spot.key]
    share = next((f for f in first.figures if f.name == "coverage"), None)
    return HowSure(
        sure,
        replace(
            firmness(ranked),
            best_chance=first.best_chance,
            none_chance=float(np.mean(np.isneginf(drawn.standing).all(0))),
            told_too_high=ranked[0].score - first.score_mean,
            share_too_high=float("nan") if share is None else share.value - share.mean,
            ties=ties(drawn, sure),
            flips=flips(drawn, mission, options),
            weights_varied=mission.doubts.weights,
        ),
    )
