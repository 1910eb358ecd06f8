"""What the commander's sheet says: the sentence first, reasons second, numbers third; one page."""

from __future__ import annotations

from typing import Any

from siteplanner.outputs.sheets.figure_timeline import timeline_svg
from siteplanner.outputs.sheets.fonts import name_in_text, set_apart, short
from siteplanner.outputs.sheets.sheet_maps import commander_map
from siteplanner.outputs.sheets.sheet_words import (
    MOST_HAZARDS,
    clock_range,
    coordinates,
    finding_text,
    hazard_words,
    lamp,
    line_words,
    minutes_range,
    speed_text,
)
from siteplanner.outputs.words.backhaul_text import KINDS, VERDICTS, backhaul_fact
from siteplanner.outputs.words.standard import CAUTION
from siteplanner.outputs.words.text import distance_text, grade_text, number_text, percent_text, time_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.spots.evaluation import Evaluation, PointService
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.limits import nearest_to_pass_words
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.words import CAUTIONS, best_look, firmness_sentence, recommendation

MOST_POINTS = 8  # must-serve points in the table: the weakest ones
WAYS = {0: "none known", 1: "one: it can be cut off", 2: "two or more"}


def weakest_points(ranked: RankedSpot) -> list[PointService]:
    """Must-serve points, the least likely first."""
    coverage = ranked.evaluation.coverage
    return sorted(coverage.must_serve if coverage else (), key=lambda p: (p.probability, p.name))


def facts(ranked: RankedSpot, site: OnSite) -> list[tuple[str, str]]:
    """Label and figure, in the order of the questions a commander asks."""
    e = ranked.evaluation
    rows: list[tuple[str, str]] = []
    if e.coverage is not None:
        rows.append(("Service", f"{percent_text(e.coverage.share)} of the incident area"))
        rows.append(("Area served", number_text(e.coverage.served_area_km2, 1, "km²")))
    air = e.on_air
    if air is not None:
        rows.append(("On air", f"{minutes_range(air.early_min, air.late_min)} after dispatch"))
        rows.append(("On average", f"{air.mean_min:.0f} min after dispatch"))
    timeline = site.timeline
    if timeline is not None and timeline.dispatch is not None:
        early, late = timeline.clock(timeline.moments.early_min), timeline.clock(timeline.moments.late_min)
        rows.append(("By the clock", clock_range(early, late)))
    if e.access is not None:
        rows.append(("Drive", f"{distance_text(e.access.drive_distance_m)}, {time_text(e.access.drive_time_s)}"))
        if e.access.by_staging:
            rows.append(("Rig from", name_in_text(e.access.by_staging[0].name, 50)))
        rows.append(("Steepest", grade_text(e.access.worst_grade_pct)))
        ways = e.access.ways_out
        rows.append(("Ways in", "not worked out" if ways is None else WAYS.get(ways, "two or more")))
    look = best_look(e)
    margin = "not known" if look is None else f"{number_text(look.margin_deg, 0, 'deg')} above the skyline"
    rows.append(("Satellite", margin) if e.dish_used else ("Backhaul", " ".join(backhaul_fact(e))))
    if len(e.backhauls) > 1:
        rows.append(("Other backhaul", other_backhauls(e)))
    rows.append(("Ground", f"{number_text(e.ground.slope_deg, 1, 'deg')} of slope"))
    if timeline is not None:
        rows.append(
            ("Fuel", f"refuel {timeline.refuel_low_h:.0f} to {timeline.refuel_likely_h:.0f} h after first service")
        )
        rows.append(("Relief", f"{timeline.relief_h:g} h after dispatch"))
    return rows


def other_backhauls(e: Evaluation) -> str:
    """The wanted backhauls that are not in use here, and whether they would work."""
    rest = [b for b in e.backhauls if b is not e.backhaul]
    return "; ".join(f"{KINDS[b.kind].lower()} {VERDICTS[b.verdict]}" for b in rest) or "none wanted"


def prefer_runner_up(plan: Plan) -> str:
    """What the runner-up does better, so when to prefer it; '' without one."""
    if len(plan.spots) < 2:
        return ""
    first, second = plan.spots[0].evaluation, plan.spots[1].evaluation
    better = []
    if first.access is not None and second.access is not None:
        saved = (first.access.drive_time_s - second.access.drive_time_s) / 60
        if saved >= 1:
            better.append(f"the drive must be {saved:.0f} min shorter")
        if (first.access.ways_out or 0) < (second.access.ways_out or 0):
            better.append("a second way out matters")
    if first.coverage is not None and second.coverage is not None:
        if second.coverage.share > first.coverage.share + 0.01:
            better.append(f"area counts most ({percent_text(second.coverage.share)} served)")
        weak = [min((p.probability for p in c.must_serve), default=1.0) for c in (first.coverage, second.coverage)]
        if weak[1] > weak[0] + 0.05:
            better.append(f"the weakest must-serve point counts most ({percent_text(weak[1])})")
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


def wind_words(site: OnSite, limits: tuple[float, float]) -> list[str]:
    """The limits, what the ground here makes of them, and the hours above them."""
    wind = site.wind
    out = [f"Service may drop above {speed_text(limits[0])} at the dish; it stows above {speed_text(limits[1])}."]
    if wind is None or wind.worst is None:
        return [*out, "Speed-up by the ground: not known."]
    if wind.worst.at_dish > 1.005:
        out.append(
            f"The ground here speeds wind up to {wind.worst.at_dish:.2f} times (from {wind.worst.from_deg:03.0f}°): "
            f"the limit is reached with {speed_text(wind.open_tracking_limit_m_s)} in the open."
        )
    if wind.forecast_peak_dish_m_s is None:
        out.append("No forecast was given: ask for one.")
    elif not wind.spans:
        out.append(f"Forecast gusts here stay at {speed_text(wind.forecast_peak_dish_m_s)} or less.")
    for span in wind.spans[:4]:
        out.append(
            f"Above the {span.limit} limit: {span.start[:16].replace('T', ' ')} to {span.end[:16].replace('T', ' ')} "
            f"({span.hours:.1f} h)."
        )
    return out


def _assumptions(plan: Plan) -> list[str]:
    radio, speeds = plan.mission.radio, plan.mission.speeds
    factor = speeds.weather_factor * speeds.night_factor
    slower = "" if factor == 1 else f" times {factor:g}"
    out = [
        f"Handsets at {radio.handset_height_m:g} m, {radio.frequency_mhz:g} MHz, {radio.tx_power_dbm:g} dBm a sector, "
        f"{radio.location_sigma_db:g} dB spread; predicted, not measured.",
        "Trees and roofs from the surface layer."
        if plan.mission.layers.surface
        else "Bare ground: trees and roofs are not in the data.",
        f"Drive at towing speeds{slower}, no traffic; time range for about 9 cases in 10.",
    ]
    best = plan.best
    if best is not None and best.evaluation.access is not None and best.evaluation.access.unknown:
        out.append(f"Road limits: {name_in_text('; '.join(unknown_along_words(best.evaluation.access.unknown)), 160)}.")
    return out


MOST_CHECKS = 8  # on arrival: the crew's sheet has all of them
NO_SPOT_CHECKS = ("Wires, soft ground, trees and water at any place that is taken instead.",)


def arrival_words(plan: Plan, best: RankedSpot | None) -> list[str]:
    """What to check on arrival, with what the data lack; the crew's sheet has all of it."""
    if best is None:
        return list(NO_SPOT_CHECKS)
    checks = arrival_checks(plan, best)
    rows = [f"{name_in_text(c.text, 110)} ({c.why})" for c in checks[:MOST_CHECKS]]
    return [*rows, f"{len(checks) - MOST_CHECKS} more on the crew's sheet."] if len(checks) > MOST_CHECKS else rows


def commander_content(plan: Plan) -> dict[str, Any]:
    """Plain data for `sheet_commander.typ`."""
    best = plan.best
    names = {r.spot.name for r in plan.spots} | {s.name for s in plan.mission.sky.satellites}
    common: dict[str, Any] = {
        "title": "Commander sheet",
        "mission": short(plan.mission.name, 90),
        "note": short(plan.mission.note, 160),
        "sentence": set_apart(recommendation(plan), names),
        "firmness": set_apart(f"{firmness_sentence(plan)} {prefer_runner_up(plan)}".strip(), names),
        "aid": CAUTION,
        "warnings": [[f.severity, finding_text(f, 320)] for f in plan.findings if f.severity in ("caution", "warning")],
        "assumptions": _assumptions(plan),
        "arrival": arrival_words(plan, best),
        "facts": [],
        "points": [],
        "more_points": "",
        "runner": "",
        "dangers": [],
        "wind": [],
        "where": [],
        "timeline_svg": "",
        "timeline_alt": "Hours after dispatch: on air, refuelling, relief, night, wind.",
    }
    points = weakest_points(best)[:MOST_POINTS] if best else []
    labels = [str(n) for n in range(1, len(points) + 1)]
    common["map_svg"] = commander_map(
        plan, 104, 92, [(n, p.longitude, p.latitude) for n, p in zip(labels, points, strict=True)]
    )
    common["map_alt"] = "Map of the incident area with the best spot, the runner-up, staging S, the drive and hazards."
    common["map_key"] = (
        "Black disc best spot, white disc runner-up; S staging; triangles must-serve points; "
        "long dashes incident area; thick line "
        "drive; hatched hazard, dotted keep-out; slanting grey lines in the area: service less likely than not."
    )
    if best is None:
        common["rulings"] = [
            [short(r.label, 60), percent_text(r.share), short(nearest_to_pass_words(r), 80)] for r in plan.rulings
        ]
        common["warnings"] += [["caution", text] for text in CAUTIONS[:2]]
        return common
    site = best.on_site
    e = best.evaluation
    many = len(weakest_points(best))
    common |= {
        "facts": facts(best, site),
        "where": coordinates(best.spot.latitude, best.spot.longitude, best.spot.grid_reference),
        "points": [
            [n, name_in_text(p.name, 34), percent_text(p.probability), number_text(p.margin_db, 0, "dB")]
            for n, p in zip(labels, points, strict=True)
        ],
        "more_points": f"The {MOST_POINTS} weakest of {many}." if many > MOST_POINTS else "",
        "dangers": [
            *([f.severity, finding_text(f)] for f in e.findings if f.severity != "note"),
            *([f.severity, finding_text(f)] for f in (site.wind.findings if site.wind else ())),
            *(["warning", text] for text in hazard_words(site.hazards[:MOST_HAZARDS])),
            ["caution", line_words(e.line)],
        ],
        "wind": wind_words(site, (plan.mission.wind.tracking_limit_m_s, plan.mission.wind.stow_limit_m_s)),
        "timeline_svg": timeline_svg(plan, best, width=340, parts=False),
        "light": lamp(site.timeline),
        "rulings": [],
    }
    return common
