"""Units that differ: which are alike in all that a spot is judged by, and the spots as each of them would find them.

Where only the place of start differs, the drive alone is judged again; another trailer, radio or sky is judged on the
same layers and roads; another rig on roads of its own. What does not depend on what differs is taken over by its
declared inputs (`study.reuse`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from siteplanner.errors import InputError
from siteplanner.mission import Mission, Unit
from siteplanner.mission.units import OWN_TABLES, check_units
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.scoring import rank
from siteplanner.planning.limits.cells import rule_ground
from siteplanner.planning.spots.candidates import letters
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study


@dataclass(frozen=True, eq=False)
class Group:
    """Units alike in all that a spot is judged by. Without named units: as many as are asked for, called ''."""

    names: tuple[str, ...]
    ready_min: tuple[float, ...]  # after dispatch, beside `names`; 0: at dispatch
    mission: Mission  # as these units have it
    judge: Judge
    judged: tuple[RankedSpot, ...]  # spots that pass for them, best first
    own: bool  # judged beside the mission's own judgement, because something differs


def groups_of(
    mission: Mission,
    judge: Judge,
    judged: tuple[RankedSpot, ...],
    spots: Sequence[Spot],
    reuse: Reuse,
    tick: Callable[[float], None],
) -> tuple[Group, ...]:
    """The units in groups, each with its spots.

    `judged`: what passes by the mission's own tables. `spots`: every spot that was judged, passing or not: each is
    judged again for units that differ. Raises InputError for a unit whose staging point is not there or has no rig.
    """
    if not mission.units:
        count = mission.search.sets
        return (Group(("",) * count, (0.0,) * count, mission, judge, judged, False),)
    _starts_known(mission)
    alike: list[tuple[Mission, list[Unit]]] = []
    for unit in mission.units:
        own = mission.of_unit(unit)
        held = next((units for other, units in alike if _alike(own, other)), None)
        if held is None:
            alike.append((own, [unit]))
        else:
            held.append(unit)
    out = []
    for number, (own, units) in enumerate(alike):
        tick(number / len(alike))
        units = sorted(units, key=lambda unit: _ready_min(mission, unit))
        names, ready = tuple(u.name for u in units), tuple(_ready_min(mission, u) for u in units)
        if _alike(own, mission):
            out.append(Group(names, ready, mission, judge, judged, False))
            continue
        theirs = judge_of(own, judge, reuse)
        out.append(Group(names, ready, own, theirs, _judged_by(theirs, own, judged, spots), True))
    return tuple(out)


def judge_of(mission: Mission, judge: Judge, reuse: Reuse) -> Judge:
    """What spots are judged by for units that have the mission so; the same area cells as the mission's own judge.

    Required points rule none of their spots out: the trailers of a set serve them between them.
    """
    inner, stages = reuse.within(), Stages()
    study = _study_of(mission, judge.study, stages, inner)
    ruling, way, _ = rule_ground(study, stages, inner)
    return replace(judge, study=study, ruling=ruling, way=way, reuse=inner, required_holds=False)


def _study_of(mission: Mission, study: Study, stages: Stages, reuse: Reuse) -> Study:
    all_start = study.mission.staging
    if mission.rig != study.mission.rig:
        # loaded with every start, so that the layers are cut as before and the cells of the area are the same
        study = load_study(mission.model_copy(update={"staging": all_start}), stages, reuse)
    starting = {start.name for start in mission.starts}
    trees = [t for t, s in zip(study.trees, study.mission.starts, strict=True) if s.name in starting]
    return replace(study, mission=mission, tree=trees[0], further_trees=tuple(trees[1:]))


def _judged_by(
    judge: Judge, mission: Mission, judged: Sequence[RankedSpot], spots: Sequence[Spot]
) -> tuple[RankedSpot, ...]:
    """The spots that pass, called as in the mission's own ranking; those that pass only here by the next letters."""
    called = {r.spot.key: r.spot.name for r in judged}
    taken = set(called.values())
    ranked = rank((evaluate(judge, spot) for spot in spots), mission)
    out, number = [], 0
    for r in ranked:
        name = called.get(r.spot.key, r.spot.name if r.spot.origin == "user" else "")
        while not name:
            if letters(number) not in taken:
                name = letters(number)
                taken.add(name)
            number += 1
        out.append(replace(r, evaluation=replace(r.evaluation, spot=replace(r.spot, name=name))))
    return tuple(out)


def _alike(one: Mission, other: Mission) -> bool:
    """Whether nothing differs that a spot is judged by."""
    tables = all(getattr(one, name) == getattr(other, name) for name in OWN_TABLES)
    return tables and [s.name for s in one.starts] == [s.name for s in other.starts]


def _ready_min(mission: Mission, unit: Unit) -> float:
    """Minutes after dispatch at which a unit is ready; one that is ready before it waits for nothing."""
    dispatch = mission.times.dispatch
    if unit.ready_from is None or dispatch is None:
        return 0.0
    return max((unit.ready_from - dispatch).total_seconds() / 60, 0.0)


def _starts_known(mission: Mission) -> None:
    """Staging points of a layer are read by now: each unit's must be among them."""
    try:
        check_units(mission.units, {s.name: s.rig_available for s in mission.staging}, mission.times.dispatch)
    except ValueError as error:
        raise InputError(
            f"{error}.", remedy="Name a staging point that has a rig, or leave `staging` out.", field="units"
        ) from None
