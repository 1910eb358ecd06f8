"""The same plan makes the same files to the last byte, at any hour; that the same inputs make the same plan, whatever
the number of processors: `tests/hostile/test_same_again.py`."""

from __future__ import annotations

import time
from dataclasses import replace

from siteplanner.outputs.write import WRITERS, write_outputs
from tests.outputs.factory import make_plan

MADE = {"name": "siteplanner", "version": "0", "created": "2026-06-01T10:00:00Z"}


def written(made, folder):
    """Every file, of a plan whose clock stands still."""
    write_outputs(replace(made, software=MADE, timings_s={}), folder)
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_nothing_random_and_no_clock_in_any_writer(tmp_path, monkeypatch):
    """The same plan written twice, an hour apart, over what lies in the folder: which does it no harm."""
    made, now = make_plan(3), time.time
    one = written(made, tmp_path / "a")
    monkeypatch.setattr(time, "time", lambda: now() + 3600)
    two = written(made, tmp_path / "a")
    assert set(one) == set(two)
    assert [name for name in one if one[name] != two[name]] == []
    assert {name for name in WRITERS if "*" not in name} - {
        "set_service.tif",
        "set_server.tif",
        "as_built_report.toml",
    } <= set(one)
