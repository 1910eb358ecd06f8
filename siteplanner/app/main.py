"""The app's script: Streamlit runs it for every turn of every page. Start it with `siteplanner app`."""

from __future__ import annotations

import traceback

import streamlit as st

from siteplanner.app.brought_back import SHOWN_ON, is_back
from siteplanner.app.frame import PAGES, WORK, is_open, page_id, side_panel, units_line
from siteplanner.app.labels import error_text
from siteplanner.app.pressing import reached, turn
from siteplanner.app.session import ADDRESS_KEY, work_of
from siteplanner.app.style import CSS
from siteplanner.errors import SiteplannerError

TITLES = {"start": "1 Start", "run": "2 Run", "decide": "3 Decide", "spot": "4 Spot", "downloads": "5 Downloads"}


# each page is loaded when it is opened: the first one shows before the libraries of the others are read
def start_page() -> None:
    """Start."""
    from siteplanner.app import start

    start.page()


def run_page() -> None:
    """Run."""
    from siteplanner.app import run

    run.page()


def decide_page() -> None:
    """Decide."""
    from siteplanner.app import decide

    decide.page()


def spot_page() -> None:
    """Spot."""
    from siteplanner.app import spot

    spot.page()


def downloads_page() -> None:
    """Downloads."""
    from siteplanner.app import downloads

    downloads.page()


def guide_page() -> None:
    """Guide."""
    from siteplanner.app import guide_page as guide

    guide.draw()


def after_arrival_page() -> None:
    """After arrival."""
    from siteplanner.app import after_arrival

    after_arrival.page()


def fleet_page() -> None:
    """Fleet."""
    from siteplanner.app import fleet_page as fleet

    fleet.page()


FACES = {"start": start_page, "run": run_page, "decide": decide_page, "spot": spot_page, "downloads": downloads_page}
BESIDE = {
    "after_arrival": ("After arrival", after_arrival_page),
    "fleet": ("Fleet", fleet_page),
    "guide": ("Guide", guide_page),
}
"""Pages that are no step of the way."""


def main() -> None:
    """Find the user's work, draw the page asked for; an error becomes a sentence and a remedy."""
    st.set_page_config(page_title="siteplanner", page_icon="📡", layout="wide", initial_sidebar_state="collapsed")
    token = st.query_params.get(ADDRESS_KEY) or getattr(st.session_state.get(WORK), "token", None)
    work = work_of(token, is_open)
    work.pages.add(page_id())
    st.session_state[WORK] = work
    if st.query_params.get(ADDRESS_KEY) != work.token:
        st.query_params[ADDRESS_KEY] = work.token
    st.html(CSS)
    pages = {
        name: st.Page(face, title=TITLES[name], url_path=name, default=name == "start") for name, face in FACES.items()
    }
    pages |= {name: st.Page(face, title=title, url_path=name) for name, (title, face) in BESIDE.items()}
    st.session_state[PAGES] = pages
    page = st.navigation(list(pages.values()), position="top")
    side_panel(units_line(work))
    reached(page)
    turn()
    try:
        if page.url_path not in SHOWN_ON or is_back(work):
            page.run()
    except SiteplannerError as error:
        what, remedy = error_text(error)
        st.error(f"{what}\n\n{remedy}")
    except Exception as error:
        # the page shows a sentence; the terminal keeps the rest for whoever mends the program
        traceback.print_exc()
        st.error(
            f"This page failed ({type(error).__name__}). Reload it. If it fails again, send the "
            "terminal output to your administrator. Your plan is kept."
        )


if __name__ == "__main__":
    main()
