"""Times in words: what the range to first service assumes, the drive's light and weather, the set-up's minutes."""

from __future__ import annotations

from siteplanner.planning.site.timeline import DRIVE_HIGH, DRIVE_LOW, LEG_HIGH, LEG_LOW, Moments
from siteplanner.planning.study.driving import Driving
from siteplanner.planning.telling.units import METRIC, Units


def drive_method_words() -> str:
    """How the drive time and its range are worked out."""
    return (
        f"Likely: class speeds less surface, grade, bends, weather and dark; low and high: {DRIVE_LOW:g} and "
        f"{DRIVE_HIGH:g} times that on the road, {LEG_LOW:g} and {LEG_HIGH:g} times the last leg at walking pace "
        "(common practice)."
    )


def range_words(moments: Moments) -> str:
    """The method and what it assumes, in two sentences."""
    alike = moments.parts_alike
    together = "parts independent" if alike == 0 else f"parts alike by {alike:g}: dark, rain, a tired crew slow all"
    return (
        f"PERT: each part a beta distribution, low and high its ends, mean (low + 4 x likely + high) / 6; {together}. "
        "The range holds about 9 cases in 10 where that is so; likely: the most likely time, mean: the average."
    )


def driving_words(found: Driving) -> str:
    """`in the dark, wet: towing speeds times 0.81`, as a clause."""
    light = {True: "in the dark", False: "in daylight", None: "hour not given, daylight assumed"}[found.dark]
    slower = "" if found.factor == 1 else f" times {found.factor:.2g}"
    return f"Drive {light}, roads {found.weather}: towing speeds{slower}, no traffic"


def set_up_words(two_min: float, one_min: float, search_min: tuple[float, float], units: Units = METRIC) -> str:
    """The steps' minutes from the parking brake on, with the search to first service, and when to stop and call.

    The times count the search after the set-up, so both add up to the limit that is told.
    """
    low, high = search_min

    def minutes(value: float) -> str:
        return units.figure(value, "min")

    two, one = two_min + high, one_min + high
    return (
        f"Minutes count from the parking brake on: {minutes(two_min)} for two, {minutes(one_min)} for one; a search "
        f"that ends after the last step takes {low:g} to {minutes(high)} more, so on air after {two_min + low:.0f} to "
        f"{minutes(two)} for two, {one_min + low:.0f} to {one:.0f} for one. Not on air after {minutes(two)} (two) or "
        f"{minutes(one)} (one): stop, call, think."
    )
