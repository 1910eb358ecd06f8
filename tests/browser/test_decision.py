"""A commander decides: sees the options, asks for a second trailer, requires the point that is missed, takes it along.

Every way to the Internet is watched, in the browser and in the program.
"""

from __future__ import annotations

import io
import json
import re
import time
from pathlib import Path

import pytest
from pypdf import PdfReader

from siteplanner.planning.telling.set_rows import count_words
from tests.browser.conftest import is_far, page_errors, settled
from tests.browser.test_app import LONG_MS, cells_of, clock, frame, ready_map, rows, served

pytestmark = [pytest.mark.browser, pytest.mark.alone]
MARKS = """[...document.querySelector('iframe[title*=folium]').contentDocument.querySelectorAll('.sp-mark')]
    .filter(e => e.getBoundingClientRect().width).map(e => [e.textContent, e.className])"""


def download(page, name: str) -> Path:
    with page.expect_download(timeout=LONG_MS) as caught:
        page.get_by_role("button", name=name).first.click(timeout=LONG_MS)
    return Path(caught.value.path())


def test_commander_chooses_among_options_with_a_second_trailer_and_a_required_point(chromium, tmp_path):
    context = chromium.new_context(viewport={"width": 1280, "height": 1000})
    context.set_default_timeout(LONG_MS)
    far: list[str] = []
    context.on("request", lambda request: is_far(request.url) and far.append(request.url))
    page = context.new_page()
    page.on("websocket", lambda socket: is_far(socket.url) and far.append(socket.url))
    judged = page_errors(page, far)
    with served(tmp_path) as app:
        page.goto(app.url)
        page.get_by_role("button", name="Open the sample").click()
        page.get_by_role("button", name="Plan this mission").click()
        page.locator(".sp-answer .say").wait_for(timeout=2 * LONG_MS)
        ready_map(page)

        # the options come first, each with what it is best at and when to choose it
        first = [cells_of(row) for row in rows(page).all()]
        assert 2 <= len(first) <= 5
        assert first[0][0] == "A"
        texts = rows(page).all_inner_texts()
        assert all("est " in text or "etter " in text for text in texts)
        assert all("Choose it if" in text for text in texts[1:])
        settled(page, MARKS)
        assert sorted(name for name, _ in page.evaluate(MARKS)) == sorted(name for name, *_ in first)
        watch = page.locator(".sp-answer .watch").inner_text()
        missed = re.search(r"(?:expected|unlikely) at (.*?) \(", watch)[1]
        # an option that is chosen says its price against the first
        rows(page).nth(1).click()
        page.get_by_text("Against the first.").first.wait_for()
        assert "It costs" in rows(page).nth(1).inner_text()

        # until when it can go, and what it carries
        page.get_by_text("Go or no go: spot B", exact=True).wait_for()
        hours = page.locator(".st-key-hours").inner_text()
        assert "Dispatch by" in hours
        assert "handsets at once" in hours
        rows(page).first.click()
        page.get_by_text("Go or no go: spot A", exact=True).wait_for()

        # a second trailer: where, when, what it adds, and its place has a ring on the map
        page.get_by_text(count_words(2), exact=True).click()
        table = page.locator(".st-key-more .sp-table")
        table.locator("tbody tr").nth(1).wait_for()
        second = table.locator("tbody tr").nth(1).inner_text()
        assert missed in second
        place = re.search(r"Spot (\S+)", second)[1]
        frame(page).locator(".sp-pair", has_text=re.compile(f"^{place}$")).wait_for()

        # the missed point is required: what it costs is said at once, nothing is run
        start = time.monotonic()
        page.locator(".stCheckbox", has_text=missed).locator("label").click()
        page.get_by_role("button", name="Plan again with this required").wait_for()
        clock("a point required", start)
        costs = page.locator(".sp-note", has_text="What it costs.").inner_text()
        assert missed in costs
        assert first[0][1] in costs  # what the first spot served without it
        leader = page.locator(".sp-answer .say").inner_text()
        assert not leader.startswith("Park at spot A ")
        assert "leaves without service" in page.locator(".sp-answer .watch").inner_text()
        needed = [cells_of(row) for row in rows(page).all()]
        assert needed[0][1] != first[0][1]
        assert "A" not in {name for name, *_ in needed}

        # behind the options stand all judged spots; letters are those from before
        page.get_by_text("All judged spots").click()
        listed = page.locator("tr[data-key]")
        listed.first.wait_for()
        count = listed.count()
        assert count > len(needed)
        page.get_by_role("button", name="Two ways out").click()
        assert listed.filter(visible=True).count() < count
        page.get_by_role("button", name="Two ways out").click()
        listed.last.click()  # only judged so far: it is worked out in full
        name = listed.last.locator(".spot").inner_text()
        page.get_by_role("button", name=f"Details of spot {name}").wait_for()
        frame(page).locator(".sp-chosen", has_text=re.compile(f"^{name}$")).wait_for()
        rows(page).first.click()

        # it is printed, and taken along
        page.emulate_media(media="print")
        printed = " ".join(p.extract_text() for p in PdfReader(io.BytesIO(page.pdf(format="Letter"))).pages)
        for words in ("Park at", "Options", "How many trailers", missed):
            assert words in " ".join(printed.split()), words
        page.emulate_media(media="screen")
        page.get_by_role("link", name="5 Downloads").click()
        record = json.loads(download(page, "plan.json").read_text("utf-8"))
        assert record["mission"]["site"]["required_points"] == [missed]
        assert [option["name"] for option in record["options"]] == [cells[0] for cells in needed]
        assert {p["name"] for p in record["points"] if p["required"]} == {missed}
        sheet = "".join(p.extract_text() for p in PdfReader(download(page, "Commander sheet")).pages)
        assert f"spot {needed[0][0]}" in " ".join(sheet.split())

        # no longer required: the plan from before
        page.get_by_role("link", name="3 Decide").click()
        ready_map(page)
        page.locator(".stCheckbox", has_text=missed).locator("label").click()
        page.locator(".sp-answer .say", has_text="Park at spot A").wait_for()
        again = page.get_by_role("button", name="Plan again with this required")
        again.wait_for(state="detached")  # that of the turn before: a press on it would plan with nothing required
        assert [cells_of(row) for row in rows(page).all()] == first

        # required from the start, and held against the plan before: what changed, in ten lines and a picture
        page.locator(".stCheckbox", has_text=missed).locator("label").click()
        page.locator(".sp-answer .watch", has_text="leaves without service").wait_for()
        start = time.monotonic()
        again.click()
        page.wait_for_url(re.compile("/run"))
        page.wait_for_url(re.compile("/decide"), timeout=2 * LONG_MS)
        page.locator(".sp-answer .say").wait_for()
        clock("planned again", start)
        ready_map(page)
        # a map whose page is left while its scripts are on their way ends in an error of its frame
        page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
        ready_map(page)
        page.get_by_role("link", name="1 Start").click()
        page.get_by_text("Earlier work", exact=True).click()
        page.get_by_role("button", name="Compare them").click()
        page.get_by_text("Before and after", exact=True).wait_for()
        lines = page.locator(".stMain ul li").all_inner_texts()
        assert 2 <= len(lines) <= 10
        assert "swer: " in lines[0]
        assert any("required" in line for line in lines), lines
        assert not app.far_sockets()
        context.close()  # before the server ends: the page's map is still fetching its scripts
    judged()
    assert not far, far
