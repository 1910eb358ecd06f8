"""What the ranked spots leave to decide: the options, who serves which named point, who ties with the first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from siteplanner.errors import Finding
from siteplanner.mission import Mission
from siteplanner.planning.choose.fixed import Fixed
from siteplanner.planning.choose.options import MOST, Field, choose_rows
from siteplanner.planning.choose.points import PointAnswer
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.plan.model import Plan, Scene
from siteplanner.planning.spots.candidates import letters
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.places import Nearby, near_places
from siteplanner.planning.spots.required import CODE, without_limit
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.study.area import AreaCells


def fixed_of(judged: Iterable[Evaluation], mission: Mission, scene: Scene, area: AreaCells | None) -> Fixed:
    """What no weight changes of the judged spots, in the order of their places; those that break a limit are left out.

    One order whatever the weights, so that sums over all spots end in the same last digit.
    """
    passing = tuple(sorted((e for e in judged if not e.failed), key=lambda e: e.spot.key))
    return Fixed(passing, tuple(_near(passing, scene)), mission, scene.roads, area)


def fixed_in(plan: Plan) -> Fixed:
    """What no weight changes of a plan's judged spots: worked out before, where it is of these very spots."""
    if plan.fixed is not None and plan.fixed.row_of.keys() == {r.spot.key for r in plan.judged}:
        return plan.fixed
    return fixed_of((r.evaluation for r in plan.judged), plan.mission, plan.scene, plan.area)


def field_of(ranked: Sequence[RankedSpot], fixed: Fixed, required: tuple[bool, ...]) -> Field:
    """The judged spots with the figures by which they are compared."""
    assert fixed.area is not None
    rows, pairs = fixed.rows(ranked), fixed.pairs
    needed = tuple(fixed.mission.radio.chance_needed if must else SERVED for must in required)
    overlaps = None if pairs is None else pairs.overlap[np.ix_(rows, rows)]
    return Field(ranked, fixed.figures.of(rows), fixed.area.weight, needed, overlaps)


def _near(judged: Sequence[Evaluation], scene: Scene) -> list[Nearby]:
    return near_places([e.spot for e in judged], scene.overlays.get("hazards"), scene.overlays.get("water"))


def nearby(plan: Plan) -> list[Nearby]:
    """What lies near each judged spot."""
    return _near([r.evaluation for r in plan.judged], plan.scene)


def option_rows(field: Field, mission: Mission) -> tuple[int, ...]:
    """Which judged spots are the options; never more than are handed over."""
    return choose_rows(field, min(MOST, mission.search.listed_spots))


def listed_of(ranked: Sequence[RankedSpot], mission: Mission, options: Sequence[int]) -> tuple[RankedSpot, ...]:
    """The spots handed over, by rank: the options, the next best until there are enough, every spot of the user's."""
    others = [row for row in range(len(ranked)) if row not in options]
    taken = {*options, *others[: max(mission.search.listed_spots - len(options), 0)]}
    return tuple(r for row, r in enumerate(ranked) if row in taken or r.spot.origin == "user")


def set_aside_of(
    evaluations: Sequence[Evaluation], ranked: Sequence[RankedSpot], mission: Mission
) -> tuple[RankedSpot, ...]:
    """The spots that only a required point rules out, by rank among all that keep every other limit: places for a
    further trailer. They are called by the letters that the ranked spots leave."""
    only = {e.spot.key for e in evaluations if e.failed and all(b.code == CODE for b in e.failed)}
    taken, number, out = {r.spot.name for r in ranked}, 0, []
    for r in rank(without_limit(evaluations), mission) if only else ():
        if r.spot.key not in only:
            continue
        spot = r.spot
        while spot.origin != "user" and letters(number) in taken:
            number += 1
        if spot.origin != "user":
            spot, number = replace(spot, name=letters(number)), number + 1
        out.append(replace(r, evaluation=replace(r.evaluation, spot=spot, failed=())))
    return tuple(out)


def required_findings(
    points: Sequence[PointAnswer], evaluations: Sequence[Evaluation], ranked: Sequence[RankedSpot], mission: Mission,
    holds: bool,
) -> list[Finding]:  # fmt: skip
    """What the required points cost: that no spot serves all of them, or what serving them gives up."""
    must, chance = [p for p in points if p.required], mission.radio.chance_needed
    if not must or not ranked:
        return []
    first, coverage = _share(ranked[0].evaluation), ranked[0].evaluation.coverage
    service = None if coverage is None else coverage.service
    weighted_by = "area" if service is None else service.weighted_by
    if not holds:
        facts: dict[str, object] = {
            "chance": chance,
            "share": first,
            "weighted_by": weighted_by,
            "points": tuple(
                {"name": p.name, "spot": "", "share": 0.0}
                if p.best is None
                else {"name": p.name, "spot": p.best.spot.name, "share": _share(p.best.evaluation)}
                for p in must
            ),
        }
        return [Finding("required_unmet", "check", facts=facts)]
    lost = sum(bool(e.failed) and all(b.code == CODE for b in e.failed) for e in evaluations)
    without = rank(without_limit(evaluations), mission)[0] if lost else ranked[0]
    if without.evaluation.spot.key == ranked[0].spot.key:
        return []
    names = tuple(p.name for p in must)
    facts = {"chance": chance, "share": first, "without": _share(without.evaluation), "lost": lost, "names": names}
    return [Finding("required_costs", "note", facts={**facts, "weighted_by": weighted_by})]


def _share(e: Evaluation) -> float:
    return 0.0 if e.coverage is None else e.coverage.share


def by_key(spots: Sequence[RankedSpot]) -> Mapping[tuple[float, float], RankedSpot]:
    """Spots by what tells them apart."""
    return {r.spot.key: r for r in spots}
