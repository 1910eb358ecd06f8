"""The README's pictures, taken from the running program: `python -m tests.pictures [DIR]`, from the top of a clone.

It plans the first sample, opens its saved map, and goes through the app as a reader would. Needs Chromium, as the
browser tests do. Nothing is drawn by hand, so the pictures show what the program shows.
"""

from __future__ import annotations

import io
import re
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image

from siteplanner.cli import app as commands
from siteplanner.cli import run
from tests.browser.conftest import chromium_path, settled
from tests.browser.test_app import LONG_MS, ready_map, served

HERE = Path(__file__).parents[1] / "data_samples" / "pictures"
NAMES = ("map.png", "app.png", "spot.png")
MOST_BYTES = 400_000
SPOT_BUTTON = re.compile(r"(Details of|Everything about) spot")
WIDTH, MAP_HEIGHT, APP_HEIGHT = 1280, 800, 860


def take(out: Path) -> list[Path]:
    """All pictures into a folder, which is made if it is missing."""
    from playwright.sync_api import sync_playwright

    program = chromium_path()
    if program is None:
        raise SystemExit("There is no Chromium on this machine; SITEPLANNER_CHROMIUM may name one.")
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as held, sync_playwright() as playwright:
        place = Path(held)
        planned = place / "planned"
        code = run(lambda: commands(args=["demo", "--out", str(planned), "--quiet"], standalone_mode=False))
        if code:
            raise SystemExit(code)
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": WIDTH, "height": MAP_HEIGHT})
        page.goto((planned / "map.html").as_uri())
        settled(page, "document.querySelectorAll('.sp-mark').length")
        page.wait_for_timeout(1500)  # pictures of the layers fade in
        taken = {"map.png": page.screenshot()}
        with served(place) as app:
            page = browser.new_page(viewport={"width": WIDTH, "height": APP_HEIGHT})
            page.set_default_timeout(LONG_MS)
            page.goto(app.url)
            taken |= in_the_app(page)
        browser.close()
    for name, data in taken.items():
        (out / name).write_bytes(shrunk(data))
    return [out / name for name in NAMES]


def in_the_app(page: Any) -> dict[str, bytes]:
    """Open the sample, plan it, and look at Decide and Spot."""
    page.get_by_role("button", name="Open the sample").click()
    page.get_by_role("button", name="Plan this mission").click()
    further = page.locator("[data-testid=stMain]").get_by_role("button", name=SPOT_BUTTON)
    further.wait_for()
    ready_map(page)
    page.wait_for_timeout(4000)  # the pictures of its layers fade in
    decide = page.screenshot()
    further.click()
    page.wait_for_url("**/spot**")
    ready_map(page)
    page.wait_for_timeout(4000)
    return {"app.png": decide, "spot.png": page.screenshot()}


def shrunk(data: bytes) -> bytes:
    """The picture as a PNG of at most MOST_BYTES: with fewer colors, as many as fit. Raises ValueError if none do."""
    if len(data) <= MOST_BYTES:
        return data
    picture = Image.open(io.BytesIO(data)).convert("RGB")
    for colors in (256, 128, 64):
        held = io.BytesIO()
        # an octree keeps the few bright marks on a gray relief; the median cut turns orange into brown
        picture.quantize(colors, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(held, "PNG", optimize=True)
        if held.tell() <= MOST_BYTES:
            return held.getvalue()
    raise ValueError(f"{len(data)} bytes, and more than {MOST_BYTES} in any number of colors")


if __name__ == "__main__":
    for path in take(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE):
        print(f"{path} {path.stat().st_size // 1000} kB")
