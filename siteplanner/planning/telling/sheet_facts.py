"""The short facts of the commander's sheet, and when the runner-up is to be preferred."""

from __future__ import annotations

from collections.abc import Callable

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.spots.capacity import Capacity
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.study.driving import as_driven
from siteplanner.planning.telling.backhaul_rows import KINDS, backhaul_fact, other_backhauls
from siteplanner.planning.telling.capacity import capacity_rows
from siteplanner.planning.telling.clock import clock_range
from siteplanner.planning.telling.ground import slope_with_doubt
from siteplanner.planning.telling.lifeline import way_in_short, way_out_short
from siteplanner.planning.telling.prediction import cover_sentence, doubt_words, prediction_sentence
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.service import decides_words, kind_words, served_words
from siteplanner.planning.telling.timeline import on_air_words, on_average_words, refuel_words, relief_words
from siteplanner.planning.telling.times import driving_words
from siteplanner.planning.telling.units import NOT_KNOWN, Units
from siteplanner.planning.telling.words import best_look

Named = Callable[[str], str]


def facts(
    ranked: RankedSpot, site: OnSite, units: Units, named: Named = str, carries: Capacity | None = None
) -> list[tuple[str, str]]:
    """Label and figure, in the order of the questions a commander asks. `named` shows a name from a file."""
    e = ranked.evaluation
    rows: list[tuple[str, str]] = []
    if e.coverage is not None:
        rows.append(("Service", served_words(e.coverage, units)))
        if doubt := doubt_words(e.coverage, units):
            rows.append(("Give or take", doubt))
        rows.append(("Area served", units.first.area(e.coverage.served_area_km2)))
    if e.on_air is not None:
        rows += [("On air", on_air_words(e.on_air, units)), ("On average", on_average_words(e.on_air, units))]
    timeline = site.timeline
    if timeline is not None and timeline.dispatch is not None:
        early, late = timeline.clock(timeline.moments.early_min), timeline.clock(timeline.moments.late_min)
        rows.append(("By the clock", clock_range(early, late)))
    if e.access is not None:
        rows.append(("Drive", f"{units.distance(e.access.drive_distance_m)}, {units.seconds(e.access.drive_time_s)}"))
        if e.access.by_staging:
            rows.append(("Rig from", named(e.access.by_staging[0].name)))
        rows.append(("Steepest", units.grade(e.access.worst_grade_pct, e.access.worst_grade_error_pct)))
        rows.append(("Way in", way_in_short(e.access, units.first)))
        rows.append(("Way out", way_out_short(e.access, units.first)))
    rows.append(("Satellite", _sky_fact(e, units)) if e.dish_used else ("Backhaul", " ".join(backhaul_fact(e, units))))
    if len(e.backhauls) > 1:
        rows.append(("Other backhaul", other_backhauls(e)))
    rows.append(("Ground", slope_with_doubt(e.ground, units)))
    if timeline is not None:
        rows += [("Fuel", refuel_words(timeline, units)), ("Relief", relief_words(timeline, units))]
    if carries is not None:
        rows += capacity_rows(carries, units.first)
    if e.coverage is not None and e.coverage.service is not None:  # last: a short message cuts from the end
        rows.append(("Service of", kind_words(e.coverage.service)))
        rows.append(("Radio", decides_words(e.coverage.service, units)))
    return rows


def _sky_fact(e: Evaluation, units: Units) -> str:
    look = best_look(e)
    return NOT_KNOWN if look is None else f"{units.angle(look.margin_deg, 0)} above the skyline"


def prefer_runner_up(plan: Plan, units: Units) -> str:
    """What the runner-up does better, so when to prefer it; '' without one."""
    if plan.best is None or plan.runner_up is None:
        return ""
    first, second = plan.best.evaluation, plan.runner_up.evaluation
    better = []
    if first.access is not None and second.access is not None:
        saved = (first.access.drive_time_s - second.access.drive_time_s) / 60
        if saved >= 1:
            better.append(f"the drive must be {units.figure(saved, 'min')} shorter")
        if first.access.one_way_in and second.access.one_way_in is False:
            better.append("a second way in matters")
        if first.access.ways_out == 1 and second.access.ways_out == 2:
            better.append("a second way out matters")
    if first.coverage is not None and second.coverage is not None:
        if second.coverage.share > first.coverage.share + 0.01:
            better.append(f"area counts most ({units.share(second.coverage.share)} served)")
        weak = [min((p.probability for p in c.must_serve), default=1.0) for c in (first.coverage, second.coverage)]
        if weak[1] > weak[0] + 0.05:
            better.append(f"the weakest must-serve point counts most ({units.share(weak[1])})")
    looks = best_look(first), best_look(second)
    dishes = first.dish_used and second.dish_used
    if dishes and looks[0] is not None and looks[1] is not None and looks[1].margin_deg > looks[0].margin_deg + 2:
        better.append("trees may stand toward the satellite")
    one, other = first.backhaul, second.backhaul
    if one is not None and other is not None and one.kind != other.kind:
        better.append(f"the {KINDS[one.kind].lower()} cannot be had")
    if second.ground.slope_deg < first.ground.slope_deg - 0.5:
        better.append("level ground counts most")
    return f"Prefer the runner-up when {' or '.join(better) or 'the first spot turns out unfit on arrival'}."


def assumed(plan: Plan, units: Units, named: Named = str) -> list[str]:
    """What the plan takes for granted, a sentence each."""
    out = [
        prediction_sentence(plan.mission.radio, units.first),
        cover_sentence(plan.mission, plan.findings, units.first),
        f"{driving_words(as_driven(plan.mission))}; time range for about 9 cases in 10.",
    ]
    best = plan.best
    if best is not None and best.evaluation.access is not None and best.evaluation.access.unknown:
        out.append(
            f"Road limits: {named('; '.join(unknown_along_words(best.evaluation.access.unknown, units.first)))}."
        )
    return out


def weakest_words(shown: int, all_points: int) -> str:
    """That a table holds the weakest must-serve points only; '' where it holds all."""
    return f"The {shown} weakest of {all_points}." if all_points > shown else ""


def more_checks(left: int) -> str:
    """That the crew's sheet has more to check on arrival."""
    return f"{left} more on the crew's sheet."


def ruling_line(share: float, label: str, units: Units) -> str:
    """How much ground a limit rules out."""
    return f"Limit {label}: {units.share(share)} of the ground"
