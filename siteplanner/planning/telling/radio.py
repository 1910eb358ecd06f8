"""The drive as it is read over a radio: short sentences, every unit in words, nothing that a listener could mistake.

Distances in kilometres and miles, as far as an odometer and an ear can tell them apart; grid references and bearings
figure by figure. Names come from the road data as they are, and whoever shows them escapes them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from siteplanner.core.geodesy import whole_degrees_and_minutes
from siteplanner.data.grid_reference import grid_text
from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.spots.evaluation import Access
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.directions import alternative_words, move_words, too_far_words
from siteplanner.planning.telling.lifeline import hazards_beside_words, way_in_words, way_out_words
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.spelling import spelled_name, spelled_reference
from siteplanner.planning.telling.units import SPOKEN, Units
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.steps import Step


def radio_lines(
    spot: Spot,
    access: Access,
    told: Told,
    steps: tuple[Step, ...] | None = None,
    *,
    alternative: bool = False,
    units: Units = SPOKEN,
) -> tuple[str, ...]:
    """The drive in numbered lines, each to be read and read back by itself: head, one line a step, end.

    `steps`: of another way to the same spot (`alternative`); by default those of the drive.
    """
    route = told.alternative.route if alternative else access.route
    assert route is not None  # an alternative that does not exist is not read
    steps = told.steps if steps is None else steps
    low, likely, high = (s / 60 for s in (access.drive_low_s, access.drive_time_s, access.drive_high_s))
    way = "Other way" if alternative else "Drive"
    head = f"{way} to trailer site {spelled_name(spot.name)}. {_distance(route.distance_m, units)} on the road"
    if alternative:
        head += f". {alternative_words(told.alternative, units)}"
    elif math.isfinite(low):
        head += f", about {_minutes(likely)}, between {low:.0f} and {_minutes(high)}."
    else:
        head += f", about {_minutes(likely)}."
    lines = [head]
    for number, step in enumerate(steps, 1):
        lines.append(f"{number}. {_step(step, units)}")
    lines.append(
        f"Destination, grid {spelled_reference(spot.grid_reference)}. I say again: {grid_text(spot.grid_reference)}. "
        f"In degrees and minutes: "
        f"{_spoken_minutes(spot.latitude, spot.longitude)}."
    )
    if not alternative:
        hangs = [way_in_words(access, units), way_out_words(access, units) if access.ways_out == 1 else ""]
        lines += filter(None, hangs)
        lines += hazards_beside_words(access, units)
        lines.append(turning_words(told.turning, units))
    return tuple(lines)


def _step(step: Step, units: Units) -> str:
    action = move_words(step.move, units)
    if step.kind == "arrive":
        text = f"After {_distance(step.running_m, units)} in all, {action}."
        beyond = too_far_words(step.beyond, units)
        return f"{text} {beyond}." if beyond else text
    text = f"{units.roughly(step.past_m)} past {step.past}, {action}" if step.past else action
    text = f"{text[:1].upper()}{text[1:]}. Drive on {_distance(step.distance_m, units)}."
    return " ".join([text, *_warnings(step.hazards, units)])


def _warnings(hazards: Iterable[HazardAhead], units: Units) -> list[str]:
    """One sentence a hazard that can hurt; the same one again is counted, not repeated."""
    told: dict[str, list[HazardAhead]] = {}
    for hazard in hazards:
        if hazard.severity != "note":
            told.setdefault(ahead_words(hazard, units), []).append(hazard)
    out = []
    for text, group in told.items():
        at = _distance(group[0].running_m, units)
        times = f" at {len(group)} places, the first" if len(group) > 1 else ""
        length = group[0].length_m
        stretch = f", over {units.roughly(length)}" if length > 0 and len(group) == 1 else ""
        out.append(f"{signal_word(group[0].severity).capitalize()}{times} at {at}: {text}{stretch}.")
    return out


def _distance(metres: float, units: Units) -> str:
    """`2.4 kilometres or 1.5 miles`; short ones to ten metres, an ear needs no finer."""
    return units.roughly(metres) if metres < 995 else units.distance(metres)


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


def part_head(number: int, parts: int) -> str:
    """What a part of a drive that needs several messages begins with."""
    return "Radio:" if parts == 1 else f"Radio, part {number} of {parts}:"
