"""A named point between the cells of an atlas: the ground between the two decides, not what lies around."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from siteplanner.core.coverage_exact import exact_losses
from siteplanner.core.ground_cover import covered_loss_db
from siteplanner.data.grid import Grid
from siteplanner.planning.atlas.lattice import Lattice
from siteplanner.planning.atlas.points import beyond_cell_db, path_ground

SIZE, CELLS, FIRST = 90.0, 60, (-1000, 200)
RADIO = SimpleNamespace(handset_height_m=1.5, frequency_mhz=763.0)
MAST_M, PLACE = 15.0, (30, 8)


def hills() -> np.ndarray:
    """Crests 200 m high, 270 m apart, which are not in line with the cells."""
    row, col = np.mgrid[0:CELLS, 0:CELLS]
    return (800 + 100 * np.sin((row * 0.4 + col) * 2 * np.pi * SIZE / 270)).astype(np.float32)


@pytest.mark.parametrize("clutter", ["open", "suburban"])
def test_the_loss_to_a_point_is_the_exact_path_s_where_every_cell_is_kept(clutter):
    lattice = Lattice(CRS.from_epsg(32612), SIZE, 1)
    transform = Affine(SIZE, 0, FIRST[1] * SIZE, 0, -SIZE, -FIRST[0] * SIZE)
    heights = Grid(hills(), transform, lattice.crs)
    layers = SimpleNamespace(surface=(), land_cover=None, default_clutter=clutter)
    rows, cols = range(FIRST[0], FIRST[0] + CELLS), range(FIRST[1], FIRST[1] + CELLS)
    ground = path_ground(SimpleNamespace(layers=layers), heights, rows, cols)
    at = np.random.default_rng(3).uniform(20, 55, (12, 2))
    xy = np.column_stack(heights.xy(at[:, 0], at[:, 1]))

    def loss(places: np.ndarray) -> np.ndarray:
        return covered_loss_db(
            heights.values, SIZE, *PLACE, [MAST_M], RADIO.handset_height_m, RADIO.frequency_mhz,
            places[:, 0], places[:, 1], ground.cover, exact_losses,
        )[0]  # fmt: skip

    cell = PLACE[0] + FIRST[0], PLACE[1] + FIRST[1]
    own = float(heights.values[PLACE])
    more = beyond_cell_db(ground, lattice, cell, own, MAST_M, RADIO, xy)
    middle = np.floor(at + 0.5)
    assert loss(middle) + more == pytest.approx(loss(at), abs=1e-6)
    # what lies between the cells around would have been far off
    corners = [np.floor(at) + shift for shift in ((0, 0), (0, 1), (1, 0), (1, 1))]
    part = at - np.floor(at)
    weights = [(1 - part[:, 0]) * (1 - part[:, 1]), (1 - part[:, 0]) * part[:, 1], part[:, 0] * (1 - part[:, 1])]
    weights.append(part[:, 0] * part[:, 1])
    between = sum(w * loss(c) for w, c in zip(weights, corners, strict=True))
    assert np.abs(between - loss(at)).max() > 3
    # beyond the heights that are kept nothing is told
    far = np.column_stack(heights.xy(np.array([-5.0]), np.array([10.0])))
    assert np.isnan(beyond_cell_db(ground, lattice, cell, own, MAST_M, RADIO, far)).all()
    assert np.isnan(beyond_cell_db(ground, lattice, (cell[0] - 500, cell[1]), own, MAST_M, RADIO, xy)).all()


def test_on_a_coarse_lattice_the_mast_s_own_height_counts():
    """The place's cell lies 4 m above the middle of the lattice's cell: as a mast that is so much higher."""
    lattice = Lattice(CRS.from_epsg(32612), SIZE / 3, 3)
    transform = Affine(SIZE, 0, FIRST[1] * SIZE, 0, -SIZE, -FIRST[0] * SIZE)
    heights = Grid(hills(), transform, lattice.crs)
    layers = SimpleNamespace(surface=("s.tif",), land_cover=None, default_clutter="open")
    rows, cols = range(FIRST[0], FIRST[0] + CELLS), range(FIRST[1], FIRST[1] + CELLS)
    ground = path_ground(SimpleNamespace(layers=layers), heights, rows, cols)
    assert not ground.cover.kinds.any()  # what a layer tells is not kept: bare ground, and its part in the margins
    xy = np.column_stack(heights.xy(np.array([40.3, 51.2]), np.array([44.1, 30.4])))
    cell = (PLACE[0] + FIRST[0]) * 3 + 1, (PLACE[1] + FIRST[1]) * 3 + 1
    own = float(heights.values[PLACE])
    higher = beyond_cell_db(ground, lattice, cell, own + 4, MAST_M, RADIO, xy)
    assert higher == pytest.approx(beyond_cell_db(ground, lattice, cell, own, MAST_M + 4, RADIO, xy), abs=1e-9)
    assert np.isfinite(higher).all()
