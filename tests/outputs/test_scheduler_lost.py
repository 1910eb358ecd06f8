"""A scheduler that is killed and never comes back, in the middle of an atlas and of a batch: words, an end, and
everything that was finished is there when the work goes on."""

from __future__ import annotations

import csv
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shapely.geometry import box

from siteplanner import cli
from siteplanner.outputs import batch
from siteplanner.outputs.batch import SUMMARY, plan_many
from siteplanner.planning.atlas.answer import open_atlas
from siteplanner.planning.atlas.build import build_atlas
from tests.atlas.scene import save, write_region
from tests.outputs.factory import make_plan
from tests.planning.conftest import at, write_mission

BOUND_S = 300  # of a wait that would have no end if a command hung; reached by none that ends
SCHEDULER = """
import asyncio
from distributed import Scheduler
async def main():
    async with Scheduler(host="127.0.0.1", port=0, dashboard=False, dashboard_address="127.0.0.1:0") as scheduler:
        print(scheduler.address, flush=True)
        await scheduler.finished()
asyncio.run(main())
"""
WORKER = """
import asyncio, sys
from distributed import Worker
async def main():
    async with Worker(sys.argv[1], host="127.0.0.1", nthreads=1, dashboard=False) as worker:
        await worker.finished()
asyncio.run(main())
"""


@contextmanager
def program(text: str, *args: str) -> Iterator[subprocess.Popen]:
    process = subprocess.Popen(
        [sys.executable, "-c", text, *args], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def rows_of(out: Path) -> list[str]:
    with (out / SUMMARY).open(encoding="utf-8-sig", newline="") as held:
        return [row["state"] for row in csv.DictReader(held)]


def test_a_scheduler_that_dies_for_good_ends_build_and_batch_in_words_and_both_go_on(tmp_path, monkeypatch, capfd):
    """A plan made by hand stands for planning in this process; the places of the atlas are judged for real."""
    made = make_plan()
    monkeypatch.setattr("siteplanner.planning.plan.pipeline.plan", lambda *given, **named: made)
    monkeypatch.setattr("siteplanner.planning.workers.CONNECT_S", 10.0)
    region = write_region(tmp_path / "region")
    save(tmp_path / "region" / "outline.gpkg", [box(*at(1200, 700), *at(2400, 1100))])
    atlas, out = tmp_path / "region" / "atlas", tmp_path / "out"
    missions = [Path(write_mission(tmp_path / name)) for name in ("north", "south")]
    plan_many(missions[:1], out)
    table = (out / SUMMARY).read_bytes()
    codes: dict[str, int] = {}
    waits, heard = threading.Event(), batch._Shared.heard

    def waiting(self, number, stage, share) -> None:
        waits.set()
        heard(self, number, stage, share)

    monkeypatch.setattr(batch._Shared, "heard", waiting)  # which is called while missions wait for a worker

    def command(*args: str) -> threading.Thread:
        def work() -> None:
            codes[args[0]] = cli.run(lambda: cli.app(args=[*args, "--quiet"], standalone_mode=False))

        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        return thread

    with program(SCHEDULER) as scheduler:
        address = scheduler.stdout.readline().strip()
        with program(WORKER, address) as worker:
            run = [command("atlas", "build", str(region), "--out", str(atlas), "--scheduler", address)]
            while not list(atlas.glob("tiles/*/places/*")):  # the first place is judged
                run[0].join(0.05)
                assert run[0].is_alive(), (codes, capfd.readouterr())
            worker.send_signal(signal.SIGSTOP)  # it is at its tile until all is over, however fast it is
            run.append(command("batch", *map(str, missions), "--out", str(out), "--scheduler", address))
            assert waits.wait(BOUND_S)
            scheduler.kill()
            for thread in run:
                thread.join(BOUND_S)
                assert not thread.is_alive(), "a command hangs"
    assert codes == {"atlas": 2, "batch": 2}
    said = capfd.readouterr().err
    assert "Traceback" not in said
    assert "Failed to reconnect" not in said  # told once
    assert said.count("Remedy:") == 2
    assert said.count("was lost and did not come back") == 2
    assert "what is finished is kept" in said
    # nothing that was there has gone, and what goes on does not begin again
    assert (out / SUMMARY).read_bytes() == table
    assert [o.before for o in plan_many(missions, out)] == [True, False]
    assert rows_of(out) == ["planned", "planned"]
    kept = len(list(atlas.glob("tiles/*/margins/*.tif")))
    assert kept
    again = build_atlas(region, atlas, workers=1)
    assert 0 <= again.judged <= again.places - kept
    assert open_atlas(atlas).head["places"] == again.places
    assert not list(atlas.glob(".stop-*"))
    assert not list(out.glob(".stop-*"))
