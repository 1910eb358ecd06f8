"""A dispatcher types in what the crew radios back, beside a wire: told so, kept with the plan, taken along."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader
from pyproj import Transformer

from siteplanner import load_mission, plan
from siteplanner.app import earlier
from tests.browser.test_app import LONG_MS, served
from tests.planning.conftest import at, write_mission

pytestmark = [pytest.mark.browser, pytest.mark.alone]


def test_a_report_is_judged_kept_and_taken_along(page, tmp_path, monkeypatch):
    mission = load_mission(write_mission(tmp_path / "valley", spots=20))
    monkeypatch.setenv("SITEPLANNER_WORK", str(tmp_path / "work"))
    folder = earlier.keep(plan(mission), mission.parameters(), mission.base, tmp_path / "none", "test", "nobody")
    longitude, latitude = Transformer.from_crs(32612, 4326, always_xy=True).transform(*at(1200, 1030))
    page.context.set_default_timeout(LONG_MS)
    with served(tmp_path) as app:
        page.goto(app.url)
        page.get_by_text("Earlier work").first.click()
        page.locator("[class*=st-key-open_] button").first.click()
        page.locator(".sp-answer .say").wait_for()
        page.get_by_role("link", name="After arrival").click()
        place = page.get_by_role("textbox", name="Coordinates as the phone shows them")
        place.fill(f"{latitude:.6f}, {-longitude:.6f}")  # the minus was not heard
        page.get_by_role("textbox", name="On air at").fill("14:40")
        page.get_by_role("button", name="Judge the place as it stands").click()
        page.get_by_text("West and south are minus or have their letter").wait_for()
        place.fill(f"{latitude:.6f} N {-longitude:.6f} W")
        page.get_by_role("button", name="Judge the place as it stands").click()
        page.get_by_text("Map and sheets, marked AS BUILT").wait_for()
        answer = page.locator(".sp-answer").inner_text()
        assert re.search(r"AS BUILT: the trailer stands \d+ m from spot A", answer)
        assert "overhead line within reach of the mast" in answer
        assert "30 m away" in answer
        with page.expect_download() as caught:
            page.get_by_role("button", name="Download the report file").click()
        taken = tomllib.loads(Path(caught.value.path()).read_text("utf-8"))
        assert taken["coordinates"].endswith("W")
        with page.expect_download() as caught:
            page.get_by_role("button", name="Commander sheet AS BUILT").click()
        assert "AS BUILT" in PdfReader(caught.value.path()).pages[0].extract_text()
        page.reload()  # the work holds the report, not the page
        expect(place).to_have_value(taken["coordinates"], timeout=20_000)
    assert earlier.report_of(folder)["coordinates"] == taken["coordinates"]
