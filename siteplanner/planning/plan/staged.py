"""One plan for a sequence of operational periods: the best single spot for all of them, against moving between them.

Value is service in hours: share of the weighted area times hours of each period, less what is lost off the air while
the trailer moves, at the start of the period that it moves into.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.mission.periods import Period
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.pipeline import plan
from siteplanner.planning.plan.way_there import way_there
from siteplanner.planning.site.timeline import Moments
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.study.reuse import Kept
from siteplanner.planning.study.spot import Spot
from siteplanner.roads.routing import drive_tree

MOST_PLACES = 12  # that are held against each other: the best of each period
LEAST_GAIN_H = 0.02  # of the hours of the sequence: less is no reason to move; common practice, no source


@dataclass(frozen=True, eq=False)
class InOrder:
    """A place for each period. `shares`: of the weighted area, `offs`: minutes off the air before each period but the
    first (None: it stays), `served_h`: service in hours of the whole area."""

    places: tuple[Spot, ...]
    shares: tuple[float, ...]
    offs: tuple[Moments | None, ...]
    served_h: float

    @property
    def moves(self) -> int:
        """How often the trailer moves."""
        return sum(off is not None for off in self.offs)


@dataclass(frozen=True, eq=False)
class Staged:
    """`plans`: one a period, as if it were alone. `single`: the best spot that passes in all; None: none does.
    `moving`: the best of all sequences; None: none of those looked at can be driven. The same value: staying is best.
    """

    periods: tuple[Period, ...]
    plans: tuple[Plan, ...]
    places: int  # held against each other
    single: InOrder | None
    moving: InOrder | None

    @property
    def hours(self) -> float:
        """Of all periods."""
        return sum(p.hours for p in self.periods)

    @property
    def move_pays(self) -> bool:
        """Whether moving serves enough more, or there is no single spot."""
        if self.moving is None or not self.moving.moves:
            return False
        return self.single is None or self.moving.served_h - self.single.served_h > LEAST_GAIN_H * self.hours


def staged(mission: Mission, progress: Progress | None = None, previous: Kept | None = None) -> Staged:
    """Plan each period, then the best sequence over the best places of all. Raises InputError: fewer than two periods.

    The same spot keeps its name through all of them.
    """
    if len(mission.periods) < 2:
        raise InputError(
            "A staged mission needs two operational periods or more.",
            remedy="Give them as [[periods]], each with name, starts, until and incident_area.",
            field="periods",
        )
    plans: list[Plan] = []
    called: dict[tuple[float, float], str] = {}
    kept, count = previous, len(mission.periods)
    for number, period in enumerate(mission.periods):

        def part(stage: str, share: float, number: int = number, name: str = period.name) -> None:
            if progress is not None:
                progress(f"{name}: {stage}", (number + share) / count)

        layers = mission.layers.model_copy(update={"incident_area": period.incident_area})
        made = plan(mission.model_copy(update={"layers": layers, "periods": ()}), part, kept, called)
        kept = made.kept
        called |= {r.spot.key: r.spot.name for r in made.judged}
        plans.append(made)
    places = _places(plans)
    judges = [p.judge for p in plans if p.judge is not None]
    judged = [[_at(made, judge, spot) for made, judge in zip(plans, judges, strict=True)] for spot in places]
    shares = shares_of(judged, count)
    hours = [p.hours for p in mission.periods]
    offs = [_offs(judge, places) for judge in judges[1:]]
    mean_h = np.array([[[_mean_h(off) for off in row] for row in table] for table in offs])
    mean_h = mean_h.reshape(count - 1, len(places), len(places))

    def made_of(rows: Sequence[int]) -> InOrder:
        moves = [offs[k][a][b] if a != b else None for k, (a, b) in enumerate(pairwise(rows))]
        told = tuple(float(shares[r, k]) for k, r in enumerate(rows))
        return InOrder(tuple(places[r] for r in rows), told, tuple(moves), worth(hours, shares, mean_h, rows))

    alone = [(worth(hours, shares, mean_h, (r,) * count), -r) for r in range(len(places))]
    value, row = max(alone, default=(math.nan, 0))
    best = best_sequence(hours, shares, mean_h)
    return Staged(
        mission.periods,
        tuple(plans),
        len(places),
        made_of((-row,) * count) if math.isfinite(value) else None,
        made_of(best) if best else None,
    )


def _places(plans: Sequence[Plan]) -> tuple[Spot, ...]:
    """The best of each period in turn, no place twice."""
    out: dict[tuple[float, float], Spot] = {}
    for row in range(MOST_PLACES):
        for made in plans:
            if row < len(made.judged) and len(out) < MOST_PLACES:
                spot = made.judged[row].spot
                out.setdefault(spot.key, spot)
    return tuple(out.values())


def _at(made: Plan, judge: Judge, spot: Spot) -> Evaluation:
    """A place under one period's mission."""
    known = next((r.evaluation for r in made.judged if r.spot.key == spot.key), None)
    return known if known is not None else evaluate(judge, spot)


def shares_of(judged: Sequence[Sequence[Evaluation]], periods: int) -> np.ndarray:
    """(places, periods) share served; NaN: it may not stand there, or is more likely than not too steep for it while
    another place of that period is not."""
    out = np.array([[_share(e) for e in row] for row in judged]).reshape(len(judged), periods)
    steep = np.array([[stands_back(e) for e in row] for row in judged], bool).reshape(len(judged), periods)
    level = (np.isfinite(out) & ~steep).any(axis=0)
    return np.where(steep & level, math.nan, out)


def _share(e: Evaluation) -> float:
    return math.nan if e.failed or e.coverage is None else e.coverage.share


def _offs(judge: Judge, places: Sequence[Spot]) -> list[list[Moments | None]]:
    """Minutes off the air from each place to each other by the roads of one period; None: no way is known."""
    out: list[list[Moments | None]] = []
    for start in places:
        tree = drive_tree(judge.study.network, start.x, start.y)
        row = [None if to is start else way_there(judge, tree, to)[0] for to in places]
        out.append(row)
    return out


def _mean_h(off: Moments | None) -> float:
    return math.inf if off is None else off.mean_min / 60


def worth(hours: Sequence[float], shares: np.ndarray, off_h: np.ndarray, rows: Sequence[int]) -> float:
    """Service in hours of a place a period: sum of share times the hours on the air; -inf where one may not stand or
    cannot be driven. `shares` (places, periods), NaN: may not stand; `off_h` (periods - 1, places, places), inf: no
    way."""
    total = 0.0
    for k, row in enumerate(rows):
        lost = 0.0 if k == 0 or rows[k - 1] == row else float(off_h[k - 1, rows[k - 1], row])
        if not math.isfinite(shares[row, k]) or not math.isfinite(lost):
            return -math.inf
        total += float(shares[row, k]) * max(hours[k] - lost, 0.0)
    return total


def best_sequence(hours: Sequence[float], shares: np.ndarray, off_h: np.ndarray) -> tuple[int, ...]:
    """Rows of the best place a period, by dynamic programming; () where none can be had. Of equal ones the one that
    moves later and less."""
    count = shares.shape[0]
    if not count:
        return ()
    value = np.where(np.isfinite(shares[:, 0]), shares[:, 0] * hours[0], -np.inf)
    came: list[np.ndarray] = []
    for k in range(1, len(hours)):
        lost = off_h[k - 1].copy()
        np.fill_diagonal(lost, 0.0)
        left = np.clip(hours[k] - lost, 0.0, None)
        gain = np.where(
            np.isfinite(lost) & np.isfinite(shares[:, k])[None, :], left * np.nan_to_num(shares[:, k]), -np.inf
        )
        total = value[:, None] + gain
        stays = np.arange(count)
        before = np.argmax(total, axis=0)
        before = np.where(total[stays, stays] >= total[before, stays], stays, before)
        value = total[before, stays]
        came.append(before)
    row = int(np.argmax(value))
    if not math.isfinite(value[row]):
        return ()
    rows = [row]
    for before in reversed(came):
        rows.append(int(before[rows[-1]]))
    return tuple(reversed(rows))
