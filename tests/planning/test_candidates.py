"""The diverse set of candidate spots."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import pdist

from siteplanner.data.grid_reference import grid_reference
from siteplanner.planning.spots.candidates import choose_cells, letters, thin


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


@pytest.mark.parametrize(
    ("number", "name"),
    [(0, "A"), (8, "J"), (13, "P"), (23, "Z"), (24, "AA"), (47, "AZ"), (48, "BA"), (599, "ZZ")],
)
def test_letters(number, name):
    """I and O are left out: on paper and by hand they are 1 and 0."""
    assert letters(number) == name
    assert not {"I", "O"} & set("".join(letters(n) for n in range(700)))


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


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(10.0, 60.0), st.integers(3, 30))
def test_no_cell_stands_back_for_one_of_another_kind(seed, spacing, most):
    """Twin: over all cells by themselves. The best cell of each kind is always kept, and so is, within the spacing of
    every cell, one of its kind that is worth as much."""
    rng = np.random.default_rng(seed)
    feasible, value = rng.random((24, 30)) < 0.4, rng.random((24, 30))
    kinds = np.where(rng.random((24, 30)) < 0.1, 1, np.where(rng.random((24, 30)) < 0.05, 0, rng.integers(-1, 3)))
    feasible[0, 0] = True
    rows, cols, used = choose_cells(feasible, value, 10.0, spacing, most, lambda r, c: kinds[r, c])
    assert len(rows) <= most
    chosen = list(zip(rows.tolist(), cols.tolist(), kinds[rows, cols].tolist(), strict=True))
    for kind in {int(k) for k in kinds[feasible] if k >= 0}:
        cells = [(r, c) for r, c in np.argwhere(feasible & (kinds == kind)).tolist()]
        mine = [(r, c) for r, c, k in chosen if k == kind]
        assert max(cells, key=lambda cell: value[cell]) in mine
        for r, c in cells:
            near = [value[a, b] for a, b in mine if 10 * np.hypot(a - r, b - c) < used + 1e-6]
            assert near, (r, c)
            assert max(near) >= value[r, c]
        if len(mine) > 1:
            assert pdist(np.array(mine)).min() * 10 >= used - 1e-6
    assert len({k < 0 for *_, k in chosen}) == 1  # ground of no use only where there is no other


def test_few_spots_go_to_the_preferred_kinds_and_much_ground_is_asked_of_its_best_cells_only(monkeypatch):
    kinds = np.arange(400).reshape(20, 20) % 4 - 1
    value = np.random.default_rng(3).random((20, 20))
    asked = []

    def kind_of(rows, cols):
        asked.append(len(rows))
        return kinds[rows, cols]

    rows, cols, _ = choose_cells(np.ones((20, 20), bool), value, 10.0, 30.0, 2, kind_of)
    assert kinds[rows, cols].tolist() == [0, 1]
    monkeypatch.setattr("siteplanner.planning.spots.candidates.MOST_ASKED", 60)
    rare = np.zeros((20, 20), bool)
    rare[4, 5] = True  # not the best of its block; the one cell under a mask is asked too
    rows, cols, _ = choose_cells(np.ones((20, 20), bool), value, 10.0, 30.0, 40, kind_of, [rare])
    assert asked == [400, asked[1]]
    assert 20 <= asked[1] <= 61
    for masks, found in (([], False), ([rare], True)):
        rows, cols, _ = choose_cells(
            np.ones((20, 20), bool), value, 10.0, 30.0, 40, lambda r, c: np.where(rare[r, c], 0, -1), masks
        )
        assert ((rows.tolist(), cols.tolist()) == ([4], [5])) == found
