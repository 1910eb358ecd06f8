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
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

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
from siteplanner.planning.choose.luck import luck_of_all, luck_of_spot
from siteplanner.planning.choose.ranked import Certainty, FigureRange, LossCause, RankedSpot
from siteplanner.planning.choose.scoring import Measures, measures_of
from siteplanner.planning.choose.shared_errors import Shared, draw_shared, drive_off, points_off, share_off
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.mounting_error import MountingDoubt

Key = tuple[float, float]  # of a spot
Made = TypeVar("Made")
DRAWS = 2000
MOST_DRAWN = 600  # spots drawn together, the best by score: those behind them have no chance that counts
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
        worked_out = [own.spread for own in (_by_elevation(name, e), _by_mounting(name, e)) if own is not None]
        return 100 * math.hypot(_beside_elevation(name, e, mission), *worked_out)
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
    """What the true figure of a criterion is expected to lie above the told one, for the errors of the elevation and
    of the mounting; its unit.

    The told figure stays that of the elevation as it was given and of antennas as told: map, people and points are
    worked out on it, and a share that is not theirs would contradict them. What is drawn here, and the ranges, lie
    about the corrected one.
    """
    return 100 * sum(own.bias for own in (_by_elevation(name, e), _by_mounting(name, e)) if own is not None)


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


def _by_mounting(name: str, e: Evaluation) -> MountingDoubt | None:
    if e.coverage is None or name not in ("coverage", "must_serve"):
        return None
    return e.coverage.mounting if name == "coverage" else e.coverage.points_mounting


def shifted(name: str, e: Evaluation, by: float) -> Evaluation:
    """The same spot with a criterion's figure off by so much, in its unit; a slope is then known."""
    if name == "coverage" and e.coverage is not None:
        share = min(max(e.coverage.share + by / 100, 0.0), 1.0)
        return _with(e, coverage=_with(e.coverage, share=share))
    if name == "must_serve" and e.coverage is not None and e.coverage.must_serve:
        points = e.coverage.must_serve
        mean = min(max(sum(p.probability for p in points) / len(points) + by / 100, 0.0), 1.0)
        return _with(e, coverage=_with(e.coverage, must_serve=(_with(points[0], probability=mean),)))
    if name == "access" and e.access is not None:
        return _with(e, access=_with(e.access, drive_time_s=max(e.access.drive_time_s + 60 * by, 0.0)))
    if name == "ground":
        true = max(e.ground.slope_deg + by, 0.0)
        return _with(e, ground=_with(e.ground, slope_deg=true, slope_uncertainty_deg=0.0))
    if name == "backhaul":
        looks = tuple(_with(look, margin_deg=look.margin_deg + by) for look in e.sky)
        carriers = tuple(b if b.kind == "open_sky" else _with(b, margin=b.margin + by) for b in e.backhauls)
        return _with(e, sky=looks, backhauls=carriers)
    return e


def _with(value: Made, **changes: object) -> Made:
    """What `dataclasses.replace` makes of plain frozen facts, without its call with every field.

    A plan's draws shift thousands of spots, and that call took more than half of their time.
    """
    made = object.__new__(type(value))
    vars(made).update(vars(value), **changes)
    return made


@dataclass(frozen=True, eq=False)
class Lots:
    """What was drawn for spots, whatever the weights: arrays are (spots, draws), float32.

    `utility` and `own` by criterion: what the drawn figure is worth, and how far it is off by errors that no other spot
    shares, in its unit. `factor`: by criterion what its weight is multiplied with in each draw. `lost`: by cause
    whether the spot breaks a limit. `figures`: of each spot by criterion, where it is known.
    """

    applies: Mapping[str, np.ndarray]  # (spots,) bool
    utility: Mapping[str, np.ndarray]
    own: Mapping[str, np.ndarray]
    factor: Mapping[str, np.ndarray]  # (draws,)
    lost: Mapping[LossCause, np.ndarray]
    figures: tuple[Mapping[str, FigureRange], ...]

    @cached_property
    def out(self) -> np.ndarray:
        """(spots, draws) bool: the spot breaks a limit."""
        return np.logical_or.reduce([self.lost[cause] for cause in CAUSES])

    @cached_property
    def lost_shares(self) -> tuple[tuple[tuple[LossCause, float], ...], ...]:
        """Of each spot the share of draws by cause, none left out that is above 0."""
        share = {cause: self.lost[cause].mean(1).tolist() for cause in CAUSES}
        rows = range(len(self.figures))
        return tuple(tuple((cause, share[cause][k]) for cause in CAUSES if share[cause][k] > 0) for k in rows)

    def scores(self, weights: Mapping[str, float]) -> np.ndarray:
        """(spots, draws) 0..100 under weights by criterion, each drawn up and down; spots that are lost too."""
        whole, total = (np.zeros(next(iter(self.utility.values())).shape, np.float32) for _ in range(2))
        for name, utility in self.utility.items():
            if not weights[name] > 0:
                continue
            part, applies = np.float32(weights[name]) * self.factor[name], self.applies[name]
            whole += part * utility  # nothing where it does not apply
            total += part if applies.all() else part * applies[:, None]
        np.divide(100 * whole, total, out=whole, where=total > 0)
        return whole


@dataclass(frozen=True, eq=False)
class Drawn:
    """The spots drawn together, best first as told, and what became of each under the weights: (spots, draws).

    `rows`: their rows in the lots. `scores` are those of figures and weights, lost or not.
    """

    spots: tuple[RankedSpot, ...]
    lots: Lots
    rows: np.ndarray
    scores: np.ndarray

    @cached_property
    def standing(self) -> np.ndarray:
        """Scores of the spots that pass, minus infinity for those that do not."""
        return np.where(self.lots.out[self.rows], np.float32(-np.inf), self.scores)

    def own(self, name: str, k: int) -> np.ndarray:
        """(draws,) how far a criterion's figure is off at one spot by its own errors."""
        return self.lots.own[name][self.rows[k]]

    def lost(self, cause: LossCause) -> np.ndarray:
        """(spots, draws) bool: what breaks a limit."""
        return self.lots.lost[cause][self.rows]


def draw(spots: Sequence[RankedSpot], mission: Mission, draws: int = DRAWS) -> Drawn:
    """Draw every doubt for the best `MOST_DRAWN` of these spots."""
    found = [r.evaluation for r in spots]
    lots = draw_lots(found, measures_of(found, mission), mission, range(min(len(spots), MOST_DRAWN)), draws)
    return weighed(lots, np.arange(len(lots.figures)), spots, mission)


def weighed(lots: Lots, rows: np.ndarray, spots: Sequence[RankedSpot], mission: Mission) -> Drawn:
    """The lots under the mission's weights. `rows`: of each of the spots, best first, so many as are drawn together."""
    scores = lots.scores(mission.weights.model_dump())
    return Drawn(tuple(spots[: len(rows)]), lots, rows, scores[rows])


def draw_lots(
    judged: Sequence[Evaluation], found: Measures, mission: Mission, rows: Sequence[int], draws: int = DRAWS
) -> Lots:
    """Draw every doubt of some judged spots. `found`: what was measured at all of them, a row each.

    The same spot draws the same errors whatever the weights, the order and the spots beside it (`luck`).
    """
    taken = [judged[k] for k in rows]
    common = luck_of_all()
    shared = draw_shared(common, draws)
    size = (len(taken), draws)
    lost: dict[LossCause, np.ndarray] = {cause: np.zeros(size, bool) for cause in CAUSES}
    lost["road"] = road_losses(taken, draws)
    likely = {name: _likely(name, judged, found, n, mission) for n, name in enumerate(found.names)}
    spread = 1 - mission.doubts.weights, 1 + mission.doubts.weights
    factor = {name: common.uniform(*spread, draws).astype(np.float32) for name in found.names}
    utility, own = ({name: np.zeros(size, np.float32) for name in found.names} for _ in range(2))
    at_place: Counter[Key] = Counter()
    figures = []
    for k, (row, e) in enumerate(zip(rows, taken, strict=True)):
        key = e.spot.key
        luck = luck_of_spot(*key, at_place[key]).standard_normal((len(found.names) + 2, draws))
        at_place[key] += 1
        beside = {"ground": luck[-2], "backhaul": luck[-1]}
        ranges = {}
        for n, name in enumerate(found.names):
            if not found.applies[row, n]:
                continue
            value = float(found.values[row, n])
            if not math.isfinite(value):
                utility[name][k] = found.utilities[row, n]
                continue
            centre, doubt = (float(v[row]) for v in likely[name])
            off = centre - value + doubt * luck[n]
            if name == "ground" and doubt > 0:
                slopes = true_slopes_deg(e.ground, luck[n], beside["ground"])
                off = slopes - value
                lost["ground"][k] = ground_losses(e.ground, slopes, luck[n], mission)
            own[name][k] = off
            off = off + _shared(name, e, shared, mission)
            worth = _utility(name, e, mission, off)
            if name == "backhaul":
                worth, lost["backhaul"][k] = _carried(e, mission, off, beside["backhaul"], worth)
            utility[name][k] = worth
            ends = (*np.percentile(off, NINE_IN_TEN).tolist(), float(off.mean()))
            ranges[name] = FigureRange(
                name, value, *_within(name, *(value + end for end in ends)), doubt_of(name, e, mission)
            )
        figures.append(ranges)
    applies = {name: found.applies[np.asarray(rows, int), n] for n, name in enumerate(found.names)}
    return Lots(applies, utility, own, factor, lost, tuple(figures))


def certainties(drawn: Drawn) -> dict[Key, Certainty]:
    """By spot's key: the chance to be the best, the ranges of score and figures, the chance to break a limit."""
    standing, draws = drawn.standing, drawn.scores.shape[1]
    top = standing.max(0)
    best = (standing >= top) & np.isfinite(top)
    chance = (best / np.maximum(best.sum(0), 1)).mean(1).tolist()
    out_chance = np.isneginf(standing).mean(1).tolist()
    ends = [edge.tolist() for edge in np.percentile(drawn.scores, NINE_IN_TEN, axis=1)]
    mean = drawn.scores.mean(1, dtype=float).tolist()
    made = {}
    for k, r in enumerate(drawn.spots):
        row = int(drawn.rows[k])
        held = drawn.lots.figures[row]
        figures = tuple(held[c.name] for c in r.criteria if c.name in held)
        made[r.spot.key] = Certainty(
            chance[k], ends[0][k], mean[k], ends[1][k], figures, draws, len(drawn.spots), _on_air(r.evaluation),
            out_chance[k], drawn.lots.lost_shares[row],
        )  # fmt: skip
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
    name: str, judged: Sequence[Evaluation], found: Measures, column: int, mission: Mission
) -> tuple[np.ndarray, np.ndarray]:
    """(mean, standard deviation) of each judged spot's true figure, by its own error alone."""
    value = np.where(found.applies[:, column], found.values[:, column], np.nan)
    doubt = np.array([doubt_of(name, e, mission) for e in judged])
    centre, spread = value + np.array([bias_of(name, e) for e in judged]), doubt.copy()
    if name == "ground":
        return centre, spread
    # figures of unlike kinds (a dish's degrees, a link's decibels) are no sample of one another
    kinds = np.array([gauges[column].label for gauges in found.gauges])
    for kind in set(kinds):
        rows = np.flatnonzero((kinds == kind) & np.isfinite(value))
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
