"""A part of a page that asks to be drawn again while that page is being left must not empty the next one."""

from __future__ import annotations

import pytest
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from tests.browser.conftest import settled
from tests.browser.test_app import LONG_MS, SCORES, ready_map, rows, selected

pytestmark = [pytest.mark.browser, pytest.mark.alone]


class Late:
    """Between browser and server: a part's last request on a page reaches the server when the next is being drawn."""

    def __init__(self, socket) -> None:
        self.held: bytes | None = None
        self.came_late = self.wholes = 0
        self.between = False  # the next press of a part comes between two turns of the whole page
        self.around = False  # the page that is left asks for turns before and after the next one is asked for
        self._whole = BackMsg()
        self._left = ""
        self._server = socket.connect_to_server()
        self._browser = socket
        socket.on_message(self._asked)
        self._server.on_message(self._told)

    def _asked(self, message) -> None:
        request = BackMsg.FromString(message) if isinstance(message, bytes) else BackMsg()
        if request.rerun_script.is_auto_rerun:
            self.held, self._left = message, request.rerun_script.page_script_hash
        part = request.rerun_script.fragment_id
        if self.around and self._is_turn(request):
            self.around = False
            whole = self._whole.SerializeToString()
            for each in (whole, message, whole):
                self._server.send(each)
            return
        if request.WhichOneof("type") == "rerun_script" and not part:
            self._whole = request
            self.wholes += 1
        if self.between and part and not request.rerun_script.is_auto_rerun:
            self.between = False
            whole = BackMsg()
            whole.CopyFrom(self._whole)
            whole.rerun_script.page_script_hash = request.rerun_script.page_script_hash
            for each in (whole.SerializeToString(), message, whole.SerializeToString()):
                self._server.send(each)
            return
        self._server.send(message)

    def _is_turn(self, request: BackMsg) -> bool:
        asked, before = request.rerun_script, self._whole.rerun_script
        return (
            bool(asked.page_script_hash) and not asked.fragment_id and asked.page_script_hash != before.page_script_hash
        )

    def _told(self, message) -> None:
        # what the browser keeps is only named: it asks for nothing late
        told = ForwardMsg.FromString(message) if isinstance(message, bytes) else ForwardMsg()
        page = told.new_session.page_script_hash if told.WhichOneof("type") == "new_session" else ""
        if self.held is not None and page and page != self._left:
            self._server.send(self.held)
            self.held = None
            self.came_late += 1
        self._browser.send(message)


def test_the_next_page_stays_when_a_part_of_the_one_before_asks_late(app, page):
    page.context.set_default_timeout(LONG_MS)
    sockets: list[Late] = []
    page.route_web_socket("**/*", lambda socket: sockets.append(Late(socket)))
    page.goto(app.url)
    page.get_by_text("Sample", exact=True).first.wait_for()
    page.get_by_role("combobox", name="Sample").click()
    page.get_by_role("option", name="Real Hills").click()
    page.get_by_role("button", name="Open the sample").click()
    page.get_by_role("button", name="Plan this mission").click()
    page.wait_for_url("**/decide**", timeout=2 * LONG_MS)
    ready_map(page)
    page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
    assert sum(late.came_late for late in sockets) > 0  # of the page Run, after its end
    assert page.locator(".sp-answer .say").is_visible()
    ready_map(page)

    # a press that comes between two turns of the whole page is not lost with the first of them
    wanted = rows(page).nth(1).locator(".spot").inner_text()
    sockets[-1].between = True
    rows(page).nth(1).click()
    selected(page, wanted)
    page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
    page.get_by_role("button", name=f"Details of spot {wanted}").wait_for()
    assert not sockets[-1].between

    # a page that is turned to comes, though the one before asks for turns of its own around that press
    asked = sockets[-1].wholes
    page.get_by_text("US (ft, mi, lb)").click()  # asked for by the whole page
    for _ in range(LONG_MS // 50):
        if sockets[-1].wholes > asked:
            break
        page.wait_for_timeout(50)
    settled(page, "document.querySelector('.stApp').dataset.testScriptState")
    page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
    sockets[-1].around = True
    page.get_by_role("link", name="5 Downloads").click()
    page.get_by_role("button", name="plan.json").first.wait_for()
    page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
    assert not sockets[-1].around
    assert page.get_by_role("button", name="plan.json").first.is_visible()
    assert "/downloads" in page.url


def test_where_the_weights_came_to_rest_is_kept_by_a_page_that_is_left_at_once(app, page):
    page.context.set_default_timeout(LONG_MS)
    # counts what the browser sends of the sliders: a map that has loaded sends something, too
    page.add_init_script("""window.sent = 0; const send = WebSocket.prototype.send;
        WebSocket.prototype.send = function (data) {
            if (/turn.*values.*must_serve/s.test(new TextDecoder().decode(data))) window.sent++;
            return send.call(this, data); };""")
    page.goto(app.url)
    page.get_by_text("Sample", exact=True).first.wait_for()
    page.get_by_role("combobox", name="Sample").click()
    page.get_by_role("option", name="Real Hills").click()
    page.get_by_role("button", name="Open the sample").click()
    page.get_by_role("button", name="Plan this mission").click()
    page.wait_for_url("**/decide**", timeout=2 * LONG_MS)
    ready_map(page)
    before = page.evaluate(SCORES)
    page.get_by_role("button", name="Weights").click()
    slider = page.get_by_role("slider", name="Area served")
    slider.wait_for()
    settled(page, "document.activeElement.outerHTML")
    first = slider.input_value()
    slider.press("Home")
    page.wait_for_function(f"before => {SCORES} !== before", arg=before)
    page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
    # the button, then another page as soon as the browser has sent that
    page.evaluate("""async () => {
        const find = (root, fits) => { for (const one of root.querySelectorAll('*')) {
            if (fits(one)) return one;
            const inner = one.shadowRoot && find(one.shadowRoot, fits); if (inner) return inner; } };
        const before = window.sent;
        find(document, e => e.tagName === 'BUTTON' && e.textContent === "Back to the mission's weights").click();
        for (let tries = 0; window.sent === before && tries < 4000; tries++)
            await new Promise(done => setTimeout(done, 5));
        find(document, e => e.tagName === 'A' && e.textContent.includes('Downloads')).click(); }""")
    page.wait_for_url("**/downloads**")
    page.get_by_role("link", name="3 Decide").click()
    ready_map(page)
    page.wait_for_function("document.querySelector('.stApp').dataset.testScriptState === 'notRunning'")
    assert page.evaluate(SCORES) == before
    page.get_by_role("button", name="Weights").click()
    assert page.get_by_role("slider", name="Area served").input_value() == first
