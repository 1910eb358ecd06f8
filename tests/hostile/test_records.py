"""Records of a plan that somebody damaged: refused in words that name the file."""

from __future__ import annotations

import pytest

from siteplanner.errors import InputError
from siteplanner.planning.plan.explain import explain_record

GROUND = {"steep_chance": 0.1}


@pytest.mark.parametrize(
    "spot",
    [
        {"score": "../x", "ground": GROUND},
        {"score": None, "ground": GROUND},
        {"score": True, "ground": GROUND},
        {"ground": GROUND},
        {"score": 1.0, "ground": 7},
        "../x",
        ["score"],
    ],
)
@pytest.mark.parametrize("key", ["spots", "judged"])
def test_a_spot_without_a_score_is_no_plans(spot, key):
    with pytest.raises(InputError, match="not a plan written by siteplanner") as found:
        explain_record({"spots": [], key: [spot]}, 44.7, -111.0, file="some/plan.json")
    assert found.value.file == "some/plan.json"
    assert found.value.remedy


def test_a_bad_byte_in_the_log_costs_its_line_and_not_the_log(tmp_path):
    """It may be the only trace of what somebody decided."""
    from siteplanner.mission.log import LOG, read_log
    from tests.hostile.papers import LOG as FOUR

    lines = FOUR.encode().splitlines(keepends=True)
    (tmp_path / LOG).write_bytes(b"".join([lines[0], lines[1].replace(b'"text"', b'"te\xff"'), *lines[2:]]))
    log = read_log(tmp_path)
    assert [line.number for line in log.damaged] == [2]
    assert [entry.text for _, entry in log.entries] == ["Entry 1", "Entry 3", "Entry 4"]
