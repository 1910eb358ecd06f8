"""Structures, water, trees and soft ground by hand: where they rule out, what is told, what the rig can swing round.

The valley of `conftest`: a plane that rises 1 in 100 to the north, 10 m cells. Distances are worked out on paper.
"""

from __future__ import annotations

import math
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, box

from siteplanner import load_mission
from siteplanner.planning.limits.cells import rule_ground
from siteplanner.planning.limits.ruling import codes_of
from siteplanner.planning.limits.site_limits import (
    footprint_reach_m,
    guy_reach_m,
    road_room_m,
    structure_room_m,
    water_room_m,
)
from siteplanner.planning.plan.detail import in_detail
from siteplanner.planning.spots.evaluate import Judge, evaluate
from siteplanner.planning.spots.room import room_to_turn
from siteplanner.planning.spots.surroundings import look_round, worst_tree
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import evaluation_record
from siteplanner.planning.telling.room import room_words
from tests.planning.conftest import CELL, CRS, HEIGHT, at, valley, write_mission
from tests.planning.open_ground import spot_in
from tests.planning.reasons import reasons_of

LAYERS = 'surface = "dsm.tif"\nstructures = "s.gpkg"\nwater = "w.gpkg"\nsoft_ground = "bog.gpkg"'


def write(folder, **changes):
    path = write_mission(folder, layers=LAYERS, **changes)

    def save(file, shapes, **columns):
        gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS).to_file(folder / file)

    save(
        "s.gpkg",
        [box(*at(1700, 950), *at(1720, 960)), LineString([at(2200, 940), at(2280, 940)]), Point(at(1300, 935))],
        name=["Hay barn", "Fence", None],
    )
    save(
        "w.gpkg",
        [LineString([at(1400, 700), at(1400, 890)]), box(*at(1800, 910), *at(1850, 990))],
        name=["Mill Ditch", "Pond"],
    )
    save("bog.gpkg", [box(*at(1900, 910), *at(1990, 960))], name=["Alder bog"])
    surface = valley()
    row = int((HEIGHT - 935) / CELL)
    surface[row, 210] += 18  # one tree of 18 m in the cell x 2100..2110, y 930..940
    with rasterio.open(folder / "dem.tif") as source:
        profile = source.profile
    with rasterio.open(folder / "dsm.tif", "w", **profile) as out:
        out.write(surface, 1)
        out.units = ("m",)
    return path


def judged(path):
    study = load_study(load_mission(path), Stages(None))
    ruling, way, _ = rule_ground(study, Stages(None))
    return Judge(study, ruling, way)


@pytest.fixture(scope="module")
def judge(tmp_path_factory):
    return judged(write(tmp_path_factory.mktemp("ground")))


def cell_at(judge, x, y):
    return judge.study.elevation.cell(*at(x, y))


def here(judge, x, y):
    """(spot at the centre of the cell of x, y; its cell)."""
    cell = cell_at(judge, x, y)
    return spot_in(judge.study, *cell), cell


def codes(judge, x, y):
    return set(codes_of(int(judge.ruling.cells.values[cell_at(judge, x, y)])))


def told(judge, x, y):
    spot, cell = here(judge, x, y)
    return {f.code: f for f in look_round(judge.study, spot, cell, None).findings}


def test_the_circle_round_the_trailer_is_its_diagonal(judge):
    # closed form: half of 6.0 m, and half of 2.4 m with an outrigger of 4 ft
    assert footprint_reach_m(judge.study.mission.trailer) == pytest.approx(math.hypot(3.0, 1.2 + 1.2192))
    assert structure_room_m(judge.study.mission) == pytest.approx(math.hypot(3.0, 2.4192) + 3.0)


def test_structures_keep_the_trailer_off_by_footprint_and_clearance(judge):
    room = structure_room_m(judge.study.mission)  # 6.85 m
    # cell centres south of the barn's wall at y = 950: y = 945 is 5 m away, y = 935 is 15 m
    assert {y: "structure" in codes(judge, 1705, y) for y in (935, 945, 955)} == {935: False, 945: True, 955: True}
    assert "structure" in codes(judge, 2245, 945)  # a fence is a structure
    assert "structure" in codes(judge, 1305, 935)  # so is a tank drawn as a point, 5 m away
    assert "structure" not in codes(judge, 1315, 935)
    failed = reasons_of(evaluate(judge, here(judge, 1705, 945)[0]))
    assert failed["structure"].startswith(
        f"Hay barn is 5.0 m away; trailer, outriggers and a clearance of 3 m need {room:.1f} m."
    )


def test_every_spot_is_judged_as_its_cell_is_ruled(judge):
    new = {"structure", "water", "trees_on_spot", "soft_ground"}
    for x, y in (
        (1705, 945),
        (1705, 935),
        (1305, 935),
        (1805, 905),
        (1825, 945),
        (2105, 935),
        (2115, 935),
        (1945, 935),
        (1405, 875),
        (1415, 875),
    ):
        failed = set(reasons_of(evaluate(judge, here(judge, x, y)[0])))
        assert failed & new == codes(judge, x, y) & new, (x, y)


def test_water_is_kept_off(judge):
    assert "water" in codes(judge, 1825, 945)
    assert "water" in codes(judge, 1805, 905)  # 5 m from the pond's edge
    assert "water" not in codes(judge, 1865, 945)  # 15 m
    assert "water" in codes(judge, 1405, 875)  # 5 m from the ditch's line
    reasons = reasons_of(evaluate(judge, here(judge, 1825, 945)[0]))
    assert reasons["water"] == "The spot lies in water (Pond); 10 m is kept from it."


def test_trees_on_the_spot_and_beside_it(judge):
    assert "trees_on_spot" in codes(judge, 2105, 935)
    assert "trees_on_spot" not in codes(judge, 2115, 935)  # the tree's cell begins 5 m away, the footprint ends at 3.9
    assert "18 m tall" in reasons_of(evaluate(judge, here(judge, 2105, 935)[0]))["trees_on_spot"]
    # 35 m east of the tree's cell centre: nearest edge 30 m away, 18 m tall: neither mast nor trailer meets it
    assert "trees_near" not in told(judge, 2140, 935)
    spot, cell = here(judge, 2115, 935)
    tree = worst_tree(judge.study, spot, cell)
    assert (tree.height_m, tree.distance_m) == pytest.approx((18.0, 5.0), abs=0.01)
    assert tree.reaches_trailer
    turn = judge.study.elevation.convergence_deg(spot.x, spot.y)
    assert tree.bearing_deg == pytest.approx((270 + turn) % 360, abs=1e-6)
    assert told(judge, 2115, 935)["trees_near"].severity == "warning"


def test_a_tree_too_short_to_reach_the_trailer_may_still_meet_the_mast(judge):
    # distance 15 m to the edge of its cell; mast fall 16.5 m; a tree of 18 m reaches 15 - 3.9 m easily, one of 6 m not
    spot, cell = here(judge, 2125, 935)
    assert worst_tree(judge.study, spot, cell).reaches_trailer
    short = judge.study.obstacles.values.copy()
    short[cell_at(judge, 2105, 935)] -= 12
    study = judge.study.__class__(
        **{
            **{f: getattr(judge.study, f) for f in judge.study.__dataclass_fields__},
            "obstacles": judge.study.obstacles.with_values(short),
        }
    )
    tree = worst_tree(study, spot, cell)
    assert not tree.reaches_trailer
    (finding,) = [f for f in look_round(study, spot, cell, None).findings if f.code == "trees_near"]
    assert finding.severity == "check"
    assert "within reach of the mast" in said(finding).message


def test_soft_ground_warns_and_rules_out_only_when_asked(judge, tmp_path):
    assert codes(judge, 1945, 935) == set()
    assert "Alder bog" in said(told(judge, 1945, 935)["soft_ground"]).message
    assert "soft_ground" not in told(judge, 1945, 975)
    strict = judged(write(tmp_path, site="soft_ground_rules_out = true"))
    assert "soft_ground" in codes(strict, 1945, 935)
    assert reasons_of(evaluate(strict, here(strict, 1945, 935)[0]))["soft_ground"].startswith("Soft ground (Alder")
    leg = evaluate(judge, here(judge, 1945, 965)[0])
    assert leg.access.last_leg.intersects(box(*at(1900, 910), *at(1990, 960)))
    assert "soft_last_leg" in {f.code for f in leg.findings}


def test_a_structure_in_the_fall_circle_is_told(judge):
    assert "structure_in_mast_fall" in told(judge, 1705, 935)  # 15 m from the barn; 1.1 x 15 m = 16.5 m
    assert "structure_in_mast_fall" not in told(judge, 1705, 925)


def room_at(study, x, y):
    return room_to_turn(study, *at(x, y))


def test_room_to_turn_is_the_largest_free_circle(judge):
    # open ground: the measure stops at twice the need, the turning radius and half a width
    rig = judge.study.mission.rig
    need = rig.turning_radius_m + rig.width_m / 2
    open_ground = room_at(judge.study, 2545, 935)
    assert (open_ground.state, open_ground.free_radius_m) == ("yes", pytest.approx(2 * need))
    assert open_ground.limited_by == ""
    # 8 m from the west wall of the pond a circle fits beside it, its centre a turning radius farther west
    bank = room_at(judge.study, 1792, 945)
    assert (bank.state, bank.limited_by) == ("yes", "water")
    assert bank.free_radius_m == pytest.approx(8 + rig.turning_radius_m)
    # a yard 20 m wide between two fences 1 km long: no circle is larger than half of it, 10 m; one 23 m wide has room
    for width, state in ((20, "no"), (23, "yes")):
        fences = gpd.GeoDataFrame(
            {"name": ["a", "b"]},
            crs=CRS,
            geometry=[
                LineString([at(1000, 1115 - width / 2), at(2000, 1115 - width / 2)]),
                LineString([at(1000, 1115 + width / 2), at(2000, 1115 + width / 2)]),
            ],
        )
        study = replace(judge.study, overlays={**judge.study.overlays, "structures": fences})
        yard = room_at(study, 1645, 1115)
        assert yard.free_radius_m == pytest.approx(width / 2, abs=0.01)
        assert (yard.state, yard.limited_by) == (state, "structures")
        found = [f for f in look_round(study, *here(judge, 1645, 1115), None).findings if f.code == "no_swing_room"]
        assert bool(found) == (state == "no")
        if found:
            assert "11.4 m" in said(found[0]).message
            assert "10.0 m" in said(found[0]).message


def test_steep_ground_leaves_no_room(judge):
    # x > 2600 falls away at 30 %, 16.7 deg: steeper than the 8 deg that the rig takes over ground
    room = room_at(judge.study, 2655, 935)
    assert (room.state, room.free_radius_m, room.limited_by) == ("no", 0.0, "steep")
    assert "no_swing_room" in told(judge, 2655, 935)


def test_soft_ground_and_the_lone_tree_take_room(judge):
    assert room_at(judge.study, 1945, 935).limited_by == "soft_ground"
    beside = room_at(judge.study, 2095, 935)  # in the cell beside the tree's
    assert (beside.state, beside.limited_by) == ("yes", "obstacle")


@settings(max_examples=25, deadline=None)
@given(st.floats(1320, 2680), st.floats(905, 1190))
def test_crew_driver_radio_and_record_say_the_same_wherever_one_stands(judge, x, y):
    """The finding, the value, the drive as told, the words and plan.json, each asked for the same spot."""
    spot, _ = here(judge, x, y)
    e = in_detail(judge, evaluate(judge, spot))
    room = e.ground.room
    assert ("no_swing_room" in {f.code for f in e.findings}) == (room.state == "no")
    record = evaluation_record(e)
    assert record["ground"]["room"]["state"] == room.state
    assert (room.state == "yes") == (record["ground"]["swing_room_m"] >= room.needed_m - 1e-9)
    if e.access is None:
        return
    turning = record["access"]["turning"]
    assert turning["at_spot"] is room.is_enough
    assert turning["circle_radius_m"] == room.needed_m
    start = {"yes": "Room to turn at the spot", "no": "No room to turn at the spot", "unknown": "Not known whether"}
    assert room_words(room).startswith(start[room.state])
    for text in (turning["sentence"], *record["access"]["radio"][-1:]):
        assert text.startswith(start[room.state])


def test_the_last_leg_goes_round_fences_and_water(judge):
    free = judge.way.distance_m
    assert np.isinf(free[cell_at(judge, 2245, 945)])  # on the fence
    # the fence lies 40 m north of the road: behind its middle the way goes round an end
    assert free[cell_at(judge, 2245, 955)] > 1.3 * 55


def test_low_ground_beside_mapped_water_and_runoff(judge):
    spot, cell = here(judge, 1865, 945)
    above = look_round(judge.study, spot, cell, None).above_drainage_m
    # the plane falls south: rain runs straight down its own column and off the raster, past no channel
    assert math.isnan(above)
    spot, cell = here(judge, 1825, 1015)
    around = look_round(judge.study, spot, cell, None)
    # due north of the pond, 1 in 100: its shore cell y 980..990 is 3 cells down
    assert around.above_drainage_m == pytest.approx(0.3, abs=0.02)
    low = {f.code: f for f in around.findings}["low_ground"]
    assert low.severity == "warning"
    assert "Flash flood: check upstream." in said(low).message
    # 2000 m - 1015 m of slope above: more than 300 m; where the ground is not low, that is said
    assert look_round(judge.study, *here(judge, 1945, 1015), None).slope_above_m == pytest.approx(990, abs=11)
    assert "runoff" in told(judge, 1945, 1015)


GUYS = "guys = 4\nguy_radius_m = 16"
GUY_REACH = math.hypot(3.0, 1.2) + 16.0  # closed form: the mast may stand at any corner of the body


@pytest.fixture(scope="module")
def guyed(tmp_path_factory):
    return judged(write(tmp_path_factory.mktemp("guyed"), trailer=GUYS))


def test_guy_anchors_reach_beyond_the_trailer(guyed, judge):
    mission, bare = guyed.study.mission, judge.study.mission
    assert guy_reach_m(mission) == pytest.approx(GUY_REACH)
    assert structure_room_m(mission) == pytest.approx(GUY_REACH)
    assert water_room_m(mission) == pytest.approx(GUY_REACH)
    # half a road and its shoulder, 8 m less the footprint, on top of the anchors
    assert road_room_m(mission) == pytest.approx(8.0 - math.hypot(3.0, 2.4192) + GUY_REACH)
    assert guy_reach_m(bare) == 0
    assert (road_room_m(bare), water_room_m(bare)) == (8.0, 10.0)


def test_anchors_have_their_room_or_the_ground_is_out(guyed, judge):
    # 15 m from the barn's wall, from the road's centre line and from the ditch: enough without guys, not with them
    for x, y, code in ((1705, 935, "structure"), (2605, 915, "roadway"), (1415, 775, "water")):
        assert code not in codes(judge, x, y)
        assert code in codes(guyed, x, y)
    for x, y, code in ((1705, 925, "structure"), (2605, 925, "roadway"), (1425, 775, "water")):
        assert code not in codes(guyed, x, y)
    # 15 m from the tree's cell: a guy would run into it
    assert "trees_on_spot" in codes(guyed, 2085, 935)
    assert "trees_on_spot" not in codes(judge, 2085, 935)


def test_a_spot_with_guys_is_judged_as_its_cell_is_ruled(guyed):
    for x, y in ((1705, 935), (1705, 925), (2605, 915), (2605, 925), (1415, 775), (1425, 775), (2085, 935)):
        spot, cell = here(guyed, x, y)
        found = {b.code for b in evaluate(guyed, spot).failed}
        new = {"structure", "water", "roadway", "trees_on_spot"}
        assert found & new == set(codes_of(int(guyed.ruling.cells.values[cell]))) & new, (x, y)
    failed = reasons_of(evaluate(guyed, here(guyed, 1705, 935)[0]))
    assert "trailer with outriggers and guy anchors" in failed["structure"]
    assert f"{math.ceil(10 * GUY_REACH) / 10} m" in failed["structure"]


def test_guys_are_said_once(tmp_path):
    from siteplanner.errors import InputError
    from siteplanner.mission import mission_from_dict

    def mission(**tables):
        layers = {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson"}
        return mission_from_dict({"layers": layers, "staging": {"latitude": 44.0, "longitude": -111.0}, **tables})

    assert mission().guys == 0
    assert mission(wind={"mast_guyed": True}).guys == 4
    assert mission(trailer={"guys": 3}).guys == 3
    assert mission(trailer={"guys": 3}).trailer.guy_anchors_m == pytest.approx(0.75 * 15)
    with pytest.raises(InputError, match=r"trailer\.guys = 0 and wind\.mast_guyed = true say different things"):
        mission(trailer={"guys": 0}, wind={"mast_guyed": True})
