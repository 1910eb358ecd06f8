"""Sets of trailers as a part of the plan: units judged, sets chosen, their spots worked out in full and handed over."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from typing import overload

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.choose.sets import TrailerAt, TrailerSet, trailer_sets
from siteplanner.planning.choose.units import Group, groups_of
from siteplanner.planning.plan.decision import fixed_in
from siteplanner.planning.plan.detail import listed_in_detail
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.spot import Spot


def with_sets(plan: Plan, spots: Iterable[Spot], spacing_m: float, stages: Stages, reuse: Reuse) -> Plan:
    """The plan with its best sets of trailers. `spots`: every spot that was judged; `spacing_m`: kept within a set."""
    if plan.judge is None:
        return plan
    with stages.stage("Choosing places for several trailers") as tick:
        held = replace(plan.judge, reuse=reuse)
        groups = groups_of(plan.mission, held, plan.judged, tuple(spots), reuse, tick)
        made = choose_sets(replace(plan, fleet=groups, set_spacing_m=spacing_m))
    lent = tuple(replace(g, judge=replace(g.judge, reuse=None)) for g in made.fleet)
    return replace(made, fleet=lent)


def completed(plan: Plan) -> Plan:
    """The plan with its sets, where they wait since a change of weights."""
    return choose_sets(replace(plan, sets_wait=False)) if plan.sets_wait else plan


def choose_sets(plan: Plan) -> Plan:
    """The plan with the sets that its units and its weights lead to.

    Spots of a set that are judged by the mission's own tables are handed over with the plan's spots, at their rank.
    """
    if plan.judge is None or not plan.fleet:
        return plan
    groups = tuple(_by_weights(plan, group) for group in plan.fleet)
    sets = trailer_sets(
        groups,
        plan.judge.study.area_cells,
        plan.mission,
        plan.set_spacing_m,
        plan.judged,
        fixed_in(plan),
        plan.judge.study.required,
    )
    beside = [one for one in (sets.beside_first, sets.with_runner_up) if one is not None]
    told = [*sets.by_size.values(), *beside]
    spots = {id(r): r for one in told for r in one.spots}
    in_full = {id(r): r for r in spots.values()}
    listed = {r.spot.key: r for r in plan.spots}
    own = {id(r) for r in plan.judged}
    for group in groups:
        held = {id(r) for r in group.judged} & spots.keys()
        new = [r for k, r in spots.items() if k in held and not (k in own and r.spot.key in listed)]
        in_full |= dict(zip(map(id, new), listed_in_detail(group.judge, new, plan.forecast), strict=True))
    more = [in_full[k] for k, r in spots.items() if k in own and r.spot.key not in listed]
    known = {r.spot.key: r.certainty for r in plan.judged}
    more = [replace(r, certainty=known.get(r.spot.key)) for r in more]
    listed |= {r.spot.key: r for r in more}
    in_full |= {k: listed[r.spot.key] for k, r in spots.items() if k in own}
    return replace(
        plan,
        sets={size: _in_full(one, in_full) for size, one in sets.by_size.items()},
        beside_first=_in_full(sets.beside_first, in_full),
        with_runner_up=_in_full(sets.with_runner_up, in_full),
        spots=tuple(sorted(listed.values(), key=lambda r: r.rank)),
        fleet=groups,
    )


@overload
def _in_full(one: TrailerSet, in_full: dict[int, RankedSpot]) -> TrailerSet: ...
@overload
def _in_full(one: None, in_full: dict[int, RankedSpot]) -> None: ...
def _in_full(one: TrailerSet | None, in_full: dict[int, RankedSpot]) -> TrailerSet | None:
    if one is None:
        return None
    return replace(one, trailers=tuple(replace(t, ranked=in_full[id(t.ranked)]) for t in one.trailers))


def plan_of_unit(plan: Plan, trailer: TrailerAt) -> tuple[Plan, RankedSpot]:
    """(the plan as one trailer of a set has it, its spot), for its driver's and its crew's sheet.

    Its own tables, roads and place of start; times count from its own readiness, by that hour's light and wind. What
    roads allow at the hour of the mission's dispatch is not asked again.
    """
    group = next((g for g in plan.fleet if trailer.unit in g.names), None)
    if group is None or not trailer.unit:
        return plan, trailer.ranked
    mission, judge, ranked = group.mission, group.judge, trailer.ranked
    if trailer.ready_min and mission.times.dispatch is not None:
        ready = mission.times.dispatch + timedelta(minutes=trailer.ready_min)
        mission = mission.model_copy(update={"times": mission.times.model_copy(update={"dispatch": ready})})
        judge = replace(judge, study=replace(judge.study, mission=mission))
        bare = replace(ranked, evaluation=replace(ranked.evaluation, on_site=None))
        ranked = listed_in_detail(judge, [bare], plan.forecast)[0]
    named = mission.model_copy(update={"name": f"{mission.name}: {trailer.unit}"})
    scene = replace(plan.scene, roads=judge.study.network)
    return replace(plan, mission=named, judge=judge, scene=scene, spots=(ranked,)), ranked


def _by_weights(plan: Plan, group: Group) -> Group:
    """The group with its spots in the order of the plan's weights."""
    mission = group.mission.model_copy(update={"weights": plan.mission.weights})
    if not group.own:
        return replace(group, mission=mission, judged=(*plan.judged, *plan.set_aside))
    return replace(group, mission=mission, judged=rank((r.evaluation for r in group.judged), mission))
