"""What a spot carries: people and handsets, the backhaul shared, delay by the geometry, the ring of a second radio."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from siteplanner.core.geodesy import look_angles, slant_range_m
from siteplanner.core.propagation import free_space_db
from siteplanner.core.traffic import erlang_b
from siteplanner.mission import mission_from_dict
from siteplanner.mission.wifi import Wifi
from siteplanner.planning.spots.capacity import capacity_of, wifi_radius_m
from siteplanner.planning.telling.capacity import capacity_rows, capacity_sentences, delay_words
from siteplanner.planning.telling.units import METRIC, US
from tests.planning.test_scoring import evaluation
from tests.planning.test_served import area, served

BASE = {
    "layers": {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson"},
    "staging": {"latitude": 45, "longitude": -113},
}


def mission(**tables):
    return mission_from_dict({**BASE, **tables})


def at_spot(people=None):
    e = evaluation()
    service = replace(served(area()), people=people, people_served=people)
    return replace(e, coverage=replace(e.coverage, service=service))


@pytest.mark.parametrize(
    ("latitude", "apart", "km"),
    # ITU handbook on satellite communications (from memory): 35,786 km right below, 41,679 km at the edge of view
    [(0.0, 0.0, 35_786), (0.0, 81.3, 41_679)],
)
def test_slant_ranges(latitude, apart, km):
    assert slant_range_m(latitude, -100.0, 0.0, -100.0 + apart) / 1000 == pytest.approx(km, abs=8)


def test_the_slant_range_is_that_of_the_triangle_with_the_look():
    """By the law of cosines at the Earth's centre, with the elevation that the look angles give; a sphere beside WGS
    84: within 10 km."""
    for latitude, longitude in ((45.0, -113.0), (61.0, -150.0), (-33.0, -70.0)):
        _, up, _ = look_angles(latitude, longitude, 0.0, -103.0)
        sine, cosine = math.sin(math.radians(up)), math.cos(math.radians(up))
        by_look = math.sqrt(42_164.17**2 - (6_371.0 * cosine) ** 2) - 6_371.0 * sine
        assert slant_range_m(latitude, longitude, 0.0, -103.0) / 1000 == pytest.approx(by_look, abs=15)


def test_delay_by_satellite():
    """ITU-T G.114 (05/2003), Annex A, Table A.1 (from memory): 260 ms for a hop by a geostationary satellite."""
    c = capacity_of(at_spot(), mission())
    assert c.flight_ms == pytest.approx(260, abs=12)
    assert c.delay_ms == pytest.approx(c.flight_ms + 30)
    assert delay_words(c) == "about 280 ms one way: say over, wait for the answer"
    slow = capacity_of(at_spot(), mission(sky={"processing_ms": 300}))
    assert "more than talk should have" in delay_words(slow)


def test_the_backhaul_is_shared_by_those_the_cell_carries():
    c = capacity_of(at_spot(520.0), mission(sky={"down_mbit_s": 20, "up_mbit_s": 5}))
    assert (c.people_served, c.handsets, c.waiting, c.busy) == (520.0, 128, 392.0, 128)
    assert c.each_down_kbit_s == pytest.approx(20_000 / 128)
    assert c.each_up_kbit_s == pytest.approx(5_000 / 128)
    few = capacity_of(at_spot(40.0), mission(sky={"down_mbit_s": 20, "up_mbit_s": 5}))
    assert (few.waiting, few.each_down_kbit_s) == (0.0, pytest.approx(500))


def test_a_narrow_backhaul_carries_fewer_talks_than_the_cell():
    c = capacity_of(at_spot(520.0), mission(sky={"down_mbit_s": 20, "up_mbit_s": 1}))
    assert (c.lines, c.lines_by) == (25, "backhaul")  # 1,000 kbit/s up over 40 a talk
    assert erlang_b(c.talk_erlangs, 25) == pytest.approx(0.01, abs=1e-6)
    wide = capacity_of(at_spot(520.0), mission(sky={"down_mbit_s": 20, "up_mbit_s": 20}))
    assert (wide.lines, wide.lines_by) == (128, "cell")


def test_what_the_mission_does_not_say_is_not_known():
    c = capacity_of(at_spot(), mission())
    assert (c.down_mbit_s, c.each_down_kbit_s, c.people_served, c.waiting, c.wifi_radius_m) == (None,) * 5
    assert [label for label, _ in capacity_rows(c)] == ["At once", "Delay"]
    assert not any("Mbit/s" in line for line in capacity_sentences(c))


def test_who_goes_first_is_said_where_not_all_get_through():
    rows = dict(capacity_rows(capacity_of(at_spot(520.0), mission())))
    assert rows["At once"] == "128 handsets at once, for about 520 people; about 390 wait when all call, first come, " \
        "first served"  # fmt: skip
    barred = dict(capacity_rows(capacity_of(at_spot(520.0), mission(radio={"first_served": "responders"}))))
    assert barred["At once"].endswith("responders go first")
    enough = dict(capacity_rows(capacity_of(at_spot(90.0), mission())))
    assert enough["At once"] == "128 handsets at once, for about 90 people"


def test_the_ring_of_the_second_radio_is_that_of_its_budget():
    """At the ring the weaker direction arrives with just what is needed, the margin taken off: by hand."""
    wifi = Wifi(on=True)
    slant = math.hypot(wifi_radius_m(wifi), wifi.height_m)
    sent = min(wifi.power_dbm, wifi.handset_power_dbm)
    level = sent + wifi.gain_dbi - float(free_space_db(slant, wifi.frequency_mhz)) - wifi.clutter_margin_db
    assert level == pytest.approx(wifi.needed_dbm, abs=1e-6)
    assert wifi_radius_m(wifi) == pytest.approx(54.9, abs=0.1)  # 75 dB allowed, 40.2 dB at 1 m
    assert wifi_radius_m(Wifi(on=True, clutter_margin_db=60, height_m=40)) == 0.0
    c = capacity_of(at_spot(), mission(wifi={"on": True}))
    assert dict(capacity_rows(c, METRIC))["Wi-Fi"].startswith("within 54 m of the trailer")
    feet = dict(capacity_rows(c, US))["Wi-Fi"]
    assert float(feet.split()[1].replace(",", "")) * 0.3048 <= c.wifi_radius_m
