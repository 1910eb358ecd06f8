"""Spot: everything about one spot, in the order in which it is needed: place, aim, drive, times, stand, service."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from siteplanner.app import coordinates, style
from siteplanner.app.compare import total
from siteplanner.app.decide import choose
from siteplanner.app.figure import drawing, put
from siteplanner.app.frame import need_plan, units_now, work_now
from siteplanner.app.labels import Units, by_severity, plain
from siteplanner.app.session import Work, spot_key
from siteplanner.app.spot_drive import copy_block, drive, profile, turns
from siteplanner.app.why import score_table
from siteplanner.core.link import BudgetLine
from siteplanner.outputs.sheets.figure_horizon import horizon_svg
from siteplanner.outputs.sheets.figure_timeline import timeline_svg
from siteplanner.outputs.sheets.site_plan import site_svg
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import bearing_text, clean, named, percent_text, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.overhead_lines import mast_fall_m
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
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
from siteplanner.planning.telling.budget import line_name
from siteplanner.planning.telling.compass import SKEW_BRIEFLY
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.ground import lift_doubt_words, lift_words, raise_first_words, slope_with_doubt
from siteplanner.planning.telling.room import room_words
from siteplanner.planning.telling.score import place_text
from siteplanner.planning.telling.screen import cells_words, dish_aim_words, link_aim_words, together_words
from siteplanner.planning.telling.service import served_words, service_lines
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.sky import look_state, margin_text
from siteplanner.planning.telling.trees import tree_rows
from siteplanner.planning.telling.units import parts_that_add_up
from siteplanner.planning.telling.words import (
    BEFORE_ACTING,
    best_look,
    compass_point,
    drainage_words,
)

SPOT_MAP = "spot_map"


def page() -> None:
    """The page of the crew and the driver."""
    work, units = work_now(), units_now()
    plan = need_plan(work)
    if plan is None:
        return
    ranked = work.spot()
    if ranked is None:
        st.info("No spot passes every limit, so there is none to show. The Decide page says what rules them out.")
        return
    pick(work, plan, ranked)
    e, s = ranked.evaluation, ranked.spot
    st.html(place(ranked, units))
    with st.container(key="spot-sides"):
        left, right = st.columns([7, 6], gap="medium")
    with left:
        the_map(work, plan, ranked)
    with right:
        st.html(raise_and_aim(e, units) + drive(e, units))
    key = spot_key(ranked)
    drawing(
        work.once(f"timeline {key}", lambda: timeline_svg(plan, ranked)),
        "Time to on air, and the hours after",
        "timeline",
    )
    put(on_air(e))
    profile(plan, ranked, units)
    put(turns(e, units))
    copy_block(ranked, units, coordinates.written(s.latitude, s.longitude, units.place))
    with st.container(key="spot-ground"):
        left, right = st.columns(2, gap="medium")
    left.html(park(e, units) + on_arrival(plan, ranked, units))
    with right:
        drawing(
            work.once(f"stand {key}", lambda: stand_svg(plan, ranked)),
            "Where to stand, which way to point",
            "stand",
            narrow=True,
        )
    if drawing(
        work.once(f"horizon {key} {units.system}", lambda: horizon_svg(e, units)), "Skyline and satellites", "horizon"
    ):
        put(skyline_words(plan, e, units))
    with st.container(key="spot-service"):
        left, right = st.columns(2, gap="medium")
    put(
        (service(e.coverage, e, units) + style.head("Score") + score_table(ranked.criteria) if e.coverage else ""), left
    )
    put(budget(e), right)
    cautions(e, units)


def pick(work: Work, plan: Plan, ranked: RankedSpot) -> None:
    """Which spot the page is about."""
    keys = [spot_key(r) for r in plan.spots]
    names = {spot_key(r): f"{clean(r.spot.name)}, {place_text(r.rank)} place ({total(r)})" for r in plan.spots}
    picked = st.selectbox(
        "Spot",
        keys,
        index=keys.index(spot_key(ranked)),
        format_func=lambda key: names[key],
        key=f"spot_{'_'.join(keys[:3])}_{spot_key(ranked)}",
        label_visibility="collapsed",
    )
    if picked and picked != spot_key(ranked):
        choose(work, picked)
        st.rerun()


def the_map(work: Work, plan: Plan, ranked: RankedSpot) -> None:
    """Predicted service of this spot with its sectors, dish and the end of the drive."""
    from streamlit_folium import st_folium

    from siteplanner.app.plan_map import SERVICE, base_map, changing, legend
    from siteplanner.app.served import localise, picture_url

    st.html(legend(plan, SERVICE))
    fmap, group = base_map(work, picture_url, around=ranked), changing(work, SERVICE, picture_url, alone=True)
    localise(fmap.get_root())
    st_folium(
        fmap,
        key=SPOT_MAP,
        height=430,
        use_container_width=True,
        feature_group_to_add=group,
        returned_objects=["last_active_drawing"],
    )


def stand_svg(plan: Plan, ranked: RankedSpot) -> str:
    """The site from above, true north up: trailer, mast fall, dish and sectors."""
    return site_svg(plan, ranked, mast_fall_m(plan.mission), ranked.on_site.public_keep_away_m)


def place(ranked: RankedSpot, units: Units) -> str:
    """Name and place, big; the other two coordinate formats below."""
    s = ranked.spot
    others = [coordinates.written(s.latitude, s.longitude, f) for f in coordinates.FORMATS if f != units.place]
    return (
        f'<div class="sp-answer"><p class="over">{place_text(ranked.rank).capitalize()} place, '
        f"{shown(total(ranked))} of 100</p>"
        f'<p class="say">Spot {named(s.name)}: {shown(coordinates.written(s.latitude, s.longitude, units.place))}</p>'
        f'<p class="firm">{shown("   |   ".join(others))}, elevation {shown(units.length(s.elevation_m))}</p></div>'
    )


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
        ("Bumps the data show", units.length(g.relief_m, 1)),
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
            ("Satellite", "True", "Magnetic", "Up", "Skew", "Skyline", "Margin", "Line"),
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


def on_air(e: Evaluation) -> str:
    """Minutes from dispatch to service: the parts with their sum, below it when service starts."""
    air = e.on_air
    if air is None:
        return ""
    columns = [
        parts_that_add_up([p.low_min for p in air.parts], 0),
        parts_that_add_up([p.likely_min for p in air.parts], 0),
        parts_that_add_up([p.high_min for p in air.parts], 0),
    ]
    rows = [(part.name, *(f"{cells[n]:.0f}" for cells, _ in columns)) for n, part in enumerate(air.parts)]
    foot = ("All parts together", *(f"{total:.0f}" for _, total in columns))
    return (
        style.head("On air")
        + style.table(rows, ("Minutes", "Low", "Likely", "High"), figures=(1, 2, 3), foot=foot)
        + style.bullets(
            "",
            [together_words(air)],
        )
    )


def service(c: Coverage, e: Evaluation, units: Units) -> str:
    """Predicted service: whole area, by mast stop, must-serve points."""
    stops = [(units.length(h), percent_text(share, 1)) for h, share in c.share_by_stop]
    points = [
        (
            p.name,
            percent_text(p.probability),
            f"{p.margin_db:+.0f} dB",
            units.distance(p.distance_m),
            both_bearings(p.bearing_deg, e, units),
        )
        for p in c.must_serve
    ]
    text = style.head("Predicted service") + style.table(
        [("Incident area served", f"{served_words(c, units)}, {units.area(c.served_area_km2)}")]
    )
    text += style.bullets("", service_lines(c, units))
    text += style.head("By mast stop") + style.table(stops, ("Mast", "Area served"), figures=(1,))
    if points:
        text += style.head("Must-serve points") + style.table(
            points, ("Point", "Chance", "Margin", "Distance", "Bearing true"), figures=(1, 2, 3)
        )
    return text


def budget_rows(lines: Sequence[BudgetLine]) -> list[BudgetLine]:
    """The lines with values as printed: those of each direction add up to its printed margin, and every sum between is
    that of the values printed above it."""
    out: list[BudgetLine] = []
    for way in ("downlink", "uplink"):
        own = [line for line in lines if line.direction == way]
        printed, margin = parts_that_add_up([line.value for line in own if not line.is_sum])
        left, so_far = iter(printed), 0.0
        for line in own:
            if line.is_sum:
                out.append(replace(line, value=margin if line.ends else round(so_far, 1)))
            else:
                value = next(left)
                so_far += value
                out.append(replace(line, value=value))
    return out + [replace(line, value=round(line.value, 1)) for line in lines if line.direction == "weaker"]


def budget(e: Evaluation) -> str:
    """The link budget, item by item; what is printed adds up."""
    if e.coverage is None or not e.coverage.budget:
        return ""
    rows = "".join(
        f'<tr class="{"sum" if line.is_sum else ""}"><th>{named(words)}</th><td class="num">{line.value:+.1f}</td>'
        f"<td>{shown(line.unit)}</td></tr>"
        for line in budget_rows(e.coverage.budget)
        for words in [line_name(line) if line.is_sum else line.item.capitalize()]
    )
    return (
        style.head("Link budget at the middle cell of the area")
        + f'<div class="sp-scroll"><table class="sp-table"><tbody>{rows}</tbody></table></div>'
        + '<p class="sp-small">Half of the area does better, half worse. Each bold line is the sum of the lines above '
        "it in its direction.</p>"
    )


def cautions(e: Evaluation, units: Units) -> None:
    """What can hurt someone: this spot's own findings, then what always holds."""
    st.subheader("Before anyone acts on this", anchor=False)
    st.html(
        "".join(
            style.note(f.severity, signal_word(f.severity) + ".", said(f, units).message, said(f, units).remedy)
            for f in by_severity(e.findings)
        )
        + "".join(style.note("warning", f"{word}.", text) for word, text in BEFORE_ACTING)
    )
    st.caption(plain(PLANNING_AID))
