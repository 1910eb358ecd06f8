"""The same with trees and houses: how far the loss that was told of a path is off, on the way that its wave goes."""

from __future__ import annotations

import numpy as np

from siteplanner.core.constants import MEAN_EARTH_RADIUS_M, MEDIAN_K_FACTOR, SPEED_OF_LIGHT_M_S
from siteplanner.core.coverage_exact import CLEAR_M, NEAR_CELLS
from siteplanner.core.coverage_rays import Link
from siteplanner.core.ground_cover import BUILT_M, Cover, terminal_db, trees_m
from siteplanner.core.likely_ground import LANES, LikelyGround
from siteplanner.core.loss_error import redrawn_losses_db

ALIKE_DB = 1.0  # the way over the trees is the one if its loss is within this of the told one


def loss_shifts_db(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: int,
    col: int,
    mast_height_m: float,
    rx_height_m: float,
    frequency_mhz: float,
    rows: np.ndarray,
    cols: np.ndarray,
    told_db: np.ndarray,
    cover: Cover,
    ground: LikelyGround,
) -> np.ndarray:
    """Loss over each draw of the true ground less that over the told one, (paths, LANES) float32, dB.

    rows, cols: (paths,), fractions of cells allowed; told_db: (paths,) the loss of `ground_cover.covered_loss_db`. The
    way that the wave goes, over the trees or through them, is the told one's; what the trees themselves and the height
    gains cost is the same in all draws. 0 for the nearest cells, which have no profile, and where a path is not known.
    """
    rows, cols = np.asarray(rows, float), np.asarray(cols, float)
    out = np.zeros((rows.size, LANES), np.float32)
    elevation = np.ascontiguousarray(elevation_m, np.float32)
    link = Link(
        int(row),
        int(col),
        float(elevation[row, col]),
        float(cell_size_m),
        MEAN_EARTH_RADIUS_M * MEDIAN_K_FACTOR,
        SPEED_OF_LIGHT_M_S / (frequency_mhz * 1e6),
        True,
        CLEAR_M / cell_size_m,
    )
    at = np.floor(rows + 0.5).astype(int), np.floor(cols + 0.5).astype(int)
    mast_built, far_built = float(BUILT_M[cover.kinds[row, col]]), BUILT_M[cover.kinds[at]]
    far = np.hypot(rows - row, cols - col) >= NEAR_CELLS
    over = np.zeros(rows.size, bool)

    def redrawn(tops: np.ndarray | None, mast: float, ends: np.ndarray, which: np.ndarray, lanes: int) -> np.ndarray:
        stands = elevation if tops is None else np.ascontiguousarray(tops, np.float32)
        heights = np.maximum(rx_height_m, ends[which])
        paths = rows[which], cols[which]
        return redrawn_losses_db(elevation, stands, ground, link, max(mast_height_m, mast), heights, *paths, lanes)

    ways = [(cover.built_m, mast_built, far_built)]
    if cover.top_m is not None:
        mast_over = max(mast_built, float(trees_m(cover, elevation, (row, col))))
        far_over = np.maximum(far_built, trees_m(cover, elevation, at))
        ways.append((cover.top_m, mast_over, far_over))
        gains = terminal_db(frequency_mhz, mast_height_m, np.array(mast_over))
        gains = gains + terminal_db(frequency_mhz, rx_height_m, far_over)
        over[far] = redrawn(*ways[1], far, 1)[:, 0] + gains[far] <= told_db[far] + ALIKE_DB
    for way, goes in zip(ways, (~over, over), strict=False):
        which = np.nonzero(far & goes)[0]
        if which.size:
            loss = redrawn(*way, which, LANES)
            out[which] = loss - loss[:, :1]
    return np.nan_to_num(out)
