"""Access by season, hours and vehicle. Rules: OpenStreetMap wiki, pages Conditional restrictions, Key:opening_hours."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.roads import hazard_words, reasons_words, unknown_along_words
from siteplanner.roads.conditions import parse_condition, possible_values, timed_lines
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from siteplanner.roads.tags import read_tags
from tests.roads.drawn import EAST, NORTH, layer, road

ZONE = timezone(timedelta(hours=-6))


def at(text):
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


# 2026-01-15 is a Thursday, 2026-06-06 a Saturday
@pytest.mark.parametrize(
    ("condition", "when", "holds"),
    [
        ("Nov-Apr", "2026-01-15T09:00", True),
        ("Nov-Apr", "2026-04-30T23:59", True),
        ("Nov-Apr", "2026-05-01", False),
        ("May-Oct", "2026-01-15", False),
        ("May-Oct", "2026-10-31", True),
        ("Dec,Jan", "2026-01-15", True),
        ("Nov 15-Apr 1", "2026-04-01", True),
        ("Nov 15-Apr 1", "2026-04-02", False),
        ("Nov 15 - Apr", "2026-04-30", True),
        ("Jan 10-20", "2026-01-15", True),
        ("Jan 10-14", "2026-01-15", False),
        ("Jan 15", "2026-01-15", True),
        ("november-april", "2026-01-15", True),
        ("Mo-Fr", "2026-01-15", True),
        ("Sa,Su", "2026-06-06", True),
        ("Fr-Mo", "2026-01-15", False),
        ("22:00-06:00", "2026-01-15T23:00", True),
        ("22:00-06:00", "2026-01-15T05:59", True),
        ("22:00-06:00", "2026-01-15T06:00", False),
        ("07:00-09:00,16:00-18:00", "2026-01-15T16:30", True),
        ("07:00-09:00, 16:00-18:00", "2026-01-15T12:00", False),
        ("Mo-Fr 07:00-09:00", "2026-01-15T08:00", True),
        ("Mo-Fr 07:00-09:00", "2026-06-06T08:00", False),
        ("Nov-Apr Mo-Fr 22:00-05:00", "2026-01-15T23:00", True),
        # Friday's night ends on Saturday morning
        ("Fr 22:00-06:00", "2026-06-06T05:00", True),
        ("Sa 22:00-06:00", "2026-06-06T05:00", False),
        ("24/7", "2026-06-06", True),
        ("weight>7.5", "2026-06-06", False),
        ("weight > 3.5", "2026-06-06", True),
        ("length>=13", "2026-06-06", True),
        ("weight>3.5 AND Nov-Apr", "2026-06-06", False),
        ("snow AND Nov-Apr", "2026-06-06", False),
        ("snow AND Nov-Apr", "2026-01-15", None),
        ("snow", "2026-06-06", None),
        ("winter", "2026-01-15", None),
        ("sunset-sunrise", "2026-06-06", None),
        ("PH", "2026-06-06", None),
        ("2026 Jan", "2026-01-15", None),
        ("Nov 31", "2026-06-06", None),
        ("Jan 20-10", "2026-06-06", None),
        ("25:00-26:00", "2026-06-06", None),
        ("Marble-Apr", "2026-03-15", None),
        ("week 1-10", "2026-01-15", None),
        ("", "2026-06-06", None),
        ("Mo[1]", "2026-06-06", None),
    ],
)
def test_a_condition_holds_does_not_or_is_not_known(condition, when, holds):
    rig = Rig(mass_kg=5000, length_m=13)
    assert parse_condition(condition, rig)(at(when)) is holds


def test_without_a_time_only_the_vehicle_is_known():
    assert parse_condition("Nov-Apr", Rig())(None) is None
    assert parse_condition("weight>3.5", Rig(mass_kg=5000))(None) is True


@given(st.text(alphabet="novapr mofr0123456789:-,;@()<>.&|", max_size=40))
def test_any_condition_gives_one_of_three_answers(text):
    assert parse_condition(text, Rig())(at("2026-01-15T09:00")) in (True, False, None)
    assert possible_values("", f"no @ ({text})", Rig(), [at("2026-01-15T09:00")]) <= {"", "no", "yes"}


def test_what_is_not_understood_may_be_either():
    for text in ("no", "no @ (Nov-Apr", "@ (Nov)", "x" * 1000, "no @ ((Nov))"):
        assert possible_values("", text, Rig(), [at("2026-01-15")]) == {"", "no", "yes"}


def test_the_last_clause_that_holds_wins():
    def value(text, when):
        return possible_values("yes", text, Rig(), [at(when)])

    text = "no @ (Nov-Apr); destination @ (Jan)"
    assert value(text, "2026-01-15") == {"destination"}
    assert value(text, "2026-02-15") == {"no"}
    assert value(text, "2026-06-06") == {"yes"}
    assert value("no @ Nov-Apr", "2026-02-15") == {"no"}  # brackets may be left out for a simple condition


def state(when=None, rig=None, **tags):
    table, _ = read_tags(layer(road((0, 0), (500, 0), **tags)))
    found = timed_lines(table, rig or Rig(), when)
    return found[0].state if found else None


WINTER, SUMMER = at("2026-01-15T09:00"), at("2026-07-15T09:00")


@pytest.mark.parametrize(
    ("tags", "winter", "summer"),
    [
        ({"access:conditional": "no @ (Nov-Apr)"}, "closed", "open"),
        ({"access": "no", "access:conditional": "yes @ (May-Oct)"}, "closed", "open"),
        ({"motor_vehicle:conditional": "no @ (Nov-Apr)"}, "closed", "open"),
        # the more specific key goes before (Key:access)
        ({"access:conditional": "no @ (Nov-Apr)", "motor_vehicle": "yes"}, "open", "open"),
        ({"access": "no", "motor_vehicle:conditional": "yes @ (May-Oct)"}, "closed", "open"),
        ({"access:conditional": "no @ (winter)"}, "not known", "not known"),
        ({"access:conditional": "no @ (weight>3.5)"}, "closed", "closed"),
        ({"seasonal": "yes"}, "not known", "not known"),
        ({"winter_road": "yes"}, "not known", "not known"),
        ({"ice_road": "yes"}, "not known", "not known"),
        ({"seasonal": "no"}, None, None),
        ({"access": "yes"}, None, None),
    ],
)
def test_roads_by_the_time_of_dispatch(tags, winter, summer):
    assert state(WINTER, **tags) == winter
    assert state(SUMMER, **tags) == summer


def test_without_dispatch_nothing_that_depends_on_time_counts_as_open():
    assert state(None, **{"access:conditional": "no @ (Nov-Apr)"}) == "not known"
    assert state(None, **{"access": "no", "access:conditional": "no @ (Nov-Apr)"}) == "closed"  # closed either way


def test_hours_that_start_while_the_rig_is_on_the_road_are_not_known():
    tags = {"access:conditional": "no @ (22:00-06:00)"}
    assert state(at("2026-07-15T12:00"), **tags) == "open"
    assert state(at("2026-07-15T18:00"), **tags) == "not known"  # six hours on, it is midnight
    assert state(at("2026-07-15T22:30"), **tags) == "closed"
    assert state(at("2026-07-15T05:00"), **tags) == "not known"


def test_a_road_that_may_be_shut_is_a_finding_and_a_caution_on_the_way():
    frame = layer(road((0, 0), (500, 0), name="Pass Road", **{"access:conditional": "no @ (Nov-Apr)"}))
    nets = [build_network(frame, elevation=None, rig=Rig(), speeds=Speeds(), when=w) for w in (None, WINTER, SUMMER)]
    unknown, shut, free = nets
    assert unknown.judged.drivable[0]
    assert "season or hours" in [u.kind for u in unknown.judged.unknown[0]]
    found = next(f for f in unknown.findings if f.code == "roads_open_at_times")
    assert found.severity == "check"
    assert "Pass Road (no @ (nov-apr))" in said(found).message
    assert "Give times.dispatch" in said(found).remedy
    tree = drive_tree(unknown, EAST, NORTH)
    route = route_to(unknown, tree, nearest_access(unknown, tree, EAST + 400, NORTH))
    assert [f.code for f in route.findings] == ["route_season_or_hours"]
    assert "season or hours" in unknown_along_words(route.unknown)[0]
    assert "not stated on 0.4 of 0.4 km" in unknown_along_words(route.unknown)[0]
    assert reasons_words(shut.judged.reasons[0]) == "no access at this time or for this rig (no @ (nov-apr))"
    assert free.judged.drivable[0]
    assert "season or hours" not in [u.kind for u in free.judged.unknown[0]]
    assert [(h.severity, hazard_words(h)) for h in free.hazards[0]] == [
        ("note", "open at the time of dispatch, but not always: no @ (nov-apr)")
    ]
    for net in (shut, free):
        assert not [f for f in net.findings if f.code == "roads_open_at_times"]
    assert np.isinf(shut.times.forward_s[0])
