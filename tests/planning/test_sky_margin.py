"""The margin raster of a plan against the exact look of single spots and against the ruling."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siteplanner.mission import Satellite
from siteplanner.planning.limits.cells import sky_hits
from siteplanner.planning.limits.ruling import BITS, OUTSIDE
from siteplanner.planning.limits.toward import look_at, margin_to_allow_deg
from siteplanner.planning.spots.candidates import spot_at
from siteplanner.planning.spots.margin_raster import margin_toward, sky_margin, step_for
from siteplanner.planning.study.inputs import dish_view, sky_limit_inputs


@pytest.fixture(scope="module")
def study(valley_plan):
    return valley_plan.judge.study


def with_sky(study, **changes):
    mission = study.mission.model_copy(update={"sky": study.mission.sky.model_copy(update=changes)})
    return replace(study, mission=mission)


EAST, SOUTH = Satellite(name="east", longitude_deg=-60.0), Satellite(name="south", longitude_deg=-111.0)


def verdicts(study, cells, slot=-111.0):
    """What a spot in the middle of each cell would be told: (state, margin)."""
    for cell in cells:
        lines = look_at(dish_view(study), spot_at(study.elevation, *cell, ""), cell, np.array([slot]))
        yield lines.state[0], float(lines.margin_deg[0])


def test_each_cell_has_the_margin_of_a_spot_in_its_middle(valley_plan, study):
    layer, grid = valley_plan.scene.sky_margin(), study.elevation
    assert layer.cell_size_m == grid.cell_size_m  # a small search ground keeps every cell
    places = np.random.default_rng(1).integers(0, layer.shape, (200, 2)).tolist()
    cells = [grid.cell(*(float(v) for v in layer.xy(row, col))) for row, col in places]
    checked = 0
    for (row, col), cell, (_, margin) in zip(places, cells, verdicts(study, cells), strict=True):
        if study.search_ground[cell]:
            assert layer.values[row, col] == pytest.approx(margin, abs=0.005, nan_ok=True)
            checked += np.isfinite(margin)
        else:
            assert np.isnan(layer.values[row, col])
    assert checked > 50


def test_the_ruling_says_of_a_cell_what_a_spot_in_its_middle_is_told(study):
    """All but cells within 0.02 deg of the limit, by which the raster's one look a tile may be off."""
    blocked, unknown, _ = sky_hits(sky_limit_inputs(study), lambda share: None)
    rows, cols = np.nonzero(study.search_ground)
    pick = np.random.default_rng(2).integers(0, len(rows), 600)
    cells = list(zip(rows[pick].tolist(), cols[pick].tolist(), strict=True))
    seen = set()
    for cell, (state, margin) in zip(cells, verdicts(study, cells), strict=True):
        if not abs(margin - study.mission.sky.min_margin_deg) < 0.02:
            assert ("blocked" if blocked[cell] else "unknown" if unknown[cell] else "clear") == state, cell
            seen.add(state)
    assert {"clear", "blocked"} <= seen


def test_the_margin_that_would_have_to_be_allowed_is_kept_by_the_rule_that_judges_spots(study):
    study = with_sky(study, dish_diameter_m=0.45)  # a beam wide enough to pass the wall's end on one side
    blocked, _, _ = sky_hits(sky_limit_inputs(study), lambda share: None)
    rows, cols = np.nonzero(blocked & study.search_ground)
    seen = {"kept": 0, "cut short": 0}
    for cell in zip(rows[::25].tolist(), cols[::25].tolist(), strict=True):
        allowed = margin_to_allow_deg(study, *cell)
        state, margin = next(verdicts(study, [cell]))
        if state != "blocked":  # so near to the limit that the raster's one look a tile may differ
            continue
        for change, state in ((-1e-6, "unknown" if np.isnan(allowed) else "clear"), (1e-6, "blocked")):
            other = with_sky(study, min_margin_deg=margin + change)
            assert next(verdicts(other, [cell]))[0] == state
        if np.isfinite(allowed):
            assert allowed == pytest.approx(margin, abs=1e-9)
        seen["cut short" if np.isnan(allowed) else "kept"] += 1
    assert min(seen.values()) > 0


def test_of_two_satellites_the_better_or_the_worse_must_be_allowed(study):
    blocked, _, _ = sky_hits(
        sky_limit_inputs(with_sky(study, satellites=(EAST, SOUTH), need="any")), lambda share: None
    )
    rows, cols = np.nonzero(blocked & study.search_ground)
    checked = 0
    for cell in zip(rows[::60].tolist(), cols[::60].tolist(), strict=True):
        one, two, best, worst = (
            margin_to_allow_deg(with_sky(study, satellites=chosen, need=need), *cell)
            for chosen, need in (((EAST,), "any"), ((SOUTH,), "any"), ((EAST, SOUTH), "any"), ((EAST, SOUTH), "all"))
        )
        assert best == pytest.approx(np.fmax(one, two), nan_ok=True)
        assert worst == pytest.approx(np.minimum(one, two), nan_ok=True)
        checked += 1
    assert checked > 3
    low = with_sky(study, satellites=(SOUTH,), min_elevation_deg=80.0)
    assert np.isnan(margin_to_allow_deg(low, int(rows[0]), int(cols[0])))


def test_it_agrees_with_the_ruling(valley_plan):
    """The ruling takes one look angle a tile (0.02 deg), so only cells that near to the limit may differ."""
    layer, ruling = valley_plan.scene.sky_margin(), valley_plan.scene.ruling
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


@pytest.mark.parametrize("most_deg", [0.5, 6.0, 12.0])
def test_wide_margins_are_told_as_wide_and_all_others_as_they_are(study, most_deg):
    """The classes of the map need no more; the mission's own least margin is never cut short."""
    both = with_sky(study, satellites=(EAST, SOUTH), need="all")
    exact, quick = sky_margin(both).values, sky_margin(both, most_deg=most_deg).values
    most_deg = max(most_deg, both.mission.sky.min_margin_deg)
    assert np.nanmax(exact) > most_deg > np.nanmin(exact)
    np.testing.assert_array_equal(np.isnan(quick), np.isnan(exact))
    np.testing.assert_allclose(np.minimum(quick, most_deg), np.minimum(exact, most_deg), atol=1e-5)


def test_a_coarser_step_holds_the_exact_values_of_its_middle_cells(study):
    assert step_for(study) == 1
    fine, coarse = sky_margin(study, 1), sky_margin(study, 3)
    assert coarse.cell_size_m == 30.0
    for row, col in ((0, 0), (20, 30), (41, 66)):
        x, y = (float(v) for v in coarse.xy(row, col))
        np.testing.assert_array_equal(coarse.values[row, col], fine.values[fine.cell(x, y)])


def test_no_search_ground_no_layer(study):
    assert sky_margin(replace(study, search_ground=np.zeros_like(study.search_ground))) is None
