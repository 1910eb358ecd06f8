"""The server's own process: the web framework behind our door, kept from asking any network and from settings that lie
about.

Run as `python -m siteplanner.app.server run ...`, with the words that the framework's own command takes.
"""

from __future__ import annotations

import os
from dataclasses import replace
from typing import Any

from siteplanner.app.door import Asgi, Door
from siteplanner.app.frame import ON_EVERY_PAGE
from siteplanner.app.private import sweep


def seal() -> None:
    """Take from the framework what would ask others, and put our door before it, before it runs.

    For a page of foreign origin it asks the Internet for the outer address of this machine, and waits for it, before
    it refuses. And it obeys settings in a folder `.streamlit` below wherever it is started: any of them could open a
    door that ours do not name.
    """
    from streamlit import config, net_util
    from streamlit.web.server.starlette import starlette_server

    replaced: tuple[tuple[Any, str, Any], ...] = (
        (net_util, "get_external_ip", lambda: None),
        (net_util, "get_internal_ip", lambda: None),
        (config, "get_config_files", lambda file_name: []),
    )
    for module, name, mine in replaced:
        if hasattr(module, name):  # a release without the question needs no answer
            setattr(module, name, mine)
    made: Any = starlette_server.create_starlette_app

    def behind_the_door(runtime: Any) -> Asgi:
        port = config.get_option("server.port")
        return Door(made(runtime), config.get_option("server.baseUrlPath"), (f"127.0.0.1:{port}", f"localhost:{port}"))

    starlette_server.create_starlette_app = behind_the_door  # type: ignore[assignment]


def keep_on_disk() -> None:
    """Have files that are dropped lie on the disk, where the framework would hold them in memory."""
    from streamlit.web.server import server

    from siteplanner.app.uploads import Uploads

    server.MemoryUploadedFileManager = Uploads  # type: ignore[misc]


def keep_the_page() -> None:
    """Let no page that was left come back by itself.

    What is on a page asks for a turn after it was left, too: a part that draws itself again each moment, a map that
    tells where it was moved to. The framework took that for a wish to see that page: it forgot the page that was
    turned to, or emptied it.
    """
    from streamlit.runtime.app_session import AppSession

    asked = getattr(AppSession, "request_rerun", None)
    if asked is None:  # a release without the question needs no answer
        return

    def of_the_page_on_the_screen(session: Any, client_state: Any) -> None:
        wanted = page_instead(session, client_state)
        if wanted is not None:
            if client_state.is_auto_rerun or (client_state.fragment_id and not _turned_to(session)):
                return
            client_state.fragment_id, client_state.page_script_hash = "", wanted
        asked(session, client_state)

    AppSession.request_rerun = of_the_page_on_the_screen  # type: ignore[assignment]
    keep_the_turn()


def keep_the_turn() -> None:
    """Let no page that draws itself once more take the place of the page that was turned to meanwhile."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx
    from streamlit.runtime.scriptrunner_utils.script_requests import ScriptRequests

    asked = ScriptRequests.request_rerun

    def of_the_page_turned_to(requests: Any, data: Any) -> bool:
        drawn, page = get_script_run_ctx(suppress_warning=True), _waiting(requests)
        if drawn is not None and page is not None and data.page_script_hash == drawn.page_script_hash != page:
            data = replace(
                data, page_script_hash=page, fragment_id=None, fragment_id_queue=[], is_fragment_scoped_rerun=False
            )
        return asked(requests, data)

    ScriptRequests.request_rerun = of_the_page_turned_to  # type: ignore[assignment]


def keep_the_press() -> None:
    """Let what a press does be done to its end before its turn can be broken off.

    The framework looked for other wishes first, and at each look into its state: a page that was turned to right after
    a press took the turn, and the press, taken from the queue already, was gone.
    """
    from streamlit.runtime.state.safe_session_state import SafeSessionState

    done = SafeSessionState.on_script_will_rerun

    def to_its_end(state: Any, *asked: Any, **more: Any) -> None:
        looks = state._yield_callback
        object.__setattr__(state, "_yield_callback", lambda: None)
        try:
            done(state, *asked, **more)
        finally:
            object.__setattr__(state, "_yield_callback", looks)

    SafeSessionState.on_script_will_rerun = to_its_end  # type: ignore[method-assign, assignment]


def page_instead(session: Any, client_state: Any) -> str | None:
    """The page that is wanted or on the screen, where something on another one asks for a turn of its own."""
    if client_state is None or not client_state.page_script_hash or not _of_a_page(client_state):
        return None
    pages = getattr(session, "_pages_manager", None)
    wanted = (
        _turned_to(session)
        or getattr(pages, "intended_page_script_hash", None)
        or getattr(pages, "current_page_script_hash", None)
    )
    return wanted if wanted and wanted != client_state.page_script_hash else None


def _of_a_page(client_state: Any) -> bool:
    """Whether something on a page asks. Who turns to a page brings along no more than what stands on all of them."""
    asking = client_state.widget_states.widgets
    return bool(client_state.fragment_id) or (
        not client_state.is_history_navigation and any(ON_EVERY_PAGE not in widget.id for widget in asking)
    )


def _turned_to(session: Any) -> str | None:
    """The page that was turned to while another is still being drawn."""
    return _waiting(getattr(getattr(session, "_scriptrunner", None), "_requests", None))


def _waiting(requests: Any) -> str | None:
    """The page of a turn that waits until the one under way has come to a stop; None for a part of a page."""
    data = getattr(requests, "_rerun_data", None)
    if data is None or getattr(getattr(requests, "_state", None), "name", "") != "RERUN":
        return None
    return None if data.fragment_id_queue else data.page_script_hash or None


def main() -> None:
    """Run the framework's command; signals and exit codes are its own."""
    os.umask(0o077)  # whatever is written here (uploads, outputs, kept plans) is for this account alone
    seal()
    keep_the_page()
    keep_the_press()
    keep_on_disk()
    sweep()
    from streamlit.web.cli import main as run

    from siteplanner.app import start  # noqa: F401  # before the address is told: the first to open it does not wait

    run(prog_name="siteplanner")


if __name__ == "__main__":
    main()
