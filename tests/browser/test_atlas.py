"""A mission answered from an atlas, in the app: a wrong folder, the answer, a weight, the exact pass, the decision."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from siteplanner.planning.atlas.build import build_atlas
from tests.atlas.scene import write_day, write_region
from tests.browser.conftest import settled
from tests.browser.test_app import LONG_MS

pytestmark = [pytest.mark.browser, pytest.mark.alone]
NAMES = ".sp-table tbody tr th"


def test_answered_from_an_atlas_then_judged_exactly(app, page, tmp_path):
    atlas = tmp_path / "region" / "atlas"
    (tmp_path / "region").mkdir()
    places = build_atlas(write_region(tmp_path / "region"), atlas, workers=1).places
    mission = write_day(tmp_path / "day")
    page.context.set_default_timeout(LONG_MS)
    page.goto(app.url)
    page.get_by_text("A mission file").first.click()
    page.get_by_role("textbox", name="Mission file on this computer").fill(str(mission))
    page.get_by_role("button", name="Open the file").click()
    page.get_by_text("Answer from an atlas first").click()
    folder = page.get_by_role("textbox", name="Folder of the atlas on this computer")
    ask = page.get_by_role("button", name="Answer from the atlas", exact=True)
    folder.fill(str(mission.parent))
    ask.click()
    page.get_by_text("There is no atlas in this folder").wait_for()
    folder.fill(str(atlas))
    ask.click()
    page.get_by_text(f"{places} of {places} places in reach").wait_for()
    expect(page.locator(NAMES)).to_have_text(list("ABCDE"))
    page.frame_locator("iframe[title*=folium]").locator(".sp-best", has_text="A").wait_for()
    page.get_by_role("button", name="Weights").click()
    page.get_by_role("slider", name="Short drive").press("End")
    for slider in page.get_by_role("slider").all():
        if slider.get_attribute("aria-label") != "Short drive":
            slider.press("Home")
    expect(page.locator(NAMES).first).not_to_have_text("A", timeout=LONG_MS)
    page.keyboard.press("Escape")
    settled(page, "[...document.querySelectorAll('.sp-table tbody tr th')].map(e => e.textContent)")
    best = page.locator(NAMES).first.inner_text()
    page.get_by_role("button", name="Judge the listed spots exactly").click()
    page.locator(".sp-answer .say").wait_for()
    assert page.locator(".sp-answer .say").inner_text().startswith(f"Park at spot {best}")
    page.get_by_role("link", name="1 Start").click()
    page.get_by_text("Answer from an atlas first").click()
    page.get_by_role("button", name="Show the answer from the atlas").click()
    expect(page.locator(NAMES).first).to_have_text(best, timeout=LONG_MS)
