"""How sure the places are: every doubt drawn again, what all spots share apart from what each has of its own.

A figure told of a spot is the true one plus an error of its own. Over the judged spots the true figures scatter with
the variance of the told ones less that of the errors; given a told figure, the true one is then normal about a point
between it and the mean of all (`true_figure`). So the best of many noisy figures is told too high: its own part of the
noise is taken off again before it is drawn. A bias that is known at each spot (`bias_of`) is added first. The slope is
left as told: which way a gradient errs is open, so that the flattest of many is drawn steeper anyway. On top come the
errors that all spots share (`shared_errors`), limits that a spot may break after all (`losses`), and the weights.
Scores are worked out from the drawn figures with the criteria's own utilities; a spot's chance is the share of draws in
which it passes and leads.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from siteplanner.mission import Mission
from siteplanner.mission.criteria import CRITERIA
from siteplanner.planning.choose.losses import (
    CAUSES,
    carriers,
    ground_losses,
    road_losses,
    sky_doubt_deg,
    true_slopes_deg,
    without_first,
)
from siteplanner.planning.choose.ranked import Certainty, FigureRange, LossCause, RankedSpot
from siteplanner.planning.choose.shared_errors import Shared, draw_shared, drive_off, points_off, share_off
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.spots.evaluation import Evaluation

Key = tuple[float, float]  # of a spot
DRAWS = 2000
MOST_DRAWN = 300  # spots drawn together, the best by score: those behind them have no chance that counts
STEPS = 13  # figures at which a utility is worked out, over what was drawn; straight lines between
NINE_IN_TEN = (5.0, 95.0)  # per cent
LEAST_SAMPLE = 5  # figures from which their own scatter says anything


def leeway(share: float) -> float:
    """How far a share moves with an error, against one of a half: less toward none and all.

    Slope of the normal distribution there over that in its middle: exp(-t^2 / 2) with share = P(t), closed form.
    """
    return math.exp(-(float(ndtri(share)) ** 2) / 2) if 0 < share < 1 else 0.0


def doubt_of(name: str, e: Evaluation, mission: Mission) -> float:
    """One standard deviation of the error of a criterion's figure at a spot, in its unit; 0 where none is known."""
    doubts = mission.doubts
    if name in ("coverage", "must_serve"):
        elevation = _by_elevation(name, e)
        return 100 * math.hypot(_beside_elevation(name, e, mission), 0.0 if elevation is None else elevation.spread)
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
        return sky_doubt_deg(e, mission)
    return 0.0


def bias_of(name: str, e: Evaluation) -> float:
    """What the true figure of a criterion is expected to lie above the told one, for the elevation's error; its unit.

    The told figure stays that of the elevation as it was given: map, people and points are worked out on it, and a
    share that is not theirs would contradict them. What is drawn here, and the ranges, lie about the corrected one.
    """
    elevation = _by_elevation(name, e)
    return 0.0 if elevation is None else 100 * elevation.bias


def _beside_elevation(name: str, e: Evaluation, mission: Mission) -> float:
    """What is stated for the share or the mean chance at points beside the elevation's error, as a share."""
    doubts = mission.doubts
    if name == "coverage":
        return doubts.share * (1.0 if e.coverage is None else leeway(e.coverage.share))
    points = () if e.coverage is None else e.coverage.must_serve
    return doubts.must_serve * (sum(leeway(p.probability) for p in points) / len(points) if points else 1.0)


def _by_elevation(name: str, e: Evaluation) -> ElevationDoubt | None:
    if e.coverage is None or name not in ("coverage", "must_serve"):
        return None
    return e.coverage.elevation if name == "coverage" else e.coverage.points_elevation


def shifted(name: str, e: Evaluation, by: float) -> Evaluation:
    """The same spot with a criterion's figure off by so much, in its unit; a slope is then known."""
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
        true = max(e.ground.slope_deg + by, 0.0)
        return replace(e, ground=replace(e.ground, slope_deg=true, slope_uncertainty_deg=0.0))
    if name == "backhaul":
        looks = tuple(replace(look, margin_deg=look.margin_deg + by) for look in e.sky)
        carriers = tuple(b if b.kind == "open_sky" else replace(b, margin=b.margin + by) for b in e.backhauls)
        return replace(e, sky=looks, backhauls=carriers)
    return e


@dataclass(frozen=True, eq=False)
class Drawn:
    """The spots drawn together, best first as told, and what became of each: arrays are (spots, draws).

    `off`: by criterion how far its figure was drawn from the told one, in its unit, and `own` the part of that which
    no other spot shares. `lost`: by cause whether the spot breaks a limit. `scores` are those of figures and weights,
    lost or not.
    """

    spots: tuple[RankedSpot, ...]
    scores: np.ndarray
    off: Mapping[str, np.ndarray]
    own: Mapping[str, np.ndarray]
    lost: Mapping[LossCause, np.ndarray]

    @property
    def standing(self) -> np.ndarray:
        """Scores of the spots that pass, minus infinity for those that do not."""
        return np.where(np.logical_or.reduce([self.lost[cause] for cause in CAUSES]), -np.inf, self.scores)


def draw(spots: Sequence[RankedSpot], mission: Mission, draws: int = DRAWS) -> Drawn:
    """Draw every doubt for the best `MOST_DRAWN` of these spots; the same spots give the same draws."""
    taken = tuple(spots[:MOST_DRAWN])
    rng = np.random.default_rng(0)
    shared = draw_shared(rng, draws)
    size = (len(taken), draws)
    lost: dict[LossCause, np.ndarray] = {cause: np.zeros(size, bool) for cause in CAUSES}
    lost["road"] = road_losses(taken, rng, draws)
    scores, total = np.zeros(size), np.zeros(size)
    off: dict[str, np.ndarray] = {}
    own: dict[str, np.ndarray] = {}
    for name in dict.fromkeys(c.name for r in taken for c in r.criteria):
        lines = [next((c for c in r.criteria if c.name == name), None) for r in taken]
        value = np.array([math.nan if c is None else c.value for c in lines])
        centre, spread = _likely(name, taken, value, mission)
        factor = rng.uniform(1 - mission.doubts.weights, 1 + mission.doubts.weights, draws)
        luck, beside = rng.standard_normal(size), rng.standard_normal(size)
        own[name] = (centre - value)[:, None] + spread[:, None] * luck
        moved = own[name].copy()
        for k, (ranked, line) in enumerate(zip(taken, lines, strict=True)):
            if line is None:
                continue
            e, known = ranked.evaluation, math.isfinite(value[k])
            if name == "ground" and known and spread[k] > 0:
                slopes = true_slopes_deg(e.ground, luck[k], beside[k])
                moved[k] = own[name][k] = slopes - value[k]
                lost["ground"][k] = ground_losses(e.ground, slopes, luck[k], mission)
            elif known:
                moved[k] += _shared(name, e, shared, mission)
            utility = _utility(name, e, mission, moved[k]) if known else np.full(draws, line.utility)
            if name == "backhaul" and known:
                utility, lost["backhaul"][k] = _carried(e, mission, moved[k], beside[k], utility)
            scores[k] += line.weight * factor * utility
            total[k] += line.weight * factor
        off[name] = moved
    return Drawn(taken, 100 * np.divide(scores, total, out=np.zeros(size), where=total > 0), off, own, lost)


def certainties(drawn: Drawn, mission: Mission) -> dict[Key, Certainty]:
    """By spot's key: the chance to be the best, the ranges of score and figures, the chance to break a limit."""
    standing, draws = drawn.standing, drawn.scores.shape[1]
    top = standing.max(0)
    best = (standing >= top - 1e-9) & np.isfinite(top)
    chance = (best / np.maximum(best.sum(0), 1)).mean(1)
    out_chance = np.isneginf(standing).mean(1)
    low, high = np.percentile(drawn.scores, NINE_IN_TEN, axis=1)
    bounds = {name: np.percentile(off, NINE_IN_TEN, axis=1) for name, off in drawn.off.items()}
    made = {}
    for k, r in enumerate(drawn.spots):
        figures = tuple(
            FigureRange(
                c.name,
                c.value,
                *_within(
                    c.name, *(float(c.value + bound) for bound in (*bounds[c.name][:, k], drawn.off[c.name][k].mean()))
                ),
                doubt_of(c.name, r.evaluation, mission),
            )
            for c in r.criteria
            if math.isfinite(c.value)
        )
        causes = tuple((cause, float(drawn.lost[cause][k].mean())) for cause in CAUSES)
        made[r.spot.key] = Certainty(
            float(chance[k]),
            float(low[k]),
            float(drawn.scores[k].mean()),
            float(high[k]),
            figures,
            draws,
            len(drawn.spots),
            _on_air(r.evaluation),
            float(out_chance[k]),
            tuple((cause, share) for cause, share in causes if share > 0),
        )
    return made


def _within(name: str, low: float, high: float, mean: float) -> tuple[float, float, float]:
    """Shares stay shares, times and slopes positive."""
    least, most = (0.0, 100.0) if name in ("coverage", "must_serve") else (0.0, math.inf)
    if name == "backhaul":
        least = -math.inf
    low, high, mean = (min(max(v, least), most) for v in (low, high, mean))
    return low, high, mean


def _on_air(e: Evaluation) -> FigureRange | None:
    """The range of the timeline itself: nobody is told two."""
    air = e.on_air
    return None if air is None else FigureRange("on_air", air.mean_min, air.early_min, air.late_min, air.mean_min)


def _likely(
    name: str, taken: Sequence[RankedSpot], value: np.ndarray, mission: Mission
) -> tuple[np.ndarray, np.ndarray]:
    """(mean, standard deviation) of each spot's true figure, by its own error alone."""
    doubt = np.array([doubt_of(name, r.evaluation, mission) for r in taken])
    centre, spread = value + np.array([bias_of(name, r.evaluation) for r in taken]), doubt.copy()
    if name == "ground":
        return centre, spread
    # figures of unlike kinds (a dish's degrees, a link's decibels) are no sample of one another
    kinds = [next((c.label for c in r.criteria if c.name == name), None) for r in taken]
    for kind in set(kinds):
        rows = np.flatnonzero([k == kind for k in kinds] & np.isfinite(value))
        centre[rows], spread[rows] = true_figure(centre[rows], doubt[rows])
    return centre, spread


def _shared(name: str, e: Evaluation, shared: Shared, mission: Mission) -> np.ndarray | float:
    """What the errors that all spots share do to this figure, in its unit."""
    if name == "coverage" and e.coverage is not None:
        return share_off(e.coverage, shared, mission)
    if name == "must_serve" and e.coverage is not None:
        return points_off(e.coverage, shared, mission)
    if name == "access" and e.access is not None:
        return drive_off(e.access, shared, mission)
    return 0.0


def true_figure(value: np.ndarray, doubt: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(mean, standard deviation) of the true figures given the told ones and the errors' standard deviations.

    Normal prior about the mean of all, normal errors, the prior's variance from the figures themselves: C. N. Morris,
    Parametric empirical Bayes inference, J. Am. Stat. Assoc. 78 (1983) 47-55, equations (1.13) to (1.17), from memory.
    With k figures a share B = (k - 3) / (k - 1) V / (V + A) of the way to the mean is taken, and what is not known of
    mean and A widens the answer: V (1 - B (k - 1) / k) + 2 / (k - 3) B^2 (figure - mean)^2. Fewer than five figures are
    no sample: they are taken as they are told.
    """
    k, v = len(value), doubt**2
    if k < LEAST_SAMPLE:
        return value, doubt
    mean = float(value.mean())
    left = max(float(value.var(ddof=1) - v.mean()), 0.0)
    total = left + v
    toward = (k - 3) / (k - 1) * np.divide(v, total, out=np.zeros_like(v), where=total > 0)
    unlike = np.divide(v.mean() + left, total, out=np.ones_like(v), where=total > 0)
    spread = v * (1 - toward * (k - 1) / k) + 2 / (k - 3) * toward**2 * unlike * (value - mean) ** 2
    return value - toward * (value - mean), np.sqrt(spread)


def _utility(name: str, e: Evaluation, mission: Mission, off: np.ndarray) -> np.ndarray:
    """Utilities of a spot with its figure so far off, by straight lines between a few that are worked out."""
    low, high = float(off.min()), float(off.max())
    at = np.linspace(low, high, STEPS) if high > low else np.array([low])
    found = [CRITERIA[name].measure(shifted(name, e, float(by)), mission) for by in at]
    known = np.array([0.0 if m is None else m.utility for m in found])
    return np.interp(off, at, known)


def _carried(
    e: Evaluation, mission: Mission, off: np.ndarray, beside: np.ndarray, utility: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(utility, lost) where the backhaul in use may fail: the next that works carries on, and without one all is lost.

    One that is told not to work is not drawn to work after all.
    """
    able = carriers(e, mission)
    if not able:
        return utility, np.zeros(off.shape, bool)
    down = able[0].margin + off < able[0].least
    out, now = utility, e
    for number, carrier in enumerate(able[1:], 1):
        now = without_first(now)
        second = CRITERIA["backhaul"].measure(now, mission)
        out = np.where(down, 0.0 if second is None else second.utility, out)
        # errors of a third one beside those of the second: told by the same draws, turned round
        down = down & (carrier.margin + carrier.doubt * beside * (1 if number % 2 else -1) < carrier.least)
    return out, down
