"""Driving time of the rig: class speed, less for surface, grade, bends and weather; a posted speed caps it.

All factors are common practice for towing, no source; they are round numbers that a dispatcher can follow.
"""

from __future__ import annotations

import numpy as np

from siteplanner.mission import Speeds
from siteplanner.roads.attributes import CLASSES
from siteplanner.roads.tags import RoadTags

LINK_FACTOR = 0.6  # ramps, times the speed of their road
SLOW_CLASS_KMH = {"living_street": 10.0}
ROUNDABOUT_KMH = 25.0
SIDE_ACCELERATION_M_S2 = 1.5  # comfortable with a high load; v = sqrt(a R)
EASY_GRADE_PCT = 3.0  # no loss up to here
LOSS_PER_PERCENT = 0.06  # of the speed, for each percent beyond
LEAST_SPEED_KMH = 5.0  # walking pace: nothing that may be driven is slower


def line_speed_kmh(tags: RoadTags, speeds: Speeds) -> np.ndarray:
    """Speed of each line on the level and straight, km/h; NaN for lines not for vehicles."""
    table = {c: float(getattr(speeds, c)) for c in CLASSES}
    out = np.array([table.get(c, np.nan) for c in tags.road_class], float)
    out *= np.where([h.endswith("_link") for h in tags.highway], LINK_FACTOR, 1.0)
    for word, cap in SLOW_CLASS_KMH.items():
        out = np.where(tags.highway == word, np.minimum(out, cap), out)
    out = np.where(tags.roundabout, np.minimum(out, ROUNDABOUT_KMH), out)
    # a track's own speed is one for loose ground already
    out *= np.where((tags.unpaved == 1) & (tags.road_class != "track"), speeds.unpaved_factor, 1.0)
    out *= speeds.weather_factor  # with all that slows this drive everywhere: `planning.study.driving` folds it in
    return np.fmin(out, tags.maxspeed_kmh)


def grade_factor(grade_pct: np.ndarray) -> np.ndarray:
    """Share of the speed kept on a grade, up or down (arrays): 1 up to 3 %, 0.7 at 8 %, never below 0.3.

    Unknown grade keeps the speed.
    """
    steep = np.maximum(np.abs(np.nan_to_num(grade_pct)) - EASY_GRADE_PCT, 0.0)
    return np.maximum(1.0 - LOSS_PER_PERCENT * steep, 0.3)


def point_speed_kmh(level_kmh: np.ndarray, grade_pct: np.ndarray, radius_m: np.ndarray) -> np.ndarray:
    """Speed at points of a road, km/h: the grade's share of the level speed, capped by the bend."""
    bend_kmh = 3.6 * np.sqrt(SIDE_ACCELERATION_M_S2 * radius_m)
    return np.maximum(np.minimum(level_kmh * grade_factor(grade_pct), bend_kmh), np.minimum(level_kmh, LEAST_SPEED_KMH))
