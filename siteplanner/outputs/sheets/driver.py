"""What the driver's sheet says: where to, which way, what lies on it, how to stand, how to come home."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.sheets.driver_maps import end_map, last_leg_map, leg_bearing_deg
from siteplanner.outputs.sheets.figure_profile import SHEET, profile_svg
from siteplanner.outputs.sheets.fonts import name_in_text, set_apart, short
from siteplanner.outputs.sheets.sheet_maps import driver_map
from siteplanner.outputs.sheets.sheet_words import MOST_HAZARDS, UNCUT, coordinates, finding_text, named
from siteplanner.outputs.sheets.track_code import code_svg, track_code
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.spots.evaluation import Access, start_of, told_of
from siteplanner.planning.telling.directions import alternative_words, step_words, too_far_words
from siteplanner.planning.telling.drive_limits import first_line, limit_rows
from siteplanner.planning.telling.driver import (
    climb_words,
    drive_words,
    last_leg_words,
    minutes_at,
    not_stated_words,
    on_foot_words,
    other_starts,
    profile_words,
    rig_rows,
    stretch_words,
    times_words,
)
from siteplanner.planning.telling.keep_clear import hazards_near_sentences
from siteplanner.planning.telling.leave import ASKED_ON_ARRIVAL
from siteplanner.planning.telling.lifeline import hazards_beside_words, way_in_words, way_out_words
from siteplanner.planning.telling.places import drive_figures
from siteplanner.planning.telling.roads import not_these_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.signal_words import by_gravity, signal_word
from siteplanner.planning.telling.spelling import name_and_spelling
from siteplanner.planning.telling.timeline import driver_light_words, no_contact_words, on_the_spot_words
from siteplanner.planning.telling.towing import (
    FOLLOW,
    HITCH,
    HITCH_SOURCE,
    NEW_PLAN,
    SPOTTER,
    cannot_go_on_words,
    code_words,
    home_words,
    recheck_words,
    wire_down_words,
)
from siteplanner.planning.telling.units import Units, reader_units
from siteplanner.planning.telling.words import TURN_BACK, WALK_IT
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.steps import Step

MOST_RULED_OUT = 4  # reasons of roads that are shut; more would hide the way itself
MOST_WARNINGS = 6
SAID_OF_THE_WAY = ("one_way_in", "one_way_out", "hazard_beside_drive")  # named with its roads on this sheet
NOT_HERE = (*SAID_OF_THE_WAY, *ASKED_ON_ARRIVAL)  # whom to ask stands on the other sheets


def hazard_line(hazard: HazardAhead, units: Units) -> dict[str, Any]:
    """One hazard: where on the drive, what, how grave."""
    return {
        "at": units.odometer(hazard.running_m),
        "at_words": units.odometer_words(hazard.running_m),  # where no head of a column says the unit
        "mark": "" if hazard.severity == "note" else signal_word(hazard.severity),
        "text": stretch_words(hazard, units, named(110)),
    }


def _hazard_lines(hazards: Sequence[HazardAhead], units: Units) -> list[dict[str, Any]]:
    """One line each; what is the same at the same figure of the odometer is told once, with how often."""
    lines = [hazard_line(hazard, units) for hazard in hazards]
    out = []
    for _, same in groupby(lines, key=lambda line: (line["at"], line["mark"], line["text"])):
        alike = list(same)
        out.append({**alike[0], "text": times_words(alike[0]["text"], len(alike))})
    return out


def driver_content(plan: Plan, ranked: RankedSpot) -> dict[str, Any] | None:
    """Plain data for `driver.typ`; None where no road leads to the spot."""
    units = reader_units(plan.mission)
    e, spot = ranked.evaluation, ranked.spot
    access = e.access
    if access is None:
        return None
    route = access.route
    staging = start_of(plan.mission, access).name
    told = told_of(access)
    steps = told.steps
    names = {str(name) for name in plan.scene.roads.tags.name if name} | {staging}
    site = ranked.on_site
    turning = name_in_text(turning_words(told.turning, units), 400)
    if told.turning.place is not None:
        turning += f" Place: {told.turning.degrees_minutes}; {grid_text(told.turning.grid_reference)}."
    last_leg = last_leg_words(access, leg_bearing_deg(plan, ranked), e, units)
    hanging = [way_in_words(access, units), way_out_words(access, units) if access.ways_out != 2 else ""]
    own = [f for f in e.findings if f.severity != "note" and f.code not in NOT_HERE]
    through = [h for h in site.hazards[:MOST_HAZARDS] if h.on_the_drive]
    warnings = [
        *(["WARNING", name_in_text(text, UNCUT)] for text in (*hanging, *hazards_beside_words(access, units)) if text),
        *(["WARNING", text] for text in hazards_near_sentences(through, units, named(40))),
        *([signal_word(f.severity), finding_text(f, units)] for f in by_gravity(own)),
    ]
    code = track_code(plan, ranked)
    return {
        "title": "Driver sheet",
        "mission": short(plan.mission.name, 90),
        "heading": f"To spot {name_in_text(name_and_spelling(spot.name), 60)} from {name_in_text(staging, 50)}",
        "first_line": first_line(
            told, route, spot.name, grid_text(spot.grid_reference), drive_figures(access, units.first), units
        ),
        "aid": PLANNING_AID,
        "summary": [
            ("Drive", drive_words(access, units)),
            *([("Other starts", other_starts(access, units, named(40)))] if len(access.by_staging) > 1 else []),
            *((what, name_in_text(words, 260)) for what, words in _limits(plan, access, units)),
            ("Climb, descent", climb_words(route, units)),
            ("On the spot", on_the_spot_words(site.timeline, units)),
            *(("Light" if n == 0 else "", words) for n, words in enumerate(driver_light_words(site.timeline))),
        ],
        "where": coordinates(spot.latitude, spot.longitude, spot.grid_reference),
        "hitch": [*HITCH, recheck_words(units)],
        "hitch_source": HITCH_SOURCE,
        "follow": FOLLOW,
        "code_svg": code_svg(code.text) if code else "",
        "code_words": code_words(code.off_m, units) if code else "",
        "other_way": name_in_text(alternative_words(told.alternative, units), 300),
        "not_these_ways": name_in_text(not_these_words(told.not_these[:MOST_RULED_OUT], units), 300),
        "places": [
            [str(n), f"{s.latitude:.6f}, {s.longitude:.6f}", s.degrees_minutes, grid_text(s.grid_reference)]
            for n, s in enumerate(steps, 1)
        ],
        "places_short": [
            [str(n), f"{s.latitude:.5f}, {s.longitude:.5f}", grid_text(s.grid_reference)]
            for n, s in enumerate(steps, 1)
        ],
        "map_svg": driver_map(plan, ranked, 92, 58, [(str(n), s.x, s.y) for n, s in enumerate(steps, 1)]),
        "map_alt": "Map of the drive from staging S to the spot, with the numbered steps of the list.",
        "end_svg": end_map(plan, ranked, 92, 46),
        "end_alt": "Map of the last part of the drive with the numbered steps of the list.",
        "leg_svg": last_leg_map(plan, ranked, 92, 46),
        "leg_alt": "Drawing of the last leg, north up: the road, the way in as an arrow, the trailer with its tongue.",
        "map_key": _map_key(plan, told),
        "profile_svg": profile_svg(plan, ranked, units, size=SHEET),
        "profile_alt": profile_words(plan, ranked, units),
        "odometer": units.odometer_unit,
        "steps": [
            {
                "n": str(n),
                "at": units.odometer(s.running_m),
                "at_words": units.odometer_words(s.running_m),
                "minutes": minutes_at(s.running_s),
                "text": _stop(last_leg, s, units)
                if s.kind == "arrive"
                else set_apart(short(step_words(s, units), 200), names),
                "go": units.distance(s.distance_m) if s.distance_m > 0 else "",
                "grid": s.grid_reference,
                "hazards": _hazard_lines(s.hazards, units),
            }
            for n, s in enumerate(steps, 1)
        ],
        "last_leg": f"{last_leg} {on_foot_words(e.ground.heading_deg, e, units)} {WALK_IT} {SPOTTER}",
        "turning": turning,
        "cannot": [TURN_BACK, cannot_go_on_words(told.alternative), wire_down_words(units)],
        "home": home_words(told.descents, told.both_ways, units),
        "rig": rig_rows(plan.mission.rig, units),
        "not_known": not_stated_words(access, units, named(260)),
        "new_plan": NEW_PLAN,
        "warnings": warnings[:MOST_WARNINGS],
        "call": [
            *[[who, "talkgroup ______  phone ____________"] for who in ("Dispatch", "Crew on the spot", "Road owner")],
            ["Check in", "when you leave, at each numbered step you are asked for, on the spot: every ____ min"],
            [no_contact_words(site.timeline, units), "do: ____________________________________"],
        ],
    }


def _map_key(plan: Plan, told: Told) -> str:
    """The marks of the driver's map in words, of those that it has."""
    layers = {
        "hazards": "hatched: hazard area",
        "keep_out": "dotted: keep-out",
        "power_lines": "dash-dot: overhead line",
    }
    marks = [
        "S start; numbers: steps of the list; black disc: the spot; thick line: the drive",
        *(["dashed: another way"] if told.alternative.route is not None else []),
        *(["T: turning place"] if told.turning.place is not None else []),
        *(words for role, words in layers.items() if role in plan.scene.overlays),
        "short dashes: road not for this rig",
    ]
    return f"{'; '.join(marks)}."


def _limits(plan: Plan, access: Access, units: Units) -> list[tuple[str, str]]:
    return limit_rows(told_of(access), access.route, plan.mission.rig.max_grade_pct, units)


def _stop(last_leg: str, step: Step, units: Units) -> str:
    text = f"Stop. {last_leg}"
    return f"{text} {name_in_text(too_far_words(step.beyond, units), 90)}." if step.beyond else text
