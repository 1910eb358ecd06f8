"""Loss of a path among what stands on the ground, however that is known: trees and houses told by a surface, by land
cover, or assumed, are one raster of kinds and two of heights here.

A wave goes **over** what stands in its way, or **through** it where that is trees; the lesser loss counts (ITU-R
P.833-9 section 3.1: the loss through vegetation is not more than that of other ways; sections from memory).

Over: houses and crowns are on the profile but within 50 m of either end (ITU-R P.452-18; P.1812 with representative
heights). A terminal among houses, or on a cell of trees, is worked out from their top, and the height gain from there
down to it is added (ITU-R P.2108-1 section 3.1, each terminal by itself). Beside trees, the woods within the 50 m.

Through: the same without the trees, plus the loss of the woods on the way by their depth (ITU-R P.833-9 section 2), the
mast's part and the handset's each by itself, for each terminal may stand in woods.

Open ground and water add nothing: their own height is 0 in P.1812 Table 2 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.clutter import CLUTTER_HEIGHT_M, WOODLAND_MHZ, height_gain_db, woodland_db
from siteplanner.core.coverage import fast_losses
from siteplanner.core.coverage_exact import OverTrees, Trees, WoodDepths

KINDS = ("none", *CLUTTER_HEIGHT_M)
"""What a cell of `Cover.kinds` may hold, by its place here."""

TREES = KINDS.index("trees")
BUILT = ("suburban", "urban", "dense_urban")
LEAST_M = 1.0  # lower than this nothing stands: grass, and the error of two rasters
HEIGHT_GAIN_MHZ = (30.0, 3000.0)  # where P.2108-1 section 3.1 holds

BUILT_M = np.array([CLUTTER_HEIGHT_M[kind] if kind in BUILT else 0.0 for kind in KINDS])

_BAND_ROWS = 256
Losses = Callable[..., tuple[np.ndarray, WoodDepths | None]]


@dataclass(frozen=True, eq=False)
class Cover:
    """What stands on the ground, on the elevation's cells; heights in metres above sea level, float32.

    `built_m`: ground and houses, None without houses. `top_m`: ground, houses and trees, None without trees.
    """

    kinds: np.ndarray  # (rows, cols) uint8, places in KINDS
    built_m: np.ndarray | None
    top_m: np.ndarray | None


def cover_of(ground_m: np.ndarray, kinds: np.ndarray, stands_m: np.ndarray | None = None) -> Cover:
    """The cover of kinds and of the heights that stand on the ground where those are known.

    kinds: (rows, cols) uint8. stands_m: (rows, cols) height above the ground, NaN unknown; where a kind stands and its
    height is not known, the representative one of P.2108-1 Table 3 is taken. A known height of at least a metre on a
    cell that is not built is trees, less than that is nothing, whatever the kind says.
    """
    heights = np.array([CLUTTER_HEIGHT_M[k] if k in (*BUILT, "trees") else 0.0 for k in KINDS], np.float32)
    kinds = kinds.astype(np.uint8)
    ground = np.asarray(ground_m, np.float32)

    def own_of(rows: slice) -> tuple[np.ndarray, np.ndarray]:
        """What stands on cells, metres, and where that is built; sets the kinds that follow from known heights."""
        here = kinds[rows]
        own, built = heights[here], BUILT_M[here] > 0
        if stands_m is not None:
            stands = stands_m[rows]
            known = np.isfinite(stands)
            tall = np.greater_equal(stands, LEAST_M, where=known, out=np.zeros(here.shape, bool))
            here[known & ~built & tall] = TREES
            here[known & ~built & ~tall & (here == TREES)] = 0
            own = np.where(known, np.where(tall, stands, 0), own).astype(np.float32)
        return own, built

    # band by band, so that no raster is needed beside those that stay
    bands = [slice(start, start + _BAND_ROWS) for start in range(0, len(kinds), _BAND_ROWS)]
    roofs = woods = False
    for rows in bands:
        own, built = own_of(rows)
        roofs = roofs or bool((built & (own > 0) & np.isfinite(ground[rows])).any())
        woods = woods or bool((kinds[rows] == TREES).any())
    built_m, top_m = (np.empty_like(ground) if there else None for there in (roofs, woods))
    for rows in bands if roofs or woods else ():
        own, built = own_of(rows)
        if top_m is not None:
            top_m[rows] = ground[rows] + own
        if built_m is not None:
            built_m[rows] = np.where(built, ground[rows] + own, ground[rows])
    return Cover(kinds, built_m, top_m)


def woods_db(depth_m: ArrayLike, frequency_mhz: float) -> np.ndarray:
    """Loss of so many metres of woods, dB (P.833-9 section 2).

    Beyond the frequencies at which its constants were measured, those of the nearest one hold: below 106 MHz that is
    too much, above 2,118 MHz too little.
    """
    return woodland_db(depth_m, min(max(frequency_mhz, WOODLAND_MHZ[0]), WOODLAND_MHZ[-1]))


def terminal_db(frequency_mhz: float, height_m: ArrayLike, top_m: ArrayLike) -> np.ndarray:
    """Height gain of a terminal below what stands around it, dB (P.2108-1 section 3.1); 0 where nothing does.

    Beyond 30 to 3,000 MHz the value of the nearer end holds: above, that is too little. Shapes broadcast.
    """
    low, high = HEIGHT_GAIN_MHZ
    top = np.asarray(top_m, float)
    if not np.any(top > 0):
        return np.zeros(np.broadcast_shapes(np.shape(height_m), top.shape))
    gain = height_gain_db(min(max(frequency_mhz, low), high), height_m, "trees", clutter_height_m=np.fmax(top, 0.1))
    return np.where(top > 0, gain, 0.0)


def covered_loss_db(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: int,
    col: int,
    mast_heights_m: ArrayLike,
    rx_height_m: float,
    frequency_mhz: float,
    target_rows: ArrayLike,
    target_cols: ArrayLike,
    cover: Cover,
    losses: Losses = fast_losses,
) -> np.ndarray:
    """Loss from every mast stop to every cell with what stands on the ground, (stops, cells) in dB.

    Arguments and Raises as `coverage.path_loss_stops_db`. losses: `coverage.fast_losses`, or for named points
    `coverage_exact.exact_losses`.
    """
    masts = np.atleast_1d(np.asarray(mast_heights_m, float))
    rows, cols = np.atleast_1d(np.asarray(target_rows)), np.atleast_1d(np.asarray(target_cols))
    at = np.floor(rows + 0.5).astype(int), np.floor(cols + 0.5).astype(int)
    mast_built, far_built = float(BUILT_M[cover.kinds[row, col]]), BUILT_M[cover.kinds[at]]

    mast_over, far_over, over = mast_built, far_built, None
    trees = None if cover.top_m is None else Trees(cover.top_m, cover.kinds, TREES)
    if cover.top_m is not None:
        mast_trees, far_trees = float(trees_m(cover, elevation_m, (row, col))), trees_m(cover, elevation_m, at)
        mast_over, far_over = max(mast_built, mast_trees), np.maximum(far_built, far_trees)
        over = OverTrees(cover.top_m, np.maximum(masts, mast_over), np.maximum(rx_height_m, far_over))
    loss, depths = losses(
        elevation_m,
        cell_size_m,
        row,
        col,
        np.maximum(masts, mast_built),
        np.maximum(rx_height_m, far_built),
        frequency_mhz,
        rows,
        cols,
        surface_m=cover.built_m,
        trees=trees,
        over=over,
    )

    def add_height_gains(to: np.ndarray, mast_top: float, far_top: np.ndarray) -> None:
        """The loss is that between the tops of what stands around the ends: from there down to the terminals."""
        to += terminal_db(frequency_mhz, masts, mast_top)[:, None].astype(to.dtype)
        to += terminal_db(frequency_mhz, rx_height_m, far_top).astype(to.dtype)

    if depths is None or cover.top_m is None:
        add_height_gains(loss, mast_built, far_built)
        return loss
    # Woods that lie within 50 m of the ends are passed through either way.
    pick = np.nonzero(depths.beyond_ends())[0]
    loss, way_over = loss[: masts.size], loss[masts.size :, pick]
    add_height_gains(loss, mast_built, far_built)
    in_woods = np.nonzero((depths.mast_half_m + depths.far_half_m).max(axis=0, initial=0.0) > 0)[0]
    for half in (depths.mast_half_m, depths.far_half_m):
        loss[:, in_woods] += woods_db(half[:, in_woods], frequency_mhz).astype(loss.dtype)
    if pick.size == 0:
        return loss
    add_height_gains(way_over, mast_over, far_over[pick])
    beside_mast = np.where(masts[:, None] >= mast_trees, depths.mast_zone_m[:, pick], 0.0)
    beside_far = np.where(rx_height_m >= far_trees[pick], depths.far_zone_m[:, pick], 0.0)
    way_over += (woods_db(beside_mast, frequency_mhz) + woods_db(beside_far, frequency_mhz)).astype(loss.dtype)
    loss[:, pick] = np.minimum(loss[:, pick], way_over)
    return loss


def trees_m(cover: Cover, ground_m: np.ndarray, at: tuple) -> np.ndarray:
    """Height of the trees on the cells themselves, 0 without."""
    assert cover.top_m is not None
    return np.where(cover.kinds[at] == TREES, cover.top_m[at] - ground_m[at], 0.0)
