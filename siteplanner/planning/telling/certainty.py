"""How firm the first place is, in words: once for the weights, once for the figures' own errors."""

from __future__ import annotations

from siteplanner.mission import Mission
from siteplanner.mission.criteria import CRITERIA
from siteplanner.planning.choose.ranked import Firmness
from siteplanner.planning.telling.units import METRIC, Units

CLOSE = 0.95  # of the changes of weights: below it the first place is called a close call. Common practice, no source


def weights_words(firm: Firmness, mission: Mission, units: Units = METRIC) -> str:
    """What a change of the weights alone does to the first place."""
    if firm.whatever_the_weights:
        return "Weights only: the first place holds however they change by up to half."
    better = CRITERIA.get(firm.runner_up_better_on)
    called = better.words_of(mission).called if better is not None else ""
    why = f" Weighing {called} higher would favour the runner-up." if called else ""
    taken = f"; at the extremes {_spot(firm.taken_by)} takes it" if firm.taken_by else ""
    share = units.share(firm.first_stays_first)
    close = "a close call, " if firm.first_stays_first < CLOSE else ""
    return f"Weights only: {close}the first place holds in {share} of changes by up to half{taken}.{why}"


def figures_words(firm: Firmness, units: Units = METRIC) -> str:
    """What the figures' own errors do to it, weights as they are; '' where nobody drew them."""
    if firm.best_chance != firm.best_chance:
        return ""
    high, chance = firm.told_too_high, units.share(firm.best_chance)
    lucky = f"; picked from so many, its score is likely told {high:.1f} points too high" if high >= 0.05 else ""
    return f"Figures' own errors: it is the best of {firm.judged} judged with a chance of {chance}{lucky}."


def _spot(name: str) -> str:
    return name if " " in name else f"spot {name}"
