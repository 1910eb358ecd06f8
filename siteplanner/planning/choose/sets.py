"""The best places of 1, 2, 3 trailers together, each cell and each named point by its best server.

Made as large as it can be, by the mission's own weights: (weights.coverage x share of the weighted area +
weights.must_serve x mean probability at the named points) / (sum of the two). Without named points, or with both
weights 0, the share alone. Maximal covering (Church and ReVelle 1974) with shares: `core.maximal_cover`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from siteplanner.core.maximal_cover import ROUNDING, BestSet, Rules, best_addition, best_sets, worth
from siteplanner.mission import Mission
from siteplanner.planning.choose.certainty import Key
from siteplanner.planning.choose.fixed import Fixed
from siteplanner.planning.choose.one_channel import Channel, addition_on_one_channel, sets_on_one_channel
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.set_value import area_part, objective, pairs_of, served_by, serves
from siteplanner.planning.choose.units import Group
from siteplanner.planning.spots.evaluation import Evaluation, start_of
from siteplanner.planning.spots.levels import Levels, levels_of
from siteplanner.planning.spots.served import SERVED, PolygonService
from siteplanner.planning.study.area import AreaCells, WeightedBy

MOST_EQUAL = 1000  # sets of one value that are kept in mind
MOST_SPOTS = 600  # spots looked at together, those worth most alone; the rest is in the bound


@dataclass(frozen=True)
class PointChance:
    """A must-serve point and its best server among a set."""

    name: str
    probability: float
    by: str  # spot of the best server

    @property
    def served(self) -> bool:
        return self.probability >= SERVED


@dataclass(frozen=True, eq=False)
class TrailerAt:
    """One trailer of a set, and what the set serves once it stands with those that go before it. Minutes count from
    dispatch, the unit's own time of readiness in them; NaN without a way there."""

    unit: str  # '': units are not named
    ranked: RankedSpot
    start: str  # staging point
    ready_min: float
    drive_min: float
    early_min: float
    likely_min: float
    late_min: float
    share_after: float
    area_after: float
    people_after: float | None  # expected; None: not stated
    points_after: tuple[str, ...]  # named points served then


@dataclass(frozen=True, eq=False)
class TrailerSet:
    """The best places of k trailers together; `trailers` in the order in which they should go."""

    trailers: tuple[TrailerAt, ...]
    share: float  # expected share of the weighted area, 0..1
    area_share: float  # of the area as it lies
    weighted_by: WeightedBy
    people: float | None
    people_served: float | None
    polygons: tuple[PolygonService, ...]
    points: tuple[PointChance, ...]
    value: float  # what was made as large as it can be, 0..1
    bound: float  # no set of so many is worth more
    optimal: bool
    one_channel: bool  # whether share and value are those of one channel for all
    share_own_channels: float  # with a channel each
    share_one_channel: float  # with one for all; NaN: not worked out
    served: np.ndarray = field(default_factory=lambda: np.empty((0, 0), np.float32))
    """(trailers, cells of the area) probability of service by each while all of them send; (0, 0): not kept."""

    @property
    def spots(self) -> tuple[RankedSpot, ...]:
        """The spots, that of the trailer that goes first before the others."""
        return tuple(t.ranked for t in self.trailers)

    @property
    def points_served(self) -> int:
        """How many named points are served."""
        return sum(p.served for p in self.points)


@dataclass(frozen=True, eq=False)
class Sets:
    """Best sets by their size; with the first trailer at the best spot, the best second, and one at the runner-up.

    The runner-up is the next best place for the one trailer, often beside the best one: `with_runner_up` is None where
    it is the best second too.
    """

    by_size: dict[int, TrailerSet]
    beside_first: TrailerSet | None = None
    with_runner_up: TrailerSet | None = None


@dataclass(frozen=True, eq=False)
class _Choice:
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

    @cached_property
    def served(self) -> np.ndarray:
        """(n, cells + points) float32: all of them."""
        return self.rows(range(len(self.ranked)))

    def rows(self, which: Sequence[int]) -> np.ndarray:
        """(which, cells + points) float32."""
        return served_by([self.ranked[i] for i in which], self.area, len(self.names))

    def worth(self, which: Sequence[int]) -> float:
        """Value of a set with a channel each."""
        return worth(self.rows(which), self.value, range(len(which)))

    def key(self, i: int) -> tuple[int, Key]:
        """What tells an item from others whatever its place in the list."""
        return int(self.of[i]), self.ranked[i].spot.key

    def levels(self, which: Sequence[int]) -> list[Levels]:
        """Levels of spots as their own groups send."""
        return [_levels(self.groups[self.of[i]], self.ranked[i].evaluation) for i in which]

    def channel(self, which: Sequence[int]) -> Channel:
        """These spots on one channel."""
        load = self.groups[0].mission.radio.load_factor
        most = np.ones(len(self.value))
        most[len(self.area.weight) :] = self.most_at_point
        return Channel(tuple(self.levels(which)), self.value, load, most)


def trailer_sets(
    groups: tuple[Group, ...],
    area: AreaCells,
    mission: Mission,
    spacing_m: float,
    best_first: Sequence[RankedSpot],
    fixed: Fixed | None = None,
) -> Sets:
    """The best sets of 1 to `search.sets` trailers, and the best second beside the first of the ranking `best_first`.

    Empty where no spot passes. `fixed`: of the plan; what it holds of pairs is taken, and sets found before are not
    looked for again while area and named points weigh the same against each other.
    """
    largest = min(mission.search.sets, sum(len(g.names) for g in groups))
    choice, left_out = _choice_of(groups, area, mission, spacing_m, fixed)
    if not choice.ranked:
        return Sets({})
    shared = mission.radio.shared_channel
    asked = largest, spacing_m, area_part(mission, len(choice.names))
    found = _found(choice, asked, {} if fixed is None or len(left_out) or shared else fixed.sets)
    told: dict[Any, TrailerSet] = {} if fixed is None else fixed.sets.setdefault("told", {})
    channel = choice.channel(range(len(choice.ranked))) if shared and largest > 1 else None
    if channel is not None:
        found = sets_on_one_channel(channel, choice.served, found, choice.rules)
    made = {size: _told(choice, _bounded(best, size, choice, left_out), shared, told) for size, best in found.items()}
    places = {id(r): i for i, r in enumerate(choice.ranked)}
    if 2 not in made or not best_first or id(best_first[0]) not in places:
        return Sets(made)
    at = places[id(best_first[0])]
    second = _second(choice, channel, found[2].chosen, at)
    if second is None:
        return Sets(made)
    beside = _pair(choice, channel, shared, told, (at, second), True)
    runner_up = best_first[1].spot.key if len(best_first) > 1 else None
    open_to = np.flatnonzero(choice.rules.open_to([at]))
    next_best = next((int(i) for i in open_to if choice.ranked[i].spot.key == runner_up), None)
    if next_best is None or choice.ranked[next_best] in beside.spots:
        return Sets(made, beside)
    return Sets(made, beside, _pair(choice, channel, shared, told, (at, next_best), False))


def _found(
    choice: _Choice, asked: tuple[int, float, float], before: dict[Any, Any]
) -> dict[int, BestSet]:  # fmt: skip
    """The best sets with a channel each; of sets of one value the one with the better ranks.

    `asked`: trailers at most, how far apart, what the area counts beside the points; `before`: found for these.
    """
    if asked not in before:
        made = best_sets(choice.served, choice.value, asked[0], choice.rules, pairs=choice.pairs)
        if max(len(best.equal) for best in made.values()) > MOST_EQUAL:
            return made
        before[asked] = {
            size: (best, [[choice.key(i) for i in one] for one in best.equal]) for size, best in made.items()
        }
    at = {choice.key(i): i for i in range(len(choice.ranked))}
    out = {}
    for size, (best, equal) in before[asked].items():
        sets = sorted(tuple(sorted(at[key] for key in one)) for one in equal)
        out[size] = replace(best, chosen=sets[0], equal=tuple(sets))
    return out


def _second(choice: _Choice, channel: Channel | None, best: Sequence[int], at: int) -> int | None:
    """The place that adds most to one trailer; None where the rules leave none."""
    if at in best:
        return next(i for i in best if i != at)
    if channel is not None:
        return addition_on_one_channel(channel, at, choice.rules)
    if choice.pairs is None:
        return best_addition(choice.served, choice.value, [at], choice.rules)
    open_to = np.flatnonzero(choice.rules.open_to([at]))
    if not len(open_to):
        return None
    reach = choice.pairs[at, open_to]
    near = open_to[reach >= reach.max() - 2 * ROUNDING * max(float(choice.pairs.max()), 1e-300)]
    values = np.array([choice.worth([at, int(i)]) for i in near])
    return int(near[int(np.argmax(values >= values.max() - 1e-12))])


def _pair(
    choice: _Choice, channel: Channel | None, shared: bool, told: dict[Any, TrailerSet], pair: tuple[int, int],
    best_second: bool,
) -> TrailerSet:  # fmt: skip
    """Two trailers of which the first is given; bound and `optimal` are those of the second."""
    value = choice.worth(pair) if channel is None else channel.worth(pair)
    best = BestSet(pair, value, value if best_second else math.inf, best_second)
    return _told(choice, best, shared, told, keep_first=True)


def _choice_of(
    groups: tuple[Group, ...], area: AreaCells, mission: Mission, spacing_m: float, fixed: Fixed | None
) -> tuple[_Choice, np.ndarray]:
    """The spots to choose from, and what those that are left out are worth alone, most first."""
    items = [(g, r) for g, group in enumerate(groups) for r in group.judged if serves(r.evaluation, area)]
    first = items[0][1].evaluation.coverage if items else None
    names = tuple(p.name for p in first.must_serve) if first is not None else ()
    value = objective(mission, area, len(names))
    left_out = np.zeros(0)
    if len(items) > MOST_SPOTS:
        alone = np.array([float(served_by([r], area, len(names))[0].astype(float) @ value) for _, r in items])
        kept = np.sort(np.argsort(-alone, kind="stable")[:MOST_SPOTS])
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
    return _Choice(groups, of, ranked, value, area, names, rules, most, pairs), left_out


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


def _bounded(best: BestSet, size: int, choice: _Choice, left_out: np.ndarray) -> BestSet:
    """With spots left out, a set with one of them is worth at most what its members are worth alone."""
    if not len(left_out):
        return best
    alone = np.sort(choice.served.astype(float) @ choice.value)[::-1]
    reach = float(left_out[0] + alone[: size - 1].sum())
    return replace(best, bound=max(best.bound, reach), optimal=best.optimal and reach <= best.value)


def _told(
    choice: _Choice, best: BestSet, shared: bool, before: dict[Any, TrailerSet], keep_first: bool = False
) -> TrailerSet:
    """A set with its figures, the trailers in the order in which they should go: what is worth most, first.

    `before`: told before, by the trailers in their order; no weight changes the figures, only what the set is worth.
    """
    order = _in_order(choice, best.chosen, keep_first)
    known = shared, *(choice.key(i) for i in order)
    if known not in before:
        before[known] = _figures(choice, best, shared, order)
    made = before[known]
    trailers = tuple(replace(t, ranked=choice.ranked[i]) for t, i in zip(made.trailers, order, strict=True))
    return replace(made, trailers=trailers, value=best.value, bound=best.bound, optimal=best.optimal)


def _figures(choice: _Choice, best: BestSet, shared: bool, order: list[int]) -> TrailerSet:
    several = len(order) > 1
    channel = choice.channel(order) if several else None
    own = choice.rows(order)
    on_one = own if channel is None else channel.probabilities(range(len(order)))
    cells = len(choice.area.weight)
    served = on_one if shared else own
    trailers: list[TrailerAt] = []
    used: dict[int, int] = {}
    for k, i in enumerate(order):
        group = choice.groups[choice.of[i]]
        place = used.setdefault(int(choice.of[i]), 0)
        used[int(choice.of[i])] += 1
        so_far = own[: k + 1]
        if shared and channel is not None and k:
            so_far = channel.probabilities(range(k + 1))
        trailers.append(_trailer(choice, group, place, choice.ranked[i], so_far.max(0)))
    together = served.max(0).astype(float)
    points = tuple(
        PointChance(
            name, float(together[cells + n]), choice.ranked[order[int(np.argmax(served[:, cells + n]))]].spot.name
        )
        for n, name in enumerate(choice.names)
    )
    share, area_share, people = _shares(choice.area, together)
    polygons = _polygons(choice.area, together)
    return TrailerSet(
        trailers=tuple(trailers),
        share=share,
        area_share=area_share,
        weighted_by=choice.area.weighted_by,
        people=None if people is None else sum(p.people or 0.0 for p in choice.area.polygons),
        people_served=people,
        polygons=polygons,
        points=points,
        value=best.value,
        bound=best.bound,
        optimal=best.optimal,
        one_channel=shared and several,
        share_own_channels=_shares(choice.area, own.max(0).astype(float))[0],
        share_one_channel=_shares(choice.area, on_one.max(0).astype(float))[0] if several else math.nan,
        served=served[:, :cells].copy(),
    )


def _in_order(choice: _Choice, chosen: Sequence[int], keep_first: bool) -> list[int]:
    order = [chosen[0]] if keep_first else []
    while len(order) < len(chosen):
        left = [i for i in chosen if i not in order]
        order.append(max(left, key=lambda i: (choice.worth([*order, i]), -i)))
    return order


def _trailer(choice: _Choice, group: Group, place: int, ranked: RankedSpot, so_far: np.ndarray) -> TrailerAt:
    e, cells = ranked.evaluation, len(choice.area.weight)
    share, area_share, people = _shares(choice.area, so_far.astype(float))
    ready, air = group.ready_min[place], e.on_air
    return TrailerAt(
        unit=group.names[place],
        ranked=ranked,
        start=start_of(group.mission, e.access).name,
        ready_min=ready,
        drive_min=math.nan if e.access is None else e.access.drive_time_s / 60,
        early_min=math.nan if air is None else ready + air.early_min,
        likely_min=math.nan if air is None else ready + air.likely_min,
        late_min=math.nan if air is None else ready + air.late_min,
        share_after=share,
        area_after=area_share,
        people_after=people,
        points_after=tuple(n for n, p in zip(choice.names, so_far[cells:], strict=True) if p >= SERVED),
    )


def _shares(area: AreaCells, together: np.ndarray) -> tuple[float, float, float | None]:
    """(share of the weights, share of the area, expected people or None) for probabilities of cells, then points."""
    cells = together[: len(area.weight)]
    people = [p.people_served for p in _polygons(area, together)]
    known = [p for p in people if p is not None]
    complete = bool(people) and len(known) == len(people)
    return float((cells * area.weight).sum()), float(cells.mean()), sum(known) if complete else None


def _polygons(area: AreaCells, together: np.ndarray) -> tuple[PolygonService, ...]:
    out = []
    for own in area.polygons:
        share = float(together[own.cells].mean()) if len(own.cells) else 0.0
        served = None if own.people is None else own.people * share
        out.append(PolygonService(own.name, share, own.area_km2, own.people, served))
    return tuple(out)
