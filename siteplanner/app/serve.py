"""Start the app: one Streamlit server on the loopback address, nothing asked of any network, its address a secret."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from pathlib import Path

from siteplanner.app.private import FILE_MODE, WAY_IN, address_key, private_folder, root
from siteplanner.errors import InputError, SiteplannerError

HOST = "127.0.0.1"
MAX_UPLOAD_MB = 1024  # one file; elevation of a county at 10 m is far below
READY_S = 60.0

OPTIONS: dict[str, str] = {  # passed as flags: they win over all else; configuration files are not read at all
    "server.address": HOST,  # without it the server asks the Internet for its outer address
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "server.showEmailPrompt": "false",
    "server.maxUploadSize": str(MAX_UPLOAD_MB),
    "server.enableCORS": "true",
    "server.enableXsrfProtection": "true",
    "server.enableStaticServing": "false",
    "browser.gatherUsageStats": "false",
    "browser.serverAddress": HOST,
    "client.showErrorDetails": "none",
    "client.showErrorLinks": "false",
    "client.toolbarMode": "viewer",
    "runner.magicEnabled": "false",
    # a turn that another overtakes is broken off in order: stopped at once, it takes presses that wait along with it
    "runner.fastReruns": "false",
    # never "you have that message already": the browser forgets large ones (the map) when turns overlap, and then gives
    # up its connection for good; sending them again costs nothing on this machine
    "global.minCachedMessageSize": "1e12",
}
# Options that not every release knows: as environment variables a release that lacks one passes over it.
# Only these names may be asked for, so that no web page elsewhere can reach the server under a name of its own.
NEWER: dict[str, str] = {
    "STREAMLIT_SERVER_ALLOWED_HOSTS": f"{HOST} localhost",
    "STREAMLIT_CLIENT_ALLOWED_ORIGINS": f"http://{HOST}",  # who may steer the page from a frame round it
    "STREAMLIT_SERVER_ENABLE_AGENT_API": "false",
    "STREAMLIT_LOGGER_HIDE_WELCOME_MESSAGE": "true",
}
THEMES: dict[str, dict[str, str]] = {  # by the browser's own wish for light or dark; contrast as on the saved map
    "LIGHT": {
        "PRIMARY_COLOR": "#0B4F82",
        "BACKGROUND_COLOR": "#FBFAF7",
        "SECONDARY_BACKGROUND_COLOR": "#EFEDE6",
        "TEXT_COLOR": "#1C2430",
        "BORDER_COLOR": "#D8D5CC",
        "LINK_COLOR": "#0B4F82",
    },
    "DARK": {
        "PRIMARY_COLOR": "#8FBBDD",
        "BACKGROUND_COLOR": "#15171B",
        "SECONDARY_BACKGROUND_COLOR": "#23262C",
        "TEXT_COLOR": "#D9CFC0",
        "BORDER_COLOR": "#373A41",
        "LINK_COLOR": "#8FBBDD",
    },
}
LOOK = {f"STREAMLIT_THEME_{side}_{name}": value for side, held in THEMES.items() for name, value in held.items()}


def command(port: int) -> list[str]:
    """The command that runs the server on a port of the loopback address."""
    options = {**OPTIONS, "server.port": port, "browser.serverPort": port}
    flags = [f"--{name}={value}" for name, value in options.items()]
    return [sys.executable, "-m", "siteplanner.app.server", "run", str(Path(__file__).with_name("main.py")), *flags]


def environment(key: str) -> dict[str, str]:
    """The server's environment: ours, without other Streamlit settings, with the package in reach.

    `key` is the secret name in the address. It goes this way because every account can read the words of a command.
    """
    held = {k: v for k, v in os.environ.items() if not k.startswith("STREAMLIT_")}
    package = str(Path(__file__).parents[2])
    paths = [package, *filter(None, [held.get("PYTHONPATH")])]
    own = {"STREAMLIT_SERVER_BASE_URL_PATH": key, "PYTHONPATH": os.pathsep.join(paths)}
    return {**held, **NEWER, **LOOK, **own}


def free_port(port: int) -> int:
    """The port asked for, or a free one for 0. Raises InputError: it is taken or not a port."""
    if not 0 <= port <= 65535:
        raise InputError(
            f"{port} is not a port.", remedy="Give a number from 1024 to 65535, or 0 for a free one.", field="--port"
        )
    with socket.socket() as probe:
        # a port in its closing wait is free for a server; Windows means something else by this option
        if os.name != "nt":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            raise InputError(
                f"Port {port} is taken by another program, perhaps by siteplanner itself.",
                remedy="Open the address that it has printed, or start with --port 0 for a free port.",
                field="--port",
            ) from None
        return int(probe.getsockname()[1])


def serve(port: int, *, open_browser: bool | None = None) -> int:
    """Run the app until it ends or is interrupted; prints its address.

    `port` 0 picks a free one. `open_browser`: None opens one where there is a desktop. Returns 130 after Ctrl-C,
    otherwise the server's exit code. Raises InputError for a taken port, SiteplannerError if it does not start.
    """
    port, key = free_port(port), address_key()
    place = f"http://{HOST}:{port}"
    url = f"{place}/{key}/"
    server = subprocess.Popen(command(port), env=environment(key), stdout=sys.stderr.fileno())
    asked_to_end = []

    def end(number: int, frame: object) -> None:
        asked_to_end.append(number)
        server.terminate()

    earlier = signal.signal(signal.SIGTERM, end)
    try:
        _wait_until_ready(server, url)
        if _status(f"{place}/_stcore/health") != 404:
            raise SiteplannerError(
                "The app's door does not close with this release of the web framework, so that any account of this "
                "computer could come in.",
                remedy="Install the release of streamlit that pyproject.toml asks for.",
            )
        print(f"siteplanner is open at {url}  (for this account only; end it with Ctrl-C)", flush=True)
        with _way_in(url) as page:
            if _has_desktop() if open_browser is None else open_browser:
                webbrowser.open(page)
            code = server.wait()
        return 0 if asked_to_end else code
    except KeyboardInterrupt:
        print("\nEnded.", file=sys.stderr)
        return 130
    finally:
        signal.signal(signal.SIGTERM, earlier)
        _end(server)


@contextmanager
def _way_in(url: str) -> Iterator[str]:
    """A page in a file of this account that leads to an address: a browser is told which page to open by the words of a
    command, and those can be read by every account."""
    try:
        handle, name = tempfile.mkstemp(".html", WAY_IN, private_folder(root()))
    except OSError:
        yield url
        return
    file = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            to = escape(url)
            out.write(f'<!doctype html><meta charset="utf-8"><meta http-equiv="refresh" content="0; url={to}">')
            out.write(f'<p><a href="{to}">siteplanner</a></p>')
        file.chmod(FILE_MODE)
        yield file.as_uri()
    finally:
        file.unlink(missing_ok=True)


def _status(url: str) -> int:
    """The status of an answer; 0 where there is none."""
    # no proxy: a proxy set for the web must not be asked about this machine
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(url, timeout=2) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code
    except OSError:
        return 0


def _wait_until_ready(server: subprocess.Popen, url: str) -> None:
    until = time.monotonic() + READY_S
    while time.monotonic() < until:
        if server.poll() is not None:
            raise SiteplannerError(
                f"The app did not start (exit code {server.returncode}).",
                remedy="Read the lines above; try another port with --port 0.",
            )
        if _status(f"{url}_stcore/health") == 200:
            return
        time.sleep(0.1)
    raise SiteplannerError(f"The app did not answer within {READY_S:.0f} s.", remedy="Start it again.")


def _end(server: subprocess.Popen) -> None:
    if server.poll() is not None:
        return
    server.terminate()
    try:
        server.wait(timeout=5)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()


def _has_desktop() -> bool:
    if not sys.stdout.isatty():
        return False
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
