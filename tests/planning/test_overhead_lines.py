"""Overhead lines: what is kept from each, by 29 CFR 1926.1408 and 1926.1409; raster, spot and explanation agree."""

from __future__ import annotations

import json
import math
from itertools import product

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString

from siteplanner import load_mission
from siteplanner.core.constants import FOOT_M
from siteplanner.mission import mission_from_dict
from siteplanner.planning.limits.cells import rule_ground
from siteplanner.planning.limits.overhead_lines import NOT_JUDGED_WITHIN_M, line_keep_away, line_need, mast_fall_m
from siteplanner.planning.limits.ruling import codes_of
from siteplanner.planning.plan.explain import explain_with
from siteplanner.planning.spots.evaluate import Judge
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.overhead_lines import line_words, need_words, wires_words
from siteplanner.planning.telling.record import evaluation_record
from siteplanner.planning.telling.units import BOTH
from tests.planning.conftest import CRS, at, write_mission

MINIMAL = {
    "layers": {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson"},
    "staging": {"latitude": 45, "longitude": -113},
}


def mission(**parts):
    return mission_from_dict({**MINIMAL, **parts})


def test_a_line_of_which_nothing_is_known_keeps_50_ft():
    # 29 CFR 1926.1409(a): 50 ft; 1926.1408(a)(2)(ii): 20 ft only where the line carries 350 kV or less
    assert line_need(mission(), None).clearance_m == pytest.approx(50 * FOOT_M)
    assert line_need(mission(), math.nan).voltage_from == "unknown"
    known = mission(power_lines={"voltage_at_most_kv": 350})
    assert line_need(known, None).clearance_m == pytest.approx(20 * FOOT_M)
    assert line_need(known, None).voltage_from == "mission"
    assert line_need(known, 13).clearance_m == pytest.approx(10 * FOOT_M)  # the line's own goes before it
    assert line_need(mission(), 345).clearance_m == pytest.approx(20 * FOOT_M)
    assert line_need(mission(), 500).clearance_m == pytest.approx(25 * FOOT_M)


@pytest.mark.parametrize("voltage", [None, 13, 161, 345, 500, 765])
def test_the_parts_add_up_to_what_is_kept(voltage):
    need = line_need(mission(), voltage)
    parts = (need.clearance_m, need.half_width_m, need.position_error_m, need.reach_m)
    assert need.needed_m == pytest.approx(sum(parts))
    assert min(parts) > 0
    assert need.to_wire_m == pytest.approx(need.clearance_m + need.reach_m)
    assert need.rules_within_m == need.needed_m
    # at every voltage that may be the true one, a line without a voltage is kept as far off
    assert line_need(mission(), None).needed_m >= need.needed_m


@pytest.mark.parametrize(("voltage", "outer_m"), [(13, 1.5), (138, 5), (345, 9), (500, 12), (765, 15)])
def test_no_tip_comes_nearer_to_a_true_wire_than_the_rule_allows(voltage, outer_m):
    """The scene as it is on the ground: the outer wire (from memory: 345 kV flat 7 to 9 m, 500 kV 10 to 12 m off the
    middle) hangs nearer than the mapped line, line and trailer each stand somewhat off, the mast's foot anywhere on
    the body, and it falls toward the wire or takes the trailer over an edge of its jacks with it. Measured to the
    trailer's middle alone, the tip of 345 kV hung 6 m beyond the wire.
    """
    given = mission()
    kept, trailer = line_need(given, voltage).needed_m, given.trailer
    tip, least = 1.1 * max(trailer.mast_stops_m), line_need(given, voltage).clearance_m
    rng = np.random.default_rng(0)
    off = rng.uniform(-5, 5, 20_000)  # power_lines.position_error_m, of both together
    wire = kept - outer_m - off
    turn = rng.uniform(0, 2 * np.pi, off.size)  # of the trailer against the way to the wire
    ahead = rng.uniform(-0.5, 0.5, off.size) * trailer.length_m
    beside = rng.uniform(-0.5, 0.5, off.size) * trailer.width_m
    falls = ahead * np.cos(turn) + beside * np.sin(turn) + tip
    # over an end or over a side, turned so that it goes straight at the wire: the tip on its circle about the edge
    jacks = trailer.width_m / 2 + trailer.outrigger_reach_m
    over_end = trailer.length_m / 2 + np.hypot(trailer.length_m / 2 - ahead, tip)
    over_side = jacks + np.hypot(jacks - beside, tip)
    assert np.min(wire - np.maximum(np.maximum(falls, over_end), over_side)) >= least
    assert least == pytest.approx({13: 10, 138: 15, 345: 20, 500: 25, 765: 45}[voltage] * FOOT_M)  # Table A


def test_the_mission_may_say_width_and_error():
    need = line_need(mission(power_lines={"half_width_m": 2.5, "position_error_m": 1.0}), 345)
    assert (need.half_width_m, need.position_error_m) == (2.5, 1.0)


def test_above_1000_kv_nothing_is_judged_and_all_near_it_is_out():
    need = line_need(mission(), 1100)
    assert not need.judged
    assert math.isnan(need.needed_m)
    assert math.isnan(need.to_wire_m)
    assert need.rules_within_m == pytest.approx(NOT_JUDGED_WITHIN_M + 5 + mast_fall_m(mission()))


def test_a_former_default_is_nothing_that_anybody_said_of_a_line():
    old = mission(power_lines={"default_voltage_kv": 350.0})
    assert old.power_lines.voltage_at_most_kv is None
    (finding,) = old.findings
    assert (finding.code, finding.severity) == ("line_voltage_not_said", "check")
    assert "16 m (50 ft) of clearance, not 7 m (20 ft)" in said(finding, BOTH).message
    assert "voltage_at_most_kv = 350" in said(finding).remedy
    named = mission(power_lines={"default_voltage_kv": 13})
    assert named.power_lines.voltage_at_most_kv == 13
    assert [f.code for f in named.findings] == ["field_renamed"]
    assert mission_from_dict(json.loads(json.dumps(named.draft()))).findings == named.findings


LINES = [
    ([(100, 1000), (1300, 1000)], 115.0, None),
    ([(1350, 1500), (2200, 1900)], None, 11.0),
    ([(2150, 1000), (2150, 1300)], 1100.0, 60.0),
    ([(1500, 1100), (1600, 1250), (1900, 1250)], 500.0, None),
]


@pytest.fixture(scope="module")
def judge(tmp_path_factory):
    path = write_mission(tmp_path_factory.mktemp("lines"))
    folder, (_, volts, heights) = load_mission(path).base, zip(*LINES, strict=True)
    gpd.GeoDataFrame(
        {"name": ["Tie", None, "Trunk", "Ring"], "voltage_kv": volts, "height_m": heights},
        geometry=[LineString([at(*p) for p in points]) for points, *_ in LINES],
        crs=CRS,
    ).to_file(folder / "lines.gpkg", driver="GPKG")
    study = load_study(load_mission(path), Stages(None))
    ruling, way, _ = rule_ground(study, Stages(None))
    return Judge(study, ruling, way)


def explained(judge, x, y):
    lon, lat = (float(v) for v in judge.study.elevation.lonlat(*at(x, y)))
    return explain_with(judge, judge.study.mission, lat, lon, [])


def test_every_cell_is_ruled_as_its_middle_is_judged(judge):
    grid, frame = judge.study.elevation, judge.study.overlay("power_lines")
    rng = np.random.default_rng(3)
    places = rng.uniform((900, 800), (2500, 2000), (400, 2)).tolist()
    broken = 0
    for x, y in places:
        cell = grid.cell(*at(x, y))
        if not judge.study.search_ground[cell]:
            continue
        middle = tuple(float(v) for v in grid.xy(*cell))
        hit = "power_line" in codes_of(int(judge.ruling.cells.values[cell]))
        line = line_keep_away(frame, judge.study.mission, *middle)
        assert hit == line.broken, (middle, line)
        broken += hit
    assert 20 < broken < 380


@pytest.mark.parametrize(("dx", "dy"), product((1420.0, 1575.0, 1700.0), (1120.0, 1330.0, 1560.0)))
def test_an_explained_point_names_the_same_line_and_parts(judge, dx, dy):
    found = explained(judge, dx, dy).evaluation
    line = line_keep_away(judge.study.overlay("power_lines"), judge.study.mission, found.spot.x, found.spot.y)
    assert found.line == line
    said_out = [b for b in found.failed if b.code == "power_line"]
    assert bool(said_out) == line.broken
    record = evaluation_record(found)["overhead_line"]
    names = ("clearance_m", "half_width_m", "position_error_m", "reach_m")
    assert sum(record[n] for n in names) == pytest.approx(record["needed_m"])
    for breach in said_out:
        words = breach_words(breach)
        for part in ("clearance", "outer wires", "map and parking", "falls or tips"):
            assert part in words


def test_a_line_above_the_table_rules_out_and_says_why(judge):
    found = explained(judge, 2060, 1150).evaluation
    (breach,) = [b for b in found.failed if b.code == "power_line"]
    words = breach_words(breach)
    assert "Trunk (1100 kV) is 9" in words
    assert "only its owner or a qualified engineer" in words
    assert "1926.1409(b)" in words
    assert wires_words(found.line, BOTH) == "its owner sets the distance"
    assert not math.isfinite(evaluation_record(found)["overhead_line"]["needed_m"])


def test_what_is_not_known_of_a_line_is_said(judge):
    line = explained(judge, 1420, 1560).evaluation.line
    words = line_words(line, BOTH)
    assert "an overhead line (voltage not known, wires from 11 m (36 ft) up)" in words
    assert "1926.1409(a)" in need_words(line)
    assert "to the nearest wire" in words
    assert line.height_m == 11.0
    assert "not clear" in line_words(None)
