"""The app without a pointer: from the first page to the downloads by Tab, Enter and arrows alone."""

from __future__ import annotations

import re
import shutil

import pytest

from siteplanner.demo import SAMPLES, sample_mission
from tests.browser.test_app import LONG_MS

pytestmark = [pytest.mark.browser, pytest.mark.alone]
FOCUSED = """() => { let e = document.activeElement;
    while (e && e.shadowRoot && e.shadowRoot.activeElement) e = e.shadowRoot.activeElement;
    return e ? [(e.getAttribute('aria-label') || e.innerText || e.value || '').trim(), e.tagName,
                e.getAttribute('role') || ''] : ['', '', '']; }"""


def reach(page, words: str, most: int = 90) -> None:
    """Press Tab until what has the focus is called so."""
    seen = []
    for _ in range(most):
        page.keyboard.press("Tab")
        name = page.evaluate(FOCUSED)[0]
        if re.fullmatch(words, name.split("\n")[0]):
            return
        seen.append(name.split("\n")[0])
    raise AssertionError(f"Tab does not come to {words!r}: {seen}")


def test_from_start_to_downloads_without_a_pointer(page, app):
    page.context.set_default_timeout(60_000)
    page.goto(app.url)
    page.get_by_role("button", name="Open the sample").wait_for()
    reach(page, "Sample")
    page.keyboard.type("Real Hills")
    page.get_by_role("option", name="Real Hills").wait_for()
    page.keyboard.press("Enter")
    page.get_by_text(SAMPLES["real_hills"]).wait_for()
    reach(page, "Open the sample")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Plan this mission").wait_for(timeout=LONG_MS)
    reach(page, "Plan this mission")
    page.keyboard.press("Enter")
    page.locator(".sp-answer .say").wait_for(timeout=3 * LONG_MS)
    page.locator('[role="option"] .spot').nth(1).wait_for()  # the options; all judged spots stand behind them
    page.wait_for_timeout(1500)  # the page comes part by part; a person waits for it too
    reach(page, "4 Spot")
    page.keyboard.press("Enter")
    page.get_by_role("tab", name="Crew").wait_for()
    # what can hurt comes before anything else; nothing of the kit's own stands in the corner
    assert page.get_by_text("Before anyone acts on this").is_visible()
    for kit in ("stMainMenu", "stStatusWidget"):
        assert not page.get_by_test_id(kit).is_visible()
    order = page.locator("h3.sp-head:visible").all_inner_texts()
    wanted = ["Before anyone acts on this", "Before you work at the trailer", "Park and level", "Raise and aim"]
    assert [h for h in order if h in wanted] == wanted
    page.wait_for_timeout(1500)
    reach(page, "Crew")
    page.keyboard.press("ArrowRight")
    page.get_by_text("Turn by turn", exact=True).wait_for()
    assert page.get_by_role("tab", name="Driver").get_attribute("aria-selected") == "true"
    # the drive is told once; the two texts stand behind buttons
    assert page.locator(".stCode:visible").count() == 0
    reach(page, "Copy the directions")
    reach(page, "Show the text")
    page.keyboard.press("Enter")
    text = page.locator("pre", has_text=re.compile(r"^Drive to spot \w+ at "))
    text.wait_for()
    assert "Last leg" in text.inner_text()
    reach(page, "5 Downloads", 120)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="package.zip").wait_for(timeout=LONG_MS)
    reach(page, "package.zip")
    with page.expect_download() as caught:
        page.keyboard.press("Enter")
    assert caught.value.suggested_filename == "package.zip"


def test_a_whole_folder_is_dropped_and_its_mission_opened(page, app, tmp_path):
    page.context.set_default_timeout(60_000)
    folder = tmp_path / "incident"
    shutil.copytree(sample_mission().parent, folder)
    (folder / ".hidden").write_bytes(b"left by the system")
    page.goto(app.url)
    page.get_by_text("My own files", exact=True).click()
    page.locator("input[type=file][webkitdirectory]").set_input_files(folder)
    use = page.get_by_role("button", name=re.compile("^Use mission.toml with these files"))
    use.click(timeout=LONG_MS)
    page.get_by_role("button", name="Plan this mission").wait_for(timeout=LONG_MS)
    assert page.get_by_text("The layers can be used").is_visible()
