"""The ruling raster: one bit a limit, shares that can be counted by hand."""

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from siteplanner.data.grid import Grid
from siteplanner.planning.limits.ruling import BITS, LIMITS, OUTSIDE, codes_of, counts_of, mark, rule

GRID = Grid(np.zeros((2, 4), np.float32), Affine(10, 0, 500_000, 0, -10, 5_000_000), CRS.from_epsg(32612))


def test_shares_count_every_hit_and_every_lone_hit():
    search = np.array([[1, 1, 1, 1], [1, 0, 0, 0]], bool)  # five cells
    steep = np.array([[1, 1, 0, 0], [0, 1, 0, 0]], bool)  # two of them in the search ground
    water = np.array([[0, 1, 1, 0], [0, 0, 0, 0]], bool)
    bits = np.zeros(GRID.shape, np.uint16)
    mark(bits, "steep", steep)
    mark(bits, "hazard", lambda rows: water[rows])
    ruling = rule(GRID, search, bits, ["steep", "hazard"], counts_of(bits, search), {"steep": (6.0, "deg")})
    shares = {s.code: s for s in ruling.shares}
    assert set(shares) == {"steep", "hazard"}
    assert shares["steep"].share == pytest.approx(2 / 5)
    assert shares["steep"].only_share == pytest.approx(1 / 5)
    assert shares["hazard"].share == pytest.approx(2 / 5)
    assert (shares["steep"].would_allow, shares["steep"].unit) == (6.0, "deg")
    assert ruling.feasible.tolist() == [[False, False, False, True], [True, False, False, False]]
    assert ruling.cells.values[1, 1] == OUTSIDE
    assert codes_of(int(ruling.cells.values[0, 1])) == ["steep", "hazard"]


def test_every_limit_has_its_own_bit_below_the_outside_mark():
    assert len(set(BITS.values())) == len(LIMITS)
    assert sum(BITS.values()) < OUTSIDE
