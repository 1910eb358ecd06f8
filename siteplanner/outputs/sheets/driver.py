"""What the driver's sheet says: where to, which way, what lies on it, what the rig was taken for."""

from __future__ import annotations

import math
from typing import Any

from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.sheets.figure_profile import SHEET, profile_svg
from siteplanner.outputs.sheets.fonts import name_in_text, set_apart, short
from siteplanner.outputs.sheets.sheet_maps import driver_map
from siteplanner.outputs.sheets.sheet_words import MOST_HAZARDS, coordinates, finding_text, geo_uri, named
from siteplanner.outputs.words.standard import CAUTION
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Access, start_of, told_of
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.directions import alternative_words, step_words, too_far_words
from siteplanner.planning.telling.driver import (
    climb_words,
    drive_words,
    grades_words,
    last_leg_words,
    not_stated_words,
    on_foot_words,
    other_starts,
    profile_words,
    rig_rows,
    stretch_words,
)
from siteplanner.planning.telling.keep_clear import hazards_near_sentences
from siteplanner.planning.telling.lifeline import hazards_beside_words, way_in_words, way_out_words
from siteplanner.planning.telling.roads import band_words, not_these_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.timeline import light_words, on_the_spot_words
from siteplanner.planning.telling.units import Units, reader_units
from siteplanner.planning.telling.words import CAUTIONS
from siteplanner.roads.hazards_ahead import HazardAhead

MOST_RULED_OUT = 4  # reasons of roads that are shut; more would hide the way itself
SAID_OF_THE_WAY = ("one_way_in", "one_way_out", "hazard_beside_drive")  # named with its roads on this sheet
SEVERITY_MARK = {"caution": "!!", "warning": "!", "note": ""}


def code_svg(uri: str) -> str:
    """A machine-readable square code (QR, ISO/IEC 18004) of a URI, as SVG with its quiet zone."""
    import io

    import segno

    out = io.BytesIO()
    segno.make(uri, error="m", micro=False).save(out, kind="svg", scale=4, border=4, xmldecl=False)
    return out.getvalue().decode()


def hazard_line(hazard: HazardAhead, units: Units) -> dict[str, Any]:
    """One hazard: where on the drive, what, how grave."""
    return {
        "at": units.odometer(hazard.running_m),
        "mark": SEVERITY_MARK[hazard.severity],
        "text": stretch_words(hazard, units, named(110)),
    }


def _bearing(plan: Plan, access: Access, spot: Spot) -> float:
    """True bearing from the end of the road part to the spot."""
    east, north = spot.x - access.route.access.x, spot.y - access.route.access.y
    return (math.degrees(math.atan2(east, north)) + plan.scene.elevation.convergence_deg(spot.x, spot.y)) % 360


def driver_content(plan: Plan, ranked: RankedSpot) -> dict[str, Any] | None:
    """Plain data for `sheet_driver.typ`; None where no road leads to the spot."""
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
    turning = name_in_text(turning_words(told.turning, units.first), 400)
    if told.turning.place is not None:
        turning += f" Place: {told.turning.degrees_minutes}; {grid_text(told.turning.grid_reference)}."
    last_leg = last_leg_words(access, _bearing(plan, access, spot), units)
    stop = f"Stop. {last_leg}"
    hanging = [way_in_words(access, units.first), way_out_words(access, units.first) if access.ways_out != 2 else ""]
    beside = hazards_beside_words(access, units.first)
    own = [f for f in e.findings if f.severity != "note" and f.code not in SAID_OF_THE_WAY]
    other = name_in_text(alternative_words(told.alternative, units.first), 300)
    through = [h for h in site.hazards[:MOST_HAZARDS] if h.on_the_drive]
    return {
        "title": "Driver sheet",
        "mission": short(plan.mission.name, 90),
        "heading": f"To spot {name_in_text(spot.name, 60)} from {name_in_text(staging, 50)}",
        "aid": CAUTION,
        "summary": [
            ("Drive", drive_words(access, units)),
            *([("Other starts", other_starts(access, units, named(40)))] if len(access.by_staging) > 1 else []),
            ("Grades", grades_words(route, units)),
            ("Climb, descent", climb_words(route, units.first)),
            ("On the spot", on_the_spot_words(site.timeline, units)),
            ("Light", light_words(site.timeline)),
        ],
        "where": coordinates(spot.latitude, spot.longitude, spot.grid_reference),
        "uri": geo_uri(spot),
        "code_svg": code_svg(geo_uri(spot)),
        "other_way": other,
        "not_these_ways": name_in_text(not_these_words(told.not_these[:MOST_RULED_OUT], units.first), 300),
        "bands": [[band_words(band), units.distance(band.length_m)] for band in told.bands if band.length_m >= 1],
        "places": [
            [str(n), f"{s.latitude:.6f}, {s.longitude:.6f}", s.degrees_minutes, grid_text(s.grid_reference)]
            for n, s in enumerate(steps, 1)
        ],
        "map_svg": driver_map(plan, ranked, 112, 88, [(str(n), s.x, s.y) for n, s in enumerate(steps, 1)]),
        "map_alt": "Map of the drive from staging S to the spot, with the numbered steps of the list.",
        "map_key": "S start; numbers: steps of the list; black disc: the spot; thick line: the drive; "
        "dashed: another way; T: turning place; "
        "hatched: hazard area; dotted: keep-out; dash-dot: overhead line; short dashes: road not for this rig.",
        "profile_svg": profile_svg(plan, ranked, units, size=SHEET),
        "profile_alt": profile_words(plan, ranked, units),
        "odometer": units.odometer_unit,
        "steps": [
            {
                "n": str(n),
                "at": units.odometer(s.running_m),
                "text": (f"{stop} {name_in_text(too_far_words(s.beyond, units.first), 90)}." if s.beyond else stop)
                if s.kind == "arrive"
                else set_apart(short(step_words(s, units.first), 200), names),
                "go": units.distance(s.distance_m) if s.distance_m > 0 else "",
                "grid": s.grid_reference,
                "hazards": [hazard_line(h, units) for h in s.hazards],
            }
            for n, s in enumerate(steps, 1)
        ],
        "last_leg": on_foot_words(last_leg, e.ground.heading_deg, units),
        "turning": turning,
        "rig": [*rig_rows(plan.mission.rig, units), ("Not known", not_stated_words(access, units, named(260)))],
        "cautions": [
            *(["!!", name_in_text(words, 600)] for words in (*hanging, *beside) if words),
            *([SEVERITY_MARK[f.severity], finding_text(f, units)] for f in own),
            *(["!!", text] for text in hazards_near_sentences(through, units, named(40))),
            ["!!", CAUTIONS[2]],
            ["!!", CAUTIONS[1]],
            ["!!", "Wires over road and spot: look up before you drive under; treat every line as energised."],
            ["!!", "Back only with a spotter in sight; lost from sight means stop. Nobody between rig and trailer."],
        ],
        "contacts": ["Dispatch", "Commander", "Crew on the spot", "Road owner"],
    }
