"""Small files that ask for all memory or for ever: each is refused in words, or planned, within its limits."""

from __future__ import annotations

import resource

import pytest

from .shapes import CASES, limited, replaced

SMALL = {  # sizes for the suite; `python -m tests.hostile.shapes` runs the full ones
    "equal_roads": 20_000,
    "back_and_forth_roads": 2_000,
    "overlapping_hazards": 12_000,
    "zigzag_keep_out": 200_000,
}
PASSES = {"equal_roads", "back_and_forth_roads", "zigzag_keep_out", "false_count", "one_strip"}


@pytest.mark.parametrize("name", CASES)
def test_a_small_file_cannot_take_the_machine(name, tmp_path):
    folder = tmp_path / "m"
    folder.mkdir()
    size = [SMALL[name]] if name in SMALL else []
    mission = replaced(folder, CASES[name](folder, *size))
    done = limited("check", mission, "--json")
    assert "Traceback" not in done.stderr
    assert done.returncode == (0 if name in PASSES else 2), done.stderr[-500:]
    if name not in PASSES:
        assert "Remedy:" in done.stderr
        assert "odd." in done.stderr  # the file's own name
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss < 3 << 20  # kB
