"""Who is served: by polygon, people and points, told as what it is."""

from __future__ import annotations

import json
import math

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box

from siteplanner import load_mission, plan
from siteplanner.core.link import LinkParameters
from siteplanner.errors import InputError
from siteplanner.mission import Radio
from siteplanner.mission.links import sector_pattern
from siteplanner.outputs.write import json_text
from siteplanner.planning.spots.evaluation import Coverage
from siteplanner.planning.spots.served import service_of
from siteplanner.planning.study.area import area_cells
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.service import (
    handsets_sentence,
    people_words,
    seam_sentence,
    served_words,
    service_sentence,
)
from tests.planning.conftest import CRS, at, write_mission
from tests.planning.open_ground import study_on

GRID = study_on(np.full((40, 40), 100.0)).elevation
LEFT, BOTTOM, RIGHT, TOP = GRID.bounds
HALF = (LEFT + RIGHT) / 2


def area(**columns):
    shapes = [box(LEFT, BOTTOM, HALF, TOP), box(HALF, BOTTOM, RIGHT, TOP)]
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=GRID.crs)


def served(frame, west=1.0, east=0.5, radio=None, bearings=(0.0, 180.0)):
    """Service of a plain whose western half is served by `west`, the eastern by `east`."""
    cells = area_cells(frame, GRID, None)
    probability = np.where(cells.cols < 20, west, east)
    bearing = np.degrees(np.arctan2(cells.cols - 19.5, 19.5 - cells.rows)) % 360
    radio = radio or Radio()
    return service_of(
        radio,
        LinkParameters(),
        sector_pattern(radio),
        cells,
        probability,
        bearing,
        np.zeros(len(bearing)),
        np.array(bearings),
    )


def test_weights_people_and_area_are_three_shares():
    """Weights 3 to 1, people 100 and 300, equal areas: 0.875, 0.625 of the people, 0.75."""
    found = served(area(name=["West", "East"], weight=[3.0, 1.0], people=[100, 300]))
    assert found.weighted_share == pytest.approx(0.875)
    assert found.area_share == pytest.approx(0.75)
    assert (found.people, found.people_served) == (400, pytest.approx(250))
    assert [(p.name, p.share, p.people_served) for p in found.polygons] == [
        ("West", pytest.approx(1.0), pytest.approx(100)),
        ("East", pytest.approx(0.5), pytest.approx(150)),
    ]
    assert found.polygons[0].area_km2 == pytest.approx(0.08)  # 200 m by 400 m


def test_people_weigh_where_no_weight_is_given():
    found = served(area(people=[100, 300]))
    assert (found.weighted_by, found.weighted_share) == ("people", pytest.approx(0.625))
    assert served(area()).weighted_by == "area"


def test_people_that_are_not_all_known_are_not_added_up():
    found = served(area(people=[100, None]))
    assert (found.people, found.people_served, found.weighted_by) == (None, None, "area")
    assert [p.people for p in found.polygons] == [100, None]
    assert people_words(found) == ""


@pytest.mark.parametrize("people", [[-1, 5], ["many", 5]])
def test_people_that_are_no_number_are_refused(people):
    with pytest.raises(InputError, match="people of the incident area") as caught:
        area_cells(area(people=people), GRID, None)
    assert caught.value.field == "people"


def test_the_words_say_of_what_the_share_is():
    found = served(area(name=["West", "East"], weight=[3.0, 1.0], people=[100, 300]))
    coverage = Coverage(found.weighted_share, 0.1, 8.0, (0.0,), (), (), service=found)
    assert served_words(coverage) == "88 % of the weighted area (about 250 of 400 people)"
    assert service_sentence(coverage) == (
        "Expected service, data (1 Mbit/s down, 256 kbit/s up), outdoors: 88 % of the weighted area, 75 % of the area "
        "as it lies, about 250 of 400 people; the downlink decides, the uplink has 5.5 dB more."
    )


def test_handsets_meet_people():
    """128 lines at 1 % blocking carry 110.6 erlangs: for 250 people 60 x 110.6 / 250 = 26.5 minutes an hour each."""
    found = served(area(people=[100, 300]))
    assert found.talk_erlangs == pytest.approx(110.57, abs=0.01)
    assert "128 handsets at once, for about 250 people served; used for speech alone, each may talk about 27 min" in (
        handsets_sentence(found)
    )
    assert handsets_sentence(served(area())) == "The cell carries 128 handsets at once."


def test_between_two_sectors_they_disturb_each_other():
    """Two sectors back to back: the farther one stands at its floor of 20 dB, so they are 10 dB apart where
    12 (b / 65)^2 = 10, 59.34 degrees off a bearing. Within 30.66 degrees of the seam tan(30.66) / 2 of a square."""
    radio = Radio(vertical_beamwidth_deg=180)
    found = served(area(), west=1.0, east=1.0, radio=radio)
    assert found.seam_share == pytest.approx(math.tan(math.radians(30.66)) / 2, abs=0.01)
    assert "one carrier: 30 %" in seam_sentence(found)
    alone = served(area(), radio=Radio(sectors_share_carrier=False))
    assert (alone.seam_share, seam_sentence(alone)) == (None, "")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("served")
    path = write_mission(folder, radio='handset_place = "vehicle"\nservice = "voice"')
    shapes = [box(*at(1300, 1200), *at(1800, 1700)), box(*at(1800, 1200), *at(2300, 1700))]
    gpd.GeoDataFrame({"name": ["Camp", "Farm"], "people": [40, 60]}, geometry=shapes, crs=CRS).to_file(
        folder / "area.gpkg", driver="GPKG"
    )
    return plan(load_mission(path))


def test_plan_json_holds_it(made):
    record = json.loads(json_text(plan_record(made)))
    for spot in record["spots"]:
        service = spot["service"]
        assert (service["kind"], service["place"], service["weighted_by"]) == ("voice", "vehicle", "people")
        assert service["weighted_share"] == pytest.approx(spot["coverage"]["share"], abs=1e-4)
        assert service["people_served"] == pytest.approx(100 * spot["coverage"]["share"], abs=0.01)
        assert [p["name"] for p in service["polygons"]] == ["Camp", "Farm"]
        (point,) = service["points"]
        assert point["served"] == (spot["coverage"]["must_serve"][0]["probability"] >= 0.5)
    assert "of the area weighted by people (about" in record["recommendation"]
    assert "voice (24 kbit/s down, 24 kbit/s up), in a vehicle" in record["spots"][0]["service"]["sentences"][0]


def test_a_place_behind_walls_serves_fewer(made):
    import dataclasses

    from siteplanner.planning.spots.service import predict_coverage

    spot = made.best.spot
    out = []
    for place in ("outdoors", "vehicle", "building_traditional", "building_efficient"):
        radio = made.mission.radio.model_copy(update={"handset_place": place, "tx_power_dbm": -10.0})
        inputs = dataclasses.replace(made.judge.service, radio=radio)
        out.append(predict_coverage(inputs, spot, spot.cell).share)
    assert out == sorted(out, reverse=True)
    assert out[0] > out[-1] + 0.05
