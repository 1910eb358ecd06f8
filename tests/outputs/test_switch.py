"""One set of files takes the place of another whole, whatever happens meanwhile: kill, fault, two runs at once."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time

import pytest

from siteplanner.outputs import switch as module
from siteplanner.outputs.switch import MARK, Switch, sweep

NAMES = [f"file{k:02d}.txt" for k in range(15)]
WAYS = ["exchange", "one by one"]

CHILD = """
import sys
from pathlib import Path
from siteplanner.outputs import switch
folder, way, tag = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
if way == "one by one":
    switch._can_exchange = lambda: False
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
        [sys.executable, "-c", CHILD, str(folder), way, tag, str(turns)], stdout=subprocess.PIPE, text=True
    )


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


@pytest.mark.parametrize("at", range(1, 31, 4))
def test_a_fault_in_the_middle_of_the_move_is_undone(at, tmp_path, monkeypatch):
    monkeypatch.setattr(module, "_can_exchange", lambda: False)
    folder = tmp_path / "out"
    put(folder, "old")
    real, calls = os.replace, iter(range(1, 1000))

    def broken(source, target):
        if next(calls) == at:
            raise OSError(5, "Input/output error")
        real(source, target)

    monkeypatch.setattr(module.os, "replace", broken)
    with pytest.raises(OSError, match="Input/output"):
        put(folder, "new")
    assert the_set(folder) == "old"
    assert works(folder) == []


def test_a_run_started_in_the_folder_does_not_lose_its_place(tmp_path, monkeypatch):
    folder = tmp_path / "out"
    put(folder, "old")
    monkeypatch.chdir(folder)
    before = os.stat(".").st_ino
    put(folder, "new")
    assert os.stat(folder).st_ino == before
    assert the_set(folder) == "new"


def test_kills_at_random_moments_leave_one_whole_set(way, tmp_path):
    """100 kills in both ways together; the child does little but switch, so that most land inside one."""
    folder, rng, seen = tmp_path / "out", random.Random(19), set()
    put(folder, "first")
    (folder / "notes.txt").write_text("mine")
    for number in range(50):
        run = child(folder, way, f"run {number}")
        run.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.06))
        run.send_signal(signal.SIGKILL)
        run.wait()
        run.stdout.close()
        if way == "one by one":
            sweep(folder)  # what the next run does first
        seen.add(the_set(folder))
        assert (folder / "notes.txt").read_text() == "mine"
    assert len(seen) > 25  # the runs did replace each other's sets
    put(folder, "last")
    assert the_set(folder) == "last"
    assert works(folder) == []


def test_two_runs_into_one_folder_take_turns(way, tmp_path):
    folder = tmp_path / "out"
    put(folder, "first")
    runs = [child(folder, way, tag, 60) for tag in ("a", "b")]
    for run in runs:
        run.stdout.readline()
    seen = set()
    while any(run.poll() is None for run in runs):
        with module._turn(folder):  # between two switches
            seen.add(the_set(folder))
    for run in runs:
        run.stdout.close()
        assert run.returncode == 0
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
