"""Small files that ask for all memory or for ever: each is refused in words, or planned, within its limits."""

from __future__ import annotations

import geopandas as gpd
import pytest
from shapely.geometry import Polygon

from siteplanner import load_mission
from siteplanner.data import child
from siteplanner.errors import InputError
from siteplanner.planning.study.load import load_study, read_area
from siteplanner.planning.study.progress import Stages
from tests.planning.conftest import CRS

from .shapes import CASES, MEMORY, SECONDS, replaced
from .started import Started

SMALL = {  # sizes for the suite; `python -m tests.hostile.shapes` runs the full ones
    "equal_roads": 20_000,
    "back_and_forth_roads": 2_000,
    "overlapping_hazards": 12_000,
    "zigzag_keep_out": 200_000,
}
PASSES = {"equal_roads", "back_and_forth_roads", "zigzag_keep_out", "false_count", "one_strip"}


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    running = Started(tmp_path_factory.mktemp("said"))
    yield running
    running.end()


@pytest.mark.parametrize("name", CASES)
def test_a_small_file_cannot_take_the_machine(name, started, tmp_path):
    folder = tmp_path / "m"
    folder.mkdir()
    size = [SMALL[name]] if name in SMALL else []
    mission = replaced(folder, CASES[name](folder, *size))
    done = started.limited("check", mission, "--json", memory=MEMORY, seconds=SECONDS)
    assert "Traceback" not in done.stderr
    assert done.returncode == (0 if name in PASSES else 2), done.stderr[-500:]
    if name not in PASSES:
        assert "Remedy:" in done.stderr
        assert "odd." in done.stderr  # the file's own name
    assert started.most_kb < 3 << 20


def test_an_area_that_touches_itself_stays_whole_in_the_mission_s_crs(tmp_path):
    """Valid in degrees, no longer valid in meters: cutting it to the elevation threw out of the geometry library."""
    mission = replaced(tmp_path / "m", 'incident_area = "odd.gpkg"')
    ring = [(502_300, 4_951_200), (501_300, 4_951_200), (501_300, 4_951_700), (0, 4_951_700), (502_300, 4_951_200)]
    gpd.GeoDataFrame({"name": ["area"]}, geometry=[Polygon(ring)], crs=CRS).to_file(mission.parent / "odd.gpkg")
    place = read_area(load_mission(mission)).value
    assert place.whole_area.is_valid
    assert place.area.geometry.is_valid.all()


def test_weights_without_end_are_refused(tmp_path):
    """Read as infinite, which no cell can weigh."""
    mission = replaced(tmp_path / "m", 'incident_area = "area.gpkg"')
    area = gpd.read_file(mission.parent / "area.gpkg").assign(weight="1e400")
    area.to_file(mission.parent / "area.gpkg", driver="GPKG")
    with pytest.raises(InputError, match="without end"):
        load_study(load_mission(mission), Stages())


def test_a_reader_that_meets_the_end_of_memory_and_lives_is_told_as_one_that_dies(tmp_path, monkeypatch):
    """netCDF answers with an error of its own there, now and then; whoever opened the file next took all memory."""
    mission = replaced(tmp_path / "m", 'incident_area = "area.gpkg"')
    child.check_opens(mission.parent / "dem.tif", "GTiff")
    monkeypatch.setattr(child, "MOST_HELD", 1000)
    child._opens.cache_clear()
    with pytest.raises(InputError, match="within the memory"):
        child.check_opens(mission.parent / "dem.tif", "GTiff")
    child._opens.cache_clear()
