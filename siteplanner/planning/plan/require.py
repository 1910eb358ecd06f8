"""Another named point required of a plan that is there, or no longer: the judged spots are ranked again, nothing
physical is worked out.

What the search would have done otherwise (other cells tried around the spots that are best now) only a run can say.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from siteplanner.errors import Finding
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.plan.decision import required_findings
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.required import cannot_be_kept, required_breaks, without_limit

TOLD = {"required_costs", "required_unmet"}


def required_now(plan: Plan) -> frozenset[str]:
    """The names of the points that the plan requires."""
    return frozenset(p.name for p in plan.points if p.required)


def require(old: Plan, names: Collection[str]) -> Plan:
    """The same plan with these named points required and no others.

    Spots that only this rules out stand in `set_aside`: they may still be the place of a further trailer, and they come
    back when the point is no longer required. Where no judged spot serves all of the points none is ruled out, and a
    finding says so. A point that the mission requires must be among `names`: the spots that missed it are gone.
    """
    if old.judge is None or not old.points:
        return old
    required = tuple(p.name in names for p in old.points)
    mission = old.mission.model_copy(
        update={"site": old.mission.site.model_copy(update={"required_points": tuple(sorted(names))})}
    )
    study = replace(old.judge.study, mission=mission)
    user_out = [e for e in old.rejected if _only_required(e)]
    held = {e.spot.key: e for e in user_out}
    held |= {r.spot.key: r.evaluation for r in (*old.judged, *old.set_aside, *old.spots)}
    judged = [replace(e, failed=tuple(required_breaks(study, e.coverage))) for e in held.values()]
    holds = not cannot_be_kept(judged)
    if not holds:
        judged = without_limit(judged)
    judge = replace(old.judge, study=study, required_holds=holds)
    out = {e.spot.key for e in judged if e.failed}
    aside = tuple(r for r in rank(without_limit(judged), mission) if r.spot.key in out)
    gone = {e.spot.key for e in user_out}
    made = replace(
        old,
        mission=mission,
        judge=judge,
        judged=rank(judged, mission),
        set_aside=aside,
        points=tuple(replace(p, required=must) for p, must in zip(old.points, required, strict=True)),
        rejected=(
            *(e for e in old.rejected if e.spot.key not in gone),
            *(e for e in judged if e.failed and e.spot.origin == "user"),
        ),
    )
    made = rescore(made, mission.weights)
    return replace(made, findings=_told(made, judged, holds))


def _only_required(e: Evaluation) -> bool:
    """Whether a spot is out for nothing but a required point."""
    return bool(e.failed) and not without_limit([e])[0].failed


def _told(plan: Plan, judged: list[Evaluation], holds: bool) -> tuple[Finding, ...]:
    """The plan's findings, with what the required points cost."""
    others = [f for f in plan.findings if f.code not in TOLD]
    return (*others, *required_findings(plan.points, judged, plan.judged, plan.mission, holds))


def served_from(plan: Plan, point: int) -> int:
    """How many judged spots serve a named point (its place in the layer), those set aside among them."""
    held = [r.evaluation.coverage for r in (*plan.judged, *plan.set_aside)]
    return sum(c is not None and c.must_serve[point].probability >= plan.points[point].needed for c in held)


def hand_over(plan: Plan, key: tuple[float, float]) -> Plan:
    """The plan with one more of its judged spots worked out in detail and listed, at its rank; the same plan where it
    is listed already, or not judged."""
    from siteplanner.planning.plan.detail import listed_in_detail

    found: RankedSpot | None = next((r for r in plan.judged if r.spot.key == key), None)
    if found is None or plan.judge is None or any(r.spot.key == key for r in plan.spots):
        return plan
    (more,) = listed_in_detail(plan.judge, [found], plan.forecast)
    judged = tuple(more if r.spot.key == key else r for r in plan.judged)
    return replace(plan, spots=tuple(sorted((*plan.spots, more), key=lambda r: r.rank)), judged=judged)
