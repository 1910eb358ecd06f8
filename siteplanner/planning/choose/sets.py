"""The best places of 1, 2, 3 trailers together, each cell and each named point by its best server.

Made as large as it can be, by the mission's own weights: (weights.coverage x share of the weighted area +
weights.must_serve x mean probability at the named points) / (sum of the two). Without named points, or with both
weights 0, the share alone. Maximal covering (Church and ReVelle 1974) with shares: `core.maximal_cover`.

Required points come first: of all sets, only those that serve most of them between their trailers are looked at. What
that gives up is told beside it (`TrailerSet.free`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from siteplanner.core.maximal_cover import ROUNDING, BestSet, best_addition
from siteplanner.mission import Mission
from siteplanner.planning.choose.fixed import Fixed
from siteplanner.planning.choose.one_channel import Channel, addition_on_one_channel, sets_on_one_channel
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.set_choice import Choice, choice_of
from siteplanner.planning.choose.set_value import area_part
from siteplanner.planning.choose.units import Group
from siteplanner.planning.spots.evaluation import start_of
from siteplanner.planning.spots.served import SERVED, PolygonService
from siteplanner.planning.study.area import AreaCells, WeightedBy

MOST_EQUAL = 1000  # sets of one value that are kept in mind


@dataclass(frozen=True)
class PointChance:
    """A must-serve point and its best server among a set."""

    name: str
    probability: float
    by: str  # spot of the best server
    required: bool = False
    needed: float = SERVED  # from which on it counts as served

    @property
    def served(self) -> bool:
        return self.probability >= self.needed


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


@dataclass(frozen=True)
class FreeSet:
    """The best set of the same size if nothing were required: what the required points cost."""

    spots: tuple[str, ...]
    share: float  # as in `TrailerSet`
    people_served: float | None
    missed: tuple[str, ...]  # required points that it does not serve


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
    free: FreeSet | None = None  # None: nothing is required, or it costs nothing

    @property
    def spots(self) -> tuple[RankedSpot, ...]:
        """The spots, that of the trailer that goes first before the others."""
        return tuple(t.ranked for t in self.trailers)

    @property
    def points_served(self) -> int:
        """How many named points are served."""
        return sum(p.served for p in self.points)

    @property
    def required_missed(self) -> tuple[PointChance, ...]:
        """The required points that even these trailers do not serve: no set of so many serves more of them."""
        return tuple(p for p in self.points if p.required and not p.served)


@dataclass(frozen=True, eq=False)
class Sets:
    """Best sets by their size; with the first trailer at the best spot, the best second, and one at the runner-up.

    The runner-up is the next best place for the one trailer, often beside the best one: `with_runner_up` is None where
    it is the best second too.
    """

    by_size: dict[int, TrailerSet]
    beside_first: TrailerSet | None = None
    with_runner_up: TrailerSet | None = None


def trailer_sets(
    groups: tuple[Group, ...],
    area: AreaCells,
    mission: Mission,
    spacing_m: float,
    best_first: Sequence[RankedSpot],
    fixed: Fixed | None = None,
    required: Sequence[bool] = (),
) -> Sets:
    """The best sets of 1 to `search.sets` trailers, and the best second beside the first of the ranking `best_first`.

    Empty where no spot passes. `fixed`: of the plan; what it holds of pairs is taken, and sets found before are not
    looked for again while area and named points weigh the same against each other. `required`: which of the named
    points a set must serve between its trailers; where none of its size serves all, it serves as many as can be.
    """
    largest = min(mission.search.sets, sum(len(g.names) for g in groups))
    choice, left_out = choice_of(groups, area, mission, spacing_m, fixed, required)
    if not choice.ranked:
        return Sets({})
    shared = mission.radio.shared_channel
    asked = largest, spacing_m, area_part(mission, len(choice.names))
    known = {} if fixed is None or len(left_out) or shared else fixed.sets
    told: dict[Any, TrailerSet] = {} if fixed is None else fixed.sets.setdefault("told", {})
    several = shared and largest > 1
    channel = choice.channel(range(len(choice.ranked)), forced=True) if several else None

    def found(forced: bool) -> dict[int, BestSet]:
        best = _found(choice, asked, forced, known)
        if channel is None:
            return best
        return sets_on_one_channel(channel if forced else replace(channel, must=()), choice.served, best, choice.rules)

    forced = found(True)
    made = {size: _told(choice, _bounded(best, size, choice, left_out), shared, told) for size, best in forced.items()}
    if choice.must:
        free = found(False)
        made = {size: _with_price(choice, one, free[size], shared, told) for size, one in made.items()}
    places = {id(r): i for i, r in enumerate(choice.ranked)}
    if 2 not in made or not best_first or id(best_first[0]) not in places:
        return Sets(made)
    at = places[id(best_first[0])]
    second = _second(choice, channel, forced[2].chosen, at)
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
    choice: Choice, asked: tuple[int, float, float], forced: bool, before: dict[Any, Any]
) -> dict[int, BestSet]:  # fmt: skip
    """The best sets with a channel each; of sets of one value the one with the better ranks.

    `asked`: trailers at most, how far apart, what the area counts beside the points; `before`: found for these and for
    the same required points.
    """
    known = *asked, choice.must if forced else (), choice.chance_needed
    if known not in before:
        made = choice.best(asked[0], forced)
        if max(len(best.equal) for best in made.values()) > MOST_EQUAL:
            return made
        before[known] = {
            size: (best, [[choice.key(i) for i in one] for one in best.equal]) for size, best in made.items()
        }
    at = {choice.key(i): i for i in range(len(choice.ranked))}
    out = {}
    for size, (best, equal) in before[known].items():
        sets = sorted(tuple(sorted(at[key] for key in one)) for one in equal)
        out[size] = replace(best, chosen=sets[0], equal=tuple(sets))
    return out


def _with_price(
    choice: Choice, one: TrailerSet, free: BestSet, shared: bool, told: dict[Any, TrailerSet]
) -> TrailerSet:  # fmt: skip
    """The set with the best one that is not forced beside it, where that is worth more."""
    if free.value <= one.value + 1e-9:
        return one
    other = _told(choice, free, shared, told)
    missed = tuple(p.name for p in other.required_missed)
    names = tuple(r.spot.name for r in other.spots)
    return replace(one, free=FreeSet(names, other.share, other.people_served, missed))


def _second(choice: Choice, channel: Channel | None, best: Sequence[int], at: int) -> int | None:
    """The place that adds most to one trailer, required points before all else; None where the rules leave none."""
    if at in best:
        return next(i for i in best if i != at)
    if channel is not None:
        return addition_on_one_channel(channel, at, choice.rules)
    open_to = np.flatnonzero(choice.rules.open_to([at]))
    if not len(open_to):
        return None
    kept = np.array([choice.kept([at, int(i)]) for i in open_to])
    open_to = open_to[kept == kept.max()]
    if choice.pairs is None:
        return best_addition(choice.served, choice.value, [at], choice.rules, open_to)
    reach = choice.pairs[at, open_to]
    near = open_to[reach >= reach.max() - 2 * ROUNDING * max(float(choice.pairs.max()), 1e-300)]
    values = np.array([choice.worth([at, int(i)]) for i in near])
    return int(near[int(np.argmax(values >= values.max() - 1e-12))])


def _pair(
    choice: Choice, channel: Channel | None, shared: bool, told: dict[Any, TrailerSet], pair: tuple[int, int],
    best_second: bool,
) -> TrailerSet:  # fmt: skip
    """Two trailers of which the first is given; bound and `optimal` are those of the second."""
    value = choice.worth(pair) if channel is None else channel.worth(pair)
    best = BestSet(pair, value, value if best_second else math.inf, best_second)
    return _told(choice, best, shared, told, keep_first=True)


def _bounded(best: BestSet, size: int, choice: Choice, left_out: np.ndarray) -> BestSet:
    """With spots left out, a set with one of them is worth at most what its members are worth alone."""
    if not len(left_out):
        return best
    alone = np.sort([row.astype(float) @ choice.value for row in choice.served])[::-1]
    reach = float(left_out[0] + alone[: size - 1].sum())
    return replace(best, bound=max(best.bound, reach), optimal=best.optimal and reach <= best.value)


def _told(
    choice: Choice, best: BestSet, shared: bool, before: dict[Any, TrailerSet], keep_first: bool = False
) -> TrailerSet:
    """A set with its figures, the trailers in the order in which they should go: what is worth most, first.

    `before`: told before, by the trailers in their order; no weight changes the figures, only what the set is worth.
    """
    order = _in_order(choice, best.chosen, keep_first)
    known = shared, choice.must, choice.chance_needed, *(choice.key(i) for i in order)
    if known not in before:
        before[known] = _figures(choice, best, shared, order)
    made = before[known]
    trailers = tuple(replace(t, ranked=choice.ranked[i]) for t, i in zip(made.trailers, order, strict=True))
    return replace(made, trailers=trailers, value=best.value, bound=best.bound, optimal=best.optimal)


def _figures(choice: Choice, best: BestSet, shared: bool, order: list[int]) -> TrailerSet:
    several = len(order) > 1
    channel = choice.channel(order) if several else None
    own = choice.rows(order)
    on_one = own if channel is None else channel.probabilities(range(len(order)))
    cells = len(choice.area.weight)
    served = on_one if shared else own
    at_points = served[:, cells:] if shared and several else choice.chances(order)
    trailers: list[TrailerAt] = []
    used: dict[int, int] = {}
    for k, i in enumerate(order):
        group = choice.groups[choice.of[i]]
        place = used.setdefault(int(choice.of[i]), 0)
        used[int(choice.of[i])] += 1
        so_far, points_so_far = own[: k + 1], at_points[: k + 1]
        if shared and channel is not None:
            so_far = channel.probabilities(range(k + 1)) if k else so_far
            points_so_far = so_far[:, cells:]
        trailers.append(_trailer(choice, group, place, choice.ranked[i], so_far.max(0), points_so_far.max(0)))
    together = served.max(0).astype(float)
    points = tuple(
        PointChance(
            name,
            float(at_points[:, n].max()),
            choice.ranked[order[int(np.argmax(at_points[:, n]))]].spot.name,
            n in choice.must,
            choice.needed(n),
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


def _in_order(choice: Choice, chosen: Sequence[int], keep_first: bool) -> list[int]:
    order = [chosen[0]] if keep_first else []
    while len(order) < len(chosen):
        left = [i for i in chosen if i not in order]
        order.append(max(left, key=lambda i: (choice.ranked_by([*order, i]), -i)))
    return order


def _trailer(
    choice: Choice, group: Group, place: int, ranked: RankedSpot, so_far: np.ndarray, at_points: np.ndarray
) -> TrailerAt:
    """`so_far`, `at_points`: probability of the cells and at the named points by it and those that go before it."""
    e = ranked.evaluation
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
        points_after=tuple(n for k, n in enumerate(choice.names) if at_points[k] >= choice.needed(k)),
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
