"""What the crew's sheet says: how to stand, aim, raise, power up, and go home unhurt."""

from __future__ import annotations

from typing import Any

from siteplanner.outputs.sheets.commander import weakest_points
from siteplanner.outputs.sheets.figure_horizon import horizon_svg
from siteplanner.outputs.sheets.figure_timeline import timeline_svg
from siteplanner.outputs.sheets.fonts import name_in_text, short
from siteplanner.outputs.sheets.sheet_words import coordinates, finding_text, named
from siteplanner.outputs.sheets.site_plan import site_svg
from siteplanner.outputs.words.standard import CAUTION
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.overhead_lines import mast_fall_m
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.telling.aiming import (
    compass_words,
    link_note,
    margin_words,
    sector_words,
    sun_words,
    true_and_magnetic,
)
from siteplanner.planning.telling.arc import arc_words
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.backhaul import backhaul_sentence
from siteplanner.planning.telling.backhaul_rows import donor_rows, terminal_sentences
from siteplanner.planning.telling.clock import clock_text, minutes_range
from siteplanner.planning.telling.exposure import HEADINGS as EXPOSURE_HEADINGS
from siteplanner.planning.telling.exposure import exposure_note, exposure_rows
from siteplanner.planning.telling.ground import lift_words
from siteplanner.planning.telling.keep_clear import (
    clear_distances,
    exhaust_sentences,
    line_sentence,
)
from siteplanner.planning.telling.room import room_words
from siteplanner.planning.telling.set_up import LOOK_FOR, TAKE_DOWN, steps_for_both, steps_total
from siteplanner.planning.telling.sky import horizon_text, look_state, margin_text, sky_known_sentences
from siteplanner.planning.telling.stand import CORNERS, cells_words, footprint_words, jack_note, slope_words
from siteplanner.planning.telling.timeline import fuel_words, light_words
from siteplanner.planning.telling.times import range_words
from siteplanner.planning.telling.trees import look_up_sentence
from siteplanner.planning.telling.units import Units, reader_units
from siteplanner.planning.telling.wind import site_wind_sentences, stow_sentence
from siteplanner.planning.telling.words import CAUTIONS, drainage_words


def _dish(ranked: RankedSpot, units: Units) -> list[list[str]]:
    """One row a wanted satellite: name, where to look, skyline, margin, whether it is clear."""
    rows = []
    for look in ranked.evaluation.sky if ranked.evaluation.dish_wanted else ():
        angles = (
            look.azimuth_deg,
            look.azimuth_magnetic_deg,
            look.elevation_deg,
            look.skew_deg,
        )
        known = horizon_text(look, units), margin_text(look, units), look_state(look)
        rows.append([name_in_text(look.satellite_name, 24), *(units.angle(a) for a in angles), *known])
    return rows


def _times(site: OnSite, units: Units) -> list[list[str]]:
    """Rows of part, range of its end, its end on average in minutes and by the clock."""
    timeline = site.timeline
    if timeline is None:
        return []
    rows = []
    for part in timeline.moments.parts:
        clock = "" if timeline.dispatch is None else clock_text(timeline.clock(part.end_mean_min))
        ends = (
            minutes_range(part.end_early_min, part.end_late_min, units.first),
            units.first.figure(part.end_mean_min, "min"),
        )
        rows.append([part.name, *ends, clock])
    return rows


def crew_content(plan: Plan, ranked: RankedSpot) -> dict[str, Any]:
    """Plain data for `sheet_crew.typ`."""
    units = reader_units(plan.mission)
    e, spot, mission = ranked.evaluation, ranked.spot, plan.mission
    trailer, wind, site = mission.trailer, mission.wind, ranked.on_site
    coverage, timeline = e.coverage, site.timeline
    people = mission.times.crew
    used = e.backhaul.kind if e.backhaul else "geostationary"
    true, magnetic = true_and_magnetic(e.ground.heading_deg, e, units)
    fall = mast_fall_m(mission)
    found = [
        f for f in (*plan.findings, *e.findings, *(site.wind.findings if site.wind else ())) if f.severity == "caution"
    ]
    return {
        "title": "Crew sheet",
        "mission": short(mission.name, 90),
        "heading": f"Set-up at spot {name_in_text(spot.name, 60)}",
        "aid": CAUTION,
        "where": coordinates(spot.latitude, spot.longitude, spot.grid_reference),
        "site_svg": site_svg(plan, ranked, fall, site.public_keep_away_m),
        "site_alt": "Site drawing, true north up: trailer with outriggers on its heading, mast fall circle, dish and "
        "sector directions, roads and lines near by.",
        "site_key": "Drawing: dashed circle mast fall; grey band road; short dashes last leg; dash-dot overhead line; "
        "hatched hazard; dotted keep-out; light grey water; fine dots soft ground; dark structures.",
        "horizon_svg": horizon_svg(e, units) or "",
        "horizon_alt": "Skyline around the spot with the line to each satellite.",
        "stand": [
            ("Nose points to", f"{true} true, {magnetic} magnetic"),
            ("Footprint", footprint_words(trailer, units.first)),
            ("Slope", slope_words(e.ground, units)),
            ("Swing", room_words(e.ground.room, units.first)),
            ("Water", drainage_words(e.ground, units.first)),
            ("Elevation data", cells_words(e.ground, units.first)),
        ],
        "clear": clear_distances(e.line, fall, site.public_keep_away_m, units),
        "jacks": [[label, lift_words(e.ground, key, units)] for key, label in CORNERS],
        "jack_note": jack_note(e.ground, trailer, units.first),
        "dish": _dish(ranked, units),
        "sun": [name_in_text(s, 300) for s in (*margin_words(plan, e), *sun_words(plan, e))],
        "sky_known": [name_in_text(s, 300) for s in sky_known_sentences(e.sky if e.dish_wanted else (), units)],
        "arc": name_in_text(arc_words(e.arc, e.sky, units.first), 500) if e.dish_wanted else "",
        "look_for": f"{LOOK_FOR} {look_up_sentence(e, units)}".strip() if e.dish_wanted else "",
        "links": [[name_in_text(row[0], 30), *row[1:]] for row in donor_rows(e, units)],
        "link_note": link_note(e),
        "terminal": terminal_sentences(e, units),
        "backhaul": name_in_text(backhaul_sentence(e, units.first), 420)
        if len(e.backhauls) > 1 or not e.dish_used
        else "",
        "mast": [("Mast stop", units.first.length(coverage.mast_height_m))] if coverage else [],
        "sectors": [
            [f"Sector {n}", *true_and_magnetic(b, e, units)]
            for n, b in enumerate(coverage.sector_bearings_deg if coverage else (), 1)
        ],
        "aim": sector_words(
            coverage.sector_bearings_deg if coverage else (), mission.radio.sector_separation_deg, units
        ),
        "declination": compass_words(e, units),
        "people": f"{people} {'people, a lead and a second' if people > 1 else 'person'}",
        "steps": [[str(n), *row] for n, row in enumerate(steps_for_both(trailer, used), 1)],
        "steps_total": steps_total(trailer, units),
        "take_down": [f"{n}. {text}" for n, text in enumerate(TAKE_DOWN, 1)],
        "wind": [
            stow_sentence(wind.tracking_limit_m_s, wind.stow_limit_m_s, units),
            *site_wind_sentences(site.wind, units),
        ],
        "times": _times(site, units),
        "dispatch": "" if timeline is None or timeline.dispatch is None else f", {clock_text(timeline.dispatch)}",
        "timeline_svg": timeline_svg(plan, ranked),
        "timeline_alt": "Times to first service with their ranges; after it night, wind, refuelling and relief.",
        "method": range_words(timeline.moments) if timeline else "",
        "light": light_words(timeline),
        "fuel": fuel_words(timeline, mission.power.fuel_tank_l, units),
        "exposure": exposure_rows(site.antennas, units),
        "exposure_heads": EXPOSURE_HEADINGS,
        "exposure_note": exposure_note(site.antennas, units),
        "points": [
            [name_in_text(p.name, 34), units.share(p.probability), units.bearing(p.bearing_deg)]
            for p in weakest_points(ranked)[:6]
        ],
        "arrival": [[name_in_text(c.text, 120), c.why, c.who] for c in arrival_checks(plan, ranked, units.first)],
        "cautions": [
            ["Wires", f"{CAUTIONS[0]} {line_sentence(e.line, units, named(40))}"],
            ["Ground", CAUTIONS[1]],
            ["Exhaust", exhaust_sentences(units)],
            [
                "Lock and tag",
                "Before hands go into mast, winch, dish or generator: stop it, isolate it, lock it, hang "
                "your tag, try to start it. Only who hung a tag takes it off.",
            ],
            ["Manual first", CAUTIONS[3]],
            *(["Finding", finding_text(f, units)] for f in found),
        ],
    }
