"""The same inputs give the same files, byte by byte, at any number of threads and on another run.

Every other file of a plan: `tests/outputs/test_same_bytes.py`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.planning.conftest import write_mission

FILES = (
    "plan.json", "ranking.csv", "judged.csv", "routes.gpx", "places.kml", "ruling.tif", "ruling_bits.tif",
    "coverage.tif", "map.html", "package.gpkg", "package.zip",
)  # fmt: skip
RUN = """
import sys
from dataclasses import replace
import numba
numba.set_num_threads(int(sys.argv[3]))
from siteplanner import load_mission, plan
from siteplanner.outputs.write import write_outputs
made = plan(load_mission(sys.argv[1]))
clock = {**made.software, "created": "2026-06-01T10:00:00Z"}  # the hour of the run and the time that it took aside
write_outputs(replace(made, software=clock, timings_s={}), sys.argv[2], only=sys.argv[4:])
"""


def made(mission: str, out: Path, threads: int, hash_seed: str) -> dict[str, bytes]:
    """What a run of its own writes."""
    environment = {**os.environ, "NUMBA_NUM_THREADS": "7", "OMP_NUM_THREADS": str(threads), "PYTHONHASHSEED": hash_seed}
    command = [sys.executable, "-c", RUN, mission, str(out), str(threads), *FILES]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment, timeout=900)
    assert done.returncode == 0, done.stderr[-1500:]
    return {name: (out / name).read_bytes() for name in FILES}


@pytest.fixture(scope="module")
def one_thread(tmp_path_factory):
    place = tmp_path_factory.mktemp("same")
    mission = write_mission(place / "m")
    return mission, made(mission, place / "one", 1, "0")


@pytest.mark.parametrize(("threads", "hash_seed"), [(2, "1"), (7, "2")])
def test_the_same_inputs_give_the_same_files(one_thread, threads, hash_seed):
    mission, first = one_thread
    beside = Path(mission).parents[1]  # plan.json names the mission's folder as seen from its own
    again = made(mission, beside / f"again_{threads}", threads, hash_seed)
    assert [name for name in first if first[name] != again[name]] == []
