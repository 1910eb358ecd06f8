"""How sure the places are when the figures' own errors are drawn again: what is common to all spots moves no place.

A figure told of a spot is the true one plus an error of its own. Over the judged spots the true figures scatter with
the variance of the told ones less that of the errors; given a told figure, the true one is then normal about a point
between it and the mean of all (normal prior and normal error, closed form). So the best of many noisy figures is told
too high: its own part of the noise is taken off again before it is drawn. Scores are worked out from the drawn figures
with the criteria's own utilities; a spot's chance is the share of draws in which it leads.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from siteplanner.mission import Mission
from siteplanner.mission.criteria import CRITERIA
from siteplanner.planning.choose.ranked import Certainty, FigureRange, RankedSpot
from siteplanner.planning.spots.evaluation import Evaluation

Key = tuple[float, float]  # of a spot
DRAWS = 2000
MOST_DRAWN = 300  # spots drawn together, the best by score: those behind them have no chance that counts
STEPS = np.linspace(-3.0, 3.0, 7)  # standard deviations at which a utility is worked out; straight lines between
NINE_IN_TEN = (5.0, 95.0)  # per cent


def doubt_of(name: str, e: Evaluation, mission: Mission) -> float:
    """One standard deviation of the error of a criterion's figure at a spot, in its unit; 0 where none is known."""
    doubts = mission.doubts
    if name == "coverage":
        return 100 * doubts.share
    if name == "must_serve":
        return 100 * doubts.must_serve
    if name == "access":
        return 0.0 if e.access is None else doubts.drive_share * e.access.drive_time_s / 60
    if name == "ground":
        # two parts of the slope, each off by as much; along the slope itself only one of them counts
        return e.ground.slope_uncertainty_deg if math.isfinite(e.ground.slope_uncertainty_deg) else 0.0
    if name == "backhaul":
        used = e.backhaul
        if used is not None and used.kind == "open_sky":
            return 0.0
        if used is not None and used.kind == "donor_link":
            return doubts.link_margin_db
        own = math.nan if e.look is None else e.look.margin_error_deg  # of the elevation alone
        return max(doubts.sky_margin_deg, own) if math.isfinite(own) else doubts.sky_margin_deg
    return 0.0


def shifted(name: str, e: Evaluation, by: float) -> Evaluation:
    """The same spot with a criterion's figure off by so much, in its unit."""
    if name == "coverage" and e.coverage is not None:
        share = min(max(e.coverage.share + by / 100, 0.0), 1.0)
        return replace(e, coverage=replace(e.coverage, share=share))
    if name == "must_serve" and e.coverage is not None and e.coverage.must_serve:
        points = e.coverage.must_serve
        mean = min(max(sum(p.probability for p in points) / len(points) + by / 100, 0.0), 1.0)
        return replace(e, coverage=replace(e.coverage, must_serve=(replace(points[0], probability=mean),)))
    if name == "access" and e.access is not None:
        return replace(e, access=replace(e.access, drive_time_s=max(e.access.drive_time_s + 60 * by, 0.0)))
    if name == "ground":
        return replace(e, ground=replace(e.ground, slope_deg=max(e.ground.slope_deg + by, 0.0)))
    if name == "backhaul":
        looks = tuple(replace(look, margin_deg=look.margin_deg + by) for look in e.sky)
        carriers = tuple(b if b.kind == "open_sky" else replace(b, margin=b.margin + by) for b in e.backhauls)
        return replace(e, sky=looks, backhauls=carriers)
    return e


def certainties(spots: Sequence[RankedSpot], mission: Mission, draws: int = DRAWS) -> dict[Key, Certainty]:
    """By spot's key: the chance to be the best and the ranges of score and figures, for the best `MOST_DRAWN` spots."""
    taken = spots[:MOST_DRAWN]
    if not taken:
        return {}
    rng = np.random.default_rng(0)
    scores = np.zeros((len(taken), draws))
    ranges: list[list[FigureRange]] = [[] for _ in taken]
    for name in dict.fromkeys(c.name for r in taken for c in r.criteria):
        lines = [next((c for c in r.criteria if c.name == name), None) for r in taken]
        value = np.array([math.nan if c is None else c.value for c in lines])
        doubt = np.array([doubt_of(name, r.evaluation, mission) for r in taken])
        # figures of unlike kinds (a dish's degrees, a link's decibels) are no sample of one another
        kinds = [None if c is None else c.label for c in lines]
        centre, spread = value.copy(), doubt.copy()
        for kind in set(kinds):
            rows = np.flatnonzero([k == kind for k in kinds] & np.isfinite(value))
            centre[rows], spread[rows] = true_figure(value[rows], doubt[rows])
        off = rng.standard_normal((len(taken), draws))
        for k, (ranked, line) in enumerate(zip(taken, lines, strict=True)):
            if line is None:
                continue
            if not math.isfinite(value[k]):
                scores[k] += line.contribution
                continue
            middle = float(centre[k] - value[k])
            drawn = middle + spread[k] * off[k]
            scores[k] += (
                100 * line.weight * _utility(name, ranked.evaluation, mission, drawn, centre[k] - value[k], spread[k])
            )
            low, high = np.percentile(value[k] + drawn, NINE_IN_TEN)
            ranges[k].append(FigureRange(name, float(value[k]), float(low), float(high), float(doubt[k])))
    best = scores >= scores.max(0) - 1e-9
    chance = (best / best.sum(0)).mean(1)
    low, high = np.percentile(scores, NINE_IN_TEN, axis=1)
    return {
        r.spot.key: Certainty(
            float(chance[k]),
            float(low[k]),
            float(scores[k].mean()),
            float(high[k]),
            tuple(ranges[k]),
            draws,
            len(taken),
        )
        for k, r in enumerate(taken)
    }


def true_figure(value: np.ndarray, doubt: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(mean, standard deviation) of the true figures given the told ones and the errors' standard deviations.

    Normal prior about the mean of all with the variance that the errors leave, normal errors: closed form. Fewer than
    three figures are no sample: they are taken as they are told.
    """
    if len(value) < 3:
        return value, doubt
    mean, left = float(value.mean()), max(float(value.var() - (doubt**2).mean()), 0.0)
    total = left + doubt**2
    keep = np.divide(left, total, out=np.ones_like(total), where=total > 0)
    return mean + keep * (value - mean), np.sqrt(keep) * doubt


def _utility(name: str, e: Evaluation, mission: Mission, drawn: np.ndarray, middle: float, spread: float) -> np.ndarray:
    """Utilities of a spot with its figure off by `drawn`, by straight lines between a few that are worked out."""
    at = middle + spread * STEPS if spread > 0 else np.array([middle])
    found = [CRITERIA[name].measure(shifted(name, e, float(by)), mission) for by in at]
    known = np.array([0.0 if m is None else m.utility for m in found])
    return np.interp(drawn, at, known)
