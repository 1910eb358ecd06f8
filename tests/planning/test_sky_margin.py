"""The margin raster of a plan against the exact look of single spots and against the ruling."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siteplanner.core.geodesy import look_angles
from siteplanner.core.horizon import horizon_reach
from siteplanner.mission import Satellite
from siteplanner.planning.limits.ruling import BITS, OUTSIDE
from siteplanner.planning.spots.margin_raster import margin_toward, sky_margin, step_for


@pytest.fixture(scope="module")
def study(valley_plan):
    return valley_plan.extra["judge"].study


def with_sky(study, **changes):
    mission = study.mission.model_copy(update={"sky": study.mission.sky.model_copy(update=changes)})
    return replace(study, mission=mission)


EAST, SOUTH = Satellite(name="east", longitude_deg=-60.0), Satellite(name="south", longitude_deg=-111.0)


def test_each_cell_is_the_satellite_less_the_exact_skyline_along_the_beam(valley_plan, study):
    layer, grid = valley_plan.scene.sky_margin, study.elevation
    assert layer.cell_size_m == grid.cell_size_m  # a small search ground keeps every cell
    checked = 0
    for row, col in np.random.default_rng(1).integers(0, layer.shape, (200, 2)).tolist():
        x, y = (float(v) for v in layer.xy(row, col))
        cell = grid.cell(x, y)
        lon, lat = grid.lonlat(x, y)
        azimuth, elevation, _ = look_angles(lat, lon, 1500.0, -111.0)
        seen, known_to = horizon_reach(
            grid.values, 10.0, *cell, azimuth - grid.convergence_deg(x, y), 2.0, known=study.blocks
        )
        if np.isfinite(layer.values[row, col]):
            assert layer.values[row, col] == pytest.approx(elevation - float(seen), abs=0.005)
            checked += 1
        elif study.search_ground[cell]:
            assert np.isfinite(known_to)
    assert checked > 50


def test_it_agrees_with_the_ruling(valley_plan):
    """The ruling takes one look angle a tile (0.02 deg), so only cells that near to the limit may differ."""
    layer, ruling = valley_plan.scene.sky_margin, valley_plan.scene.ruling
    row, col = (round(float(v)) for v in ruling.rowcol(*layer.xy(0, 0)))
    bits = ruling.values[row : row + layer.shape[0], col : col + layer.shape[1]]
    inside, margin = (bits & OUTSIDE) == 0, layer.values
    blocked = (bits & BITS["sky_blocked"]) != 0
    unknown = (bits & (BITS["sky_unknown"] | BITS["no_data"])) != 0
    assert blocked[inside].any()
    assert (margin[inside & blocked] < 2.02).all()
    assert (margin[inside & ~blocked & ~unknown] > 1.98).all()
    assert np.isnan(margin[~inside]).all()


def test_any_takes_the_best_and_all_the_worst(study):
    each = [margin_toward(study, s)[0].values for s in (EAST, SOUTH)]
    best = sky_margin(with_sky(study, satellites=(EAST, SOUTH), need="any")).values
    worst = sky_margin(with_sky(study, satellites=(EAST, SOUTH), need="all")).values
    both = np.isfinite(each).all(axis=0)
    assert both.any()
    np.testing.assert_array_equal(best[both], np.max(each, axis=0)[both])
    np.testing.assert_array_equal(worst[both], np.min(each, axis=0)[both])
    # one that is known to be clear decides where any will do, one that is known to be blocked where all must
    one = np.isnan(each[0]) & (each[1] >= 2)
    np.testing.assert_array_equal(best[one], each[1][one])
    assert np.isnan(worst[one]).all()


def test_a_satellite_too_low_does_not_count_where_any_will_do(study):
    low = Satellite(name="low", longitude_deg=-178.0)
    alone = sky_margin(with_sky(study, satellites=(low,), need="any", min_elevation_deg=30.0))
    assert alone is None
    beside = sky_margin(with_sky(study, satellites=(low, SOUTH), need="any", min_elevation_deg=30.0))
    np.testing.assert_array_equal(beside.values, margin_toward(study, SOUTH)[0].values)


def test_a_coarser_step_holds_the_exact_values_of_its_middle_cells(study):
    assert step_for(study) == 1
    fine, coarse = sky_margin(study, 1), sky_margin(study, 3)
    assert coarse.cell_size_m == 30.0
    for row, col in ((0, 0), (20, 30), (41, 66)):
        x, y = (float(v) for v in coarse.xy(row, col))
        np.testing.assert_array_equal(coarse.values[row, col], fine.values[fine.cell(x, y)])


def test_no_search_ground_no_layer(study):
    assert sky_margin(replace(study, search_ground=np.zeros_like(study.search_ground))) is None
