"""What is told follows the reader's units: a metric reader meets no foot, a US reader no metre."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import pytest

from siteplanner.mission import Power
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.overhead_lines import mast_fall_m
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import told_of
from siteplanner.planning.telling import (
    aiming,
    answer,
    antennas,
    backhaul_rows,
    commander,
    driver,
    exposure,
    keep_clear,
    lifeline,
    places,
    power,
    radio_back,
    safety,
    set_up,
    stand,
    timeline,
)
from siteplanner.planning.telling.units import BOTH, METRIC, US, Units
from siteplanner.planning.telling.wind import dish_wind_sentence, lane_label, limits_sentence
from tests.glossary import old_words
from tests.outputs.crew_steps import set_up_of
from tests.outputs.factory import make_plan, waiting

METRIC_UNIT = re.compile(r"\d (?:m|km|kg|t|km²|m/s)\b")
US_UNIT = re.compile(r"\d (?:ft|in|mi|lb|sq mi)\b")
Told = Callable[[Plan, RankedSpot, Units], object]
TOLD: dict[str, Told] = {
    "line": lambda p, r, u: keep_clear.line_sentence(r.evaluation.line, u),
    "hazards": lambda p, r, u: keep_clear.hazards_near_sentences(r.on_site.hazards, u),
    "dangers": lambda p, r, u: safety.crew_dangers(r.evaluation.line, mast_fall_m(p.mission), "", True, u),
    "antennas": lambda p, r, u: safety.antennas_words(r.on_site.antennas, u),
    "raise": lambda p, r, u: set_up.steps_for_both(set_up_of(p, r, guys=4), u),
    "mast": lambda p, r, u: antennas.mast_rows(r.evaluation, p.mission, u),
    "guys": lambda p, r, u: (keep_clear.guy_label(4, 11.3, u), keep_clear.exhaust_label(True, u)),
    "shore": lambda p, r, u: power.shore_words(Power(shore_power=True, shore_cable_m=30.0), u),
    "report": lambda p, r, u: [b.planned for b in radio_back.report_boxes(r.evaluation, "", [], u)],
    "service points": lambda p, r, u: radio_back.service_rows(
        r.evaluation.coverage.must_serve, [q.name for q in r.evaluation.coverage.must_serve], -120.0, u
    ),
    "exposure": lambda p, r, u: exposure.exposure_rows(r.on_site.antennas, u),
    "exposure line": lambda p, r, u: exposure.exposure_line(r.on_site.antennas, u),
    "labels": lambda p, r, u: (keep_clear.antenna_label(12.3, u), keep_clear.fall_label(21.0, u)),
    "drive": lambda p, r, u: driver.drive_words(r.evaluation.access, u),
    "climb": lambda p, r, u: driver.climb_words(r.evaluation.access.route, u),
    "last leg": lambda p, r, u: driver.last_leg_words(r.evaluation.access, 214.0, r.evaluation, u),
    "way in": lambda p, r, u: lifeline.way_in_words(r.evaluation.access, u),
    "way out": lambda p, r, u: lifeline.way_out_words(r.evaluation.access, u),
    "hangs on": lambda p, r, u: lifeline.way_in_short(r.evaluation.access, u),
    "hazard": lambda p, r, u: [driver.stretch_words(h, u) for h in told_of(r.evaluation.access).hazards],
    "hazard on": lambda p, r, u: [driver.hazard_on_words(h, u) for h in told_of(r.evaluation.access).hazards],
    "rig": lambda p, r, u: driver.rig_rows(p.mission.rig, u),
    "not stated": lambda p, r, u: driver.not_stated_words(r.evaluation.access, u),
    "profile": lambda p, r, u: driver.profile_words(p, r, u),
    "aim": lambda p, r, u: aiming.aim(r, u),
    "footprint": lambda p, r, u: stand.footprint_words(p.mission.trailer, u),
    "cells": lambda p, r, u: stand.cells_words(r.evaluation.ground, u),
    "jacks": lambda p, r, u: stand.jack_note(r.evaluation.ground, p.mission.trailer, u),
    "figures": lambda p, r, u: answer.figure_row(r, u),
    "commander's drive": lambda p, r, u: commander.drive_rows(r, u),
    "scout": lambda p, r, u: commander.scout_words(p, r, u),
    "decision": lambda p, r, u: commander.decision_rows(p, r, u),
    "spot": lambda p, r, u: places.spot_sentences(r, u),
    "way points": lambda p, r, u: [places.way_point(s, u) for s in told_of(r.evaluation.access).steps],
    "drive tip": lambda p, r, u: places.drive_tip(r, r.evaluation.access, u),
    "leg tip": lambda p, r, u: places.last_leg_tip(r, r.evaluation.access, u),
    "service": lambda p, r, u: places.service_words(r.evaluation.coverage, u),
    "points": lambda p, r, u: [places.point_words(q, r.evaluation, u) for q in r.evaluation.coverage.must_serve],
    "donors": lambda p, r, u: backhaul_rows.donor_rows(r.evaluation, u),
    "donor tips": lambda p, r, u: [
        backhaul_rows.donor_tip(d, r.evaluation, u) for b in r.evaluation.backhauls for d in b.donors
    ],
    "fuel": lambda p, r, u: timeline.fuel_words(r.on_site.timeline, 60.0, u),
}
HAS_A_LENGTH = {
    "line", "dangers", "antennas", "raise", "mast", "guys", "shore", "report", "service points", "labels", "drive",
    "climb", "last leg", "hazard on", "rig", "profile", "aim", "footprint", "cells", "jacks", "figures",
    "spot", "way points", "drive tip", "leg tip", "service", "points", "exposure",
}  # fmt: skip


@pytest.fixture(scope="module")
def plan() -> Plan:
    return waiting(make_plan())


@pytest.mark.parametrize("what", TOLD)
def test_each_reader_meets_his_own_units_only(plan, what):
    for ranked in plan.spots[:2]:
        metric, us, both = (str(TOLD[what](plan, ranked, units)) for units in (METRIC, US, BOTH))
        assert not [old for told in (metric, us, both) for old in old_words(told)]
        assert not US_UNIT.search(metric), metric
        assert not METRIC_UNIT.search(us), us
        if what in HAS_A_LENGTH:
            assert METRIC_UNIT.search(metric), metric
            assert US_UNIT.search(us), us
            assert METRIC_UNIT.search(both), both


def test_wind_is_told_in_the_reader_s_units_too():
    """20.1168 m/s are 45 mph (NIST SP 811, appendix B.8). A metric sheet has no other figure of the US on it: a crew
    whose manual and whose wind meter say m/s does not look for the second figure in brackets. Of both, mph first."""
    told = "Service may drop above {0} at the dish; it stows above {1}, counted in gusts."
    assert limits_sentence(20.1168, 22.352, METRIC) == told.format("20 m/s", "22 m/s")
    assert limits_sentence(20.1168, 22.352, US) == told.format("45 mph", "50 mph")
    assert limits_sentence(20.1168, 22.352, BOTH) == told.format("45 mph (20 m/s)", "50 mph (22 m/s)")
    assert "(Beaufort 8: twigs break off, walking is hard)" in dish_wind_sentence(20.1168, 22.352, "gust", US)
    assert lane_label(20.1168, "link may drop", None, METRIC) == "Above 20 m/s, link may drop: other hours forecast"
    assert lane_label(20.1168, "link may drop", 0, US) == "Above 45 mph, link may drop: none forecast"
    assert lane_label(20.1168, "link may drop", 3.25, BOTH) == "Above 45 mph, link may drop: 3.2 h"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (METRIC.stated(3.2, "m"), "3.2 m"),
        (METRIC.stated(1842.5, "MHz"), "1842.5 MHz"),
        (BOTH.stated(3.2, "m"), "3.2 m (10.5 ft)"),  # 3.2 / 0.3048 = 10.499
        (US.stated(12.0, "m", 0), "39 ft"),
        (METRIC.stated(None, "m"), "not known"),
        (BOTH.lift(0.11), "0.11 m (4.3 in)"),  # 0.11 / 0.0254 = 4.33
        (US.lift(0.11), "4.3 in"),
        (METRIC.lift(math.nan), "not known"),
        (METRIC.measured(0.256, ""), "0.26"),
        (METRIC.measured(71.4, "%"), "71 %"),
        (METRIC.measured(8.04, "deg"), "8.0°"),
        (METRIC.measured(math.nan, "dB"), "not known"),
        (BOTH.first.distance(2400), "2.4 km"),
        (US.first.distance(2400), "1.5 mi"),
    ],
)
def test_figures_by_hand(text, expected):
    assert text == expected
