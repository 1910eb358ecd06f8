"""The same inputs give the same files, byte by byte, at any number of threads and on another run."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.planning.conftest import write_mission

FILES = ("ranking.csv", "judged.csv", "routes.gpx", "places.kml", "ruling.tif", "ruling_bits.tif", "coverage.tif")
RUN = """
import sys
import numba
numba.set_num_threads(int(sys.argv[3]))
from siteplanner import load_mission, plan
from siteplanner.outputs.write import write_outputs
write_outputs(plan(load_mission(sys.argv[1])), sys.argv[2], only=sys.argv[4:])
"""
CLOCK = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[^<\"]*")


def made(mission: str, out: Path, threads: int, hash_seed: str) -> dict[str, bytes]:
    """What a run writes, without the hour of the run and the time that it took."""
    environment = {**os.environ, "NUMBA_NUM_THREADS": "7", "OMP_NUM_THREADS": str(threads), "PYTHONHASHSEED": hash_seed}
    command = [sys.executable, "-c", RUN, mission, str(out), str(threads), "plan.json", *FILES]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment, timeout=900)
    assert done.returncode == 0, done.stderr[-1500:]
    held = {name: CLOCK.sub(b"", (out / name).read_bytes()) for name in FILES}
    record = json.loads((out / "plan.json").read_text("utf-8"))
    record.pop("timings_s")
    record["software"].pop("created")
    return {**held, "plan.json": json.dumps(record, sort_keys=False).encode()}


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
