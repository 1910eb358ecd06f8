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


def main() -> None:
    """Run the framework's command; signals and exit codes are its own."""
    os.umask(0o077)  # whatever is written here (uploads, outputs, kept plans) is for this account alone
    seal()
    sweep()
    from streamlit.web.cli import main as run

    from siteplanner.app import start  # noqa: F401  # before the address is told: the first to open it does not wait

    run(prog_name="siteplanner")


if __name__ == "__main__":
    main()
