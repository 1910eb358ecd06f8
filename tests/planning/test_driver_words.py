"""What a tow driver is told beyond the turns: time, limits, descents, wires, the short message, spelling."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siteplanner.planning.spots.drive_facts import Told, Turning
from siteplanner.planning.spots.room import Room
from siteplanner.planning.telling.drive_limits import LONGEST_MESSAGE, first_line, limit_rows
from siteplanner.planning.telling.spelling import ALPHABET, name_and_spelling, spelled_name, spelled_reference
from siteplanner.planning.telling.towing import HITCH, cannot_go_on_words, home_words, recheck_words, wire_down_words
from siteplanner.planning.telling.units import BOTH, METRIC, US
from siteplanner.roads.alternatives import Alternative
from siteplanner.roads.descents import Descent, descents_home
from siteplanner.roads.directions import directions
from siteplanner.roads.elapsed import elapsed_s
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import EAST, FLAT, NORTH, ground, network, road

GSM_BASIC = set("@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿"
                "abcdefghijklmnopqrstuvwxyzäöñüà")  # 3GPP TS 23.038, section 6.2.1  # fmt: skip


def drive(net, start, goal):
    tree = drive_tree(net, EAST + start[0], NORTH + start[1])
    return route_to(net, tree, nearest_access(net, tree, EAST + goal[0], NORTH + goal[1]))


def told_of_drive(net, route, hazards=(), grid=FLAT):
    nowhere = Turning(Room("no", 1.0, 11.0, "steep", True), None, *[float("nan")] * 2, "", "", float("nan"), None)
    steps = directions(net, route, grid, "yard")
    return Told(steps, tuple(hazards), (), (), (), Alternative(None, False, 0, 0, 0, "", ""), (), nowhere, ())


def test_time_at_each_place_by_hand():
    """600 m at 36 km/h, then 300 m at 18 km/h, without turns: 60 s to the corner, 120 s to the end."""
    net = network(road((0, 0), (600, 0)), road((600, 0), (600, 300)), road((600, 0), (900, 0)))
    pace = np.array([0.1, 0.2, 0.1])  # s/m
    seconds = net.geometry.length_m * pace
    net = net.with_times(seconds, seconds)
    route = drive(net, (0, 0), (600, 300))
    at = elapsed_s(net, route, np.array([0.0, 300.0, 600.0, 750.0, 900.0]))
    assert at == pytest.approx([0, 30, 60, 90, 120], abs=1e-6)
    assert at[-1] == pytest.approx(route.time_s)
    steps = directions(net, route, FLAT, "yard")
    assert [s.running_s for s in steps] == pytest.approx([0, 60, 120], abs=1e-6)


def test_time_with_waits_ends_at_the_drive_s_own():
    from siteplanner.mission import Speeds

    net = network(
        road((0, 0), (600, 0)), road((600, 0), (600, 300)), road((600, 0), (900, 0)), road((600, 300), (200, 300)),
        road((600, 300), (900, 300)), speeds=Speeds(),
    )  # fmt: skip
    route = drive(net, (0, 0), (200, 300))
    assert route.waits.likely_s > 1
    assert elapsed_s(net, route, np.array([route.distance_m]))[0] == pytest.approx(route.time_s, rel=1e-9)


def test_descents_of_the_way_home_are_the_climbs_of_the_way_there():
    """Level for 500 m, 10 % up for 800 m, level again: home it is 80 m down over 800 m, from 700 m on."""
    grid = ground(lambda x, y: 100 + np.clip(x - 500, 0, 800) * 0.1, size_m=2200)
    net = network(road((0, 0), (2000, 0)), elevation=grid)
    route = drive(net, (0, 0), (2000, 0))
    (one,) = descents_home(route)
    assert one.crest_m == pytest.approx(700, abs=60)
    assert one.length_m == pytest.approx(800, abs=120)
    assert one.drop_m == pytest.approx(80, abs=6)
    assert one.steepest_pct == pytest.approx(10, abs=1.0)
    assert descents_home(drive(net, (2000, 0), (0, 0))) == ()  # that way one climbs home
    told = home_words((one,), True, US)
    assert told[0].endswith("low gear before it, not on it.")
    assert "down, steepest 10 %" in told[1]
    assert "ask dispatch for the way home" in home_words((one,), False, US)[0]
    assert "grades that are not known stay not known" in home_words((), True, US)[0]


def hazard(kind, running_m, **facts):
    return HazardAhead(**{"severity": "check", "running_m": running_m, "x": 0.0, "y": 0.0, "kind": kind, **facts})


def test_the_three_limits_name_figure_road_and_place():
    net = network(
        road((0, 0), (1000, 0), name="Mill Road"), road((1000, 0), (1000, 900), name="Pass Road"),
        road((1000, 0), (1400, 0), name="Mill Road"),
    )  # fmt: skip
    route = drive(net, (0, 0), (1000, 900))
    posted = hazard("bridge", 400.0, posted=(("weight", 9.07185, "t"), ("height", 4.2672, "m")))
    unknown = hazard("bridge", 1300.0)
    rows = dict(limit_rows(told_of_drive(net, route, [posted, unknown]), route, 15.0, US))
    # 10 US tons are 9.07185 t (NIST SP 811, appendix B.8); 14 ft are 4.2672 m
    assert rows["Lowest clearance"] == "14.0 ft on Mill Road at 0.2 mi"
    unread = "1 bridge with no figure in the data: read the sign on Pass Road at 0.8 mi"
    assert rows["Lightest bridge"] == f"10.0 US tons on Mill Road at 0.2 mi; {unread}"
    assert rows["Steepest grade"] == "not known"
    low = hazard("under bridge", 700.0)
    rows = dict(limit_rows(told_of_drive(net, route, [low, hazard("tunnel", 900.0)]), route, 15.0, METRIC))
    assert (
        rows["Lowest clearance"]
        == "2 low places with no figure in the data: read the signs, first on Mill Road at 0.7 km"
    )
    assert rows["Lightest bridge"] == "No bridge in the data; signs override the map"
    for words in rows.values():
        assert "not posted" not in words
        assert "no figures" not in words


@pytest.mark.parametrize("name", ["A", "Upper North Fork pasture behind the old church " * 3])
@pytest.mark.parametrize("units", [US, METRIC, BOTH])
def test_the_first_line_is_one_text_message(name, units):
    net = network(road((0, 0), (1000, 0), name="Mill Road"), road((1000, 0), (1000, 900), name="Pass Road"))
    route = drive(net, (0, 0), (1000, 900))
    told = told_of_drive(
        net, route, [hazard("bend", 1000.0, severity="warning", value=9.0, limit=11.0, state="junction")]
    )
    line = first_line(told, route, name, "12T UQ 38725 45215", "1.2 mi, 4 min", units)
    assert len(line) <= LONGEST_MESSAGE == 160
    assert set(line) <= GSM_BASIC
    assert "12T UQ 38725 45215" in line
    assert "stop at" in line
    if len(name) == 1:
        assert "tight turn" in line


def test_spelling_is_that_of_the_radio_regulations():
    """ITU Radio Regulations, Appendix 14: the first and the last letters, and the ones that are often got wrong."""
    assert len(ALPHABET) == 26
    assert all(word.startswith(letter) for letter, word in ALPHABET.items())
    assert [ALPHABET[c] for c in "AJQXZ"] == ["Alfa", "Juliett", "Quebec", "X-ray", "Zulu"]
    assert spelled_name("AC") == "Alfa Charlie"
    assert spelled_name("Ranch") == "Ranch"
    assert name_and_spelling("B") == "B (Bravo)"
    assert spelled_reference("12TUQ3872545215") == "1 2 Tango, Uniform Quebec, 3 8 7 2 5, 4 5 2 1 5"
    assert spelled_reference("nowhere") == "nowhere"


def test_what_holds_for_every_tow_is_told_in_the_reader_s_units():
    together = " ".join(HITCH)
    for word in ["Coupler", "crossed", "Breakaway", "brakes", "lights", "Tires", "lug", "10 to 15", "Mast", "dish"]:
        assert word in together
    assert recheck_words(US).startswith("Stop and look again after the first 1.0 mi")
    assert "35 ft" in wire_down_words(US)
    assert "11 m" in wire_down_words(METRIC)  # 10.668 m rounded up: a distance to keep
    none = Alternative(None, False, 0, 0, 0, "", "")
    assert "no other way" in cannot_go_on_words(none)
    # a way that shares most of the drive is one: the sheet names it two lines below
    shared = replace(none, way=object())
    assert "no other way" not in cannot_go_on_words(shared)
    assert "shares most" in cannot_go_on_words(shared)
    assert "take the other way below" in cannot_go_on_words(replace(shared, distinct=True))
    assert home_words((Descent(0.0, 500.0, 9.0, 40.0),), True, METRIC)[1].startswith("Descent from the stop itself")


def test_a_letter_on_paper_is_a_word_on_the_air():
    assert replace(US, spoken=True) == US.aloud
    assert US.aloud.odometer_words(1609.344) == "1.0 miles"
    assert BOTH.odometer_words(12_100) == "12.1 km (7.5 mi)"
    assert (US.odometer_unit, METRIC.odometer_unit, BOTH.odometer_unit) == ("mi", "km", "km (mi)")
    assert US.load(5000) == "5.6 US tons"  # 5000 / 907.18474 = 5.511, rounded up against signs
    assert US.bar(7000) == (2 * 1609.344, "2 mi")
    assert METRIC.bar(7000) == (5000, "5 km")
    assert US.bar(400)[1] == "1000 ft"
