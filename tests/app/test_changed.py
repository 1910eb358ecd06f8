"""What somebody types of a change becomes a changed mission; what cannot be meant is refused and nothing is lost."""

from __future__ import annotations

import json
from datetime import datetime

import geopandas as gpd
import pytest
from shapely.geometry import box

from siteplanner.app.changed import Changes, Wind, changed, wind_table
from siteplanner.app.session import Work
from siteplanner.app.staged_panel import period_lines, with_periods
from siteplanner.data.forecast import read_forecast
from siteplanner.errors import InputError
from siteplanner.mission import load_mission
from tests.planning.conftest import CRS, at, write_mission


@pytest.fixture(scope="module")
def valley(tmp_path_factory):
    return load_mission(write_mission(tmp_path_factory.mktemp("valley")))


@pytest.fixture
def work(valley):
    made = Work("token")
    made.draft, made.base = valley.draft(), valley.base
    made.draft["units"] = [{"name": "Unit 1"}, {"name": "Unit 2"}]
    return made


def when(text):
    return datetime.fromisoformat(f"2026-06-03T{text}-06:00")


def test_a_road_is_closed_beside_those_that_are(work):
    before = json.dumps(work.draft, default=str)
    one = changed(work, Changes(closed=("44.711476 N 110.982957 W", "Bridge <b>out</b>")))
    (name,) = one.layers.closures
    held = gpd.read_file(one.path(name))
    assert held.geometry.iloc[0].coords[0] == pytest.approx((-110.982957, 44.711476))
    assert held["name"].tolist() == ["Bridge <b>out</b>"]
    assert one.path(one.layers.elevation[0]).is_file()  # the layers are found from the work's own folder
    work.draft["layers"]["closures"] = [str(one.path(name))]
    two = changed(work, Changes(closed=("44.71150, -110.98000", "")))
    assert len(two.layers.closures) == 2
    work.draft["layers"]["closures"] = []
    assert json.dumps(work.draft, default=str) == json.dumps(json.loads(before) | {"layers": work.draft["layers"]})


def test_wind_is_a_forecast(work):
    made = changed(work, Changes(wind=Wind(when("14:00"), when("17:30"), 30.0, 45.0, "mph")))
    assert made.layers.wind_forecast_unit == "mph"
    forecast, _ = read_forecast(made.path(made.layers.wind_forecast), "mph")
    assert [t.isoformat()[11:16] for t in forecast.times] == ["14:00", "15:00", "16:00", "17:00", "17:30"]
    assert forecast.gust_m_s == pytest.approx((45 * 0.44704,) * 5)  # NIST SP 811, appendix B.8
    assert wind_table(Wind(when("14:00"), when("15:00"), 9.0, None, "m/s")).splitlines()[1].endswith(",9,")


def test_a_unit_is_lost(work):
    assert [u.name for u in changed(work, Changes(lost="Unit 2")).units] == ["Unit 1"]
    assert len(work.draft["units"]) == 2


def test_nothing_changed_is_the_mission_as_it_is(work, valley):
    made = changed(work, Changes())
    assert made.path(made.layers.roads) == valley.path(valley.layers.roads).resolve()


WRONG = {
    "no place": Changes(closed=("", "Bridge out")),
    "no sense": Changes(closed=("at the bridge", "")),
    "comma": Changes(closed=("44,71, -110,98", "")),
    "half a sign": Changes(closed=("44.7115 N 110.98", "")),
    "backward": Changes(wind=Wind(when("14:00"), when("13:00"), 5.0, None, "m/s")),
    "no time": Changes(wind=Wind(when("14:00"), when("14:00"), 5.0, None, "m/s")),
    "gust": Changes(wind=Wind(when("14:00"), when("15:00"), 9.0, 5.0, "m/s")),
    "no such unit": Changes(lost="Unit 3"),
    "empty area": Changes(area=("area.geojson", b"")),
    "empty forecast": Changes(forecast=("wind.csv", b"")),
}


@pytest.mark.parametrize("kind", WRONG)
def test_what_cannot_be_meant_is_refused(work, kind):
    before = json.dumps(work.draft, default=str)
    with pytest.raises(InputError) as told:
        changed(work, WRONG[kind])
    assert told.value.remedy
    assert json.dumps(work.draft, default=str) == before


def test_the_last_unit_stays(work):
    work.draft["units"] = work.draft["units"][:1]
    with pytest.raises(InputError, match="one unit"):
        changed(work, Changes(lost="Unit 1"))


def test_periods_are_lines(work):
    shape = gpd.GeoDataFrame(geometry=[box(*at(1400, 1200), *at(2000, 1600))], crs=CRS)
    shape.to_file(work.files / "night.geojson", driver="GeoJSON")
    lines = (
        "Day 1; 2026-06-03T06:00-06:00; 2026-06-03T18:00-06:00\n\n"
        "Night 1; 2026-06-03T18:00-06:00; 2026-06-04T06:00-06:00; night.geojson"
    )
    made = with_periods(work, lines)
    assert [p.name for p in made.periods] == ["Day 1", "Night 1"]
    assert [p.hours for p in made.periods] == [12.0, 12.0]
    assert made.path(made.periods[0].incident_area).name == "area.gpkg"
    assert made.path(made.periods[1].incident_area).is_file()
    assert period_lines(made.draft()).splitlines()[1].startswith("Night 1; 2026-06-03T18:00:00-06:00")
    for wrong in ("Day 1", "Day 1; tomorrow; later", "A; 2026-06-03T06:00-06:00; 2026-06-03T05:00-06:00"):
        with pytest.raises(InputError):
            with_periods(work, wrong)
