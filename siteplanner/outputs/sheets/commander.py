"""What the commander's sheet says, of whichever spot was chosen: figures in a row, the worst thing, what to decide."""

from __future__ import annotations

from typing import Any

from siteplanner.errors import Finding
from siteplanner.outputs.sheets.figure_timeline import timeline_svg
from siteplanner.outputs.sheets.fonts import name_in_text, set_apart, short
from siteplanner.outputs.sheets.sheet_maps import commander_map
from siteplanner.outputs.sheets.sheet_words import MOST_HAZARDS, coordinates, finding_text, named, point_letter
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.if_lost import if_lost
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.spots.evaluation import PointService
from siteplanner.planning.study.driving import as_driven
from siteplanner.planning.telling import commander as telling
from siteplanner.planning.telling.answer import figure_row, runner_words, worst_words
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.clock import go_rows
from siteplanner.planning.telling.commander import more_checks, weakest_words
from siteplanner.planning.telling.keep_clear import hazards_near_sentences, line_sentence
from siteplanner.planning.telling.leave import ASKED_ON_ARRIVAL
from siteplanner.planning.telling.lifeline import if_lost_lines
from siteplanner.planning.telling.limits import nearest_to_pass_words
from siteplanner.planning.telling.options import NO_OTHER, missed_lines, option_cells
from siteplanner.planning.telling.prediction import cover_sentence
from siteplanner.planning.telling.sets import sheet_lines
from siteplanner.planning.telling.signal_words import by_gravity, signal_word
from siteplanner.planning.telling.timeline import light_short
from siteplanner.planning.telling.times import driving_words
from siteplanner.planning.telling.units import Units, reader_units
from siteplanner.planning.telling.wind import limits_sentence, site_wind_sentences
from siteplanner.planning.telling.words import BEFORE_ACTING, recommendation

MOST_POINTS = 8  # must-serve points on the map: the weakest ones
MOST_DANGERS, MOST_LOST, MOST_TRAILERS = 6, 1, 2  # the driver's and crew's sheets and plan.json have all of them
OF_THE_DATA = ("check", "note")
NO_WAY = ("roads_not_reached", "staging_off_road", "staging_no_way")  # why nothing may pass: not only of the data


def weakest_points(ranked: RankedSpot) -> list[PointService]:
    """Must-serve points, the least likely first."""
    coverage = ranked.evaluation.coverage
    return sorted(coverage.must_serve if coverage else (), key=lambda p: (p.probability, p.name))


OF_THE_COMMANDER = ("wires", "air", "owner", "license_area", "channel", "licence")
"""Of what to check on arrival; the crew's sheet has all of it."""
MOST_CHECKS = 8
NO_SPOT_CHECKS = ("Wires, soft ground, trees and water at any place that is taken instead.",)


def arrival_words(plan: Plan, best: RankedSpot | None, owners: bool = False) -> list[str]:
    """What to check on arrival, with what the data lack; the crew's sheet has all of it. `owners`: with their names,
    on paper alone."""
    units = reader_units(plan.mission)
    if best is None:
        return list(NO_SPOT_CHECKS)
    checks = arrival_checks(plan, best, units.first, owners)
    own = [c for c in checks if c.code in OF_THE_COMMANDER]
    rows = [f"{name_in_text(c.text, 160)} ({name_in_text(c.why, 140)})" for c in own[:MOST_CHECKS]]
    return [*rows, more_checks(len(checks) - len(rows))] if len(checks) > len(rows) else rows


def _if_lost(plan: Plan, best: RankedSpot) -> list[str]:
    units = reader_units(plan.mission)
    access = best.evaluation.access
    if access is None:
        return []
    return if_lost_lines(if_lost(plan.spots, access, best.spot.name), units.first)[:MOST_LOST]


def _letter(chosen: RankedSpot, point: PointService) -> str:
    coverage = chosen.evaluation.coverage
    return point_letter(coverage.must_serve.index(point)) if coverage else ""


def commander_content(plan: Plan, ranked: RankedSpot | None = None) -> dict[str, Any]:
    """Plain data for `commander.typ`, of a spot, by default the best."""
    units = reader_units(plan.mission)
    chosen = ranked or plan.best
    names = {r.spot.name for r in (*plan.spots, *plan.judged[:2])}
    points = weakest_points(chosen)[:MOST_POINTS] if chosen else []
    at = [(_letter(chosen, p), p.longitude, p.latitude) for p in points if chosen]
    content: dict[str, Any] = {
        "title": name_in_text(telling.head_words(chosen), 60),
        "mission": short(plan.mission.name, 90),
        "note": short(plan.mission.note, 160),
        "aid": PLANNING_AID,
        "map_svg": commander_map(plan, chosen, 94, 60, at),
        "map_alt": "Map of the incident area with the spot, its rival, staging S, the drive and hazards.",
        "map_key": "Black disc: this spot; white disc: the other choice; ringed disc: second trailer; S: staging; "
        "triangles: named points; long dashes: incident area; thick line: drive; hatched: hazard; dotted: keep-out; "
        "slanting gray lines: service unlikely.",
        "timeline_alt": "Hours after dispatch: on air, refueling, relief, night, wind.",
        "arrival": arrival_words(plan, chosen, owners=True),
        **_EMPTY,
    }
    if chosen is None:
        said = recommendation(plan, units.first)
        content["park"] = set_apart(said, names)
        content["rulings"] = [
            [short(r.label, 60), units.share(r.share), short(nearest_to_pass_words(r, units.first), 80)]
            for r in plan.rulings
        ]
        content["dangers"] = [
            *(
                [signal_word(f.severity), finding_text(f, units, 320)]
                for f in by_gravity(plan.findings)
                if f.severity not in OF_THE_DATA or f.code in NO_WAY
            ),
            *([word, text] for word, text in BEFORE_ACTING[:2]),
        ]
        content["gis"] = telling.gis_words(sum(f.severity in OF_THE_DATA for f in plan.findings))
        return content
    return content | _of_spot(plan, chosen, units, names)


_EMPTY: dict[str, Any] = {
    **dict.fromkeys(("figures", "without", "missed", "meaning", "drive", "where", "go", "decide", "wind"), ()),
    **dict.fromkeys(("dangers", "options", "more_trailers", "rulings", "points", "assumptions"), ()),
    **dict.fromkeys(("park", "worst", "runner", "firm", "scout", "no_option", "options_elsewhere"), ""),
    **dict.fromkeys(("light", "gis", "more_points", "timeline_svg"), ""),
}


def _of_spot(plan: Plan, chosen: RankedSpot, units: Units, names: set[str]) -> dict[str, Any]:
    """What stands on the sheet of a spot."""
    e, site, wind = chosen.evaluation, chosen.on_site, plan.mission.wind
    first = plan.best is not None and chosen.spot.name == plan.best.spot.name
    rows = weakest_points(chosen)
    return {
        "park": set_apart(telling.park_words(plan, chosen, units), names),
        "figures": figure_row(chosen, units),
        "worst": name_in_text(worst_words(plan, chosen, units, named(60)), 260),
        "runner": set_apart(runner_words(plan, chosen, units), names),
        "firm": set_apart(telling.firm_words(plan, units.first), names),
        "scout": "" if plan.as_built else name_in_text(telling.scout_words(plan, chosen, units, named(60)), 420),
        "without": telling.without_rows(chosen, units, named(60)),
        "missed": _served_elsewhere(plan, units) if first else [],
        "meaning": telling.meaning_rows(chosen, capacity_of(e, plan.mission), units),
        "drive": telling.drive_rows(chosen, units, named(60)),
        "where": coordinates(chosen.spot.latitude, chosen.spot.longitude, chosen.spot.grid_reference),
        "points": [
            [_letter(chosen, p), name_in_text(p.name, 48), telling.point_words(p.probability, units)]
            for p in rows[:MOST_POINTS]
        ],
        "more_points": weakest_words(MOST_POINTS, len(rows)),
        "go": go_rows(site.clock, units, named(60)),
        "decide": telling.decision_rows(plan, chosen, units, named(60)),
        "options": [
            [
                name_in_text(o.ranked.spot.name, 16),
                *(name_in_text(t, 110) for t in option_cells(o, units.first, named(60), plain=True)),
            ]
            for o in (plan.options if len(plan.options) > 1 else ())
        ],
        "options_elsewhere": telling.options_elsewhere_words(len(plan.options)),
        "no_option": NO_OTHER if len(plan.options) == 1 else "",
        "dangers": _dangers(plan, chosen, units)[:MOST_DANGERS],
        "wind": [
            limits_sentence(wind.tracking_limit_m_s, wind.stow_limit_m_s, units, wind.limits_hold_for),
            *site_wind_sentences(site.wind, units, mast=site.wind is not None and site.wind.mast.stated),
        ],
        "assumptions": [
            f"{driving_words(as_driven(plan.mission))}; time range for about 9 cases in 10.",
            cover_sentence(plan.mission, plan.findings, units.first),
        ],
        "more_trailers": sheet_lines(plan, units, named(60))[:MOST_TRAILERS] if first else [],
        "timeline_svg": timeline_svg(plan, chosen, width=340, parts=False),
        "light": light_short(site.timeline),
        "gis": telling.gis_words(sum(f.severity in OF_THE_DATA for f in plan.findings)),
    }


def _served_elsewhere(plan: Plan, units: Units) -> list[str]:
    """Where else the named points without service would have it."""
    return [name_in_text(text, 260) for text in missed_lines(plan.missed_points, units.first, named(60))]


def _said(finding: Finding, units: Units, longest: int = 260) -> list[str]:
    return [signal_word(finding.severity), finding_text(finding, units, longest)]


def _dangers(plan: Plan, chosen: RankedSpot, units: Units) -> list[list[str]]:
    """(word, text): what can hurt people or unit, and what nobody knows, the gravest first."""
    e, site = chosen.evaluation, chosen.on_site
    found = (*e.findings, *(site.wind.findings if site.wind else ()), *plan.findings)
    told = [f for f in by_gravity(found) if f.severity not in OF_THE_DATA and f.code not in ASKED_ON_ARRIVAL]
    rows = [_said(f, units) for f in told if f.severity == "warning"]
    rows += [["WARNING", name_in_text(words, 300)] for words in _if_lost(plan, chosen)]
    near = telling.near_hazards(site.hazards)[:MOST_HAZARDS]
    rows += [["WARNING", t] for t in hazards_near_sentences(near, units, named(60))]
    if not telling.far_from_wires(e.line):
        rows.append(["WARNING", line_sentence(e.line, units, named(60))])
    return rows + [_said(f, units) for f in told if f.severity != "warning"]
