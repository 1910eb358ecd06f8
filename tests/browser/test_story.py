"""What happens after arrival, in the app: reported, read, a road closed, handed over, the fleet closed."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect
from pypdf import PdfReader
from pyproj import Transformer

from siteplanner import load_mission, plan
from siteplanner.app import earlier
from tests.browser.test_app import LONG_MS, served
from tests.end_to_end.test_story import FLEET, TAKE_DOWN, scene
from tests.planning.conftest import CRS, at

pytestmark = [pytest.mark.browser, pytest.mark.alone]


def taken(page, name: str) -> str:
    """Text of a PDF behind a button."""
    with page.expect_download() as caught:
        page.get_by_role("button", name=name).click()
    return " ".join(p.extract_text() for p in PdfReader(caught.value.path()).pages)


def test_from_the_report_to_the_fleet(page, tmp_path, monkeypatch):
    mission = load_mission(scene(tmp_path / "valley", closed=False))
    monkeypatch.setenv("SITEPLANNER_WORK", str(tmp_path / "work"))
    made = plan(mission)
    folder = earlier.keep(made, mission.parameters(), mission.base, tmp_path / "none", "test", "nobody")
    best, out = made.spots[0].spot, Transformer.from_crs(CRS, 4326, always_xy=True)
    page.context.set_default_timeout(LONG_MS)
    with served(tmp_path) as app:
        page.goto(app.url)
        page.get_by_text("Earlier work").first.click()
        page.locator("[class*=st-key-open_] button").first.click()
        page.locator(".sp-answer .say").wait_for()
        page.get_by_role("link", name="After arrival").click()
        # it stands 40 m off
        place = page.get_by_role("textbox", name="Coordinates as the phone shows them")
        place.fill(f"{best.latitude - 0.00018:.6f}, {best.longitude - 0.00044:.6f}")
        page.get_by_role("textbox", name="On air at").fill("05:52")
        page.get_by_role("button", name="Judge the place as it stands").click()
        page.get_by_text("Map and sheets, marked AS BUILT").wait_for()
        assert re.search(r"stands 4\d m from spot A", page.locator(".sp-answer").first.inner_text())
        # ten readings, held against the reported place
        cells = zip(range(10), *(v.ravel() for v in np.mgrid[1400:2200:5j, 1300:1600:2j]), strict=True)
        places = [(k, *out.transform(*at(x, y))) for k, x, y in cells]
        lines = [f"{longitude:.6f},{latitude:.6f},{-118 - k % 4}" for k, longitude, latitude in places]
        page.get_by_role("link", name="4 Spot").click()
        page.get_by_role("tab", name="Readings").click()
        page.locator("[class*=st-key-readings_] input[type=file]").first.set_input_files(
            {"name": "r.csv", "mimeType": "text/csv", "buffer": "\n".join(["lon,lat,rsrp", *lines]).encode()}
        )
        page.get_by_role("heading", name="The signal").wait_for()
        assert page.get_by_text("The trailer stands as its crew reported").count()
        page.get_by_role("link", name="After arrival").click()
        # a road is closed
        longitude, latitude = out.transform(*at(1350, 900))
        page.get_by_role("textbox", name="Where the road is closed").fill(f"{latitude:.6f}, {longitude:.6f}")
        page.get_by_role("textbox", name="What closes it").fill("Bridge out")
        page.get_by_role("button", name="Stay or move?").click()
        page.get_by_text("Minutes without service, part by part").wait_for()
        assert "Bridge out" in taken(page, "Page stay or move")
        # the next shift
        page.get_by_text("Incident file: none").click()
        page.locator("[class*=st-key-incident_] input[type=file]").set_input_files(
            {"name": "incident.toml", "mimeType": "application/toml", "buffer": b'name = "Valley slide"\n'}
        )
        expect(page.get_by_text("Incident file: in use")).to_be_visible()
        sheet = taken(page, "Page for the next shift")
        assert "Valley slide" in sheet
        assert "Planned again" in sheet
        assert "10 readings" in sheet
        # home again
        page.get_by_role("link", name="Fleet").click()
        page.get_by_text("Which unit can go").wait_for()
        given = (
            ("fleet_file", "FLEET.toml", FLEET, page.locator(".sp-answer .say")),
            ("take_down_file", "TAKEDOWN.toml", TAKE_DOWN, page.get_by_text("mast cable chafed")),
        )
        for (
            key,
            name,
            text,
            told,
        ) in given:  # as a person does: the next file when the page has said something of the last
            page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
            page.locator(f".st-key-{key} input[type=file]").set_input_files(
                {"name": name, "mimeType": "application/toml", "buffer": text.encode()}
            )
            told.wait_for()
        with page.expect_download() as caught:
            page.get_by_role("button", name="New fleet file with the take-down").click()
        assert "hours = 470.5" in Path(caught.value.path()).read_text("utf-8")
    assert (folder / "incident.toml").is_file()
