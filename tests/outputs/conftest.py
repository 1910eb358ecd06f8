from __future__ import annotations

import pytest

from siteplanner.planning.plan.model import Plan
from tests.outputs.factory import HOSTILE, make_plan


@pytest.fixture(scope="session")
def plan() -> Plan:
    """The factory's plain plan; frozen, so that all tests may share it."""
    return make_plan()


@pytest.fixture(scope="session")
def hostile_plan() -> Plan:
    """The same plan with a hostile name wherever a file can bring one."""
    return make_plan(names=HOSTILE, mission_name="".join(HOSTILE))
