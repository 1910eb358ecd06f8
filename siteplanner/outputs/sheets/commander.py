"""What the commander's sheet says: the sentence first, reasons second, numbers third; one page."""

from __future__ import annotations

from typing import Any

from siteplanner.outputs.sheets.figure_timeline import timeline_svg
from siteplanner.outputs.sheets.fonts import name_in_text, set_apart, short
from siteplanner.outputs.sheets.sheet_maps import commander_map
from siteplanner.outputs.sheets.sheet_words import MOST_HAZARDS, coordinates, finding_text, named
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.if_lost import if_lost
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.spots.evaluation import PointService
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.clock import go_rows
from siteplanner.planning.telling.keep_clear import hazards_near_sentences, line_sentence
from siteplanner.planning.telling.lifeline import if_lost_lines
from siteplanner.planning.telling.limits import nearest_to_pass_words
from siteplanner.planning.telling.options import NO_OTHER, missed_lines, option_cells
from siteplanner.planning.telling.sets import sheet_lines
from siteplanner.planning.telling.sheet_facts import assumed, facts, more_checks, prefer_runner_up, weakest_words
from siteplanner.planning.telling.signal_words import by_gravity, signal_word
from siteplanner.planning.telling.timeline import light_words
from siteplanner.planning.telling.units import reader_units
from siteplanner.planning.telling.wind import limits_sentence, site_wind_sentences
from siteplanner.planning.telling.words import BEFORE_ACTING, firmness_sentence, recommendation

MOST_POINTS = 8  # must-serve points in the table: the weakest ones


def weakest_points(ranked: RankedSpot) -> list[PointService]:
    """Must-serve points, the least likely first."""
    coverage = ranked.evaluation.coverage
    return sorted(coverage.must_serve if coverage else (), key=lambda p: (p.probability, p.name))


MOST_CHECKS = 8  # on arrival: the crew's sheet has all of them
NO_SPOT_CHECKS = ("Wires, soft ground, trees and water at any place that is taken instead.",)


def arrival_words(plan: Plan, best: RankedSpot | None) -> list[str]:
    """What to check on arrival, with what the data lack; the crew's sheet has all of it."""
    units = reader_units(plan.mission)
    if best is None:
        return list(NO_SPOT_CHECKS)
    checks = arrival_checks(plan, best, units.first)
    rows = [f"{name_in_text(c.text, 110)} ({c.why})" for c in checks[:MOST_CHECKS]]
    return [*rows, more_checks(len(checks) - MOST_CHECKS)] if len(checks) > MOST_CHECKS else rows


MOST_LOST = 3  # lines on what remains if a road goes; the record has each


def _if_lost(plan: Plan, best: RankedSpot) -> list[str]:
    units = reader_units(plan.mission)
    access = best.evaluation.access
    if access is None:
        return []
    return if_lost_lines(if_lost(plan.spots, access, best.spot.name), units.first)[:MOST_LOST]


def commander_content(plan: Plan) -> dict[str, Any]:
    """Plain data for `sheet_commander.typ`."""
    units = reader_units(plan.mission)
    best = plan.best
    names = {r.spot.name for r in plan.spots} | {s.name for s in plan.mission.sky.satellites}
    common: dict[str, Any] = {
        "title": "Commander sheet",
        "mission": short(plan.mission.name, 90),
        "note": short(plan.mission.note, 160),
        "sentence": set_apart(recommendation(plan, units.first), names),
        "firmness": set_apart(f"{firmness_sentence(plan, units.first)} {prefer_runner_up(plan, units)}".strip(), names),
        "aid": PLANNING_AID,
        "about_data": [
            [signal_word(f.severity), finding_text(f, units, 320)]
            for f in by_gravity(plan.findings)
            if f.severity != "note"
        ],
        "assumptions": assumed(plan, units, named(160)),
        "arrival": arrival_words(plan, best),
        "facts": [],
        "points": [],
        "more_points": "",
        "missed": [],
        "options": [],
        "no_option": "",
        "runner": "",
        "dangers": [],
        "wind": [],
        "go": [],
        "where": [],
        "more_trailers": sheet_lines(plan, units, named(40)),
        "timeline_svg": "",
        "timeline_alt": "Hours after dispatch: on air, refueling, relief, night, wind.",
    }
    points = weakest_points(best)[:MOST_POINTS] if best else []
    labels = [str(n) for n in range(1, len(points) + 1)]
    common["map_svg"] = commander_map(
        plan, 104, 92, [(n, p.longitude, p.latitude) for n, p in zip(labels, points, strict=True)]
    )
    common["map_alt"] = "Map of the incident area with the best spot, the runner-up, staging S, the drive and hazards."
    common["map_key"] = (
        "Black disc best spot, white disc runner-up, ringed disc second trailer; S staging; triangles "
        "must-serve points; long dashes incident area; thick line "
        "drive; hatched hazard, dotted keep-out; slanting gray lines in the area: service less likely than not."
    )
    if best is None:
        common["rulings"] = [
            [short(r.label, 60), units.share(r.share), short(nearest_to_pass_words(r, units.first), 80)]
            for r in plan.rulings
        ]
        common["about_data"] += [[word, text] for word, text in BEFORE_ACTING[:2]]
        return common
    site = best.on_site
    e = best.evaluation
    many, wind = len(weakest_points(best)), plan.mission.wind
    common |= {
        "facts": facts(best, site, units, named(50), capacity_of(e, plan.mission)),
        "where": coordinates(best.spot.latitude, best.spot.longitude, best.spot.grid_reference),
        "points": [
            [n, name_in_text(p.name, 34), units.share(p.probability), units.decibels(p.margin_db)]
            for n, p in zip(labels, points, strict=True)
        ],
        "more_points": weakest_words(MOST_POINTS, many),
        "missed": [name_in_text(line, 260) for line in missed_lines(plan.missed_points, units.first, named(40))],
        "options": [
            [
                name_in_text(o.ranked.spot.name, 16),
                *(name_in_text(t, 60) for t in option_cells(o, units.first, named(34))),
            ]
            for o in (plan.options if len(plan.options) > 1 else ())
        ],
        "no_option": NO_OTHER if len(plan.options) == 1 else "",
        "dangers": [
            *(
                [signal_word(f.severity), finding_text(f, units)]
                for f in by_gravity(e.findings)
                if f.severity != "note"
            ),
            *(["WARNING", name_in_text(words, 300)] for words in _if_lost(plan, best)),
            *([signal_word(f.severity), finding_text(f, units)] for f in (site.wind.findings if site.wind else ())),
            *(["WARNING", t] for t in hazards_near_sentences(site.hazards[:MOST_HAZARDS], units, named(40))),
            ["WARNING", line_sentence(e.line, units, named(40))],
        ],
        "wind": [
            limits_sentence(wind.tracking_limit_m_s, wind.stow_limit_m_s, units, wind.limits_hold_for),
            *site_wind_sentences(site.wind, units),
        ],
        "go": go_rows(site.clock, units, named(40)),
        "timeline_svg": timeline_svg(plan, best, width=340, parts=False),
        "light": light_words(site.timeline),
        "rulings": [],
    }
    return common
