"""What a commander reads in thirty seconds: figures in a row, the one worst thing, the runner-up, what to decide.

No decibels, points or parameter names: those are for whoever reads `plan.json` or the GIS package.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import timedelta

from siteplanner.planning.choose.options import Option, Trigger
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.on_site import HazardNear
from siteplanner.planning.spots.capacity import Capacity
from siteplanner.planning.spots.evaluation import Access
from siteplanner.planning.telling.answer import missed_of, rival, spoken
from siteplanner.planning.telling.as_built import where_words
from siteplanner.planning.telling.backhaul_rows import KINDS, other_backhauls
from siteplanner.planning.telling.capacity import at_once_words
from siteplanner.planning.telling.certainty import flips_words
from siteplanner.planning.telling.clock import clock_range, day_and_time
from siteplanner.planning.telling.lifeline import way_in_short, way_out_short
from siteplanner.planning.telling.options import option_whys
from siteplanner.planning.telling.prediction import doubt_words
from siteplanner.planning.telling.roads import near_words, unknown_kinds_words
from siteplanner.planning.telling.service import (
    chance_words,
    kind_words,
)
from siteplanner.planning.telling.spelling import name_and_spelling
from siteplanner.planning.telling.timeline import refuel_words
from siteplanner.planning.telling.units import METRIC, Units

Named = Callable[[str], str]
NEAR_M = 500.0  # a hazard area farther from the spot, and not on the drive, does not matter today
LEAST_CHANCE = 0.01  # of a road that is too steep, from which on a scout looks at it; common practice, no source
NEAR_WIRES, NEAR_WIRES_M = 2.0, 200.0  # times what is kept, and at least so far; common practice, no source
BLANK = "__________"
PREDICTED = "predicted for half of the time, not measured"


def head_words(ranked: RankedSpot | None, named: Named = str) -> str:
    """The head of a sheet: `Commander sheet: spot C (Charlie)`."""
    if ranked is None:
        return "Commander sheet: no spot passes"
    name = ranked.spot.name
    return f"Commander sheet: {named(spoken(name).replace(name, name_and_spelling(name)))}"


def park_words(plan: Plan, ranked: RankedSpot, units: Units = METRIC) -> str:
    """The answer in three words; of another spot than the first its rank; where a trailer stands already, that."""
    if plan.as_built is not None:
        return f"{_capital(where_words(plan.as_built, units))}."
    name = spoken(ranked.spot.name)
    if plan.best is not None and ranked.spot.name == plan.best.spot.name:
        return f"Park at {name}."
    of = f" of {len(plan.judged)} that pass" if plan.judged else ""
    return f"{_capital(name)}: rank {ranked.rank}{of}."


def firm_words(plan: Plan, units: Units = METRIC) -> str:
    """How sure the first place is, in one sentence: `Spot A is the best of 114 with a chance of 55 %; spot B leads
    if ...`; '' without a rival."""
    firm, best, second = plan.firmness, plan.best, plan.runner_up
    if firm is None or best is None or second is None:
        return ""
    lead = _capital(spoken(best.spot.name))
    if math.isnan(firm.best_chance):
        if math.isnan(firm.holds_to):
            return f"{lead} ranks first, {spoken(second.spot.name)} second."
        return f"{lead} stays first even if every weight changes by {units.share_at_least(min(firm.holds_to, 1.0))}."
    text = f"{lead} is the best of {firm.judged} with a chance of {units.share(firm.best_chance)}"
    flips = flips_of(plan, units)
    return f"{text}; {flips[:1].lower()}{flips[1:]}." if flips else f"{text}."


def flips_of(plan: Plan, units: Units = METRIC) -> str:
    """`Spot B leads if the ground at spot A is too steep to level (14 %)`: of the likeliest rival; '' for none."""
    return "" if plan.firmness is None else flips_words(plan.firmness, units).partition(". ")[0].rstrip(".")


def without_rows(ranked: RankedSpot, units: Units = METRIC, named: Named = str) -> list[tuple[str, str]]:
    """Who is without service, by name, with the chance; one row that says so where nobody named is."""
    coverage = ranked.evaluation.coverage
    if coverage is None:
        return [("Not known", "service was not predicted")]
    missed = missed_of(coverage, named)
    rows = [
        (name, f"{'none expected' if chance < 0.1 else 'unlikely'} ({units.share(chance)})") for name, chance in missed
    ]
    service = coverage.service
    if service is not None and len(service.polygons) > 1:
        for number, one in enumerate(service.polygons, 1):
            if one.share < 1:
                name = named(one.name) or f"Area {number}"
                rows.append((name, f"{units.share(1 - one.share)} of it without service"))
    return rows or [("Nobody named", "every named point is served")]


def meaning_rows(ranked: RankedSpot, carries: Capacity | None, units: Units = METRIC) -> list[tuple[str, str]]:
    """What service means: what for and where, how many at once, how sure."""
    coverage = ranked.evaluation.coverage
    if coverage is None:
        return []
    rows = []
    if coverage.service is not None:
        rows.append(("Service is", kind_words(coverage.service)))
    if carries is not None:
        rows.append(("At once", at_once_words(carries, units.first)))
    if doubt := doubt_words(coverage, units):
        rows.append(("Area", f"{doubt}; {PREDICTED}"))
    else:
        rows.append(("How sure", PREDICTED))
    return rows


def drive_rows(ranked: RankedSpot, units: Units = METRIC, named: Named = str) -> list[tuple[str, str]]:
    """The drive as a commander needs it: ways in and out, the steepest, where the rig comes from, how long it lasts."""
    e, timeline = ranked.evaluation, ranked.on_site.timeline
    rows = []
    if e.on_air is not None and timeline is not None and timeline.dispatch is not None:
        early, late = timeline.clock(e.on_air.early_min), timeline.clock(e.on_air.late_min)
        rows.append(("By the clock", clock_range(early, late)))
    if e.access is not None:
        if e.access.by_staging:
            rows.append(("Rig from", named(e.access.by_staging[0].name)))
        told = {f.code for f in e.findings}  # what hangs on one road is a danger, told as one
        if "one_way_in" not in told:
            rows.append(("Way in", way_in_short(e.access, units.first)))
        if "one_way_out" not in told:
            rows.append(("Way out", way_out_short(e.access, units.first)))
        rows.append(("Steepest", units.grade(e.access.worst_grade_pct, e.access.worst_grade_error_pct)))
    if e.backhaul is not None and not e.dish_used:
        rows.append(("Backhaul", KINDS[e.backhaul.kind]))
    if len(e.backhauls) > 1:
        rows.append(("Other backhaul", other_backhauls(e)))
    clock = ranked.on_site.clock
    if timeline is not None and (clock is None or not clock.outage_min[1] > 0):  # else told with the hours off the air
        rows.append(("Fuel", refuel_words(timeline, units)))
    return rows


def scout_words(plan: Plan, ranked: RankedSpot, units: Units = METRIC, named: Named = str) -> str:
    """What a scout is sent to find out before the rig is past the point of choice, and by when; '' for nothing."""
    access = ranked.evaluation.access
    if access is None:
        return ""
    asks = _asks(ranked, access, units.first, named)
    if not asks:
        return ""
    numbered = f"{asks[0]}?" if len(asks) == 1 else " ".join(f"{n}. {ask}?" for n, ask in enumerate(asks, 1))
    return f"Send a scout ahead: {numbered} {_answer_by(plan, ranked, units)}"


def _asks(ranked: RankedSpot, access: Access, units: Units, named: Named) -> list[str]:
    """The open questions of the drive, the one that stops a rig for certain first; at most three."""
    asks, told = list[str](), access.told
    if access.near_limit and access.near_limit[0].chance >= LEAST_CHANCE:
        near = access.near_limit[0]
        grade = near_words(near.grade_pct, near.error_pct, near.limit_pct, units)
        asks.append(f"Can the rig take {named(near.name or 'the steep road')} ({grade})")
    bend = next((f for f in ranked.evaluation.findings if f.code == "route_bend"), None)
    if bend is not None:
        tight = next((h for h in told.hazards if h.kind == "bend" and h.severity == "warning"), None) if told else None
        where = f" at {units.figure(tight.running_m / 1000, 'km', 1)}" if tight is not None else ""
        asks.append(f"Does the rig get round the tight turn{where}")
    beside = told.beside if told is not None else ()
    if beside:
        asks.append(f"How high does {named(beside[0].name or 'the water')} stand at road and bridges")
    kinds = unknown_kinds_words([u for u in access.unknown if not u.near]) if access.unknown else ""
    if kinds:
        asks.append(f"What do the signs say: {kinds}")
    return asks[:3]


def _answer_by(plan: Plan, ranked: RankedSpot, units: Units) -> str:
    """Until when an answer saves the drive: where the rival's drive leaves this one."""
    trigger = _trigger(plan, ranked)
    timeline = ranked.on_site.timeline
    dispatch = None if timeline is None else timeline.dispatch
    if trigger is None or trigger.parts is None or math.isnan(trigger.decide_by_min) or trigger.parts.distance_m < 1:
        by = "" if dispatch is None else f" ({day_and_time(dispatch)})"
        return f"Answer before the rig leaves{by}."
    where = units.first.figure(trigger.parts.distance_m / 1000, "km", 1)
    when = units.figure(trigger.decide_by_min, "min", 0, "down")
    by = (
        f"{when} after dispatch"
        if dispatch is None
        else day_and_time(dispatch + timedelta(minutes=trigger.decide_by_min))
    )
    other = rival(plan, ranked)
    to = spoken(other.spot.name) if other is not None else "the other spot"
    return f"Answer by {by}: at {where} the drive to {to} leaves this one."


def _trigger(plan: Plan, ranked: RankedSpot) -> Trigger | None:
    """What would make one leave this spot for its rival; known for the first against an option."""
    option = _option(plan, rival(plan, ranked))
    return None if option is None or ranked.rank != 1 else option.trigger


def _option(plan: Plan, ranked: RankedSpot | None) -> Option | None:
    return next((o for o in plan.options if ranked is not None and o.ranked.spot.name == ranked.spot.name), None)


def near_hazards(hazards: Sequence[HazardNear]) -> list[HazardNear]:
    """The hazard areas that matter today: within 500 m of the spot, or on the drive. What lies beside the drive is a
    finding of its own."""
    return [h for h in hazards if h.distance_m <= NEAR_M or h.on_the_drive]


def far_from_wires(line: KeepAway | None) -> bool:
    """Whether the nearest known line is so far that it is no matter of today; one that nobody knows is not far."""
    return line is not None and line.judged and line.distance_m > max(NEAR_WIRES * line.needed_m, NEAR_WIRES_M)


def decision_rows(plan: Plan, ranked: RankedSpot, units: Units = METRIC, named: Named = str) -> list[tuple[str, str]]:
    """The box that a commander fills in: what, who, when, and what changes it."""
    other = rival(plan, ranked)
    rows = [
        (f"{_capital(named(spoken(ranked.spot.name)))} accepted", f"☐ yes  ☐ no   by {BLANK}{BLANK}  time {BLANK}"),
    ]
    if other is not None:
        trigger = _trigger(plan, ranked)
        whys = "" if trigger is None else option_whys(trigger, units.first, named)
        leads, flips = f"{_capital(spoken(other.spot.name))} leads if ", flips_of(plan, units.first)
        if not whys and flips.startswith(leads):
            whys = flips.removeprefix(leads)
        rows.append((f"Change to {named(spoken(other.spot.name))} if", whys or BLANK * 4))
        rows.append(("Changed", f"by {BLANK}{BLANK}  time {BLANK}"))
    return rows


def point_words(chance: float, units: Units = METRIC) -> str:
    """`likely (95 %)`, `none expected (6 %)`."""
    return f"{chance_words(chance)} ({units.share(chance)})"


def gis_words(count: int) -> str:
    """That findings of the data are on another list; '' for none."""
    if not count:
        return ""
    return f"{count} {'finding' if count == 1 else 'findings'} about the data: see plan.json or the GIS package."


def options_elsewhere_words(count: int) -> str:
    """That other spots differ in kind, on a sheet that has no room for their table; '' for none."""
    others = count - 1
    if others < 1:
        return ""
    return f"{others} other {'spot differs' if others == 1 else 'spots differ'} in kind: see the map page or the app."


def weakest_words(shown: int, all_points: int) -> str:
    """That a table holds the weakest must-serve points only; '' where it holds all."""
    return f"The {shown} weakest of {all_points}." if all_points > shown else ""


def more_checks(left: int) -> str:
    """That the crew's sheet has more to check on arrival."""
    return f"{left} more on the crew's sheet."


def ruling_line(share: float, label: str, units: Units) -> str:
    """How much ground a limit rules out."""
    return f"Limit {label}: {units.share(share)} of the ground"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
