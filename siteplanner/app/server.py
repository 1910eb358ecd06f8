"""The server's own process: the web framework, kept from asking any network and from settings that lie about.

Run as `python -m siteplanner.app.server run ...`, with the words that the framework's own command takes.
"""

from __future__ import annotations

from typing import Any


def seal() -> None:
    """Take from the framework what would ask others, before it runs.

    For a page of foreign origin it asks the Internet for the outer address of this machine, and waits for it, before
    it refuses. And it obeys settings in a folder `.streamlit` below wherever it is started: any of them could open a
    door that ours do not name.
    """
    from streamlit import config, net_util

    replaced: tuple[tuple[Any, str, Any], ...] = (
        (net_util, "get_external_ip", lambda: None),
        (net_util, "get_internal_ip", lambda: None),
        (config, "get_config_files", lambda file_name: []),
    )
    for module, name, mine in replaced:
        if hasattr(module, name):  # a release without the question needs no answer
            setattr(module, name, mine)


def main() -> None:
    """Run the framework's command; signals and exit codes are its own."""
    seal()
    from streamlit.web.cli import main as run

    from siteplanner.app import start  # noqa: F401  # before the address is told: the first to open it does not wait

    run(prog_name="siteplanner")


if __name__ == "__main__":
    main()
