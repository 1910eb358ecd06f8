"""What a run will take is told before it starts, grows with all that makes it longer, and holds measured runs."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from siteplanner import cli
from siteplanner.data import memory
from siteplanner.errors import InputError
from siteplanner.planning.study import cost
from siteplanner.planning.study.cost import Counts, Fit, cost_of
from siteplanner.planning.telling.cost import cost_words
from siteplanner.planning.telling.units import METRIC
from tests.planning.conftest import write_mission

COUNTS = ("cells", "area_cells", "segments", "spots", "stops")
MEASURED = {  # `python -m tests.benchmarks.cost county large_town county_5m county_20m hills`: plan and all its files
    "county": (Counts(3_091_476, True, 39_749, 112, 251, 3), 23.6, 1_033),
    "county_5m": (Counts(12_362_982, True, 39_761, 112, 251, 3), 50.4, 1_862),
    "county_20m": (Counts(773_398, True, 39_755, 112, 251, 3), 19.9, 909),
    "large_town": (Counts(5_091_792, False, 40_000, 33_800, 240, 3), 45.2, 1_521),
    "hills": (Counts(99_465, False, 5_445, 685, 244, 3), 9.2, 847),
}


def test_more_of_anything_never_costs_less():
    rng = np.random.default_rng(5)
    for _ in range(300):
        least = Counts(*(int(10 ** rng.uniform(0, 7)) for _ in range(1)), bool(rng.integers(2)),
                       *(int(10 ** rng.uniform(0, top)) for top in (4.6, 6, 3.7, 1.3)))  # fmt: skip
        name = COUNTS[rng.integers(len(COUNTS))]
        more = replace(least, **{name: int(getattr(least, name) * rng.uniform(1, 20)) + 1})
        one, other = cost_of(least), cost_of(more)
        assert other.memory_mb >= one.memory_mb
        assert other.processor_s >= one.processor_s
        assert one.memory_low_mb <= one.memory_mb <= one.memory_high_mb
        assert one.processor_low_s <= one.processor_s <= one.processor_high_s
    assert cost_of(replace(least, surface=True)).memory_mb >= cost_of(replace(least, surface=False)).memory_mb


@pytest.mark.parametrize("name", MEASURED)
def test_measured_runs_lie_within_the_doubt(name):
    counts, seconds, megabytes = MEASURED[name]
    told = cost_of(counts)
    assert told.processor_low_s <= seconds <= told.processor_high_s
    assert told.memory_low_mb <= megabytes <= told.memory_high_mb


@pytest.mark.parametrize("name", ["county", "county_5m", "county_20m", "hills"])
def test_memory_told_is_a_bound_and_a_close_one(name):
    counts, _, megabytes = MEASURED[name]
    told = cost_of(counts)
    assert megabytes <= told.memory_mb <= 1.12 * megabytes
    assert told.memory_high_mb <= 1.45 * megabytes


@pytest.fixture(scope="module")
def mission(tmp_path_factory):
    return write_mission(tmp_path_factory.mktemp("cost") / "m")


def ended(capsys, *arguments):
    code = cli.run(lambda: cli.app(args=[*map(str, arguments), "--json", "--quiet"], standalone_mode=False))
    return code, capsys.readouterr()


def test_check_tells_what_a_plan_takes(mission, capsys):
    code, said = ended(capsys, "check", mission)
    told = json.loads(said.out)["estimate"]
    assert code == 0
    assert 0 < told["processor_low_s"] < told["processor_s"] < told["processor_high_s"]
    assert told["counts"]["cells"] > 10_000
    assert told["fits"] is True
    assert "A plan takes about" in said.err


@pytest.mark.parametrize(("free_mb", "words"), [(1.0, "cells of"), (300.0, "A plan of this mission needs about")])
def test_what_does_not_fit_is_refused_before_it_is_tried(mission, capsys, monkeypatch, tmp_path, free_mb, words):
    monkeypatch.setattr(memory, "available_mb", lambda: free_mb)
    monkeypatch.setattr(cost, "available_mb", lambda: free_mb)
    for command in (["check", mission], ["plan", mission, "--out", tmp_path / "out"]):
        code, said = ended(capsys, *command)
        assert code == 2
        assert words in said.err
        assert "Set search." in said.err
        assert "mission.toml" in said.err
    assert not (tmp_path / "out").exists()


def test_what_may_not_fit_is_told_with_what_to_make_coarser():
    told = cost_of(MEASURED["county"][0])
    tight, wide, unknown = (Fit(told, free) for free in (told.memory_mb, 10 * told.memory_mb, None))
    assert "it may not fit. Close other programs, or take a larger search." in cost_words(tight, METRIC)
    assert "GB are free." in cost_words(wide, METRIC)
    assert "not known" in cost_words(unknown, METRIC)
    assert tight.tight
    assert not wide.tight
    assert not unknown.tight


def test_what_the_computer_has_is_the_least_of_what_limits_it(tmp_path, monkeypatch):
    (tmp_path / "meminfo").write_text("MemTotal: 9000000 kB\nMemAvailable:    2000000 kB\n", "ascii")
    monkeypatch.setattr(memory, "_MEMINFO", tmp_path / "meminfo")
    monkeypatch.setattr(memory, "_GROUP", tmp_path)
    monkeypatch.setattr(memory, "_of_the_process", lambda: None)
    monkeypatch.setattr(memory.sys, "platform", "linux")
    assert memory.available_mb() == 2048.0
    (tmp_path / "memory.max").write_text("1000000000\n", "ascii")
    (tmp_path / "memory.current").write_text("700000000\n", "ascii")
    (tmp_path / "memory.stat").write_text("anon 5\ninactive_file 100000000\n", "ascii")
    assert memory.available_mb() == 400.0
    with pytest.raises(InputError, match=r"search\.cell_size_m to \d+ or more"):
        memory.check_room(40_000_000, 10.0)
