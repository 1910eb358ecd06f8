"""How long a commander waits: `python -m tests.benchmarks.app` starts the app, plans the sample, works the Decide page.

Each line is a median over several turns in one headless browser, from the input to the answer on the screen, with its
goal, and as a ratio to drawing the whole page again (another coordinate format) in the same run.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from tests.browser.conftest import chromium_path
from tests.browser.test_app import SCORES

ROOT = Path(__file__).parents[2]
TURNS = 7
SETTLE_MS = 1200  # between turns, so that none pays for the one before


def timed(page: Any, act: Callable[[], None], done: str, arg: Any = None) -> float:
    """Seconds from an input until a condition in the page holds, looked at in every frame that is drawn."""
    start = time.perf_counter()
    act()
    page.wait_for_function(done, arg=arg, polling="raf", timeout=60_000)
    seconds = time.perf_counter() - start
    page.wait_for_timeout(SETTLE_MS)
    return seconds


MAP = "document.querySelector('iframe[title*=folium]').contentDocument"


def scores(page: Any) -> str:
    return "".join(",".join(page.locator("tr[data-key] .score").all_inner_texts()))


def turns(page: Any) -> dict[str, list[float]]:
    """Seconds of each kind of turn."""
    out: dict[str, list[float]] = {"whole page": [], "weight": [], "row": [], "click": [], "picture": []}
    page.get_by_test_id("stExpandSidebarButton").click()
    for n in range(TURNS):
        words = ("Degrees and minutes", "Degrees")[n % 2]
        box = page.get_by_text(words, exact=True)
        sign = "′" if n % 2 == 0 else "."
        out["whole page"].append(
            timed(
                page,
                box.click,
                "sign => { const said = document.querySelector('.sp-answer .say')?.textContent || '';"
                " return said.includes(sign) && (sign !== '.' || !said.includes('′')); }",
                sign,
            )
        )
    page.get_by_test_id("stSidebarCollapseButton").locator("button").click()
    page.wait_for_timeout(SETTLE_MS)
    for n in range(TURNS):
        name = page.locator("tr[data-key] .spot").nth(n + 1).inner_text()
        out["row"].append(
            timed(
                page,
                page.locator("tr[data-key]").nth(n + 1).click,
                f"name => [...{MAP}.querySelectorAll('.sp-chosen')].some(e => e.textContent === name)",
                name,
            )
        )
    frame = page.locator("iframe[title*=folium]")
    for n in range(TURNS):
        box = frame.bounding_box()
        old = page.evaluate(
            "(document.querySelector('.sp-note.out b, .sp-note.in b') || {}).parentElement?.textContent"
        )
        out["click"].append(
            timed(
                page,
                lambda b=box, n=n: page.mouse.click(b["x"] + (0.2 + 0.05 * n) * b["width"], b["y"] + 0.8 * b["height"]),
                "old => [...document.querySelectorAll('.sp-note b')]"
                ".some(e => /^(Ruled out|It passes)\\.$/.test(e.textContent) && e.parentElement.textContent !== old)",
                old,
            )
        )
    for n in range(TURNS):
        choice, words = (("Slope", "the limit"), ("Ruled out", "Passes every limit"))[n % 2]
        out["picture"].append(
            timed(
                page,
                page.get_by_role("radiogroup").get_by_text(choice, exact=True).click,
                "words => [...document.querySelectorAll('.sp-legend')].some(e => e.textContent.includes(words))",
                words,
            )
        )
    page.get_by_role("button", name="Weights").click()
    slider = page.get_by_role("slider", name="Level ground")
    slider.wait_for()
    page.wait_for_timeout(SETTLE_MS)
    for n in range(TURNS):
        before = scores(page)
        key = "ArrowRight" if n % 2 == 0 else "ArrowLeft"
        out["weight"].append(timed(page, lambda key=key: slider.press(key), f"old => {SCORES} !== old", before))
    return out


def main() -> None:
    """Start, measure, print."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as home:
        env = {**os.environ, "HOME": home, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
        server = subprocess.Popen(
            [sys.executable, "-m", "siteplanner", "app", "--port", "0"],
            env=env,
            cwd=home,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert server.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+/[\w-]{32,}", server.stdout.readline())
        assert found
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=chromium_path(), args=["--no-sandbox"])
                page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
                page.set_default_timeout(120_000)
                page.goto(found[0])
                page.get_by_role("button", name="Open the sample").click()
                button = page.get_by_role("button", name="Plan this mission")
                button.wait_for()
                first = timed(
                    page,
                    button.click,
                    f"() => {{ const f = document.querySelector('iframe[title*=folium]');"
                    f"return f && {MAP}.querySelectorAll('.sp-mark').length > 5 }}",
                )
                page.wait_for_timeout(3 * SETTLE_MS)
                held = turns(page)
                browser.close()
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(timeout=20)
    whole = median(held["whole page"])
    print(f"{'start to first ranked map':28s} {first:6.2f} s  goal 30 s")
    print(f"{'whole page drawn again':28s} {whole:6.2f} s  (1.00)")
    for name, words, goal in (
        ("weight", "weight to ranking", 0.3),
        ("row", "row to mark on the map", 0.5),
        ("picture", "picture of the ground", 0.5),
        ("click", "click to explanation", 1.0),
    ):
        value = median(held[name])
        print(
            f"{words:28s} {value:6.2f} s  goal {goal:g} s, {value / whole:.2f} of the whole page, "
            f"{min(held[name]):.2f} to {max(held[name]):.2f} s"
        )


if __name__ == "__main__":
    main()
