"""The two samples, planned once each."""

import pytest

from siteplanner import load_mission, plan
from siteplanner.demo import sample_mission


@pytest.fixture(scope="session")
def hills_plan():
    return plan(load_mission(sample_mission("real_hills")))


@pytest.fixture(scope="session")
def county_plan():
    return plan(load_mission(sample_mission("dunmarrow_county")))
