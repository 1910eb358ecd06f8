"""The loss of one path at a time, exact and in double precision, and the checks of what all of coverage is given.

Named points are worked out here; the fast kernel of `coverage` is held against it. What stands on the ground hides
what is behind it, but within `CLEAR_M` of either end only the ground counts (ITU-R P.452-18; P.1812 leaves it out at
the ends): the loss of what was left out there is the caller's (`core.ground_cover`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.constants import MEAN_EARTH_RADIUS_M, MEDIAN_K_FACTOR
from siteplanner.core.propagation import Polarization, check_radio_range, diffraction_db, free_space_db

NEAR_CELLS = 1.5  # below this there is no profile between the ends
CLEAR_M = 50.0  # ITU-R P.452-18: no clutter on the profile within 50 m of a terminal
ROUNDING = 1e-6  # of a cell: a sample right on the border of the cleared zone is cleared


@dataclass(frozen=True, eq=False)
class Trees:
    """Where trees stand: the cells whose `kinds` are `kind`, and the raster of tops that holds theirs."""

    top_m: np.ndarray  # (rows, cols) float32, metres above sea level
    kinds: np.ndarray  # (rows, cols) uint8
    kind: int


@dataclass(frozen=True, eq=False)
class OverTrees:
    """The way over the trees, asked for beside the one through them: what hides on it, and where its ends are."""

    top_m: np.ndarray  # (rows, cols) float32, metres above sea level
    mast_heights_m: np.ndarray  # (stops,) above ground
    rx_heights_m: np.ndarray  # (cells,) above ground


@dataclass(frozen=True, eq=False)
class WoodDepths:
    """Metres of woods on each path, (stops, cells): under the crowns along the path of Bullington's method.

    That path is the straight line where nothing solid stands in it, else the two tangents up to where they meet; it is
    parted there, in sight at its middle. Counted in whole cells; 0 where nothing is known.
    """

    mast_half_m: np.ndarray
    far_half_m: np.ndarray
    mast_zone_m: np.ndarray  # of mast_half_m within CLEAR_M of the mast
    far_zone_m: np.ndarray

    def beyond_ends(self) -> np.ndarray:
        """Which cells have woods on the way to some stop that are not within CLEAR_M of the ends, (cells,) bool."""
        farther = self.mast_half_m - self.mast_zone_m + self.far_half_m - self.far_zone_m
        return farther.max(axis=0, initial=0.0) > 0


def path_loss_exact_db(
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
) -> np.ndarray:
    """As `path_loss_stops_db`, exact and in double precision, for a few named points: float64 (stops, points).

    target_rows, target_cols may be fractions of cells (0 is the centre of the first). NaN only where a sample of
    the path itself is unknown. About a tenth of a millisecond a path.
    """
    return exact_losses(
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
    )[0]


def exact_losses(
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
) -> tuple[np.ndarray, WoodDepths | None]:
    """As `path_loss_exact_db`, with the depths of `trees` on the paths where they are given.

    over: the loss has twice the stops, the second half for the way over the trees; it is worked out for the cells of
    `WoodDepths.beyond_ends`, the others hold the first half's.
    """
    check_rasters(elevation_m, surface_m, cell_size_m)
    rows, cols = np.atleast_1d(np.asarray(target_rows, float)), np.atleast_1d(np.asarray(target_cols, float))
    check_inside(elevation_m, row, col, rows, cols)
    receivers = receiver_heights(rx_height_m, rows.size)
    masts = mast_heights(mast_heights_m, receivers, frequency_mhz, k_factor)
    elevation = np.asarray(elevation_m)
    ground = float(elevation[row, col])
    out = np.full((masts.size, rows.size), np.nan)
    depths = np.zeros((4, masts.size, rows.size))
    length = np.hypot(rows - row, cols - col)
    target_ground = bilinear(elevation, rows, cols)
    bend = cell_size_m**2 / (2.0 * MEAN_EARTH_RADIUS_M * k_factor)
    for cell, cells in enumerate(length):
        if cells < NEAR_CELLS:
            continue
        last = int(cells + 0.5) - 1
        along = np.append(np.arange(last + 1.0), cells)
        path_rows, path_cols = row + (rows[cell] - row) * along / cells, col + (cols[cell] - col) * along / cells
        heights = bilinear(elevation, path_rows, path_cols)
        heights[0], heights[-1] = ground, target_ground[cell]
        tops = heights
        if surface_m is not None:
            stands = np.fmax(heights, bilinear(np.asarray(surface_m), path_rows, path_cols))
            tops = np.where(_cleared(along, cells, cell_size_m), heights, stands)
        for stop, mast in enumerate(masts):
            receiver = float(receivers[cell])
            slant = math.hypot(cells * cell_size_m, target_ground[cell] + receiver - ground - mast)
            out[stop, cell] = free_space_db(slant, frequency_mhz) + diffraction_db(
                along * cell_size_m,
                tops,
                mast,
                receiver,
                frequency_mhz,
                k_factor,
                ground_m=heights,
                polarization=polarization,
            )
            if trees is not None and not np.isnan(tops).any():
                crowns = _crowns(trees, path_rows, path_cols) - ground - bend * along**2
                shape = tops - ground - bend * along**2
                far = float(target_ground[cell]) + receiver - ground - bend * cells**2
                depths[:, stop, cell] = (
                    _under_crowns(along, shape, crowns, float(mast), far, CLEAR_M / cell_size_m) * cell_size_m
                )
    near = length < NEAR_CELLS
    out[:, near] = nearest_db(
        length[near], target_ground[near], ground, masts, receivers[near], cell_size_m, frequency_mhz
    )
    if trees is None:
        return out, None
    woods = WoodDepths(*depths)
    if over is None:
        return out, woods
    pick, way_over = np.nonzero(woods.beyond_ends())[0], out.copy()
    if pick.size:
        way_over[:, pick] = path_loss_exact_db(
            elevation_m,
            cell_size_m,
            row,
            col,
            over.mast_heights_m,
            over.rx_heights_m[pick],
            frequency_mhz,
            rows[pick],
            cols[pick],
            surface_m=over.top_m,
            k_factor=k_factor,
            polarization=polarization,
        )
    return np.concatenate((out, way_over)), woods


def _cleared(along: np.ndarray, cells: float, cell_size_m: float) -> np.ndarray:
    """The samples of a path where what stands on the ground is left out."""
    clear = CLEAR_M / cell_size_m + ROUNDING
    return (along <= clear) | (cells - along <= clear)


def _crowns(trees: Trees, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Tops of the trees of the nearest cells, minus infinity without."""
    high, wide = trees.kinds.shape
    j = np.clip(np.floor(rows + 0.5).astype(int), 0, high - 1)
    k = np.clip(np.floor(cols + 0.5).astype(int), 0, wide - 1)
    return np.where(trees.kinds[j, k] == trees.kind, trees.top_m[j, k].astype(float), -np.inf)


def _under_crowns(
    along: np.ndarray, shape: np.ndarray, crowns: np.ndarray, mast: float, far: float, clear: float
) -> np.ndarray:
    """Cells under the crowns, by the members of `WoodDepths`.

    along: (n,) cells from the mast to the receiver; shape: (n,) the profile, crowns: (n,) tops of trees, mast, far: the
    ends, all in metres over the mast's ground in the frame in which sight lines are straight.
    """
    cells, inner = along[-1], slice(1, -1)
    line = (far - mast) / cells
    rise = float(np.max((shape[inner] - mast) / along[inner]))
    back = float(np.max((shape[inner] - far) / (cells - along[inner])))
    if rise >= line:
        meet = min(max((far - mast + back * cells) / max(rise + back, 1e-12), 0.5), cells - 0.25)
    else:
        rise, back, meet = line, -line, 0.5 * cells
    # Every sample stands for a cell about it; the ends for what is left over.
    weight = np.ones(along.size)
    weight[0], weight[-1] = 0.5, cells - along[-2] - 0.5
    near = along <= math.floor(meet)
    path = np.where(near, mast + rise * along, far + back * (cells - along))
    under = np.where(crowns > path, weight, 0.0)
    in_mast_zone, in_far_zone = along <= clear + ROUNDING, cells - along <= clear + ROUNDING
    return np.array([under[part].sum() for part in (near, ~near, near & in_mast_zone, ~near & in_far_zone)])


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


def check_rasters(elevation_m: np.ndarray, surface_m: np.ndarray | None, cell_size_m: float) -> None:
    """Raises ValueError unless the rasters fit each other and the method."""
    if not cell_size_m > 0:
        raise ValueError("cell_size_m must be above 0")
    if np.ndim(elevation_m) != 2 or min(np.shape(elevation_m)) < 2:
        raise ValueError("elevation_m must be two-dimensional, at least 2 x 2 cells")
    if surface_m is not None and np.shape(surface_m) != np.shape(elevation_m):
        raise ValueError("surface_m must have the shape of elevation_m")


def mast_heights(mast_heights_m: ArrayLike, receivers: np.ndarray, frequency_mhz: float, k_factor: float) -> np.ndarray:
    """The mast stops as an array; Raises ValueError unless they, the receivers and the rest are in range."""
    masts = np.atleast_1d(np.asarray(mast_heights_m, float))
    if masts.ndim != 1 or masts.size == 0:
        raise ValueError("mast_heights_m must be a list of at least one height")
    if not k_factor > 0:
        raise ValueError("k_factor must be above 0")
    lowest, highest = (float(receivers.min()), float(receivers.max())) if receivers.size else (1.0, 1.0)
    check_radio_range(frequency_mhz, lowest, highest, *masts)
    return masts


def receiver_heights(rx_height_m: ArrayLike, count: int) -> np.ndarray:
    """One height a cell, above its ground. Raises ValueError for another number of them."""
    heights = np.asarray(rx_height_m, float)
    if heights.ndim and heights.shape != (count,):
        raise ValueError("rx_height_m must be one height, or one a cell")
    return np.ascontiguousarray(np.broadcast_to(heights, (count,)))


def check_inside(elevation: np.ndarray, row: int, col: int, rows: np.ndarray, cols: np.ndarray) -> None:
    """Raises ValueError unless the mast and all targets lie on the raster."""
    if rows.shape != cols.shape:
        raise ValueError("target_rows and target_cols must be equally long")
    high, wide = np.shape(elevation)
    if not (0 <= row < high and 0 <= col < wide):
        raise ValueError(f"the mast's cell ({row}, {col}) is outside the raster of {high} x {wide} cells")
    if rows.size and not (rows.min() >= 0 and rows.max() <= high - 1 and cols.min() >= 0 and cols.max() <= wide - 1):
        raise ValueError(f"some targets are outside the raster of {high} x {wide} cells")


def nearest_db(
    length: np.ndarray,
    target_ground: np.ndarray,
    ground: float,
    masts: np.ndarray,
    receivers: np.ndarray,
    cell_size_m: float,
    frequency_mhz: float,
) -> np.ndarray:
    """Free space for the cells around the mast, which have no profile: (stops, cells)."""
    run = np.maximum(length, 0.5) * cell_size_m
    rise = target_ground.astype(float) + receivers - ground - masts[:, None]
    return free_space_db(np.hypot(run, rise), frequency_mhz)
