"""The horizon over ground beyond a raster against a plain walk, and the same verdict from all that ask for it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from siteplanner.core.far_ground import FarGround, whole_horizon
from siteplanner.core.horizon import HALF_CURVATURE, horizon_reach
from siteplanner.core.horizon_raster import horizon_raster
from siteplanner.core.sky import known_margin_deg, sky_state_varying
from siteplanner.core.sky_bounds import BLOCKED, CLEAR, UNKNOWN_BEYOND, UNKNOWN_GAP
from tests.core.test_sky import holed, terrain

CELL, FAR_CELL, RIM = 90.0, 270.0, 40  # metres, metres, far cells on every side of the near raster


def surroundings(z, seed=3, holes=False):
    """Far ground around a near raster: hills up to twice as high, its own top row and left column 40 cells out."""
    rows, cols = (math.ceil(n * CELL / FAR_CELL) + 2 * RIM for n in z.shape)
    rng = np.random.default_rng(seed)
    far = np.kron(rng.uniform(0, 1, (rows // 6 + 1, cols // 6 + 1)) ** 6, np.ones((6, 6)))[:rows, :cols]
    far = (np.nanmin(z) + far * 4 * np.ptp(z[np.isfinite(z)])).astype(np.float32)
    if holes:
        far[rng.random(far.shape) < 0.01] = np.nan
    return FarGround(far, FAR_CELL, RIM + 0.5 * CELL / FAR_CELL, RIM + 0.5 * CELL / FAR_CELL)


def walked(z, far, row, col, azimuth, height, ceiling):
    """Every sample in plain Python: near ones bilinear, then far ones as high as their cell, at its nearest."""
    eye = float(z[row, col]) + height
    angle = math.radians(azimuth)
    steps = -math.cos(angle) / 2, math.sin(angle) / 2
    steps = tuple(0.0 if abs(v) < 1e-9 else v for v in steps)
    near, near_to = horizon_reach(z, CELL, row, col, azimuth, height, ceiling_m=ceiling)
    best = math.tan(math.radians(float(near))) if math.isfinite(near) else -math.inf
    if math.isinf(near_to):
        return float(near), math.inf
    k = 1
    while 0 <= row + k * steps[0] <= z.shape[0] - 1 and 0 <= col + k * steps[1] <= z.shape[1] - 1:
        k += 1
    start = k * CELL / 2
    known_to = math.inf if start == float(near_to) else float(near_to)
    own = math.sqrt(max(eye - ceiling, 0) / HALF_CURVATURE)
    half = FAR_CELL / 2
    k = max(int(start / half), 1)
    while True:
        d = max(k * half, start)
        face = max(d - half, start)
        nearest = max(face, own)
        if (ceiling - eye) / nearest - nearest * HALF_CURVATURE <= best:
            break
        r = far.top + row * CELL / FAR_CELL + k * steps[0]
        c = far.left + col * CELL / FAR_CELL + k * steps[1]
        if not (0 <= r < far.highest_m.shape[0] and 0 <= c < far.highest_m.shape[1]):
            known_to = min(known_to, face)
            break
        height_there = float(far.highest_m[int(r), int(c)])
        if math.isnan(height_there):
            known_to = min(known_to, face)
        else:
            at = face if height_there > eye else d
            best = max(best, (height_there - eye) / at - at * HALF_CURVATURE)
        k += 1
    return math.degrees(math.atan(best)), known_to


@pytest.mark.parametrize("holes", [False, True])
@pytest.mark.parametrize("spare", [0.0, 900.0])
def test_every_line_is_walked_on_as_sample_by_sample(holes, spare):
    z, _ = terrain("hills")
    z = holed(z) if holes else z
    far = surroundings(z, holes=holes)
    ceiling = max(float(np.nanmax(z)), float(np.nanmax(far.highest_m))) + spare
    azimuths = np.array([0.0, 33.0, 90.0, 123.4, 180.0, 215.0, 270.0, 333.3])
    lifted = 0
    for row, col in np.random.default_rng(1).integers(0, z.shape, (60, 2)).tolist():
        if math.isnan(z[row, col]):
            continue
        angle, known_to = whole_horizon(z, CELL, row, col, azimuths, 2.0, ceiling_m=ceiling, far=far)
        alone, _ = horizon_reach(z, CELL, row, col, azimuths, 2.0, ceiling_m=ceiling)
        for n, azimuth in enumerate(azimuths.tolist()):
            want, want_to = walked(z, far, row, col, azimuth, 2.0, ceiling)
            assert angle[n] == pytest.approx(want, abs=1e-9), (row, col, azimuth)
            assert known_to[n] == pytest.approx(want_to), (row, col, azimuth)
        lifted += int((angle > alone + 1e-9).sum())
    assert lifted > 50


@pytest.mark.parametrize("holes", [False, True])
@pytest.mark.parametrize("spare", [0.0, 900.0])
def test_raster_rule_margin_raster_and_single_places_agree(holes, spare):
    """Satellites 6 and 20 deg up with a margin of 2: blocked, clear or unknown alike in all three."""
    z, _ = terrain("hills")
    z = holed(z) if holes else z
    far = surroundings(z, holes=holes)
    ceiling = max(float(np.nanmax(z)), float(np.nanmax(far.highest_m))) + spare
    rays = np.array([199.0, 200.0, 201.0])
    where = {"ceiling_m": ceiling, "far": far}
    horizon, reach = horizon_raster(z, CELL, lambda r, c: np.broadcast_to(rays, (*np.shape(r), 3)), 2.0, **where)
    seen = set()
    for up in (6.0, 20.0):

        def look(rows, cols, up=up):
            return np.tile(rays, (len(rows), 1)), np.full(len(rows), up - 2.0)

        state = sky_state_varying(z, CELL, look, 2.0, **where, tile_cells=50)
        margin = known_margin_deg(up, horizon, reach, z + 2.0, ceiling, 2.0)
        for row, col in np.random.default_rng(2).integers(0, z.shape, (300, 2)).tolist():
            if math.isnan(z[row, col]):
                assert state[row, col] == UNKNOWN_GAP
                continue
            angle, known_to = whole_horizon(z, CELL, row, col, rays, 2.0, **where)
            own = known_margin_deg(up, angle.max(), known_to.min(), z[row, col] + 2.0, ceiling, 2.0)
            if abs(own - 2.0) < 2e-4:  # float32 of the raster
                continue
            assert margin[row, col] == pytest.approx(float(own), abs=2e-3, nan_ok=True)
            told = {CLEAR: own >= 2, BLOCKED: own < 2}.get(int(state[row, col]), math.isnan(own))
            assert told, (row, col, int(state[row, col]), float(own))
            seen.add(int(state[row, col]))
    assert seen >= {CLEAR, BLOCKED, UNKNOWN_BEYOND}


def test_a_wall_in_the_far_ground_stands_as_high_as_its_closed_form():
    """(top - eye) / d - d / 2a at the near face of the wall's cells; half a cell of 100 m nearer at most."""
    z = np.zeros((60, 60), np.float32)
    far = np.zeros((260, 260), np.float32)
    far[:, 200:202] = 500.0  # from 100 cells east of the near raster's left edge on
    ground = FarGround(far, 100.0, 100.05, 100.05)
    angle, known_to = whole_horizon(z, 10.0, 30, 30, [90.0, 270.0], 2.0, ceiling_m=500.0, far=ground)
    d = 10_000 - 305.0  # the eye stands on cell 30, 305 m from the edge
    low, high = (math.degrees(math.atan(498 / x - x * HALF_CURVATURE)) for x in (d, d - 50))
    assert low - 1e-9 <= angle[0] <= high
    assert known_to[0] == math.inf
    assert known_to[1] == pytest.approx(10_305, abs=60)  # nothing stands in the west: the far ground ends


def test_without_far_ground_nothing_changes():
    z, _ = terrain("hills")
    azimuths = np.arange(0.0, 360.0, 30.0)
    ceiling = float(z.max()) + 100
    for one, other in zip(
        whole_horizon(z, CELL, 50, 60, azimuths, 2.0, ceiling_m=ceiling),
        horizon_reach(z, CELL, 50, 60, azimuths, 2.0, ceiling_m=ceiling),
        strict=True,
    ):
        np.testing.assert_array_equal(one, other)


def test_a_satellite_never_has_more_margin_than_it_stands_above_the_level():
    """From a hill the skyline lies below the level; it adds nothing."""
    assert known_margin_deg(11.5, -8.0, np.inf, 500.0, 400.0, 2.0) == 11.5
    assert known_margin_deg(11.5, 0.5, np.inf, 500.0, 400.0, 2.0) == pytest.approx(11.0)
    assert known_margin_deg(-3.0, -8.0, np.inf, 500.0, 400.0, 2.0) == -3.0
