"""One figure has one rounding, wherever it is told, and no unit of the other system beside it."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from types import SimpleNamespace

import pytest

from siteplanner.errors import Finding
from siteplanner.mission import Rig
from siteplanner.outputs.sheets.fonts import short, unbroken
from siteplanner.planning.telling.arrival import _elevation_cells
from siteplanner.planning.telling.driver import rig_rows
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.ground import cell_words, channel_words
from siteplanner.planning.telling.leaving import take_down
from siteplanner.planning.telling.lifeline import if_lost_lines, way_in_short
from siteplanner.planning.telling.roads import hazard_words, near_words, reason_words
from siteplanner.planning.telling.units import BOTH, METRIC, US
from siteplanner.roads.hazards import Warned
from siteplanner.roads.reasons import Reason

EACH = pytest.mark.parametrize("units", [METRIC, US, BOTH], ids=["metric", "us", "both"])


@EACH
@pytest.mark.parametrize("radius_m", [10.06, 9.0, 11.4])
def test_the_rig_s_turning_radius_is_one_text(units, radius_m):
    table = dict(rig_rows(Rig(turning_radius_m=radius_m), units))["Turning radius"]
    bend = Warned(kind="bend", severity="warning", value=8.93, limit=radius_m, state="junction")
    reason = Reason(kind="bend", figure=8.93, limit=radius_m, unit="m", source="drawn line")
    facts = {**{k: getattr(bend, k) for k in bend.__dataclass_fields__}, "count": 2}
    for text in (
        hazard_words(bend, units),
        reason_words(reason, units),
        said(Finding("route_bend", "warning", facts=facts), units).message,
    ):
        assert f"tighter than the rig's {table}" in text
    # a figure that is there is rounded down, and a radius below the rig's never reads as one that is not
    assert "8.9 m" in hazard_words(bend, METRIC)
    assert "29 ft" in hazard_words(bend, US)
    assert "9.9 m: tighter than the rig's 10.06 m" in hazard_words(replace(bend, value=9.97, limit=10.06), METRIC)


def test_a_grade_near_the_limit_is_rounded_outward_as_the_steepest_is():
    draw = random.Random(5)
    for _ in range(200):
        grade, error = draw.uniform(2.5, 25), draw.uniform(0.1, 2.4)
        steepest = US.grade(grade, error)  # `11 to 15 % climb`
        assert near_words(grade, error, 15.0, US) == f"grade {steepest.removesuffix(' climb')}, limit 15 %"
    assert near_words(11.9, 6.2, 15.0) == "grade 5 to 19 %, limit 15 %"
    assert US.grade(-12.53, 1.9) == "10 to 15 % descent"


@EACH
def test_a_short_part_of_a_drive_is_not_told_as_none(units):
    assert units.part_of(40.0, 1700.0).startswith("less than 0.1 of 1.")
    assert units.part_of(0.0, 1700.0).startswith("0.0 of 1.")
    assert not units.part_of(900.0, 1700.0).startswith("less")


@EACH
def test_a_cell_s_width_is_one_text(units):
    metres = 79.5
    facts = {"slope_deg": 1.0, "cell_m": metres, "uncertainty_deg": 3.1, "chance": 0.3, "limit_deg": 5.0}
    told = cell_words(metres, units)
    assert told in _elevation_cells(metres, units)
    assert told in said(Finding("slope_not_known_at_size", "check", facts=facts), units).message
    assert told in said(Finding("coarse_elevation", "unknown", facts={"cell_size_m": metres}), units).message
    assert cell_words(0.5, METRIC) == "0.5 m"  # not 0 m


@EACH
def test_how_much_of_a_drive_hangs_on_one_road_is_one_text(units):
    facts = {"length_m": 549.0, "of_m": 12900.0, "bridges": 0}
    message = said(Finding("one_way_in", "warning", facts=facts), units).message
    line = SimpleNamespace(staging=SimpleNamespace(ways=1, length_m=549.0))
    access = SimpleNamespace(lifeline=line, told=None, drive_distance_m=12900.0)
    short_form = way_in_short(access, units).partition(": ")[2]
    length, whole = short_form.partition(" without")[0].split(" of the drive's ")
    assert f"{length} of {whole} have no way round" in message


def lost(name, metres, bridge=False):
    section = SimpleNamespace(
        name=name, bridge=bridge, over="", length_m=metres, running_m=float("nan"), start=None, end=None
    )
    return SimpleNamespace(section=section, parts=("staging",), spots=(), start="", outside=True)


def test_one_road_in_several_pieces_is_told_as_one():
    road = if_lost_lines([lost("Scarp Highway", 9000.0), lost("Scarp Highway", 7700.0)])
    assert road == [
        "If any part of Scarp Highway (16.7 km) is lost: not reached from staging, a way out stays. "
        "No other listed spot is reached."
    ]
    two = if_lost_lines([lost("Scarp Highway", 9000.0), lost("Mill Lane", 21.0)])
    assert two[0].startswith("If one of these is lost (Scarp Highway, 9.0 km; Mill Lane, 21 m): ")


def test_the_way_home_is_told_in_the_reader_s_units():
    assert "Stop after 1.6 km and look" in " ".join(take_down(METRIC))
    assert "Stop after 1.0 mi and look" in " ".join(take_down(US))


def test_ground_in_the_channel_is_not_told_as_zero_above_it():
    assert channel_words(0.0, METRIC) == channel_words(0.2, US) == "level with the channel that it drains to"
    assert channel_words(2.14, METRIC) == "about 2.1 m above the channel that it drains to"
    assert channel_words(137.4, METRIC) == "about 137 m above the channel that it drains to"
    facts = {"above_drainage_m": 0.0, "water_mapped": False}
    assert "0 m" not in said(Finding("low_ground", "warning", facts=facts), METRIC).message


def test_a_long_name_is_cut_between_two_words():
    name = "bridge of Sable Creek Road over the old mill race of Marrowford"
    cut = short(name, 44)
    assert len(cut) <= 44
    assert f"{cut.removesuffix('…')} " in name
    assert short("Donaudampfschifffahrtsgesellschaft", 12) == "Donaudampfs…"  # one word: nowhere else to cut


def test_no_line_of_a_sheet_ends_within_a_figure():
    told = unbroken({"a": ["22 % of 12.8 km, 20 m/s and 1 h 17 min, 10 Mbit/s down", "spot 5 is"], "b_svg": "1 m"})
    assert told["a"][0] == (
        "22\u00a0% of 12.8\u00a0km, 20\u00a0m/\u2060s and 1\u00a0h\u00a017\u00a0min, 10\u00a0Mbit/\u2060s down"
    )
    assert told["a"][1] == "spot 5 is"
    assert told["b_svg"] == "1 m"
    assert not re.search(r"\d (?:m|km|%|min)\b", told["a"][0])
