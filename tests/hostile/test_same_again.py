"""The same inputs give the same files, byte by byte: at any number of threads and processors, and on another run."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.planning.test_options import two_camps

RUN = """
import os, sys
from dataclasses import replace
import numba
from siteplanner import load_mission, plan
from siteplanner.outputs.write import write_outputs
for threads, processors, out in zip(*[iter(sys.argv[2:])] * 3, strict=True):
    numba.set_num_threads(int(threads))
    os.cpu_count = lambda n=int(processors): n
    made = plan(load_mission(sys.argv[1]))  # everything worked out anew
    # the hour of the run and the time that it took aside
    clock = {"name": "siteplanner", "version": "0", "created": "2026-06-01T10:00:00Z"}
    write_outputs(replace(made, software=clock, timings_s={}), out)
"""


def made(mission: str, hash_seed: str, *runs: tuple[int, int, Path]) -> list[dict[str, bytes]]:
    """What a process of its own writes, all files, by threads, processors and folder."""
    threads = str(runs[0][0])
    environment = {**os.environ, "NUMBA_NUM_THREADS": "7", "OMP_NUM_THREADS": threads, "PYTHONHASHSEED": hash_seed}
    command = [sys.executable, "-c", RUN, mission, *(str(part) for run in runs for part in run)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment, timeout=900)
    assert done.returncode == 0, done.stderr[-1500:]
    return [{path.name: path.read_bytes() for path in out.iterdir()} for *_, out in runs]


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """By threads: one alone, then seven and two in another process with other hashes. Folders stand side by side:
    plan.json names the mission's as seen from its own."""
    place = tmp_path_factory.mktemp("same")
    mission = two_camps(place / "m", spots=20)
    (one,) = made(mission, "0", (1, 1, place / "one"))
    seven, two = made(mission, "2", (7, 2, place / "seven"), (2, 2, place / "two"))
    return {1: one, 2: two, 7: seven}


@pytest.mark.parametrize("threads", [2, 7])
def test_the_same_inputs_give_the_same_files(runs, threads):
    first, again = runs[1], runs[threads]
    assert {
        "plan.json", "ranking.csv", "judged.csv", "routes.gpx", "places.kml", "ruling.tif", "ruling_bits.tif",
        "coverage.tif", "map.html", "package.gpkg", "package.zip", "print_map.tif", "print_map.pdf",
    } <= set(first)  # fmt: skip
    assert set(first) == set(again)
    assert [name for name in first if first[name] != again[name]] == []
