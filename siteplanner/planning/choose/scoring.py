"""Scores: transparent utilities, weights, contributions that add up; and how firm the first place is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from siteplanner.core.parking import MORE_LIKELY_THAN_NOT
from siteplanner.mission import Mission, Weights
from siteplanner.mission.criteria import CRITERIA, Gauge, Measured
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
    return rank_measured([evaluation], measures_of([evaluation], mission), mission.weights)[0].criteria


@dataclass(frozen=True, eq=False)
class Measures:
    """All that scores are made of but the weights: a row a spot, a column a criterion of `names`.

    `applies`: whether the criterion counts for the spot; `values` as shown, NaN where not known; `utilities` 0..1.
    `back`: which spots stand behind all others, whatever their score; `order`: what decides between spots of one score.
    """

    names: tuple[str, ...]
    applies: np.ndarray
    values: np.ndarray
    utilities: np.ndarray
    gauges: tuple[tuple[Gauge, ...], ...]
    back: tuple[bool, ...]
    order: tuple[tuple, ...]


def measures_of(evaluations: Sequence[Evaluation], mission: Mission) -> Measures:
    """What each criterion finds at each spot; no weight is looked at."""
    names = tuple(CRITERIA)
    size = len(evaluations), len(names)
    applies, values, utilities = np.zeros(size, bool), np.full(size, np.nan), np.zeros(size)
    for k, e in enumerate(evaluations):
        found = measure(e, mission)
        for n, (name, criterion) in enumerate(CRITERIA.items()):
            applies[k, n] = criterion.applies(e, mission)
            if name in found:
                values[k, n], utilities[k, n] = found[name]
    gauges = tuple(tuple(c.gauge_of(e, mission) for c in CRITERIA.values()) for e in evaluations)
    back = tuple(stands_back(e) for e in evaluations)
    return Measures(names, applies, values, utilities, gauges, back, tuple(_order(e) for e in evaluations))


def _order(e: Evaluation) -> tuple:
    return (
        -(e.coverage.share if e.coverage else 0.0),
        e.access.drive_time_s if e.access else np.inf,
        (round(e.spot.y, 2), round(e.spot.x, 2)),
    )


def rank_measured(evaluations: Sequence[Evaluation], found: Measures, weights: Weights) -> tuple[RankedSpot, ...]:
    """Spots, each passing, by what was measured at them and these weights, best score first. See `rank`."""
    given = weights.model_dump()
    raw = [given[name] for name in found.names]
    scored = []
    rows = zip(found.applies.tolist(), found.values.tolist(), found.utilities.tolist(), found.gauges, strict=True)
    for k, (applies, values, utilities, gauges) in enumerate(rows):
        total = sum(part for part, counts in zip(raw, applies, strict=True) if counts) or 1.0
        lines = tuple(
            ScoreLine(name, gauge, value, utility, part / total, 100 * (part / total) * utility)
            for name, gauge, value, utility, part, counts in zip(
                found.names, gauges, values, utilities, raw, applies, strict=True
            )
            if counts and part > 0
        )
        scored.append((float(sum(c.contribution for c in lines)), k, lines))
    scored.sort(key=lambda s: (found.back[s[1]], -round(s[0], 6), *found.order[s[1]]))
    return tuple(RankedSpot(number, evaluations[k], lines, total) for number, (total, k, lines) in enumerate(scored, 1))


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
    passing = [e for e in evaluations if not e.failed]
    return rank_measured(passing, measures_of(passing, mission), mission.weights)


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
