"""A unit is lost: what the others serve as they stand, and whether one of them should move."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from siteplanner.planning.choose.difference import Gain, share_gain
from siteplanner.planning.choose.units import Group
from siteplanner.planning.plan.explain import spot_here
from siteplanner.planning.plan.lowered import chances_needed
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.records import Place, distance_m, number, of, rows, text
from siteplanner.planning.plan.way_there import way_there
from siteplanner.planning.site.timeline import Moments
from siteplanner.planning.spots.evaluate import evaluate
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.roads.routing import drive_tree

SAME_PLACE_M = 1.0


@dataclass(frozen=True, eq=False)
class UnitAt:
    """A unit and its place, judged under the changed mission. `reported`: a crew has said so; else as planned."""

    name: str
    evaluation: Evaluation
    group: Group
    reported: bool


@dataclass(frozen=True, eq=False)
class UnitMove:
    """One unit moved while the others stay: `held` is what all of them together serve more of the area. `off`: minutes
    in which that unit serves nobody."""

    unit: str
    here: str
    there: str
    held: Gain
    points_gained: tuple[str, ...]
    off: Moments
    share: float  # of all together afterwards


@dataclass(frozen=True, eq=False)
class UnitsLeft:
    """What is left without the units that are gone. Shares of the weighted area by the best server of each cell, each
    on a channel of its own; `was_share` by the plan before, NaN not known."""

    gone: tuple[str, ...]
    left: tuple[UnitAt, ...]
    share: float
    was_share: float
    points_lost: tuple[str, ...]  # served with the units that are gone, not without them
    move: UnitMove | None  # the best move of one of them that is beyond its doubt or serves a lost point again

    @property
    def one_should_move(self) -> bool:
        """Whether a move of one of them gives more than nobody can tell apart."""
        return self.move is not None


def units_left(
    record: Mapping[str, Any], made: Plan, gone: Sequence[str], here: Evaluation, reported: bool
) -> UnitsLeft | None:
    """None where no unit is gone, or where the plan before does not say where its units stand.

    `here`: the trailer that was asked about, at its place; the others are taken where the plan before has them.
    """
    size = len(rows(record, "mission", "units"))
    held = rows(record, "sets", str(size), "trailers")
    if not gone or not held:
        return None
    placed = [_at(row, made, here, reported) for row in held if text(of(row, "unit")) not in gone]
    left = [unit for unit in placed if unit is not None]
    was = of(record, "sets", str(size))
    if not left or made.area is None:
        return UnitsLeft(tuple(gone), tuple(left), math.nan, number(of(was, "area_share")), (), None)
    now = _served([u.evaluation for u in left])
    share = _share(made, now)
    before = {text(of(p, "name")) for p in rows(was, "points") if of(p, "served") is True}
    points = _points([u.evaluation for u in left], made)
    lost = tuple(sorted(before - points))
    move = _best_move(made, left, share, set(lost))
    return UnitsLeft(tuple(gone), tuple(left), share, number(of(was, "area_share")), lost, move)


def _at(row: Mapping[str, Any], made: Plan, here: Evaluation, reported: bool) -> UnitAt | None:
    name, spot = text(of(row, "unit")), text(of(row, "spot"))
    group = next((g for g in made.fleet if name in g.names), None)
    latitude, longitude = number(of(row, "latitude")), number(of(row, "longitude"))
    if group is None or not math.isfinite(latitude + longitude):
        return None
    if spot == here.spot.name:
        return UnitAt(name, here, group, reported)
    place = Place(spot, math.nan, latitude, longitude, "")
    for ranked in group.judged:
        other = ranked.spot
        if distance_m(place, Place("", math.nan, other.latitude, other.longitude, "")) <= SAME_PLACE_M:
            return UnitAt(name, ranked.evaluation, group, False)
    there = spot_here(group.judge, latitude, longitude, spot)
    return UnitAt(name, evaluate(group.judge, there), group, False)


def _served(places: Sequence[Evaluation]) -> np.ndarray:
    """(cells,) chance of service by the best of them."""
    held = [e.coverage.probability for e in places if e.coverage is not None and e.coverage.probability is not None]
    return np.max(held, axis=0) if held else np.zeros(0)


def _share(made: Plan, probability: np.ndarray) -> float:
    if made.area is None or len(probability) != len(made.area.weight):
        return math.nan
    return float(probability @ made.area.weight)


def _points(places: Sequence[Evaluation], made: Plan) -> set[str]:
    """Named points that one of them serves."""
    if made.judge is None:
        return set()
    needed = chances_needed(made.judge.study)
    out = set()
    for e in places:
        if e.coverage is not None:
            out |= {p.name for p, least in zip(e.coverage.must_serve, needed, strict=True) if p.probability >= least}
    return out


def _best_move(made: Plan, left: Sequence[UnitAt], share: float, lost: set[str]) -> UnitMove | None:
    """Of all moves of one unit the one that gives most, by lost points served again, then by area; None where none is
    beyond its doubt and none serves a lost point again."""
    best: UnitMove | None = None
    for unit in left:
        others = [u.evaluation for u in left if u is not unit]
        found = []
        for ranked in unit.group.judged:
            there = ranked.evaluation
            if there.spot.key == unit.evaluation.spot.key:
                continue
            again = tuple(sorted(lost & _points([*others, there], made)))
            found.append((len(again), _share(made, _served([*others, there])), again, there))
        if not found:
            continue
        _, after, again, there = max(found, key=lambda row: (row[0], row[1]))
        held = _held(unit, there, after - share)
        if not again and not held.clear:
            continue
        tree = drive_tree(unit.group.judge.study.network, unit.evaluation.spot.x, unit.evaluation.spot.y)
        off, _ = way_there(unit.group.judge, tree, there.spot)
        if off is None:
            continue
        here = unit.evaluation.spot.name
        move = UnitMove(unit.name, here, there.spot.name, held, again, off, after)
        if best is None or (len(again), after) > (len(best.points_gained), best.share):
            best = move
    return best


def _held(unit: UnitAt, there: Evaluation, more: float) -> Gain:
    """What all together gain, with the doubt of the two places of the unit that moves: where the others serve too, it
    counts less than that."""
    here = unit.evaluation
    if here.coverage is None:
        return Gain(more, math.nan, math.nan)
    alone = share_gain(there, here, unit.group.mission, here.coverage.share, None)
    return replace(alone, told=more, low=more + alone.low - alone.told, high=more + alone.high - alone.told)
