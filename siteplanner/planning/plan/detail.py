"""What is worked out for spots that are handed over and for explained points, beyond what rules and ranks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.drive import start_words, tell, tell_route
from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.spots.evaluate import Judge
from siteplanner.planning.spots.evaluation import Access, Evaluation
from siteplanner.planning.spots.skyline import skyline
from siteplanner.planning.spots.slots import visible_arc


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


def told_of(plan: Plan, access: Access) -> Told:
    """What was told of a drive, or what the plan's scene alone can tell of it."""
    if access.told is not None:
        return access.told
    scene, start = plan.scene, start_words(plan.mission, access)
    return tell_route(scene.roads, access.route, scene.elevation, access.ways, scene.overlays, start)
