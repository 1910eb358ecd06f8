"""What must be kept is never told shorter and what is there never longer, in any unit, sentence or table."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product

import pytest

from siteplanner.core.constants import FOOT_M, MILE_M
from siteplanner.errors import Finding
from siteplanner.mission import mission_from_dict
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.overhead_lines import line_need, mast_fall_m
from siteplanner.planning.spots.room import Room
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.overhead_lines import line_words, need_words, parts_words, wires_words
from siteplanner.planning.telling.room import room_words
from siteplanner.planning.telling.units import BOTH, METRIC, US, Units, kept, there

STOPS_M = (6.0, 8.0, 10.0, 12.0, 13.7, 15.0, 18.3, 21.0, 25.0)
VOLTAGES_KV = (13.0, 115.0, 345.0, 500.0, 750.0, None)  # a class of Table A each but the last, and not known
RADIO = Units("both", spoken=True)
READERS = (METRIC, US, BOTH, RADIO)
UNIT_M = {
    "m": 1.0,
    "meter": 1.0,
    "meters": 1.0,
    "ft": FOOT_M,
    "foot": FOOT_M,
    "feet": FOOT_M,
    "km": 1000.0,
    "mi": MILE_M,
}
UNIT_M |= {"kilometer": 1000.0, "kilometers": 1000.0, "mile": MILE_M, "miles": MILE_M}
FIGURE = re.compile(r"([\d,]+(?:\.\d+)?) (" + "|".join(sorted(UNIT_M, key=len, reverse=True)) + r")\b")
HAIR = 1e-6


def metres(text):
    return [float(figure.replace(",", "")) * UNIT_M[unit] for figure, unit in FIGURE.findall(text)]


def mission(stop):
    return mission_from_dict(
        {
            "layers": {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson"},
            "staging": {"latitude": 45, "longitude": -113},
            "trailer": {"mast_stops_m": [stop]},
        }
    )


def never_less(text, metres_kept):
    told = metres(text)
    assert told, text
    for value in told:
        assert metres_kept - HAIR <= value <= metres_kept + 1.0, (text, metres_kept)


def never_more(text, metres_there):
    told = metres(text)
    assert told, text
    for value in told:
        assert value <= metres_there + HAIR, (text, metres_there)


def between(text, start, end):
    return text[text.index(start) + len(start) : text.index(end)]


@pytest.mark.parametrize(("stop", "voltage"), product(STOPS_M, VOLTAGES_KV))
def test_overhead_lines_in_every_sentence(stop, voltage):
    made = mission(stop)
    need = line_need(made, voltage)
    line = replace(need, name="Feeder", distance_m=need.needed_m - 0.004)
    for units in READERS:
        short = line_words(line, units)
        never_more(between(short, "), ", " on the map"), line.distance_m)
        never_less(between(short, "on the map where ", " are needed"), line.needed_m)
        never_less(between(short, "on the ground ", " from the trailer's middle"), line.to_wire_m)
        never_less(wires_words(line, units), line.to_wire_m)
        parts = parts_words(line, units)
        never_less(between(parts, "clearance ", " by 29 CFR"), line.clearance_m)
        never_less(between(parts, "outer wires ", ", map and"), line.half_width_m)
        never_less(between(parts, "map and parking ", ", mast"), line.position_error_m)
        never_less(parts[parts.index("falls or tips ") :], line.reach_m)
        never_less(between(need_words(line, units), "On the map ", " are needed"), line.needed_m)
        breach = Breach("power_line", "", line.distance_m, line.rules_within_m, "m", about=(line,))
        out = breach_words(breach, units)
        never_more(between(out, ") is ", " away"), line.distance_m)
        facts = {"name": "Barn", "distance_m": mast_fall_m(made) - 0.003, "mast_fall_m": mast_fall_m(made)}
        fall = said(Finding("structure_in_mast_fall", "warning", facts=facts), units).message
        never_more(between(fall, "is ", " away"), facts["distance_m"])
        never_less(fall.split("circle of ")[1], facts["mast_fall_m"])
    assert kept(line.needed_m) >= line.needed_m - HAIR
    assert there(line.distance_m) <= line.distance_m + HAIR


@pytest.mark.parametrize("units", READERS)
@pytest.mark.parametrize(
    ("free", "need"), [(10.04, 10.06), (10.06, 10.06), (11.309, 11.31), (11.33, 11.31), (30.0, 11.31), (0.0, 11.31)]
)
def test_the_circle_to_turn_in(free, need, units):
    room = Room("yes" if free >= need else "no", free, need, "", True)
    text = room_words(room, units)
    told = metres(text)
    per_unit = len(told) // 2
    for value in told[:per_unit]:
        assert value <= free + HAIR
    for value in told[per_unit:]:
        assert value >= need - HAIR
    if free >= need + 0.01:  # no unit makes the free circle the smaller one
        assert all(a >= b - HAIR for a, b in zip(told[:per_unit], told[per_unit:], strict=True))


@pytest.mark.parametrize("units", READERS)
@pytest.mark.parametrize(
    ("breach", "start", "end", "needed"),
    [
        (Breach("structure", "", 6.849, 6.853, "m", 3.0), "is ", " away", 6.853),
        (Breach("water", "", 9.96, 10.0, "m"), "is ", " away", 10.0),
    ],
)
def test_other_distances_of_limits(breach, start, end, needed, units):
    text = breach_words(breach, units)
    never_more(between(text, start, end), breach.figure)
    rest = text.split(";")[1]
    assert max(metres(rest)) >= needed - HAIR
    assert all(value >= min(needed, breach.margin or needed) - HAIR for value in metres(rest))


def test_a_posted_height_is_never_told_higher():
    # 12 ft 6 in and 13 ft 6 in
    told = [METRIC.posted(v, "m") for v in (3.81, 4.1148, 2.8, 3.2, 12.0)]
    assert told == ["3.81 m", "4.11 m", "2.8 m", "3.2 m", "12 m"]
    assert METRIC.posted(3.62874, "t") == "3.62 t"  # 8,000 lb
    assert METRIC.posted(4.1148, "m", "up") == "4.12 m"


def test_how_far_a_danger_lies_is_rounded_down():
    assert BOTH.distance(479.9, "down") == "479 m (1,574 ft)"
    assert BOTH.distance(1999.0, "down") == "1.9 km (1.2 mi)"
    assert US.distance(1999.0, "down") == "1.2 mi"
