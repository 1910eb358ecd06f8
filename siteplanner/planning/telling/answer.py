"""The answer at a glance: a row of figures, the worst of it, the runner-up in a line; a row for each judged spot."""

from __future__ import annotations

import math
from collections.abc import Callable

from siteplanner.planning.choose.options import TOO_STEEP_CHANCE
from siteplanner.planning.choose.points import PointAnswer
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.telling.as_built import limits_sentence
from siteplanner.planning.telling.backhaul_rows import KINDS
from siteplanner.planning.telling.clock import minutes_range
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.lifeline import way_in_short
from siteplanner.planning.telling.options import differences_words, whole_of
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.service import served_words, share_words, without_words
from siteplanner.planning.telling.timeline import on_air_words
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

Named = Callable[[str], str]
COLUMNS = ("Area served", "People", "Named points", "On air", "Drive")
WIDE_DEG = 5.0  # from this margin on the sky is wide open; common practice, no source


def figure_row(ranked: RankedSpot, units: Units = METRIC) -> list[tuple[str, str]]:
    """(figure, of what), in the order of a commander's questions, each short enough for a box; what does not apply is
    left out."""
    e, one = ranked.evaluation, units.first
    row: list[tuple[str, str]] = []
    if e.coverage is not None:
        row.append((one.share(e.coverage.share), share_words(e.coverage, one).partition(" of the ")[2] + " served"))
        if people := people_served(e, one):
            row.append((people, "people served"))
        if points := points_served(e):
            row.append((points, "named points with service"))
    if e.on_air is not None:
        row.append(_on_air_figure(ranked, one))
    if e.access is not None:
        start = f" from {e.access.by_staging[0].name}" if e.access.by_staging else ""
        row.append((one.seconds(e.access.drive_time_s), f"drive{start}, {units.distance(e.access.drive_distance_m)}"))
        ways = {True: ("one", "way in"), False: ("two", "ways in"), None: (NOT_KNOWN, "ways in")}
        row.append(ways[e.access.one_way_in])
    row.append(_backhaul_figure(e, one))
    return row


def _on_air_figure(ranked: RankedSpot, units: Units) -> tuple[str, str]:
    air, timeline = ranked.evaluation.on_air, ranked.on_site.timeline
    assert air is not None
    if timeline is not None and timeline.dispatch is not None:
        early, late = timeline.clock(air.early_min), timeline.clock(air.late_min)
        if early is not None and late is not None and early.date() == late.date():
            return f"{early:%H:%M} to {late:%H:%M}", f"on air, local time: {on_air_words(air, units)}"
    return f"{air.early_min:.0f} to {units.figure(air.late_min, 'min')}", "on air after dispatch"


def _backhaul_figure(e: Evaluation, units: Units) -> tuple[str, str]:
    look = e.look
    if not e.dish_used:
        return (NOT_KNOWN if e.backhaul is None else KINDS[e.backhaul.kind]), "backhaul"
    if look is None or not math.isfinite(look.margin_deg):
        return NOT_KNOWN, "view of the satellite"
    seen = "not clear" if not look.clear else "clear" if look.margin_deg >= WIDE_DEG else "narrow"
    return seen, f"view of the satellite, {units.angle(look.margin_deg, 0)} to spare"


def people_served(e: Evaluation, units: Units = METRIC) -> str:
    """`about 600 of 665`; '' where people are not stated."""
    service = None if e.coverage is None else e.coverage.service
    if service is None or service.people is None or service.people_served is None:
        return ""
    return f"about {units.people(service.people_served)} of {service.people:,.0f}"


def points_served(e: Evaluation) -> str:
    """`4 of 5`; '' without named points."""
    points = e.coverage.must_serve if e.coverage is not None else ()
    return f"{sum(p.probability >= SERVED for p in points)} of {len(points)}" if points else ""


def spot_cells(e: Evaluation, units: Units = METRIC) -> list[str]:
    """A row under `COLUMNS`; what is not known is said."""
    return [
        NOT_KNOWN if e.coverage is None else units.share(e.coverage.share),
        people_served(e, units) or "-",
        points_served(e) or "-",
        NOT_KNOWN if e.on_air is None else minutes_range(e.on_air.early_min, e.on_air.late_min, units),
        NOT_KNOWN if e.access is None else units.seconds(e.access.drive_time_s),
    ]


def worst_words(plan: Plan, ranked: RankedSpot | None, units: Units = METRIC, named: Named = str) -> str:
    """The one worst thing about a spot in a sentence, the first that holds.

    Of the plan's first spot: a required point that nobody serves, who goes without for a requirement, a chance that no
    spot passes after all. Of any: no way in, the drive goes through a hazard area, somebody named is without service, a
    grade that may be too steep (the first spot's), a way in that one road cuts, limits that nobody knows.
    """
    if ranked is None:
        return ""
    first = plan.best is not None and ranked.rank == plan.best.rank
    e, one, firm = ranked.evaluation, units.first, plan.firmness if first else None
    if plan.as_built is not None and (plan.as_built.broken or plan.as_built.near):
        return limits_sentence(plan.as_built, one)
    if first and (text := _of_the_answer(plan, one, named)):
        return text
    if e.access is None:
        return "No way by road to the spot is known."
    if through := [h for h in ranked.on_site.hazards if h.on_the_drive]:
        return f"The drive goes through {named(through[0].name or 'a hazard area')}."
    if without := without_words(missed_of(e.coverage, named), one):
        return f"{_capital(without)}."
    road = next((f for f in (() if firm is None else firm.flips) if f.cause == "road" and f.chance), None)
    if road is not None and road.chance > TOO_STEEP_CHANCE:
        return (
            f"{named(road.road) or 'A road on the way'} is too steep for the rig with a chance of "
            f"{one.share(road.chance)}: send a scout first."
        )
    if e.access.one_way_in:
        return f"There is one way in, {way_in_short(e.access, one).partition(': ')[2]}."
    if e.access.unknown:
        # kinds of limits and a length: no name from a file that could be too long
        return f"The road data leave open: {unknown_along_words(e.access.unknown[:1], one)[0]}."
    if plan.as_built is not None:
        return limits_sentence(plan.as_built, one)
    return "Nothing in the data stands against this spot: see what to check on arrival."


def _of_the_answer(plan: Plan, units: Units, named: Named) -> str:
    unmet = next((f for f in plan.findings if f.code == "required_unmet"), None)
    if unmet is not None:
        return said(unmet, units).message
    if plan.set_aside and (missed := plan.missed_points):
        required = " and ".join(named(p.name) for p in plan.points if p.required)
        return f"Serving {required} leaves without service: {', '.join(named(p.name) for p in missed)}."
    if plan.firmness is not None and plan.firmness.none_chance > TOO_STEEP_CHANCE:
        chance = units.share(plan.firmness.none_chance)
        return f"With a chance of {chance} no spot passes after all: have a second plan ready."
    return ""


def missed_of(coverage: Coverage | None, named: Named = str) -> list[tuple[str, float]]:
    """(name, chance) of the named points where service is unlikely, the least first."""
    points = () if coverage is None else coverage.must_serve
    return sorted(((named(p.name), p.probability) for p in points if p.probability < SERVED), key=lambda p: p[1])


def runner_words(plan: Plan, ranked: RankedSpot | None, units: Units = METRIC, named: Named = str) -> str:
    """The other choice in one line: on the first spot's page the runner-up with what it does better and worse, one
    figure each, where the two are options; otherwise its figures. '' for none."""
    other = None if ranked is None else rival(plan, ranked)
    if ranked is None or other is None:
        return ""
    first = plan.best is not None and ranked.rank == plan.best.rank
    who = "Runner-up" if first else "The plan's first choice"
    head = f"{who}: {named(spoken(other.spot.name))}"
    option = next((o for o in plan.options if first and o.ranked.rank == other.rank), None)
    if option is not None:
        whole = whole_of(other)
        sides = (("Better", option.price.gains), ("Worse", option.price.costs))
        told = [f"{word}{units.colon}{differences_words(s[:1], whole, units.first, named)}." for word, s in sides if s]
        return " ".join([f"{head}.", *told])
    e, one = other.evaluation, units.first
    parts = []
    if e.coverage is not None:
        parts.append(f"{served_words(e.coverage, one)} served")
    if e.on_air is not None:
        parts.append(f"on air {on_air_words(e.on_air, one)}")
    if e.access is not None:
        parts.append(f"drive {one.seconds(e.access.drive_time_s)}")
        parts.append("one way in" if e.access.one_way_in else "two ways in")
    return f"{head}: {', '.join(parts)}." if parts else f"{head}."


def rival(plan: Plan, ranked: RankedSpot) -> RankedSpot | None:
    """The spot to be weighed against this one: the second against the first, the first against any other."""
    return plan.runner_up if plan.best is not None and ranked.rank == plan.best.rank else plan.best


def spoken(name: str) -> str:
    """`spot A`; a name of several words stands by itself."""
    return name if " " in name else f"spot {name}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def point_words(point: PointAnswer, served_from: int, units: Units = METRIC) -> str:
    """`6 % from the first spot; 5 judged spots serve it`; `served_from`: of all judged spots."""
    by = {0: "no judged spot serves it", 1: "one judged spot serves it"}
    count = by.get(served_from, f"{served_from} judged spots serve it")
    return f"{units.share(point.first)} from the first spot; {count}"
