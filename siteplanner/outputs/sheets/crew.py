"""What the crew's sheet says: how to stand, aim, raise, power up, report, and go home unhurt."""

from __future__ import annotations

from typing import Any

from siteplanner.core.link import reading_that_serves_dbm
from siteplanner.mission.links import link_parameters
from siteplanner.outputs.sheets.commander import weakest_points
from siteplanner.outputs.sheets.figure_horizon import SHEET, horizon_svg
from siteplanner.outputs.sheets.fonts import name_in_text, short
from siteplanner.outputs.sheets.sheet_words import coordinates, finding_text, named
from siteplanner.outputs.sheets.site_plan import site_key, site_svg
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.overhead_lines import mast_fall_m
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.spots.evaluation import Evaluation, PointService
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.telling.aiming import (
    compass_words,
    link_note,
    search_words,
    sun_in_mission_words,
    true_and_magnetic,
)
from siteplanner.planning.telling.antennas import angles_words, bearing_advice, mast_rows, sector_rows, turn_words
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.as_built import where_it_stands
from siteplanner.planning.telling.as_built_rows import as_built_rows
from siteplanner.planning.telling.backhaul import backhaul_sentence
from siteplanner.planning.telling.backhaul_rows import donor_rows, terminal_sentences
from siteplanner.planning.telling.clock import clock_after, clock_text, minutes_range
from siteplanner.planning.telling.compass import SKEW_SENSE
from siteplanner.planning.telling.leave import ASKED_ON_ARRIVAL
from siteplanner.planning.telling.leaving import nothing_comes_up, take_down, ten_minutes
from siteplanner.planning.telling.power import endurance_words
from siteplanner.planning.telling.radio_back import (
    FORM_NOTE,
    not_there_words,
    phone_words,
    reading_text,
    report_boxes,
    service_rows,
)
from siteplanner.planning.telling.room import room_words
from siteplanner.planning.telling.safety import antennas_words, told_findings
from siteplanner.planning.telling.set_up import set_up_of, steps_for_both, steps_total
from siteplanner.planning.telling.sky import known_to_words, look_state, margin_text
from siteplanner.planning.telling.spot_dangers import dangers_at
from siteplanner.planning.telling.stand import footprint_words, jack_note, jack_rows, slope_words
from siteplanner.planning.telling.timeline import fuel_words, light_words
from siteplanner.planning.telling.trees import horizon_key_words, look_up_sentence
from siteplanner.planning.telling.units import Units, reader_units
from siteplanner.planning.telling.wind import dish_wind_sentence, mast_wind_rows, site_wind_sentences
from siteplanner.planning.telling.words import drainage_words

# with the wind, on arrival (level, trees and wires there say how coarse the elevation is)
TOLD_ELSEWHERE = frozenset({"wind_mast_not_stated", "coarse_elevation", *ASKED_ON_ARRIVAL})
OF_THE_PLACE = ("warning", "notice", "unknown")  # what may only make the plan wrong is not the crew's
OF_THE_ROADS = ("one_way_in", "one_way_out", "hazard_beside_drive")  # with how to leave, not before the set-up
OF_THE_DRIVE = "route_"  # findings of this name are past when the crew reads its sheet: the driver's sheet has them
MOST_POINTS = 6


def _controller_name(plan: Plan, satellite: str) -> str:
    """What the dish's controller calls a satellite; its own name where the mission does not say."""
    own = (s.controller_name for s in plan.mission.sky.satellites if s.called == satellite and s.controller_name)
    return next(own, satellite)


def _dish(plan: Plan, e: Evaluation, units: Units) -> list[list[str]]:
    """One row a wanted satellite: name in the controller, where to look, room above the skyline, clear or not."""
    rows = []
    for look in e.sky if e.dish_wanted else ():
        angles = (look.azimuth_deg, look.azimuth_magnetic_deg, look.elevation_deg, look.skew_deg)
        name = name_in_text(_controller_name(plan, look.satellite_name), 24)
        rows.append([name, *(units.angle(a) for a in angles), margin_text(look, units), look_state(look)])
    return rows


def _times(site: OnSite, units: Units) -> list[list[str]]:
    """Rows of part, range of its end, its end on average in minutes and by the clock."""
    timeline = site.timeline
    if timeline is None:
        return []
    rows = []
    for part in timeline.moments.parts:
        start, end = timeline.dispatch, timeline.clock(part.end_mean_min)
        clock = "" if start is None or end is None else clock_after(start, end)
        ends = minutes_range(part.end_early_min, part.end_late_min, units.first), units.figure(part.end_mean_min, "min")
        rows.append([part.name, *ends, clock])
    return rows


def _points(ranked: RankedSpot) -> tuple[list[PointService], list[PointService]]:
    """Points where service is to be looked for with a phone, and those where none is expected."""
    points = weakest_points(ranked)
    return [p for p in points if p.probability >= SERVED][:MOST_POINTS], [p for p in points if p.probability < SERVED]


def crew_content(plan: Plan, ranked: RankedSpot, units: Units | None = None) -> dict[str, Any]:
    """Plain data for `crew.typ`; `units` None: the mission's."""
    e, mission, site = ranked.evaluation, plan.mission, ranked.on_site
    units = units or reader_units(mission)
    return {
        "title": "Crew sheet",
        "mission": short(mission.name, 90),
        "heading": name_in_text(where_it_stands(plan.as_built, units), 160)
        if plan.as_built
        else f"Set-up at spot {name_in_text(ranked.spot.name, 60)}",
        "aid": PLANNING_AID,
        "where": coordinates(ranked.spot.latitude, ranked.spot.longitude, ranked.spot.grid_reference),
        **_danger(plan, ranked, units),
        **_stand(plan, ranked, units),
        "arrival": arrival_rows(plan, ranked, units, owners=True),
        **_order(plan, ranked, units),
        **_sky(plan, ranked, units),
        **_service(plan, ranked, units),
        "wind": [
            dish_wind_sentence(
                mission.wind.tracking_limit_m_s, mission.wind.stow_limit_m_s, mission.wind.limits_hold_for, units
            ),
            *site_wind_sentences(site.wind, units),
        ],
        "mast_wind": mast_wind_rows(mission, units),
        "mast_wind_kind": mission.wind.mast_limits_hold_for,
        "times": _times(site, units),
        "dispatch": ""
        if site.timeline is None or site.timeline.dispatch is None
        else f", {clock_text(site.timeline.dispatch)}",
        "light": light_words(site.timeline),
        "fuel": name_in_text(
            endurance_words(mission.power, fuel_words(site.timeline, mission.power.fuel_tank_l, units), units), 500
        ),
        "nothing": nothing_comes_up(mission.trailer.acquisition_min[2], e.dish_used, units),
        "ten": ten_minutes(units),
        "take_down": [f"{n}. {text}" for n, text in enumerate(take_down(units), 1)],
    }


def arrival_rows(plan: Plan, ranked: RankedSpot, units: Units, owners: bool) -> list[list[str]]:
    """What to check on arrival. `owners`: with their names and phones, on paper alone."""
    checks = arrival_checks(plan, ranked, units, owners)
    return [[name_in_text(c.text, 160), name_in_text(c.why, 140), c.who] for c in checks]


def _danger(plan: Plan, ranked: RankedSpot, units: Units) -> dict[str, Any]:
    """What can kill or hurt, and the findings of this spot, each under its word."""
    e, site = ranked.evaluation, ranked.on_site
    all_findings = (*plan.findings, *e.findings, *(site.wind.findings if site.wind else ()))
    told = [
        f
        for f in all_findings
        if f.severity in OF_THE_PLACE and f.code not in TOLD_ELSEWHERE and not f.code.startswith(OF_THE_DRIVE)
    ]
    dangers = dangers_at(plan, ranked, units, named(40))
    return {
        "warnings": [
            *([word, f"{what}: {text}"] for word, what, text in dangers),
            *([word, finding_text(f, units)] for word, f in told_findings(told) if f.code not in OF_THE_ROADS),
        ],
        "ways": [[word, finding_text(f, units)] for word, f in told_findings(told) if f.code in OF_THE_ROADS],
        "antennas": antennas_words(site.antennas, units),
    }


def _stand(plan: Plan, ranked: RankedSpot, units: Units) -> dict[str, Any]:
    """The drawing, and how the trailer stands."""
    e, mission = ranked.evaluation, plan.mission
    trailer, fall = mission.trailer, mast_fall_m(mission)
    true, magnetic = true_and_magnetic(e.ground.heading_deg, e, units)
    return {
        "site_svg": (drawn := site_svg(plan, ranked, fall, ranked.on_site.public_keep_away_m, units)),
        "site_alt": "Site drawing, true north up: trailer with outriggers on its heading, tow vehicle, mast fall "
        "circle, guy anchors, exhaust, dish and sector directions, roads and lines near by.",
        "site_key": site_key(drawn),
        "stand": [
            ("Tongue points to", f"{true} true, {magnetic} magnetic"),
            ("Footprint", footprint_words(trailer, units)),
            ("Slope", slope_words(e.ground, units)),
            ("Level", jack_note(e.ground, trailer, units)),
            ("Swing", room_words(e.ground.room, units)),
            ("Water", drainage_words(e.ground, units)),
            ("Site guarded by", ""),
        ],
        "jacks": jack_rows(e.ground, units),
        "mast": mast_rows(e, mission, units),
        "sectors": sector_rows(e, units),
        "aim": bearing_advice(e.coverage.sector_bearings_deg if e.coverage else (), units),
    }


def _order(plan: Plan, ranked: RankedSpot, units: Units) -> dict[str, Any]:
    """The set-up, step by step."""
    e, mission = ranked.evaluation, plan.mission
    true, magnetic = true_and_magnetic(e.ground.heading_deg, e, units)
    stop = e.coverage.mast_height_m if e.coverage else max(mission.trailer.mast_stops_m)
    used = e.backhaul.kind if e.backhaul else "geostationary"
    angles, turn = angles_words(e, mission, units), turn_words(e, units)
    made = set_up_of(mission, f"{true} true, {magnetic} magnetic", angles, turn, used, stop)
    people = mission.times.crew
    return {
        "people": f"{people} {'people, a lead and a helper' if people > 1 else 'person'}",
        "steps": [
            [str(n), name_in_text(text, 420), *row] for n, (text, *row) in enumerate(steps_for_both(made, units), 1)
        ],
        "steps_total": steps_total(mission.trailer, units),
    }


def _sky(plan: Plan, ranked: RankedSpot, units: Units) -> dict[str, Any]:
    """Where dish, link or terminal look."""
    e = ranked.evaluation
    look = next(iter(e.aimed), None)
    name = "" if look is None else name_in_text(_controller_name(plan, look.satellite_name), 40)
    return {
        "horizon_svg": horizon_svg(e, units, SHEET) or "",
        "horizon_key": horizon_key_words(e),
        "horizon_alt": "Skyline around the spot with the line to each satellite.",
        "dish": _dish(plan, e, units),
        "search": search_words(e, name, plan.mission.trailer.acquisition_min[2], units),
        "sun": [name_in_text(s, 300) for s in sun_in_mission_words(plan, e)],
        "sky_known": [name_in_text(s, 300) for s in known_to_words(e.sky if e.dish_wanted else (), units)],
        "look_for": f"{SKEW_SENSE} {look_up_sentence(e, units)}".strip() if e.dish_wanted else "",
        "links": [[name_in_text(row[0], 30), *row[1:]] for row in donor_rows(e, units)],
        "link_note": link_note(e),
        "terminal": terminal_sentences(e, units),
        "backhaul": name_in_text(backhaul_sentence(e, units.first), 420)
        if len(e.backhauls) > 1 or not e.dish_used
        else "",
        "declination": compass_words(e, units),
    }


def _service(plan: Plan, ranked: RankedSpot, units: Units) -> dict[str, Any]:
    """Where to look for service, with which phone; what is reported."""
    e, radio = ranked.evaluation, plan.mission.radio
    there, not_there = _points(ranked)
    look = next(iter(e.aimed), None) if e.dish_used else None
    satellite = "" if look is None else name_in_text(_controller_name(plan, look.satellite_name), 40)
    names = [name_in_text(p.name, 34) for p in there]
    edge = reading_that_serves_dbm(link_parameters(radio))
    readings = [(name, reading_text(p, edge, units)) for name, p in zip(names, there, strict=True)]
    return {
        "points": service_rows(there, names, edge, units),
        "phone": phone_words(radio.frequency_mhz, edge, radio.sigma_db, units) if e.coverage else "",
        "not_there": not_there_words([name_in_text(p.name, 34) for p in not_there[:MOST_POINTS]]),
        "report": []
        if plan.as_built
        else [[b.what, b.planned, b.width, b.ticks] for b in report_boxes(e, satellite, readings[:3], units)],
        "report_note": FORM_NOTE,
        "built": _built(plan, e, units),
    }


def _built(plan: Plan, e: Evaluation, units: Units) -> list[list[str]]:
    """A trailer that stands, row by row against its plan; nothing before it does."""
    if plan.as_built is None:
        return []
    return [[name_in_text(cell, 160) for cell in row] for row in as_built_rows(plan.as_built, e, units)]
