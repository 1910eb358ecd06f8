"""Work in the background: progress, cancel, errors, and one user's work unseen by another."""

from __future__ import annotations

import threading
import time

import pytest

from siteplanner.app import running, session
from siteplanner.app.running import Run
from siteplanner.demo import sample_mission
from siteplanner.errors import InputError
from siteplanner.mission import load_mission


@pytest.fixture(scope="module")
def mission():
    return load_mission(sample_mission())


def test_progress_rises_and_stages_are_kept(mission):
    def job(_, progress):
        for stage, share in (("one", 0.0), ("one", 0.4), ("two", 0.3), ("two", 0.9)):
            progress(stage, share)
        return 42

    run = Run(mission, job).start()
    run.wait(5)
    assert run.state == "done"
    assert run.result == 42
    assert [name for name, _ in run.stages] == ["one", "two"]
    assert run.share == 0.9  # it never falls


def test_cancel_stops_at_the_next_step_and_keeps_nothing(mission):
    entered = threading.Event()

    def job(_, progress):
        while True:
            progress("working", 0.1)
            entered.set()
            time.sleep(0.01)

    run = Run(mission, job).start()
    assert entered.wait(5)
    start = time.monotonic()
    run.cancel()
    run.wait(5)
    assert run.state == "cancelled"
    assert run.result is None
    assert run.error is None
    assert time.monotonic() - start < 1.0


def test_an_error_is_kept_as_a_sentence(mission, capfd):
    def named(_, progress):
        raise InputError("The raster is upside down.", remedy="Turn it.")

    def unforeseen(_, progress):
        raise ZeroDivisionError("division by zero")

    runs = [Run(mission, job).start() for job in (named, unforeseen)]
    for run in runs:
        run.wait(5)
        assert run.state == "failed"
    assert runs[0].error.remedy == "Turn it."
    assert "ZeroDivisionError" in runs[1].error.what
    assert runs[1].error.remedy
    assert "Traceback" in capfd.readouterr().err


def test_each_user_has_their_own_work(monkeypatch):
    monkeypatch.setattr(session, "_HELD", {})
    one, two = session.work_of(None), session.work_of("guessed")
    assert one is not two
    assert one.token != two.token
    assert len(one.token) >= 16
    assert session.work_of(one.token) is one
    assert one.files != two.files
    assert one.files.is_dir()


def test_the_longest_unused_work_is_dropped_with_its_files(monkeypatch):
    monkeypatch.setattr(session, "_HELD", {})
    monkeypatch.setattr(session, "MAX_HELD", 2)
    first = session.work_of(None)
    folder = first.files
    session.work_of(None)
    session.work_of(None)
    assert session.work_of(first.token) is not first
    assert not folder.exists()


def test_the_program_waits_for_a_result_that_is_shown_but_not_yet_written(mission):
    go_on, written = threading.Event(), []

    def write(result):
        go_on.wait(5)
        written.append(result)

    run = Run(mission, lambda *_: 42, after=write).start()
    until = time.monotonic() + 5
    while run.state == "running" and time.monotonic() < until:
        time.sleep(0.01)
    assert run.state == "done"
    assert run.result == 42
    assert not written
    threading.Timer(0.1, go_on.set).start()
    running._finish()
    assert written == [42]
    run.wait(5)
    assert run not in running._FINISHING


def test_nothing_is_written_of_a_run_that_failed(mission):
    written = []

    def job(*_):
        raise InputError("no", remedy="none")

    run = Run(mission, job, after=written.append).start()
    run.wait(5)
    assert run.state == "failed"
    assert not written


def test_a_panic_of_a_compiled_library_ends_the_run_with_a_sentence(mission, capfd):
    class Panic(BaseException):
        """As the bindings of compiled libraries raise it: no Exception."""

    def job(_, progress):
        raise Panic("deliberately")

    run = Run(mission, job).start()
    run.wait(5)
    assert run.state == "failed"
    assert "Panic: deliberately" in run.error.what
    capfd.readouterr()
