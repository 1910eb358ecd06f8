"""What every page shares: the work in hand, the units, the way from page to page."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import streamlit as st

from siteplanner.app import style
from siteplanner.app.coordinates import FORMATS
from siteplanner.app.labels import Units, error_text
from siteplanner.app.session import Work
from siteplanner.errors import SiteplannerError
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.units import System

if TYPE_CHECKING:
    from siteplanner.planning.plan.model import Plan

PAGES = "_pages"
WORK = "_work"
UNITS = "_units"
ON_EVERY_PAGE = "units_"  # in the keys of what stands on every page
TURN = "_turn_to"  # the page that is to come, until it is drawn


def page_id() -> str:
    """Streamlit's name of the open page that this turn is for; empty outside the app."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx

    context = get_script_run_ctx()
    return context.session_id if context is not None else ""


def is_open(page: str) -> bool:
    """Whether that page is open in a browser right now."""
    from streamlit import runtime

    return runtime.exists() and runtime.get_instance().is_active_session(page)


def work_now() -> Work:
    """The work of this session."""
    return cast(Work, st.session_state[WORK])


def units_now() -> Units:
    """Units and coordinate format as chosen in the side panel."""
    return cast(Units, st.session_state.get(UNITS, Units()))


def units_line(work: Work) -> System:
    """The switch between metric and US, in sight on every page. It starts as the mission says (`sheets.units`)."""
    system: Any = st.radio(
        "Units",
        ["metric", "US"],
        index=int(starts_in_us(work.draft, units_now())),
        key=f"{ON_EVERY_PAGE}system_{work.edition}",
        horizontal=True,
        format_func={"metric": "Metric (m, km, kg)", "US": "US (ft, mi, lb)"}.get,
    )
    return cast(System, system)


def starts_in_us(draft: dict[str, Any] | None, held: Units) -> bool:
    """What a mission's pages start with: its own units, or those held before where it asks for both."""
    said = ((draft or {}).get("sheets") or {}).get("units", "both")
    return held.is_us if said == "both" else said == "us"


def side_panel(system: System) -> None:
    """How coordinates are written, and what holds everywhere."""
    held = units_now()
    with st.sidebar:
        place: Any = st.radio(
            "Coordinates",
            FORMATS,
            index=FORMATS.index(held.place),
            key=f"{ON_EVERY_PAGE}place",
            format_func=lambda f: f[:1].upper() + f[1:],
        )
        st.caption("Bearings are true, clockwise from north, with magnetic beside them. Angles are degrees.")
        st.caption(PLANNING_AID)
    st.session_state[UNITS] = Units(system, place=place)


def go(name: str) -> None:
    """Turn to another page; the turn is held until that page is drawn (`pressing`)."""
    st.session_state[TURN] = name
    st.switch_page(st.session_state[PAGES][name])


def need_plan(work: Work) -> Plan | None:
    """The plan in hand, or a word on how to get one. A ranking that ran ahead gets its sets of trailers here."""
    work.take_finished()
    if work.plan is not None:
        from siteplanner.planning.plan.sets_of import completed

        work.plan = completed(work.plan)
        return work.plan
    st.info("There is no plan yet. Choose a mission on the first page and run it.")
    if st.button("Go to the first page", type="primary"):
        go("start")
    return None


def part(draw_it: Callable[..., None], *facts: Any) -> None:
    """One part of a page; an error in it is a sentence there, and the others still work."""
    try:
        draw_it(*facts)
    except SiteplannerError as error:
        say_error(error)
    except Exception as error:
        # the page shows a sentence; the terminal keeps the rest for whoever mends the program
        traceback.print_exc()
        st.error(f"This part of the page failed ({type(error).__name__}). Reload the page; the rest still works.")


def say_error(error: SiteplannerError) -> None:
    """One sentence and the remedy."""
    what, remedy = error_text(error)
    st.error(f"{what}\n\n**What to do:** {remedy}")


def finding_note(finding: Any) -> str:
    """A finding with its file and remedy."""
    from siteplanner.planning.telling.findings import said

    words = said(finding, units_now())
    where = f"{Path(finding.file).name}: " if finding.file else ""
    return style.note(finding.severity, signal_word(finding.severity) + ".", where + words.message, words.remedy)
