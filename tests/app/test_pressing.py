"""A press is acted on although its turn is broken off, once for two, and a plan that is being written is waited for."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from siteplanner.app import earlier, private, running, serve, session
from siteplanner.app.running import Run
from siteplanner.app.session import Work
from siteplanner.demo import sample_mission
from siteplanner.errors import InputError
from siteplanner.mission import load_mission
from tests.outputs.factory import make_plan

MAIN = str(Path(serve.__file__).with_name("main.py"))


@pytest.fixture
def app(monkeypatch, tmp_path):
    monkeypatch.setattr(session, "_HELD", {})
    monkeypatch.setattr(Work, "begin_check", lambda work: None)
    monkeypatch.setenv(private.ASKED, str(tmp_path / "held"))
    return AppTest.from_file(MAIN, default_timeout=60)


@pytest.fixture
def broken_off(monkeypatch):
    """The next turn ends before it draws any part of the page, as when another request comes in on a busy machine."""
    from siteplanner.app import frame

    ends, drawn = [], frame.side_panel

    def side_panel(system):
        if ends and ends.pop():
            st.rerun()
        drawn(system)

    monkeypatch.setattr(frame, "side_panel", side_panel)
    return ends


def pressed(app, label):
    next(b for b in app.button if b.label == label).click()
    app.run()


def the_work() -> Work:
    (work,) = session._HELD.values()
    return work


def test_a_press_is_not_lost_with_a_turn_that_is_broken_off(app, broken_off):
    app.run()
    broken_off.append(True)
    pressed(app, "Open the sample")
    assert not broken_off  # the turn of the press did end early
    assert the_work().draft is not None
    assert "Sample: " in the_work().origin


def test_the_page_that_a_press_leads_to_is_reached_although_a_turn_is_broken_off(app, broken_off, monkeypatch):
    never = threading.Event()
    monkeypatch.setattr(running, "plan_job", lambda mission, progress, **_: never.wait(20))
    app.run()
    pressed(app, "Open the sample")
    work = the_work()
    fit = running.Checked((), (), None, None)
    work.check = Run(load_mission(sample_mission()), lambda *_: fit).start()
    work.check.wait(10)
    app.run()
    broken_off.append(True)
    pressed(app, "Plan this mission")
    try:
        assert not broken_off
        assert work.run is not None
        assert "Cancel" in [b.label for b in app.button]  # the page Run
    finally:
        work.stop()
        never.set()


def test_what_goes_wrong_at_a_press_is_said_below_its_button(app, monkeypatch):
    def gone(path):
        raise InputError("The sample is gone.", remedy="Build it again.")

    app.run()
    monkeypatch.setattr("siteplanner.app.start.load_mission", gone)
    pressed(app, "Open the sample")
    assert ["The sample is gone" in e.value and "Build it again" in e.value for e in app.error] == [True]
    monkeypatch.undo()
    monkeypatch.setattr(Work, "begin_check", lambda work: None)
    pressed(app, "Open the sample")
    assert not app.error


def test_a_failure_nobody_foresaw_is_said_and_the_rest_goes_to_the_terminal(app, monkeypatch, capfd):
    def broken(path):
        raise RuntimeError("boom")

    app.run()
    monkeypatch.setattr("siteplanner.app.start.load_mission", broken)
    pressed(app, "Open the sample")
    assert "RuntimeError" in app.error[0].value
    assert "Traceback" in capfd.readouterr().err


def test_two_presses_for_one_mission_make_one_run(monkeypatch):
    never, missions = threading.Event(), []

    def job(mission, progress, **_):
        missions.append(mission)
        never.wait(20)

    monkeypatch.setattr(running, "plan_job", job)
    mission = load_mission(sample_mission())
    work = Work("token")
    try:
        work.begin_plan(mission)
        first = work.run
        work.begin_plan(load_mission(sample_mission()))
        assert work.run is first
        other = mission.model_copy(update={"name": "Another"})
        work.begin_plan(other)
        assert work.run is not first
        assert first.stopping or first.state != "running"
        second = work.run
        second.cancel()
        work.begin_plan(other)  # one that is being stopped is begun again
        assert work.run is not second
    finally:
        work.stop()
        never.set()
        work.folder.cleanup()


def test_earlier_work_waits_for_the_plan_that_is_being_written(app, tmp_path):
    plan, files, go_on = make_plan(), tmp_path / "files", threading.Event()
    files.mkdir()
    earlier.keep(plan, plan.mission.parameters(), files, files, "Your own files", "me")

    def write(made):
        go_on.wait(20)
        earlier.keep(made, made.mission.parameters(), files, files, "Your own files", "me")

    app.run()
    work = the_work()
    work.run = Run(plan.mission, lambda *_: plan, after=write, seen=True).start()
    app.session_state["way"] = "Earlier work"
    app.run()
    assert any("being written" in c.value for c in app.caption)
    assert "Compare them" not in [b.label for b in app.button]
    go_on.set()
    work.run.wait(20)
    app.run()
    assert not any("being written" in c.value for c in app.caption)
    assert "Compare them" in [b.label for b in app.button]


def test_two_plans_of_one_second_are_told_apart(app, tmp_path, monkeypatch):
    """A choice comes back by its words: two plans of one minute had the same, and were the same plan."""
    plan, files = make_plan(), tmp_path / "files"
    files.mkdir()
    monkeypatch.setattr(earlier.time, "strftime", lambda form, *_: "2026-06-03T14:00:00Z" if "-" in form else "2")
    earlier.keep(plan, plan.mission.parameters(), files, files, "Your own files", "me")
    mission = plan.mission.model_copy(update={"weights": plan.mission.weights.model_copy(update={"access": 9.0})})
    earlier.keep(replace(plan, mission=mission), mission.parameters(), files, files, "Your own files", "me")
    app.run()
    app.session_state["way"] = "Earlier work"
    app.run()
    assert len({option for box in app.selectbox if box.label == "Before" for option in box.options}) == 2
    pressed(app, "Compare them")
    assert any("weights.access" in h.proto.body for h in app.get("html"))


def test_a_page_that_draws_itself_once_more_does_not_take_the_place_of_the_one_that_was_turned_to(monkeypatch):
    """The framework keeps the page that was named last: with it the press on another page was lost."""
    from streamlit.runtime import scriptrunner
    from streamlit.runtime.scriptrunner_utils.script_requests import RerunData, ScriptRequests

    from siteplanner.app import server

    monkeypatch.setattr(ScriptRequests, "request_rerun", ScriptRequests.request_rerun)  # put back afterwards
    drawn = [None]
    monkeypatch.setattr(scriptrunner, "get_script_run_ctx", lambda **_: drawn[0])
    server.keep_the_turn()
    requests = ScriptRequests()
    assert requests.request_rerun(RerunData(page_script_hash="downloads"))  # pressed, while Decide is being drawn
    drawn[0] = SimpleNamespace(page_script_hash="decide")
    assert requests.request_rerun(RerunData(page_script_hash="decide", fragment_id_queue=["a part"]))
    assert requests.request_rerun(RerunData(page_script_hash="decide"))
    assert requests.on_scriptrunner_yield().rerun_data.page_script_hash == "downloads"
    assert requests.request_rerun(RerunData(page_script_hash="decide"))  # nothing waits: as it was asked
    assert requests.on_scriptrunner_yield().rerun_data.page_script_hash == "decide"
    assert requests.request_rerun(RerunData(page_script_hash="downloads"))
    assert requests.request_rerun(RerunData(page_script_hash="spot"))  # a page may still send to another
    assert requests.on_scriptrunner_yield().rerun_data.page_script_hash == "spot"


def test_an_event_of_a_thing_that_is_just_being_drawn_is_nothing_and_no_error():
    from siteplanner.app.pressing import event_of

    assert event_of("no such key", "chosen") is None


def test_what_a_press_does_is_done_to_its_end_before_its_turn_is_broken_off(monkeypatch):
    from streamlit.runtime.state import SessionState
    from streamlit.runtime.state.safe_session_state import SafeSessionState

    from siteplanner.app import server

    class Another(Exception):
        """Another page is wanted."""

    def look():
        raise Another

    steps = []
    safe = SafeSessionState(SessionState(), look)
    # as the press of a button does it: a look into the state, then its work
    monkeypatch.setattr(SessionState, "on_script_will_rerun", lambda *_, **__: steps.extend(["key" in safe, "done"]))
    with pytest.raises(Another):
        safe.on_script_will_rerun(None)
    assert steps == []  # as the framework has it
    monkeypatch.setattr(SafeSessionState, "on_script_will_rerun", SafeSessionState.on_script_will_rerun)
    server.keep_the_press()
    safe.on_script_will_rerun(None)
    assert steps == [False, "done"]
    with pytest.raises(Another):  # the turn itself is broken off as ever
        _ = "key" in safe
