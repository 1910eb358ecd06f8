"""The horizon diagram's figures against closed forms, and at the ends of the Earth."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from siteplanner import explain
from siteplanner.core.geodesy import look_angles
from siteplanner.core.horizon import horizon_deg
from siteplanner.mission import Satellite, Sky
from siteplanner.outputs.write import json_text
from siteplanner.planning.plan.pipeline import rescore
from siteplanner.planning.spots.evaluate import judge_sky
from siteplanner.planning.spots.skyline import (
    TREE_DISTANCES_M,
    arc_longitudes,
    line_height_m,
    possible_horizon_deg,
    skyline,
)
from siteplanner.planning.study.inputs import dish_view
from siteplanner.planning.telling.record import plan_record
from tests.planning.open_ground import spot_in, study_on

HALF_CURVATURE = 1 / (2 * 4 / 3 * 6_371_000.0)  # ITU-R P.526-15 section 2, k = 4/3


def figure_of(study, row, col):
    spot = spot_in(study, row, col)
    return skyline(dish_view(study), spot, judge_sky(dish_view(study), spot, (row, col)))


def test_a_bowl_has_the_same_skyline_all_round():
    """A cone opening upward, rise 0.2: tangent (0.2 d - 2) / d - d / 2a at its rim, the same in every direction."""
    rows, cols = np.mgrid[-150:151, -150:151]
    away = np.hypot(rows, cols) * 10.0
    bowl = np.where(away <= 1200, 0.2 * away, 0.0)
    figure = figure_of(study_on(bowl), 150, 150)
    rim = 1200.0
    expected = math.degrees(math.atan((0.2 * rim - 2) / rim - rim * HALF_CURVATURE))
    assert figure.bare_deg == pytest.approx(np.full(360, expected), abs=0.12)  # the rim is cut by cells of 10 m
    assert figure.surface_deg is None
    assert not figure.unknown.any()


def test_bearings_are_true_not_grid():
    """A single peak stands at the true bearing that geodesy gives, 2 degrees off the grid's in this zone's corner."""
    ground = np.zeros((401, 401))
    ground[20:23, 199:202] = 300.0  # due grid north
    study = study_on(ground, latitude=60.0, longitude=-108.2)  # UTM 12, central meridian 111 W
    spot = spot_in(study, 200, 200)
    figure = skyline(dish_view(study), spot, ())
    from pyproj import Geod

    peak_lon, peak_lat = study.elevation.lonlat(*study.elevation.xy(21, 200))
    true, _, _ = Geod(ellps="WGS84").inv(spot.longitude, spot.latitude, peak_lon, peak_lat)
    assert abs(study.elevation.convergence_deg(spot.x, spot.y)) > 2
    assert int(np.argmax(figure.bare_deg)) == pytest.approx(true % 360, abs=1.0)


def test_each_bearing_is_the_exact_horizon_of_the_core():
    rng = np.random.default_rng(3)
    ground = rng.normal(0, 30, (120, 120)).cumsum(0).cumsum(1) / 60
    study = study_on(ground, longitude=-109.0, obstacles=ground + rng.uniform(0, 25, ground.shape))
    figure = figure_of(study, 60, 61)
    turn = study.elevation.convergence_deg(*study.elevation.xy(60, 61))
    walk = (study.elevation.values, 10.0, 60, 61, np.arange(360.0) - turn, 2.0)
    assert figure.bare_deg == pytest.approx(horizon_deg(*walk))
    assert figure.surface_deg == pytest.approx(horizon_deg(*walk, obstacles_m=study.obstacles.values))
    assert (figure.surface_deg >= figure.bare_deg).all()
    assert figure.highest_deg is figure.surface_deg


def test_where_the_elevation_ends_the_skyline_is_not_certain():
    """A plain with one high hill far to the west: near the east rim ground as high could stand beyond."""
    ground = np.zeros((201, 201))
    ground[95:106, 3:8] = 400.0
    figure = figure_of(study_on(ground), 100, 190)
    east = 90
    assert figure.unknown[east]
    assert figure.known_to_m[east] == pytest.approx(105, abs=6)  # ten cells to the last centre
    assert figure.bare_deg[east] < 0
    # 398 m above the eye, right where the raster ends
    assert figure.possible_deg[east] == pytest.approx(math.degrees(math.atan(398 / figure.known_to_m[east])), abs=0.1)
    assert figure.state(90.0, figure.possible_deg[east] + 1) == "clear"
    assert figure.state(90.0, 10.0) == "unknown"
    west = 270
    assert figure.bare_deg[west] > 12
    assert figure.state(270.0, 5.0) == "blocked"


def test_unknown_ground_seen_from_above_stands_highest_at_its_own_horizon():
    """Eye 100 m above the ceiling: tangent -100/d - d/2a, largest at d = sqrt(100 x 2a), for any nearer end."""
    best = math.sqrt(100 / HALF_CURVATURE)
    closed = math.degrees(math.atan(-100 / best - best * HALF_CURVATURE))
    got = possible_horizon_deg(np.array([-5.0, -5.0, 1.0]), np.array([500.0, np.inf, 500.0]), -100.0)
    assert got == pytest.approx([closed, -5.0, 1.0], abs=1e-6)


def test_states_between_degrees_and_across_north():
    ground = np.zeros((61, 61))
    figure = figure_of(study_on(ground), 30, 30)
    assert figure.state(359.7, 45.0) == "clear"
    assert figure.state(0.5, -3.0) == "blocked"


@pytest.mark.parametrize("elevation", [10.0, 38.5])
def test_how_tall_a_tree_may_be(elevation):
    """Closed form: 2 + d tan(E - margin) above the level of the dish's ground (the Earth's curve: 0.6 mm)."""
    got = line_height_m(np.array(TREE_DISTANCES_M), 2.0, elevation)
    assert got == pytest.approx([2 + d * math.tan(math.radians(elevation)) for d in (30, 60, 100)], abs=1e-3)


def test_a_tree_of_that_height_just_blocks_and_a_lower_one_does_not():
    """On falling ground: the tree stands on lower ground and may be taller by as much."""
    rows, _ = np.mgrid[-300:301, -300:301]
    ground = -0.1 * rows  # rows run south: the ground falls 1 in 10 toward the satellite
    sky = Sky(satellites=(Satellite(name="south", longitude_deg=-111.0),))
    study = study_on(ground, cell_size_m=2.0, sky=sky)
    figure = figure_of(study, 300, 300)
    by_distance = {t.distance_m: t for t in figure.trees}
    look = judge_sky(dish_view(study), spot_in(study, 300, 300), (300, 300))[0]
    assert look.azimuth_deg == pytest.approx(180, abs=0.01)
    for distance in (30.0, 60.0, 100.0):
        limit = by_distance[distance]
        assert limit.tree_m == pytest.approx(limit.line_m + 0.1 / 2 * distance, abs=0.05)
        cells = int(distance / 2)
        for extra, blocked in ((-0.3, False), (0.3, True)):
            trees = ground.copy()
            trees[300 + cells, 298:303] += limit.tree_m + extra
            there = study_on(ground, cell_size_m=2.0, sky=sky, obstacles=trees)
            margin = judge_sky(dish_view(there), spot_in(there, 300, 300), (300, 300))[0].margin_deg
            assert (margin < sky.min_margin_deg) is blocked


@pytest.mark.parametrize(
    ("latitude", "longitude", "middle"),
    [(45.0, -111.0, 180.0), (-33.0, 151.0, 0.0), (60.0, 179.5, 180.0), (0.5, 30.0, None)],
)
def test_the_arc_bends_toward_the_equator_everywhere(latitude, longitude, middle):
    """North and south of the equator, across the 180th meridian, and almost on the equator."""
    figure = figure_of(study_on(np.zeros((41, 41)), latitude=latitude, longitude=longitude), 20, 20)
    top = max(figure.arc, key=lambda p: p.elevation_deg)
    away = (np.array([p.satellite_longitude_deg for p in figure.arc]) - longitude + 180) % 360 - 180
    assert (np.diff(away) > 0).all()  # from west to east without a jump
    assert abs((top.satellite_longitude_deg - longitude + 180) % 360 - 180) <= 1.0
    if middle is not None:
        assert abs((top.azimuth_deg - middle + 180) % 360 - 180) < 3
    _, ends, _ = look_angles(
        latitude, longitude, 0.0, np.array([p.satellite_longitude_deg for p in figure.arc])[[0, -1]]
    )
    assert ends == pytest.approx([0, 0], abs=0.01)
    assert {p.state for p in figure.arc if p.elevation_deg > 1} == {"clear"}


def test_poleward_of_the_limit_there_is_no_arc():
    """No satellite stands above the level horizon beyond 81.33 degrees (WGS 84, root of the elevation)."""
    assert len(arc_longitudes(81.2, 10.0)) > 0
    assert len(arc_longitudes(81.4, 10.0)) == 0
    figure = figure_of(study_on(np.zeros((41, 41)), latitude=83.0, longitude=10.0), 20, 20)
    assert figure.arc == ()
    assert figure.trees == ()


def test_a_satellite_below_the_horizon_has_a_look_but_no_tree_limit():
    sky = Sky(satellites=(Satellite(name="far", longitude_deg=60.0), Satellite(name="near", longitude_deg=-110.0)))
    study = study_on(np.zeros((41, 41)), sky=sky)
    looks = judge_sky(dish_view(study), spot_in(study, 20, 20), (20, 20))
    assert looks[0].elevation_deg < 0
    assert not looks[0].clear
    assert {t.satellite_name for t in figure_of(study, 20, 20).trees} == {"near"}


def test_listed_spots_carry_it_and_plan_json_says_the_same(valley_plan):
    record = json.loads(json_text(plan_record(valley_plan)))
    for made, ranked in zip(record["spots"], valley_plan.spots, strict=True):
        figure = ranked.evaluation.skyline
        assert len(made["skyline"]["bare_deg"]) == 360
        assert made["skyline"]["bare_deg"][180] == pytest.approx(figure.bare_deg[180], abs=0.005)
        assert made["skyline"]["surface_deg"] is None
        assert [t["distance_m"] for t in made["skyline"]["tree_limits"]] == [30, 60, 100]
        assert len(made["skyline"]["satellite_arc"]) > 50
    behind = next(s for s in record["rejected"] if s["name"] == "behind the wall")
    assert max(h for h in behind["skyline"]["bare_deg"] if h is not None) > 35
    assert plan_record(valley_plan)["spots"][0]["skyline"]["margin_deg"] == 2.0


def test_rescoring_and_explaining_bring_it_too(valley_plan):
    other = rescore(valley_plan, valley_plan.mission.weights.model_copy(update={"coverage": 0.0, "access": 9.0}))
    assert all(r.evaluation.skyline is not None for r in other.spots)
    spot = valley_plan.best.spot
    assert explain(valley_plan, spot.latitude, spot.longitude).evaluation.skyline.bare_deg.shape == (360,)
