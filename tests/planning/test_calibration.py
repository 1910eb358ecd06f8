"""What is told as nine in ten holds in nine of ten worlds; a chance of a half comes true in half of them."""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.mission import mission_from_dict
from tests.planning.worlds import run

MISSION = mission_from_dict(
    {
        "layers": {"elevation": "e.tif", "incident_area": "a.geojson", "roads": "r.geojson", "must_serve": "m.geojson"},
        "staging": {"latitude": 45, "longitude": -113},
    }
)
EDGES = (0.0, 0.05, 0.15, 0.3, 0.5, 0.75, 1.0)
ENOUGH = 60  # spots in a bin: one standard error of its share is then at most 0.065


def bins(said, true):
    """(mean chance told, share that came true, spots) of each bin that holds enough."""
    where = np.clip(np.digitize(said, EDGES) - 1, 0, len(EDGES) - 2)
    held = [where == k for k in range(len(EDGES) - 1)]
    return [(said[h].mean(), true[h].mean(), int(h.sum())) for h in held if h.sum() >= ENOUGH]


@pytest.fixture(scope="module")
def outcome():
    return run(MISSION, 200)


def test_nine_in_ten_ranges_hold_in_nine_of_ten_worlds(outcome):
    assert 0.85 <= outcome.share_held.mean() <= 0.95
    assert 0.85 <= outcome.minutes_held.mean() <= 0.95


def test_chances_to_be_the_best_come_true_as_often_as_told(outcome):
    found = bins(outcome.best_chance, outcome.best)
    assert len(found) >= 4
    for said, true, _ in found:
        assert true == pytest.approx(said, abs=0.1)


def test_chances_to_break_a_limit_come_true_as_often_as_told(outcome):
    found = bins(outcome.lost_chance, outcome.lost)
    assert len(found) >= 4
    for said, true, _ in found:
        assert true == pytest.approx(said, abs=0.1)


def test_the_first_place_is_told_too_high_by_what_is_said(outcome):
    """Its share: the mean over all worlds of what is said, and of what came true, within two standard errors."""
    error = outcome.was_too_high.std() / np.sqrt(len(outcome.was_too_high))
    assert outcome.told_too_high.mean() == pytest.approx(outcome.was_too_high.mean(), abs=2 * error)
    assert outcome.told_too_high.mean() > 0.3
