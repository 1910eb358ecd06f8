"""Scores: transparent utilities, weights, contributions that add up; and how firm the first place is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from siteplanner.mission import Mission
from siteplanner.mission.criteria import CRITERIA, Measured
from siteplanner.planning.choose.ranked import Firmness, RankedSpot, ScoreLine
from siteplanner.planning.spots.evaluation import Evaluation

TIE = 1e-12


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


def rank(evaluations: Iterable[Evaluation], mission: Mission) -> tuple[RankedSpot, ...]:
    """Passing spots, best score first. Ties: more coverage, then the shorter drive, then the name."""
    scored = [
        RankedSpot(0, e, lines, float(sum(c.contribution for c in lines)))
        for e in evaluations
        if not e.failed
        for lines in [score(e, mission)]
    ]

    def key(r: RankedSpot) -> tuple:
        e = r.evaluation
        return (
            -round(r.score, 6),
            -(e.coverage.share if e.coverage else 0.0),
            e.access.drive_time_s if e.access else np.inf,
            (round(e.spot.y, 2), round(e.spot.x, 2)),
        )

    return tuple(replace(r, rank=number) for number, r in enumerate(sorted(scored, key=key), 1))


def firmness(spots: Sequence[RankedSpot], draws: int = 1000, spread: float = 0.5) -> Firmness:
    """How sure the first of these spots is when every weight changes by up to +-`spread`; all spots are rivals.

    Scores are linear in the weights but for a common divisor, so no change within the box takes the first place if none
    of its 2^n corners does: exact. Beside that the share of uniform, independent draws with a fixed seed (the same plan
    gives the same figure) in which it stays, its lead in points, and the criterion on which the runner-up is most
    ahead: raising its weight is what would flip the order.
    """
    if len(spots) < 2:
        return Firmness(1.0, float("nan"), "", judged=len(spots))
    weights = {c.name: c.weight for r in spots for c in r.criteria}
    names = list(weights)
    utility = np.array([[{c.name: c.utility for c in r.criteria}.get(n, 0.0) for n in names] for r in spots])
    weight = np.array([weights[n] for n in names])
    lead = weight * (utility[0] - utility[1:])  # of the first over each rival, by criterion
    factors = np.random.default_rng(0).uniform(1 - spread, 1 + spread, (draws, len(names)))
    stays = float(np.mean((factors @ lead.T).min(1) >= -TIE))
    corners = np.array(list(product((1 - spread, 1 + spread), repeat=len(names))))
    over = corners @ lead.T
    worst = int(np.argmin(over.min(0)))
    better = names[int(np.argmin(lead[0]))] if lead[0].min() < -1e-9 else ""
    return Firmness(
        stays,
        spots[0].score - spots[1].score,
        better,
        judged=len(spots),
        corners=len(corners),
        corners_held=int((over.min(1) >= -TIE).sum()),
        taken_by=spots[1 + worst].spot.name if over.min() < -TIE else "",
    )
