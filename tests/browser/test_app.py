"""The app as three people use it, in a real browser, with every way to the Internet watched."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from siteplanner.app import coordinates, option_list, ranking_table
from siteplanner.app.labels import JOINER
from siteplanner.demo import sample_mission
from tests.browser.conftest import is_far, settled

pytestmark = [pytest.mark.browser, pytest.mark.alone]
ROOT = Path(__file__).parents[2]
SAMPLE = sample_mission().parent
PICTURES = (
    ("Ruled out", "Passes every limit"), ("Sky margin", "too little"), ("Slope", "the limit"),
)  # fmt: skip
LONG_MS = 120_000  # for a plan on a slow, shared machine
SCORES = """(() => { const shown = [...document.querySelectorAll('div')].map(e => e.shadowRoot)
    .flatMap(root => root ? [...root.querySelectorAll('[role=option] .score')] : []).map(e => e.textContent);
    if (!shown.length) throw new Error('no options'); return shown.join(); })()"""
MARKS = """[...document.querySelector('iframe[title*=folium]').contentDocument.querySelectorAll('.sp-mark')]
    .map(e => e.getBoundingClientRect()).map(r => [r.left, r.top])"""
MAP_TOP = "document.querySelector('iframe[title*=folium]').getBoundingClientRect().top"
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


@contextmanager
def served(place: Path) -> Iterator[App]:
    """`siteplanner app` with its home and work in `place`, on a port of its own; it must stop without a traceback."""
    (place / "home").mkdir(exist_ok=True)
    (place / "sitecustomize.py").write_text(WATCH)
    env = {k: v for k, v in os.environ.items() if not k.lower().endswith("_proxy")}
    env |= {
        "HOME": str(place / "home"),
        "SITEPLANNER_WORK": str(place / "work"),
        "PYTHONPATH": f"{place}{os.pathsep}{ROOT}",
        "PYTHONUNBUFFERED": "1",
        "SITEPLANNER_TEST_SOCKETS": str(place / "sockets"),
    }
    log = (place / "log").open("a")
    process = subprocess.Popen(
        [sys.executable, "-m", "siteplanner", "app", "--port", "0"],
        env=env,
        cwd=place,
        stdout=subprocess.PIPE,
        stderr=log,
        text=True,
    )
    line = process.stdout.readline()
    found = re.search(r"http://127\.0\.0\.1:\d+/[\w-]{32,}", line)
    assert found, f"no address: {line!r} {(place / 'log').read_text()[-2000:]}"
    try:
        yield App(found[0], process, place / "sockets")
    except BaseException:  # a failed story must not leave a server behind: asked first, so that its child ends too
        process.send_signal(signal.SIGINT)
        try:
            process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            process.kill()
        raise
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=20) == 130
    assert "Traceback" not in (place / "log").read_text()


def clock(words: str, start: float) -> None:
    """Seconds for the report; no test leans on them."""
    print(f"\n{words}: {time.monotonic() - start:.2f} s", end="")


def rows(page):
    """The options of the Decide page."""
    return page.locator('[role="option"][data-key]')


def cells_of(row) -> list[str]:
    """Name, then the figures of an option as they stand on the screen."""
    return row.evaluate("""row => [row.querySelector('.spot').textContent,
        ...[...row.querySelectorAll('.figures div')].map(cell => cell.firstChild.textContent)]""")


def options_are_those_of(record: dict, page) -> None:
    """Every figure of the options against plan.json."""
    spots = {spot["name"]: spot for spot in record["spots"]}
    assert rows(page).count() == len(record["options"])
    for row, option in zip(rows(page).all(), record["options"], strict=True):
        name, share, _, points, air, drive = cells_of(row)
        spot = spots[option["name"]]
        assert name == option["name"]
        assert share == f"{100 * spot['coverage']['share']:.0f} %"
        must = spot["coverage"]["must_serve"]
        served = sum(p["probability"] >= 0.5 for p in must)
        assert points == (f"{served} of {len(must)}" if must else "-")
        assert air == f"{spot['on_air']['low_min']:.0f} to {spot['on_air']['high_min']:.0f} min"
        assert drive == f"{spot['access']['drive_time_s'] / 60:.0f} min"
        assert f"{option['score']:.1f}" in row.inner_text()


def frame(page):
    return page.frame_locator("iframe[title*=folium]")


def selected(page, name: str) -> None:
    page.locator('[role="option"][aria-selected="true"] .spot', has_text=re.compile(f"^{name}$")).wait_for()


def ready_map(page) -> None:
    frame(page).locator(".leaflet-image-layer").first.wait_for(state="visible")
    page.wait_for_function("""() => { const f = document.querySelector('iframe[title*=folium]');
        const i = f && f.contentDocument && f.contentDocument.querySelector('img.leaflet-image-layer');
        return i && i.complete && i.naturalWidth > 100; }""")


class Planned:
    """The sample, planned once in the app: the address of the work, and what plan.json says of it."""

    def __init__(self, url: str, token: str, record: dict) -> None:
        self.url, self.token, self.record = url, token, record

    def at(self, page: str) -> str:
        return f"{self.url}/{page}?work={self.token}"


@pytest.fixture(scope="module")
def planned(app, chromium):
    """The way from the first page to a plan, walked once for all stories; each then opens the same work."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    far = []
    context.on("request", lambda request: is_far(request.url) and far.append(request.url))
    context.set_default_timeout(60_000)
    page = context.new_page()
    page.goto(app.url)
    page.get_by_role("button", name="Open the sample").click()
    page.get_by_role("button", name="Plan this mission").wait_for(timeout=LONG_MS)
    assert page.get_by_text("The layers can be used").is_visible()
    page.locator(".sp-note .remedy").first.wait_for()  # findings with remedies stand there before anything runs
    start = time.monotonic()
    page.get_by_role("button", name="Plan this mission").click()
    page.get_by_role("button", name="Cancel").wait_for()
    page.locator(".sp-answer .say").wait_for(timeout=LONG_MS)
    ready_map(page)
    clock("start to ranked map", start)
    token = parse_qs(urlsplit(page.url).query)["work"][0]
    page.get_by_role("link", name="5 Downloads").click()
    with page.expect_download(timeout=LONG_MS) as caught:
        page.get_by_role("button", name="plan.json").click(timeout=LONG_MS)
    record = json.loads(Path(caught.value.path()).read_text("utf-8"))
    context.close()
    assert not far, far
    return Planned(app.url, token, record)


def test_commander_decides(app, planned, page, chromium, tmp_path):
    page.context.set_default_timeout(60_000)
    record = planned.record
    lost = []
    page.on("websocket", lambda socket: socket.on("close", lambda *_: lost.append(socket.url)))
    page.goto(planned.at("decide"))
    ready_map(page)
    say = page.locator(".sp-answer .say").inner_text()
    assert say.startswith(record["recommendation"].split(": it ")[0])
    best = record["spots"][0]
    assert f"{best['latitude']:.5f}, {best['longitude']:.5f}" in say
    # the worst of it stands before anything that speaks for the answer
    assert record["points"][3]["name"] in page.locator(".sp-answer .watch").inner_text()
    assert page.locator(".sp-tiles b").first.inner_text() == f"{100 * best['coverage']['share']:.0f} %"
    for src in frame(page).locator(".leaflet-image-layer").evaluate_all("all => all.map(i => i.src)"):
        assert urlsplit(src).hostname == "127.0.0.1"
        assert "map_pictures" in src
    options_are_those_of(record, page)
    # no mark lies on another at the opening zoom
    settled(page, MARKS)
    boxes = (
        frame(page)
        .locator(".sp-icon > .sp-mark")
        .evaluate_all("""all => all.map(e => e.getBoundingClientRect()).filter(r => r.width)
            .map(r => [r.left, r.top, r.right, r.bottom])""")
    )
    assert len(boxes) == len(record["options"])  # what is no option is drawn from near by
    for n, one in enumerate(boxes):
        for other in boxes[n + 1 :]:
            across = min(one[2], other[2]) - max(one[0], other[0])
            down = min(one[3], other[3]) - max(one[1], other[1])
            assert across <= 1 or down <= 1, (one, other)

    # the table leads the map
    start = time.monotonic()
    rows(page).nth(1).click()
    frame(page).locator(".sp-chosen", has_text=re.compile("^B$")).wait_for()
    clock("row to highlight", start)
    selected(page, "B")
    page.get_by_text("Why this spot, and how sure it is").click()
    page.get_by_text(re.compile("Spot B: where the .* points come from")).wait_for()
    points = [float(v) for v in page.locator("tbody td.num:last-child").all_inner_texts()]
    total = float(page.locator("tfoot td.num").last.inner_text())
    assert round(sum(points), 1) == total
    # the keyboard leads both
    rows(page).nth(1).focus()
    page.keyboard.press("ArrowDown")
    frame(page).locator(".sp-chosen", has_text=re.compile("^C$")).wait_for()
    # the map leads the table
    selected(page, "C")
    page.locator("iframe[title*=folium]").scroll_into_view_if_needed()  # its foot may lie below a small screen
    settled(page, MAP_TOP)
    frame(page).locator("span.sp-best").click()
    selected(page, "A")
    # the list is drawn anew while the button of the mouse is down
    rows(page).nth(2).hover()
    page.mouse.down()
    rows(page).nth(2).evaluate("row => { window.held = row; }")
    rows(page).nth(1).dispatch_event("click")
    page.wait_for_function("!window.held.isConnected")
    page.mouse.up()
    selected(page, "C")
    frame(page).locator(".sp-chosen", has_text=re.compile("^C$")).wait_for()
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
    page.get_by_placeholder("44.65250").fill("1.5, 2.5")
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_text("lies outside the elevation of this plan").wait_for()

    # two spots side by side: what differs most stands in front, and the reasons say which way
    table = page.locator(".sp-compare")
    assert table.locator("thead th").all_inner_texts()[1].startswith("A")
    served = [s["coverage"]["share"] for s in record["spots"][:2]]
    line = page.locator(".sp-over", has_text=re.compile("^A over B because")).first.inner_text()
    assert f"it serves {100 * served[0]:.0f} % of the weighted area, not {100 * served[1]:.0f} %" in line
    kinds = table.locator("tbody tr").evaluate_all("all => all.map(row => row.className)")
    assert kinds == sorted(kinds, reverse=True)  # differs before alike
    assert kinds[0] == "differs"
    page.locator(".st-key-compare").get_by_role("button", name="C", exact=True).click()
    table.locator("thead th", has_text=re.compile("^C")).wait_for()

    # layers with their legends; a drive that reaches the map keeps its own
    for choice, words in PICTURES:
        shown = frame(page).locator("img.sp-classes")
        src = shown.evaluate("i => i.src") if shown.count() else ""
        page.get_by_role("radiogroup").get_by_text(choice, exact=True).click()
        page.locator(".sp-legend", has_text=words).first.wait_for()
        page.wait_for_function(
            """old => { const f = document.querySelector('iframe[title*=folium]');
            const i = f.contentDocument.querySelector('img.sp-classes');
            return i && i.src !== old && i.complete && i.naturalWidth > 100; }""",
            arg=src,
        )

    # a weight moves the ranking at once
    before = page.locator("[role=option] .score").all_inner_texts()
    page.get_by_role("button", name="Weights").click()
    slider = page.get_by_role("slider", name="Area served")
    slider.wait_for()
    settled(page, "document.activeElement.outerHTML")  # the panel takes the focus as it opens
    start = time.monotonic()
    slider.press("Home")
    page.wait_for_function(f"before => {SCORES} !== before", arg=",".join(before), polling="raf")
    clock("weight to ranking", start)
    # presses into turns that are still being drawn: none is lost, and the connection holds
    same = f"before => {SCORES} === before"
    for _ in range(5):
        page.get_by_role("button", name="Back to the mission's weights").click()
        page.wait_for_function(same, arg=",".join(before))
        slider.press("Home")
    page.get_by_role("button", name="Back to the mission's weights").click()
    # the screen is as before also before the last two have come to the server: it must be so once nothing moves
    settled(page, SCORES, frames=60)
    page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
    page.wait_for_function(same, arg=",".join(before))
    assert slider.input_value() == str(record["mission"]["weights"]["coverage"]).removesuffix(".0")
    assert not lost
    page.keyboard.press("Escape")

    # everything about the spot, in US units and as a grid reference
    page.get_by_role("button", name="Details of spot").click()
    page.get_by_text("Raise and aim").wait_for()
    page.get_by_text("Before anyone acts on this").wait_for()
    for tab, drawn, words in (
        ("Crew", ("stand", "horizon"), ("magnetic", "Tongue points to", "lift", "DANGER", "Skyline and satellites")),
        ("Driver", ("profile",), ("Turn by turn", "Look out for", "Along the drive")),
        ("Times and service", ("timeline",), ("On air", "By mast stop", "Must-serve points", "Link budget")),
    ):
        page.get_by_role("tab", name=tab).click()
        for name in drawn:
            page.locator(f".st-key-drawing_{name} svg").wait_for()
        text = page.locator(".stMainBlockContainer").inner_text()
        for word in words:
            assert word in text, (tab, word)
    page.get_by_text("US (ft, mi, lb)").click()  # in sight, without opening the side panel
    page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_text("Grid reference", exact=True).click()
    page.locator(".sp-answer .say", has_text=re.compile(r"\d{1,2}[C-X] [A-Z]{2} \d{5} \d{5}")).wait_for()
    page.get_by_role("tab", name="Driver").click()
    page.get_by_text("Turn by turn", exact=True).wait_for()
    assert re.search(r"\d+\.\d mi", page.locator(".stMainBlockContainer").inner_text())

    # the plan to take away
    page.get_by_role("link", name="5 Downloads").click()
    assert [f"{s['score']:.1f}" for s in record["options"]] == before
    with page.expect_download() as caught:
        page.get_by_role("button", name="package.zip").click()
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


def test_dispatcher_briefs_the_driver(app, planned, page):
    page.context.set_default_timeout(60_000)
    (spot,) = [s for s in planned.record["spots"] if s["name"] == planned.record["options"][1]["name"]]
    page.goto(planned.at("decide"))
    ready_map(page)
    rows(page).nth(1).click()
    selected(page, spot["name"])
    page.get_by_role("button", name=f"Details of spot {spot['name']}").click()
    say = page.locator(".sp-answer .say", has_text=f"Spot {spot['name']}")
    say.wait_for()
    assert f"{spot['latitude']:.5f}, {spot['longitude']:.5f}" in say.inner_text()
    # the drive: figures of the plan, directions to read, the same to copy
    page.get_by_text("Before anyone acts on this").wait_for()
    page.get_by_role("tab", name="Driver").click()
    page.get_by_text("Turn by turn", exact=True).wait_for()
    text = page.locator(".stMainBlockContainer").inner_text()
    access = spot["access"]
    assert f"{access['drive_distance_m'] / 1000:.1f} km, {access['drive_time_s'] / 60:.0f} min" in text
    page.get_by_role("button", name="Show the text").first.click()
    block = page.locator("pre", has_text=re.compile(r"^Drive to spot \w+ at ")).inner_text()
    assert block.startswith(f"Drive to spot {spot['name']} at {spot['latitude']:.5f}, {spot['longitude']:.5f}")
    assert re.search(r"^1\. At 0 m: Leave ", block, re.M)
    # another format of coordinates, everywhere on the page
    page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_text("Degrees and minutes", exact=True).click()
    minutes = coordinates.written(spot["latitude"], spot["longitude"], "degrees and minutes")
    page.locator(".sp-answer .say", has_text=minutes).wait_for()
    page.locator("pre", has_text=minutes).first.wait_for()
    page.get_by_text("Grid reference", exact=True).click()
    page.locator(
        ".sp-answer .say",
        has_text=re.compile(
            " ".join(
                re.fullmatch(r"(\d+[A-Z])([A-Z]{2})(\d{5})(\d{5})", spot["grid_reference"].replace(" ", "")).groups()
            )
        ),
    ).wait_for()
    # sheet, route and radio text
    page.get_by_role("link", name="5 Downloads").click()
    with page.expect_download(timeout=LONG_MS) as caught:
        page.get_by_role("button", name=f"Driver sheet, spot {spot['name']}").click()
    assert caught.value.suggested_filename == f"driver_{spot['name']}.pdf"
    sheet = "".join(page_.extract_text() for page_ in PdfReader(caught.value.path()).pages)
    assert f"To spot {spot['name']}" in " ".join(sheet.split())
    with page.expect_download(timeout=LONG_MS) as caught:
        page.get_by_role("button", name="routes.gpx").click(timeout=LONG_MS)
    gpx = Path(caught.value.path()).read_text("utf-8")
    assert gpx.count("<trk>") == len(planned.record["spots"])  # routes hold other ways too
    page.get_by_role("radiogroup").get_by_text("Driver", exact=True).click()
    radio = page.locator(".stCode", has_text=f"To spot {spot['name']} (")
    radio.wait_for()
    assert f"{spot['latitude']:.6f}, {spot['longitude']:.6f}" in radio.inner_text()
    assert f", {access['drive_distance_m'] / 1000:.1f} km, " in radio.inner_text().splitlines()[0]
    assert len(radio.inner_text().encode()) <= 2100
    assert not app.far_sockets()


def test_pages_print_without_their_controls_and_the_map_is_dark_by_night(planned, page, chromium):
    context = chromium.new_context(viewport={"width": 820, "height": 1180}, color_scheme="dark")
    night = context.new_page()
    night.set_default_timeout(60_000)
    night.goto(planned.at("decide"))
    ready_map(night)
    assert frame(night).locator("html.sp-dark").count() == 1
    # the relief as drawn and the page behind it are dark: mean luminance of the screen, 0..255
    shot = np.asarray(Image.open(io.BytesIO(night.locator("iframe[title*=folium]").screenshot())).convert("L"))
    assert shot.mean() < 90
    assert night.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for name in ("Weights", "Details of spot"):
        assert night.get_by_role("button", name=name).is_visible()
    night.emulate_media(media="print")
    for name in ("Weights", "Details of spot"):
        assert not night.get_by_role("button", name=name).is_visible()
    text = " ".join(p.extract_text() for p in PdfReader(io.BytesIO(night.pdf(format="Letter"))).pages)
    for words in ("Park at", "Compare spots", "Your spots that are ruled out", "Check any place"):
        assert words in text
    context.close()


def test_gis_person_brings_files_with_hostile_names(app, page, chromium, tmp_path):
    page.context.set_default_timeout(60_000)
    points = json.loads((SAMPLE / "must_serve.geojson").read_text("utf-8"))
    for feature in points["features"]:
        feature["properties"]["name"] = HOSTILE_NAME
    (tmp_path / "must_serve.geojson").write_text(json.dumps(points))
    (tmp_path / "broken.tif").write_bytes(b"this is no raster")
    (tmp_path / f"{FAR_IMAGE.replace('/', '_')}.geojson").write_text("{}")
    page.goto(app.url)
    page.get_by_text("My own files", exact=True).click()
    drop = page.locator("input[type=file]").first
    for name, role in (
        ("elevation.tif", "Ground elevation"),
        ("surface.tif", "Surface heights (trees, roofs)"),
        ("incident_area.geojson", "Incident area"),
        ("roads.geojson", "Roads"),
        ("keep_out.geojson", "Keep-out areas"),
        ("hazards.geojson", "Hazard areas"),
        ("power_lines.geojson", "Overhead lines"),
        ("must_serve.geojson", "Must-serve points"),
    ):
        file = tmp_path / name if (tmp_path / name).exists() else SAMPLE / name
        drop.set_input_files(file)
        box = page.get_by_role("combobox", name=f"Role of {re.sub('[._]', ' ', name)}")
        box.wait_for()
        assert box.input_value() == role
    drop.set_input_files([tmp_path / "broken.tif", next(tmp_path.glob("![]x*"), tmp_path / "broken.tif")])
    page.get_by_text("Unsupported raster format").wait_for()
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
    page.get_by_role("spinbutton", name=re.compile("Search this far")).fill("300")
    page.get_by_role("button", name="Apply and check the layers").click()
    page.get_by_role("button", name="Plan this mission").click(timeout=LONG_MS)

    # cancel, then again to the end
    page.get_by_role("button", name="Cancel").click()
    start = time.monotonic()
    page.get_by_text("The run was canceled").wait_for()
    clock("cancel to stopped", start)
    page.get_by_role("button", name="Run it again").click()
    # a second user neither waits for the run nor sees it
    page.get_by_role("button", name="Cancel").wait_for()
    other = chromium.new_context()
    stranger = other.new_page()
    stranger.set_default_timeout(60_000)
    start = time.monotonic()
    stranger.goto(app.url)
    stranger.get_by_role("button", name="Open the sample").wait_for()
    clock("first page for a second user during a run", start)
    assert page.get_by_role("button", name="Cancel").is_visible()
    assert FAR_IMAGE not in stranger.locator(".stApp").inner_text()
    other.close()
    page.locator(".sp-answer .say").wait_for(timeout=LONG_MS)
    ready_map(page)
    assert HOSTILE_NAME.split(" ")[0] in page.locator(".sp-answer .over").inner_text()
    assert rows(page).count() >= 1
    page.get_by_role("button", name="Details of spot").click()
    page.get_by_text("Raise and aim").wait_for()
    page.locator(".stMainBlockContainer", has_text=FAR_IMAGE).wait_for()  # the page comes part by part
    page.get_by_role("link", name="2 Run").click()
    page.get_by_text("What ruled ground out").wait_for()
    page.get_by_role("link", name="1 Start").click()
    page.get_by_role("heading", name=FAR_IMAGE.replace("://", f"://{JOINER}")).wait_for()
    assert page.locator("a[href*='far.example']").count() == 0  # an address in a name stays text
    assert page.locator("img[src*='far.example']").count() == 0
    assert not app.far_sockets()


def test_a_press_that_a_drawing_under_way_did_not_know_of_is_sent_again(page):
    """The table drawn once more from what was chosen before: the press holds and goes out again, until it is known."""
    page.set_content('<div id="parent"><div id="host"></div></div>')
    row = {"rank": "1", "score": "1.0", "parts": [], "cells": [], "tags": []}
    told = page.evaluate(
        """async ([source, data]) => {
        const module = await import("data:text/javascript," + encodeURIComponent(source));
        const parentElement = document.querySelector("#parent"), sent = [], shown = [];
        const draw = (chosen) => {
            module.default({ data: { ...data, chosen }, parentElement, setTriggerValue: (_, key) => sent.push(key) });
            shown.push(parentElement.querySelector('[aria-selected="true"]').dataset.key);
        };
        draw("a"); parentElement.querySelector('[data-key="b"]').click();
        draw("a"); draw("b"); draw("a");
        parentElement.querySelector('[data-key="a"]').click(); draw("a"); draw("a");
        return [sent, shown]; }""",
        [
            ranking_table.JS,
            {"columns": ["Spot"], "filters": [], "rows": [{**row, "key": k, "name": k} for k in ("a", "b")]},
        ],
    )
    # chosen by other means (the map) it is not sent again, nor is a press on what is chosen already
    assert told == [["b", "b", "a"], ["a", "b", "b", "a", "a", "a"]]


@pytest.mark.parametrize("lists", [option_list, ranking_table])
def test_a_row_stays_under_the_press_while_the_same_is_drawn_once_more(page, lists):
    """Between the pointer's down and its up the list is drawn again: its rows were new then, and the press was lost."""
    page.set_content('<div id="parent"><div id="host"></div></div>')
    row = {"rank": "1", "score": "1.0", "parts": [], "cells": [], "tags": [], "lines": []}
    data = {"columns": [], "filters": [], "chosen": "a", "rows": [{**row, "key": k, "name": k} for k in ("a", "b")]}
    page.evaluate(
        """async ([source, data]) => {
        const module = await import("data:text/javascript," + encodeURIComponent(source));
        window.sent = [];
        const parentElement = document.querySelector("#parent"), setTriggerValue = (_, key) => sent.push(key);
        window.draw = () => module.default({ data, parentElement, setTriggerValue }); draw(); }""",
        [lists.JS, data],
    )
    box = page.locator('[data-key="b"]').bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.evaluate("draw()")
    page.mouse.up()
    assert page.evaluate("sent") == ["b"]
    assert page.locator('[aria-selected="true"]').get_attribute("data-key") == "b"
    page.evaluate("draw()")  # it does not know of the press: that goes out again
    assert page.evaluate("sent") == ["b", "b"]
