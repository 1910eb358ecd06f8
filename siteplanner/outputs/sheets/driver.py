"""What the driver's sheet says: where to, which way, what lies on it, what the rig was taken for."""

from __future__ import annotations

import math
from typing import Any

from siteplanner.core.constants import FOOT_M, POUND_KG
from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.sheets.figure_profile import SHEET, profile_svg, profile_words
from siteplanner.outputs.sheets.fonts import name_in_text, set_apart, short
from siteplanner.outputs.sheets.sheet_maps import driver_map
from siteplanner.outputs.sheets.sheet_words import (
    MOST_HAZARDS,
    clock_text,
    coordinates,
    finding_text,
    geo_uri,
    hazard_words,
    lamp,
    minutes_range,
)
from siteplanner.outputs.words.standard import CAUTION
from siteplanner.outputs.words.text import bearing_text, distance_text, grade_text, number_text, time_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Access, start_of, told_of
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.directions import alternative_words, step_words, too_far_words
from siteplanner.planning.telling.radio import one_way_words
from siteplanner.planning.telling.roads import USUAL, ahead_words, band_words, not_these_words, unknown_along_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.words import CAUTIONS
from siteplanner.roads.hazards_ahead import HazardAhead

MOST_RULED_OUT = 4  # reasons of roads that are shut; more would hide the way itself
SEVERITY_MARK = {"caution": "!!", "warning": "!", "note": ""}


def code_svg(uri: str) -> str:
    """A machine-readable square code (QR, ISO/IEC 18004) of a URI, as SVG with its quiet zone."""
    import io

    import segno

    out = io.BytesIO()
    segno.make(uri, error="m", micro=False).save(out, kind="svg", scale=4, border=4, xmldecl=False)
    return out.getvalue().decode()


def hazard_line(hazard: HazardAhead) -> dict[str, Any]:
    """One hazard: where on the drive, what, how grave."""
    stretch = f", for {distance_text(hazard.length_m)}" if hazard.length_m > 0 else ""
    return {
        "at": f"{hazard.running_m / 1000:.1f} km",
        "mark": SEVERITY_MARK[hazard.severity],
        "text": f"{name_in_text(ahead_words(hazard), 110)}{stretch}",
    }


def rig_limits(plan: Plan, ranked: RankedSpot) -> list[tuple[str, str]]:
    """The rig as the roads were judged for it, and what the road data do not state."""
    rig, access = plan.mission.rig, ranked.evaluation.access
    rows = [
        ("Height", f"{rig.height_m:g} m ({rig.height_m / FOOT_M:.1f} ft)"),
        ("Width", f"{rig.width_m:g} m ({rig.width_m / FOOT_M:.1f} ft)"),
        ("Length", f"{rig.length_m:g} m ({rig.length_m / FOOT_M:.0f} ft)"),
        ("Mass", f"{rig.mass_kg:,.0f} kg ({rig.mass_kg / POUND_KG:,.0f} lb)"),
        ("Steepest grade", f"{rig.max_grade_pct:g} %"),
        ("Turning radius", f"{rig.turning_radius_m:g} m ({rig.turning_radius_m / FOOT_M:.0f} ft)"),
    ]
    unknown = "; ".join(unknown_along_words(access.unknown if access else (), labelled=True))
    rows.append(("Not known", f"{name_in_text(unknown, 260)}. {USUAL}" if unknown else USUAL))
    return rows


def _bearing(plan: Plan, access: Access, spot: Spot) -> float:
    """True bearing from the end of the road part to the spot."""
    east, north = spot.x - access.route.access.x, spot.y - access.route.access.y
    return (math.degrees(math.atan2(east, north)) + plan.scene.elevation.convergence_deg(spot.x, spot.y)) % 360


def other_starts(access: Access) -> str:
    """The staging points that were not chosen, with what the drive from them takes."""
    return "; ".join(
        f"{name_in_text(s.name, 40)} " + ("no way for the rig" if s.drive_time_s is None else time_text(s.drive_time_s))
        for s in access.by_staging[1:]
    )


def driver_content(plan: Plan, ranked: RankedSpot) -> dict[str, Any] | None:
    """Plain data for `sheet_driver.typ`; None where no road leads to the spot."""
    e, spot = ranked.evaluation, ranked.spot
    access = e.access
    if access is None:
        return None
    route = access.route
    staging = start_of(plan.mission, access).name
    start = name_in_text(staging, 50)
    told = told_of(access)
    steps = told.steps
    names = {str(name) for name in plan.scene.roads.tags.name if name} | {staging}
    site = ranked.on_site
    timeline = site.timeline
    arrival = None if timeline is None else timeline.moments.arrival
    turning = name_in_text(turning_words(told.turning), 400)
    if told.turning.place is not None:
        turning += f" Place: {told.turning.degrees_minutes}; {grid_text(told.turning.grid_reference)}."
    last_leg = (
        f"The last leg starts here: {distance_text(access.last_leg_m)} over ground to the spot, which lies at "
        f"{bearing_text(_bearing(plan, access, spot))} true."
    )
    stop = f"Stop. {last_leg}"
    lead = f"{last_leg} Walking pace, a spotter on foot in sight of the driver."
    heading = e.ground.heading_deg
    if math.isfinite(heading):
        lead += f" Park with the nose at {bearing_text(heading)} true."
    worst = (
        f"{grade_text(route.up_grade_pct)}; {grade_text(-route.down_grade_pct)}"
        if math.isfinite(route.up_grade_pct)
        else "not known"
    )
    one_way = access.ways_out == 1
    own = [f for f in e.findings if f.severity != "note" and not (one_way and f.code == "one_way_in")]
    alone = name_in_text(f"One way in and out. {one_way_words(told)} Agree when to leave.", 300)
    other = name_in_text(alternative_words(told.alternative), 300)
    span = time_text(access.drive_time_s)
    if math.isfinite(access.drive_low_s):
        span += f" ({time_text(access.drive_low_s)} to {time_text(access.drive_high_s)})"
    return {
        "title": "Driver sheet",
        "mission": short(plan.mission.name, 90),
        "heading": f"To spot {name_in_text(spot.name, 60)} from {start}",
        "aid": CAUTION,
        "summary": [
            ("Drive", f"{distance_text(access.drive_distance_m)}, {span}, last leg included"),
            *([("Other starts", other_starts(access))] if len(access.by_staging) > 1 else []),
            ("Grades", worst),
            ("Climb, descent", f"{number_text(route.climb_m, 0, 'm')} up, {number_text(route.descent_m, 0, 'm')} down"),
            (
                "On the spot",
                "not known"
                if timeline is None or arrival is None
                else f"{minutes_range(arrival.end_early_min, arrival.end_late_min)} after dispatch"
                + (f" ({clock_text(timeline.clock(arrival.end_mean_min))})" if timeline.dispatch else ""),
            ),
            ("Light", lamp(timeline)),
        ],
        "where": coordinates(spot.latitude, spot.longitude, spot.grid_reference),
        "uri": geo_uri(spot),
        "code_svg": code_svg(geo_uri(spot)),
        "other_way": other,
        "not_these_ways": name_in_text(not_these_words(told.not_these[:MOST_RULED_OUT]), 300),
        "bands": [[band_words(band), distance_text(band.length_m)] for band in told.bands if band.length_m >= 1],
        "places": [
            [str(n), f"{s.latitude:.6f}, {s.longitude:.6f}", s.degrees_minutes, grid_text(s.grid_reference)]
            for n, s in enumerate(steps, 1)
        ],
        "map_svg": driver_map(plan, ranked, 112, 88, [(str(n), s.x, s.y) for n, s in enumerate(steps, 1)]),
        "map_alt": "Map of the drive from staging S to the spot, with the numbered steps of the list.",
        "map_key": "S start; numbers: steps of the list; black disc: the spot; thick line: the drive; "
        "dashed: another way; T: turning place; "
        "hatched: hazard area; dotted: keep-out; dash-dot: overhead line; short dashes: road not for this rig.",
        "profile_svg": profile_svg(plan, ranked, size=SHEET),
        "profile_alt": profile_words(plan, ranked),
        "steps": [
            {
                "n": str(n),
                "at": f"{s.running_m / 1000:.1f}",
                "text": (f"{stop} {name_in_text(too_far_words(s.beyond), 90)}." if s.beyond else stop)
                if s.kind == "arrive"
                else set_apart(short(step_words(s), 200), names),
                "go": distance_text(s.distance_m) if s.distance_m > 0 else "",
                "grid": s.grid_reference,
                "hazards": [hazard_line(h) for h in s.hazards],
            }
            for n, s in enumerate(steps, 1)
        ],
        "last_leg": lead,
        "turning": turning,
        "rig": rig_limits(plan, ranked),
        "cautions": [
            *([["!!", alone]] if one_way else []),
            *([SEVERITY_MARK[f.severity], finding_text(f)] for f in own),
            *(["!!", text] for text in hazard_words(h for h in site.hazards[:MOST_HAZARDS] if h.on_the_drive)),
            ["!!", CAUTIONS[2]],
            ["!!", CAUTIONS[1]],
            ["!!", "Wires over road and spot: look up before you drive under; treat every line as energised."],
            ["!!", "Back only with a spotter in sight; lost from sight means stop. Nobody between rig and trailer."],
        ],
        "contacts": ["Dispatch", "Commander", "Crew on the spot", "Road owner"],
    }
