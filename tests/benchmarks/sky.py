"""How fast the sky of a whole raster is answered, as ratios taken side by side in one run.

    python -m tests.benchmarks.sky [CELLS]

Prints, for a synthetic mountain of 4000 x 4000 cells of 10 m: one answer against a plain copy of the raster and
against walking every cell; the share of cells that the bounds leave open; with and without turning the raster
(lines of sight along columns or rows). Seconds depend on the machine and its load; the ratios less so.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable

import numpy as np

from siteplanner.core.horizon import block_raster, blocks, horizon_deg
from siteplanner.core.sky import ray_of, sky_state, sky_state_varying
from siteplanner.core.sky_bounds import OPEN, bounds
from siteplanner.core.terrain import slope_deg
from tests.core.sky_walk import walk_cells

CELL_M = 10.0
WALKED_ROWS = 40


def mountain(cells: int) -> np.ndarray:
    """Spectral relief, scaled to slopes of 11.5 degrees in the median."""
    rng = np.random.default_rng(3)
    wave = np.hypot(np.fft.fftfreq(cells)[:, None], np.fft.rfftfreq(cells)[None])
    wave = np.maximum(wave, 4 / cells) ** -2.7
    z = np.fft.irfft2(wave * np.exp(2j * np.pi * rng.random(wave.shape)), s=(cells, cells))
    z -= z.min()
    for _ in range(3):
        z *= math.tan(math.radians(11.5)) / math.tan(math.radians(float(np.nanmedian(slope_deg(z, CELL_M)))))
    return z.astype(np.float32)


def best_s(job: Callable[[], object], repeats: int = 3) -> float:
    best = math.inf
    for _ in range(repeats):
        start = time.perf_counter()
        job()
        best = min(best, time.perf_counter() - start)
    return best


def main() -> None:
    cells = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    z = mountain(cells)
    known = blocks(z)
    sky_state(z[:200, :200], CELL_M, 33.0, 20.0, 2.0)  # compile outside the clock
    walk_cells(z[:200, :200], CELL_M, 5, 5, 33.0, 20.0, 2.0)
    copy_s = best_s(z.copy, 7)
    print(f"{cells} x {cells} cells, relief {np.ptp(z):.0f} m; a copy takes {copy_s:.4f} s")
    rows, cols = np.meshgrid(np.linspace(0, cells - 1, WALKED_ROWS).astype(int), np.arange(cells), indexing="ij")
    head = ("azimuth", "limit", "turned", "open %", "1 thread", "2 threads", "walk / sweep", "sweep / copy", "equal %")
    print(" ".join(f"{h:>12}" for h in head))
    for azimuth in (180.0, 215.0, 123.4, 270.0):
        for limit in (8.0, 12.0, 25.0):
            ray = ray_of(azimuth, limit)
            found = bounds(block_raster(z, known, CELL_M, known.ceiling_m), z, ray, 2.0, map)
            one = best_s(lambda a=azimuth, b=limit: sky_state(z, CELL_M, a, b, 2.0, threads=1))
            two = best_s(lambda a=azimuth, b=limit: sky_state(z, CELL_M, a, b, 2.0, threads=2))
            walk = best_s(lambda a=azimuth, b=limit: walk_cells(z, CELL_M, rows, cols, a, b, 2.0, known=known), 1)
            walk *= cells / WALKED_ROWS
            walked = walk_cells(z, CELL_M, rows, cols, azimuth, limit, 2.0, known=known)
            equal = np.mean(sky_state(z, CELL_M, azimuth, limit, 2.0)[rows, cols] == walked)
            turned = "yes" if abs(ray.col_step) > abs(ray.row_step) else "no"
            print(
                f"{azimuth:12.1f} {limit:12.0f} {turned:>12} {100 * np.mean(found == OPEN):12.3f} {one:10.3f} s "
                f"{two:10.3f} s {walk / one:12.1f} {one / copy_s:12.1f} "
                f"{100 * equal:12.4f}"
            )
    varying = best_s(
        lambda: sky_state_varying(z, CELL_M, lambda r, c: (215 + 1e-4 * c[:, None], 12 + 1e-4 * r), 2.0), 1
    )
    whole = best_s(lambda: sky_state(z, CELL_M, 215.0, 12.0, 2.0), 1)
    print(f"tiles of 2.5 km / one direction: {varying / whole:.1f}")
    gaps = z.copy()
    gaps[cells // 4 : cells // 3, cells // 4 : cells // 3] = np.nan
    print(f"with a large hole / without: {best_s(lambda: sky_state(gaps, CELL_M, 215.0, 12.0, 2.0), 1) / whole:.1f}")
    round_s = best_s(lambda: horizon_deg(z, CELL_M, cells // 2, cells // 2, np.arange(360.0), 2.0, known=known), 5)
    print(f"all-round horizon of one point, 360 azimuths: {round_s * 1000:.2f} ms")


if __name__ == "__main__":
    main()
