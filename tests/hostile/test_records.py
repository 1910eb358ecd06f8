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
