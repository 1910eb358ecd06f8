"""Basic transmission loss from one mast to many cells of an elevation raster.

Free space over the slant distance plus the full delta-Bullington diffraction loss (ITU-R P.525-4, P.526-15
section 4.5) along the straight line between cell centres: ground every cell length, bilinear, effective Earth
radius. `path_loss_exact_db` computes exactly that; the other functions use the fast kernel of `coverage_rays`,
which blends neighbouring rays and agrees with it as the tests state.

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
from siteplanner.core.coverage_loss import losses_in_place
from siteplanner.core.coverage_rays import Link, Paths, plan_rays, trace_intervals
from siteplanner.core.propagation import (
    Polarization,
    check_radio_range,
    diffraction_db,
    free_space_db,
)

RAY_DENSITY = 1.0  # rays for each cell length of the farthest circle; 0.7 is a fifth faster, twice the error
NEAR_CELLS = 1.5  # below this there is no profile between the ends
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
    rx_height_m: float,
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
    rx_height_m above ground. target_rows, target_cols: (cells,) integers inside the raster, any order, repeats
    allowed; a coarser map needs only fewer of them. surface_m: what stands in the way instead of bare ground
    (tree tops, roofs; NaN: bare ground); both ends stand on elevation_m all the same.
    Cost: that of the rays, about 2 pi x reach^2 samples for a full circle (reach in cells; less when the cells lie
    to one side), and that of the cells; far and few cells are better served by a coarser raster.
    threads: None for one per processor; the answer has the same bits for any number.
    Raises ValueError for cells outside the raster, shapes that do not fit, or values outside the method's range.
    """
    _check_rasters(elevation_m, surface_m, cell_size_m)
    masts = _masts(mast_heights_m, rx_height_m, frequency_mhz, k_factor)
    rows, cols = _cells(elevation_m, row, col, target_rows, target_cols)
    elevation, blocker = _rasters(elevation_m, surface_m, row, col, rows, cols)
    ground = float(elevation[row, col])
    if rows.size == 0 or math.isnan(ground):
        return np.full((masts.size, rows.size), np.nan, np.float32)
    out = np.empty((masts.size, rows.size), np.float32)
    plan = plan_rays(elevation, rows, cols, row, col, RAY_DENSITY, REACH_STEP, NEAR_CELLS)
    wavelength = SPEED_OF_LIGHT_M_S / (frequency_mhz * 1e6)
    radius = MEAN_EARTH_RADIUS_M * k_factor
    link = Link(
        int(row),
        int(col),
        ground,
        float(rx_height_m),
        float(cell_size_m),
        radius,
        wavelength,
        polarization == "vertical",
    )

    def run(first: int, last: int) -> None:
        start, stop = int(plan.starts[first]), int(plan.starts[last])
        paths = _room_for_paths(masts.size, stop - start)
        smooth_count = trace_intervals(blocker, link, masts, plan, first, last, paths)
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
    out[:, plan.order[near]] = _nearest_db(
        plan.length[near], plan.ground[near], ground, masts, rx_height_m, cell_size_m, frequency_mhz
    )
    return out


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


def path_loss_exact_db(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: int,
    col: int,
    mast_heights_m: ArrayLike,
    rx_height_m: float,
    frequency_mhz: float,
    target_rows: ArrayLike,
    target_cols: ArrayLike,
    *,
    surface_m: np.ndarray | None = None,
    k_factor: float = MEDIAN_K_FACTOR,
    polarization: Polarization = "vertical",
) -> np.ndarray:
    """As `path_loss_stops_db`, exact and in double precision, for a few named points: float64 (stops, points).

    target_rows, target_cols may be fractions of cells (0 is the centre of the first). NaN only where a sample of
    the path itself is unknown. About a tenth of a millisecond a path.
    """
    _check_rasters(elevation_m, surface_m, cell_size_m)
    masts = _masts(mast_heights_m, rx_height_m, frequency_mhz, k_factor)
    rows, cols = np.atleast_1d(np.asarray(target_rows, float)), np.atleast_1d(np.asarray(target_cols, float))
    _check_inside(elevation_m, row, col, rows, cols)
    elevation, blocker = _rasters(elevation_m, surface_m, row, col, rows, cols)
    ground = float(elevation[row, col])
    out = np.full((masts.size, rows.size), np.nan)
    length = np.hypot(rows - row, cols - col)
    target_ground = bilinear(elevation, rows, cols)
    for cell, cells in enumerate(length):
        if cells < NEAR_CELLS:
            continue
        last = int(cells + 0.5) - 1
        along = np.append(np.arange(last + 1.0), cells)
        heights = bilinear(blocker, row + (rows[cell] - row) * along / cells, col + (cols[cell] - col) * along / cells)
        heights[0], heights[-1] = ground, target_ground[cell]
        for stop, mast in enumerate(masts):
            slant = math.hypot(cells * cell_size_m, target_ground[cell] + rx_height_m - ground - mast)
            out[stop, cell] = free_space_db(slant, frequency_mhz) + diffraction_db(
                along * cell_size_m, heights, mast, rx_height_m, frequency_mhz, k_factor, polarization=polarization
            )
    near = length < NEAR_CELLS
    out[:, near] = _nearest_db(
        length[near], target_ground[near], ground, masts, rx_height_m, cell_size_m, frequency_mhz
    )
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
    _check_inside(elevation, row, col, rows, cols)
    masts = np.atleast_1d(np.asarray(mast_heights_m, np.float32))
    if np.issubdtype(rows.dtype, np.integer) and np.issubdtype(cols.dtype, np.integer):
        ground = elevation[rows, cols]
    else:
        ground = bilinear(elevation, rows, cols)
    down, right = (rows - row).astype(np.float32), (cols - col).astype(np.float32)
    distance = np.sqrt(down * down + right * right) * np.float32(cell_size_m)
    bearing = np.degrees(np.arctan2(right, -down)) % np.float32(360.0)
    rise = (ground - float(elevation[row, col]) + rx_height_m).astype(np.float32)
    rise -= distance**2 / np.float32(2.0 * MEAN_EARTH_RADIUS_M * k_factor)
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = np.degrees(np.arctan((rise - masts[:, None]) / distance))
    angle[:, distance == 0] = np.where(np.isnan(rise[distance == 0]), np.nan, -90.0)
    return distance, bearing, angle


def bilinear(values: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Values between cell centres, double precision; a NaN neighbour counts only where it has weight."""
    j = np.clip(np.floor(rows).astype(np.int64), 0, values.shape[0] - 2)
    k = np.clip(np.floor(cols).astype(np.int64), 0, values.shape[1] - 2)
    fy, fx = rows - j, cols - k
    total = np.zeros(np.shape(rows))
    for dj, wy in ((0, 1.0 - fy), (1, fy)):
        for dk, wx in ((0, 1.0 - fx), (1, fx)):
            weight = wy * wx
            total += np.where(weight > 0, weight * values[j + dj, k + dk].astype(float), 0.0)
    return total


def _check_rasters(elevation_m: np.ndarray, surface_m: np.ndarray | None, cell_size_m: float) -> None:
    if not cell_size_m > 0:
        raise ValueError("cell_size_m must be above 0")
    if np.ndim(elevation_m) != 2 or min(np.shape(elevation_m)) < 2:
        raise ValueError("elevation_m must be two-dimensional, at least 2 x 2 cells")
    if surface_m is not None and np.shape(surface_m) != np.shape(elevation_m):
        raise ValueError("surface_m must have the shape of elevation_m")


def _rasters(
    elevation_m: np.ndarray, surface_m: np.ndarray | None, row: int, col: int, rows: np.ndarray, cols: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Ground, and what stands in the way, as C-ordered float32 rasters.

    Copies are made only of the window that the paths cross; the rest of a copy is left unwritten, and unread:
    rays leave the box around mast and cells by little more than a cell.
    """
    elevation = np.asarray(elevation_m)
    ready = elevation.dtype == np.float32 and elevation.flags.c_contiguous
    if surface_m is elevation_m:
        surface_m = None
    if (ready and surface_m is None) or rows.size == 0:
        return elevation, elevation
    window = tuple(
        slice(max(int(min(at, ends.min())) - WINDOW_MARGIN, 0), int(max(at, ends.max())) + WINDOW_MARGIN + 1)
        for at, ends in ((row, rows), (col, cols))
    )
    ground = elevation
    if not ready:
        ground = np.empty(elevation.shape, np.float32)
        ground[window] = elevation[window]
    if surface_m is None:
        return ground, ground
    surface = np.asarray(surface_m)[window]
    blocker = np.empty(elevation.shape, np.float32)
    blocker[window] = np.where(np.isnan(surface), ground[window], surface)
    return ground, blocker


def _masts(mast_heights_m: ArrayLike, rx_height_m: float, frequency_mhz: float, k_factor: float) -> np.ndarray:
    masts = np.atleast_1d(np.asarray(mast_heights_m, float))
    if masts.ndim != 1 or masts.size == 0:
        raise ValueError("mast_heights_m must be a list of at least one height")
    if not k_factor > 0:
        raise ValueError("k_factor must be above 0")
    check_radio_range(frequency_mhz, rx_height_m, *masts)
    return masts


def _cells(
    elevation: np.ndarray, row: int, col: int, target_rows: ArrayLike, target_cols: ArrayLike
) -> tuple[np.ndarray, np.ndarray]:
    rows, cols = np.asarray(target_rows), np.asarray(target_cols)
    if rows.size and not (np.issubdtype(rows.dtype, np.integer) and np.issubdtype(cols.dtype, np.integer)):
        raise ValueError("target_rows and target_cols must be integers; fractions go to path_loss_exact_db")
    rows, cols = rows.astype(np.int64).ravel(), cols.astype(np.int64).ravel()
    _check_inside(elevation, row, col, rows, cols)
    return rows, cols


def _check_inside(elevation: np.ndarray, row: int, col: int, rows: np.ndarray, cols: np.ndarray) -> None:
    if rows.shape != cols.shape:
        raise ValueError("target_rows and target_cols must be equally long")
    high, wide = np.shape(elevation)
    if not (0 <= row < high and 0 <= col < wide):
        raise ValueError(f"the mast's cell ({row}, {col}) is outside the raster of {high} x {wide} cells")
    if rows.size and not (rows.min() >= 0 and rows.max() <= high - 1 and cols.min() >= 0 and cols.max() <= wide - 1):
        raise ValueError(f"some targets are outside the raster of {high} x {wide} cells")


def _room_for_paths(stops: int, count: int) -> Paths:
    return Paths(
        np.empty((stops, count), np.float32),
        np.empty((stops, count), np.float32),
        np.empty(count, np.float32),
        np.empty((4, stops * count), np.float32),
        np.empty(stops * count, np.int32),
    )


def _borders(starts: np.ndarray, reach: np.ndarray, jobs: int) -> list[int]:
    """Borders of up to `jobs` runs of intervals with about the same work (a ray sample costs about a third of
    a cell)."""
    if reach.size < 2 * jobs or jobs == 1:
        return [0, reach.size]
    work = np.cumsum(np.diff(starts) * 3.0 + reach)
    inner = np.searchsorted(work, work[-1] * np.arange(1, jobs) / jobs)
    return [0, *(int(b) for b in np.unique(inner[(inner > 0) & (inner < reach.size)])), reach.size]


def _nearest_db(
    length: np.ndarray,
    target_ground: np.ndarray,
    ground: float,
    masts: np.ndarray,
    rx_height_m: float,
    cell_size_m: float,
    frequency_mhz: float,
) -> np.ndarray:
    """Free space for the cells around the mast, which have no profile."""
    run = np.maximum(length, 0.5) * cell_size_m
    rise = target_ground.astype(float) + rx_height_m - ground - masts[:, None]
    return free_space_db(np.hypot(run, rise), frequency_mhz)
