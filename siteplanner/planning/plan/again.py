"""Planned again while a trailer runs: what breaks if it stays, what a move gains, the minutes off air that it costs.

Everything is judged under the changed mission by the code that judges every spot; the trailer is taken as it stands.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from siteplanner.mission import Mission
from siteplanner.mission.report import Report
from siteplanner.planning.choose.certainty import Drawn
from siteplanner.planning.choose.difference import NOT_KNOWN, Gain, point_gain, share_gain
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.plan.arrived import HURTS, spot_row, stance, stood_at
from siteplanner.planning.plan.as_built import planned_of
from siteplanner.planning.plan.detail import listed_in_detail
from siteplanner.planning.plan.explain import spot_here
from siteplanner.planning.plan.known_before import with_readings
from siteplanner.planning.plan.lowered import ENDS_SERVICE, Lowered, chances_needed, lowered, stands_wind
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.pipeline import plan
from siteplanner.planning.plan.records import called_in, number, of, rows, text
from siteplanner.planning.plan.stands_now import reported_in, standing_now, standing_row
from siteplanner.planning.plan.units_left import UnitsLeft, units_left
from siteplanner.planning.plan.way_there import way_there
from siteplanner.planning.site.clock import Clock
from siteplanner.planning.site.site_wind import Span
from siteplanner.planning.site.timeline import Moments
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
from siteplanner.planning.study.progress import Progress
from siteplanner.planning.study.reuse import Kept
from siteplanner.planning.study.spot import Spot, Stance
from siteplanner.planning.study.study import Study
from siteplanner.roads.routing import DriveTree, drive_tree
from siteplanner.roads.start import NoStart

Verdict = Literal["stay", "lower", "down", "move", "depends", "cut_off", "no_place"]
MOST_MOVES = 3
SAME_PLACE_M = 1.0
GRAVE = ("warning", "notice")


@dataclass(frozen=True, eq=False)
class Stay:
    """The place where the trailer stands, under the changed mission."""

    evaluation: Evaluation
    stands: Stance
    share: float  # as the sectors point
    turned_share: float  # the same mast with its best bearings
    was_share: float  # before the change, by the earlier plan; NaN not known
    was_ways_out: float  # of the area by road before; NaN not known
    wind: tuple[Span, ...]
    clock: Clock | None
    lowered: Lowered | None = None  # what the forecast wind asks of the mast; None: it stands it, or nobody knows
    stands_wind: bool | None = None  # whether the mast stands the forecast at its stop; None: not known
    forecast: bool = False  # whether there is one

    @property
    def stowed_h(self) -> float:
        """Hours in which the forecast wind stows the dish that carries the traffic; 0 where another backhaul does."""
        return sum(s.hours for s in self.wind if s.limit == "stow") if self.evaluation.dish_used else 0.0

    @property
    def lasting_share(self) -> float:
        """What moving is held against: with the sectors turned, or from the stop that stands the wind."""
        return self.turned_share if self.lowered is None else self.lowered.share

    @property
    def failed(self) -> tuple[Breach, ...]:
        """Limits that are broken there now."""
        return self.evaluation.failed

    @property
    def grave(self) -> tuple[Breach, ...]:
        """Those that can hurt somebody or the unit, or that end the service."""
        return tuple(b for b in self.failed if b.code in ENDS_SERVICE or HURTS.get(b.code, "warning") in GRAVE)

    @property
    def no_way(self) -> bool:
        """No road for the rig leads there: no fuel, no relief, no way out with the trailer."""
        return self.evaluation.access is None

    @property
    def ways_out(self) -> int | None:
        """Ways out of the area by its roads; None: not known."""
        access = self.evaluation.access
        line = None if access is None else access.lifeline
        return None if line is None or line.outside is None else line.outside.ways


@dataclass(frozen=True, eq=False)
class Move:
    """Another place. `off`: minutes without service; None: no road is known from where it stands (`refused`: why the
    rig does not get onto one). `pays_after_min`: of service still needed, from which on moving gives more
    (early, late by the range of the minutes off air); None: never, not known, or it must not stay."""

    spot: RankedSpot
    off: Moments | None
    drive_m: float
    refused: NoStart | None
    share: float
    held: Gain  # against staying with the sectors turned, or with the mast as low as the wind asks
    points_gained: tuple[str, ...]  # beyond the doubt of the two chances
    points_lost: tuple[str, ...]
    pays_after_min: tuple[float, float] | None
    stands_wind: bool | None = None  # whether the mast stands the forecast there; None: not known

    @property
    def gain(self) -> float:
        """As it is told, without its doubt."""
        return self.held.told


@dataclass(frozen=True, eq=False)
class Again:
    """`plan`: of the changed mission. `moves`: to its best spots, the first first; () where the trailer stands at the
    first one or none passes."""

    plan: Plan
    stay: Stay
    moves: tuple[Move, ...]
    stands_first: bool
    units_gone: tuple[str, ...]
    reported: bool
    readings_kept: int = 0  # files of readings that the plan before had in it and the changed mission had not
    left: UnitsLeft | None = None  # where a unit is lost: what the others serve

    @property
    def verdict(self) -> Verdict:
        """Stay or move, by what is known."""
        stay, best = self.stay, self.best
        if stay.grave:
            return "move" if best is not None else "cut_off" if self.moves else "no_place"
        if stay.no_way:
            return "cut_off"
        low = stay.lowered
        if low is not None and not low.enough:
            return "move" if best is not None else "down" if low.stop_m is None or not low.carried else "lower"
        worth = best is not None and (best.held.clear or bool(best.points_gained) or bool(stay.failed))
        if self.left is not None:  # what counts is what all that are left serve together
            worth = self.left.one_should_move or (best is not None and bool(stay.failed))
        return "depends" if worth else "stay" if low is None else "lower"

    @property
    def must_act(self) -> bool:
        """Whether it must not stay as it stands."""
        return bool(self.stay.grave) or self.verdict in ("move", "down", "lower")

    @property
    def best(self) -> Move | None:
        """The first place in the ranking that the trailer can be driven to; where the wind is above what its mast
        stands, the first whose mast stands it."""
        windy = self.stay.lowered is not None
        return next((m for m in self.moves if m.off is not None and (not windy or m.stands_wind)), None)


def planned_again(
    record: Mapping[str, Any],
    mission: Mission,
    report: Report | None,
    file: str | Path,
    progress: Progress | None = None,
    previous: Kept | None = None,
) -> Again:
    """Plan the changed mission, and hold the trailer as it stands against it.

    `record`: plan.json of the run that is followed, as planned or AS BUILT; `report`: how it stands; None: as that
    record says. Spots keep their names. Raises InputError: a record without a spot, a report that does not fit, a
    place outside the changed mission's elevation.
    """
    called = "" if report is None else report.spot
    row = standing_row(record, called) or spot_row(record, called, str(file))
    planned = planned_of(row, str(file))
    mission, readings_kept = with_readings(record, mission, file)
    made = plan(mission, progress, previous, called_in(record))
    judge = made.judge
    assert judge is not None, "a plan that was just made has its judge"
    if report is None:
        spot = spot_here(judge, planned.latitude, planned.longitude, planned.name)
        stands = Stance(planned.heading_deg, planned.mast_stop_m, planned.sector_bearings_deg)
    else:
        spot, _ = stood_at(judge, report, planned)
        stands, _, _ = stance(judge, report, planned, spot)
    ways = number(of(row, "access", "lifeline", "outside", "ways"))
    stay = _staying(judge, spot, stands, planned.share, ways)
    tree = drive_tree(judge.study.network, spot.x, spot.y)
    near = made.search.spacing_used_m / 2 if made.search is not None and not stay.grave else SAME_PLACE_M
    drawn = None if made.fixed is None else made.fixed.drawn(made.judged, made.mission)
    others = [r for r in made.spots if math.hypot(r.spot.x - spot.x, r.spot.y - spot.y) > near]
    reported = report is not None or reported_in(record)
    gone = units_gone(record, mission)
    return Again(
        plan=replace(made, stands=standing_now(stay.evaluation, stands, stay.share, reported)),
        stay=stay,
        moves=tuple(_move(judge, tree, stay, r, drawn) for r in others[:MOST_MOVES]),
        stands_first=bool(made.spots) and made.spots[0] not in others[:1],
        units_gone=gone,
        reported=reported,
        readings_kept=readings_kept,
        left=units_left(record, made, gone, stay.evaluation, reported),
    )


def _staying(judge: Judge, spot: Spot, stands: Stance, was_share: float, was_ways_out: float) -> Stay:
    found = evaluate(judge, spot, stands)
    (listed,) = listed_in_detail(judge, rank([replace(found, failed=())], judge.study.mission), judge.forecast)
    site, coverage = listed.evaluation.on_site, found.coverage
    wind = None if site is None else site.wind
    detailed = replace(listed.evaluation, failed=found.failed)
    return Stay(
        evaluation=detailed,
        stands=stands,
        share=_share(coverage),
        turned_share=math.nan if coverage is None else max(coverage.share, coverage.share_by_stop[0][1]),
        was_share=was_share,
        was_ways_out=was_ways_out,
        wind=() if wind is None else tuple(wind.spans),
        clock=None if site is None else site.clock,
        lowered=lowered(judge, spot, stands, found, wind),
        stands_wind=stands_wind(wind),
        forecast=judge.forecast is not None,
    )


def _share(coverage: Coverage | None) -> float:
    return math.nan if coverage is None else coverage.share


def _move(judge: Judge, tree: DriveTree, stay: Stay, ranked: RankedSpot, drawn: Drawn | None) -> Move:
    off, drive_m = way_there(judge, tree, ranked.spot)
    mission, there, here = judge.study.mission, ranked.evaluation, stay.evaluation
    low = stay.lowered
    if low is not None and low.evaluation is not None:
        here = low.evaluation
    share, held = _share(there.coverage), share_gain(there, here, mission, stay.lasting_share, drawn)
    down = low is not None and low.evaluation is None
    gained, lost = _points(there, here, judge.study, down)
    site = there.on_site
    stands = None if site is None else stands_wind(site.wind)
    if low is not None and not stands:  # the wind is too much there as well, or nobody knows: nothing is gained
        held, gained = NOT_KNOWN, ()
    # what nobody can tell apart: no time pays it back
    worth = off is not None and not stay.grave and held.clear
    pays = pays_after(off, stay.lasting_share, share) if off is not None and worth else None
    return Move(
        spot=ranked,
        off=off,
        drive_m=drive_m,
        refused=tree.refused,
        share=share,
        held=held,
        points_gained=gained,
        points_lost=lost,
        pays_after_min=pays,
        stands_wind=stands,
    )


def _points(there: Evaluation, here: Evaluation, study: Study, down: bool) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(served only there, served only here), each only where the draws of the two chances leave no doubt which is more.

    `down`: from here nothing is served any more.
    """
    if there.coverage is None or here.coverage is None:
        return (), ()
    gained: list[str] = []
    lost: list[str] = []
    mission, chances = study.mission, chances_needed(study)
    for one, other, needed in zip(there.coverage.must_serve, here.coverage.must_serve, chances, strict=True):
        if one.probability >= needed and (down or other.probability < needed):
            gained += [one.name] if down or point_gain(one, other, there, mission).clear else []
        elif other.probability >= needed > one.probability and not down:
            lost += [one.name] if point_gain(other, one, here, mission).clear else []
    return tuple(sorted(gained)), tuple(sorted(lost))


def pays_after(off: Moments, stays: float, moves: float) -> tuple[float, float] | None:
    """Minutes of service still needed from which on moving gives more: (T - off) moves = T stays, so
    T = off moves / (moves - stays); for an early and a late end of the move. None where moving serves no more."""
    if not moves > stays:
        return None
    early, late = (minutes * moves / (moves - stays) for minutes in (off.early_min, off.late_min))
    return early, late


def units_gone(record: Mapping[str, Any], mission: Mission) -> tuple[str, ...]:
    """Names of units that the mission before had and this one has not."""
    was = [text(of(u, "name")) for u in rows(record, "mission", "units")]
    now = {u.name for u in mission.units}
    return tuple(name for name in was if name and name not in now)


def points_now(again: Again) -> tuple[tuple[str, float, float], ...]:
    """(named point, chance if it stays, chance from the first place that it can be driven to; NaN without one). If it
    stays: from the stop that the wind leaves it, nothing where the mast comes down."""
    low, best = again.stay.lowered, again.best
    stay = again.stay.evaluation.coverage
    if low is not None and low.evaluation is not None:
        stay = low.evaluation.coverage
    down = low is not None and low.stop_m is None
    there = {} if best is None or best.spot.evaluation.coverage is None else {
        p.name: p.probability for p in best.spot.evaluation.coverage.must_serve
    }  # fmt: skip
    points = () if stay is None else stay.must_serve
    return tuple((p.name, 0.0 if down else p.probability, number(there.get(p.name))) for p in points)
