"""The places that sets of trailers are chosen from: judged spots of all units, what each serves and what it must."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from siteplanner.core.maximal_cover import BestSet, Rules, best_sets, worth
from siteplanner.mission import Mission
from siteplanner.planning.choose.certainty import Key
from siteplanner.planning.choose.fixed import Fixed
from siteplanner.planning.choose.one_channel import Channel
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import stands_back
from siteplanner.planning.choose.set_value import objective, pairs_of, served_by, serves
from siteplanner.planning.choose.units import Group
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.levels import Levels, levels_of
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.study.area import AreaCells

MOST_SPOTS = 600  # spots looked at together, those worth most alone; the rest is in the bound
MUST = 2.0  # what a required point counts beside all else, which adds up to 1: no share makes up for one


@dataclass(frozen=True, eq=False)
class Choice:
    """All spots of all groups in one list, with what each serves: cells of the area, then named points."""

    groups: tuple[Group, ...]
    of: np.ndarray  # group of each
    ranked: tuple[RankedSpot, ...]
    value: np.ndarray  # (cells + points,) adds up to 1
    area: AreaCells
    names: tuple[str, ...]  # of the points
    rules: Rules
    most_at_point: float
    pairs: np.ndarray | None  # (n, n) value of each pair, where it is known of all
    must: tuple[int, ...]  # places of the required points among `names`
    chance_needed: float  # from which on one of those is served

    @cached_property
    def served(self) -> np.ndarray:
        """(n, cells + points) float32: all of them."""
        return self.rows(range(len(self.ranked)))

    def rows(self, which: Sequence[int]) -> np.ndarray:
        """(which, cells + points) float32."""
        return served_by([self.ranked[i] for i in which], self.area, len(self.names))

    @cached_property
    def keeps(self) -> np.ndarray:
        """(n, required points) bool: which spot serves which of them."""
        return self.chances(range(len(self.ranked)))[:, list(self.must)] >= self.chance_needed

    def chances(self, which: Sequence[int]) -> np.ndarray:
        """(which, points) probability at the named points as each spot is told it, in float64."""
        out = np.zeros((len(which), len(self.names)))
        for row, i in zip(out, which, strict=True):
            made = self.ranked[i].evaluation.coverage
            assert made is not None
            row[:] = [p.probability for p in made.must_serve]
        return out

    def needed(self, point: int) -> float:
        """The chance from which on a named point counts as served."""
        return self.chance_needed if point in self.must else SERVED

    def kept(self, which: Sequence[int]) -> int:
        """How many required points a set serves between its trailers, a channel each."""
        return int(self.keeps[list(which)].any(0).sum()) if len(which) else 0

    def ranked_by(self, which: Sequence[int]) -> float:
        """What sets are ordered by: required points first, then the value."""
        return self.worth(which) + MUST * self.kept(which)

    def best(self, largest: int, forced: bool) -> dict[int, BestSet]:
        """The best sets of each size with a channel each; `forced`: of those that serve most of the required points.

        One trailer that cannot serve all of them is not forced: a plan without such a spot rules none out.
        """
        if not forced or not self.must:
            return best_sets(self.served, self.value, largest, self.rules, pairs=self.pairs)
        served = np.hstack([self.served, self.keeps.astype(np.float32)])
        value = np.concatenate([self.value, np.full(len(self.must), MUST)])
        pairs = None
        if self.pairs is not None:
            pairs = self.pairs + MUST * (self.keeps[:, None] | self.keeps).sum(2)
        made = best_sets(served, value, largest, self.rules, pairs=pairs)
        if 1 in made and self.kept(made[1].chosen) < len(self.must):
            made |= best_sets(self.served, self.value, 1, self.rules, pairs=self.pairs)
        return {size: self._without_price(best) for size, best in made.items()}

    def _without_price(self, best: BestSet) -> BestSet:
        value, priced = self.worth(best.chosen), MUST * self.kept(best.chosen)
        bound = value if best.optimal else min(best.bound - priced, 1.0)
        return BestSet(best.chosen, value, max(bound, value), best.optimal, best.equal)

    def worth(self, which: Sequence[int]) -> float:
        """Value of a set with a channel each."""
        return worth(self.rows(which), self.value, range(len(which)))

    def key(self, i: int) -> tuple[int, Key]:
        """What tells an item from others whatever its place in the list."""
        return int(self.of[i]), self.ranked[i].spot.key

    def levels(self, which: Sequence[int]) -> list[Levels]:
        """Levels of spots as their own groups send."""
        return [_levels(self.groups[self.of[i]], self.ranked[i].evaluation) for i in which]

    def channel(self, which: Sequence[int], forced: bool = False) -> Channel:
        """These spots on one channel; `forced`: sets of them are ordered by the required points first."""
        load = self.groups[0].mission.radio.load_factor
        most = np.ones(len(self.value))
        most[len(self.area.weight) :] = self.most_at_point
        columns = tuple(len(self.area.weight) + k for k in self.must) if forced else ()
        return Channel(tuple(self.levels(which)), self.value, load, most, columns, self.chance_needed, MUST)


def choice_of(
    groups: tuple[Group, ...], area: AreaCells, mission: Mission, spacing_m: float, fixed: Fixed | None,
    required: Sequence[bool],
) -> tuple[Choice, np.ndarray]:  # fmt: skip
    """The spots to choose from, and what those that are left out are worth alone, most first.

    `required`: which of the named points; spots that serve them are left out last.
    """
    every = [(g, r) for g, group in enumerate(groups) for r in group.judged if serves(r.evaluation, area)]
    first = every[0][1].evaluation.coverage if every else None
    names = tuple(p.name for p in first.must_serve) if first is not None else ()
    value, chance = objective(mission, area, len(names)), mission.radio.chance_needed
    must = tuple(k for k, wanted in enumerate(required) if wanted and k < len(names))
    items = _likely_level(every, must, chance)
    left_out = np.zeros(0)
    if len(items) > MOST_SPOTS:
        alone = np.array([float(served_by([r], area, len(names))[0].astype(float) @ value) for _, r in items])
        held = np.array([sum(_chance(r, k) >= chance for k in must) for _, r in items])
        kept = np.sort(np.argsort(-(alone + held), kind="stable")[:MOST_SPOTS])
        left_out = np.sort(np.delete(alone, kept))[::-1]
        items = [items[i] for i in kept]
    of = np.array([g for g, _ in items], int)
    x, y = (np.array([getattr(r.spot, name) for _, r in items]) for name in ("x", "y"))
    apart = np.hypot(x[:, None] - x, y[:, None] - y) >= spacing_m - 1e-6
    np.fill_diagonal(apart, False)
    rules = Rules(apart, of, tuple(len(g.names) for g in groups))
    ranked = tuple(r for _, r in items)
    most = mission.radio.most_certain_at_point
    pairs = pairs_of(groups, ranked, mission, len(names), fixed)
    return Choice(groups, of, ranked, value, area, names, rules, most, pairs, must, chance), left_out


def _likely_level(
    items: list[tuple[int, RankedSpot]], must: Sequence[int], chance: float
) -> list[tuple[int, RankedSpot]]:  # fmt: skip
    """Those that may be chosen: a trailer is sent where it is more likely than not too steep only where no other spot
    passes, or none serves a required point."""
    level = [r for _, r in items if not stands_back(r.evaluation)]
    if not level:
        return items
    lacking = [k for k in must if all(_chance(r, k) < chance for r in level)]
    return [(g, r) for g, r in items if not stands_back(r.evaluation) or any(_chance(r, k) >= chance for k in lacking)]


@dataclass(frozen=True, eq=False)
class ChosenSet:
    """A set of trailers by its spots and the share of the weighted area that they serve with a channel each."""

    spots: tuple[RankedSpot, ...]
    share: float


def chosen_sets(
    group: Group, area: AreaCells, mission: Mission, spacing_m: float, fixed: Fixed
) -> dict[int, ChosenSet]:  # fmt: skip
    """The best sets of 1 to `search.sets` alike trailers with a channel each, without what only levels tell of them."""
    choice, _ = choice_of((group,), area, mission, spacing_m, fixed, ())
    if not choice.ranked:
        return {}
    out = {}
    for size, best in choice.best(min(mission.search.sets, len(group.names)), False).items():
        served = choice.rows(best.chosen)[:, : len(area.weight)].max(axis=0).astype(float)
        out[size] = ChosenSet(tuple(choice.ranked[i] for i in best.chosen), float(served @ area.weight))
    return out


def _chance(ranked: RankedSpot, point: int) -> float:
    made = ranked.evaluation.coverage
    return 0.0 if made is None else made.must_serve[point].probability


def _levels(group: Group, e: Evaluation) -> Levels:
    assert e.coverage is not None
    assert e.spot.cell is not None
    made = e.coverage
    return group.judge.step(
        "levels",
        levels_of,
        group.judge.service,
        e.spot.unnamed,
        e.spot.cell,
        made.mast_height_m,
        made.sector_bearings_deg,
    )
