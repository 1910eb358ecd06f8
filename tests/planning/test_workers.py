"""Work shared out to processes: one that is lost is done again, errors arrive whole, nothing listens to the outside."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import psutil
import pytest

from siteplanner.errors import Cancelled, InputError
from siteplanner.planning.workers import crew_of


def piece(item, said):
    """`item`: what to do, and a folder for its marks."""
    what, folder = item
    mark = Path(folder) / what
    said(what, 0.5)
    if what == "lost" and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)  # as the system does when memory runs out
    if what == "wrong":
        raise InputError("The file is gone.", remedy="Bring it back.", file="a.tif", field="layers.elevation")
    if what == "endless":
        for _ in range(600):
            time.sleep(0.1)
            said(what, 0.6)
        mark.touch()
    if what == "waits" and not mark.exists():
        mark.touch()
        for _ in range(600):  # until the scheduler begins anew, which takes its workers with it
            time.sleep(0.1)
            said(what, 0.6)
    return f"{what} done"


def listening(process: psutil.Process) -> set[str]:
    family = [process, *process.children(recursive=True)]
    return {c.laddr.ip for p in family for c in p.net_connections() if c.status == psutil.CONN_LISTEN}


@pytest.fixture(scope="module")
def crew(tmp_path_factory):
    before = listening(psutil.Process())
    with crew_of(None, 2, 4, tmp_path_factory.mktemp("shared")) as made:
        made.opened = listening(psutil.Process()) - before
        yield made


def test_what_a_lost_worker_was_at_is_done_by_another_and_an_error_arrives_whole(crew, tmp_path):
    heard = []
    items = [(what, str(tmp_path)) for what in ("plain", "lost", "wrong", "plainer")]
    done = {d.number: d for d in crew.results(piece, items, lambda *word: heard.append(word))}
    assert (tmp_path / "lost").exists()
    assert [done[k].value for k in (0, 1, 3)] == ["plain done", "lost done", "plainer done"]
    error = done[2].error
    assert isinstance(error, InputError)
    assert (error.file, error.field, error.remedy) == ("a.tif", "layers.elevation", "Bring it back.")
    assert (1, "lost", 0.5) in heard


def test_what_a_scheduler_forgot_when_it_began_anew_is_asked_for_again(crew, tmp_path):
    begun = []

    def heard(number, stage, share):
        if (tmp_path / "waits").exists() and not begun:
            begun.append(number)
            crew._client.restart(timeout=30, wait_for_workers=False)

    items = [(what, str(tmp_path)) for what in ("waits", "plain", "plainer")]
    done = {d.number: d.value for d in crew.results(piece, items, heard)}
    assert begun
    assert done == {0: "waits done", 1: "plain done", 2: "plainer done"}


def test_our_own_workers_are_met_on_this_machine_alone(crew):
    assert crew.opened == {"127.0.0.1"}


def test_what_is_canceled_ends_on_the_workers_too(crew, tmp_path):
    def stop(number, stage, share):
        if stage == "endless":
            raise Cancelled()

    with pytest.raises(Cancelled):
        list(crew.results(piece, [("endless", str(tmp_path))], stop))
    until = time.monotonic() + 20
    while sum(len(v) for v in crew._client.processing().values()) and time.monotonic() < until:
        time.sleep(0.1)
    assert not (tmp_path / "endless").exists()


def test_a_scheduler_that_does_not_answer_is_told_with_its_address(tmp_path, monkeypatch):
    monkeypatch.setattr("siteplanner.planning.workers.CONNECT_S", 0.3)
    with (
        pytest.raises(InputError, match="No scheduler with workers answers") as caught,
        crew_of("tcp://127.0.0.1:9", None, 2, tmp_path),
    ):
        pass
    assert caught.value.file == "tcp://127.0.0.1:9"
    assert caught.value.field == "--scheduler"
