"""Basic transmission loss from one mast to many cells of an elevation raster.

Free space over the slant distance plus the full delta-Bullington diffraction loss (ITU-R P.525-4, P.526-15
section 4.5) along the straight line between cell centres: ground every cell length, bilinear, effective Earth
radius. `path_loss_exact_db` computes exactly that; the other functions use the fast kernel of `coverage_rays`,
which blends neighbouring rays and agrees with it as the tests state.

What stands on the ground (`surface_m`) is in the profile of Bullington's loss but within 50 m of either end
(`coverage_exact.CLEAR_M`); the smooth surface is that of the ground (ITU-R P.1812-6 section 4.3.4, P.452-18).

Unknown ground: a cell whose path comes within a cell of unknown (NaN) ground, or whose own ground or the mast's
is unknown, is NaN. The nearest cells (under 1.5 cell lengths) have free space only; the mast's own cell that of
half a cell length.
"""

from __future__ import annotations

import math
import os
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.constants import MEAN_EARTH_RADIUS_M, MEDIAN_K_FACTOR, SPEED_OF_LIGHT_M_S
from siteplanner.core.coverage_cover import NONE, Depths, Stands
from siteplanner.core.coverage_exact import (
    CLEAR_M,
    NEAR_CELLS,
    OverTrees,
    Trees,
    WoodDepths,
    bilinear,
    check_inside,
    check_rasters,
    mast_heights,
    nearest_db,
    path_loss_exact_db,
    receiver_heights,
)
from siteplanner.core.coverage_loss import losses_in_place
from siteplanner.core.coverage_plan import plan_rays
from siteplanner.core.coverage_rays import Link, Paths, trace_intervals
from siteplanner.core.propagation import Polarization

__all__ = ["directions", "fast_losses", "path_loss_db", "path_loss_exact_db", "path_loss_stops_db"]

RAY_DENSITY = 1.0  # rays for each cell length of the farthest circle; 0.7 is a fifth faster, twice the error
SHARED_CELLS = 2000  # fewer cells than this are not worth a second thread
WINDOW_MARGIN = 4  # cells kept around the box of mast and targets
JOB_CELLS = 65_536  # cells a job holds at most, about, so that its arrays stay small
REACH_STEP = 64  # the number of rays follows the farthest cell in steps of this many cells


def path_loss_stops_db(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: int,
    col: int,
    mast_heights_m: ArrayLike,
    rx_height_m: ArrayLike,
    frequency_mhz: float,
    target_rows: ArrayLike,
    target_cols: ArrayLike,
    *,
    surface_m: np.ndarray | None = None,
    k_factor: float = MEDIAN_K_FACTOR,
    polarization: Polarization = "vertical",
    threads: int | None = None,
) -> np.ndarray:
    """Loss to chosen cells for every mast stop, float32 (stops, cells), dB.

    elevation_m: (rows, cols) ground, NaN unknown; a C-ordered float32 raster is used as it is, any other is
    copied at each call where the paths cross it. row, col: the mast's cell. mast_heights_m: (stops,) and
    rx_height_m, one or (cells,), above ground. target_rows, target_cols: (cells,) integers inside the raster, any
    order, repeats allowed; a coarser map needs only fewer of them. surface_m: what stands on the ground and hides what
    is behind it (tree tops, roofs; NaN: bare ground), left out within 50 m of either end; both ends stand on
    elevation_m all the same.
    Cost: that of the rays, about 2 pi x reach^2 samples for a full circle (reach in cells; less when the cells lie
    to one side), and that of the cells; far and few cells are better served by a coarser raster. With surface_m about
    half as much again.
    threads: None for one per processor; the answer has the same bits for any number.
    Raises ValueError for cells outside the raster, shapes that do not fit, or values outside the method's range.
    """
    return fast_losses(
        elevation_m,
        cell_size_m,
        row,
        col,
        mast_heights_m,
        rx_height_m,
        frequency_mhz,
        target_rows,
        target_cols,
        surface_m=surface_m,
        k_factor=k_factor,
        polarization=polarization,
        threads=threads,
    )[0]


def fast_losses(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: int,
    col: int,
    mast_heights_m: ArrayLike,
    rx_height_m: ArrayLike,
    frequency_mhz: float,
    target_rows: ArrayLike,
    target_cols: ArrayLike,
    *,
    surface_m: np.ndarray | None = None,
    trees: Trees | None = None,
    over: OverTrees | None = None,
    k_factor: float = MEDIAN_K_FACTOR,
    polarization: Polarization = "vertical",
    threads: int | None = None,
) -> tuple[np.ndarray, WoodDepths | None]:
    """As `path_loss_stops_db`, with the depths of `trees` on the paths where they are given.

    over (with trees): the loss has twice the stops, the second half for the way over the trees, on the same walk of the
    rays. It is worked out only for cells with crowns over the line to some stop, the others hold the first half's.
    Where trees do not raise a path between the same two heights, the depths hold only the woods within CLEAR_M of its
    ends: over is the lesser whatever else is on the way.
    """
    check_rasters(elevation_m, surface_m, cell_size_m)
    rows, cols = _cells(elevation_m, row, col, target_rows, target_cols)
    receivers = receiver_heights(rx_height_m, rows.size)
    masts = mast_heights(mast_heights_m, receivers, frequency_mhz, k_factor)
    window = _window(row, col, rows, cols)
    elevation = _ready(elevation_m, window)
    ground = float(elevation[row, col])
    lines = masts
    if over is not None:
        lines = np.append(masts, mast_heights(over.mast_heights_m, over.rx_heights_m, frequency_mhz, k_factor))
    shape = (lines.size, rows.size)
    depths = Depths(*np.zeros((4, masts.size, rows.size if trees is not None else 0), np.float32))
    counted = None if trees is None else WoodDepths(*depths)
    if rows.size == 0 or math.isnan(ground):
        return np.full(shape, np.nan, np.float32), counted
    out = np.empty(shape, np.float32)
    plan = plan_rays(elevation, rows, cols, receivers, row, col, RAY_DENSITY, REACH_STEP, NEAR_CELLS)
    link = Link(
        int(row),
        int(col),
        ground,
        float(cell_size_m),
        MEAN_EARTH_RADIUS_M * k_factor,
        SPEED_OF_LIGHT_M_S / (frequency_mhz * 1e6),
        polarization == "vertical",
        CLEAR_M / cell_size_m,
    )
    stands = None
    if trees is not None or (surface_m is not None and surface_m is not elevation_m):
        stands = _stands(elevation, surface_m, trees, over, window, (rows[plan.order], cols[plan.order]), plan.order)

    def run(first: int, last: int) -> None:
        start, stop = int(plan.starts[first]), int(plan.starts[last])
        paths = _room_for_paths(lines.size, stop - start)
        given = None if stands is None else depths
        smooth_count = trace_intervals(elevation, stands, link, masts, plan, first, last, paths, given)
        losses_in_place(paths, smooth_count, link, plan.order[start:stop], out)

    workers = threads or os.cpu_count() or 1
    with_profile = int(plan.starts[-1])
    jobs = 1 if workers == 1 or with_profile < SHARED_CELLS else 4 * workers
    borders = _borders(plan.starts, plan.reach, max(jobs, math.ceil(with_profile / JOB_CELLS)))
    if workers == 1 or len(borders) == 2:
        for first, last in pairwise(borders):
            run(first, last)
    else:
        # Plain threads on code that releases the lock: no threading layer that forbids nested or forked use.
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(run, borders[:-1], borders[1:]))
    near = slice(with_profile, None)
    nearest = plan.order[near]
    out[:, nearest] = nearest_db(
        plan.length[near], plan.ground[near], ground, lines, plan.receiver[near], cell_size_m, frequency_mhz
    )
    return out, counted


def path_loss_db(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: int,
    col: int,
    mast_height_m: float,
    rx_height_m: float,
    frequency_mhz: float,
    mask: np.ndarray,
    *,
    surface_m: np.ndarray | None = None,
    k_factor: float = MEDIAN_K_FACTOR,
    polarization: Polarization = "vertical",
    threads: int | None = None,
) -> np.ndarray:
    """Loss to every cell of `mask` (rows, cols, bool) for one mast height, float32 (rows, cols), dB.

    NaN outside the mask and where ground is unknown. Otherwise as `path_loss_stops_db`.
    """
    wanted = np.asarray(mask, bool)
    if wanted.shape != np.shape(elevation_m):
        raise ValueError("mask must have the shape of elevation_m")
    rows, cols = np.nonzero(wanted)
    out = np.full(wanted.shape, np.nan, np.float32)
    out[rows, cols] = path_loss_stops_db(
        elevation_m,
        cell_size_m,
        row,
        col,
        [mast_height_m],
        rx_height_m,
        frequency_mhz,
        rows,
        cols,
        surface_m=surface_m,
        k_factor=k_factor,
        polarization=polarization,
        threads=threads,
    )[0]
    return out


def directions(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: int,
    col: int,
    mast_heights_m: ArrayLike,
    rx_height_m: float,
    target_rows: ArrayLike,
    target_cols: ArrayLike,
    *,
    k_factor: float = MEDIAN_K_FACTOR,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where the cells lie as seen from the mast head.

    Returns distance_m (cells,), bearing_deg (cells,) clockwise from **grid** north, and elevation_deg
    (stops, cells) of the straight line to the receiver over the effective Earth, up positive; all float32.
    The mast's own cell: distance 0, bearing 0, elevation -90. NaN elevation where ground is unknown.
    Raises ValueError for cells outside the raster.
    """
    elevation = np.asarray(elevation_m)
    rows, cols = np.atleast_1d(np.asarray(target_rows)), np.atleast_1d(np.asarray(target_cols))
    check_inside(elevation, row, col, rows, cols)
    if np.issubdtype(rows.dtype, np.integer) and np.issubdtype(cols.dtype, np.integer):
        ground = elevation[rows, cols]
    else:
        ground = bilinear(elevation, rows, cols)
    return directions_over(
        rows - row, cols - col, ground, float(elevation[row, col]), cell_size_m, mast_heights_m, rx_height_m,
        k_factor=k_factor,
    )  # fmt: skip


def directions_over(
    down_cells: np.ndarray,
    right_cells: np.ndarray,
    ground_m: np.ndarray,
    mast_ground_m: float,
    cell_size_m: float,
    mast_heights_m: ArrayLike,
    rx_height_m: float,
    *,
    k_factor: float = MEDIAN_K_FACTOR,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """`directions` to receivers so many cells south and east of the mast, on ground of these heights, (cells,) each."""
    masts = np.atleast_1d(np.asarray(mast_heights_m, np.float32))
    down, right = down_cells.astype(np.float32), right_cells.astype(np.float32)
    distance = np.sqrt(down * down + right * right) * np.float32(cell_size_m)
    bearing = np.degrees(np.arctan2(right, -down)) % np.float32(360.0)
    rise = (ground_m - mast_ground_m + rx_height_m).astype(np.float32)
    rise -= distance**2 / np.float32(2.0 * MEAN_EARTH_RADIUS_M * k_factor)
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = np.degrees(np.arctan((rise - masts[:, None]) / distance))
    angle[:, distance == 0] = np.where(np.isnan(rise[distance == 0]), np.nan, -90.0)
    return distance, bearing, angle


def _cells(
    elevation: np.ndarray, row: int, col: int, target_rows: ArrayLike, target_cols: ArrayLike
) -> tuple[np.ndarray, np.ndarray]:
    rows, cols = np.asarray(target_rows), np.asarray(target_cols)
    if rows.size and not (np.issubdtype(rows.dtype, np.integer) and np.issubdtype(cols.dtype, np.integer)):
        raise ValueError("target_rows and target_cols must be integers; fractions go to path_loss_exact_db")
    rows, cols = rows.astype(np.int64).ravel(), cols.astype(np.int64).ravel()
    check_inside(elevation, row, col, rows, cols)
    return rows, cols


def _window(row: int, col: int, rows: np.ndarray, cols: np.ndarray) -> tuple[slice, ...]:
    """What the paths cross: rays leave the box around mast and cells by little more than a cell."""
    if rows.size == 0:
        return (slice(0, 0), slice(0, 0))
    return tuple(
        slice(max(int(min(at, ends.min())) - WINDOW_MARGIN, 0), int(max(at, ends.max())) + WINDOW_MARGIN + 1)
        for at, ends in ((row, rows), (col, cols))
    )


def _ready(raster: np.ndarray, window: tuple[slice, ...]) -> np.ndarray:
    """A C-ordered float32 raster: as it is, or copied inside the window; the rest is left unwritten, and unread."""
    given = np.asarray(raster)
    if given.size == 0 or (given.dtype == np.float32 and given.flags.c_contiguous) or window[0].stop == 0:
        return given
    copied = np.empty(given.shape, np.float32)
    copied[window] = given[window]
    return copied


def _stands(
    elevation: np.ndarray,
    surface_m: np.ndarray | None,
    trees: Trees | None,
    over: OverTrees | None,
    window: tuple[slice, ...],
    at: tuple[np.ndarray, np.ndarray],
    order: np.ndarray,
) -> Stands:
    """What stands on the ground as the kernel takes it: one form for all, so that it is compiled once."""
    nothing, none = np.empty((0, 0), np.float32), np.empty(0)
    hides = nothing
    if surface_m is not None and _stands_anywhere(surface_m[window], elevation[window]):
        hides = _ready(surface_m, window)
    if trees is None:
        return Stands(hides, nothing, np.empty((0, 0), np.uint8), 0, np.empty(0, np.float32), nothing, none, none)
    own = np.where(trees.kinds[at] == trees.kind, trees.top_m[at], NONE).astype(np.float32)
    kinds, tops = np.ascontiguousarray(trees.kinds), _ready(trees.top_m, window)
    if over is None:
        return Stands(hides, tops, kinds, trees.kind, own, nothing, none, none)
    higher = tops if over.top_m is trees.top_m else _ready(over.top_m, window)
    ends = np.asarray(over.mast_heights_m, float), np.asarray(over.rx_heights_m, float)[order]
    return Stands(hides, tops, kinds, trees.kind, own, higher, *ends)


def _stands_anywhere(surface: np.ndarray, ground: np.ndarray) -> bool:
    """Whether a surface is above the ground at any cell; mostly the first few rows say so."""
    step = 64
    return any(np.greater(surface[r : r + step], ground[r : r + step]).any() for r in range(0, len(ground), step))


def _room_for_paths(lines: int, count: int) -> Paths:
    return Paths(
        np.empty((lines, count), np.float32),
        np.empty((lines, count), np.float32),
        np.empty(count, np.float32),
        np.empty((4, lines * count), np.float32),
        np.empty((2, lines * count), np.int32),
    )


def _borders(starts: np.ndarray, reach: np.ndarray, jobs: int) -> list[int]:
    """Borders of up to `jobs` runs of intervals with about the same work (a ray sample costs about a third of
    a cell)."""
    if reach.size < 2 * jobs or jobs == 1:
        return [0, reach.size]
    work = np.cumsum(np.diff(starts) * 3.0 + reach)
    inner = np.searchsorted(work, work[-1] * np.arange(1, jobs) / jobs)
    return [0, *(int(b) for b in np.unique(inner[(inner > 0) & (inner < reach.size)])), reach.size]
