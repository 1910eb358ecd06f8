"""A commander on real ground: plan, draw what the map lacks, plan again, and find the work after the server stopped."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.browser.conftest import is_far, settled
from tests.browser.test_app import LONG_MS, MAP_TOP, frame, options_are_those_of, ready_map, served

FILES = re.compile(r"\d+ files read")
pytestmark = [pytest.mark.browser, pytest.mark.alone]


def plan_json(page) -> dict:
    """The record, taken from the Downloads page."""
    page.get_by_role("link", name="5 Downloads").click()
    page.get_by_text("To read over a radio").wait_for()
    with page.expect_download(timeout=LONG_MS) as caught:
        page.get_by_role("button", name="plan.json").click(timeout=LONG_MS)
    return json.loads(Path(caught.value.path()).read_text("utf-8"))


def figures_on_screen_are_those_of(record: dict, page) -> None:
    """Sentence, table and the first spot's page against plan.json."""
    page.get_by_role("link", name="3 Decide").click()
    ready_map(page)
    best = record["spots"][0]
    say = page.locator(".sp-answer .say").inner_text()
    assert say.startswith(record["recommendation"].split(": it ")[0])
    assert f"{best['latitude']:.5f}, {best['longitude']:.5f}" in say
    options_are_those_of(record, page)
    page.get_by_role("button", name="Details of spot").click()
    page.get_by_text("Raise and aim").wait_for()
    page.locator(".st-key-drawing_horizon svg").wait_for()
    text = page.locator(".stMainBlockContainer").inner_text()
    for bearing in best["coverage"]["sector_bearings_deg"]:
        assert f"{bearing % 360:03.0f}°" in text
    used = next(look for look in best["sky"] if look["clear"])
    assert f"{used['azimuth_deg']:03.0f}°" in text
    assert f"{used['elevation_deg']:.1f}°" in text
    page.get_by_role("tab", name="Times and service").click()
    for point in best["coverage"]["must_serve"]:
        page.get_by_text(point["name"]).first.wait_for()


def test_commander_on_real_ground(chromium, tmp_path):
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(60_000)
    far: list[str] = []
    context.on("request", lambda request: is_far(request.url) and far.append(request.url))
    page = context.new_page()
    with served(tmp_path) as app:
        page.goto(app.url)
        page.get_by_role("combobox", name="Sample").click()
        page.get_by_role("option", name="Real Hills").click()
        page.get_by_role("button", name="Open the sample").click()
        page.get_by_role("button", name="Plan this mission").click(timeout=LONG_MS)
        page.locator(".sp-answer .say").wait_for(timeout=LONG_MS)
        ready_map(page)  # the page that the run turns to is whole before another is asked for
        first = plan_json(page)
        figures_on_screen_are_those_of(first, page)

        # what the map lacks is drawn: a camp, and an area to keep out of
        page.get_by_role("link", name="1 Start").click()
        page.get_by_text("Draw on the map:").click()
        frame(page).locator(".leaflet-draw-draw-marker").wait_for()
        ready_map(page)

        def click(x: float, y: float) -> None:
            ground = page.locator("iframe[title*=folium]")
            ground.scroll_into_view_if_needed()
            settled(page, MAP_TOP)  # it stands still before a place on it is pressed
            box = ground.bounding_box()
            page.mouse.click(box["x"] + box["width"] * x, box["y"] + box["height"] * y)

        page.locator("iframe[title*=folium]").scroll_into_view_if_needed()
        settled(page, MAP_TOP)
        frame(page).locator(".leaflet-draw-draw-marker").click()
        frame(page).locator(".leaflet-draw-toolbar-button-enabled").wait_for()
        click(0.5, 0.5)
        page.get_by_label("Name of point 1").fill("Camp 2")
        page.keyboard.press("Enter")
        frame(page).locator(".leaflet-draw-draw-polygon").click()
        for corners, place in enumerate(((0.6, 0.3), (0.7, 0.3), (0.7, 0.45)), 1):
            click(*place)
            frame(page).locator(".leaflet-editing-icon").nth(corners - 1).wait_for()
            settled(page, corners)  # the tool takes no corner within 50 ms of the last
        click(0.6, 0.3)  # the first corner again: the area is closed
        page.get_by_label(re.compile("Name of area")).wait_for()
        files = page.get_by_text(FILES)
        before = files.inner_text()
        page.get_by_role("button", name="Use these shapes").click()
        files.filter(has_not_text=before).wait_for(timeout=LONG_MS)  # they have been checked with the rest
        page.get_by_role("button", name="Plan this mission").click(timeout=LONG_MS)
        page.locator(".sp-answer .say").wait_for(timeout=LONG_MS)
        page.get_by_role("link", name="2 Run").click()
        page.get_by_text(re.compile(r"Unchanged results were reused\. .*reused")).first.wait_for()
        second = plan_json(page)
        names = {point["name"] for point in second["spots"][0]["coverage"]["must_serve"]}
        assert names == {p["name"] for p in first["spots"][0]["coverage"]["must_serve"]} | {"Camp 2"}
        figures_on_screen_are_those_of(second, page)
        assert not app.far_sockets()
    page.close()

    # the server is gone and comes back: the plan opens again without a run
    with served(tmp_path) as app:
        page = context.new_page()
        page.goto(app.url)
        page.get_by_text("Earlier work").click()
        # by the button's own key: while the page turns, the arrow of the list of samples is called Open too
        page.locator("[class*=st-key-open_] button").first.click()
        page.locator(".sp-answer .say").wait_for(timeout=LONG_MS)
        figures_on_screen_are_those_of(second, page)
        assert not app.far_sockets()
    context.close()
    assert not far, far
