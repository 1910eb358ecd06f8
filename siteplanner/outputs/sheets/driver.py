"""What the driver's sheet says: where to, which way, what lies on it, what the rig was taken for."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from siteplanner.core.constants import FOOT_M, POUND_KG
from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.sheets.fonts import name_in_text, set_apart, short
from siteplanner.outputs.sheets.sheet_maps import FONT, driver_map
from siteplanner.outputs.sheets.sheet_words import (
    PLANNING_AID,
    clock_text,
    coordinates,
    finding_text,
    geo_uri,
    hazard_words,
    lamp,
    minutes_range,
    turning_place,
)
from siteplanner.outputs.words.text import bearing_text, distance_text, grade_text, number_text, time_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.detail import told_of
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.on_site import on_site
from siteplanner.planning.spots.evaluation import Access, start_of
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.radio import one_way_words
from siteplanner.planning.telling.words import CAUTIONS
from siteplanner.roads.grade_bands import EDGES_PCT
from siteplanner.roads.limits import USUAL

SEVERITY_MARK = {"caution": "!!", "warning": "!", "note": ""}


def code_svg(uri: str) -> str:
    """A machine-readable square code (QR, ISO/IEC 18004) of a URI, as SVG with its quiet zone."""
    import io

    import segno

    out = io.BytesIO()
    segno.make(uri, error="m", micro=False).save(out, kind="svg", scale=4, border=4, xmldecl=False)
    return out.getvalue().decode()


def profile_svg(
    distance_m: np.ndarray,
    elevation_m: np.ndarray,
    width: float = 180,
    height: float = 30,
    grade_pct: np.ndarray | None = None,
) -> str | None:
    """Height along the drive, in millimetres; None where no height is known. The line is the thicker the steeper:
    below 5 %, to 8 %, to 12 %, above.
    """
    known = np.isfinite(elevation_m)
    if known.sum() < 2 or distance_m[-1] <= 0:
        return None
    d, z = distance_m[known], elevation_m[known]
    low, high = float(z.min()), float(z.max())
    span = max(high - low, 20.0)
    left, right, top, bottom = 13.0, 3.0, 3.0, 6.5
    w, h = width - left - right, height - top - bottom

    def at(metres: float, level: float) -> tuple[float, float]:
        return left + w * metres / float(distance_m[-1]), top + h * (1 - (level - low) / span)

    keep = np.unique(np.linspace(0, len(d) - 1, min(len(d), 500)).astype(int))
    line = "L".join("{:.2f} {:.2f}".format(*at(float(d[k]), float(z[k]))) for k in keep)
    x0, x1 = at(float(d[keep[0]]), low)[0], at(float(d[keep[-1]]), low)[0]
    out = (
        f'<path d="M{line}L{x1:.2f} {top + h:.2f}L{x0:.2f} {top + h:.2f}Z" fill="#ddd"/>'
        f'<path d="M{line}" fill="none" stroke="#000" stroke-width="0.5"/>'
        f'<path d="M{left} {top}V{top + h}H{left + w}" fill="none" stroke="#000" stroke-width="0.3"/>'
    )
    if grade_pct is not None:
        steep = np.abs(np.nan_to_num(grade_pct[known]))
        for a, b in zip(keep[:-1].tolist(), keep[1:].tolist(), strict=True):
            band = int(np.searchsorted(EDGES_PCT[1:], steep[a : b + 1].max(), side="right"))
            if band:
                ends = "L".join("{:.2f} {:.2f}".format(*at(float(d[k]), float(z[k]))) for k in (a, b))
                pen = f'stroke="#000" stroke-width="{0.5 + 0.4 * band:g}" stroke-linecap="round"'
                out += f'<path d="M{ends}" fill="none" {pen}/>'
    for level in (low, high) if high - low > 1 else (low,):
        y = at(0, level)[1]
        out += (
            f'<text x="{left - 1}" y="{y + 0.9:.2f}" font-size="2.5" {FONT} text-anchor="end">{level:,.0f} m</text>'
            f'<path d="M{left} {y:.2f}H{left + w}" stroke="#999" stroke-width="0.15" stroke-dasharray="1 1"/>'
        )
    total = float(distance_m[-1])
    step = next(s for s in (100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000, 100_000, 1e9) if total / s <= 10)
    for k in range(int(total // step) + 1):
        x = at(k * step, low)[0]
        label = f"{k * step / 1000:g}" + (" km" if k == 0 else "")
        out += (
            f'<path d="M{x:.2f} {top + h}v1" stroke="#000" stroke-width="0.3"/>'
            f'<text x="{x:.2f}" y="{top + h + 4:.2f}" font-size="2.5" {FONT} text-anchor="middle">{label}</text>'
        )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}">{out}</svg>'
    )


def hazard_line(hazard: Any) -> dict[str, Any]:
    """One hazard: where on the drive, what, how grave."""
    stretch = f", for {distance_text(hazard.length_m)}" if hazard.length_m > 0 else ""
    return {
        "at": f"{hazard.running_m / 1000:.1f} km",
        "mark": SEVERITY_MARK[hazard.severity],
        "text": f"{name_in_text(hazard.text, 110)}{stretch}",
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
    unknown = "; ".join(access.unknown if access else ()).replace(" not stated on ", " on ")  # the label says it
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
    told = told_of(plan, access)
    steps = told.steps
    names = {str(name) for name in plan.scene.roads.name if name} | {staging}
    site = on_site(plan, ranked)
    timeline = site.timeline
    place = turning_place(plan, access) if told.turning is None else None
    if told.turning is not None:
        turning = name_in_text(told.turning.sentence, 400)
        if told.turning.place is not None:
            turning += f" Place: {told.turning.degrees_minutes}; {grid_text(told.turning.grid_reference)}."
    elif place is None:
        turning = "None known before the spot: look for room to turn before you leave the road."
    else:
        at = f"at the junction with {name_in_text(place.name, 40)}" if place.name else "at a junction"
        turning = (
            f"{distance_text(place.before_m)} before the end of the road, {at} ({place.latitude:.6f}, "
            f"{place.longitude:.6f}). From the map: see whether there is room."
        )
    stop = (
        f"Stop. The last leg starts here: {distance_text(access.last_leg_m)} over ground to the spot, which lies at "
        f"{bearing_text(_bearing(plan, access, spot))} true."
    )
    lead = f"{stop[6:]} Walking pace, a spotter on foot in sight of the driver."
    heading = e.ground.heading_deg
    if math.isfinite(heading):
        lead += f" Park with the nose at {bearing_text(heading)} true."
    worst = (
        f"{grade_text(route.up_grade_pct)}; {grade_text(-route.down_grade_pct)}"
        if math.isfinite(route.up_grade_pct)
        else "not known"
    )
    svg = profile_svg(route.profile_distance_m, route.profile_elevation_m, grade_pct=route.profile_grade_pct)
    one_way = access.ways_out == 1
    own = [f for f in e.findings if f.severity != "note" and not (one_way and f.code == "one_way_in")]
    alone = name_in_text(f"One way in and out. {one_way_words(told)} Agree when to leave.", 300)
    other = "not worked out" if told.alternative is None else name_in_text(told.alternative.sentence, 300)
    span = time_text(access.drive_time_s)
    if math.isfinite(access.drive_low_s):
        span += f" ({time_text(access.drive_low_s)} to {time_text(access.drive_high_s)})"
    return {
        "title": "Driver sheet",
        "mission": short(plan.mission.name, 90),
        "heading": f"To spot {name_in_text(spot.name, 60)} from {start}",
        "aid": PLANNING_AID,
        "summary": [
            ("Drive", f"{distance_text(access.drive_distance_m)}, {span}, last leg included"),
            *([("Other starts", other_starts(access))] if len(access.by_staging) > 1 else []),
            ("Grades", worst),
            ("Climb, descent", f"{number_text(route.climb_m, 0, 'm')} up, {number_text(route.descent_m, 0, 'm')} down"),
            (
                "On the spot",
                "not known"
                if timeline is None
                else f"{minutes_range(timeline.arrival.end_early_min, timeline.arrival.end_late_min)} after dispatch"
                + (f" ({clock_text(timeline.clock(timeline.arrival.end_mean_min))})" if timeline.dispatch else ""),
            ),
            ("Light", lamp(timeline)),
        ],
        "where": coordinates(spot.latitude, spot.longitude, spot.grid_reference),
        "uri": geo_uri(spot),
        "code_svg": code_svg(geo_uri(spot)),
        "other_way": other,
        "bands": [[band.label, distance_text(band.length_m)] for band in told.bands if band.length_m >= 1],
        "places": [
            [str(n), f"{s.latitude:.6f}, {s.longitude:.6f}", s.degrees_minutes, grid_text(s.grid_reference)]
            for n, s in enumerate(steps, 1)
        ],
        "map_svg": driver_map(plan, ranked, 112, 88, [(str(n), s.x, s.y) for n, s in enumerate(steps, 1)]),
        "map_alt": "Map of the drive from staging S to the spot, with the numbered steps of the list.",
        "map_key": "S start; numbers: steps of the list; black disc: the spot; thick line: the drive; "
        "dashed: another way; T: turning place; "
        "hatched: hazard area; dotted: keep-out; dash-dot: overhead line; short dashes: road not for this rig.",
        "profile_svg": svg or "",
        "profile_alt": "Height of the road along the drive, from staging to the spot; the thicker the steeper.",
        "steps": [
            {
                "n": str(n),
                "at": f"{s.running_m / 1000:.1f}",
                "text": (f"{stop} {name_in_text(s.too_far, 90)}." if s.too_far else stop)
                if s.kind == "arrive"
                else set_apart(short(s.text, 200), names),
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
            *(["!!", text] for text in hazard_words(plan, ranked) if "goes through" in text),
            ["!!", CAUTIONS[2]],
            ["!!", CAUTIONS[1]],
            ["!!", "Wires over road and spot: look up before you drive under; treat every line as energised."],
            ["!!", "Back only with a spotter in sight; lost from sight means stop. Nobody between rig and trailer."],
        ],
        "contacts": ["Dispatch", "Commander", "Crew on the spot", "Road owner"],
    }
