"""The saved map, opened from disk with the network off."""

from __future__ import annotations

import io
import re
import unicodedata

import folium
import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import distance_transform_edt

from siteplanner.outputs.map.map import build_map, map_html
from siteplanner.outputs.map.opening import BUTTONS_PX, view, zoom_of
from siteplanner.outputs.map.page import Raw, data_uri, inline, script_json
from siteplanner.outputs.map.shapes import decision_shapes
from siteplanner.planning.limits.ruling import BITS, LIMITS, OUTSIDE
from siteplanner.planning.telling.answer import worst_words
from siteplanner.planning.telling.score import rank_text, score_text
from siteplanner.planning.telling.units import METRIC
from tests.browser.conftest import page_errors, settled
from tests.outputs.factory import HOSTILE, make_plan

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def plan():
    return make_plan()


@pytest.fixture(scope="module")
def saved(plan, tmp_path_factory):
    path = tmp_path_factory.mktemp("map") / "map.html"
    path.write_text(map_html(plan), encoding="utf-8")
    return path


MAP = "Object.values(window).find(v => v instanceof L.Map)"


def _open(page, path, width=1280, height=800):
    page.set_viewport_size({"width": width, "height": height})
    page.context.set_offline(True)
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready]")
    page.wait_for_selector(".leaflet-container[data-ruling=ready]")
    settled(page, f"[{MAP}.getCenter(), {MAP}.getZoom()]")  # the opening view has come to rest
    return page


def _pixels(page) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB")).astype(int)


@pytest.mark.parametrize(("width", "height"), [(420, 860), (420, 740), (1280, 800)])
def test_it_opens_as_large_as_its_frame_lets_it(page, plan, saved, width, height):
    """The frame as it is once the legend stands as the reader finds it, on a phone closed."""
    _open(page, saved, width, height)
    zoom, *size = page.evaluate(f"(() => {{ const m = {MAP}, s = m.getSize(); return [m.getZoom(), s.x, s.y]; }})()")
    assert zoom == zoom_of(view(plan), *size, BUTTONS_PX)


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (820, 1180)])
def test_it_opens_with_one_request_and_shows_the_ground(page, saved, width, height):
    _open(page, saved, width, height)
    assert [url for url in page.requests if not url.startswith("data:")] == [saved.as_uri()]
    relief = page.locator("img.sp-relief")
    assert relief.evaluate("e => e.complete && e.naturalWidth > 200")
    box = page.locator(".leaflet-container").bounding_box()
    assert box["width"] > 0.6 * width
    assert box["height"] > 0.5 * height
    # the ground is drawn: the map's pixels differ, and more than a flat colour would
    part = _pixels(page)[int(box["y"]) : int(box["y"] + box["height"]), int(box["x"]) : int(box["x"] + box["width"])]
    assert part.std(axis=(0, 1)).min() > 10
    # nothing sticks out sideways
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_headline_can_be_read_without_scrolling(page, saved, plan):
    _open(page, saved)
    for words in (
        "Park at spot A",
        worst_words(plan, plan.best),
        "local codes",
        "Named points",
        "Dangers",
        "Legend and layers",
    ):
        box = page.get_by_text(words).first.bounding_box()
        assert 0 <= box["y"] < 780, words


def test_marks_are_where_the_spots_are(page, saved, plan):
    _open(page, saved)
    for ranked in plan.spots:
        mark = _mark(page, ranked.spot.name)
        # a mark that moved aside keeps its anchor, where its leader ends
        centre = mark.evaluate("e => { const b = e.parentElement.getBoundingClientRect(); return [b.x, b.y]; }")
        # ask the page's own readout for the place under the anchor
        page.mouse.move(*centre)
        settled(page, "document.querySelector('.sp-readout').innerText")
        lat, lon = map(float, page.locator(".sp-readout").inner_text().split("\n")[0].split(", "))
        x, y = plan.scene.elevation.from_lonlat(lon, lat)
        metres_per_pixel = page.evaluate("""() => {
            const map = Object.values(window).find(v => v instanceof L.Map);
            return map.distance(map.containerPointToLatLng([400, 400]), map.containerPointToLatLng([401, 400]));
        }""")
        assert np.hypot(x - ranked.spot.x, y - ranked.spot.y) < 2 * metres_per_pixel


def _mark(page, name):
    return page.locator(".leaflet-marker-pane .sp-mark:not(.sp-out)", has_text=re.compile(f"^{name}$"))


OVERLAPS = """() => { const map = document.querySelector('.leaflet-container');
    const boxes = [...map.querySelectorAll('.sp-icon > span')]
        .filter(e => e.parentElement.style.visibility !== 'hidden')
        .map(e => [e.textContent, e.getBoundingClientRect()]);
    const out = [];
    boxes.forEach(([a, p], i) => boxes.slice(i + 1).forEach(([b, q]) => {
        if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1 &&
            Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 1) out.push(a + '|' + b); }));
    return out; }"""


@pytest.mark.parametrize("zoom", [0, -3])
def test_marks_never_lie_on_one_another(page, saved, plan, zoom):
    _open(page, saved)
    # the page opens on area and options; here all spots are in view, none moved in from beyond the edge
    places = [[r.spot.latitude, r.spot.longitude] for r in plan.spots]
    page.evaluate(f"places => {MAP}.fitBounds(places, {{padding: [60, 60], animate: false}})", places)
    zoom_now = f"{MAP}.getZoom()"
    set_zoom = "zoom => Object.values(window).find(v => v instanceof L.Map).setZoom(zoom, {animate: false})"
    page.evaluate(set_zoom, page.evaluate(zoom_now) + zoom)
    leaders = page.locator(".sp-icon:has(.sp-mark) > i.sp-leader")
    settled(page, f"({OVERLAPS})()")  # the marks settle a moment after the map has
    moved = leaders.evaluate_all("all => all.filter(i => i.style.display !== 'none').length")
    assert page.evaluate(OVERLAPS) == []
    for ranked in plan.spots:
        assert _mark(page, ranked.spot.name).is_visible()
    # close together from afar, nearly each on its place from near: two of the six lie within a mark's width here
    assert moved >= 4 if zoom < 0 else moved <= 2  # those two may give way to one another


def test_the_list_pans_and_shows_one_drive_at_a_time(page, saved, plan):
    _open(page, saved)
    shown = """rank => { const map = Object.values(window).find(v => v instanceof L.Map), ids = [];
        map.eachLayer(l => l.feature && ids.push(l.feature.id)); return ids.includes('drive:' + rank); }"""
    assert page.evaluate(shown, 1)
    page.click('button[data-spot="2"]')
    page.wait_for_selector(".leaflet-popup")
    assert page.evaluate(shown, 3)
    assert not page.evaluate(shown, 1)
    assert page.get_attribute('button[data-spot="2"]', "aria-pressed") == "true"
    popup = page.locator(".leaflet-popup-content")
    assert "Spot C" in popup.inner_text()
    rows = popup.locator(".sp-figures").first.locator("tr").all_inner_texts()
    points = [round(10 * float(row.split()[-1])) for row in rows[1:]]
    assert sum(points[:-1]) == points[-1] == round(10 * float(score_text(plan.spots[2].criteria)))
    settled(page, "document.querySelector('.leaflet-popup').getBoundingClientRect().toJSON()")  # the map has panned
    box = popup.bounding_box()
    assert box["x"] > 400
    assert box["y"] >= 0


def test_pressing_a_mark_chooses_the_spot(page, saved):
    _open(page, saved)
    _mark(page, "D").click()
    page.wait_for_selector(".leaflet-popup")
    assert page.get_attribute('button[data-spot="3"]', "aria-pressed") == "true"


def test_the_readout_names_the_limits_of_the_ground(page, saved, plan):
    _open(page, saved)
    grid = plan.scene.ruling
    wanted = {"hazard": (115, 75), "keep_out": (160, 165)}
    for code, cell in wanted.items():
        lon, lat = grid.lonlat(*grid.xy(*cell))
        at = page.evaluate(
            """([lat, lng]) => { const map = Object.values(window).find(v => v instanceof L.Map);
            const p = map.latLngToContainerPoint([lat, lng]), b = map.getContainer().getBoundingClientRect();
            return [p.x + b.x, p.y + b.y]; }""",
            [float(lat), float(lon)],
        )
        value = int(grid.values[cell])
        assert value & BITS[code]
        words = "; ".join(LIMITS[c] for c, bit in BITS.items() if value & bit and value != OUTSIDE)
        # the page answers a moment after the pointer moves; a pointer that never rests is what a person has
        told = []
        for _ in range(40):
            page.mouse.move(at[0] - 3, at[1] - 3)
            page.mouse.move(*at)
            page.evaluate("() => new Promise(next => requestAnimationFrame(() => setTimeout(next, 100)))")
            told = page.locator(".sp-readout").inner_text().split("\n")[1:]
            if told == [words]:
                break
        assert told == [words]
    # the free cell that lies farthest from any limit: a pixel of the screen may hold several cells
    free = distance_transform_edt(np.pad(grid.values == 0, 1))[1:-1, 1:-1]
    lon, lat = grid.lonlat(*grid.xy(*np.unravel_index(free.argmax(), free.shape)))
    at = page.evaluate(
        """([lat, lng]) => { const map = Object.values(window).find(v => v instanceof L.Map);
        map.setView([lat, lng], map.getZoom(), {animate: false});
        const p = map.latLngToContainerPoint([lat, lng]), b = map.getContainer().getBoundingClientRect();
        return [p.x + b.x, p.y + b.y]; }""",
        [float(lat), float(lon)],
    )
    page.mouse.move(at[0] + 1, at[1])
    page.mouse.move(*at)
    page.wait_for_function(
        "() => document.querySelector('.sp-readout').innerText.endsWith('Passes every limit')", timeout=60_000
    )


def test_one_picture_of_the_ground_at_a_time_and_the_legend_follows(page, saved):
    _open(page, saved)
    assert page.is_checked("input[data-layer=service]")
    page.check("input[data-layer=ruling]")
    assert not page.is_checked("input[data-layer=service]")
    assert page.locator("img.sp-classes").count() == 1
    page.check("input[data-layer=sky]")
    assert not page.is_checked("input[data-layer=ruling]")
    assert page.locator("img.sp-classes").evaluate("i => i.complete && i.naturalWidth > 100")
    page.check("input[data-layer=slope]")
    assert not page.is_checked("input[data-layer=sky]")
    page.uncheck("input[data-layer=slope]")
    assert page.locator("img.sp-classes").count() == 0


def test_decision_points_follow_the_chosen_drive_and_stay_off_when_switched_off(page, saved, plan):
    _open(page, saved)
    switch, marks = page.locator("input[data-layer=decisions]"), page.locator("span.sp-step")
    counts = [len(decision_shapes(ranked, plan)) for ranked in plan.spots[:2]]
    assert min(counts) > 1
    assert switch.is_checked()
    assert marks.all_text_contents() == [str(n) for n in range(1, counts[0] + 1)]
    page.click("button[data-spot='1']")
    assert marks.count() == counts[1]
    switch.uncheck()
    assert marks.count() == 0
    page.click("button[data-spot='0']")
    assert not switch.is_checked()
    assert marks.count() == 0


def test_night_view_is_dark(page, saved):
    _open(page, saved)
    day = _pixels(page).mean()
    page.click("#sp-night")
    page.wait_for_function("document.getAnimations().length === 0")
    assert _pixels(page).mean() < 0.4 * day
    assert page.locator("#sp-night").inner_text() == "Day view"


def test_the_panel_gives_way_to_the_map(page, saved):
    _open(page, saved)
    page.click("#sp-hide")
    assert page.locator(".leaflet-container").bounding_box()["width"] == 1280
    page.click("#sp-hide")
    assert page.locator("#sp-panel").is_visible()


def _seen(name: str) -> str:
    """How a name must look: what no page can hold or none should is a replacement character, blanks are folded."""
    gone = {c for c in name if unicodedata.category(c) in ("Cc", "Cs") and c not in "\t\n\r"} | {"\u202e"}
    return " ".join("".join("\ufffd" if c in gone else c for c in name).split())


def test_hostile_names_are_seen_as_they_are_and_do_nothing(page, tmp_path):
    plan = make_plan(len(HOSTILE), names=HOSTILE, mission_name=HOSTILE[0])
    path = tmp_path / "map.html"
    path.write_text(map_html(plan), encoding="utf-8")
    _open(page, path)
    names = [" ".join(t.split()) for t in page.locator("button[data-spot] .sp-mark").all_text_contents()]
    assert names == [_seen(name) for name in HOSTILE]
    assert HOSTILE[0] in page.locator(".sp-mission").inner_text()
    assert page.title().startswith(HOSTILE[0])
    for index in range(len(HOSTILE)):
        page.locator(f'button[data-spot="{index}"]').click()
        page.wait_for_selector(".leaflet-popup .sp-spot")
        heading = " ".join(page.locator(".leaflet-popup h2").last.text_content().split())
        assert heading == f"Spot {_seen(HOSTILE[index])}: {rank_text(index + 1)}"
    # every tooltip of every layer, opened one after the other, as its text
    texts = page.evaluate("""() => { const map = Object.values(window).find(v => v instanceof L.Map), out = [];
        map.closePopup();
        map.spShapes.forEach(group => group.eachLayer(one => { map.addLayer(group);
          if (!one.getTooltip()) return;
          one.openTooltip(); out.push(one.getTooltip().getElement().textContent); one.closeTooltip();
        })); return out; }""")
    assert len(texts) > 60
    folded = [" ".join(text.split()) for text in texts]
    for place, start in (
        (0, "Incident area"),
        (3, "Keep-out area"),
        (4, "Hazard area"),
        (5, "Overhead line"),
        (1, "Must-serve point"),
        (0, "Spot"),
    ):
        assert any(t.startswith(start) and _seen(HOSTILE[place]) in t for t in folded), (start, folded)
    assert page.evaluate("document.querySelectorAll('img[src=x], svg[onload], #sp-panel script').length") == 0


LEFT_OF = """([selector, word]) => {
    const walk = document.createTreeWalker(document.querySelector(selector), NodeFilter.SHOW_TEXT);
    for (let node; (node = walk.nextNode());) {
        const start = node.data.indexOf(word);
        if (start < 0) continue;
        const range = document.createRange();
        range.setStart(node, start); range.setEnd(node, start + word.length);
        return range.getBoundingClientRect().left;
    } }"""


@pytest.mark.parametrize("name", ["\u05d0\u05d1\u05d2", "\u202eABC"])
def test_a_name_written_right_to_left_does_not_turn_the_line(page, tmp_path, name):
    plan = make_plan(2, names=(name,))
    path = tmp_path / "map.html"
    path.write_text(map_html(plan), encoding="utf-8")
    _open(page, path)
    page.evaluate("document.querySelectorAll('#sp-panel p').forEach(p => p.style.whiteSpace = 'nowrap')")
    # "Runner-up: spot <name>: 60 % of the weighted area served, on air ...": the figure stands right of the name
    figure = METRIC.share(plan.runner_up.evaluation.coverage.share)
    seen = name.strip("\u202e")
    line = ".sp-runner"
    assert page.evaluate(LEFT_OF, [line, figure]) > page.evaluate(LEFT_OF, [line, seen])
    assert page.evaluate(LEFT_OF, [line, "served"]) > page.evaluate(LEFT_OF, [line, figure])


def test_a_plan_without_spots_opens(page, tmp_path):
    path = tmp_path / "map.html"
    path.write_text(map_html(make_plan(0)), encoding="utf-8")
    _open(page, path)
    assert "No spot passes every limit" in page.locator("h1").inner_text()
    page.check("input[data-layer=ruling]")
    assert page.locator("img.sp-classes").count() == 1


def test_the_same_map_runs_in_the_app_component(page, plan, tmp_path):
    # streamlit-folium renames every element and evaluates the script in its own frame: do the same here
    from streamlit_folium import generate_leaflet_string

    fmap = build_map(plan, picture_url=lambda content: data_uri(content, "image/webp"))
    fmap.get_root().render()
    header = "".join(part.render() for part in fmap.get_root().header._children.values() if isinstance(part, Raw))
    script = generate_leaflet_string(fmap)
    assert not re.search(r"[0-9a-f]{32}", re.sub(r"data:[^\"']+", "", script))
    path = tmp_path / "component.html"
    path.write_text(
        f"<!DOCTYPE html><html><head>{inline('leaflet_css')}{inline('leaflet')}{header}</head><body>"
        f'<div id="map_div" style="height: 700px"></div><script>eval({script_json(script)})</script></body></html>',
        encoding="utf-8",
    )
    page.goto(path.as_uri())
    page.wait_for_selector(".leaflet-container[data-ruling=ready]")
    assert page.locator(".leaflet-marker-pane .sp-mark").count() == len(plan.spots) + len(plan.rejected)
    assert page.locator("img.sp-relief").count() == 1
    # a click on a mark tells the app which feature it was
    told = page.evaluate("""() => { let id = null; for (const key in map_div._layers) {
        const one = map_div._layers[key];
        if (one instanceof L.GeoJSON) one.on('click', e => { id = e.layer.toGeoJSON().id; }); }
        document.querySelector('.leaflet-marker-pane .sp-best').click(); return id; }""")
    assert told == "spot:1"


@pytest.mark.parametrize(
    ("body", "caught"),
    [
        ('<img src="http://example.invalid/a.png">', "request"),
        ("<script>alert(1)</script>", "dialog"),
        ("<script>nothing.here</script>", "page error"),
    ],
)
def test_the_guard_sees_what_it_must(page, wrong, tmp_path, body, caught):
    path = tmp_path / "bad.html"
    path.write_text(body)
    with page.expect_event(caught.replace(" ", "")):
        page.goto(path.as_uri())
    page.wait_for_load_state("networkidle")
    assert len(wrong) == 1
    assert wrong.pop().startswith(caught)


@pytest.mark.parametrize("gone", [True, False])
def test_a_script_that_is_not_loaded_is_a_fault_unless_its_frame_has_gone(chromium, gone):
    page, wrong = chromium.new_page(), []
    judged = page_errors(page, wrong)
    page.route("**/page.html", lambda route: route.fulfill(body="<p>", content_type="text/html"))
    page.route("**/script.js", lambda route: route.abort("aborted" if gone else "connectionreset"))
    page.goto("http://127.0.0.1/page.html")
    with page.expect_event("pageerror"):
        page.evaluate("""() => { new Promise((loaded, failed) => { const script = document.createElement('script');
            Object.assign(script, {onload: loaded, onerror: failed, src: 'script.js'});
            document.head.append(script); }); }""")
    judged()
    page.close()
    assert len(wrong) == (0 if gone else 1), wrong


def test_the_guard_catches_a_stock_map_and_a_raw_name(page, wrong, tmp_path):
    stock = folium.Map(location=[39.6, -105.9], tiles=None)
    folium.Marker([39.6, -105.9], tooltip=HOSTILE[0]).add_to(stock)
    path = tmp_path / "stock.html"
    path.write_text(stock.get_root().render())
    page.goto(path.as_uri())
    page.wait_for_load_state("networkidle")
    assert sum(line.startswith("request") for line in wrong) >= 5
    wrong.clear()


def test_the_policy_stops_what_slips_through(page, wrong, saved, tmp_path):
    # were a name ever to get through raw, the browser itself must refuse it
    text = saved.read_text("utf-8")
    raw = '<img src="http://example.invalid/b.png" onerror="alert(5)"><script>alert(6)</script>'
    path = tmp_path / "slipped.html"
    path.write_text(text.replace('<aside id="sp-panel">', f'<aside id="sp-panel">{raw}', 1), encoding="utf-8")
    refused = []
    page.on("requestfailed", lambda request: refused.append((request.url, request.failure)))
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready]")
    page.wait_for_load_state("networkidle")  # the guard fails the test on a dialog
    assert refused == [("http://example.invalid/b.png", "csp")]  # asked for, but refused before it left
    assert wrong.pop() == "request to http://example.invalid/b.png"
