"""One set of files takes the place of another whole, whatever happens meanwhile: kill, fault, two runs at once."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time

import pytest
import typer

from siteplanner import cli
from siteplanner.outputs import switch as module
from siteplanner.outputs import turns
from siteplanner.outputs.switch import KEPT, MARK, MOVING, HalfMoved, Switch, sweep
from siteplanner.planning.plan.two_runs import NOTICE

NAMES = [f"file{k:02d}.txt" for k in range(15)]
WAYS = ["exchange", "one by one"]

CHILD = """
import sys
from pathlib import Path
from siteplanner.outputs import switch
folder, way, tag = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
if way == "one by one":
    switch._can_exchange = lambda: False
else:  # a way round that nobody asked for is a fault that says its reason, not a mix of sets later
    def refused(self, *_):
        raise SystemExit("the folders were not exchanged")
    switch.Switch._one_by_one = refused
switch._sync = lambda path: None  # a kill is not a power cut, and without waiting for the disk more kills land inside
names = [f"file{k:02d}.txt" for k in range(15)]
print("ready", flush=True)
for turn in range(int(sys.argv[4])):
    with switch.Switch(folder) as work:
        for name in names:
            (work.path / name).write_text(f"{tag} {turn}")
        work.now(names)
"""


def child(folder, way, tag="set", turns=100_000):
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, str(folder), way, tag, str(turns)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def kills(folder, how, which):
    done = subprocess.run(
        [sys.executable, "-m", "tests.outputs.kills", str(folder), how, which],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


def the_set(folder):
    """The one set that a folder holds; fails where two are mixed or one is not whole."""
    found = {name: (folder / name).read_text() for name in NAMES}
    assert len(set(found.values())) == 1, found
    return found[NAMES[0]]


def put(folder, text, names=NAMES):
    with Switch(folder) as work:
        for name in names:
            (work.path / name).write_text(text)
        return work.now(NAMES)


def works(folder):
    return [p for p in (*folder.iterdir(), *folder.parent.iterdir()) if MARK in p.name]


@pytest.fixture(params=WAYS)
def way(request, monkeypatch):
    if request.param == "one by one":
        monkeypatch.setattr(module, "_can_exchange", lambda: False)
    elif not module._can_exchange():
        pytest.skip("this system cannot exchange two folders in one step")
    return request.param


def test_a_set_replaces_the_one_before_and_leaves_what_is_not_its_own(way, tmp_path):
    folder = tmp_path / "out"
    assert put(folder, "one") == [folder / name for name in NAMES]
    (folder / "notes.txt").write_text("mine")
    (folder / "photos").mkdir()
    (folder / "photos" / "a.jpg").write_text("mine too")
    (folder / "link").symlink_to("notes.txt")
    before = os.stat(folder / "notes.txt").st_ino
    put(folder, "two", NAMES[:-1])
    assert (folder / NAMES[0]).read_text() == "two"
    assert not (folder / NAMES[-1]).exists()  # this set has nothing to say under that name
    assert (folder / "notes.txt").read_text() == "mine"
    assert os.stat(folder / "notes.txt").st_ino == before
    assert (folder / "photos" / "a.jpg").read_text() == "mine too"
    assert os.readlink(folder / "link") == "notes.txt"
    assert works(folder) == []


@pytest.mark.parametrize("at", [1, 2, 8, 15, 16, 17])
def test_a_fault_in_the_middle_of_the_move_is_undone(at, tmp_path, monkeypatch):
    """At the list of what moves (1), at files (2 to 15), at the removal of one (16), of the list (17)."""
    monkeypatch.setattr(module, "_can_exchange", lambda: False)
    folder = tmp_path / "out"
    put(folder, "old")
    calls = iter(range(1, 1000))

    def broken(real):
        def call(*given, **more):
            if next(calls) == at:
                raise OSError(5, "Input/output error")
            real(*given, **more)

        return call

    for name in ("replace", "unlink"):
        monkeypatch.setattr(module.os, name, broken(getattr(os, name)))
    with pytest.raises(OSError, match="Input/output"):
        put(folder, "new", NAMES[:-1] if at > 15 else NAMES)
    assert the_set(folder) == "old"
    assert works(folder) == []


def test_a_disk_that_stays_broken_loses_nothing(tmp_path, monkeypatch, capsys):
    """Neither move nor undoing works: the earlier files are kept, and the next run brings them back."""
    monkeypatch.setattr(module, "_can_exchange", lambda: False)
    folder = tmp_path / "out"
    put(folder, "old")
    real, calls = os.replace, iter(range(1000))

    def broken(source, target):
        if next(calls) > 5:
            raise OSError(5, "Input/output error")
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(module.os, "replace", broken)
        with pytest.raises(HalfMoved):
            put(folder, "new")
    assert len({(folder / name).read_text() for name in NAMES}) == 2
    # nobody takes the set for whole: neither who opens the folder nor a command that reads a plan there
    assert "Do not use any of them" in (folder / NOTICE).read_text()
    plan = folder / "plan.json"
    plan.write_text("{}")
    for words in (["compare", plan, plan], ["explain", plan, 44.7, -111.0], ["handover", folder]):
        command = typer.main.get_command(cli.app)
        arguments = [str(word) for word in words]
        assert cli.run(lambda command=command, given=arguments: command.main(given, standalone_mode=False)) == 2
        said = " ".join(capsys.readouterr().err.split())
        assert "are of two runs" in said, words
        assert "Remedy: Wait a moment, then run the mission again" in said
    sweep(folder)
    assert the_set(folder) == "old"
    assert not (folder / NOTICE).exists()
    assert works(folder) == []


def test_a_move_that_a_dead_run_left_is_undone_though_somebody_holds_its_claim(tmp_path, monkeypatch):
    """A child that was forked holds what its parent held. Passed over, the move would be undone into a later set."""
    monkeypatch.setattr(module, "_can_exchange", lambda: False)
    folder = tmp_path / "out"
    put(folder, "old")
    dead = folder / f"{MARK}dead"
    (dead / KEPT).mkdir(parents=True)
    for name in NAMES[:7]:
        os.rename(folder / name, dead / KEPT / name)
        (folder / name).write_text("half")
    (dead / MOVING).write_text("")
    held = turns.lock(dead, wait=False)
    put(folder, "new")
    os.close(held)
    sweep(folder)
    assert the_set(folder) == "new"
    assert works(folder) == []


def test_an_interruption_waits_until_the_set_is_in_place(way, tmp_path, monkeypatch):
    """Blocking the signal in one thread is not enough: another thread takes it, and Python tells the main one."""
    folder, over = tmp_path / "out", threading.Event()
    put(folder, "old")
    other = threading.Thread(target=over.wait)
    other.start()

    def interrupted(real):
        def call(*given):
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.01)
            return real(*given)

        return call

    try:
        monkeypatch.setattr(module, "_exchange", interrupted(module._exchange))
        monkeypatch.setattr(module.os, "replace", interrupted(os.replace))
        with pytest.raises(KeyboardInterrupt):
            put(folder, "new")
    finally:
        over.set()
        other.join()
    assert the_set(folder) == "new"
    assert works(folder) == []
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_where_nothing_can_be_locked_a_run_keeps_its_own_work(tmp_path, monkeypatch):
    """As on a system without these locks: what was written must not be taken for what a killed run left."""
    monkeypatch.setattr(turns, "fcntl", None)
    monkeypatch.setattr(module, "_can_exchange", lambda: False)
    folder = tmp_path / "out"
    put(folder, "old")
    old, fresh = (folder / f"{MARK}{name}" for name in ("old", "fresh"))
    for work in (old, fresh):
        work.mkdir()
    os.utime(old, (0, 0))
    put(folder, "new")
    assert the_set(folder) == "new"
    assert works(folder) == [fresh]


def test_what_somebody_saves_while_the_folders_change_places_is_not_lost(tmp_path, monkeypatch):
    folder = tmp_path / "out"
    put(folder, "old")
    (folder / "photos").mkdir()
    for name in ("notes.txt", "photos/a.txt"):
        (folder / name).write_text("first")
    if not module._can_exchange():
        pytest.skip("this system cannot exchange two folders in one step")
    real = module._exchange

    def exchange(one, other):
        for name in ("notes.txt", "photos/a.txt", "photos/b.txt"):  # as editors save: a new file under the old name
            (folder / "aside").write_text("second")
            os.replace(folder / "aside", folder / name)
        return real(one, other)

    monkeypatch.setattr(module, "_exchange", exchange)
    put(folder, "new")
    assert the_set(folder) == "new"
    assert [(folder / n).read_text() for n in ("notes.txt", "photos/a.txt", "photos/b.txt")] == ["second"] * 3


def test_work_of_another_run_inside_the_folder_stays(tmp_path, monkeypatch):
    """A run that was started in the folder works there; another from elsewhere must not carry its files away."""
    folder = tmp_path / "out"
    put(folder, "old")
    with monkeypatch.context() as patch:
        patch.chdir(folder)
        inside = Switch(folder)
    with inside:
        for name in NAMES:
            (inside.path / name).write_text("from inside")
        put(folder, "from outside")
        assert the_set(folder) == "from outside"
        inside.now(NAMES)
    assert the_set(folder) == "from inside"
    assert works(folder) == []


@pytest.mark.parametrize(("how", "least"), [("exchange", 15), ("one by one", 15), ("refused", 30), ("no links", 20)])
def test_a_kill_before_any_call_leaves_a_whole_set_or_one_that_is_put_right(how, least, tmp_path):
    """Each system call that changes a name, in turn; of the move one by one the repair is killed everywhere as well."""
    if how != "one by one" and not module._can_exchange():
        pytest.skip("this system cannot exchange two folders in one step")
    found = kills(tmp_path, how, "each")
    assert found["wrong"] == []
    assert found["moments"] > least
    assert found["mixed"] > 1 or how == "exchange"
    assert found["repairs"] > 50 or how != "one by one"


def test_a_run_started_in_the_folder_does_not_lose_its_place(tmp_path, monkeypatch):
    folder = tmp_path / "out"
    put(folder, "old")
    monkeypatch.chdir(folder)
    before = os.stat(".").st_ino
    put(folder, "new")
    assert os.stat(folder).st_ino == before
    assert the_set(folder) == "new"


@pytest.mark.parametrize("how", WAYS)
def test_kills_at_random_moments_leave_one_whole_set(how, tmp_path):
    """100 kills in both ways together; what is killed does little but switch, so that most land inside one."""
    if how == "exchange" and not module._can_exchange():
        pytest.skip("this system cannot exchange two folders in one step")
    found = kills(tmp_path, how, "random")
    assert found["wrong"] == []
    assert found["moments"] == 50
    assert found["sets"] > 25  # the runs did replace each other's sets


def test_two_runs_into_one_folder_take_turns(way, tmp_path):
    folder = tmp_path / "out"
    put(folder, "first")
    runs = [child(folder, way, tag, 60) for tag in ("a", "b")]
    for run in runs:
        run.stdout.readline()
    seen = set()
    while any(run.poll() is None for run in runs):
        with turns.turn(folder):  # between two switches
            seen.add(the_set(folder))
    for run in runs:
        assert run.wait() == 0, run.communicate()
        run.stdout.close()
        run.stderr.close()
    assert the_set(folder) in ("a 59", "b 59")
    assert len(seen) > 5
    assert works(folder) == []


def test_the_folder_of_a_killed_run_goes_and_that_of_a_living_one_stays(tmp_path):
    folder = tmp_path / "out"
    put(folder, "old")
    for place in (folder.parent / f".out{MARK}dead", folder / f"{MARK}dead"):
        place.mkdir()
        (place / "half.txt").write_text("half")
    with Switch(folder) as living:
        (living.path / NAMES[0]).write_text("soon")
        put(folder, "new")
        assert works(folder) == [living.path]
        assert the_set(folder) == "new"
    assert works(folder) == []
