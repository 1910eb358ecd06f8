"""The best set of k places: enumeration, published instances, two other solvers, and the bound that is told."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_matrix, csr_matrix
from scipy.special import ndtr

from siteplanner.core.maximal_cover import Rules, best_addition, best_sets, pair_values, worth

STORES = Path(__file__).parent / "published" / "sixteen_stores.csv"


def scene(places, cells, seed):
    """Places and cells strewn over 6 km by 6 km, served within some 1.8 km but for chance."""
    rng = np.random.default_rng(seed)
    at, of = rng.uniform(0, 6000, (places, 2)), rng.uniform(0, 6000, (cells, 2))
    apart = np.hypot(*(at[:, None] - of[None]).transpose(2, 0, 1))
    value = rng.uniform(0, 1, cells)
    return ndtr((1800 - apart + rng.normal(0, 600, apart.shape)) / 500).astype(np.float32), value / value.sum()


def by_enumeration(served, value, size, allowed=lambda chosen: True):
    sets = [chosen for chosen in itertools.combinations(range(len(served)), size) if allowed(chosen)]
    return max(sets, key=lambda chosen: worth(served, value, chosen))


@pytest.mark.parametrize("seed", range(10))
def test_pairs_and_larger_sets_equal_enumeration(seed):
    served, value = scene(14, 300, seed)
    found = best_sets(served, value, 4)
    for size in (1, 2, 3, 4):
        best = by_enumeration(served, value, size)
        assert found[size].chosen == best
        assert found[size].value == pytest.approx(worth(served, value, best), abs=1e-12)
        assert found[size].optimal
        assert found[size].bound == found[size].value


def test_the_fast_pairs_are_the_plain_ones():
    served, value = scene(40, 5000, 3)
    product = (served * value).astype(np.float32)
    plain = np.array([[np.maximum(a, b).sum(dtype=float) for b in product] for a in product])
    assert pair_values(product) == pytest.approx(plain, abs=2e-7)


def covering(served, value, size):
    """The maximal covering problem with shares as a mixed-integer program for HiGHS: y_ij <= x_i, sum_i y_ij <= 1."""
    places, cells = served.shape
    cost = np.concatenate([np.zeros(places), -(served * value).ravel()])
    y = places + np.arange(places * cells)
    opened = coo_matrix(
        (
            np.concatenate([np.ones(places * cells), -np.ones(places * cells)]),
            (np.tile(np.arange(places * cells), 2), np.concatenate([y, np.repeat(np.arange(places), cells)])),
        ),
        shape=(places * cells, places + places * cells),
    )
    once = coo_matrix((np.ones(places * cells), (np.tile(np.arange(cells), places), y)), shape=(cells, y[-1] + 1))
    count = csr_matrix((np.ones(places), (np.zeros(places, int), np.arange(places))), shape=(1, y[-1] + 1))
    found = milp(
        cost,
        constraints=[LinearConstraint(opened, ub=0), LinearConstraint(once, ub=1), LinearConstraint(count, size, size)],
        integrality=np.concatenate([np.ones(places), np.zeros(places * cells)]),
        bounds=Bounds(0, 1),
    )
    return -found.fun


@pytest.mark.parametrize("size", [3, 4, 5])
def test_larger_sets_equal_the_optimum_of_a_mixed_integer_solver(size):
    served, value = scene(18, 60, 100 + size)
    assert best_sets(served, value, size)[size].value == pytest.approx(covering(served, value, size), abs=1e-7)


def stores():
    rows = np.loadtxt(STORES, delimiter=",", skiprows=3)
    return rows[:, 1:].T <= 5000, rows[:, 0]


def test_a_published_instance_of_maximal_covering_has_its_published_optimum():
    """Church and ReVelle's problem (1974) on the real-world instance of spopt's own tests (PySAL,
    spopt/tests/test_locate/test_mclp.py, TestRealWorldLocate): 205 tracts, 16 places, 5 km, four stores; its optimum
    leaves 21 tracts out, 89.756 % are covered. The 55-node network of their paper (Swain's) is not in the paper."""
    covered, people = stores()
    found = best_sets(covered.astype(np.float32), people, 4)[4]
    reached = covered[list(found.chosen)].any(0)
    assert found.optimal
    assert (~reached).sum() == 21
    assert 100 * reached.mean() == pytest.approx(89.75609756097561)


@pytest.mark.parametrize("size", [1, 2, 3, 4, 5, 6])
def test_a_second_library_finds_the_same_people_covered(size):
    """PuLP with its CBC solver, the model of Church and ReVelle (1974) as they write it: equations 1 to 5."""
    pulp = pytest.importorskip("pulp")
    covered, people = stores()
    problem = pulp.LpProblem("mclp", pulp.LpMaximize)
    x = [pulp.LpVariable(f"x{j}", cat="Binary") for j in range(len(covered))]
    y = [pulp.LpVariable(f"y{i}", cat="Binary") for i in range(len(people))]
    problem += pulp.lpSum(float(a) * one for a, one in zip(people, y, strict=True))
    for i, one in enumerate(y):
        problem += pulp.lpSum(x[j] for j in np.flatnonzero(covered[:, i])) >= one
    problem += pulp.lpSum(x) == size
    problem.solve(pulp.PULP_CBC_CMD(msg=False))
    found = best_sets(covered.astype(np.float32), people, size)[size]
    assert found.optimal
    assert found.value == pytest.approx(pulp.value(problem.objective), abs=0.5)  # whole people


def test_what_a_search_that_is_cut_short_tells_is_a_bound():
    served, value = scene(60, 2000, 5)
    cut = best_sets(served, value, 4, most_looks=10 * served.size)
    whole = best_sets(served, value, 4, most_looks=1e12)
    assert whole[4].optimal
    assert not cut[4].optimal
    assert cut[4].value <= whole[4].value <= cut[4].bound
    assert cut[4].bound < 1.1 * whole[4].value


def test_places_too_close_and_kinds_that_are_used_up_are_not_put_together():
    served, value = scene(12, 200, 7)
    near = np.random.default_rng(0).uniform(size=(12, 12)) < 0.3
    rules = Rules(~(near | near.T | np.eye(12, dtype=bool)), np.arange(12) % 3, (1, 1, 2))

    def allowed(chosen):
        kinds = np.bincount(rules.kind[list(chosen)], minlength=3)
        return (kinds <= (1, 1, 2)).all() and all(rules.apart[i, j] for i, j in itertools.combinations(chosen, 2))

    found = best_sets(served, value, 4, rules)
    for size in (1, 2, 3, 4):
        assert found[size].chosen == by_enumeration(served, value, size, allowed)
        assert found[size].optimal
    second = best_addition(served, value, [4], rules)
    one = max((i for i in range(12) if i != 4 and allowed((4, i))), key=lambda i: worth(served, value, (4, i)))
    assert second == one


def test_sizes_that_the_rules_leave_nothing_of_are_missing():
    served, value = scene(4, 50, 1)
    none = Rules(np.zeros((4, 4), bool), np.zeros(4, int), (4,))
    assert set(best_sets(served, value, 3, none)) == {1}
    assert best_addition(served, value, [0], none) is None
    assert best_sets(served[:0], value, 2) == {}


def test_equal_sets_are_settled_the_same_way_every_time():
    served = np.ones((5, 10), np.float32)
    found = best_sets(served, np.full(10, 0.1), 3)
    assert [found[k].chosen for k in (1, 2, 3)] == [(0,), (0, 1), (0, 1, 2)]
    assert math.isclose(found[3].value, 1.0)


def test_what_is_not_known_is_refused():
    served, value = scene(3, 10, 0)
    served[1, 2] = np.nan
    with pytest.raises(ValueError, match="known"):
        best_sets(served, value, 2)
    with pytest.raises(ValueError, match="places, cells"):
        best_sets(served[:, :5], value, 2)
