"""In what light and weather the rig drives, and what speeds that leaves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

from siteplanner.mission import Mission, Speeds
from siteplanner.planning.study.sun import light_word, sun_elevations_deg

LOOKED_AHEAD_MIN = 60.0  # of driving: dark at the start, on the way or after this long counts as a drive in the dark


@dataclass(frozen=True)
class Driving:
    """`dark` None: nobody said when, so daylight is taken. `factor`: times every speed, all reasons together."""

    dark: bool | None
    dark_from: Literal["dispatch", "mission"]
    weather: Literal["dry", "wet", "snow"]
    factor: float


def as_driven(mission: Mission) -> Driving:
    """Light and weather of the drives of a mission.

    Dark: the sun is lower than civil twilight (6 deg below the horizon) at a staging point when the rig leaves it,
    likely hitch-up after the dispatch, or at any time in the hour that follows.
    """
    speeds, times = mission.speeds, mission.times
    dark: bool | None = times.drive_in_dark == "yes"
    if times.drive_in_dark == "by_dispatch":
        dark = None
        if times.dispatch is not None:
            leaving = times.dispatch + timedelta(minutes=mission.trailer.hitch_up_min[1])
            moments = [leaving + timedelta(minutes=m) for m in range(0, int(LOOKED_AHEAD_MIN) + 1, 10)]
            heights = [h for s in mission.starts for h in sun_elevations_deg(moments, s.latitude, s.longitude, 0.0)]
            dark = any(light_word(h) == "dark" for h in heights)
    wet = {"dry": 1.0, "wet": speeds.wet_factor, "snow": speeds.snow_factor}[times.weather]
    factor = speeds.weather_factor * wet * (speeds.night_factor if dark else 1.0)
    return Driving(dark, "dispatch" if times.drive_in_dark == "by_dispatch" else "mission", times.weather, factor)


def speeds_driven(mission: Mission) -> Speeds:
    """The mission's speeds with light and weather of the drive in one factor."""
    return mission.speeds.model_copy(update={"weather_factor": as_driven(mission).factor, "night_factor": 1.0})
