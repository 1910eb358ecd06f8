"""What the crew's sheet says: how to stand, aim, raise, power up, and go home unhurt."""

from __future__ import annotations

from typing import Any

from siteplanner.outputs.aiming import compass_words, declination_deg
from siteplanner.outputs.sheets_commander import weakest_points, wind_words
from siteplanner.outputs.sheets_fonts import name_in_text, short
from siteplanner.outputs.sheets_site import horizon_figure, site_svg
from siteplanner.outputs.sheets_words import (
    LOOK_FOR,
    PLANNING_AID,
    TAKE_DOWN,
    aim_words,
    clock_text,
    coordinates,
    finding_text,
    lamp,
    line_words,
    minutes_range,
    set_up_steps,
    short_metres,
    speed_text,
)
from siteplanner.outputs.text import bearing_text, number_text, percent_text
from siteplanner.planning.arrival import arrival_checks
from siteplanner.planning.model import Plan, RankedSpot
from siteplanner.planning.on_site import OnSite, on_site
from siteplanner.planning.words import CAUTIONS

CORNERS = (
    ("front_left", "Front left"),
    ("front_right", "Front right"),
    ("rear_left", "Rear left"),
    ("rear_right", "Rear right"),
)
EXHAUST_M = 6.096  # 20 ft from openings: US consumer-safety advice on portable generators, from memory


def both(true_deg: float, declination: float | None) -> tuple[str, str]:
    """True and magnetic bearing."""
    magnetic = "not known" if declination is None else bearing_text(true_deg - declination)
    return bearing_text(true_deg), magnetic


def lift_text(lift_m: float | None) -> str:
    """`0.11 m (4.3 in)`."""
    return "not known" if lift_m is None or lift_m != lift_m else f"{lift_m:.2f} m ({lift_m / 0.0254:.1f} in)"


def _dish(ranked: RankedSpot) -> list[list[str]]:
    rows = []
    for look in ranked.evaluation.sky:
        magnetic = (
            "not known" if look.azimuth_magnetic_deg is None else number_text(look.azimuth_magnetic_deg, 1, "deg")
        )
        state = "clear" if look.clear else "not known" if look.margin_deg != look.margin_deg else "blocked or too low"
        rows.append(
            [
                name_in_text(look.satellite_name, 24),
                number_text(look.azimuth_deg, 1, "deg"),
                magnetic,
                number_text(look.elevation_deg, 1, "deg"),
                number_text(look.skew_deg, 1, "deg"),
                number_text(look.horizon_deg, 1, "deg"),
                number_text(look.margin_deg, 1, "deg"),
                state,
            ]
        )
    return rows


def _exposure(site: OnSite) -> list[list[str]]:
    who = {"public": "Public", "workers": "Crew who know of it"}
    return [
        [
            f"{row.band_mhz:g} MHz, {row.eirp_w:.0f} W EIRP a sector",
            who[row.people],
            f"{row.limit_mw_cm2:.3g} mW/cm²",
            short_metres(row.main_beam_m),
            percent_text(row.ground_share, 1) + " of the limit",
        ]
        for row in site.keep_away
    ]


def _times(site: OnSite) -> list[list[str]]:
    timeline = site.timeline
    if timeline is None:
        return []
    rows = [["Dispatch", "0 min", clock_text(timeline.dispatch) if timeline.dispatch else ""]]
    for part in timeline.parts:
        clock = clock_text(timeline.clock(part.end_mean_min)) if timeline.dispatch else ""
        rows.append([f"{part.name}: done", minutes_range(part.end_early_min, part.end_late_min), clock])
    return rows


def crew_content(plan: Plan, ranked: RankedSpot) -> dict[str, Any]:
    """Plain data for `sheet_crew.typ`."""
    e, spot, mission = ranked.evaluation, ranked.spot, plan.mission
    trailer, wind = mission.trailer, mission.wind
    declination = declination_deg(e)
    site = on_site(plan, ranked)
    coverage, timeline = e.coverage, site.timeline
    people = mission.times.crew
    minutes = trailer.set_up_min[1] if people > 1 else trailer.set_up_min[2]
    steps = set_up_steps(minutes, people)
    heading = both(e.ground.heading_deg, declination)
    fall = mission.power_lines.mast_fall_factor * max(trailer.mast_stops_m)
    arm = trailer.outrigger_reach_m
    width = trailer.width_m + 2 * arm
    public = next((row for row in site.keep_away if row.people == "public"), None)
    radius = None if public is None else public.main_beam_m
    found = [
        f for f in (*plan.findings, *e.findings, *(site.wind.findings if site.wind else ())) if f.severity == "caution"
    ]
    endurance = "not known"
    if timeline is not None:
        endurance = (
            f"{timeline.fuel_low_h:.0f} h at high burn, {timeline.fuel_likely_h:.0f} h likely, from "
            f"{mission.power.fuel_tank_l:g} l usable. Refuel after {timeline.refuel_low_h:.0f} to "
            f"{timeline.refuel_likely_h:.0f} h. Relief {timeline.relief_h:g} h after dispatch."
        )
    picture = horizon_figure(ranked)
    return {
        "title": "Crew sheet",
        "mission": short(mission.name, 90),
        "heading": f"Set-up at spot {name_in_text(spot.name, 60)}",
        "aid": PLANNING_AID,
        "where": coordinates(spot.latitude, spot.longitude, spot.grid_reference),
        "site_svg": site_svg(plan, ranked, fall, radius),
        "site_alt": "Site drawing, true north up: trailer with outriggers on its heading, mast fall circle, dish and "
        "sector directions, roads and lines near by.",
        "horizon_svg": picture or "",
        "horizon_alt": "Skyline around the spot with the line to each satellite.",
        "stand": [
            ("Nose points to", f"{heading[0]} true, {heading[1]} magnetic"),
            ("Footprint", f"{trailer.length_m:g} m by {width:.1f} m, outriggers {arm:.1f} m a side"),
            ("Slope", f"{number_text(e.ground.slope_deg, 1, 'deg')}; roll {number_text(e.ground.roll_deg, 1, 'deg')}, "
             f"pitch {number_text(e.ground.pitch_deg, 1, 'deg')} before levelling"),
            ("Mast fall circle", f"{short_metres(fall)}: nobody who need not be there"),
            ("Elevation data", f"cells of {e.ground.cell_size_m:g} m: nothing finer is known"),
        ],
        "jacks": [[label, lift_text(e.ground.jack_differences_m.get(key))] for key, label in CORNERS],
        "jack_note": f"Lift above the highest corner. Jack travel {trailer.jack_travel_m:g} m; pads on soft ground.",
        "dish": _dish(ranked),
        "look_for": LOOK_FOR,
        "mast": [("Mast stop", number_text(coverage.mast_height_m, 0, "m"))] if coverage else [],
        "sectors": [
            [f"Sector {n}", *both(b, declination)]
            for n, b in enumerate(coverage.sector_bearings_deg if coverage else (), 1)
        ],
        "aim": aim_words(coverage.sector_bearings_deg if coverage else ()),
        "declination": compass_words(e),
        "people": f"{people} {'people, a lead and a second' if people > 1 else 'person'}",
        "steps": [[str(n), s.text, s.who, f"{s.minutes:.0f}"] for n, s in enumerate(steps, 1)],
        "steps_total": f"{sum(s.minutes for s in steps):.0f} min planned; not on air after 60 min: stop, call, think.",
        "take_down": TAKE_DOWN,
        "wind": [
            f"Stow the dish and lower the mast by the unit's manual; where it says nothing: tracking is lost above "
            f"{speed_text(wind.tracking_limit_m_s)}, stow above {speed_text(wind.stow_limit_m_s)}.",
            *wind_words(site, (wind.tracking_limit_m_s, wind.stow_limit_m_s))[1:],
        ],
        "times": _times(site),
        "method": timeline.method if timeline else "",
        "light": lamp(timeline),
        "fuel": endurance,
        "exposure": _exposure(site),
        "exposure_note": "Distance in front of an antenna at its own height (47 CFR 1.1310 Table 1; OET Bulletin 65 "
        "eq. (8)). Stay out of the dish's beam, between dish and feed above all. Radio off before anyone climbs or "
        "reaches up to an antenna.",
        "points": [
            [name_in_text(p.name, 34), percent_text(p.probability), bearing_text(p.bearing_deg)]
            for p in weakest_points(ranked)[:6]
        ],
        "arrival": [[name_in_text(c.text, 120), c.why, c.who] for c in arrival_checks(plan, ranked)],
        "cautions": [
            ["Wires", f"{CAUTIONS[0]} {line_words(plan, spot)}"],
            ["Ground", CAUTIONS[1]],
            ["Exhaust", "Carbon monoxide kills: generator in the open, exhaust downwind, "
             f"{short_metres(EXHAUST_M, 0)} from doors, windows, intakes and tents. "
             "Stop and cool before refuelling; no flame, extinguisher at hand."],
            ["Lock and tag", "Before hands go into mast, winch, dish or generator: stop it, isolate it, lock it, hang "
             "your tag, try to start it. Only who hung a tag takes it off."],
            ["Manual first", CAUTIONS[3]],
            *(["Finding", finding_text(f)] for f in found),
        ],
    }  # fmt: skip
