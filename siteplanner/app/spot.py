"""Spot: everything about one spot, in the order in which it is needed: place, drive, park, raise, aim, watch out."""

from __future__ import annotations

from typing import Any

import streamlit as st

from siteplanner.app import places, style
from siteplanner.app.decide import choose
from siteplanner.app.frame import need_plan, units_now, work_now
from siteplanner.app.labels import Units, degrees, minutes, plain
from siteplanner.app.session import spot_key
from siteplanner.app.start import finding_note
from siteplanner.app.why import score_table
from siteplanner.outputs.aiming import both_bearings, compass_words, sun_words, tree_rows
from siteplanner.outputs.figures import horizon_svg
from siteplanner.outputs.text import bearing_text, clean, grade_text, named, percent_text, shown
from siteplanner.planning.arrival import arrival_checks
from siteplanner.planning.model import Access, Coverage, Evaluation, Plan, RankedSpot
from siteplanner.planning.skyline import TREE_DISTANCES_M
from siteplanner.planning.words import CAUTIONS, best_look, compass_point


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
    keys = [spot_key(r) for r in plan.spots]
    names = {spot_key(r): f"{r.rank}. {clean(r.spot.name)} ({r.score:.1f} points)" for r in plan.spots}
    picked = st.selectbox(
        "Spot",
        keys,
        index=keys.index(spot_key(ranked)),
        format_func=lambda key: names[key],
        key=f"spot_{'_'.join(keys[:3])}_{spot_key(ranked)}",
    )
    if picked and picked != spot_key(ranked):
        choose(work, picked)
        st.rerun()
    e = ranked.evaluation
    st.html(place(ranked, units))
    left, right = st.columns(2, gap="medium")
    with left:
        st.html(drive(e, units) + park(e, units))
    with right:
        st.html(raise_and_aim(e, units) + on_air(e) + on_arrival(plan, ranked))
    st.html(skyline_figure(plan, e, units))
    st.html(turns(plan, e, units))
    left, right = st.columns(2, gap="medium")
    with left:
        st.html(service(e.coverage, e, units) if e.coverage is not None else "")
    with right:
        st.html(style.head("Score") + score_table(ranked.criteria) + budget(e))
    cautions(e)


def place(ranked: RankedSpot, units: Units) -> str:
    """Name and place, big; the other two coordinate formats below."""
    s = ranked.spot
    others = [places.written(s.latitude, s.longitude, f) for f in places.FORMATS if f != units.place]
    return (
        f'<div class="sp-answer"><p class="over">Rank {ranked.rank}, {ranked.score:.1f} points of 100</p>'
        f'<p class="say">Spot {named(s.name)}: {shown(places.written(s.latitude, s.longitude, units.place))}</p>'
        f'<p class="firm">{shown("   |   ".join(others))}, elevation {shown(units.length(s.elevation_m))}</p></div>'
    )


def drive(e: Evaluation, units: Units) -> str:
    """The way there in figures."""
    a = e.access
    if a is None:
        return style.head("Drive") + style.note("out", "No way in.", "No road that the rig can use reaches this spot.")
    ways = {None: "not worked out", 1: "one: no way round if it closes", 2: "two that share no road"}.get(
        a.ways_out, str(a.ways_out)
    )
    rows = [
        ("From staging", f"{units.distance(a.drive_distance_m)}, {minutes(a.drive_time_s / 60)}"),
        ("Steepest", grade_text(a.worst_grade_pct)),
        ("Last leg over ground", units.distance(a.last_leg_m)),
        ("Ways out", ways),
        ("Not stated by the road data", "; ".join(a.unknown) or "nothing"),
    ]
    return style.head("Drive") + style.table(rows)


def park(e: Evaluation, units: Units) -> str:
    """How the trailer stands."""
    g = e.ground
    finest = {True: 1, False: 2}[units.is_us]
    jacks = [
        (name.replace("_", " ").capitalize(), f"lift {units.length(v, finest)}")
        for name, v in g.jack_differences_m.items()
    ]
    rows = [
        ("Tongue points to", f"{both_bearings(g.heading_deg, e)}, {compass_point(g.heading_deg)}"),
        ("Slope of the ground", degrees(g.slope_deg)),
        ("Roll, pitch", f"{degrees(g.roll_deg)}, {degrees(g.pitch_deg)}"),
        *jacks,
        ("Bumps the data show", units.length(g.relief_m, 1)),
        ("Elevation cells", f"{units.length(g.cell_size_m)}: nothing finer is known"),
    ]
    return style.head("Park and level") + style.table(rows)


def on_arrival(plan: Plan, ranked: RankedSpot) -> str:
    """What the data leave open here, with a box to tick on paper."""
    rows = [(f"☐ {check.text}", check.why, check.who) for check in arrival_checks(plan, ranked)]
    return style.head("Check on arrival") + style.table(rows, ("Look at", "Because", "Who"))


def raise_and_aim(e: Evaluation, units: Units) -> str:
    """Mast, sectors, dish."""
    rows: list[tuple[str, str]] = []
    if e.coverage is not None:
        rows.append(("Mast up to", units.length(e.coverage.mast_height_m)))
        rows += [(f"Sector {n}", both_bearings(b, e)) for n, b in enumerate(e.coverage.sector_bearings_deg, 1)]
    looks = [
        (
            look.satellite_name,
            bearing_text(look.azimuth_deg),
            bearing_text(look.azimuth_magnetic_deg),
            degrees(look.elevation_deg),
            degrees(look.skew_deg),
            degrees(look.horizon_deg),
            f"{degrees(look.margin_deg)} {'clear' if look.clear else 'not clear'}",
        )
        for look in e.sky
    ]
    best = best_look(e)
    big = ""
    if best is not None and best.clear:
        true, magnetic = (shown(bearing_text(b)) for b in (best.azimuth_deg, best.azimuth_magnetic_deg))
        big = f'<p class="sp-big">Dish {true} true, {magnetic} magnetic, {shown(degrees(best.elevation_deg))} up</p>'
    dish = (
        style.table(
            looks, ("Satellite", "True", "Magnetic", "Up", "Skew", "Skyline", "Margin"), figures=(1, 2, 3, 4, 5, 6)
        )
        if looks
        else ""
    )
    compass = f'<p class="sp-small">{shown(compass_words(e))}</p>'
    return style.head("Raise and aim") + big + style.table(rows) + dish + compass


def skyline_figure(plan: Plan, e: Evaluation, units: Units) -> str:
    """The horizon diagram, what of the arc is in view, and how tall a tree may be."""
    drawn = horizon_svg(e)
    if drawn is None:
        return ""
    arc = f"<p>{shown(e.arc.sentence)}</p>" if e.arc is not None else ""
    rows = [(r.satellite_name, *r.heights) for r in tree_rows(e)]
    away = [f"{units.length(d)} away" for d in TREE_DISTANCES_M]
    trees = style.table(rows, ("A tree in the line may be up to", *away), figures=(1, 2, 3)) if rows else ""
    sun = "".join(f"<p>{shown(sentence)}</p>" for sentence in sun_words(plan, e))
    return style.head("Skyline and satellites") + f'<div class="sp-figure">{drawn}</div>' + arc + trees + sun


def on_air(e: Evaluation) -> str:
    """Minutes from dispatch to service."""
    air = e.on_air
    if air is None:
        return ""
    rows = [(name, f"{low:.0f}", f"{likely:.0f}", f"{high:.0f}") for name, low, likely, high in air.parts]
    foot = ("On air after", f"{air.low_min:.0f}", f"{air.likely_min:.0f}", f"{air.high_min:.0f}")
    return style.head("On air") + style.table(rows, ("Minutes", "Low", "Likely", "High"), figures=(1, 2, 3), foot=foot)


def service(c: Coverage, e: Evaluation, units: Units) -> str:
    """Predicted service: whole area, by mast stop, must-serve points."""
    stops = [(units.length(h), percent_text(share, 1)) for h, share in c.share_by_stop]
    points = [
        (
            p.name,
            percent_text(p.probability),
            f"{p.margin_db:+.0f} dB",
            units.distance(p.distance_m),
            both_bearings(p.bearing_deg, e),
        )
        for p in c.must_serve
    ]
    text = style.head("Predicted service") + style.table(
        [("Incident area served", f"{percent_text(c.share, 1)}, {units.area(c.served_area_km2)}")]
    )
    text += style.head("By mast stop") + style.table(stops, ("Mast", "Area served"), figures=(1,))
    if points:
        text += style.head("Must-serve points") + style.table(
            points, ("Point", "Chance", "Margin", "Distance", "Bearing true"), figures=(1, 2, 3)
        )
    return text


def budget(e: Evaluation) -> str:
    """The link budget, item by item."""
    if e.coverage is None or not e.coverage.budget:
        return ""
    return style.head("Link budget at the middle cell of the area") + style.table(
        [(item, f"{value:.1f} {unit}") for item, value, unit in e.coverage.budget], figures=(1,)
    )


def turns(plan: Plan, e: Evaluation, units: Units) -> str:
    """The drive turn by turn."""
    if e.access is None:
        return ""
    try:
        steps = steps_of(plan, e.access)
    except ImportError:
        return style.head("Turn by turn") + style.note("note", "Not there.", "Directions are not in this installation.")
    rows = [
        (
            str(number),
            units.distance(step.running_m),
            str(step.text),
            "; ".join(str(getattr(h, "text", h)) for h in step.hazards),
        )
        for number, step in enumerate(steps, 1)
    ]
    leg = f"Last leg: {units.distance(e.access.last_leg_m)} over ground to the spot. A spotter walks ahead."
    rows.append((str(len(rows) + 1), units.distance(e.access.drive_distance_m), leg, ""))
    return style.head("Turn by turn") + style.table(rows, ("", "After", "Do", "Watch"), figures=(1,))


def steps_of(plan: Plan, access: Access) -> list[Any]:
    """Decision points of the drive."""
    from siteplanner.roads.directions import directions

    return list(directions(plan.scene.roads, access.route, plan.scene.elevation))


def cautions(e: Evaluation) -> None:
    """What can hurt someone: this spot's own findings, then what always holds."""
    st.subheader("Before anyone acts on this", anchor=False)
    st.html(
        "".join(finding_note(f) for f in e.findings)
        + "".join(style.note("caution", "Caution.", text) for text in CAUTIONS)
    )
    st.caption(plain("Local codes, the landowner and licensed practice come first."))
