"""The two samples, planned once each."""

import pytest

from siteplanner import load_mission, plan
from siteplanner.demo import sample_mission
from siteplanner.outputs.write import write_outputs


@pytest.fixture(scope="session")
def hills_plan():
    return plan(load_mission(sample_mission("real_hills")))


@pytest.fixture(scope="session")
def county_plan():
    return plan(load_mission(sample_mission("dunmarrow_county")))


@pytest.fixture(scope="session")
def county_folder(county_plan, tmp_path_factory):
    """Every output of the county, written once."""
    out = tmp_path_factory.mktemp("county") / "out"
    write_outputs(county_plan, out)
    return out
