"""The drive as it is told and recorded, on the valley made by hand; and room to turn on ground made for it."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from geopandas import GeoDataFrame
from pyproj import Geod
from shapely.geometry import LineString

from siteplanner import explain
from siteplanner.outputs.write import json_text
from siteplanner.planning.site.timeline import three_points
from siteplanner.planning.spots.drive import lines_above
from siteplanner.planning.spots.lifelines import sections_of
from siteplanner.planning.telling.lifeline import way_in_words
from siteplanner.planning.telling.radio import radio_lines
from siteplanner.planning.telling.record import evaluation_record
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.planning.telling.units import SPOKEN
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.lifeline import Lifeline, Thread, lifeline
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.planning.conftest import at
from tests.roads.drawn import EAST, FLAT, NORTH, network, road

GEOD = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def lay_by(valley_plan):
    return next(r for r in valley_plan.spots if r.spot.name == "lay-by")


@pytest.fixture(scope="module")
def record(lay_by):
    return json.loads(json_text(evaluation_record(lay_by.evaluation)))["access"]


def test_every_listed_spot_is_told_and_others_are_not(valley_plan):
    assert all(r.evaluation.access.told is not None for r in valley_plan.spots)
    listed = {(r.spot.x, r.spot.y) for r in valley_plan.spots}
    rest = [r for r in valley_plan.judged if (r.spot.x, r.spot.y) not in listed]
    assert rest
    assert all(r.evaluation.access.told is None for r in rest)


def test_explained_points_are_told(valley_plan):
    lon, lat = valley_plan.scene.elevation.lonlat(*at(1705, 935))
    found = explain(valley_plan, float(lat), float(lon))
    assert found.evaluation.access.told.steps[-1].kind == "arrive"


def test_the_drive_s_range_is_the_timeline_s(valley_plan, lay_by, record):
    parts = {
        name: points
        for name, *points in three_points(
            valley_plan.mission, lay_by.evaluation.access.route.time_s, lay_by.evaluation.access.last_leg_s
        )
    }
    low, likely, high = (60 * (a + b) for a, b in zip(parts["Drive"], parts["Last leg"], strict=True))
    told = record["drive_time_low_s"], record["drive_time_s"], record["drive_time_high_s"]
    assert told == pytest.approx((low, likely, high), abs=0.05)
    assert low < likely < high
    assert "0.85 and 1.4 times" in record["drive_time_method"]


def test_steps_in_the_record_lie_on_the_drive_and_run_up_to_its_length(record, lay_by):
    steps = record["directions"]
    assert steps[0]["text"].startswith("Leave the staging point on Valley Road, toward the east")
    assert steps[-1]["running_m"] == pytest.approx(record["drive_distance_m"], abs=0.1)
    assert sum(s["distance_m"] for s in steps) == pytest.approx(record["drive_distance_m"], abs=1)
    start, end = steps[0], steps[-1]
    # Valley Road is straight: the distance on the ellipsoid is the drive's, but for the scale of UTM (0.9996)
    metres = GEOD.inv(start["longitude"], start["latitude"], end["longitude"], end["latitude"])[2]
    assert metres == pytest.approx(record["drive_distance_m"] / 0.9996, abs=1)
    assert start["bearing_true_deg"] == pytest.approx(90, abs=0.3)
    assert end["bearing_true_deg"] is None  # JSON has no NaN
    assert end["too_far"] == "Too far: Low Lane, 300 m beyond the stop"


def test_profile_and_bands_are_those_of_the_ground(record):
    profile = record["profile"]
    assert profile["distance_m"][-1] == pytest.approx(record["drive_distance_m"], abs=0.1)
    assert np.allclose(profile["elevation_m"], 1509, atol=0.3)  # the plane at y = 900
    assert sum(b["length_m"] for b in record["grade_bands"]) == pytest.approx(record["drive_distance_m"], abs=1)
    assert sum(b["length_m"] for b in record["grade_bands"] if b["from_pct"] == 0) == pytest.approx(
        record["drive_distance_m"], abs=1
    )


def test_the_last_turning_place_is_the_junction_before(record):
    turning = record["turning"]
    assert turning["place"]["kind"] == "junction"
    assert turning["place"]["name"] == "Bench Road"
    assert turning["place"]["before_the_stop_m"] == pytest.approx(200, abs=5)
    assert turning["at_spot"] is True  # a plane of 1 %
    assert turning["back_up_m"] == 0
    assert "Room to turn at the spot" in turning["sentence"]


def test_without_another_road_there_is_no_alternative(record):
    assert record["alternative"] == {
        "exists": False,
        "sentence": "No alternative: the rig has no other way from the start to the spot.",
    }


def test_one_way_in_names_the_sections_with_their_ends(valley_plan, lay_by):
    """A ring road that leaves the data at four corners; off it a lane of two segments, then another to the spot."""
    net = network(
        road((0, 0), (2000, 0)),
        road((2000, 0), (2000, 2000)),
        road((2000, 2000), (0, 2000)),
        road((0, 2000), (0, 0)),
        *(
            road((x, y), (x + dx, y + dy))
            for x, y, dx, dy in ((0, 0, -400, -400), (2000, 0, 400, -400), (2000, 2000, 400, 400), (0, 2000, -400, 400))
        ),
        road((1000, 0), (1000, 300), name="Mill Lane"),
        road((1000, 300), (1000, 500), name="Mill Lane"),
        road((1000, 300), (1100, 300), name="Yard"),
        road((1000, 500), (1600, 500), name="Hill Lane"),
    )
    tree = drive_tree(net, EAST + 300, NORTH)
    access = nearest_access(net, tree, EAST + 1400, NORTH + 500)
    found = lifeline(net, tree, access)
    assert found.staging.ways == found.outside.ways == 1
    cuts = sections_of(net, route_to(net, tree, access), found.staging, FLAT)
    # only the 400 m of Hill Lane between the stop and the junction
    assert [(c.name, round(c.length_m)) for c in cuts] == [("Hill Lane", 400), ("Mill Lane", 500)]
    assert [c.running_m for c in cuts] == pytest.approx([1200, 700])
    near, far = cuts[1].start, cuts[1].end
    assert (near.x - EAST, near.y - NORTH, far.x - EAST, far.y - NORTH) == pytest.approx((1000, 500, 1000, 0))
    # zone 10 on its central meridian: 123 W; 1,000 m east at 45 N are 0.0127 degrees
    assert far.longitude == pytest.approx(-123 + 1000 / 0.9996 / 78_846.84, abs=1e-4)
    assert (cuts[0].start.x - EAST, cuts[0].end.x - EAST) == pytest.approx((1400, 1000))
    assert cuts[1].line.length == pytest.approx(500)
    told = replace(lay_by.evaluation.access.told, staging_cuts=cuts)
    access = replace(lay_by.evaluation.access, told=told, lifeline=found)
    assert way_in_words(access).endswith("If lost, cut off: Mill Lane, 0.5 km; Hill Lane, 400 m.")
    text = " ".join(radio_lines(lay_by.spot, access, told))
    assert "One way in from staging. 0.9 kilometers or 0.6 miles of the drive's 1.5 kilometers or 0.9 miles" in text
    assert "Hill Lane, 400 meters or 1,312 feet." in text
    two = replace(access, lifeline=Lifeline(Thread(2, ()), None))
    assert "One way in" not in " ".join(radio_lines(lay_by.spot, two, told))


def test_a_drive_under_a_line_says_so(lay_by):
    route = lay_by.evaluation.access.route  # from (200, 900) to (1700, 900)
    lines = GeoDataFrame(
        {"name": ["feeder", None]},
        crs="EPSG:32612",
        geometry=[
            LineString([at(1000, 0), at(1000, 1000), at(600, 1000), at(600, 0)]),
            LineString([at(0, 0), at(0, 9)]),
        ],
    )
    under = lines_above(route, {"power_lines": lines}, 4.3)
    assert sorted(h.running_m for h in under) == pytest.approx([400, 800], abs=0.5)
    assert {ahead_words(h) for h in under} == {"overhead line feeder: look up before you drive under"}
    assert lines_above(route, {}, 4.3) == []
    # code height over roads is 15.5 ft (NESC Table 232-1): nothing that a load of less than 14 ft looks up for
    assert lines_above(route, {"power_lines": lines}, 3.35) == []
    low = lines.assign(height_m=4.0)  # stated to hang lower than the code wants
    assert [h.kind for h in lines_above(route, {"power_lines": low}, 3.35)] == ["overhead line"] * 2


# ---- words over the radio ----

ABBREVIATED = re.compile(r"\d ?(?:m|km|t|kg|kV|min|deg|%|ft|mi)\b|[°′%]|\b(?:N|S|E|W|NE|NW|SE|SW)\b")


def test_nothing_on_the_radio_is_an_abbreviation(valley_plan):
    count = 0
    for ranked in valley_plan.spots:
        access = ranked.evaluation.access
        for line in radio_lines(ranked.spot, access, access.told):
            count += 1
            words = line.replace(f"spot {ranked.spot.name}", "")
            assert not ABBREVIATED.search(words), line
            assert len(line) < 700
    assert count > 20


def test_radio_lines_say_the_way_in_full(lay_by):
    access = lay_by.evaluation.access
    lines = radio_lines(lay_by.spot, access, access.told)
    likely = round(access.drive_time_s / 60)
    start = "Drive to trailer site lay-by. 1.5 kilometers or 0.9 miles on the road"
    assert lines[0].startswith(f"{start}, about {likely} minute")
    assert lines[1].startswith("1. Leave the staging point on Valley Road, toward the east. Drive on 1.5 kilometers")
    (goal,) = [line for line in lines if line.startswith("Destination")]
    assert "In degrees and minutes: 44 degrees" in goal
    assert "west" in goal


def hazard(kind, **facts):
    return HazardAhead(kind=kind, severity="check", running_m=0.0, x=0.0, y=0.0, **facts)


@pytest.mark.parametrize(
    ("warned", "written", "said"),
    [
        (
            hazard("steep", value=-12.2, over_m=50.0),
            "steep descent: grade 12 % over 50 m",
            "steep descent, grade 12 percent over 50 meters",
        ),
        (
            hazard("bridge", posted=(("weight", 9.5, "t"),)),
            "bridge, posted weight 9.5 t",
            "bridge, posted weight 9.5 metric tons or 10.4 tons of 2,000 pounds",
        ),
        (
            hazard("under bridge", value=4.2),
            "passes under a bridge, posted height 4.2 m",
            "passes under a bridge, posted height 4.2 meters or 13.7 feet",
        ),
        (
            hazard("overhead line", what="Line 12 mine: A9 m"),
            "overhead line Line 12 mine: A9 m: look up before you drive under",
            "overhead line Line 12 mine: A9 m, look up before you drive under",
        ),
    ],
)
def test_what_is_read_over_a_radio_has_its_units_in_words_and_keeps_names(warned, written, said):
    assert ahead_words(warned) == written
    assert ahead_words(warned, SPOKEN) == (said.replace("50 meters", "50 meters or 164 feet"))
