"""How far the weights may change: the closed form against every corner of the box, and against weights at random."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from siteplanner.planning.choose.corners import holding
from siteplanner.planning.choose.scoring import firmness, rank
from siteplanner.planning.telling.certainty import weights_words
from tests.planning.test_certainty import some_spots
from tests.planning.test_scoring import MISSION, evaluation


def scores(spots, weights):
    """By hand: weights that add up to 1, times utilities."""
    utility = np.array([[c.utility for c in r.criteria] for r in spots])
    return utility @ (np.asarray(weights) / np.sum(weights))


def leads_at_every_corner(spots, share):
    weight = np.array([c.weight for c in spots[0].criteria])
    for factors in product((1 - share, 1 + share), repeat=len(weight)):
        made = scores(spots, weight * factors)
        if made[0] < made.max() - 1e-12:
            return False
    return True


@pytest.mark.parametrize("seed", range(40))
def test_the_largest_change_that_holds_is_that_of_all_corners(seed):
    """Just below it the first place leads at each of the 2^5 corners; just above it at one of them it does not."""
    spots = some_spots(seed)
    held = holding(spots)
    if held.share == 1:
        assert leads_at_every_corner(spots, 1.0)
        return
    assert leads_at_every_corner(spots, held.share * (1 - 1e-6))
    assert not leads_at_every_corner(spots, min(held.share + 1e-6, 1.0))


@pytest.mark.parametrize("seed", range(10))
def test_who_takes_it_leads_at_the_corner_that_favours_it(seed):
    spots = some_spots(seed)
    held = holding(spots)
    assert held.share < 1
    rival = next(r for r in spots if r.spot.name == held.taken_by)
    ahead = np.array([c.utility for c in rival.criteria]) - np.array([c.utility for c in spots[0].criteria])
    weight = np.array([c.weight for c in spots[0].criteria])
    made = scores(spots, weight * (1 + (held.share + 1e-6) * np.sign(ahead)))
    assert spots[int(made.argmax())].spot.name == held.taken_by
    gain = dict(zip([c.name for c in rival.criteria], weight * ahead, strict=True))
    assert held.by == max(gain, key=gain.get)


def test_no_weights_at_random_take_what_holds_and_some_take_it_beyond():
    spots = next(s for s in (some_spots(seed) for seed in range(100)) if 0.1 < holding(s).share < 0.4)
    weight, held = np.array([c.weight for c in spots[0].criteria]), holding(spots).share
    utility = np.array([[c.utility for c in r.criteria] for r in spots])
    rng = np.random.default_rng(1)

    def stays(share):
        made = (weight * rng.uniform(1 - share, 1 + share, (20_000, 5))) @ utility.T
        return np.mean(made[:, 0] >= made.max(1) - 1e-12)

    assert stays(held) == 1.0
    assert stays(min(2.5 * held, 1.0)) < 1.0


def test_a_spot_that_is_better_at_everything_holds_whatever_the_weights():
    spots = rank([evaluation("A", share=0.9, margin=14, slope=1, minutes=9, must=0.9), evaluation("B")], MISSION)
    assert (holding(spots).share, holding(spots).taken_by) == (1.0, "")
    assert weights_words(firmness(spots), MISSION) == "Weights only: the first stays first whatever they are."


def test_spots_that_are_the_same_take_nothing_from_each_other():
    assert holding(rank([evaluation("A"), evaluation("B")], MISSION)).share == 1.0
    assert np.isnan(holding(rank([evaluation("A")], MISSION)).share)


def test_a_thousand_draws_may_hold_where_a_corner_does_not():
    """It was told in shares of random changes by up to half; now it is told how small a change is enough."""
    rng = np.random.default_rng(0)
    lucky = 0
    for seed in range(200):
        spots = some_spots(seed, 2)
        weight = np.array([c.weight for c in spots[0].criteria])
        utility = np.array([[c.utility for c in r.criteria] for r in spots])
        made = (weight * rng.uniform(0.5, 1.5, (1000, 5))) @ utility.T
        if np.mean(made[:, 0] >= made[:, 1]) >= 0.95 and holding(spots).share < 0.5:
            lucky += 1
            said = weights_words(firmness(spots), MISSION)
            assert f"while none changes by more than {int(100 * holding(spots).share)} %" in said
            assert f"beyond that spot {spots[1].spot.name}" in said or spots[1].spot.name in said
    assert lucky > 5


def test_a_spot_far_behind_is_a_rival_too():
    """Third by score, and first by level ground alone."""
    spots = rank(
        [
            evaluation("A", share=0.8, minutes=20, slope=4.9),
            evaluation("B", share=0.7, minutes=25, slope=4.9),
            evaluation("C", share=0.35, minutes=8, slope=0.5, margin=12),
        ],
        MISSION,
    )
    assert [r.spot.name for r in spots] == ["A", "B", "C"]
    assert holding(spots).taken_by == "C"
    assert firmness([r for r in spots if r.spot.name != "C"]).whatever_the_weights
