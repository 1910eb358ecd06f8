"""Constants stand in one file: their values against each other, and no copies elsewhere."""

from __future__ import annotations

import io
import tokenize
from pathlib import Path

import pytest

from siteplanner.core import constants
from siteplanner.core.constants import FOOT_M, KNOT_M_S, MILE_M, MPH_M_S, US_SURVEY_FOOT_M

PACKAGE = Path(__file__).parents[1] / "siteplanner"
VALUES = {
    value
    for name, value in vars(constants).items()
    if name.isupper() and name not in {"NAUTICAL_MILE_M", "MEDIAN_K_FACTOR"}  # 1852 and 4 / 3 may be something else
} | {298.257223563, 1.609344, 6371.0, 299.792458}


def test_units_agree_with_one_another() -> None:
    assert pytest.approx(5280 * FOOT_M, abs=1e-12) == MILE_M
    assert pytest.approx(MILE_M / 3600, abs=1e-15) == MPH_M_S
    assert pytest.approx(0.514444, abs=1e-6) == KNOT_M_S
    assert pytest.approx(2e-6 * FOOT_M, rel=1e-4) == US_SURVEY_FOOT_M - FOOT_M  # two parts in a million


def numbers(path: Path) -> set[float]:
    tokens = tokenize.generate_tokens(io.StringIO(path.read_text(encoding="utf-8")).readline)
    found = {t.string.replace("_", "") for t in tokens if t.type == tokenize.NUMBER}
    return {float(n) for n in found if n.replace(".", "").replace("e", "").replace("-", "").isdigit()}


def test_no_module_keeps_a_copy() -> None:
    own = PACKAGE / "core" / "constants.py"
    assert numbers(own) & VALUES, "the search finds them where they are"
    copies = {
        str(path.relative_to(PACKAGE)): sorted(numbers(path) & VALUES)
        for path in PACKAGE.rglob("*.py")
        if path != own and numbers(path) & VALUES
    }
    assert not copies
