"""Scores: transparent utilities, weights, contributions that add up; and how firm the first place is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from siteplanner.core.parking import MORE_LIKELY_THAN_NOT
from siteplanner.mission import Mission
from siteplanner.mission.criteria import CRITERIA, Measured
from siteplanner.planning.choose.corners import holding
from siteplanner.planning.choose.ranked import Firmness, RankedSpot, ScoreLine
from siteplanner.planning.spots.evaluation import Evaluation

Place = tuple[bool, float]


def measure(evaluation: Evaluation, mission: Mission) -> dict[str, Measured]:
    """Criterion -> (value as shown, utility 0..1). What cannot be measured at this spot is left out."""
    found = {name: criterion.measure(evaluation, mission) for name, criterion in CRITERIA.items()}
    return {name: Measured(float(m.value), m.utility) for name, m in found.items() if m is not None}


def score(evaluation: Evaluation, mission: Mission) -> tuple[ScoreLine, ...]:
    """The lines of one spot's score; 100 x their contributions' sum is the score.

    Weights are scaled to add up to 1 over the criteria that apply to the mission (must-serve points may be
    missing). A spot that misses a criterion which applies (no road route) gets utility 0 for it.
    """
    given = mission.weights.model_dump()
    raw = {name: given[name] for name, c in CRITERIA.items() if c.applies(evaluation, mission)}
    measured = measure(evaluation, mission)
    total = sum(raw.values()) or 1.0
    lines = []
    for name, part in raw.items():
        if part <= 0:
            continue
        value, utility = measured.get(name, Measured(float("nan"), 0.0))
        gauge = CRITERIA[name].gauge_of(evaluation, mission)
        lines.append(ScoreLine(name, gauge, value, utility, part / total, 100 * (part / total) * utility))
    return tuple(lines)


def stands_back(evaluation: Evaluation) -> bool:
    """Whether a spot that passes is more likely than not over the slope limit, at the trailer's size.

    Points cannot make up for that: the slope told is a mean over cells wider than the trailer, and where the crew will
    more likely than not find the limit broken, the tow is more likely lost than not.
    """
    return not place_by(evaluation.ground.steep_chance, 0.0)[0]


def place_by(steep_chance: float | None, score: float) -> Place:
    """What a spot stands by among others, more is better; a chance of None or NaN is not known."""
    return not (steep_chance is not None and steep_chance > MORE_LIKELY_THAN_NOT), score


def rank(evaluations: Iterable[Evaluation], mission: Mission) -> tuple[RankedSpot, ...]:
    """Passing spots, best score first, those that `stands_back` behind all others. Ties: more coverage, then the
    shorter drive, then the place."""
    scored = [
        RankedSpot(0, e, lines, float(sum(c.contribution for c in lines)))
        for e in evaluations
        if not e.failed
        for lines in [score(e, mission)]
    ]

    def key(r: RankedSpot) -> tuple:
        e = r.evaluation
        return (
            stands_back(e),
            -round(r.score, 6),
            -(e.coverage.share if e.coverage else 0.0),
            e.access.drive_time_s if e.access else np.inf,
            (round(e.spot.y, 2), round(e.spot.x, 2)),
        )

    return tuple(replace(r, rank=number) for number, r in enumerate(sorted(scored, key=key), 1))


def firmness(spots: Sequence[RankedSpot]) -> Firmness:
    """How sure the first of these spots is when the weights change (`corners.holding`); all spots are rivals.

    Beside that its lead in points, and the criterion on which the runner-up is most ahead.
    """
    judged = len(spots)
    # no weight moves one that stands back before one that does not
    spots = [r for r in spots if stands_back(r.evaluation) == stands_back(spots[0].evaluation)]
    if len(spots) < 2:
        return Firmness(float("nan"), "", judged=judged)
    held = holding(spots)
    ahead = {c.name: c.contribution for c in spots[0].criteria}
    behind = {c.name: ahead.get(c.name, 0.0) - c.contribution for c in spots[1].criteria}
    better = min(behind, key=lambda name: behind[name], default="")
    return Firmness(
        spots[0].score - spots[1].score,
        better if better and behind[better] < -1e-7 else "",
        judged=judged,
        holds_to=held.share,
        taken_by=held.taken_by,
        taken_on=held.by,
    )
