"""What coverage costs, as ratios within one run: `python -m tests.benchmarks.coverage [--quick]`.

Seconds on a shared machine mean little; ratios taken in one process mean more. Each figure is the best of a few
repeats of wall-clock time. The ground is that of the tests.
"""

from __future__ import annotations

import argparse
import os
import resource
import time
import warnings
from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.ndimage import gaussian_filter

from siteplanner.core.aim import best_aim
from siteplanner.core.antenna import SectorPattern
from siteplanner.core.coverage import directions, fast_losses, path_loss_stops_db
from siteplanner.core.ground_cover import KINDS, TREES, cover_of, covered_loss_db
from siteplanner.core.link import LinkParameters
from tests.core.coverage_twin import twin
from tests.core.grounds import CELL_M, disc, fractal, mountains, plain, real_hills

RX_M, MHZ = 1.5, 763.0
STOPS = (5.0, 8.0, 10.0, 12.0, 15.0)
PARAMS, PATTERN = LinkParameters(), SectorPattern(downtilt_deg=2.0)


def best(action: Callable[[], object], repeats: int = 5) -> float:
    """Least wall-clock seconds of a few repeats."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def cells_of(ground: np.ndarray, row: int, col: int, radius: float) -> tuple[np.ndarray, np.ndarray]:
    return np.nonzero(disc(ground.shape, row, col, radius))


def loss(ground, row, col, masts, rows, cols, threads=None):
    return path_loss_stops_db(ground, CELL_M, row, col, masts, RX_M, MHZ, rows, cols, threads=threads)


def against_slower_ways(quick: bool) -> None:
    print("\n1. One mast, the same cells, one thread (a full disc of 5 km; slower ways on a sample)")
    rng = np.random.default_rng(1)
    for name, ground in (("real hills", real_hills()), ("plain", plain()), ("mountains", mountains())):
        rows, cols = cells_of(ground, 550, 550, 500)
        fast = best(lambda: loss(ground, 550, 550, [12.0], rows, cols, 1), 3) / rows.size  # noqa: B023
        pick = rng.choice(rows.size, 2000 if quick else 6000, replace=False)
        double = ground.astype(float)
        slow = (
            best(lambda: twin(double, CELL_M, 550, 550, 12.0, RX_M, MHZ, rows[pick], cols[pick]), 3) / pick.size  # noqa: B023
        )
        every = best(lambda: loss(ground, 550, 550, [12.0], rows, cols), 5) / rows.size  # noqa: B023
        five = best(lambda: loss(ground, 550, 550, STOPS, rows, cols), 3) / rows.size  # noqa: B023
        print(
            f"   {name:11s} kernel 1, exact loop (numba, double) {slow / fast:6.0f}   [{1e-6 / fast:.2f} M cells/s; "
            f"all {os.cpu_count()} processors {1e-6 / every:.2f}, there five stops {five / every:.2f} times one]"
        )
    rows, cols = cells_of(real_hills(), 550, 550, 500)
    fast = best(lambda: loss(real_hills(), 550, 550, [12.0], rows, cols, 1), 3) / rows.size
    pick = rng.choice(rows.size, 30 if quick else 100, replace=False)
    library = best(lambda: pycraf_losses(real_hills(), 550, 550, rows[pick], cols[pick]), 1) / pick.size
    print(f"   real hills  kernel 1, pycraf {library / fast:,.0f}")
    print("   Scope: pycraf.pathprof.PathProp + loss_diffraction, one path a call through Python objects with units;")
    print("   it also derives the horizons and ducting figures that P.452's other mechanisms need. Same diffraction.")


def pycraf_losses(ground, row, col, rows, cols) -> list[float]:
    from astropy import units as u
    from pycraf import pathprof
    from scipy.ndimage import map_coordinates

    out = []
    for r, c in zip(rows, cols, strict=True):
        count = max(round(np.hypot(r - row, c - col)), 6)
        along = np.linspace(0, 1, count + 1)
        height = map_coordinates(ground, [row + along * (r - row), col + along * (c - col)], order=1)
        path = pathprof.PathProp(
            MHZ / 1000 * u.GHz,
            290 * u.K,
            1013 * u.hPa,
            0 * u.deg,
            0 * u.deg,
            0.1 * u.deg,
            0.1 * u.deg,
            12 * u.m,
            RX_M * u.m,
            100 * u.m,
            50 * u.percent,
            version=16,
            delta_N=39.25 / u.km,
            N0=325 * u.dimensionless_unscaled,
            hprof_dists=along * np.hypot(r - row, c - col) * CELL_M / 1000 * u.km,
            hprof_heights=height.astype(float) * u.m,
            hprof_bearing=45 * u.deg,
            hprof_backbearing=-135 * u.deg,
        )
        out.append(float(pathprof.loss_diffraction(path)[0].value))
    return out


def growth(quick: bool) -> None:
    ground = real_hills()
    repeats = 3 if quick else 7
    print("\n2. How the cost grows (real hills, one thread; the first of each row is 1)")

    def row_of(label: str, times: list[tuple[str, float]]) -> None:
        first = times[0][1]
        print(f"   {label:34s} " + "   ".join(f"{name}: {t / first:.2f}" for name, t in times))

    times = []
    for share in (0.1, 0.2, 0.4, 0.8, 1.0):
        rows, cols = cells_of(ground, 550, 550, 300)
        keep = np.random.default_rng(2).random(rows.size) < share
        rows, cols = rows[keep], cols[keep]
        times.append((f"{rows.size:,}", best(lambda: loss(ground, 550, 550, [12.0], rows, cols, 1), repeats)))  # noqa: B023
    row_of("cells within 3 km", times)
    times = []
    for radius in (125, 250, 500):
        rows, cols = cells_of(ground, 550, 550, radius)
        times.append((f"{radius * CELL_M / 1000:g} km", best(lambda: loss(ground, 550, 550, [12.0], rows, cols, 1), 3)))  # noqa: B023
    row_of("radius of a full disc (cells x4)", times)
    rows, cols = cells_of(ground, 550, 550, 178)
    for label, at in (("mast stops, area around the spot", (550, 550)), ("mast stops, area 3 km away", (900, 700))):
        times = [
            (str(n), best(lambda: loss(ground, *at, STOPS[-n:], rows, cols, 1), repeats))  # noqa: B023
            for n in (1, 2, 3, 5)
        ]
        row_of(label, times)
    times = [
        (str(n), best(lambda: [loss(ground, 500 + k, 600, [12.0], rows, cols, 1) for k in range(n)], 3))  # noqa: B023
        for n in (1, 4, 16)
    ]
    row_of("spots", times)
    big_rows, big_cols = cells_of(ground, 550, 550, 500)
    times = [
        (str(n), best(lambda: loss(ground, 550, 550, STOPS, big_rows, big_cols, n), 3))  # noqa: B023
        for n in (1, 2)
    ]
    row_of(f"threads ({os.cpu_count()} processors)", times)


def cover_cost(quick: bool) -> None:
    print("\n2b. What stands on the ground (5 km, three stops, one thread; bare ground is 1)")
    ground, masts = real_hills(), [8.0, 12.0, 15.0]
    rows, cols = cells_of(ground, 550, 550, 500)
    noise = gaussian_filter(np.random.default_rng(5).normal(size=ground.shape), 6)
    one = best(lambda: loss(ground, 550, 550, masts, rows, cols, 1), 3)

    def covered(kinds: np.ndarray) -> float:
        cover = cover_of(ground, kinds.astype(np.uint8))
        losses = partial(fast_losses, threads=1)
        arguments = (ground, CELL_M, 550, 550, masts, RX_M, MHZ, rows, cols, cover, losses)
        return best(lambda: covered_loss_db(*arguments), 2 if quick else 3) / one

    houses = covered(np.full(ground.shape, KINDS.index("suburban")))
    print(f"   houses everywhere: {houses:.2f}", end="")
    for share in (0.1, 0.3):
        print(
            f"; woods on {share:.0%}: {covered(np.where(noise > np.quantile(noise, 1 - share), TREES, 0)):.2f}", end=""
        )
    print()


def aim_cost(quick: bool) -> None:
    ground = real_hills()
    rows, cols = cells_of(ground, 550, 550, 178)
    weights = np.ones(rows.size)
    repeats = 3 if quick else 7
    masts = np.array(STOPS)
    losses = loss(ground, 800, 700, masts, rows, cols)

    def look():
        return directions(ground, CELL_M, 800, 700, masts, RX_M, rows, cols)

    _, bearing, angle = look()

    def aim(stops: int, sectors: int) -> float:
        return best(
            lambda: best_aim(losses[:stops], bearing, angle[:stops], weights, PARAMS, PATTERN, sectors=sectors), repeats
        )

    one = best(lambda: loss(ground, 800, 700, masts[-1:], rows, cols), repeats)
    five = best(lambda: loss(ground, 800, 700, masts, rows, cols), repeats)
    seen = best(look, repeats)
    two_free = aim(5, 2)
    print(f"\n3. All stops and bearings against one ({rows.size:,} cells; 1 = loss of one stop, all processors)")
    print(f"   loss of five stops: {five / one:.2f}; directions of five stops: {seen / one:.2f}")
    print(
        f"   aim of one stop, one sector: {aim(1, 1) / one:.2f}; one stop, two free: {aim(1, 2) / one:.2f}; "
        f"five stops, two free: {two_free / one:.2f}; five stops, three free: {aim(5, 3) / one:.2f}"
    )
    print(f"   together, five stops and every pair of bearings: {(five + seen + two_free) / one:.2f}")


def whole_search(quick: bool) -> None:
    count = 30 if quick else 300
    print(f"\n4. {count} spots x 100,000 cells x 5 stops with the best aim of two free sectors")
    for name, ground in (("real hills", real_hills()), ("plain", plain()), ("mountains", fractal(4, 2.1, 900.0))):
        rows, cols = cells_of(ground, 550, 550, 178)
        rows, cols = rows[:100_000], cols[:100_000]
        weights = np.ones(rows.size)
        rng = np.random.default_rng(3)
        spots = [(int(r), int(c)) for r, c in rng.integers(250, 850, (count, 2))]
        shares = np.empty((count, len(STOPS)))
        start, cpu = time.perf_counter(), time.process_time()
        for n, spot in enumerate(spots):
            losses = loss(ground, *spot, STOPS, rows, cols)
            distance, bearing, angle = directions(ground, CELL_M, *spot, STOPS, RX_M, rows, cols)
            shares[n] = best_aim(
                losses, bearing, angle, weights, PARAMS, PATTERN, distance_m=distance, max_radius_m=10_000.0
            ).shares
        wall, cpu = time.perf_counter() - start, time.process_time() - cpu
        sample = np.random.default_rng(4).choice(rows.size, 300, replace=False)
        double = ground.astype(float)
        slow = best(lambda: twin(double, CELL_M, *spots[0], 12.0, RX_M, MHZ, rows[sample], cols[sample]), 3)  # noqa: B023
        exact = slow / 300 * rows.size * len(STOPS) * count
        print(
            f"   {name:11s} {wall:6.1f} s wall, {cpu:6.1f} s of processors, best share {shares.max():.3f}; "
            f"the exact loop on one thread: {exact / wall:,.0f} times as long (from one spot)"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer repeats and spots")
    quick = parser.parse_args().quick
    warnings.simplefilter("ignore")
    ground = real_hills()
    loss(ground, 550, 550, [12.0], np.array([500]), np.array([520]))  # compile before the clock starts
    twin(ground.astype(float), CELL_M, 550, 550, 12.0, RX_M, MHZ, np.array([500]), np.array([520]))
    path_loss_stops_db(
        ground, CELL_M, 550, 550, [12.0], RX_M, MHZ, np.array([500]), np.array([520]), surface_m=ground + 1
    )
    best_aim(np.full((1, 1), 100.0), [0.0], np.zeros((1, 1)), [1.0], PARAMS, PATTERN)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    rows, cols = cells_of(ground, 550, 550, 540)
    loss(ground, 550, 550, STOPS, rows, cols)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    answer = rows.size * len(STOPS) * 4 / 2**20
    print(
        f"0. Peak memory: {rows.size:,} cells x 5 stops add {(after - before) / 1024:.0f} MB to "
        f"{before / 1024:.0f} MB (the answer itself is {answer:.0f} MB)"
    )
    against_slower_ways(quick)
    growth(quick)
    cover_cost(quick)
    aim_cost(quick)
    whole_search(quick)


if __name__ == "__main__":
    main()
