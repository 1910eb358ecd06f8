"""The diverse set of candidate spots."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import pdist

from siteplanner.data.grid_reference import grid_reference
from siteplanner.planning.candidates import choose_cells, letters, thin


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(1.0, 9.0))
def test_no_two_closer_and_none_left_out_that_would_fit(seed, spacing):
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(0, 40, (2, 150))
    value = rng.random(150)
    picked = thin(rows, cols, value, spacing)
    chosen = np.column_stack((rows[picked], cols[picked]))
    if len(chosen) > 1:
        assert pdist(chosen).min() >= spacing - 1e-9
    for r, c in zip(rows, cols, strict=True):  # maximal: every point has a chosen one nearer than the spacing
        assert np.hypot(chosen[:, 0] - r, chosen[:, 1] - c).min() < spacing + 1e-9


def test_the_best_comes_first_and_the_order_of_input_does_not_matter():
    rng = np.random.default_rng(1)
    rows, cols = rng.integers(0, 60, (2, 300))
    value = rng.random(300)
    first = thin(rows, cols, value, 5.0)
    assert value[first[0]] == value.max()
    shuffle = rng.permutation(300)
    again = thin(rows[shuffle], cols[shuffle], value[shuffle], 5.0)
    assert {(rows[i], cols[i]) for i in first} == {(rows[shuffle][i], cols[shuffle][i]) for i in again}


def test_spacing_widens_until_the_number_fits():
    feasible = np.ones((100, 100), bool)
    rows, cols, used = choose_cells(feasible, np.random.default_rng(0).random((100, 100)), 10.0, 50.0, 40)
    assert 10 < len(rows) <= 40
    assert used > 50
    assert pdist(np.column_stack((rows, cols))).min() * 10 >= used - 1e-6


def test_no_feasible_ground_gives_no_spot():
    rows, cols, used = choose_cells(np.zeros((5, 5), bool), np.zeros((5, 5)), 10.0, 50.0, 40)
    assert len(rows) == len(cols) == 0
    assert used == 50.0


@pytest.mark.parametrize(("number", "name"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA"), (701, "ZZ")])
def test_letters(number, name):
    assert letters(number) == name


@pytest.mark.parametrize(
    ("latitude", "longitude", "reference"),
    # reference library: GeographicLib GeoConvert -m -p 0, truncated and never rounded (FGDC-STD-011-2001)
    [
        (38.889484, -77.035279, "18SUJ2347906481"),
        (60.17, 24.94, "35VLG8570072126"),
        (-33.8568, 151.2153, "56HLH3490052288"),
    ],
)
def test_grid_reference(latitude, longitude, reference):
    assert grid_reference(latitude, longitude) == reference
