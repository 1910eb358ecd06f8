"""The crew's part of the Spot page, in the order of the work: dangers, checks, park and level, raise and aim, sky."""

from __future__ import annotations

import streamlit as st

from siteplanner.app import style
from siteplanner.app.figure import drawing, put
from siteplanner.app.labels import Units
from siteplanner.app.session import Work, spot_key
from siteplanner.outputs.sheets.figure_horizon import horizon_svg
from siteplanner.outputs.sheets.site_plan import site_svg
from siteplanner.outputs.words.text import bearing_text, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.overhead_lines import mast_fall_m
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.skyline import TREE_DISTANCES_M
from siteplanner.planning.telling.aiming import (
    POLARISATION,
    both_bearings,
    compass_words,
    rain_words,
    sun_words,
    up_text,
)
from siteplanner.planning.telling.arc import arc_words
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.backhaul_rows import backhaul_lines, donor_rows
from siteplanner.planning.telling.compass import SKEW_BRIEFLY
from siteplanner.planning.telling.ground import lift_doubt_words, lift_words, raise_first_words, slope_with_doubt
from siteplanner.planning.telling.room import room_words
from siteplanner.planning.telling.screen import cells_words, dish_aim_words, link_aim_words
from siteplanner.planning.telling.sky import look_state, margin_text
from siteplanner.planning.telling.spot_dangers import dangers_at
from siteplanner.planning.telling.trees import tree_rows
from siteplanner.planning.telling.words import best_look, compass_point, drainage_words


def crew(work: Work, plan: Plan, ranked: RankedSpot, units: Units) -> None:
    """Everything that the crew does at the spot."""
    e, key = ranked.evaluation, spot_key(ranked)
    st.html(dangers(plan, ranked, units) + on_arrival(plan, ranked, units))
    with st.container(key="spot-ground"):
        left, right = st.columns(2, gap="medium")
    left.html(park(e, units))
    with right:
        drawing(
            work.once(f"stand {key}", lambda: stand_svg(plan, ranked)),
            "Where to stand, which way to point",
            "stand",
            narrow=True,
        )
    st.html(raise_and_aim(e, units))
    if drawing(
        work.once(f"horizon {key} {units.system}", lambda: horizon_svg(e, units)), "Skyline and satellites", "horizon"
    ):
        put(skyline_words(plan, e, units))


def dangers(plan: Plan, ranked: RankedSpot, units: Units) -> str:
    """What can kill or hurt a crew at the trailer, the gravest first."""
    return style.head("Before you work at the trailer") + "".join(
        style.note("danger" if word == "DANGER" else "hurts", f"{word}. {what}.", text)
        for word, what, text in dangers_at(plan, ranked, units)
    )


def stand_svg(plan: Plan, ranked: RankedSpot) -> str:
    """The site from above, true north up: trailer, mast fall, dish and sectors."""
    return site_svg(plan, ranked, mast_fall_m(plan.mission), ranked.on_site.public_keep_away_m)


def park(e: Evaluation, units: Units) -> str:
    """How the trailer stands."""
    g = e.ground
    jacks = [
        (name.replace("_", " ").capitalize(), f"lift {lift_words(g, name, units)}") for name in g.jack_differences_m
    ]
    rows = [
        ("Tongue points to", f"{both_bearings(g.heading_deg, e, units)}, {compass_point(g.heading_deg)}"),
        ("Slope of the ground", slope_with_doubt(g, units)),
        ("Roll, pitch", f"{units.angle(g.roll_deg)}, {units.angle(g.pitch_deg)}"),
        *jacks,
        *([("Lifts", doubt)] if (doubt := lift_doubt_words(g, units)) else []),
        ("First", raise_first_words(g) or "not known"),
        ("Room", room_words(g.room, units)),
        ("Water", drainage_words(g, units)),
        ("Unevenness in the data", units.length(g.relief_m, 1)),
        ("Elevation cells", cells_words(g.cell_size_m, units)),
    ]
    return style.head("Park and level") + style.table(rows)


def on_arrival(plan: Plan, ranked: RankedSpot, units: Units) -> str:
    """What the data leave open here, with a box to tick on paper."""
    rows = [(f"☐ {check.text}", check.why, check.who) for check in arrival_checks(plan, ranked, units)]
    return style.head("Check on arrival") + style.table(rows, ("Look at", "Because", "Who"))


def raise_and_aim(e: Evaluation, units: Units) -> str:
    """Mast, sectors, dish."""
    rows: list[tuple[str, str]] = []
    if e.coverage is not None:
        rows.append(("Mast up to", units.length(e.coverage.mast_height_m)))
        rows += [(f"Sector {n}", both_bearings(b, e, units)) for n, b in enumerate(e.coverage.sector_bearings_deg, 1)]
    looks = [
        (
            look.satellite_name,
            bearing_text(look.azimuth_deg),
            bearing_text(look.azimuth_magnetic_deg),
            units.angle(look.elevation_deg),
            units.angle(look.skew_deg),
            units.angle(look.horizon_deg),
            margin_text(look, units),
            look_state(look),
        )
        for look in (e.sky if e.dish_wanted else ())
    ]
    best = best_look(e)
    big = ""
    if e.donor is not None:
        true, magnetic = (bearing_text(b) for b in (e.donor.bearing_deg, e.donor.bearing_magnetic_deg))
        big = link_aim_words(true, magnetic, up_text(e.donor.elevation_deg, units))
    elif best is not None and best.clear and e.dish_used:
        true, magnetic = (bearing_text(b) for b in (best.azimuth_deg, best.azimuth_magnetic_deg))
        big = dish_aim_words(true, magnetic, best.elevation_deg, units)
    big = f'<p class="sp-big">{shown(big)}</p>' if big else ""
    dish = (
        style.table(
            looks,
            ("Satellite", "True", "Magnetic", "Elevation angle", "Skew", "Skyline", "Margin", "Line"),
            figures=(1, 2, 3, 4, 5, 6),
        )
        + f'<p class="sp-small">{shown(f"Skew: {SKEW_BRIEFLY}.")}</p>'
        if looks
        else ""
    )
    compass = f'<p class="sp-small">{shown(compass_words(e, units))}</p>'
    return style.head("Raise and aim") + big + style.table(rows) + dish + compass + backhaul(e, units)


def backhaul(e: Evaluation, units: Units) -> str:
    """Every wanted backhaul with its verdict, in order of preference, and how to aim a link."""
    if not e.backhauls or (len(e.backhauls) == 1 and e.dish_used):
        return ""
    away = [d.distance_m for b in e.backhauls for d in b.donors]
    rows = [
        (f"{n}. {verdict}".replace(" ", "\u00a0"), text)
        for n, (verdict, text) in enumerate(backhaul_lines(e, units), 1)
    ]
    links = (
        style.table(
            [
                (name if verdict == "works" else f"{name} ({verdict})", *aim, units.distance(metres), clear, spare)
                for (name, *aim, _, clear, spare, verdict), metres in zip(donor_rows(e, units), away, strict=True)
            ],
            ("Donor", "True", "Magnetic", "Tilt", "Distance", "Clear", "Spare"),
            figures=(1, 2, 3, 4, 5, 6),
        )
        if away
        else ""
    )
    note = f'<p class="sp-small">{shown(POLARISATION)}</p>' if links else ""
    return style.head("Backhaul, in order of preference") + style.table(rows) + links + note


def skyline_words(plan: Plan, e: Evaluation, units: Units) -> str:
    """What of the arc is in view, how tall a tree may be, when the sun stands behind a satellite."""
    arc = [words] if (words := arc_words(e.arc, e.sky, units)) else []
    rows = [(r.satellite_name, *r.heights) for r in tree_rows(e, units=units)]
    away = [f"{units.length(d)} away" for d in TREE_DISTANCES_M]
    trees = style.table(rows, ("A tree in the line may be up to", *away), figures=(1, 2, 3)) if rows else ""
    return trees + style.bullets("", [*arc, *sun_words(plan, e), *rain_words(plan, e)])
