"""The server's own process: the web framework behind our door, kept from asking any network and from settings that lie
about.

Run as `python -m siteplanner.app.server run ...`, with the words that the framework's own command takes.
"""

from __future__ import annotations

import os
from typing import Any

from siteplanner.app.door import Asgi, Door
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


def keep_the_page() -> None:
    """Let no part of a page that was left be drawn again.

    A part that is drawn on its own may ask for that while its page is being left; the framework then carried that out
    after the next page was drawn, and the browser, told of the page before, emptied the one on the screen.
    """
    from streamlit.runtime.app_session import AppSession

    asked = getattr(AppSession, "request_rerun", None)
    if asked is None:  # a release without the question needs no answer
        return

    def of_the_page_on_the_screen(session: Any, client_state: Any) -> None:
        if not is_left(session, client_state):
            asked(session, client_state)

    AppSession.request_rerun = of_the_page_on_the_screen  # type: ignore[assignment]


def is_left(session: Any, client_state: Any) -> bool:
    """Whether a request is for a part of another page than the one that is drawn or being drawn."""
    if client_state is None or not client_state.fragment_id:
        return False
    pages = getattr(session, "_pages_manager", None)
    drawn = getattr(pages, "intended_page_script_hash", None) or getattr(pages, "current_page_script_hash", None)
    asked = client_state.page_script_hash
    return bool(drawn and asked and drawn != asked)


def main() -> None:
    """Run the framework's command; signals and exit codes are its own."""
    os.umask(0o077)  # whatever is written here (uploads, outputs, kept plans) is for this account alone
    seal()
    keep_the_page()
    sweep()
    from streamlit.web.cli import main as run

    from siteplanner.app import start  # noqa: F401  # before the address is told: the first to open it does not wait

    run(prog_name="siteplanner")


if __name__ == "__main__":
    main()
