"""The answer at a glance: a row of figures, the worst of it, the runner-up in a line; a row for each judged spot."""

from __future__ import annotations

from collections.abc import Callable

from siteplanner.planning.choose.options import TOO_STEEP_CHANCE
from siteplanner.planning.choose.points import PointAnswer
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.sets import SERVED
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.backhaul_rows import backhaul_fact
from siteplanner.planning.telling.clock import minutes_range
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.lifeline import way_in_short
from siteplanner.planning.telling.options import differences_words, missed_lines, whole_of
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units
from siteplanner.planning.telling.words import best_look

Named = Callable[[str], str]
COLUMNS = ("Area served", "People", "Named points", "On air", "Drive")
FEW_PEOPLE = 100  # below, people are told as they are; above, two figures are all that a prediction can hold


def tiles(ranked: RankedSpot, units: Units = METRIC) -> list[tuple[str, str]]:
    """(figure, what it is of), in the order of a commander's questions; what does not apply is left out."""
    e = ranked.evaluation
    out: list[tuple[str, str]] = []
    if e.coverage is not None:
        out.append((units.share(e.coverage.share), f"of the {whole_of(ranked)} served"))
        if people := people_served(e):
            out.append((people, "people served"))
        if e.coverage.must_serve:
            out.append((points_served(e), "named points served"))
    if e.on_air is not None:
        out.append((minutes_range(e.on_air.early_min, e.on_air.late_min, units), "from dispatch to on air"))
    if e.access is not None:
        out.append((units.seconds(e.access.drive_time_s), "drive"))
    out.append(_backhaul_tile(e, units))
    return out


def _backhaul_tile(e: Evaluation, units: Units) -> tuple[str, str]:
    look = best_look(e)
    if not e.dish_used:
        label, figure = backhaul_fact(e, units)
        return figure, label.lower()
    if look is None:
        return NOT_KNOWN, "view of the satellite"
    return ("clear" if look.clear else "not clear"), f"satellite, {units.angle(look.margin_deg, 0)} above the skyline"


def people_served(e: Evaluation) -> str:
    """`600 of 665`, two figures of it; '' where people are not stated."""
    service = None if e.coverage is None else e.coverage.service
    if service is None or service.people is None or service.people_served is None:
        return ""
    served = service.people_served
    step = 1 if served < FEW_PEOPLE else 10 ** (len(f"{served:.0f}") - 2)
    return f"{round(served / step) * step:,} of {service.people:,.0f}"


def points_served(e: Evaluation) -> str:
    """`4 of 5`; '' without named points."""
    points = e.coverage.must_serve if e.coverage is not None else ()
    return f"{sum(p.probability >= SERVED for p in points)} of {len(points)}" if points else ""


def spot_cells(e: Evaluation, units: Units = METRIC) -> list[str]:
    """A row under `COLUMNS`; what is not known is said."""
    return [
        NOT_KNOWN if e.coverage is None else units.share(e.coverage.share),
        people_served(e) or "-",
        points_served(e) or "-",
        NOT_KNOWN if e.on_air is None else minutes_range(e.on_air.early_min, e.on_air.late_min, units),
        NOT_KNOWN if e.access is None else units.seconds(e.access.drive_time_s),
    ]


def worst(plan: Plan, units: Units = METRIC, named: Named = str) -> str:
    """The one worst thing about the answer, in a sentence or two; '' where nothing stands out.

    In this order: a required point that nobody serves, a chance that no spot passes after all, a named point without
    service, a grade that may be too steep, a way in that the loss of one road cuts, road limits that nobody knows.
    """
    if plan.best is None:
        return ""
    unmet = next((f for f in plan.findings if f.code == "required_unmet"), None)
    if unmet is not None:
        return said(unmet, units).message
    if plan.set_aside and (missed := plan.missed_points):
        required = " and ".join(named(p.name) for p in plan.points if p.required)
        return f"Serving {required} leaves without service: {', '.join(named(p.name) for p in missed)}."
    firm, e = plan.firmness, plan.best.evaluation
    if firm is not None and firm.none_chance > TOO_STEEP_CHANCE:
        return f"With a chance of {units.share(firm.none_chance)} no spot passes after all: have a second plan ready."
    if lines := missed_lines(plan.missed_points, units, named, 1):
        return lines[0]
    if e.access is None:
        return "No way by road to the spot is known."
    road = next((f for f in (() if firm is None else firm.flips) if f.cause == "road" and f.chance), None)
    if road is not None and road.chance > TOO_STEEP_CHANCE:
        return (
            f"{named(road.road) or 'A road on the way'} is too steep for the rig with a chance of "
            f"{units.share(road.chance)}: send a scout first."
        )
    if e.access.one_way_in:
        return f"The way in can be cut: {way_in_short(e.access, units)}."
    if e.access.unknown:
        return f"Road limits: {named('; '.join(unknown_along_words(e.access.unknown[:1], units)))}."
    return ""


def runner_up(plan: Plan, units: Units = METRIC, named: Named = str) -> str:
    """The runner-up in a line: what it does better and worse, one figure each; '' without one."""
    second = plan.runner_up
    if second is None:
        return ""
    name = second.spot.name if " " in second.spot.name else f"spot {second.spot.name}"
    head = f"Runner-up: {named(name)}"
    option = next((o for o in plan.options if o.ranked.rank == second.rank), None)
    if option is None:
        lead = "" if plan.firmness is None else f", {plan.firmness.lead_points:.1f} points of 100 behind"
        return f"{head}{lead}."
    whole = whole_of(second)
    sides = (("Better", option.price.gains), ("Worse", option.price.costs))
    told = [f"{word}{units.colon}{differences_words(side[:1], whole, units, named)}." for word, side in sides if side]
    return " ".join([f"{head}.", *told])


def point_words(point: PointAnswer, served_from: int, units: Units = METRIC) -> str:
    """`6 % from the first spot; 5 judged spots serve it`; `served_from`: of all judged spots."""
    by = {0: "no judged spot serves it", 1: "one judged spot serves it"}
    count = by.get(served_from, f"{served_from} judged spots serve it")
    return f"{units.share(point.first)} from the first spot; {count}"
