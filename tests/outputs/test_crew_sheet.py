"""The crew's sheet as one who has to act on it reads it: order, angles, signal words, figures as in plan.json.

Order of the work: US Army Subcourse SS0732, "Antenna erection" (guys fastened before, tended during raising). Signal
words: ANSI Z535.4-2007 section 4.14. Lightning: OSHA FS-3863. Stored energy: 29 CFR 1910.147(d)(5).
"""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest
from pypdf import PdfReader

from siteplanner.core.link import budget, reading_that_serves_dbm
from siteplanner.errors import SEVERITIES
from siteplanner.mission import Power
from siteplanner.mission.links import link_parameters
from siteplanner.outputs.sheets import printing
from siteplanner.outputs.sheets.crew import crew_content
from siteplanner.outputs.sheets.site_plan import site_svg
from siteplanner.planning.limits.keep_away import reached_from_ground
from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.site.sun_outage import SatelliteOutages, SunOutage, SunOutages
from siteplanner.planning.spots.capacity import capacity_of
from siteplanner.planning.telling.overhead_lines import line_words
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.set_up import steps_for_both
from siteplanner.planning.telling.signal_words import ORDER, WORDS, signal_word
from siteplanner.planning.telling.units import BOTH, METRIC, US
from tests.outputs.crew_steps import set_up_of, with_trailer
from tests.outputs.factory import make_plan, waiting
from tests.outputs.letters import least_letter_pt

METRIC_UNIT = re.compile(r"\d (?:m|km|kg|t|m/s)\b")
US_UNIT = re.compile(r"\d (?:ft|in|mi|lb|gal)\b")


@pytest.fixture(scope="module")
def plan():
    return waiting(make_plan())


def strings(value):
    """Every text of the content, drawings left out."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            if not key.endswith("_svg"):
                yield from strings(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            yield from strings(inner)


def texts(plan, **trailer):
    return [text for text, *_ in steps_for_both(set_up_of(plan, plan.best, **trailer), METRIC)]


def at(order, words):
    (where,) = [k for k, text in enumerate(order) if words in text]
    return where


def test_nobody_is_hurt_by_the_order():
    plan = make_plan(1)
    order = texts(plan, guys=4)
    whole = " ".join(order)
    assert whole.index("Chock the wheels on both sides") < whole.index("boards under the low wheels")
    assert whole.index("boards under the low wheels") < whole.index("Then unhitch") < whole.index("tongue jack")
    assert at(order, "tongue jack") < at(order, "jacks down") < at(order, "Raise the mast")
    assert at(order, "Breakers off") < at(order, "start its search") < at(order, "Raise the mast")
    assert at(order, "Mast still down") < at(order, "anchors") < at(order, "Raise the mast")
    raising = order[at(order, "Raise the mast")]
    assert "tends the guys, the windward one first" in raising
    assert "wind below 11 m/s" in raising  # of a metric reader; 25 mph of a US one
    assert "Fewer hands than the manual asks for: do not raise." in raising
    assert at(order, "Raise the mast") < at(order, "Guys to even tension") < at(order, "Cell on")


def test_outriggers_go_out_before_the_jacks_that_stand_on_them():
    plan = make_plan(1)
    on_them = next(t for t in texts(plan, jacks_on_outriggers=True) if "jacks down" in t)
    assert on_them.index("Outriggers out and locked first") < on_them.index("jacks down")
    beside = next(t for t in texts(plan, jacks_on_outriggers=False) if "jacks down" in t)
    assert beside.index("jacks down") < beside.index("outriggers out")
    none = next(t for t in texts(plan, jacks_on_outriggers=False, outrigger_reach_m=0.0) if "jacks down" in t)
    assert "utrigger" not in none
    assert not [t for t in texts(plan) if "guy" in t.lower()]  # a mast without guys


def test_the_angle_between_the_sectors_is_printed_and_set_on_the_ground(plan):
    record = plan_record(plan)["spots"][0]
    first, *others = (round(b) for b in record["coverage"]["sector_bearings_deg"])
    nose = round(record["ground"]["heading_deg"])
    content = crew_content(plan, plan.best)
    ground = next(row[1] for row in content["steps"] if "Mast still down" in row[1])
    assert f"sector 1 stands {(first - nose) % 360}° clockwise from the tongue" in ground
    for number, bearing in enumerate(others, 2):
        assert f"sector {number} {(bearing - first) % 360}° clockwise from sector 1" in ground
    assert [row[4] for row in content["sectors"]] == ["-", *(f"{(b - first) % 360:03d}°" for b in others)]
    fixed = plan.mission.radio.model_copy(update={"sector_separation_deg": 120.0})
    even = replace(plan, mission=plan.mission.model_copy(update={"radio": fixed}))
    assert "the sectors are fixed: check that" in str(crew_content(even, plan.best)["steps"])


def test_signal_words_stand_as_the_standard_ranks_them(plan):
    rows = crew_content(plan, plan.best)["warnings"]
    words = [word for word, _ in rows]
    own = [w for w, text in rows if re.match(r"[A-Z][a-z ]+: ", text)]
    assert own == sorted(own, key=ORDER.index)
    assert words[:3] == ["DANGER"] * 3
    assert {text.split(":")[0] for word, text in rows if word == "DANGER"} == {"Wires", "Wire down", "Exhaust"}
    assert set(words) <= set(ORDER)
    assert [signal_word(severity) for severity in SEVERITIES] == ["WARNING", "NOTICE", "Check", "Not known", "Note"]
    assert set(WORDS) == set(SEVERITIES)


@pytest.mark.parametrize("units", [METRIC, US, BOTH], ids=["metric", "US", "both"])
@pytest.mark.parametrize(
    "trailer",
    [{}, {"guys": 4, "exhaust_side": "left"}, {"outrigger_reach_m": 0.0, "jacks_on_outriggers": False}],
    ids=["as it is", "guyed", "no outriggers"],
)
def test_two_pages_in_each_system_of_units(plan, units, trailer, monkeypatch):
    made = with_trailer(plan, **trailer)
    power = Power(shore_power=True, shore_plug="4 pins", shore_cable_m=30.0) if trailer else made.mission.power
    made = replace(made, mission=made.mission.model_copy(update={"power": power}))
    monkeypatch.setattr(printing, "crew_content", lambda p, r, *_: crew_content(p, r, units))
    pages = PdfReader(io.BytesIO(printing.sheet_pdf(made, "crew"))).pages
    assert len(pages) == 2
    assert least_letter_pt(pages) >= 7.45
    told = " | ".join(strings(crew_content(made, made.best, units)))
    if units is US:
        assert not METRIC_UNIT.search(told), METRIC_UNIT.search(told)
    if units is METRIC:
        assert not US_UNIT.search(told), US_UNIT.search(told)


def test_shore_power_comes_with_its_plug_and_breakers(plan):
    def step(**power):
        made = replace(plan, mission=plan.mission.model_copy(update={"power": Power(**power)}))
        return crew_content(made, made.best, METRIC)["steps"][5][1]

    told = step(shore_power=True, shore_plug="4 pins, 240 V", shore_cable_m=30.9)
    assert "plug 4 pins, 240 V; cable reaches 30 m" in told  # rounded down: a cable is never longer than it is
    assert told.index("all breakers of the unit off") < told.index("Plug in at the unit") < told.index("its breaker on")
    assert "reach of the cable not stated: measure it" in step(shore_power=True)
    assert "Generator" in step()


def test_a_level_that_no_jack_can_make_is_not_asked_for(plan):
    """Cells as wide as a field leave the lift open by more than a jack travels: no boards of a yard and a half."""
    ground = replace(plan.best.evaluation.ground, lift_uncertainty_m=1.26, source_cell_m=80.0, cell_size_m=80.0)
    wide = replace(plan.best, evaluation=replace(plan.best.evaluation, ground=ground))
    level = dict(crew_content(plan, wide, METRIC)["stand"])["Level"]
    assert "Carry boards" not in level
    assert level.endswith("where boards and jacks do not level it, do not set up; call.")


def test_the_trees_are_looked_for_where_the_dish_looks(plan):
    e = plan.best.evaluation
    other = replace(e.sky[0], azimuth_deg=(e.sky[0].azimuth_deg + 40) % 360, margin_deg=0.1, satellite_name="another")
    both = replace(plan.best, evaluation=replace(e, sky=(other, *e.sky)))
    assert both.evaluation.aimed[0].satellite_name == e.aimed[0].satellite_name
    (trees,) = (row[0] for row in crew_content(plan, both, METRIC)["arrival"] if row[0].startswith("Trees"))
    assert f"({e.aimed[0].azimuth_deg:03.0f}° true)" in trees


def test_a_line_is_told_in_the_unit_of_what_is_kept_from_it(plan):
    """In feet both, below a kilometre: 0.2 mi beside 207 ft is read wrongly in the dark."""
    line = KeepAway("Feeder", 62.9, 338.0, math.nan, "unknown", 15.3, 7.0, 20.0, 20.6, 62.9)
    assert "1,108 ft away on the map where 207 ft are needed" in line_words(line, US)


def test_a_hand_is_sent_only_where_service_is_expected(plan):
    content = crew_content(plan, plan.best, METRIC)
    points = plan_record(plan)["spots"][0]["coverage"]["must_serve"]
    there = [p for p in points if p["probability"] >= 0.5]
    radio = plan.mission.radio
    edge = reading_that_serves_dbm(link_parameters(radio))
    assert {row[0]: row[1] for row in content["points"]} == {
        p["name"]: f"{edge + p['margin_db']:.0f} dBm".replace("-0", "0") for p in there
    }
    assert f"{edge:.0f} dBm is the edge of service" in content["phone"]
    weak = replace(plan.best.evaluation.coverage.must_serve[0], name="Side valley", probability=0.01)
    coverage = replace(plan.best.evaluation.coverage, must_serve=(weak,))
    dark = replace(plan.best, evaluation=replace(plan.best.evaluation, coverage=coverage))
    told = crew_content(plan, dark, METRIC)
    assert told["points"] == []
    assert told["not_there"].startswith("No service is expected at Side valley: do not send anyone there")


def test_the_edge_of_service_is_the_reading_at_which_the_budget_has_nothing_to_spare():
    """The budget's own lines at the loss that leaves nothing: RSRP at the handset, added by hand."""
    params = link_parameters(make_plan(1).mission.radio)
    lines = budget(params, 0.0, 0.0)
    spare = lines[-1].value
    rsrp = next(line.value for line in lines if line.item == "RSRP at the handset")
    assert reading_that_serves_dbm(params) == pytest.approx(rsrp - spare)


def test_the_satellite_is_called_as_its_controller_calls_it(plan):
    satellites = tuple(
        s.model_copy(update={"controller_name": f"SAT-{k}"}) for k, s in enumerate(plan.mission.sky.satellites)
    )
    sky = plan.mission.sky.model_copy(update={"satellites": satellites})
    named = replace(plan, mission=plan.mission.model_copy(update={"sky": sky}))
    content = crew_content(named, named.best, METRIC)
    look = named.best.evaluation.aimed[0]
    number = [s.called for s in satellites].index(look.satellite_name)
    assert f"on SAT-{number}. Not in 15 min: tree, ridge or the wrong satellite." in content["search"]
    assert f"{round(look.azimuth_deg):03d}° true, {look.elevation_deg:.0f}° up" in content["search"]
    assert content["dish"][0][0] == "SAT-0"
    assert crew_content(plan, plan.best, METRIC)["dish"][0][0] == plan.mission.sky.satellites[0].called


def test_sun_outages_are_told_for_the_days_of_the_mission_only(plan):
    zone = timezone(timedelta(hours=-6))
    start = datetime(2026, 10, 8, 13, 14, tzinfo=zone)
    one = SunOutage(start, start + timedelta(minutes=8), 0.1)
    name = plan.best.evaluation.aimed[0].satellite_name
    sun = SunOutages(39.6, -105.9, start.date(), 1.5, 1.0, (SatelliteOutages(name, -103.0, (one,)),))

    def told(dispatch):
        times = plan.mission.times.model_copy(update={"dispatch": dispatch})
        made = replace(plan, sun=sun, mission=plan.mission.model_copy(update={"times": times}))
        return crew_content(made, made.best, METRIC)["sun"]

    assert told(datetime(2026, 6, 3, 4, 40, tzinfo=zone)) == []
    assert len(told(datetime(2026, 10, 5, 4, 40, tzinfo=zone))) == 1


def test_the_drawing_shows_what_stands_and_what_is_kept_free(plan):
    fall = 20.6
    bare = site_svg(plan, plan.best, fall, 1.4)
    assert 'class="anchor"' not in bare
    assert 'class="tow"' in bare
    assert bare.count('class="lamp"') == 2  # nobody knows the hour
    assert "exhaust 7 m, side: look" in bare
    assert "in front of the antennas" not in bare  # 8 m up nobody can stand there
    guyed = with_trailer(plan, guys=3, guy_radius_m=9.0, exhaust_side="rear")
    drawn = site_svg(guyed, guyed.best, fall, 1.4, US)
    assert drawn.count('class="anchor"') == 3
    assert "3 guy anchors, 30 ft out" in drawn  # 9 / 0.3048 = 29.5
    assert "exhaust 20 ft<" in drawn
    assert "mast fall 68 ft" in drawn
    assert not METRIC_UNIT.search(re.sub(r">10 m<", "", drawn))  # but for the bar of the scale


def test_the_drawing_shows_how_far_the_second_radio_reaches(plan):
    def drawn(**wifi):
        held = plan.mission.wifi.model_copy(update={"on": True, **wifi})
        given = replace(plan, mission=plan.mission.model_copy(update={"wifi": held}))
        far = capacity_of(given.best.evaluation, given.mission).wifi_radius_m
        return site_svg(given, given.best, 20.6, 1.4), far

    assert "Wi-Fi" not in site_svg(plan, plan.best, 20.6, 1.4)
    wide, far = drawn()
    assert 'class="wifi"' not in wide
    assert f"Wi-Fi within {int(far)} m, wider than this drawing" in wide
    ring, near = drawn(power_dbm=7.0)
    assert near < 31.9  # 1.55 x 20.6 m, half of the drawing
    assert f'class="wifi" cx="38.0" cy="38.0" r="{near / (2 * 1.55 * 20.6 / 76):.2f}"' in ring
    assert f"Wi-Fi within {int(near)} m<" in ring


def test_antennas_keep_people_off_only_where_they_can_come():
    assert not reached_from_ground(8.0, 1.4)
    assert reached_from_ground(3.0, 1.4)
    assert reached_from_ground(8.0, 6.0)
    assert reached_from_ground(8.0, float("nan"))


def test_no_lift_below_its_own_doubt_is_printed(plan):
    ground = replace(plan.best.evaluation.ground, lift_uncertainty_m=0.22, source_cell_m=10.0, cell_size_m=10.0)
    flat = replace(plan.best, evaluation=replace(plan.best.evaluation, ground=ground))
    content = crew_content(plan, flat, METRIC)
    assert content["jacks"] == []
    level = dict(content["stand"])["Level"]
    assert level.startswith("The map cannot tell which corner is low (± 0.22 m): the level decides.")
    assert "Carry boards and pads for up to 0.39 m" in level  # 0.17 and its doubt
    sure = replace(ground, lift_uncertainty_m=0.02)
    known = replace(plan.best, evaluation=replace(plan.best.evaluation, ground=sure))
    assert [row[1] for row in crew_content(plan, known, METRIC)["jacks"]][1:] == ["0.06 m", "0.11 m", "0.17 m"]


def test_what_is_radioed_back_has_the_plan_beside_it(plan):
    rows = {what: planned for what, planned, *_ in crew_content(plan, plan.best, METRIC)["report"]}
    spot = plan.best.spot
    assert rows["Trailer stands at (phone, degrees)"] == f"{spot.latitude:.5f}, {spot.longitude:.5f}"
    e = plan.best.evaluation
    turn = e.sky[0].azimuth_deg - e.sky[0].azimuth_magnetic_deg
    assert rows["Tongue points to, magnetic"] == f"{round(e.ground.heading_deg - turn) % 360:03d}°"
    assert rows["Sectors point to, magnetic"].count("°") == len(e.coverage.sector_bearings_deg)
    assert "What was different from the plan" in rows
    assert len(rows) <= 14


def test_nothing_is_printed_twice(plan):
    said = [t for t in strings(crew_content(plan, plan.best, METRIC)) if len(t) > 60]
    assert len(said) == len(set(said))


@pytest.mark.parametrize("units", ["us", "metric", "both"])
def test_the_set_up_stands_on_one_page(plan, units):
    """No step slips to the next page alone: the first and the last are on the same one."""
    sheets = plan.mission.sheets.model_copy(update={"units": units})
    pages = PdfReader(
        io.BytesIO(
            printing.sheet_pdf(replace(plan, mission=plan.mission.model_copy(update={"sheets": sheets})), "crew")
        )
    ).pages
    first, last = (
        [n for n, p in enumerate(pages) if words in p.extract_text()]
        for words in ("Walk the spot: wires", "Cell on. Check service")
    )
    assert first == last
    assert len(pages) == 2
