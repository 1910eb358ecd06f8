"""Told ranges of a share and of chances at points against fresh errors on a known truth: 85 to 95 of 100 hold.

A Monte Carlo of the elevation's error. The share itself is worked out here, on the told and on the true ground, by the
loss to every cell; only the range comes from the code under test. `python -m tests.planning.test_service_error 200`
tries more worlds: of 200 of each kind 89 to 96 % held on fine cells, of chances at points 91 to 96 %. On wide cells,
where what the cells hide is a guess that is taken widely, 87 to 100 %. Why more than 95 % on some: a truth that is
known in halves or thirds of the told cells alone (all that real heights of 83 m allow of cells of 166 and 249 m) hides
ridges itself. The same hills in fifths (cells of 415 m) hold 99 %, in eighths (664 m) 88 %: what they hide is then 1.6
times the guess, in halves and thirds 0.6 to 0.9 times. With half of the guess as its doubt, not 0.65, 81 % would hold
there: it stays.
"""

from __future__ import annotations

import functools
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import rasterio
from scipy.special import ndtr

from siteplanner import load_mission, plan
from siteplanner.core.cover_error import loss_shifts_db
from siteplanner.core.coverage import path_loss_stops_db
from siteplanner.core.coverage_exact import path_loss_exact_db
from siteplanner.core.ground_cover import TREES, cover_of, covered_loss_db
from siteplanner.core.likely_ground import LANES, likely_ground
from siteplanner.mission import Radio
from siteplanner.planning.choose.certainty import bias_of, doubt_of, leeway
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.spots.evaluation import Coverage
from siteplanner.planning.spots.service_error import doubt_about, points_doubt, share_doubt
from siteplanner.planning.telling.prediction import doubt_words, elevation_sentence
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.units import METRIC

SAMPLES = Path(__file__).parents[2] / "data_samples"
SIGMA_DB, MAST, HANDSET, MHZ = 8.0, 12.0, 1.5, 763.0


def hills(rng, size, beta, height_m):
    """Ground with a straight spectrum: the steeper, the smoother."""
    wave = np.hypot(np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size)[None])
    wave = np.maximum(wave, 2 / size) ** -beta
    z = np.fft.irfft2(wave * np.exp(2j * np.pi * rng.random(wave.shape)), s=(size, size))
    return (z * height_m / z.std()).astype(np.float32)


@functools.cache
def sample(name):
    with rasterio.open(SAMPLES / name / "elevation.tif") as file:
        return file.read(1).astype(np.float32)


def cut(name, rng, size):
    whole = sample(name)
    row, col = (int(rng.integers(0, n - size)) for n in whole.shape)
    return whole[row : row + size, col : col + size].copy()


WORLDS = {  # truth, cell, error
    "rolling": (lambda rng: hills(rng, 200, 2.6, 6), 10.0, 0.8),
    "hilly": (lambda rng: hills(rng, 200, 2.2, 40), 10.0, 0.8),
    "rough": (lambda rng: hills(rng, 200, 1.9, 40), 10.0, 0.8),
    "county": (lambda rng: cut("dunmarrow_county", rng, 300), 10.0, 0.8),
    "real hills, fine": (lambda rng: cut("real_hills", rng, 90), 20.0, 1.0),  # real shapes, as if of cells of 20 m
}


def losses(ground, cell_m, row, col, rows, cols):
    return path_loss_stops_db(ground, cell_m, row, col, [MAST], HANDSET, MHZ, rows, cols, threads=1)[0]


def share(loss, allowed_db):
    return float(np.mean(ndtr((allowed_db - loss) / SIGMA_DB)))


def inputs(told, cell_m, error_m, rows, cols, kinds=None):
    cover = cover_of(told, np.zeros(told.shape, np.uint8) if kinds is None else kinds)
    return SimpleNamespace(
        elevation=SimpleNamespace(values=told, cell_size_m=cell_m),
        radio=Radio(),
        area_cells=SimpleNamespace(rows=rows, cols=cols, weight=np.full(rows.size, 1 / rows.size)),
        cover=SimpleNamespace(cover=cover),
        likely=likely_ground(told, cell_m, cell_m, error_m),
    )


def judged(truth, cell_m, error_m, rng, every=3):
    """(told share, true share, doubt) of the best of a few spots on told ground."""
    told = (truth + rng.normal(0, error_m, truth.shape)).astype(np.float32)
    size = truth.shape[0]
    tried = [(int(r), int(c)) for r, c in rng.integers(size // 4, 3 * size // 4, (5, 2))]
    cell = max(tried, key=lambda at: told[at])
    rows, cols = (a.ravel() for a in np.mgrid[1 : size - 1 : every, 1 : size - 1 : every])
    loss = losses(told, cell_m, *cell, rows, cols)
    allowed = float(np.quantile(loss, rng.uniform(0.3, 0.8)))
    figure = share(loss, allowed)
    true = share(losses(truth, cell_m, *cell, rows, cols), allowed)
    within = np.ones(rows.size, bool)
    doubt = share_doubt(
        inputs(told, cell_m, error_m, rows, cols), cell, MAST, figure, loss, allowed - loss, within, 8.0
    )
    return figure, true, doubt


def test_a_told_range_for_nine_in_ten_holds_nine_in_ten():
    rng = np.random.default_rng(3)
    held, off, biases = {}, {}, {}
    for name, (truth, cell_m, error_m) in WORLDS.items():
        for _ in range(60):
            figure, true, doubt = judged(truth(rng), cell_m, error_m, rng)
            held.setdefault(name, []).append(doubt.low <= true <= doubt.high)
            off.setdefault(name, []).append(true - figure)
            biases.setdefault(name, []).append(doubt.bias)
    shares = {name: float(np.mean(inside)) for name, inside in held.items()}
    assert 0.85 <= np.mean([v for inside in held.values() for v in inside]) <= 0.95, shares
    assert all(v >= 0.8 for v in shares.values()), shares  # of 60: two standard errors are 0.09
    # random errors stand in the way: the share is told too low, and by how much is known within a third
    assert np.mean(off["rolling"]) > 0.03
    assert np.mean(biases["rolling"]) == pytest.approx(np.mean(off["rolling"]), rel=0.33)


def pointed(truth, cell_m, error_m, rng):
    """Of eight points whether each told range holds the true chance."""
    told = (truth + rng.normal(0, error_m, truth.shape)).astype(np.float32)
    size, most = truth.shape[0], Radio().most_certain_at_point
    cell = max(((int(r), int(c)) for r, c in rng.integers(size // 4, 3 * size // 4, (5, 2))), key=lambda at: told[at])
    rows, cols = rng.integers(1, size - 1, (2, 8)).astype(float)
    keep = np.hypot(rows - cell[0], cols - cell[1]) > 3
    rows, cols = rows[keep], cols[keep]
    loss, true = (path_loss_exact_db(z, cell_m, *cell, [MAST], HANDSET, MHZ, rows, cols)[0] for z in (told, truth))
    allowed = np.quantile(loss, rng.uniform(0.2, 0.8))
    chance, true = (np.minimum(ndtr((allowed - db) / SIGMA_DB), most) for db in (loss, true))
    given = inputs(told, cell_m, error_m, rows.astype(int), cols.astype(int))
    paths = np.column_stack([rows, cols, loss, allowed - loss])
    doubts, _ = points_doubt(given, cell, MAST, paths, list(chance), SIGMA_DB)
    return [d.low - 1e-9 <= t <= d.high + 1e-9 for d, t in zip(doubts, true, strict=True)]


def test_chances_at_points_lie_in_their_told_ranges():
    """From the quantiles of 22 draws they would hold 71 to 88 of 100."""
    rng = np.random.default_rng(2)
    held = {
        name: np.mean(np.concatenate([pointed(truth(rng), cell_m, error_m, rng) for _ in range(40)]))
        for name, (truth, cell_m, error_m) in WORLDS.items()
    }
    assert all(0.88 <= v <= 0.97 for v in held.values()), held


def widely(fine, fine_m, cells, error_m, rng):
    """(told share, true share, doubt) on means of fine ground over `cells` by `cells`, with errors."""
    size = fine.shape[0] // cells
    wide = fine[: size * cells, : size * cells].reshape(size, cells, size, cells).mean((1, 3))
    told, cell_m = (wide + rng.normal(0, error_m, wide.shape)).astype(np.float32), fine_m * cells
    tried = [(int(r), int(c)) for r, c in rng.integers(size // 4, 3 * size // 4, (5, 2))]
    cell = max(tried, key=lambda at: told[at])
    rows, cols = (a.ravel() for a in np.mgrid[1 : size - 1 : 2, 1 : size - 1 : 2])
    keep = np.hypot(rows - cell[0], cols - cell[1]) > 2
    rows, cols = rows[keep], cols[keep]
    loss = losses(told, cell_m, *cell, rows, cols)
    allowed = float(np.quantile(loss, rng.uniform(0.3, 0.8)))
    figure = share(loss, allowed)
    place = (cells * along + rng.integers(0, cells, rows.size) for along in (rows, cols))
    true = share(losses(fine, fine_m, *(cells * along + cells // 2 for along in cell), *place), allowed)
    given = inputs(told, cell_m, error_m, rows, cols)
    doubt = share_doubt(given, cell, MAST, figure, loss, allowed - loss, np.ones(rows.size, bool), SIGMA_DB)
    return figure, true, doubt


WIDE = {  # fine truth, its cells, how many of them to a told cell, error
    "real hills": (lambda rng: cut("real_hills", rng, 240), 83.0, 3, 2.0),
    "real hills, as if of 20 m": (lambda rng: cut("real_hills", rng, 160), 20.0, 2, 1.0),
    "county": (lambda rng: cut("dunmarrow_county", rng, 300), 10.0, 3, 2.0),
    "rolling": (lambda rng: hills(rng, 300, 2.6, 6), 10.0, 3, 2.0),
    "hilly": (lambda rng: hills(rng, 300, 2.2, 40), 10.0, 3, 2.0),
    "rough": (lambda rng: hills(rng, 400, 1.9, 40), 10.0, 8, 2.0),
    "real hills, in eighths": (lambda rng: cut("real_hills", rng, 336), 83.0, 8, 2.0),
}


def test_wide_cells_hide_ground_and_their_range_is_wide_enough():
    """Ridges cut off: the share is told too high. How much is a guess; no range may be too narrow for it.

    On smooth ground under errors of 2 m, the county's, what is hidden was taken from the error's own scatter: 77 of 100
    held.
    """
    rng = np.random.default_rng(5)
    off, bias, held = {}, {}, {}
    for name, (fine, *how) in WIDE.items():
        found = [widely(fine(rng), *how, rng) for _ in range(90 if name == "county" else 30)]
        held[name] = np.mean([doubt.low <= true <= doubt.high for _, true, doubt in found])
        off[name] = np.mean([true - figure for figure, true, _ in found])
        bias[name] = np.mean([doubt.bias for _, _, doubt in found])
    assert held["county"] >= 0.84
    assert all(v >= 0.83 for v in held.values()), held
    assert np.mean(list(held.values())) >= 0.9
    assert off["real hills"] < -0.04
    assert bias["real hills"] == pytest.approx(off["real hills"], rel=0.5)
    assert bias["rolling"] == pytest.approx(off["rolling"], rel=0.15)  # errors only: nothing is hidden there


def test_the_first_lane_is_the_exact_loss():
    rng = np.random.default_rng(1)
    from siteplanner.core.constants import MEAN_EARTH_RADIUS_M, MEDIAN_K_FACTOR, SPEED_OF_LIGHT_M_S
    from siteplanner.core.coverage_rays import Link
    from siteplanner.core.loss_error import redrawn_losses_db

    z = hills(rng, 128, 2.2, 40)
    rows, cols = rng.uniform(5, 120, (2, 200))
    far = np.hypot(rows - 60, cols - 60) > 3
    rows, cols = rows[far], cols[far]
    radius, wave = MEAN_EARTH_RADIUS_M * MEDIAN_K_FACTOR, SPEED_OF_LIGHT_M_S / (MHZ * 1e6)
    link = Link(60, 60, float(z[60, 60]), 10.0, radius, wave, True, 5.0)
    ground = likely_ground(z, 10.0, 10.0, 0.8)
    found = redrawn_losses_db(z, z, ground, link, MAST, np.full(rows.size, HANDSET), rows, cols)
    assert found.shape == (rows.size, LANES)
    exact = path_loss_exact_db(z, 10.0, 60, 60, [MAST], HANDSET, MHZ, rows, cols)[0]
    assert found[:, 0] == pytest.approx(exact, abs=0.01)  # single precision against double


def test_woods_stay_where_the_wave_goes():
    """Paths through and over woods: as far off as their ground makes them, and none where the ground is known."""
    rng = np.random.default_rng(2)
    z = hills(rng, 128, 2.2, 40)
    kinds = np.zeros(z.shape, np.uint8)
    kinds[:, 80:95] = TREES
    cover = cover_of(z, kinds)
    rows, cols = (a.ravel().astype(float) for a in np.mgrid[4:124:12, 4:124:12])
    told = covered_loss_db(z, 10.0, 60, 60, [MAST], HANDSET, MHZ, rows.astype(int), cols.astype(int), cover)[0]
    paths = z, 10.0, 60, 60, MAST, HANDSET, MHZ, rows, cols, told, cover
    known = loss_shifts_db(*paths, likely_ground(z, 10.0, 10.0, 0.0))
    assert np.abs(known).max() == 0
    off = loss_shifts_db(*paths, likely_ground(z, 10.0, 10.0, 0.8))
    assert 0.05 < off[:, 2:].std() < 5
    assert np.isfinite(off).all()


def test_no_error_leaves_no_doubt():
    rng = np.random.default_rng(4)
    _, _, doubt = judged(hills(rng, 128, 2.2, 40), 10.0, 0.0, rng)
    assert (doubt.bias, doubt.spread) == (0.0, 0.0)
    assert doubt.low == doubt.high


def test_more_error_more_doubt():
    spreads = []
    for error in (0.1, 0.8, 3.0):
        rng = np.random.default_rng(6)
        spreads.append(np.mean([judged(hills(rng, 128, 2.2, 40), 10.0, error, rng)[2].spread for _ in range(4)]))
    assert spreads == sorted(spreads)
    assert spreads[2] > 3 * spreads[0]


def test_the_ranking_knows_it_of_each_spot_by_itself(valley_plan):
    mission = valley_plan.mission
    for ranked in valley_plan.judged:
        e = ranked.evaluation
        assert e.coverage.elevation is not None
        beside = np.hypot(mission.doubts.share * leeway(e.coverage.share), e.coverage.mounting.spread)
        own = 100 * np.hypot(beside, e.coverage.elevation.spread)
        assert doubt_of("coverage", e, mission) == pytest.approx(own)
        assert bias_of("coverage", e) == pytest.approx(100 * (e.coverage.elevation.bias + e.coverage.mounting.bias))
        assert doubt_of("must_serve", e, mission) >= 100 * e.coverage.points_elevation.spread
        assert all(p.elevation is None or p.elevation.low <= p.elevation.high for p in e.coverage.must_serve)
    assert bias_of("access", e) == 0


def test_plan_json_and_sentences_tell_it(valley_plan):
    spot = plan_record(valley_plan)["spots"][0]
    told = spot["coverage"]["elevation"]
    assert set(told) == {"bias", "spread", "low", "high", "hidden"}
    assert 0 <= told["low"] <= told["high"] <= 1
    assert any(line.startswith("Elevation's own error: in 9 cases of 10") for line in spot["service"]["sentences"])
    coverage = Coverage(
        0.82, 1.0, 8.0, (0.0,), (), (), share_low=0.48, share_high=0.93, elevation=doubt_about(0.82, 0.013, 0.02)
    )
    assert doubt_words(coverage, METRIC) == "80 % to 87 % for the elevation's error, 48 % to 93 % if the model is off"
    assert elevation_sentence(coverage, METRIC) == (
        "Elevation's own error: in 9 cases of 10 the share lies between 80.0 % and 86.6 %, most likely 1.3 points more "
        "than told; the figures are those of the elevation as given."
    )
    wide = replace(coverage, elevation=doubt_about(0.82, -0.06, 0.04, hidden=-0.055))
    assert elevation_sentence(wide, METRIC).endswith(
        "elevation as given. 5.5 points of it are ridges and hollows that cells this wide do not show: guessed from "
        "those that they do, so the range is wide."
    )
    assert elevation_sentence(Coverage(0.8, 1.0, 8.0, (), (), ()), METRIC) == ""
    assert ElevationDoubt(0.0, 0.0, 0.8, 0.8).low == 0.8


def test_the_same_plan_twice_tells_the_same(valley_plan, valley_mission):
    first, second = valley_plan, plan(load_mission(valley_mission))
    assert [r.evaluation.coverage.elevation for r in first.judged] == [
        r.evaluation.coverage.elevation for r in second.judged
    ]


if __name__ == "__main__":
    luck, worlds = np.random.default_rng(0), int(sys.argv[1])
    for name, (truth, *how) in WORLDS.items():
        tried = [judged(truth(luck), *how, luck) for _ in range(worlds)]
        points = [pointed(truth(luck), *how, luck) for _ in range(worlds // 4)]
        inside = np.mean([doubt.low <= true <= doubt.high for _, true, doubt in tried])
        print(f"{name}: shares {inside:.3f}, points {np.mean(np.concatenate(points)):.3f}")
    for name, (truth, *how) in WIDE.items():
        tried = [widely(truth(luck), *how, luck) for _ in range(worlds)]
        print(f"wide cells, {name}: {np.mean([doubt.low <= true <= doubt.high for _, true, doubt in tried]):.3f}")
