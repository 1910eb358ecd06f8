"""Several people at work on one computer: `python -m tests.benchmarks.users --users 5 --minutes 120`.

Each has a browser page of his own and plans one mission after the other, each under a name that nobody else has: opens
it, runs it, chooses spots, moves a weight, asks about a place, takes plan.json along, loads the page again, closes it
in the middle of a run. What a page shows is held against the name that this user gave, so that work of another would be
seen. Printed: rounds, what went wrong, the server's memory over the time, processor's load aside.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import signal
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path
from statistics import linear_regression, median
from typing import Any

from siteplanner.app.drawing import absolute
from siteplanner.demo import SAMPLES, sample_mission
from siteplanner.mission import load_mission
from tests.browser.conftest import chromium_path, is_far
from tests.browser.test_app import ready_map, rows, served

WAIT_MS = 600_000  # for a plan in a queue of five
PAGE_MS = 180_000
SAMPLED_S = 15.0


class Told:
    """What happened, from all users; written as it comes."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.faults: list[str] = []
        self._lock = threading.Lock()

    def count(self, what: str) -> None:
        with self._lock:
            self.counts[what] += 1

    def fault(self, user: int, words: str) -> None:
        with self._lock:
            self.faults.append(words)
            print(f"{time.strftime('%H:%M:%S')} user {user}: {words}", flush=True)


def mission_file(folder: Path, user: int, turn: int, drawn: random.Random) -> tuple[Path, str]:
    """A sample under a name of its own and with weights of its own, as a file."""
    mission = load_mission(sample_mission(drawn.choice(list(SAMPLES))))
    draft = mission.draft()
    name = f"Mission {user} of turn {turn}"
    draft |= {"name": name, "layers": absolute(draft["layers"], mission.base)}
    draft["weights"] = {**draft.get("weights", {}), "access": round(drawn.uniform(1, 9), 2)}
    path = folder / f"user_{user}_{turn}.json"
    path.write_text(json.dumps(draft, default=str), "utf-8")
    return path, name


def turn_of(page: Any, url: str, path: Path, name: str, drawn: random.Random, told: Told) -> None:
    """One mission from the first page to plan.json."""
    page.goto(url)
    page.get_by_text("A mission file", exact=True).click()
    page.get_by_role("textbox", name="Mission file on this computer").fill(str(path))
    page.get_by_text("It may read files outside its own folder").click()
    page.get_by_role("button", name="Open the file").click()
    page.get_by_role("heading", name=name).wait_for()
    page.get_by_role("button", name="Plan this mission").click(timeout=WAIT_MS)
    if drawn.random() < 0.15:  # he closes his page in the middle of the run
        page.wait_for_timeout(drawn.uniform(0, 5000))
        told.count("closed in a run")
        return
    page.locator(".sp-answer .say").wait_for(timeout=WAIT_MS)
    told.count("plans")
    ready_map(page)
    if drawn.random() < 0.3:
        page.reload()
        page.locator(".sp-answer .say").wait_for()
        ready_map(page)
        told.count("loaded again")
    for _ in range(drawn.randint(1, 4)):
        options = rows(page)
        options.nth(drawn.randrange(options.count())).click()
        page.wait_for_timeout(drawn.uniform(300, 2000))
    box = page.locator("iframe[title*=folium]").bounding_box()
    page.mouse.click(
        box["x"] + drawn.uniform(0.2, 0.8) * box["width"], box["y"] + drawn.uniform(0.3, 0.9) * box["height"]
    )
    page.locator(".sp-note b", has_text=re.compile(r"^(Ruled out|It passes|Not known)")).or_(
        page.locator(".sp-answer .say")
    ).first.wait_for()
    page.get_by_role("link", name="5 Downloads").click()
    button = page.get_by_role("button", name="plan.json").first
    with page.expect_download(timeout=WAIT_MS) as caught:
        button.click(timeout=WAIT_MS)
    record = json.loads(Path(caught.value.path()).read_text("utf-8"))
    told.count("records")
    if record["mission"]["name"] != name:
        raise AssertionError(f"cross-talk: {record['mission']['name']!r} instead of {name!r}")


def user(number: int, url: str, folder: Path, until: float, told: Told, seed: int) -> None:
    """One person with one browser."""
    from playwright.sync_api import Error, sync_playwright

    drawn, turn = random.Random(seed * 100 + number), 0
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium_path(),
            args=["--no-sandbox", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"],
        )
        while time.monotonic() < until:
            turn += 1
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            context.set_default_timeout(PAGE_MS)
            context.on("request", lambda request: is_far(request.url) and told.fault(number, f"far: {request.url}"))
            page = context.new_page()
            page.on("pageerror", lambda error: told.fault(number, f"script: {str(error)[:200]}"))
            path, name = mission_file(folder, number, turn, drawn)
            try:
                turn_of(page, url, path, name, drawn, told)
            except (Error, AssertionError) as error:
                shot = folder / f"fault_{number}_{turn}.png"
                page.screenshot(path=shot, full_page=True)
                told.fault(number, f"turn {turn}: {str(error)[:300]!r}; {shot}")
            failed = page.locator(".stAlert", has_text=re.compile("failed")).all_inner_texts()
            for words in failed:
                told.fault(number, f"turn {turn}: the page says {words[:200]!r}")
            told.count("turns")
            context.close()
        browser.close()


def rss_mb(pid: int) -> float:
    """Resident memory of a process and its children."""
    import psutil

    held = psutil.Process(pid)
    return float(sum(p.memory_info().rss for p in (held, *held.children(recursive=True)))) / 1e6


def main() -> None:
    """Start the app and its users, print what they met."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--users", type=int, default=5)
    asked.add_argument("--minutes", type=float, default=120.0)
    asked.add_argument("--seed", type=int, default=random.randrange(2**31))
    given = asked.parse_args()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background ignores it, and so would the app
    print(f"seed {given.seed}, {given.users} users, {given.minutes:g} minutes", flush=True)
    told, memory = Told(), list[tuple[float, float]]()
    folder = Path(tempfile.mkdtemp(prefix="users-"))
    with served(folder) as app:
        start = time.monotonic()
        until = start + 60 * given.minutes
        people = [
            threading.Thread(target=user, args=(n, app.url, folder, until, told, given.seed))
            for n in range(1, given.users + 1)
        ]
        for person in people:
            person.start()
        while any(person.is_alive() for person in people):
            time.sleep(SAMPLED_S)
            memory.append(((time.monotonic() - start) / 60, rss_mb(app.process.pid)))
            if len(memory) % 20 == 0:
                print(f"{memory[-1][0]:6.1f} min {memory[-1][1]:7.0f} MB {dict(told.counts)}", flush=True)
        far = app.far_sockets()
    print(dict(told.counts), f"faults {len(told.faults)}, requests out {len(far)}, log in {folder / 'log'}")
    parts = [memory[k * len(memory) // 6 : (k + 1) * len(memory) // 6] for k in range(6)]
    print("server's memory, MB, by sixths:", [round(median(mb for _, mb in part)) for part in parts if part])
    later = memory[len(memory) // 3 :]
    if len(later) > 2:
        slope = linear_regression([t for t, _ in later], [mb for _, mb in later]).slope
        print(
            f"after the first third it changes by {60 * slope:+.0f} MB an hour; at most {max(m for _, m in memory):.0f}"
        )
    print("Traceback in the log:", "Traceback" in (folder / "log").read_text())


if __name__ == "__main__":
    main()
