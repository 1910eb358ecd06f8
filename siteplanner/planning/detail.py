"""What is worked out for spots that are handed over and for explained points, beyond what rules and ranks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from siteplanner.planning.evaluate import Judge
from siteplanner.planning.model import Evaluation, RankedSpot
from siteplanner.planning.skyline import skyline
from siteplanner.planning.slots import visible_arc


def in_detail(judge: Judge, evaluation: Evaluation) -> Evaluation:
    """The same evaluation with its horizon diagram and the part of the satellite arc in view."""
    if evaluation.skyline is not None and evaluation.arc is not None:
        return evaluation
    return replace(
        evaluation,
        skyline=judge.step("skyline", skyline, judge.study, evaluation.spot, evaluation.sky),
        arc=judge.step("arc", visible_arc, judge.study, evaluation.spot, evaluation.sky),
    )


def listed_in_detail(judge: Judge, listed: Iterable[RankedSpot]) -> tuple[RankedSpot, ...]:
    """Ranked spots with their details; those that have them already are left as they are."""
    return tuple(replace(r, evaluation=in_detail(judge, r.evaluation)) for r in listed)
