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
    run.wait(60)
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
    assert entered.wait(60)
    start = time.monotonic()
    run.cancel()
    run.wait(60)
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
        run.wait(60)
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


@pytest.fixture
def clock(monkeypatch):
    """Sets how many seconds have gone by for the pieces of work."""
    monkeypatch.setattr(session, "_HELD", {})
    real, gone = time.monotonic, [0.0]
    monkeypatch.setattr(session.time, "monotonic", lambda: real() + gone[0])
    return gone


def brought(work):
    work.draft = {"name": "x"}
    return work


def test_pages_that_are_loaded_cost_nobody_their_work(clock):
    """Hundreds of bare visits: what others have in hand stays, however old; the visits themselves do not pile up."""
    mine, watched, running_now = (brought(session.work_of(None)) for _ in range(3))
    watched.pages.add("open")
    go_on = threading.Event()
    running_now.run = Run(None, lambda *_: go_on.wait(20)).start()
    folders = [w.files for w in (mine, watched, running_now)]
    is_active = {"open"}.__contains__
    for _ in range(300):
        session.work_of(None, is_active)
    assert all(f.is_dir() for f in folders)
    clock[0] += 2 * session.EMPTY_S
    session.work_of(None, is_active)
    assert len(session._HELD) == 4
    clock[0] += 2 * session.IDLE_S
    session.work_of(None, is_active)
    assert not folders[0].exists()  # nobody has used it for two days
    assert folders[1].is_dir()
    assert folders[2].is_dir()
    assert running_now.run.state == "running"
    assert not running_now.run.stopping
    go_on.set()


def test_of_many_closed_pieces_of_work_the_longest_unused_go_after_an_hour(clock, monkeypatch):
    monkeypatch.setattr(session, "MAX_HELD", 2)
    works = [brought(session.work_of(None)) for _ in range(4)]
    folders = [w.files for w in works]
    session.work_of(works[3].token)
    assert all(f.is_dir() for f in folders)
    clock[0] += session.CLOSED_S + 1
    session.work_of(works[3].token)
    assert [f.exists() for f in folders] == [False, True, True, True]


def test_plans_take_turns_and_one_that_waits_can_be_cancelled(mission):
    """Two plans at once on one machine would each take twice as long, and twice the memory."""
    at_work, most, lock = [0], [0], threading.Lock()
    go_on = threading.Event()

    def job(_, progress):
        with lock:
            at_work[0] += 1
            most[0] = max(most[0], at_work[0])
        go_on.wait(60)
        with lock:
            at_work[0] -= 1
        return 1

    first = Run(mission, job, in_turn=True).start()
    while not at_work[0]:
        time.sleep(0.01)
    second, third = (Run(mission, job, in_turn=True).start() for _ in range(2))
    beside = Run(mission, lambda *_: 2).start()  # a check of layers waits for nobody
    beside.wait(60)
    assert beside.state == "done"
    until = time.monotonic() + 60
    while second.stage != running.WAITING and time.monotonic() < until:
        time.sleep(0.01)
    assert second.stage == running.WAITING
    second.cancel()
    second.wait(60)
    assert second.state == "cancelled"
    go_on.set()
    for run in (first, third):
        run.wait(60)
        assert run.state == "done"
    assert most[0] == 1


def test_the_program_waits_for_a_result_that_is_shown_but_not_yet_written(mission):
    go_on, written = threading.Event(), []

    def write(result):
        go_on.wait(60)
        written.append(result)

    run = Run(mission, lambda *_: 42, after=write).start()
    until = time.monotonic() + 60
    while run.state == "running" and time.monotonic() < until:
        time.sleep(0.01)
    assert run.state == "done"
    assert run.result == 42
    assert not written
    threading.Timer(0.1, go_on.set).start()
    running._finish()
    assert written == [42]
    run.wait(60)
    assert run not in running._FINISHING


def test_nothing_is_written_of_a_run_that_failed(mission):
    written = []

    def job(*_):
        raise InputError("no", remedy="none")

    run = Run(mission, job, after=written.append).start()
    run.wait(60)
    assert run.state == "failed"
    assert not written


def test_a_panic_of_a_compiled_library_ends_the_run_with_a_sentence(mission, capfd):
    class Panic(BaseException):
        """As the bindings of compiled libraries raise it: no Exception."""

    def job(_, progress):
        raise Panic("deliberately")

    run = Run(mission, job).start()
    run.wait(60)
    assert run.state == "failed"
    assert "Panic: deliberately" in run.error.what
    capfd.readouterr()


def test_a_plan_that_came_while_no_page_watched_is_there_on_every_page(mission):
    """A tab closed during the run, then the address of Decide opened again: it stayed empty until Run was shown."""
    from siteplanner.app.frame import need_plan
    from tests.outputs.factory import make_plan

    made, work = make_plan(2), session.Work("a")
    work.run = Run(mission, lambda *_: made).start()
    work.run.wait(60)
    assert need_plan(work) is work.plan is not None
    assert work.planned is made
    work.plan = None
    work.take_finished()  # once: what was done with the plan since then stays
    assert work.plan is None
    work.folder.cleanup()
