"""The same inputs make the same files to the last byte, whatever the number of processors; clock and times aside."""

from __future__ import annotations

import os
from dataclasses import replace

import pytest

from siteplanner import load_mission, plan
from siteplanner.outputs.write import WRITERS, write_outputs
from tests.outputs.factory import make_plan
from tests.planning.test_options import two_camps

MADE = {"name": "siteplanner", "version": "0", "created": "2026-06-01T10:00:00Z"}


def written(made, folder):
    """Every file, of a plan whose clock stands still."""
    write_outputs(replace(made, software=MADE, timings_s={}), folder)
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture(scope="module")
def twice(tmp_path_factory):
    """Planned and written with one processor and with two, everything worked out anew."""
    folder = tmp_path_factory.mktemp("twice")
    mission = two_camps(folder / "mission")
    out = []
    for processors in (1, 2):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(os, "cpu_count", lambda n=processors: n)
            out.append(written(plan(load_mission(mission)), folder / f"with_{processors}"))
    return out


def test_two_runs_make_the_same_files(twice):
    one, two = twice
    assert {"plan.json", "package.gpkg", "map.html", "package.zip", "print_map.tif", "print_map.pdf"} <= set(one)
    assert set(one) == set(two)
    assert [name for name in one if one[name] != two[name]] == []


def test_nothing_random_and_no_clock_in_any_writer(tmp_path):
    """The same plan written twice, an hour apart."""
    import time

    made, now = make_plan(3), time.time
    one = written(made, tmp_path / "a")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(time, "time", lambda: now() + 3600)
        two = written(made, tmp_path / "b")
    assert [name for name in one if one[name] != two[name]] == []
    assert {name for name in WRITERS if "*" not in name} - {
        "set_service.tif",
        "set_server.tif",
        "as_built_report.toml",
    } <= set(one)
