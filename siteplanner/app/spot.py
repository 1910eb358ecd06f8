"""Spot: everything about one spot. First what can hurt and where it is, then a tab for each reader."""

from __future__ import annotations

import streamlit as st

from siteplanner.app import coordinates, style
from siteplanner.app.compare import total
from siteplanner.app.decide import choose
from siteplanner.app.frame import need_plan, units_now, work_now
from siteplanner.app.labels import Units, plain
from siteplanner.app.readings import panel as readings
from siteplanner.app.session import Work, spot_key
from siteplanner.app.spot_crew import crew
from siteplanner.app.spot_drive import driver
from siteplanner.app.spot_service import times_and_service
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import clean, named, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.safety import told_findings
from siteplanner.planning.telling.score import rank_text
from siteplanner.planning.telling.words import BEFORE_ACTING

SPOT_MAP = "spot_map"
TABS = ("Crew", "Driver", "Times and service", "Readings")


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
    st.html(place(ranked, units))
    with st.container(key="spot-sides"):
        left, right = st.columns([6, 7], gap="medium")
    with left:
        cautions(ranked.evaluation, units)
    with right:
        the_map(work, plan, ranked)
    for_crew, for_driver, for_all, read = st.tabs(TABS)
    with for_crew:
        crew(work, plan, ranked, units)
    with for_driver:
        driver(plan, ranked, units)
    with for_all:
        times_and_service(work, plan, ranked, units)
    with read:
        readings(work, plan, ranked, units)


def pick(work: Work, plan: Plan, ranked: RankedSpot) -> None:
    """Which spot the page is about."""
    keys = [spot_key(r) for r in plan.spots]
    names = {spot_key(r): f"{clean(r.spot.name)}, {rank_text(r.rank)} ({total(r)})" for r in plan.spots}
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


def place(ranked: RankedSpot, units: Units) -> str:
    """Name and place, big; the other two coordinate formats below."""
    s = ranked.spot
    others = [coordinates.written(s.latitude, s.longitude, f) for f in coordinates.FORMATS if f != units.place]
    return (
        f'<div class="sp-answer"><p class="over">{rank_text(ranked.rank).capitalize()}, '
        f"{shown(total(ranked))} of 100</p>"
        f'<p class="say">Spot {named(s.name)}: {shown(coordinates.written(s.latitude, s.longitude, units.place))}</p>'
        f'<p class="firm">{shown("   |   ".join(others))}, elevation {shown(units.length(s.elevation_m))}</p></div>'
    )


def cautions(e: Evaluation, units: Units) -> None:
    """What can hurt someone here, the gravest first; what holds at every spot stands with its reader, below."""
    st.html(
        style.head("Before anyone acts on this")
        + "".join(style.note("danger", f"{word}.", text) for word, text in BEFORE_ACTING if word == "DANGER")
        + "".join(
            style.note(f.severity, f"{word}.", said(f, units).message, said(f, units).remedy)
            for word, f in told_findings(e.findings)
        )
    )
    st.caption(plain(PLANNING_AID))
