"""Sector aim against brute force over the cells themselves."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.core.aim import best_aim, best_sector_gain_db, expected_weight, lowest_good_stop, served_probability
from siteplanner.core.antenna import SectorPattern
from siteplanner.core.link import LinkParameters, allowed_loss_db, service_probability

PARAMS = LinkParameters()
PATTERN = SectorPattern(downtilt_deg=2.0)
ALLOWED_DB = min(allowed_loss_db(PARAMS))
# The search bins bearings to 2 degrees and margins to half a decibel: what that may cost of the best share.
SEARCH_LOSS = 0.002


def case(seed, cells=1500, stops=2, spread=180.0):
    """Cells around a mast, clustered in bearing, with margins on both sides of 0."""
    rng = np.random.default_rng([40, seed])
    centre = rng.uniform(0, 360, 3)
    bearing = (centre[rng.integers(3, size=cells)] + rng.normal(0, spread / 4, cells)) % 360
    loss = ALLOWED_DB + rng.normal(-2, 10, cells) - np.arange(stops)[:, None] * 2.0
    elevation = rng.normal(-2, 2, (stops, cells))
    weights = rng.choice([0.5, 1.0, 4.0], cells)
    return loss, bearing, elevation, weights


def share(loss, bearing, elevation, weights, sectors, sigma=8.0):
    probability, _ = served_probability(loss, bearing, elevation, sectors, PARAMS, PATTERN, sigma_db=sigma)
    return float(np.sum(weights * np.nan_to_num(probability)) / np.sum(weights))


def test_shares_are_those_of_the_cells():
    loss, bearing, elevation, weights = case(0)
    for sigma in (8.0, 3.0, 0.0):
        aim = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, sigma_db=sigma)
        for stop in range(2):
            expected = share(
                loss[stop].astype(np.float32),
                bearing.astype(np.float32),
                elevation[stop].astype(np.float32),
                weights,
                aim.bearings_deg[stop],
                sigma,
            )
            assert aim.shares[stop] == pytest.approx(expected, abs=2e-6 if sigma else 2e-3)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("sigma", [8.0, 0.0])
def test_one_sector_is_as_good_as_every_degree(seed, sigma):
    loss, bearing, elevation, weights = case(seed)
    aim = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, sectors=1, sigma_db=sigma)
    for stop in range(2):
        best = max(share(loss[stop], bearing, elevation[stop], weights, [b], sigma) for b in range(360))
        # A hard edge jumps with single cells: half a decibel of binning costs a little more.
        assert aim.shares[stop] > best - (SEARCH_LOSS if sigma else 0.006)


@pytest.mark.parametrize("seed", range(3))
def test_two_free_sectors_are_as_good_as_every_pair_of_the_grid(seed):
    loss, bearing, elevation, weights = case(seed, cells=600)
    aim = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, sectors=2)
    for stop in range(2):
        pairs = combinations(range(0, 360, 10), 2)
        best = max(share(loss[stop], bearing, elevation[stop], weights, pair) for pair in pairs)
        assert aim.shares[stop] > best - SEARCH_LOSS


def test_three_free_sectors_are_near_every_triple_of_a_coarse_grid():
    loss, bearing, elevation, weights = case(5, cells=400, stops=1)
    aim = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, sectors=3)
    triples = combinations(range(0, 360, 20), 3)
    best = max(share(loss[0], bearing, elevation[0], weights, triple) for triple in triples)
    assert aim.shares[0] > best - 2 * SEARCH_LOSS  # one sector after the other is not exhaustive


@pytest.mark.parametrize(("sectors", "separation", "apart"), [(2, "even", 180), (3, "even", 120), (2, 90.0, 90)])
def test_fixed_separations(sectors, separation, apart):
    loss, bearing, elevation, weights = case(6)
    aim = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, sectors=sectors, separation_deg=separation)
    for stop in range(2):
        starts = range(360)
        turned = [[(s + apart * k) % 360 for k in range(sectors)] for s in starts]
        best = max(share(loss[stop], bearing, elevation[stop], weights, bearings) for bearings in turned)
        assert aim.shares[stop] > best - SEARCH_LOSS
        gaps = np.diff([*aim.bearings_deg[stop], aim.bearings_deg[stop][0] + 360])
        assert apart in np.round(gaps, 6)


def test_least_separation_of_free_sectors():
    loss, bearing, elevation, weights = case(7, spread=20.0)
    aim = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, sectors=3, min_separation_deg=60.0)
    for bearings in aim.bearings_deg:
        gaps = np.diff([*bearings, bearings[0] + 360])
        assert gaps.min() >= 60


def test_points_at_the_people():
    # All weight in the north-east: a single sector looks there.
    bearing = np.linspace(30, 60, 50)
    loss = np.full((1, 50), ALLOWED_DB + 2)
    aim = best_aim(loss, bearing, np.full((1, 50), -2.0), np.ones(50), PARAMS, PATTERN, sectors=1)
    assert aim.bearings_deg[0, 0] == pytest.approx(45, abs=2)


def test_ties_go_to_the_lowest_bearing():
    # Certain service everywhere: any bearing is as good.
    bearing = np.linspace(0, 359, 720)
    easy = np.full((1, 720), ALLOWED_DB - 120)
    for sectors, expected in ((1, [0]), (2, [0, 10])):
        aim = best_aim(easy, bearing, np.zeros((1, 720)), np.ones(720), PARAMS, PATTERN, sectors=sectors)
        assert aim.bearings_deg[0].tolist() == expected
        assert aim.shares[0] == pytest.approx(1.0)
    even = best_aim(easy, bearing, np.zeros((1, 720)), np.ones(720), PARAMS, PATTERN, separation_deg="even")
    assert even.bearings_deg[0].tolist() == [0, 180]


def test_all_round_antenna_needs_no_aim():
    loss, bearing, elevation, weights = case(8)
    aim = best_aim(loss, bearing, elevation, weights, PARAMS, SectorPattern(beamwidth_deg=360), sectors=1)
    assert aim.bearings_deg.tolist() == [[0], [0]]


def test_beyond_the_radius_there_is_no_service_but_the_weight_counts():
    loss, bearing, elevation, weights = case(9)
    distance = np.linspace(0, 20_000, weights.size)
    aim = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, distance_m=distance, max_radius_m=10_000)
    near = distance <= 10_000
    expected = [
        np.sum(
            (weights * served_probability(loss[s], bearing, elevation[s], aim.bearings_deg[s], PARAMS, PATTERN)[0])[
                near
            ]
        )
        / weights.sum()
        for s in range(2)
    ]
    np.testing.assert_allclose(aim.shares, expected, atol=1e-5)
    probability, _ = served_probability(
        loss, bearing, elevation, [0], PARAMS, PATTERN, distance_m=distance, max_radius_m=10_000
    )
    assert np.all(probability[:, ~near] == 0)


def test_unknown_loss_is_no_service_but_the_weight_counts():
    loss, bearing, elevation, weights = case(10)
    loss[:, ::2] = np.nan
    aim = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN)
    expected = [share(loss[s], bearing, elevation[s], weights, aim.bearings_deg[s]) for s in range(2)]
    np.testing.assert_allclose(aim.shares, expected, atol=1e-5)
    probability, margin = served_probability(loss, bearing, elevation, [0], PARAMS, PATTERN)
    assert np.isnan(probability[:, ::2]).all()
    assert np.isnan(margin[:, ::2]).all()


def test_nothing_to_serve():
    loss, bearing, elevation, weights = case(11)
    assert best_aim(loss, bearing, elevation, 0 * weights, PARAMS, PATTERN).shares.tolist() == [0, 0]
    none = best_aim(np.empty((2, 0)), [], np.empty((2, 0)), [], PARAMS, PATTERN)
    assert none.shares.tolist() == [0, 0]
    assert none.bearings_deg.shape == (2, 2)
    unknown = best_aim(loss * np.nan, bearing, elevation, weights, PARAMS, PATTERN)
    assert unknown.shares.tolist() == [0, 0]


def test_stops_do_not_depend_on_each_other_or_on_threads():
    # 60,000 cells x 2 stops is worked on by threads; a stop alone is not.
    loss, bearing, elevation, weights = case(12, cells=60_000)
    together = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN)
    for stop in range(2):
        alone = best_aim(loss[stop : stop + 1], bearing, elevation[stop : stop + 1], weights, PARAMS, PATTERN)
        assert together.shares[stop] == alone.shares[0]
        assert together.bearings_deg[stop].tolist() == alone.bearings_deg[0].tolist()


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1000), st.integers(1, 4), st.integers(1, 3))
def test_more_sectors_never_serve_less(seed, sectors, more):
    loss, bearing, elevation, weights = case(seed, cells=300, stops=1)
    few = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, sectors=sectors).shares[0]
    many = best_aim(loss, bearing, elevation, weights, PARAMS, PATTERN, sectors=sectors + more).shares[0]
    assert many >= few - 2 * SEARCH_LOSS


@given(st.floats(0, 360), st.floats(-30, 30))
def test_best_sector_is_the_better_of_two(bearing, elevation):
    both = best_sector_gain_db(bearing, elevation, [20.0, 200.0], PATTERN)
    assert both == max(PATTERN.gain_db(bearing - 20, elevation), PATTERN.gain_db(bearing - 200, elevation))


class TestLowestGoodStop:
    def test_within_the_tolerance(self):
        assert lowest_good_stop([0.70, 0.81, 0.82, 0.83]) == 1
        assert lowest_good_stop([0.70, 0.81, 0.82, 0.83], tolerance=0.0) == 3
        assert lowest_good_stop([0.5, 0.5]) == 0

    @pytest.mark.parametrize("shares", [[], [0.5, float("nan")]])
    def test_refusals(self, shares):
        with pytest.raises(ValueError, match="known numbers"):
            lowest_good_stop(shares)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"weights": np.ones(3)}, "weights must be"),
        ({"weights": -np.ones(4)}, "not negative"),
        ({"weights": np.full(4, np.nan)}, "known"),
        ({"elevation_deg": np.zeros((1, 3))}, "must be"),
        ({"bearing_deg": np.zeros(3)}, "must be"),
        ({"sectors": 0}, "at least 1"),
        ({"step_deg": 0}, "step_deg"),
        ({"sigma_db": -1}, "sigma_db"),
        ({"max_radius_m": 5.0}, "needs distance_m"),
        ({"sectors": 4, "min_separation_deg": 100.0}, "cannot be 100 degrees apart"),
        ({"distance_m": np.zeros(3)}, "distance_m must be"),
    ],
)
def test_refusals(change, message):
    arguments = {
        "path_loss_db": np.full((1, 4), 100.0),
        "bearing_deg": np.zeros(4),
        "elevation_deg": np.zeros((1, 4)),
        "weights": np.ones(4),
        "params": PARAMS,
        "pattern": PATTERN,
    }
    with pytest.raises(ValueError, match=message):
        best_aim(**{**arguments, **change})


@pytest.mark.parametrize("sigma_db", [0.0, 3.0, 8.0])
def test_the_expected_weight_is_that_of_the_normal_distribution(sigma_db):
    rng = np.random.default_rng(7)
    weights, margins = rng.random(500), rng.normal(0.0, 25.0, 500)
    margins[:2] = -500.0, 500.0  # beyond both ends of the table
    slow = float(weights @ service_probability(margins, sigma_db))
    assert expected_weight(weights, margins, sigma_db) == pytest.approx(slow, rel=1e-6)
