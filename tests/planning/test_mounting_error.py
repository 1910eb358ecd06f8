"""Sectors turned from their bearings on a mast that leans: the told mean and spread against drawn mounts."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from siteplanner.core.aim import served_probability
from siteplanner.core.antenna import SectorPattern
from siteplanner.core.link import LinkParameters, allowed_loss_db
from siteplanner.planning.choose.certainty import bias_of, doubt_of
from siteplanner.planning.choose.shared_errors import radio_spread_db
from siteplanner.planning.spots import mounting_error
from siteplanner.planning.spots.mounting_error import MountingDoubt, Toward, mounting_doubt
from siteplanner.planning.telling.certainty import figures_words

PARAMS, SIGMA_DB = LinkParameters(), 8.0
EDGE_DB = min(allowed_loss_db(PARAMS))
DRAWS = 4000


def scene(pattern, middle_deg=(60.0, 140.0), wide_deg=25.0, count=600, seed=0):
    """Places around two bearings, 1 to 3 degrees below the mast head, near the edge of service."""
    rng = np.random.default_rng(seed)
    bearing = rng.choice(middle_deg, count) + rng.normal(0, wide_deg, count)
    down, loss = rng.uniform(-3, -1, count), EDGE_DB + rng.normal(-4, 6, count)
    return Toward(np.full(count, 1 / count), loss, bearing % 360, down)


def drawn(toward, bearings, pattern, aim_deg, lean_deg, most=1.0):
    """Mean and standard deviation of the share over drawn mounts less the told share: every place, no parabola."""
    rng = np.random.default_rng(1)
    turned, north, east = rng.normal(0, aim_deg, DRAWS), rng.normal(0, lean_deg, DRAWS), rng.normal(0, lean_deg, DRAWS)
    at = np.radians(toward.bearing_deg)

    def share(turn, n, e):
        up = toward.elevation_deg + n * np.cos(at) + e * np.sin(at)
        chance, _ = served_probability(
            toward.loss_db, toward.bearing_deg - turn, up, bearings, PARAMS, pattern, sigma_db=SIGMA_DB
        )
        return float(np.nansum(toward.weight * np.minimum(chance, most)))

    each = np.array([share(*mount) for mount in zip(turned, north, east, strict=True)]) - share(0, 0, 0)
    return each.mean(), each.std()


@pytest.mark.parametrize("bearings", [(60.0, 140.0), (45.0, 155.0)])  # at the best, and off it to either side
@pytest.mark.parametrize(("aim_deg", "lean_deg"), [(3.0, 0.7), (8.0, 0.0), (0.0, 2.0)])
def test_mean_and_spread_are_those_of_drawn_mounts(bearings, aim_deg, lean_deg):
    pattern = SectorPattern(65.0, 20.0, 10.0, 20.0, 2.0)
    toward = scene(pattern)
    told = mounting_doubt(toward, np.array(bearings), PARAMS, pattern, SIGMA_DB, aim_deg, lean_deg)
    mean, spread = drawn(toward, bearings, pattern, aim_deg, lean_deg)
    assert told.bias == pytest.approx(mean, abs=max(0.15 * abs(mean), 3 * spread / math.sqrt(DRAWS), 1e-4))
    assert told.spread == pytest.approx(spread, rel=0.12)


def test_a_narrow_beam_feels_the_mount_and_one_alike_all_round_only_the_lean():
    narrow, wide = SectorPattern(20.0, 20.0, 10.0, 20.0, 2.0), SectorPattern(360.0, 20.0, 10.0, 20.0, 2.0)
    toward, bearings = scene(narrow), np.array([60.0, 140.0])
    by = {p.beamwidth_deg: mounting_doubt(toward, bearings, PARAMS, p, SIGMA_DB, 5.0, 0.0) for p in (narrow, wide)}
    assert by[20.0].spread > 0.005
    assert by[360.0].spread == pytest.approx(0.0, abs=1e-9)
    assert mounting_doubt(toward, bearings, PARAMS, wide, SIGMA_DB, 0.0, 2.0).spread > 0.005


def test_what_is_not_known_or_not_served_moves_nothing():
    pattern = SectorPattern()
    toward = scene(pattern, count=40)
    nothing = Toward(toward.weight, np.full(40, np.nan), toward.bearing_deg, toward.elevation_deg)
    assert mounting_doubt(nothing, np.array([60.0]), PARAMS, pattern, SIGMA_DB, 3.0, 1.0) == MountingDoubt(0.0, 0.0)
    exact = mounting_doubt(toward, np.array([60.0]), PARAMS, pattern, SIGMA_DB, 0.0, 0.0)
    assert exact.bias == pytest.approx(0.0, abs=1e-12)
    assert exact.spread == pytest.approx(0.0, abs=1e-12)


def test_a_part_of_many_places_stands_for_all(monkeypatch):
    pattern = SectorPattern(65.0, 20.0, 10.0, 20.0, 2.0)
    given = scene(pattern, count=40_000), np.array([45.0, 155.0]), PARAMS, pattern, SIGMA_DB, 3.0, 0.7
    few = mounting_doubt(*given)
    monkeypatch.setattr(mounting_error, "MOST_CELLS", 10**9)
    every = mounting_doubt(*given)
    assert few.spread == pytest.approx(every.spread, rel=0.05)
    assert few.bias == pytest.approx(every.bias, rel=0.1)


def test_each_spot_has_its_own_and_the_draws_take_it(valley_plan):
    for ranked in valley_plan.judged:
        e = ranked.evaluation
        assert e.coverage.mounting.bias <= 1e-4  # about the best bearings a share can only fall
        more = replace(e.coverage, mounting=MountingDoubt(-0.03, 0.2))
        by = [doubt_of("coverage", replace(e, coverage=c), valley_plan.mission) for c in (e.coverage, more)]
        assert by[1] == pytest.approx(math.hypot(by[0], 20.0), rel=1e-3)
        moved = [bias_of("coverage", replace(e, coverage=c)) for c in (e.coverage, more)]
        assert moved[1] - moved[0] == pytest.approx(-3.0 - 100 * e.coverage.mounting.bias)


def test_what_the_handsets_add_is_drawn_with_what_all_spots_share(valley_plan):
    mission = valley_plan.mission
    alone = mission.model_copy(update={"doubts": mission.doubts.model_copy(update={"handset_db": 0.0})})
    model = math.hypot(mission.radio.model_sigma_db, mission.doubts.season_db)
    assert (radio_spread_db(alone), radio_spread_db(mission)) == pytest.approx((model, math.hypot(model, 2.1)))
    assert "handsets, aim of the sectors" in figures_words(valley_plan.firmness)
