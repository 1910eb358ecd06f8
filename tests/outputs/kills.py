"""A program that kills a switch of files: before each of its system calls in turn, and each repair of that as well
(`each`), or many switches at random moments (`random`).

`python -m tests.outputs.kills FOLDER WAY each|random` prints as JSON how many moments it tried, and what it found
broken. It forks what it kills: a program started anew for each would spend its time on imports.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from siteplanner.outputs import switch
from siteplanner.planning.plan.two_runs import NOTICE

CALLS = ("os.mkdir", "os.rename", "os.link", "os.symlink", "os.remove", "os.rmdir", "os.chmod", "os.chown", "os.utime")
OLD = {"a.txt": "old", "b.txt": "old", "gone.txt": "old"}
NEW = {"a.txt": "new", "b.txt": "new", "fresh.txt": "new"}
OURS = {*OLD, *NEW}
STRANGE = ("notes.txt", "photos/a.jpg")


def scene(base: Path) -> Path:
    """A folder with an earlier set and somebody's own files."""
    shutil.rmtree(base, ignore_errors=True)
    folder = base / "out"
    (folder / "photos").mkdir(parents=True)
    for name, text in OLD.items():
        (folder / name).write_text(text)
    for name in STRANGE:
        (folder / name).write_text("mine")
    return folder


def put(folder: Path, files: dict[str, str]) -> None:
    with switch.Switch(folder) as work:
        for name, text in files.items():
            (work.path / name).write_text(text)
        work.now(OURS)


def held(folder: Path) -> dict[str, str]:
    return {name: (folder / name).read_text() for name in sorted(OURS) if (folder / name).exists()}


def litter(folder: Path) -> list[str]:
    return [p.name for p in (*folder.iterdir(), *folder.parent.iterdir()) if switch.MARK in p.name or p.name == NOTICE]


def killed(at: int, call: Callable[[], Any]) -> bool:
    """Run a call in a process of its own that ends before its change number `at`; whether it came so far."""
    child = os.fork()
    if child == 0:
        count = 0

        def counted(event: str, arguments: tuple[Any, ...]) -> None:
            nonlocal count
            if event in CALLS or (event == "open" and arguments[2] & (os.O_WRONLY | os.O_RDWR)):
                count += 1
                if count > at:
                    os._exit(9)

        real = switch._exchange

        def exchange(one: Path, other: Path) -> bool:
            counted("os.rename", ())
            return real(one, other)

        switch._exchange = exchange
        sys.addaudithook(counted)
        try:
            call()
        except BaseException as error:
            print(f"raised {error!r}", file=sys.stderr, flush=True)
            os._exit(3)
        os._exit(0)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if code == 3:
        raise AssertionError(f"a fault without a kill, at {at}")
    return code == 9


def set_way(way: str) -> None:
    if way in ("one by one", "no links"):
        switch._can_exchange = lambda: False
    if way == "refused":
        switch._exchange = lambda one, other: False
    if way == "no links":

        def link(*_: Any, **__: Any) -> None:
            raise PermissionError(1, "Operation not permitted")

        os.link = link  # type: ignore[assignment]


def wrong_of(folder: Path, when: str) -> list[str]:
    found = held(folder)
    wrong = [] if found in (OLD, NEW) else [f"{when}: {found}"]
    return wrong + [f"{when}: {n} is lost" for n in STRANGE if not (folder / n).exists()]


def moments(base: Path, way: str, repairs: bool) -> dict[str, Any]:
    """Kill at every moment; look, repair (killed at every moment too), look, run again, look."""
    set_way(way)
    wrong: list[str] = []
    tried = at = mixed = 0
    while True:
        folder = scene(base)
        if not killed(at, lambda folder=folder: put(folder, NEW)):  # type: ignore[misc]
            break
        found = held(folder)
        if way == "exchange":
            wrong += wrong_of(folder, f"kill {at}")
        elif not {"a.txt", "b.txt"} <= found.keys():
            wrong.append(f"kill {at}: a file is missing meanwhile: {found}")
        if found not in (OLD, NEW):
            mixed += 1
            wrong += [] if (folder / NOTICE).is_file() else [f"kill {at}: nothing says so: {found}"]
        shutil.copytree(base, half := base.with_name("half"), symlinks=True, dirs_exist_ok=False)
        again = 0
        while repairs and killed(again, lambda folder=folder: switch.sweep(folder)):  # type: ignore[misc]
            again += 1
            tried += 1
            switch.sweep(folder)
            wrong += wrong_of(folder, f"kill {at}, repair {again}")
            shutil.rmtree(base)
            shutil.copytree(half, base, symlinks=True)
        switch.sweep(folder)
        wrong += wrong_of(folder, f"kill {at}, repaired")
        put(folder, NEW)
        wrong += [] if held(folder) == NEW else [f"kill {at}, run again: {held(folder)}"]
        wrong += [f"kill {at}: left {name}" for name in litter(folder)]
        shutil.rmtree(half)
        at += 1
    return {"moments": at, "repairs": tried, "mixed": mixed, "wrong": wrong}


def at_random(base: Path, way: str, count: int = 50) -> dict[str, Any]:
    """Kill a process that switches sets without end, after a few turns and a moment; look, repair where needed."""
    set_way(way)
    if way == "exchange":
        switch.Switch._one_by_one = None  # type: ignore[assignment, method-assign]  # a silent way round is a fault
    wrong: list[str] = []
    rng, folder, seen = random.Random(19), scene(base), set()
    for number in range(count):
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            try:
                for turn in range(100_000):
                    put(folder, dict.fromkeys(OURS, f"run {number} turn {turn}"))
                    os.write(writer, b".")
            finally:
                os._exit(3)
        os.close(writer)
        for _ in range(rng.randrange(1, 4)):
            os.read(reader, 1)
        time.sleep(rng.uniform(0, 0.006))
        os.kill(child, signal.SIGKILL)
        if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) != -signal.SIGKILL:
            wrong.append(f"run {number} ended by itself")
        os.close(reader)
        if way != "exchange":
            switch.sweep(folder)
        found = held(folder)
        if set(found) != OURS or len(set(found.values())) != 1:
            wrong.append(f"run {number}: {found}")
        wrong += [f"run {number}: {n} is lost" for n in STRANGE if not (folder / n).exists()]
        seen |= set(found.values())
    put(folder, NEW)
    wrong += [] if held(folder) == NEW else [f"at the end: {held(folder)}"]
    return {"moments": count, "sets": len(seen), "wrong": wrong + [f"left {name}" for name in litter(folder)]}


if __name__ == "__main__":
    switch._sync = lambda path: None  # a kill is no power cut, and without waiting for the disk more land inside
    place, how, which = Path(sys.argv[1]) / "scene", sys.argv[2], sys.argv[3]
    print(json.dumps(at_random(place, how) if which == "random" else moments(place, how, how == "one by one")))
