"""Light and weather of the drive: by the hour of dispatch, by what the mission says."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import numpy as np
import pytest

from siteplanner import load_mission
from siteplanner.mission import mission_from_dict
from siteplanner.planning.study.driving import as_driven, speeds_driven
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.telling.times import driving_words, set_up_words
from tests.planning.conftest import write_mission

ZONE = timezone(timedelta(hours=-7))


def mission(hour=None, speeds=None, **times):
    if hour is not None:
        times["dispatch"] = datetime(2015, 8, 2, 0, 0, tzinfo=ZONE) + timedelta(hours=hour)
    return mission_from_dict(
        {
            "layers": {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson"},
            "staging": {"latitude": 39, "longitude": -105},
            "speeds": speeds or {},
            "times": times,
        }
    )


# 39 N 105 W, 2 August 2015: sunrise 05:01, sunset 19:10 (USNO); civil twilight half an hour more. 15 min of hitching up
@pytest.mark.parametrize(
    ("hour", "dark"), [(12, False), (23, True), (3.5, True), (4.6, False), (18.0, False), (18.6, True)]
)
def test_the_drive_is_dark_by_the_hour_of_dispatch(hour, dark):
    found = as_driven(mission(hour))
    assert (found.dark, found.dark_from) == (dark, "dispatch")
    assert found.factor == (0.9 if dark else 1.0)


def test_nobody_said_when_is_told():
    found = as_driven(mission())
    assert (found.dark, found.factor) == (None, 1.0)
    assert "hour not given, daylight assumed" in driving_words(found)


def test_weather_and_light_together():
    slow = {"wet_factor": 0.8, "night_factor": 0.5, "weather_factor": 0.9}
    found = as_driven(mission(23, slow, weather="wet", drive_in_dark="by_dispatch"))
    assert found.factor == pytest.approx(0.36)
    assert driving_words(found) == "Drive in the dark, roads wet: towing speeds times 0.36, no traffic"
    assert as_driven(mission(12, weather="snow")).factor == pytest.approx(0.7)
    assert as_driven(mission(23, drive_in_dark="no")).factor == 1.0
    assert as_driven(mission(drive_in_dark="yes")).dark is True


def test_a_night_factor_of_a_former_mission_holds_whatever_the_hour():
    old = mission(12, {"night_factor": 0.8})
    assert old.times.drive_in_dark == "yes"
    assert as_driven(old).factor == pytest.approx(0.8)
    never_said = mission(12, {"night_factor": 1.0})  # the former default, as records hold it
    assert never_said.times.drive_in_dark == "by_dispatch"
    assert mission_from_dict(old.parameters()).times == old.times


STILL = {"speeds": "turn_s = 0\nshunt_s = [0, 0, 0]"}


def test_roads_are_driven_slower_in_the_dark(tmp_path):
    noon, night = (
        # without the seconds of turns, which are the same by night
        load_mission(write_mission(tmp_path / hour, times=f"dispatch = 2026-06-03T{hour}:00:00-06:00", **STILL))
        for hour in ("12", "00")
    )
    assert speeds_driven(noon).weather_factor == 1.0
    assert speeds_driven(night).weather_factor == pytest.approx(0.9)
    day, dark = (load_study(made, Stages(None)).trees[0].node_s for made in (noon, night))
    known = np.isfinite(day) & (day > 0)
    assert known.sum() > 2
    assert dark[known] == pytest.approx(day[known] / 0.9, rel=1e-6)


def test_set_up_minutes_add_up_with_the_limit_that_is_told():
    words = set_up_words(45, 60, (3, 15))
    assert "Minutes count from the parking brake on: 45 min for two, 60 min for one" in words
    assert "on air after 48 to 60 min for two, 63 to 75 for one" in words
    assert "Not on air after 60 min (two) or 75 min (one): stop, call, think." in words
