"""The doubt of a horizon against fresh surveys of a known truth: told ranges for 9 in 10 hold 85 to 95 of 100.

`python -m tests.core.test_horizon_error 300` tries more places on wide cells.
"""

from __future__ import annotations

import functools
import math
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio

from siteplanner.core.horizon import horizon_reach
from siteplanner.core.horizon_error import NINE_IN_TEN, REACH_M, GroundNoise, horizon_surveys_deg, typical_error
from siteplanner.core.likely_ground import NOTHING_HIDDEN, hidden_forms

SAMPLES = Path(__file__).parents[2] / "data_samples"
CELL, HEIGHT, SIGMA = 10.0, 2.0, 0.8


def bank(rows=121, cols=121):
    """Level ground with a bank 8 m high 30 m to the south of the middle."""
    z = np.zeros((rows, cols), np.float32)
    z[rows // 2 + 3 :] = 8.0
    return z


def hills(seed, rows=201, cols=201):
    rng = np.random.default_rng(seed)
    wave = np.hypot(np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(cols)[None])
    wave = np.maximum(wave, 3 / rows) ** -2.4
    z = np.fft.irfft2(wave * np.exp(2j * np.pi * rng.random(wave.shape)), s=(rows, cols))
    return (z * 60 / z.std()).astype(np.float32)


def valley(seed):
    """A slope that rises 1 in 4 toward the south on gentle ground: the horizon stands a few hundred metres away."""
    rows, _ = np.mgrid[-60:61, -60:61]
    return (0.05 * hills(seed, 121, 121) + 2.5 * np.clip(rows - 25, 0, 30)).astype(np.float32)


def told(z, row, col, azimuths, noise):
    horizon, _ = horizon_reach(z, CELL, row, col, azimuths, HEIGHT)
    top = float(horizon.max())
    return top, typical_error(horizon_surveys_deg(z, z, CELL, row, col, azimuths, HEIGHT, top, noise) - top)


def survey(truth, rng, sigma=SIGMA):
    return (truth + rng.normal(0, sigma, truth.shape)).astype(np.float32)


BEAM = np.array([179.1, 179.5, 180.0, 180.5, 180.9])
SCENES = {"bank": [bank()], "hills": [hills(n) for n in range(4)], "slope": [valley(n) for n in range(4)]}


def test_a_told_range_for_nine_in_ten_holds_nine_in_ten():
    rng = np.random.default_rng(7)
    held: dict[str, list[bool]] = {}
    for name, truths in SCENES.items():
        for n in range(200):
            truth = truths[n % len(truths)]
            row, col = (int(v) for v in rng.integers(40, 81, 2)) if name != "bank" else (60, 60)
            true, _ = horizon_reach(truth, CELL, row, col, BEAM, HEIGHT)
            top, error = told(survey(truth, rng), row, col, BEAM, GroundNoise(SIGMA, CELL))
            held.setdefault(name, []).append(abs(top - float(true.max())) <= NINE_IN_TEN * error)
    shares = {name: float(np.mean(inside)) for name, inside in held.items()}
    assert 0.85 <= np.mean([v for inside in held.values() for v in inside]) <= 0.95, shares
    assert all(0.82 <= share <= 0.97 for share in shares.values()), shares


@functools.cache
def sample(name):
    with rasterio.open(SAMPLES / name / "elevation.tif") as file:
        return file.read(1).astype(np.float32)


def wide_scene(name, size, rng):
    whole = sample(name)
    row, col = (int(rng.integers(0, n - size)) for n in whole.shape)
    return whole[row : row + size, col : col + size]


def flat_cell(told, cell_m, rng):
    """A cell near the middle where a trailer might stand: its window slopes by no more than 5 degrees, if any does."""
    size = told.shape[0]
    for _ in range(400):
        row, col = (int(v) for v in rng.integers(size // 3, 2 * size // 3, 2))
        rise = np.hypot(told[row + 1, col] - told[row - 1, col], told[row, col + 1] - told[row, col - 1])
        if rise < 2 * cell_m * math.tan(math.radians(5)):
            break
    return row, col


def told_by_wide_cells(name, fine_m, cells, sigma_m, size, rng):
    """(how far a told horizon of means of fine ground, with errors, is off the fine one; its told error), degrees."""
    beam, cell_m = np.array([175.0, 178.0, 180.0, 182.0, 185.0]), fine_m * cells
    truth = wide_scene(name, size, rng)
    n = size // cells
    wide = truth[: n * cells, : n * cells].reshape(n, cells, n, cells).mean((1, 3))
    z = survey(wide, rng, sigma_m)
    row, col = flat_cell(z, cell_m, rng)
    middle = (cells * at + (cells // 2 if cells % 2 else cells // 2 - int(rng.integers(0, 2))) for at in (row, col))
    true = horizon_reach(truth, fine_m, *middle, beam, HEIGHT)[0].max()
    top = float(horizon_reach(z, cell_m, row, col, beam, HEIGHT)[0].max())
    hidden = hidden_forms(z, cell_m, cell_m, sigma_m, (row, col), REACH_M)
    noise = GroundNoise(sigma_m, cell_m)
    surveys = horizon_surveys_deg(z, z, cell_m, row, col, beam, HEIGHT, top, noise, hidden)
    return abs(top - true), typical_error(surveys - top)


WIDE = [  # sample, cells of the truth, how many of them to a told one, error
    ("dunmarrow_county", 10.0, 3, 2.0, 450),
    ("dunmarrow_county", 10.0, 5, 2.0, 500),
    ("dunmarrow_county", 10.0, 8, 2.0, 600),
    ("real_hills", 83.0, 3, 2.0, 240),
    ("real_hills", 83.0, 8, 2.0, 320),
    ("real_hills", 20.0, 2, 1.0, 200),  # real shapes, as if of cells of 20 m
    ("real_hills", 30.0, 8, 2.0, 320),
]


def held_by(scene, seed, runs):
    rng = np.random.default_rng(seed)
    found = (told_by_wide_cells(*scene, rng) for _ in range(runs))
    return float(np.mean([off <= NINE_IN_TEN * error for off, error in found]))


def test_wide_cells_hide_ridges_and_the_range_holds_them():
    """Horizons of fine ground against those of its means over wide cells, with errors. By the error alone 14 to 71 of
    100 ranges held; with the forms around the eye taken for those of a crest far behind it, 77 in cells of 50 m.
    """
    held = {scene[:3]: held_by(scene, 1, 100) for scene in WIDE}
    assert all(share >= 0.83 for share in held.values()), held  # of 100: two standard errors are 0.06
    by_eighths = [share for (_, _, cells), share in held.items() if cells >= 5]
    assert 0.85 <= np.mean(by_eighths) <= 0.95, held  # in fewer parts the truth itself hides forms


def test_a_crest_errs_by_its_own_forms_not_by_those_of_the_plain_before_it():
    """A plain, and 1,500 m to the south a rough range of 400 m: with forms of h metres its crest is off by h / 1500."""
    cell_m, rng = 30.0, np.random.default_rng(5)
    z = np.zeros((161, 161), np.float32)
    z[110:] = 400.0 + rng.normal(0, 8.0, (51, 161))
    beam = np.array([180.0])
    top = float(horizon_reach(z, cell_m, 60, 80, beam, HEIGHT)[0].max())
    hidden = hidden_forms(z, cell_m, cell_m, 0.0, (60, 80), REACH_M)
    at_eye, at_crest = (float(hidden.forms_m[row - hidden.row, 80 - hidden.col]) for row in (60, 115))
    assert at_eye == 0
    assert at_crest > 4.0
    surveys = horizon_surveys_deg(z, z, cell_m, 60, 80, beam, HEIGHT, top, GroundNoise(0.0, cell_m), hidden)
    error = typical_error(surveys - top)
    one_crest = math.degrees(at_crest / 1500) / (1 + math.tan(math.radians(top)) ** 2)
    assert 0.7 * one_crest < error < 2.5 * one_crest  # the highest of several forms, never nothing
    calm = horizon_surveys_deg(z, z, cell_m, 60, 80, beam, HEIGHT, top, GroundNoise(0.0, cell_m))
    assert typical_error(calm - top) == 0  # as it was told


def test_narrow_cells_hide_nothing():
    assert hidden_forms(hills(1), 10.0, 10.0, 0.8, (60, 60), REACH_M) is NOTHING_HIDDEN
    assert hidden_forms(hills(1), 30.0, 30.0, 0.0, (60, 60), REACH_M).forms_m.min() > 0.01
    assert not hidden_forms(np.zeros((90, 90), np.float32), 30.0, 30.0, 0.0, (3, 80), REACH_M).forms_m.any()


def test_one_bank_is_off_by_the_error_over_its_distance():
    """Closed form: both ends err, sqrt(2) sigma over the distance: 0.8 m at 30 m is 2.2 deg on level ground."""
    z = np.zeros((121, 121), np.float32)
    z[63:, :] = 100.0  # so high that nothing else can matter
    rows = np.array([180.0])
    top, error = told(z, 60, 60, rows, GroundNoise(SIGMA, CELL))
    assert top == pytest.approx(math.degrees(math.atan(98 / 30)), abs=0.01)
    slant = 1 + (98 / 30) ** 2
    assert error == pytest.approx(math.degrees(math.sqrt(2) * SIGMA / 30 / slant), rel=0.15)
    assert math.degrees(math.atan(math.sqrt(2) * SIGMA / 30)) == pytest.approx(2.16, abs=0.01)


def test_far_ground_is_known_better_and_never_told_as_certain():
    errors = []
    for cells in (5, 20, 50):
        z = np.zeros((121, 121), np.float32)
        z[60 + cells :, :] = 30.0 * cells
        errors.append(told(z, 60, 60, np.array([180.0]), GroundNoise(SIGMA, CELL))[1])
    assert errors == sorted(errors, reverse=True)
    z = np.zeros((121, 121), np.float32)
    beyond = typical_error(
        horizon_surveys_deg(z, z, CELL, 60, 60, np.array([180.0]), HEIGHT, 12.0, GroundNoise(SIGMA, CELL)) - 12.0
    )
    assert 0 < beyond < 0.03  # told by far ground: sqrt(2) x 0.8 m over at least 3 km


def test_no_error_no_doubt_and_unknown_stays_unknown():
    z = hills(3)
    assert told(z, 60, 60, BEAM, GroundNoise(0.0, CELL))[1] == 0.0
    none = horizon_surveys_deg(z, z, CELL, 60, 60, BEAM, HEIGHT, math.nan, GroundNoise(SIGMA, CELL))
    assert np.isnan(none).all()
    assert math.isnan(typical_error(none - math.nan))


def test_a_source_coarser_than_the_cells_errs_over_its_own_cells():
    """Errors 30 m apart, straight between: a bank 10 m away errs with the eye, not independent of it."""
    z = np.zeros((121, 121), np.float32)
    z[61:, :] = 10.0
    own = told(z, 60, 60, np.array([180.0]), GroundNoise(SIGMA, CELL))[1]
    coarse = told(z, 60, 60, np.array([180.0]), GroundNoise(SIGMA, 30.0))[1]
    assert coarse < 0.75 * own


def test_the_same_every_time():
    z = hills(2)
    assert told(z, 50, 50, BEAM, GroundNoise(SIGMA, CELL)) == told(z.copy(), 50, 50, BEAM, GroundNoise(SIGMA, CELL))


if __name__ == "__main__":
    for scene in (*WIDE, ("real_hills", 83.0, 2, 2.0, 160), ("real_hills", 10.0, 8, 2.0, 320)):
        share = held_by(scene, 0, int(sys.argv[1]))
        print(f"{scene[0]}, cells of {scene[1] * scene[2]:g} m of {scene[1]:g} m: {share:.3f}")
