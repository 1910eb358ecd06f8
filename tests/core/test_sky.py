"""The sky state of a raster against a plain walk of every sample: not one cell may differ."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from matplotlib import cbook
from scipy.ndimage import zoom

from siteplanner.core.horizon import block_raster, blocks, horizon_reach
from siteplanner.core.sky import (
    BLOCKED,
    CLEAR,
    UNKNOWN_BEYOND,
    UNKNOWN_GAP,
    known_margin_deg,
    ray_of,
    sky_state,
    sky_state_varying,
)
from siteplanner.core.sky_bounds import OPEN, bounds
from tests.core.sky_walk import walk_cells

EARTH_M = 4 / 3 * 6_371_000.0  # ITU-R P.526-15 section 2, k = 4/3
AZIMUTHS = (0.0, 61.7, 90.0, 123.4, 180.0, 215.0, 270.0, 333.3)
LIMITS = (8.0, 12.0, 25.0, 40.0)


def walked(z, cell, row, col, azimuth, limit, height, ceiling, ground=None):
    """The answer for one cell by visiting every half-cell sample; shares nothing with the product."""
    rows, cols = len(z), len(z[0])
    eye = (ground or z)[row][col] + height
    if math.isnan(eye):
        return UNKNOWN_GAP
    dr, dc = -math.cos(math.radians(azimuth)) / 2, math.sin(math.radians(azimuth)) / 2
    dr, dc = (0.0 if abs(v) < 1e-9 else v for v in (dr, dc))
    tangent, gap, k = math.tan(math.radians(limit)), False, 0
    while True:
        k += 1
        d = k * cell / 2
        line = eye + d * tangent + d * d / (2 * EARTH_M)
        if line > ceiling:
            return UNKNOWN_GAP if gap else CLEAR
        r, c = row + k * dr, col + k * dc
        if r < 0 or r > rows - 1 or c < 0 or c > cols - 1:
            return UNKNOWN_GAP if gap else UNKNOWN_BEYOND
        r0, c0 = min(math.floor(r), rows - 2), min(math.floor(c), cols - 2)
        u, v = r - r0, c - c0
        sample = (1 - u) * ((1 - v) * z[r0][c0] + v * z[r0][c0 + 1]) + u * (
            (1 - v) * z[r0 + 1][c0] + v * z[r0 + 1][c0 + 1]
        )
        if math.isnan(sample):
            gap = True
        elif sample >= line:
            return BLOCKED


@cache
def terrain(name: str) -> tuple[np.ndarray, float]:
    """A raster and its cell size. The hills are real: matplotlib sample data jacksboro_fault_dem.npz."""
    rng = np.random.default_rng(7)
    if name == "hills":
        z = cbook.get_sample_data("jacksboro_fault_dem.npz")["elevation"][100:290, 150:370]
        return z.astype(np.float32), 90.0
    if name == "smooth":  # slopes of 11 degrees in the median, on cells fine enough for the ground to bend slowly
        coarse = cbook.get_sample_data("jacksboro_fault_dem.npz")["elevation"][150:200, 200:250]
        return zoom(coarse.astype(float), 6, order=3).astype(np.float32), 15.0
    if name == "mountain":
        wave = np.hypot(np.fft.fftfreq(200)[:, None], np.fft.fftfreq(170)[None])
        wave[0, 0] = 1
        z = np.fft.ifft2(wave**-2.7 * np.exp(2j * np.pi * rng.random((200, 170)))).real
        return ((z - z.min()) / np.ptp(z) * 500).astype(np.float32), 10.0
    if name == "rough":
        return (rng.random((150, 290)) * 25).astype(np.float32), 10.0
    rows, cols = np.indices((160, 180))
    return (1000 + 0.01 * rows - 0.03 * cols + (rng.random((160, 180)) < 0.003) * 30).astype(np.float32), 10.0


def holed(z: np.ndarray) -> np.ndarray:
    """The raster with holes of all sorts: large, single cells, at the edge, in a corner."""
    z = z.copy()
    rng = np.random.default_rng(1)
    rows, cols = z.shape
    z[rows // 3 : rows // 3 + 17, cols // 2 : cols // 2 + 23] = np.nan
    z[rng.integers(0, rows, 12), rng.integers(0, cols, 12)] = np.nan
    z[:9, 40:60] = np.nan
    i, j = np.indices(z.shape)
    z[i - j > rows - 40] = np.nan
    return z


@pytest.mark.parametrize("holes", [False, True])
@pytest.mark.parametrize("name", ["mountain", "hills", "rough", "plain"])
def test_no_cell_differs_from_visiting_every_sample(name, holes):
    z, cell = terrain(name)
    z = holed(z) if holes else z
    plain, ceiling = z.astype(float).tolist(), float(np.nanmax(z))
    rng = np.random.default_rng(3)
    everywhere = np.indices(z.shape)
    seen = set()
    for azimuth in AZIMUTHS:
        for limit in LIMITS:
            state = sky_state(z, cell, azimuth, limit, 2.0)
            # the exact walk of every cell, and the plain twin of a sample with edges and corners
            each = walk_cells(z, cell, *everywhere, azimuth, limit, 2.0)
            assert np.count_nonzero(state != each) == 0, (azimuth, limit)
            rows = np.append(rng.integers(0, z.shape[0], 110), (0, -1, 0, -1, 0, 50)) % z.shape[0]
            cols = np.append(rng.integers(0, z.shape[1], 110), (0, -1, -1, 0, 50, -1)) % z.shape[1]
            for row, col in zip(rows.tolist(), cols.tolist(), strict=True):
                want = walked(plain, cell, row, col, azimuth, limit, 2.0, ceiling)
                assert state[row, col] == want, (azimuth, limit, row, col)
            seen |= set(np.unique(state).tolist())
    assert seen == {CLEAR, BLOCKED, UNKNOWN_BEYOND} | ({UNKNOWN_GAP} if holes else set())


def test_whole_rows_of_holed_ground_equal_the_twin():
    z = holed(terrain("mountain")[0])
    plain, ceiling = z.astype(float).tolist(), float(np.nanmax(z))
    for azimuth in (45.0, 200.0):
        state = sky_state(z, 10.0, azimuth, 12.0, 2.0)
        for row in (20, 66, 74, 90, 150):
            want = [walked(plain, 10.0, row, col, azimuth, 12.0, 2.0, ceiling) for col in range(z.shape[1])]
            assert state[row].tolist() == want


@pytest.mark.parametrize("seed", range(6))
def test_many_small_holes(seed):
    # a line that brushes a hole's corner is unknown, not clear
    rng = np.random.default_rng(seed)
    z = (np.cumsum(rng.normal(0, 2, (70, 90)), axis=seed % 2) + 50).astype(np.float32)
    z[rng.random(z.shape) < 0.02] = np.nan
    plain, ceiling = z.astype(float).tolist(), float(np.nanmax(z))
    for azimuth in (rng.uniform(0, 360), 45.0, 180.0 + rng.uniform(-0.01, 0.01)):
        limit = rng.uniform(3, 30)
        state = sky_state(z, 10.0, azimuth, limit, 2.0)
        want = [[walked(plain, 10.0, r, c, azimuth, limit, 2.0, ceiling) for c in range(90)] for r in range(70)]
        np.testing.assert_array_equal(state, want)


def test_a_wall_blocks_just_as_far_as_its_height_says():
    z = np.zeros((7, 200), np.float32)
    z[:, 150] = 40.0
    # closed form: blocked at d where 40 - d^2/2a >= 2 + d tan 10, that is d <= 215.5 m
    state = sky_state(z, 10.0, 90.0, 10.0, 2.0)[3]
    assert (state[129:150] == BLOCKED).all()
    assert (state[:129] == CLEAR).all()
    assert state[150] == CLEAR  # on the wall, above everything
    assert (state[151:] != BLOCKED).all()


@pytest.mark.parametrize("beside", [-1e-6, 1e-6])
def test_just_above_and_below_a_wall_one_cell_away(beside):
    z = np.zeros((9, 9), np.float32)
    z[3] = 30.0  # north of the middle row
    angle = math.degrees(math.atan(28 / 10 - 10 / (2 * EARTH_M)))
    state = sky_state(z, 10.0, 0.0, angle + beside, 2.0)
    assert (state[4] == (CLEAR if beside > 0 else BLOCKED)).all()


def test_the_curve_of_the_earth_lets_a_far_wall_sink():
    z = np.zeros((3, 3000), np.float32)
    z[:, 2900] = 300.0
    # closed form, 27 km away: the drop is 42.9 m, so the wall shows at atan((298 - 42.9) / 27000)
    distance = 27_000.0
    angle = math.degrees(math.atan((298 - distance**2 / (2 * EARTH_M)) / distance))
    assert sky_state(z, 10.0, 90.0, angle - 1e-4, 2.0)[1, 200] == BLOCKED
    assert sky_state(z, 10.0, 90.0, angle + 1e-4, 2.0)[1, 200] == CLEAR
    assert angle < math.degrees(math.atan(298 / distance)) - 0.05


@pytest.mark.parametrize("azimuth", [10.0, 61.7, 123.4, 200.0, 290.0])
def test_turning_the_raster_turns_the_answer(azimuth):
    z = holed(terrain("mountain")[0])
    state = sky_state(z, 10.0, azimuth, 12.0, 2.0)
    turned = sky_state(np.rot90(z), 10.0, azimuth - 90.0, 12.0, 2.0)
    np.testing.assert_array_equal(np.rot90(state), turned)


def test_raising_all_ground_changes_nothing():
    z = np.round(terrain("mountain")[0] * 8) / 8  # eighths of a metre stay exact in float32
    for lift in (1000.0, -3000.0):
        np.testing.assert_array_equal(
            sky_state(z, 10.0, 215.0, 12.0, 2.0), sky_state(z + np.float32(lift), 10.0, 215.0, 12.0, 2.0)
        )


def test_one_unknown_cell_in_four_places():
    z = np.zeros((21, 61), np.float32)
    z[:, 50] = 30.0
    at = {}
    for name, cell in {"on": (10, 30), "beside": (12, 30), "behind": (10, 55), "self": (10, 20)}.items():
        holey = z.copy()
        holey[cell] = np.nan
        at[name] = int(sky_state(holey, 10.0, 90.0, 15.0, 2.0)[10, 20])
    # 15 degrees pass the wall's 30 m after 10.4 cells: seen from column 20 the hole at 30 lies below the ceiling
    assert at == {"on": UNKNOWN_GAP, "beside": CLEAR, "behind": CLEAR, "self": UNKNOWN_GAP}
    z[10, 45] = np.nan
    assert sky_state(z, 10.0, 90.0, 15.0, 2.0)[10, 42] == BLOCKED  # the wall behind the hole decides
    assert sky_state(z, 10.0, 90.0, 15.0, 2.0)[10, 36] == UNKNOWN_GAP


def test_the_end_of_the_raster_is_not_clear_sky():
    z = np.zeros((5, 100), np.float32)
    z[:, 0] = 100.0
    state = sky_state(z, 10.0, 90.0, 20.0, 2.0)[2]
    # closed form: the line passes 100 m after 98 / tan 20 = 269 m, and the first sample outside is half a cell
    # beyond the last centre
    assert (state[73:] == UNKNOWN_BEYOND).all()
    assert (state[:73] == CLEAR).all()
    # with a stated ceiling of 1000 m: 2742 m, more than the whole raster except from on top of the wall
    assert (sky_state(z, 10.0, 90.0, 20.0, 2.0, ceiling_m=1000.0)[2] == UNKNOWN_BEYOND).all()


def test_nothing_known():
    z = np.full((5, 6), np.nan, np.float32)
    assert (sky_state(z, 10.0, 90.0, 20.0, 2.0) == UNKNOWN_GAP).all()
    assert (sky_state_varying(z, 10.0, toward(90.0, 20.0), 2.0) == UNKNOWN_GAP).all()


@pytest.mark.parametrize("azimuth", [90.0, 215.0])
def test_trees_block_and_hide_their_own_cell(azimuth):
    z, cell = terrain("mountain")
    rng = np.random.default_rng(9)
    trees = z + np.where(rng.random(z.shape) < 0.1, 15, 0).astype(np.float32)
    trees[30:50, 60:90] = z[30:50, 60:90] + 12
    state = sky_state(z, cell, azimuth, 25.0, 2.0, obstacles_m=trees)
    high, low = trees.astype(float).tolist(), z.astype(float).tolist()
    for row, col in np.random.default_rng(4).integers(0, (200, 170), (400, 2)).tolist():
        assert state[row, col] == walked(high, cell, row, col, azimuth, 25.0, 2.0, float(trees.max()), low)
    assert (state[35:45, 65:85] == BLOCKED).all()
    # a surface below the ground is no tunnel
    np.testing.assert_array_equal(
        sky_state(z, cell, azimuth, 25.0, 2.0, obstacles_m=z - 50), sky_state(z, cell, azimuth, 25.0, 2.0)
    )


def test_holes_in_the_trees_alone_are_unknown():
    z, cell = terrain("mountain")
    trees = holed(z + np.float32(4) * (np.random.default_rng(2).random(z.shape) < 0.3).astype(np.float32))
    high, low, ceiling = trees.astype(float).tolist(), z.astype(float).tolist(), float(np.nanmax(trees))
    for azimuth in (33.0, 270.0):
        state = sky_state(z, cell, azimuth, 15.0, 2.0, obstacles_m=trees)
        for row, col in np.random.default_rng(6).integers(0, (200, 170), (1500, 2)).tolist():
            assert state[row, col] == walked(high, cell, row, col, azimuth, 15.0, 2.0, ceiling, low)
        assert UNKNOWN_GAP in state


def test_threads_change_no_bit():
    z = holed(terrain("hills")[0])
    for azimuth in (123.4, 180.0):
        one = sky_state(z, 90.0, azimuth, 12.0, 2.0, threads=1)
        np.testing.assert_array_equal(one, sky_state(z, 90.0, azimuth, 12.0, 2.0, threads=2))
        np.testing.assert_array_equal(one, sky_state(z, 90.0, azimuth, 12.0, 2.0, threads=5))


@pytest.mark.parametrize("azimuth", AZIMUTHS)
@pytest.mark.parametrize(("name", "share"), [("smooth", 0.02), ("hills", 0.16)])
def test_the_bounds_leave_little_open(name, share, azimuth):
    # Guards the speed without a clock: few cells need the exact walk. On 90 m cells the eye's 2 m are
    # little against the bends between two rows, so more stay open there.
    z, cell = terrain(name)
    known = blocks(z)
    found = bounds(block_raster(z, known, cell, known.ceiling_m), z, ray_of(azimuth, 12.0), 2.0, map)
    assert np.mean(found == OPEN) < share
    state = sky_state(z, cell, azimuth, 12.0, 2.0)
    assert not ((found == BLOCKED) & (state != BLOCKED)).any()
    assert not ((found == CLEAR) & (state == BLOCKED)).any()


def test_state_agrees_with_the_horizon_of_a_point():
    z, cell = terrain("hills")
    for row, col in ((90, 110), (30, 60), (150, 200)):
        angle, known_to = horizon_reach(z, cell, row, col, AZIMUTHS, 2.0)
        for azimuth, seen, reach in zip(AZIMUTHS, angle.tolist(), known_to.tolist(), strict=True):
            if seen > 0.1:
                assert walk_cells(z, cell, row, col, azimuth, seen - 1e-6, 2.0) == BLOCKED
            if seen > 0 and reach == math.inf:
                assert walk_cells(z, cell, row, col, azimuth, seen + 1e-6, 2.0) == CLEAR


def test_float64_ground_is_not_rounded():
    z = terrain("mountain")[0].astype(float) + 1e-5
    plain, ceiling = z.tolist(), float(z.max())
    state = sky_state(z, 10.0, 215.0, 12.0, 2.0)
    for row, col in np.random.default_rng(5).integers(0, (200, 170), (300, 2)).tolist():
        assert state[row, col] == walked(plain, 10.0, row, col, 215.0, 12.0, 2.0, ceiling)


def toward(azimuth, limit, *more):
    """One direction everywhere; `more` are further rays of the beam."""

    def look(rows, cols):
        return np.tile([azimuth, *more], (len(rows), 1)), np.full(len(rows), limit)

    return look


@pytest.mark.parametrize("azimuth", [0.0, 123.4, 215.0])
def test_tiles_of_one_direction_equal_the_whole(azimuth):
    z = holed(terrain("mountain")[0])
    whole = sky_state(z, 10.0, azimuth, 12.0, 2.0)
    for tile in (16, 47, 1000):
        made = sky_state_varying(z, 10.0, toward(azimuth, 12.0), 2.0, tile_cells=tile)
        np.testing.assert_array_equal(made, whole)


def test_tiles_take_the_direction_of_their_middle():
    z, _ = terrain("mountain")
    rows, cols = np.indices(z.shape)

    def turning(r, c):
        return 200 + 0.1 * c[:, None], 10 + 0.05 * r

    few = z[60:90, 70:110]
    state = sky_state_varying(few, 10.0, turning, 2.0, tile_cells=1)
    rows, cols = rows[:30, :40], cols[:30, :40]
    each = walk_cells(few, 10.0, rows, cols, 200 + 0.1 * cols, 10 + 0.05 * rows, 2.0)
    np.testing.assert_array_equal(state, each)
    by_tile = sky_state_varying(z, 10.0, turning, 2.0, tile_cells=25)
    for top, left in ((0, 0), (50, 75), (175, 150)):
        middle_row, middle_col = (top + 24 + top) / 2, (left + min(left + 24, 169)) / 2
        expected = sky_state(z, 10.0, 200 + 0.1 * middle_col, 10 + 0.05 * middle_row, 2.0)
        part = np.s_[top : top + 25, left : left + 25]
        np.testing.assert_array_equal(by_tile[part], expected[part])


def test_a_beam_is_clear_only_where_every_ray_is_and_the_worst_ray_is_told():
    z = holed(terrain("mountain")[0])
    rays = (213.0, 215.0, 217.0)
    beam = sky_state_varying(z, 10.0, toward(rays[0], 12.0, *rays[1:]), 2.0, tile_cells=60)
    each = np.stack([sky_state(z, 10.0, azimuth, 12.0, 2.0) for azimuth in rays])
    want = np.full(z.shape, CLEAR, np.uint8)
    for state in (UNKNOWN_BEYOND, UNKNOWN_GAP, BLOCKED):  # each wins over the one before
        want[(each == state).any(axis=0)] = state
    np.testing.assert_array_equal(beam, want)
    assert (each != want).any()


def test_only_the_wanted_cells_are_answered_and_the_share_done_is_told():
    z = holed(terrain("mountain")[0])
    wanted = np.zeros(z.shape, bool)
    wanted[31:93:2, 40:110] = True
    told: list[float] = []
    some = sky_state_varying(z, 10.0, toward(123.4, 12.0), 2.0, wanted, told.append, tile_cells=25)
    np.testing.assert_array_equal(some[wanted], sky_state(z, 10.0, 123.4, 12.0, 2.0)[wanted])
    assert (some[~wanted] == UNKNOWN_GAP).all()
    assert told == sorted(told)
    assert told[-1] == 1
    assert len(told) == 3 * 3
    nothing = sky_state_varying(z, 10.0, toward(123.4, 12.0), 2.0, np.zeros_like(wanted))
    assert (nothing == UNKNOWN_GAP).all()


def test_what_the_tick_raises_stops_the_work():
    z, _ = terrain("mountain")

    def stop(share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sky_state_varying(z, 10.0, toward(123.4, 12.0), 2.0, None, stop, tile_cells=20)


@pytest.mark.parametrize("limit", [3.0, 9.0, 20.0])
def test_a_horizon_cut_short_is_judged_as_the_line_itself_is(limit):
    """The margin from horizon and reach against the walk of the line: blocked, clear or unknown alike everywhere."""
    z, cell = terrain("hills")
    z = holed(z)
    ceiling, least = float(np.nanmax(z)), 2.0
    rng = np.random.default_rng(11)
    seen = set()
    for row, col in rng.integers(0, z.shape, (250, 2)).tolist():
        if math.isnan(z[row, col]):
            continue
        horizon, reach = horizon_reach(z, cell, row, col, AZIMUTHS, 2.0)
        margin = known_margin_deg(limit + least, horizon, reach, z[row, col] + 2.0, ceiling, least)
        state = walk_cells(z, cell, row, col, AZIMUTHS, limit, 2.0)
        np.testing.assert_array_equal(margin >= least, state == CLEAR)
        np.testing.assert_array_equal(margin < least, state == BLOCKED)
        seen |= set(state.tolist())
    assert seen == {CLEAR, BLOCKED, UNKNOWN_GAP, UNKNOWN_BEYOND}


def test_refusals():
    z = np.zeros((5, 6), np.float32)
    for limit in (0.0, -3.0, 90.0, math.nan):
        with pytest.raises(ValueError, match="limit angle"):
            sky_state(z, 10.0, 90.0, limit, 2.0)
        with pytest.raises(ValueError, match="limit angle"):
            sky_state_varying(z, 10.0, toward(90.0, limit), 2.0)
    with pytest.raises(ValueError, match="cell size"):
        sky_state(z, -10.0, 90.0, 20.0, 2.0)
    with pytest.raises(ValueError, match="ceiling"):
        sky_state(z, 10.0, 90.0, 20.0, 2.0, ceiling_m=-5.0)
    with pytest.raises(ValueError, match="ceiling"):
        sky_state(z, 10.0, 90.0, 20.0, 2.0, ceiling_m=math.inf)
    with pytest.raises(ValueError, match="rows and columns"):
        sky_state_varying(z, 10.0, toward(90.0, 20.0), 2.0, np.ones((2, 2), bool))
