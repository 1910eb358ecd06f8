"""Buttons whose press is not lost, and pages that are reached.

A turn of a page may be broken off by the next one before it comes to the button that was pressed; the press is gone
then, and on a busy machine that happens. So what a press does is done first, before its turn draws anything, and the
page it leads to is held until it is on the screen.
"""

from __future__ import annotations

import contextlib
import traceback
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from siteplanner.app.frame import PAGES, TURN, say_error
from siteplanner.app.labels import plain
from siteplanner.errors import SiteplannerError

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

    from siteplanner.app.running import Run

TROUBLE = "_trouble"


def press(place: DeltaGenerator | Any, label: str, act: Callable[..., str | None], *facts: Any, **looks: Any) -> None:
    """A button that does `act(*facts)`; a page that it names is turned to. Below it stands what went wrong, if
    anything did. `looks`: as Streamlit's button takes them."""
    name = str(looks.get("key", label))
    place.button(label, on_click=_act, args=(name, act, facts), **looks)
    failed = st.session_state.get(TROUBLE)
    if failed is not None and failed[0] == name:
        say_error(failed[1])
    turn()  # inside a part that is drawn on its own nobody else does


def _act(name: str, act: Callable[..., str | None], facts: tuple[Any, ...]) -> None:
    st.session_state.pop(TROUBLE, None)
    try:
        page = act(*facts)
    except SiteplannerError as error:
        st.session_state[TROUBLE] = (name, error)
        return
    except Exception as error:
        # the page shows a sentence; the terminal keeps the rest for whoever mends the program
        traceback.print_exc()
        st.session_state[TROUBLE] = (
            name,
            SiteplannerError(
                f"The program failed ({type(error).__name__}: {error}).",
                remedy="Try again. If it fails again, send the terminal output to your administrator.",
            ),
        )
        return
    if page is not None:
        st.session_state[TURN] = page


def event_of(key: str, name: str) -> Any:
    """What the event `name` of the drawn thing `key` carried. Where the framework no longer knows the thing, for its
    page was just being drawn or left, the event is looked for among those that came; None if it is not there: what sent
    it sees that nothing came of it, and sends it again."""
    try:
        return st.session_state[key].get(name)
    except KeyError:
        state = getattr(getattr(get_script_run_ctx(suppress_warning=True), "session_state", None), "_state", None)
        came = getattr(state, "_new_widget_state", {})
        for widget in [w for w in came if key in w]:
            with contextlib.suppress(KeyError):
                told = came[widget]
                for event in told if isinstance(told, list) else [told]:
                    if isinstance(event, dict) and event.get("event") == name:
                        return event.get("value")
        return None


@st.fragment(run_every=0.5)
def watch(run: Run, key: str) -> None:
    """How far a run is, with a button that ends it, until the page is drawn again at its end. `key`: the button's."""
    if run.state != "running":
        st.rerun()
    st.progress(run.share, text=plain(f"{run.stage} …"))
    press(st, "Cancel", run.cancel, key=key)


def turn() -> None:
    """Turn to the page that a press led to and that is not on the screen yet."""
    page = st.session_state.get(TURN)
    if page is not None:
        st.switch_page(st.session_state[PAGES][page])


def reached(page: Any) -> None:
    """`page` is being drawn: nothing else is waited for when it is the one that was wanted."""
    wanted = st.session_state.get(TURN)
    if wanted is not None and st.session_state[PAGES][wanted].title == page.title:
        del st.session_state[TURN]
