"""The drive as it is read over a radio: short sentences, every unit in words, nothing that a listener could mistake.

Distances in kilometres and miles, as far as an odometer and an ear can tell them apart; grid references and bearings
figure by figure. Names come from the road data as they are, and whoever shows them escapes them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from siteplanner.core.constants import MILE_M
from siteplanner.core.geodesy import whole_degrees_and_minutes
from siteplanner.data.grid_reference import grid_text
from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.spots.evaluation import Access
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.roads.directions import Step
from siteplanner.roads.hazards_ahead import HazardAhead

GRAVE = ("caution", "warning")  # notes stay on paper: a radio message tells what can hurt
_UNITS = {
    "m": "metres", "km": "kilometres", "t": "tonnes", "kg": "kilograms", "kV": "kilovolts", "%": "percent",
    "deg": "degrees", "min": "minutes", "km/h": "kilometres an hour",
}  # fmt: skip
_FIGURE = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) (km/h|km|kg|kV|min|deg|m|t|%)(?![\w/])")
_ONE = {
    "metres": "metre",
    "kilometres": "kilometre",
    "tonnes": "tonne",
    "degrees": "degree",
    "minutes": "minute",
    "kilograms": "kilogram",
    "kilovolts": "kilovolt",
}


def radio_lines(
    spot: Spot, access: Access, told: Told, steps: tuple[Step, ...] | None = None, *, alternative: bool = False
) -> tuple[str, ...]:
    """The drive in numbered lines, each to be read and read back by itself: head, one line a step, end.

    `steps`: of another way to the same spot (`alternative`); by default those of the drive.
    """
    route = told.alternative.route if alternative else access.route
    assert route is not None  # an alternative that does not exist is not read
    steps = told.steps if steps is None else steps
    low, likely, high = (s / 60 for s in (access.drive_low_s, access.drive_time_s, access.drive_high_s))
    way = "Other way" if alternative else "Drive"
    head = f"{way} to spot {spot.name}. {_distance(route.distance_m)} on the road"
    if alternative:
        head += f". {spoken(told.alternative.sentence)}"
    elif math.isfinite(low):
        head += f", about {_minutes(likely)}, between {low:.0f} and {_minutes(high)}."
    else:
        head += f", about {_minutes(likely)}."
    lines = [head]
    for number, step in enumerate(steps, 1):
        lines.append(f"{number}. {_step(step)}")
    lines.append(
        f"Destination, grid {grid_text(spot.grid_reference)}. In degrees and minutes: "
        f"{_spoken_minutes(spot.latitude, spot.longitude)}."
    )
    if not alternative:
        if access.ways_out == 1:
            lines.append(f"One way in and out. {spoken(one_way_words(told))}".strip())
        lines.append(spoken(turning_words(told.turning)))
    return tuple(lines)


def one_way_words(told: Told) -> str:
    """Which road sections have no way round; empty where there are none."""
    if not told.cuts:
        return ""
    named = [f"{cut.name}, {cut.length_m / 1000:.1f} km" for cut in told.cuts[:3]]
    more = f", and {len(told.cuts) - 3} more" if len(told.cuts) > 3 else ""
    return f"No way round if this is lost: {'; '.join(named)}{more}."


def spoken(text: str) -> str:
    """A written sentence with the units behind its figures in words: `grade 12 % over 50 m` -> `12 percent ...`."""

    def unit(match: re.Match[str]) -> str:
        word = _UNITS[match[2]]
        return f"{match[1]} {_ONE.get(word, word) if match[1] == '1' else word}"

    return _FIGURE.sub(unit, text)


def _step(step: Step) -> str:
    action = step.action
    if step.kind == "arrive":
        text = f"After {_distance(step.running_m)} in all, {action[0].lower()}{action[1:]}."
        return spoken(f"{text} {step.too_far}.") if step.too_far else spoken(text)
    text = f"{action}."
    if step.past:
        text = f"{_short(step.past_m)} past {step.past}, {action[0].lower()}{action[1:]}."
    text += f" Drive on {_distance(step.distance_m)}."
    return " ".join([spoken(text), *_warnings(step.hazards)])


def _warnings(hazards: Iterable[HazardAhead]) -> list[str]:
    """One sentence a hazard that can hurt; the same one again is counted, not repeated."""
    told: dict[str, list[HazardAhead]] = {}
    for hazard in hazards:
        if hazard.severity in GRAVE:
            told.setdefault(ahead_words(hazard), []).append(hazard)
    out = []
    for text, group in told.items():
        at = _distance(group[0].running_m)
        times = f", {len(group)} times, first" if len(group) > 1 else ""
        stretch = f", over {_short(group[0].length_m)}" if group[0].length_m > 0 and len(group) == 1 else ""
        out.append(f"Watch out{times} at {at}: {spoken(text).replace(': ', ', ')}{stretch}.")
    return out


def _distance(metres: float) -> str:
    """`2.4 kilometres or 1.5 miles`; below 1 km metres and feet."""
    if metres < 995:
        return _short(metres)
    km, miles = metres / 1000, metres / MILE_M
    return f"{km:.1f} kilometres or {miles:.1f} miles"


def _short(metres: float) -> str:
    """`300 metres`, to 10; an ear needs no finer."""
    tens = max(10, round(metres / 10) * 10)
    return f"{tens} metres" if tens < 1000 else f"{tens / 1000:.1f} kilometres"


def _minutes(minutes: float) -> str:
    whole = max(1, round(minutes))
    return "1 minute" if whole == 1 else f"{whole} minutes"


def _spoken_minutes(latitude: float, longitude: float) -> str:
    """`44 degrees 38.537 minutes north, 113 degrees 2.017 minutes west`."""
    halves = []
    for value, plus, minus in ((latitude, "north", "south"), (longitude, "east", "west")):
        degrees, minutes = whole_degrees_and_minutes(value)
        halves.append(f"{degrees} degrees {minutes:.3f} minutes {plus if value >= 0 else minus}")
    return ", ".join(halves)
