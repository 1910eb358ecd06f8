"""Finished plans outlive the page and the server; time left is said only where it is known."""

from __future__ import annotations

import json
import os
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from siteplanner.app import earlier, pace, private, session
from siteplanner.app.running import Run
from siteplanner.data.records import Held
from siteplanner.errors import Cancelled, InputError
from siteplanner.planning.study.progress import SHARES
from siteplanner.planning.study.reuse import Kept
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.screen import left_words
from tests.outputs.factory import HOSTILE, make_plan


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setenv(private.ASKED, str(tmp_path / "held"))
    return tmp_path


def kept(plan, place, draft=None, base=None, owner="me"):
    files = place / "files"
    files.mkdir(exist_ok=True)
    (files / "roads.geojson").write_text("{}")
    draft = draft or plan.mission.parameters()
    return earlier.keep(plan, draft, files if base is None else base, files, "Your own files", owner)


def test_a_plan_comes_back_from_the_disk_with_its_files(place):
    plan = make_plan(names=HOSTILE, mission_name="".join(HOSTILE))
    kept(plan, place)
    (item,) = earlier.listed()
    assert item.name == plan.mission.name
    assert item.whole
    assert item.best.startswith("Park at")
    assert (item.base / "roads.geojson").read_text() == "{}"
    # no other account of the computer looks inside
    assert not any(p.stat().st_mode & 0o077 for p in (item.folder, *item.folder.rglob("*")))
    back = earlier.opened(item)
    one, two = plan_record(plan), plan_record(back)
    assert back.mission.base == item.base
    assert json.dumps(one) == json.dumps(two)  # no path of this machine goes into a record
    # the user's file is replaced afterwards: the kept copy stays as it was
    staged = place / "files" / ".new"
    staged.write_text("other")
    staged.replace(place / "files" / "roads.geojson")
    assert (item.base / "roads.geojson").read_text() == "{}"
    earlier.forget(item)
    assert earlier.listed() == []
    assert not item.folder.exists()


def test_newest_first_and_the_oldest_go(place, monkeypatch):
    monkeypatch.setattr(earlier, "MAX_KEPT", 2)
    plan = make_plan()
    for name in ("one", "two", "three"):
        folder = kept(replace(plan, mission=plan.mission.model_copy(update={"name": name})), place)
        folder.rename(
            folder.with_name(
                {"one": "20260101T000000-aaaaaa", "two": "20260102T000000-aaaaaa", "three": folder.name}[name]
            )
        )
    assert [e.name for e in earlier.listed()] == ["three", "two"]


def test_what_is_half_written_or_damaged_is_said_or_passed_over(place, monkeypatch):
    plan = make_plan()
    folder = kept(plan, place)
    with (folder / earlier.PLAN).open("r+b") as stream:
        stream.seek(200)
        stream.write(b"\xff" * 300)
    (item,) = earlier.listed()
    with pytest.raises(InputError, match="cannot be read"):
        earlier.opened(item)
    (folder / earlier.ABOUT).write_text("{")
    assert earlier.listed() == []

    def full(*args):
        raise OSError(28, "No space left on device")

    before = set((private.root() / "plans").iterdir())
    monkeypatch.setattr(earlier, "_write_zip", full)
    with pytest.raises(OSError, match="No space"):
        kept(plan, place)
    assert set((private.root() / "plans").iterdir()) == before  # nothing half-written stays


def test_a_plan_that_cannot_be_written_still_keeps_its_mission(place):
    plan = make_plan()
    kept(replace(plan, judge=object()), place)
    (item,) = earlier.listed()
    assert not item.whole


def test_files_that_changed_since_are_named(place):
    plan = make_plan()
    base = place / "theirs"
    base.mkdir()
    for name in ("a.tif", "b.geojson"):
        (base / name).write_text(name)
    from siteplanner.data.records import InputRecord, sha256_of

    draft = {
        **plan.mission.parameters(),
        "layers": {"elevation": ["a.tif"], "incident_area": "b.geojson", "roads": "c.geojson"},
    }
    records = tuple(
        InputRecord("x", n, sha256_of(base / n), "EPSG:4326", "", (0, 0, 1, 1), 1, Held("features"))
        for n in ("a.tif", "b.geojson")
    )
    kept(replace(plan, inputs=records), place, draft, base)
    (item,) = earlier.listed()
    mission = plan.mission.model_copy(update={"base": base})
    assert earlier.changed_files(item, mission) == []
    (base / "a.tif").write_text("new")
    (base / "b.geojson").unlink()
    assert earlier.changed_files(item, mission) == ["a.tif", "b.geojson"]


def test_work_open_on_another_page_is_not_listed(monkeypatch):
    monkeypatch.setattr(session, "_HELD", {})
    mine, theirs = session.work_of(None), session.work_of(None)
    mine.pages.add("p1")
    theirs.pages.update({"p2", "p3"})
    owner = earlier.owner_of(theirs.token)
    assert theirs.token not in owner
    assert session.others_open(mine, "p1", {"p1", "p3"}.__contains__) == {owner}
    assert session.others_open(mine, "p1", {"p1"}.__contains__) == set()  # their page is closed


def test_a_second_user_works_while_the_first_one_runs(monkeypatch):
    """No lock is held over a run: another one's work is there at once, and a run of their own goes through."""
    monkeypatch.setattr(session, "_HELD", {})
    gate, entered = threading.Event(), threading.Event()

    def long(_, progress):
        while not gate.wait(0.01):
            entered.set()
            progress("Evaluating spots", 0.5)

    plan = make_plan()
    one = session.work_of(None)
    one.run = Run(plan.mission, long).start()
    assert entered.wait(60)
    two = session.work_of(None)
    two.run = Run(plan.mission, lambda mission, progress: plan).start()
    two.run.wait(60)
    assert (two.run.state, one.run.state) == ("done", "running")
    two.take(two.run.result)
    assert one.plan is None
    gate.set()
    one.run.wait(60)
    assert one.run.state == "done"


def test_a_cancelled_run_lends_what_it_has_to_the_next(monkeypatch):
    work = session.Work("token")
    held = Kept({("a", "b"): None})
    stopped = Cancelled()
    stopped.kept = held

    def job(mission, progress):
        raise stopped

    work.run = Run(make_plan().mission, job).start()
    work.run.wait(60)
    assert work.run.state == "cancelled"
    assert work.lend().results == held.results
    work.open(None, Path("."), "")
    assert work.lend().results == held.results


SECONDS = dict(zip(SHARES, (4.0, 1.0, 1.0, 2.0, 1.0, 0.0, 0.0, 1.0, 20.0, 5.0, 0.0), strict=True))


def test_time_left_by_hand():
    left = pace.seconds_left
    # half of 20 s behind at the earlier pace: 10 s left, and 5 s of ranking
    assert left("Evaluating spots", 0.5, 10.0, {}, SECONDS) == pytest.approx(15)
    # twice as slow as then: twice as long
    assert left("Evaluating spots", 0.5, 20.0, {}, SECONDS) == pytest.approx(30)
    # never run before: the pace within the stage, later stages by their rough share of the work
    later = list(SHARES)[list(SHARES).index("Evaluating spots") + 1 :]
    ratio = sum(SHARES[name] for name in later) / SHARES["Evaluating spots"]
    assert left("Evaluating spots", 0.25, 5.0, {}, None) == pytest.approx(15 + 20 * ratio)
    # nothing is known yet
    assert left("Evaluating spots", 0.02, 5.0, {}, None) is None
    assert left("Evaluating spots", 0.5, 0.4, {}, None) is None
    assert left("Starting", 0.0, 1.0, {}, SECONDS) is None
    # earlier run known from the start
    assert left("Reading layers", 0.0, 0.0, {}, SECONDS) == pytest.approx(35)
    # this time everything behind took twice as long
    assert left("Ranking", 0.0, 0.0, {"Reading layers": 8.0}, SECONDS) == pytest.approx(10)
    assert [left_words(s) for s in (None, 3, 21, 93, 300)] == [
        "",
        "a few seconds left",
        "about 20 s left",
        "about 90 s left",
        "about 5 min left",
    ]


def test_stage_times_are_remembered_by_kind(tmp_path):
    file = tmp_path / "deep" / "pace.json"
    assert pace.earlier_run(file, "a") is None
    pace.remember(file, "a", SECONDS)
    pace.remember(file, "b", {"Ranking": 1.0})
    assert pace.earlier_run(file, "a") == SECONDS
    file.write_text('{"a": [1], "b": {"Ranking": "x"}}')
    assert pace.earlier_run(file, "a") is None
    assert pace.earlier_run(file, "b") == {}
    for n in range(pace.MAX_HELD + 5):
        pace.remember(file, f"k{n}", {"Ranking": 1.0})
    assert pace.earlier_run(file, "k0") is None
    if os.name != "nt" and os.geteuid() != 0:
        file.parent.chmod(0o500)
        pace.remember(file, "z", SECONDS)
        file.parent.chmod(0o700)
        assert pace.earlier_run(file, "z") is None


def test_a_plan_that_cannot_be_written_stays_on_the_screen_with_a_word(place):
    work = session.Work("token")
    work.draft = {"at": object()}  # nothing that JSON can hold
    work.base = place
    work._keeper()(make_plan())
    assert "could not be kept on this computer (TypeError" in work.note
    assert "deployment package" in work.note
    assert not earlier.listed()
