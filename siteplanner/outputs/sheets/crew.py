"""What the crew's sheet says: how to stand, aim, raise, power up, and go home unhurt."""

from __future__ import annotations

from typing import Any

from siteplanner.outputs.sheets.commander import weakest_points, wind_words
from siteplanner.outputs.sheets.figure_horizon import horizon_svg
from siteplanner.outputs.sheets.figure_timeline import timeline_svg
from siteplanner.outputs.sheets.fonts import name_in_text, short
from siteplanner.outputs.sheets.setup import (
    LOOK_FOR,
    TAKE_DOWN,
    aim_words,
    steps_for_both,
    steps_total,
    tree_words,
    wind_sign,
)
from siteplanner.outputs.sheets.sheet_words import (
    clock_range,
    clock_text,
    coordinates,
    finding_text,
    lamp,
    line_words,
    minutes_range,
    speed_text,
)
from siteplanner.outputs.sheets.site_plan import site_svg
from siteplanner.outputs.words.aiming import compass_words, declination_deg, margin_words, sun_words
from siteplanner.outputs.words.backhaul_text import POLARISATION, donor_rows, terminal_text
from siteplanner.outputs.words.standard import CAUTION
from siteplanner.outputs.words.text import bearing_text, number_text, percent_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.keep_away import mast_fall_m
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.on_site import OnSite
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.backhaul import backhaul_sentence
from siteplanner.planning.telling.room import room_words
from siteplanner.planning.telling.units import BOTH
from siteplanner.planning.telling.words import (
    CAUTIONS,
    drainage_words,
    lift_doubt_words,
    raise_first_words,
)

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
    for look in ranked.evaluation.sky if ranked.evaluation.dish_wanted else ():
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


def link_note(e: Evaluation) -> str:
    """How to aim the link antenna; empty where no link was judged."""
    if not any(b.donors for b in e.backhauls):
        return ""
    return (
        "Bearings and tilts are of the link antenna at the spot; on the mast, set its turn against the sectors and its "
        f"tilt before raising. {POLARISATION}"
    )


PEOPLE = {"public": ("Public", "public"), "workers": ("Crew who know of it", "crew")}
"""People that a limit protects: as a row of the table is headed, and within a sentence."""


def _exposure(site: OnSite) -> list[list[str]]:
    """Who, distance by each set of limits, share of the limit on the ground."""
    return [
        [
            PEOPLE[row.people][0],
            BOTH.keep(row.main_beam_m, 1),
            BOTH.keep(row.icnirp_main_beam_m, 1),
            percent_text(row.ground_share, 1),
        ]
        for row in site.antennas
    ]


def _exposure_note(site: OnSite) -> str:
    if not site.antennas:
        return ""
    first = site.antennas[0]
    limits = " and ".join(
        f"{PEOPLE[row.people][1]} {row.limit_mw_cm2:.3g} mW/cm², {row.icnirp_limit_w_m2:.3g} W/m²"
        for row in site.antennas
    )
    return (
        f"In front of an antenna at its own height, keep the longer of the two. {first.band_mhz:g} MHz, "
        f"{first.eirp_w:.0f} W EIRP a sector; limits: {limits} (47 CFR 1.1310 Table 1, OET Bulletin 65 eq. (8); "
        "ICNIRP 2020 Table 5). Stay out of the dish's beam, between dish and feed above all; the manual gives its "
        "distance. Radio off before anyone climbs or reaches up to an antenna."
    )


def _times(site: OnSite) -> list[list[str]]:
    """Rows of part, range of its end, its end on average in minutes and by the clock."""
    timeline = site.timeline
    if timeline is None:
        return []
    rows = []
    for part in timeline.moments.parts:
        clock = "" if timeline.dispatch is None else clock_text(timeline.clock(part.end_mean_min))
        rows.append(
            [part.name, minutes_range(part.end_early_min, part.end_late_min), f"{part.end_mean_min:.0f} min", clock]
        )
    return rows


def _fuel(plan: Plan, site: OnSite) -> str:
    timeline = site.timeline
    if timeline is None:
        return "not known"
    first, last = timeline.refuel_low_h, timeline.refuel_likely_h
    when = ""
    if timeline.dispatch is not None:
        start, end = (timeline.clock(timeline.moments.mean_min + 60 * h) for h in (first, last))
        when = f" ({clock_range(start, end)})"
    relief = "" if timeline.dispatch is None else f" ({clock_text(timeline.clock(60 * timeline.relief_h))})"
    return (
        f"{timeline.fuel_low_h:.0f} h at high burn, {timeline.fuel_likely_h:.0f} h likely, from "
        f"{plan.mission.power.fuel_tank_l:g} l usable. Refuel {first:.0f} to {last:.0f} h after first service{when}, "
        f"engine stopped and cool. Relief {timeline.relief_h:g} h after dispatch{relief}."
    )


def _clear_distances(ranked: RankedSpot, site: OnSite, fall_m: float) -> list[tuple[str, str]]:
    """What must stay clear around the trailer, each with its distance."""
    line, public = ranked.evaluation.line, site.public_keep_away_m
    wires = "none known: look" if line is None else f"{BOTH.keep(line.needed_m, 1)} from the mast's foot"
    return [
        ("Mast fall circle", f"{BOTH.keep(fall_m, 1)}: nobody who need not be there"),
        ("Overhead lines", wires),
        ("Antennas, front", "not known" if public is None else f"{BOTH.keep(public, 1)}, public"),
        ("Exhaust", f"{BOTH.keep(EXHAUST_M)} from openings and people, downwind"),
    ]


def crew_content(plan: Plan, ranked: RankedSpot) -> dict[str, Any]:
    """Plain data for `sheet_crew.typ`."""
    e, spot, mission = ranked.evaluation, ranked.spot, plan.mission
    trailer, wind = mission.trailer, mission.wind
    declination = declination_deg(e)
    site = ranked.on_site
    coverage, timeline = e.coverage, site.timeline
    people = mission.times.crew
    used = e.backhaul.kind if e.backhaul else "geostationary"
    slope = number_text(e.ground.slope_deg, 1, "deg")
    stow, track = speed_text(wind.stow_limit_m_s), speed_text(wind.tracking_limit_m_s)
    sign = wind_sign(wind.tracking_limit_m_s)
    heading = both(e.ground.heading_deg, declination)
    fall = mast_fall_m(mission)
    arm = trailer.outrigger_reach_m
    width = trailer.width_m + 2 * arm
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
        "horizon_svg": horizon_svg(e) or "",
        "horizon_alt": "Skyline around the spot with the line to each satellite.",
        "stand": [
            ("Nose points to", f"{heading[0]} true, {heading[1]} magnetic"),
            ("Footprint", f"{trailer.length_m:g} m by {width:.1f} m, outriggers {arm:.1f} m a side"),
            (
                "Slope",
                f"{slope}; roll {number_text(e.ground.roll_deg, 1, 'deg')}, "
                f"pitch {number_text(e.ground.pitch_deg, 1, 'deg')} before levelling",
            ),
            ("Swing", room_words(e.ground.room)),
            ("Water", drainage_words(e.ground)),
            (
                "Elevation data",
                f"cells of {e.ground.cell_size_m:g} m: nothing finer is known"
                + (
                    ""
                    if e.ground.slope_uncertainty_deg != e.ground.slope_uncertainty_deg
                    else f"; slope give or take {number_text(e.ground.slope_uncertainty_deg, 1, 'deg')}"
                ),
            ),
        ],
        "clear": _clear_distances(ranked, site, fall),
        "jacks": [[label, lift_text(e.ground.jack_differences_m.get(key))] for key, label in CORNERS],
        "jack_note": f"{raise_first_words(e.ground)} Lift above the highest corner. "
        f"{lift_doubt_words(e.ground)} Jack travel {trailer.jack_travel_m:g} m; pads on soft ground.",
        "dish": _dish(ranked),
        "sun": [name_in_text(s, 300) for s in (*margin_words(plan, e), *sun_words(plan, e))],
        "arc": name_in_text(e.arc.sentence, 500) if e.arc is not None and e.dish_wanted else "",
        "look_for": f"{LOOK_FOR} {tree_words(e)}".strip() if e.dish_wanted else "",
        "links": [[name_in_text(row[0], 30), *row[1:]] for row in donor_rows(e)],
        "link_note": link_note(e),
        "terminal": terminal_text(e),
        "backhaul": name_in_text(backhaul_sentence(e), 420) if len(e.backhauls) > 1 or not e.dish_used else "",
        "mast": [("Mast stop", number_text(coverage.mast_height_m, 0, "m"))] if coverage else [],
        "sectors": [
            [f"Sector {n}", *both(b, declination)]
            for n, b in enumerate(coverage.sector_bearings_deg if coverage else (), 1)
        ],
        "aim": aim_words(coverage.sector_bearings_deg if coverage else (), mission.radio.sector_separation_deg),
        "declination": compass_words(e),
        "people": f"{people} {'people, a lead and a second' if people > 1 else 'person'}",
        "steps": [[str(n), *row] for n, row in enumerate(steps_for_both(trailer, used), 1)],
        "steps_total": steps_total(trailer),
        "take_down": [f"{n}. {text}" for n, text in enumerate(TAKE_DOWN, 1)],
        "wind": [
            f"Stow the dish and lower the mast by the unit's manual; where it says nothing: tracking is lost above "
            f"{track}{f' ({sign})' if sign else ''}, stow above {stow}.",
            *wind_words(site, (wind.tracking_limit_m_s, wind.stow_limit_m_s))[1:],
        ],
        "times": _times(site),
        "dispatch": "" if timeline is None or timeline.dispatch is None else f", {clock_text(timeline.dispatch)}",
        "timeline_svg": timeline_svg(plan, ranked),
        "timeline_alt": "Times to first service with their ranges; after it night, wind, refuelling and relief.",
        "method": timeline.moments.method if timeline else "",
        "light": lamp(timeline),
        "fuel": _fuel(plan, site),
        "exposure": _exposure(site),
        "exposure_note": _exposure_note(site),
        "points": [
            [name_in_text(p.name, 34), percent_text(p.probability), bearing_text(p.bearing_deg)]
            for p in weakest_points(ranked)[:6]
        ],
        "arrival": [[name_in_text(c.text, 120), c.why, c.who] for c in arrival_checks(plan, ranked)],
        "cautions": [
            ["Wires", f"{CAUTIONS[0]} {line_words(e.line)}"],
            ["Ground", CAUTIONS[1]],
            [
                "Exhaust",
                "Carbon monoxide kills: generator in the open, exhaust downwind, "
                f"{BOTH.keep(EXHAUST_M)} from doors, windows, intakes and tents. "
                "Stop and cool before refuelling; no flame, extinguisher at hand.",
            ],
            [
                "Lock and tag",
                "Before hands go into mast, winch, dish or generator: stop it, isolate it, lock it, hang "
                "your tag, try to start it. Only who hung a tag takes it off.",
            ],
            ["Manual first", CAUTIONS[3]],
            *(["Finding", finding_text(f)] for f in found),
        ],
    }
