"""How sure the first place is, in words: the weights, every doubt drawn at once, and what would make another lead."""

from __future__ import annotations

import math

from siteplanner.mission import Mission
from siteplanner.mission.criteria import CRITERIA
from siteplanner.planning.choose.ranked import Firmness, Flip
from siteplanner.planning.telling.units import METRIC, Units

CLOSE = 0.1  # a change of weights that small flips the first place: a close call. Common practice, no source
MOST_TIES, MOST_FLIPS, MOST_RIVALS, LEAST_CHANCE = 3, 3, 2, 0.01


def weights_words(firm: Firmness, mission: Mission, units: Units = METRIC) -> str:
    """How far the weights may change before another spot leads; '' where there is no rival."""
    if math.isnan(firm.holds_to):
        return ""
    if firm.whatever_the_weights:
        return "Weights only: the first stays first whatever they are."
    close = "a close call, " if firm.holds_to < CLOSE else ""
    share = units.share_at_least(firm.holds_to)
    taken = f"; beyond that {_spot(firm.taken_by)} can take it"
    criterion = CRITERIA.get(firm.taken_on)
    by = f", above all with more weight on {criterion.words_of(mission).called}" if criterion is not None else ""
    return f"Weights only: {close}the first stays first while none changes by more than {share}{taken}{by}."


def figures_words(firm: Firmness, units: Units = METRIC) -> str:
    """What all doubts together do to it, and what was varied; '' where nobody drew them."""
    if math.isnan(firm.best_chance):
        return ""
    weights = f", each weight by up to {units.share(firm.weights_varied)}" if firm.weights_varied > 0 else ""
    text = (
        f"Radio model, season, handsets, aim of the sectors, drive, steep roads, slope and sky drawn again{weights}: "
        f"it is the best of {firm.judged} judged with a chance of {units.share(firm.best_chance)}"
    )
    if firm.share_too_high >= 0.5:
        text += (
            f"; picked from so many, its area served is likely shown {units.figure(firm.share_too_high, '%')} too high"
        )
    text += "."
    if firm.none_chance >= LEAST_CHANCE:
        text += f" With a chance of {units.share(firm.none_chance)} no spot of them passes after all."
    return text


def ties_words(firm: Firmness, units: Units = METRIC) -> str:
    """The spots that are not told apart from the first; '' where there is none."""
    if not firm.ties:
        return ""
    names = [_spot(t.spot) for t in firm.ties[:MOST_TIES]]
    more = len(firm.ties) - len(names)
    who = _listed(names) if not more else f"{', '.join(names)} and {more} more"
    least = units.share(min(t.ahead_chance for t in firm.ties))
    if len(firm.ties) == 1:
        return f"A near tie: {who} is ahead of it with a chance of {least}."
    return f"A near tie: {who} are each ahead of it with a chance of {least} or more."


def flips_words(firm: Firmness, units: Units = METRIC) -> str:
    """What would make another spot first: what may go wrong at the first, then what may be better at a rival, each the
    likeliest first; '' for nothing that is likely at all."""
    too_steep = any(f.cause == "ground" for f in firm.flips)  # says what a steeper slope would say once more
    own = [
        f
        for f in firm.flips
        if f.spot != f.leader and f.leader and f.chance >= LEAST_CHANCE and not (too_steep and f.criterion == "ground")
    ]
    rivals = [f for f in firm.flips if f.spot == f.leader and f.chance >= LEAST_CHANCE]
    by_leader: dict[str, list[str]] = {}
    for flip in (*own[:MOST_FLIPS], *rivals[:MOST_RIVALS]):
        by_leader.setdefault(flip.leader, []).append(f"{flip_words(flip, units)} ({units.share(flip.chance)})")
    return " ".join(f"{_capital(_spot(leader))} leads if {_listed(whys, 'or')}." for leader, whys in by_leader.items())


def first_if_words(firm: Firmness | None, name: str, units: Units = METRIC) -> str:
    """`It would rank first if the drive to spot C takes 6 min less (chance 3 %).`: of one rival; '' where no error that
    was drawn does it."""
    flip = flip_to(firm, name)
    return (
        "" if flip is None else f"It would rank first if {flip_words(flip, units)} (chance {units.share(flip.chance)})."
    )


def flip_to(firm: Firmness | None, name: str) -> Flip | None:
    """The likeliest change that puts a spot first; None where no error that was drawn does it."""
    return next((f for f in (() if firm is None else firm.flips) if f.leader == name and f.chance > 0), None)


def flip_words(flip: Flip, units: Units = METRIC) -> str:
    """`the drive to spot A takes 6 min longer`: the change of one figure, as a clause."""
    at, worse = _spot(flip.spot), flip.spot != flip.leader
    most = "no more than" if worse else "at least"
    if flip.cause == "road":
        return f"{flip.road or 'a road without a name'} is too steep for the rig"
    if flip.cause == "ground":
        return f"the ground at {at} is too steep to level"
    if flip.cause == "backhaul":
        return f"the sky or the link at {at} is blocked"
    if flip.criterion == "access":
        by = units.minutes(flip.amount) if flip.amount >= 1 else "a minute"
        return f"the drive to {at} takes {by} {'longer' if worse else 'less'}"
    if flip.criterion == "coverage":
        return f"{at} serves {most} {units.share(flip.at / 100)} of the weighted area"
    if flip.criterion == "must_serve":
        return f"the named points have a chance of service of {most} {units.share(flip.at / 100)} on average from {at}"
    if flip.criterion == "ground":
        return f"the ground at {at} slopes {units.angle(flip.at)} or {'more' if worse else 'less'}"
    return f"the backhaul at {at} has {most} {_measured(flip, units)} to spare"


def _measured(flip: Flip, units: Units) -> str:
    return units.angle(flip.at) if flip.unit == "deg" else units.figure(flip.at, flip.unit.split(" ")[0])


def _listed(names: list[str], last: str = "and") -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _spot(name: str) -> str:
    return name if " " in name else f"spot {name}"
