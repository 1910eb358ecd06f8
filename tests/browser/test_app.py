"""The app as three people use it, in a real browser, with every way to the Internet watched."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from siteplanner.demo import sample_mission

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[2]
SAMPLE = sample_mission().parent
LONG_MS = 120_000  # for a plan on a slow, shared machine
FAR_IMAGE = "![x](https://far.example/x.png)"
HOSTILE_NAME = f"{FAR_IMAGE} <img src=x onerror=alert(1)> {{{{7*7}}}} *bold* :material/home: $x$"
WATCH = """
import os, sys
def _seen(event, args):
    if event in ("socket.connect", "socket.sendto", "socket.getaddrinfo"):
        place = args[0] if event == "socket.getaddrinfo" else args[-1]
        host = place[0] if isinstance(place, tuple) else place
        with open(os.environ["SITEPLANNER_TEST_SOCKETS"], "a") as out:
            out.write(f"{event} {host}\\n")
sys.addaudithook(_seen)
"""


class App:
    """A running app: its address, its process, and where its sockets are written down."""

    def __init__(self, url: str, process: subprocess.Popen, sockets: Path) -> None:
        self.url, self.process, self.sockets = url, process, sockets

    def far_sockets(self) -> list[str]:
        lines = self.sockets.read_text().splitlines() if self.sockets.exists() else []
        near = re.compile(r" (127\.0\.0\.1|localhost|::1|None|/[^ ]*|b?'?/.*)$")  # paths are sockets of this machine
        return [line for line in lines if not near.search(line)]


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    """`siteplanner app` with an empty home, on a port of its own."""
    place = tmp_path_factory.mktemp("app")
    (place / "home").mkdir()
    (place / "sitecustomize.py").write_text(WATCH)
    env = {k: v for k, v in os.environ.items() if not k.lower().endswith("_proxy")}
    env |= {"HOME": str(place / "home"), "SITEPLANNER_WORK": str(place / "work"),
            "PYTHONPATH": f"{place}{os.pathsep}{ROOT}", "PYTHONUNBUFFERED": "1",
            "SITEPLANNER_TEST_SOCKETS": str(place / "sockets")}
    log = (place / "log").open("w")
    process = subprocess.Popen([sys.executable, "-m", "siteplanner", "app", "--port", "0"], env=env, cwd=place,
                               stdout=subprocess.PIPE, stderr=log, text=True)
    line = process.stdout.readline()
    found = re.search(r"http://127\.0\.0\.1:\d+", line)
    assert found, f"no address: {line!r} {(place / 'log').read_text()[-2000:]}"
    yield App(found[0], process, place / "sockets")
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=20) == 130
    assert "Traceback" not in (place / "log").read_text()


def clock(words: str, start: float) -> None:
    """Seconds for the report; no test leans on them."""
    print(f"\n{words}: {time.monotonic() - start:.2f} s", end="")


def rows(page):
    return page.locator("tr[data-key]")


def frame(page):
    return page.frame_locator("iframe[title*=folium]")


def selected(page, name: str) -> None:
    page.locator('tr[data-key][aria-selected="true"] .spot', has_text=re.compile(f"^{name}$")).wait_for()


def ready_map(page) -> None:
    frame(page).locator(".leaflet-image-layer").first.wait_for(state="visible")
    page.wait_for_function("""() => { const f = document.querySelector('iframe[title*=folium]');
        const i = f && f.contentDocument && f.contentDocument.querySelector('img.leaflet-image-layer');
        return i && i.complete && i.naturalWidth > 100; }""")


def test_commander_plans_the_sample_and_decides(app, page, chromium, tmp_path):
    page.context.set_default_timeout(30_000)
    page.goto(app.url)
    page.get_by_role("button", name="Open the sample").click()
    page.get_by_role("button", name="Plan this mission").wait_for(timeout=LONG_MS)
    assert page.get_by_text("The layers can be used").is_visible()
    assert page.locator(".sp-note .remedy").count() >= 1  # findings with remedies stand there before anything runs
    start = time.monotonic()
    page.get_by_role("button", name="Plan this mission").click()
    page.get_by_role("button", name="Cancel").wait_for()
    page.locator(".sp-answer .say").wait_for(timeout=LONG_MS)
    ready_map(page)
    clock("start to ranked map", start)
    say = page.locator(".sp-answer .say").inner_text()
    assert say.startswith("Park at")
    assert rows(page).count() == 10
    for src in frame(page).locator(".leaflet-image-layer").evaluate_all("all => all.map(i => i.src)"):
        assert urlsplit(src).hostname == "127.0.0.1"
        assert "map_pictures" in src

    # the table leads the map
    start = time.monotonic()
    rows(page).nth(1).click()
    frame(page).locator(".sp-chosen", has_text=re.compile("^B$")).wait_for()
    clock("row to highlight", start)
    selected(page, "B")
    assert page.get_by_text(re.compile("Spot .*: where the .* points come from")).is_visible()
    points = [float(v) for v in page.locator("tbody td.num:last-child").all_inner_texts()]
    total = float(page.locator("tfoot td.num").last.inner_text())
    assert round(sum(points), 1) == total
    # the keyboard leads both
    rows(page).nth(1).focus()
    page.keyboard.press("ArrowDown")
    frame(page).locator(".sp-chosen", has_text=re.compile("^C$")).wait_for()
    # the map leads the table
    frame(page).locator("span.sp-best").click()
    selected(page, "A")

    # why here, why not here
    box = page.locator("iframe[title*=folium]").bounding_box()
    start = time.monotonic()
    page.mouse.click(box["x"] + 0.22 * box["width"], box["y"] + 0.6 * box["height"])
    page.locator(".sp-note b", has_text=re.compile(r"^(Ruled out\.|It passes\.)$")).wait_for()
    clock("click to explanation", start)
    frame(page).locator(".sp-asked").wait_for()
    assert page.get_by_text("Every figure").is_visible()
    page.get_by_placeholder("38.57260").fill("1.5, 2.5")
    page.get_by_role("button", name="Ask").click()
    page.get_by_text("lies outside the elevation of this plan").wait_for()

    # a weight moves the ranking at once
    before = page.locator("tr[data-key] .score").all_inner_texts()
    page.get_by_role("button", name="Weights").click()
    slider = page.get_by_role("slider", name="Area served")
    slider.wait_for()
    page.wait_for_timeout(500)  # the panel takes the focus as it opens
    start = time.monotonic()
    slider.press("Home")
    for _ in range(100):
        if (after := page.locator("tr[data-key] .score").all_inner_texts()) != before:
            break
        page.wait_for_timeout(50)
    clock("weight to ranking", start)
    assert after != before
    page.get_by_role("button", name="Back to the mission's weights").click()
    for _ in range(100):
        if page.locator("tr[data-key] .score").all_inner_texts() == before:
            break
        page.wait_for_timeout(50)
    assert page.locator("tr[data-key] .score").all_inner_texts() == before
    page.keyboard.press("Escape")

    # everything about the spot, in US units and as a grid reference
    page.get_by_role("button", name="Everything about spot").click()
    page.get_by_text("Raise and aim").wait_for()
    text = page.locator(".stMainBlockContainer").inner_text()
    for word in ("magnetic", "Tongue points to", "lift", "By mast stop", "Must-serve points", "Link budget", "Turn by",
                 "On air after", "treat every line as energised"):
        assert word in text
    page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_text("US (ft, mi, lb)").click()
    page.get_by_text("Grid reference", exact=True).click()
    page.locator(".sp-answer .say", has_text=re.compile(r"\d{1,2}[C-X] [A-Z]{2} \d{5} \d{5}")).wait_for()
    assert re.search(r"\d+\.\d mi", page.locator(".stMainBlockContainer").inner_text())

    # the plan to take away
    page.get_by_role("link", name="5 Downloads").click()
    with page.expect_download(timeout=LONG_MS) as caught:
        page.get_by_role("button", name="plan.json").click(timeout=LONG_MS)
    record = json.loads(Path(caught.value.path()).read_text("utf-8"))
    assert say.startswith(record["recommendation"].split(": it ")[0])
    assert len(record["spots"]) == 10
    assert [f"{s['score']:.1f}" for s in record["spots"]] == before
    with page.expect_download() as caught:
        page.get_by_role("button", name="deployment_package.zip").click()
    held = shutil.copy(caught.value.path(), tmp_path / "all.zip")
    names = {Path(n).name for n in zipfile.ZipFile(held).namelist()}
    assert {"plan.json", "map.html", "ranking.csv", "routes.gpx"} <= names

    # loading the page again keeps the plan; another user sees nothing of it
    page.get_by_role("link", name="3 Decide").click()
    page.locator(".sp-answer .say").wait_for()
    page.reload()
    page.locator(".sp-answer .say").wait_for()
    other = chromium.new_context()
    stranger = other.new_page()
    stranger.goto(f"{app.url}/decide")
    stranger.get_by_text("There is no plan yet").wait_for()
    other.close()
    assert not app.far_sockets()


def test_gis_person_brings_files_with_hostile_names(app, page, tmp_path):
    page.context.set_default_timeout(30_000)
    points = json.loads((SAMPLE / "must_serve.geojson").read_text("utf-8"))
    for feature in points["features"]:
        feature["properties"]["name"] = HOSTILE_NAME
    (tmp_path / "must_serve.geojson").write_text(json.dumps(points))
    (tmp_path / "broken.tif").write_bytes(b"this is no raster")
    (tmp_path / f"{FAR_IMAGE.replace('/', '_')}.geojson").write_text("{}")
    page.goto(app.url)
    page.get_by_text("My own files", exact=True).click()
    drop = page.locator("input[type=file]")
    for name, role in (("elevation.tif", "Ground elevation"), ("surface.tif", "Surface heights (trees, roofs)"),
                       ("incident_area.geojson", "Incident area"), ("roads.geojson", "Roads"),
                       ("keep_out.geojson", "Keep-out areas"), ("hazards.geojson", "Hazard areas"),
                       ("power_lines.geojson", "Power lines"), ("must_serve.geojson", "Must-serve points")):
        file = tmp_path / name if (tmp_path / name).exists() else SAMPLE / name
        drop.set_input_files(file)
        box = page.get_by_role("combobox", name=f"Role of {re.sub('[._]', ' ', name)}")
        box.wait_for()
        assert box.input_value() == role
    drop.set_input_files([tmp_path / "broken.tif", next(tmp_path.glob("![]x*"), tmp_path / "broken.tif")])
    page.get_by_text("This is not a raster format that is read").wait_for()
    assert page.get_by_text(re.compile(r"2,000,000|2,240,000|cells")).first.is_visible()
    page.get_by_role("button", name="Take these layers").click()
    page.get_by_role("textbox", name="Mission name").fill(HOSTILE_NAME)
    page.get_by_role("button", name="Apply and check the layers").click()
    page.get_by_text("The staging point is missing").wait_for()
    mission = sample_mission().read_text("utf-8")
    lat, lon = (re.search(rf"^{k} = (.*)$", mission, re.M)[1] for k in ("latitude", "longitude"))
    page.get_by_role("textbox", name="Mission name").fill(HOSTILE_NAME)
    page.get_by_role("textbox", name="where the tow starts").fill(f"{lat}, {lon}")
    page.get_by_role("textbox", name="Satellites: orbital longitudes").fill("113 W")
    page.get_by_label(re.compile("Search this far")).fill("300")
    page.get_by_role("button", name="Apply and check the layers").click()
    page.get_by_role("button", name="Plan this mission").click(timeout=LONG_MS)

    # cancel, then again to the end
    page.get_by_role("button", name="Cancel").click()
    start = time.monotonic()
    page.get_by_text("The run was cancelled").wait_for()
    clock("cancel to stopped", start)
    page.get_by_role("button", name="Run it again").click()
    page.locator(".sp-answer .say").wait_for(timeout=LONG_MS)
    ready_map(page)
    assert HOSTILE_NAME.split(" ")[0] in page.locator(".sp-answer .over").inner_text()
    assert rows(page).count() >= 1
    page.get_by_role("button", name="Everything about spot").click()
    page.get_by_text("Raise and aim").wait_for()
    assert FAR_IMAGE in page.locator(".stMainBlockContainer").inner_text()
    page.get_by_role("link", name="2 Run").click()
    page.get_by_text("What ruled ground out").wait_for()
    page.get_by_role("link", name="1 Start").click()
    page.get_by_role("heading", name=FAR_IMAGE).wait_for()
    assert page.locator("img[src*='far.example']").count() == 0
    assert not app.far_sockets()
