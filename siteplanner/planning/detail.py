"""What is worked out for spots that are handed over and for explained points, beyond what rules and ranks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from siteplanner.planning.evaluate import Judge
from siteplanner.planning.model import Evaluation, RankedSpot
from siteplanner.planning.skyline import skyline
from siteplanner.planning.slots import visible_arc
from siteplanner.planning.told import tell


def in_detail(judge: Judge, evaluation: Evaluation) -> Evaluation:
    """The same evaluation with its horizon diagram, the part of the satellite arc in view, and its drive told."""
    study, spot, sky, access = judge.study, evaluation.spot, evaluation.sky, evaluation.access
    if evaluation.skyline is None:
        evaluation = replace(evaluation, skyline=judge.step("skyline", skyline, study, spot, sky))
    if evaluation.arc is None:
        evaluation = replace(evaluation, arc=judge.step("arc", visible_arc, study, spot, sky))
    if access is not None and access.told is None:
        evaluation = replace(evaluation, access=replace(access, told=tell(judge, spot, access)))
    return evaluation


def listed_in_detail(judge: Judge, listed: Iterable[RankedSpot]) -> tuple[RankedSpot, ...]:
    """Ranked spots with their details; those that have them already are left as they are."""
    return tuple(replace(r, evaluation=in_detail(judge, r.evaluation)) for r in listed)
