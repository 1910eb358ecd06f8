"""A real browser without a network.

`page` fails its test on any request off this machine, any dialog, any page error.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from urllib.parse import urlsplit

import pytest

NAMES = ("chromium", "chromium-browser")
LOOPBACK = {"127.0.0.1", "localhost", "::1"}


def chromium_path() -> str | None:
    """The browser's program; SITEPLANNER_CHROMIUM names another one."""
    return os.environ.get("SITEPLANNER_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)


def is_far(url: str) -> bool:
    """Whether a request would leave this machine."""
    parts = urlsplit(url)
    return parts.scheme not in {"data", "blob", "file", "about"} and parts.hostname not in LOOPBACK


def settled(page, value: object, frames: int = 20) -> None:
    """Wait until a JavaScript expression has had the same value for so many drawn frames."""
    page.wait_for_function(
        f"""() => {{ const now = JSON.stringify({value});
        window.heldFor = now === window.heldValue ? (window.heldFor || 0) + 1 : 0;
        window.heldValue = now; return window.heldFor >= {frames}; }}""",
        polling="raf",
    )


def page_errors(page, wrong: list[str]) -> Callable[[], None]:
    """Put the errors of a page's scripts into `wrong`; what is returned is called at the end, for those judged then.

    The frame of a map fetches its scripts one by one and fails with an `Event` where the browser breaks a fetch off
    because the frame has gone. As many of these as there were fetches broken off are no fault; where the server has
    answered one with an error, or could not be reached, each of them is.
    """
    events: list[str] = []
    broken_off: list[str] = []
    refused: list[str] = []

    def failed(request) -> None:
        if request.resource_type == "script":
            (broken_off if request.failure == "net::ERR_ABORTED" else refused).append(
                f"{request.failure} {request.url}"
            )

    def answered(response) -> None:
        if response.request.resource_type == "script" and response.status >= 400:
            refused.append(f"{response.status} {response.url}")

    def judged() -> None:
        if len(events) > (0 if refused else len(broken_off)):
            wrong.append(f"page error: {len(events)} scripts not loaded: refused {refused}, broken off {broken_off}")

    page.on("pageerror", lambda e: events.append("") if str(e) == "Event" else wrong.append(f"page error: {e}"))
    page.on("requestfailed", failed)
    page.on("response", answered)
    return judged


@pytest.fixture(scope="session")
def chromium() -> Iterator:
    """A headless Chromium that resolves no name but the loopback address; one for all browser tests."""
    path = chromium_path()
    if path is None and not os.environ.get("CI"):
        pytest.skip(f"no Chromium on this machine (looked for {', '.join(NAMES)})")
    assert path, "CI must have Chromium: install it or set SITEPLANNER_CHROMIUM"
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=path,
            args=["--no-sandbox", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"],
        )
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def app(tmp_path_factory) -> Iterator:
    """One app, with an empty home, for all stories that bring neither earlier work nor a server's end."""
    from tests.browser.test_app import served

    with served(tmp_path_factory.mktemp("app")) as running:
        yield running


@pytest.fixture
def wrong() -> list[str]:
    """What the guard has seen; a test that means to trip it empties the list."""
    return []


@pytest.fixture
def page(chromium, wrong) -> Iterator:
    """A fresh page of 1280 by 800 with the guard on; every request is also kept in `page.requests`."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(15_000)
    page = context.new_page()
    page.requests = []

    def asked(request) -> None:
        page.requests.append(request.url)
        if is_far(request.url):
            wrong.append(f"request to {request.url}")

    def dialog(opened) -> None:
        wrong.append(f"dialog: {opened.message}")
        opened.dismiss()

    context.on("request", asked)
    page.on("websocket", lambda socket: is_far(socket.url) and wrong.append(f"socket to {socket.url}"))
    page.on("dialog", dialog)
    judged = page_errors(page, wrong)
    yield page
    context.close()
    judged()
    assert not wrong, wrong
