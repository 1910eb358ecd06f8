"""Which judged spots the loss of each road cuts off."""

from __future__ import annotations

from dataclasses import dataclass

from siteplanner.planning.plan.model import Plan
from siteplanner.roads.lifeline import Thread


@dataclass(frozen=True)
class CutOff:
    """What hangs on one road: how many judged spots lose the way from the staging point, or the way out, with it.

    `either`: how many lose one or the other. `listed`: names of the spots worked out in full among them, by rank.
    """

    from_staging: int
    from_outside: int
    either: int
    listed: tuple[str, ...]


def cut_off_by_road(plan: Plan) -> dict[int, CutOff]:
    """Row of the road network -> what hangs on it; roads on which nothing hangs are left out.

    A spot whose way out is not known counts for the way in alone.
    """
    staging: dict[int, set[int]] = {}
    outside: dict[int, set[int]] = {}
    for n, ranked in enumerate(plan.judged):
        access = ranked.evaluation.access
        line = None if access is None else access.lifeline
        if line is None:
            continue
        _add(staging, line.staging, n)
        if line.outside is not None:
            _add(outside, line.outside, n)
    listed = {r.spot.key for r in plan.spots}
    out = {}
    for row in sorted(staging.keys() | outside.keys()):
        one, two = staging.get(row, set()), outside.get(row, set())
        both = sorted(one | two)
        names = tuple(plan.judged[n].spot.name for n in both if plan.judged[n].spot.key in listed)
        out[row] = CutOff(len(one), len(two), len(both), names)
    return out


def _add(held: dict[int, set[int]], thread: Thread, spot: int) -> None:
    for stretch in thread.stretches:
        held.setdefault(stretch.segment, set()).add(spot)
