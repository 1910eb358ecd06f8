"""Loss to a named point from a place of an atlas: what is kept for the cell around it, and the ground between the two.

Named points lie between the cells that an atlas keeps, and behind a crest some meters decide. The heights of the
lattice are kept, so the loss to the point and to the middle of its cell are both worked out over them by the plan's
own exact path; their difference is added to what is kept for the cell, which knows the full elevation and what stands
there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.core.coverage_exact import exact_losses
from siteplanner.core.ground_cover import Cover, cover_of, covered_loss_db
from siteplanner.data.grid import Grid
from siteplanner.mission import Mission, Radio
from siteplanner.planning.atlas.lattice import Lattice
from siteplanner.planning.study.cover import ground_cover

LOWEST_MAST_M = 1.0  # over the lattice's height, where the mast's own cell lies lower


@dataclass(frozen=True, eq=False)
class PathGround:
    """The kept heights under all paths, and what stands on them as far as it is known without a layer. `first`: row
    and column of the lattice of the first cell."""

    heights: Grid
    cover: Cover
    first: tuple[int, int]


def path_ground(mission: Mission, heights: Grid, rows: range, cols: range) -> PathGround:
    """`mission`: the atlas's. Where it has a layer of what stands there, that is not kept: the paths see the ground."""
    layers = mission.layers
    if layers.surface or layers.land_cover:
        bare = cover_of(heights.values, np.zeros(heights.shape, np.uint8), None)
        return PathGround(heights, bare, (rows.start, cols.start))
    return PathGround(heights, ground_cover(mission, heights, None, None).cover, (rows.start, cols.start))


def beyond_cell_db(
    ground: PathGround, lattice: Lattice, cell: tuple[int, int], elevation_m: float, mast_m: float, radio: Radio,
    xy: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """How much more is lost to each point (x, y a row) than to the middle of the lattice's cell around it, dB; NaN
    where the kept heights do not tell. `cell`, `elevation_m`: of the place."""
    heights = ground.heights
    out = np.full(len(xy), np.nan)
    half = lattice.step // 2
    row, col = (round((k - half) / lattice.step) - first for k, first in zip(cell, ground.first, strict=True))
    rows, cols = heights.rowcol(xy[:, 0], xy[:, 1])
    last_row, last_col = (n - 1 for n in heights.shape)
    inside = np.flatnonzero((rows >= 0) & (rows <= last_row) & (cols >= 0) & (cols <= last_col))
    if not (0 <= row <= last_row and 0 <= col <= last_col) or not len(inside) or min(heights.shape) < 2:
        return out
    # on a coarse lattice the mast's own cell may lie higher or lower than the lattice tells
    lift = elevation_m - float(heights.values[row, col])
    mast = max(mast_m + lift, LOWEST_MAST_M) if lift == lift else mast_m
    r, c = rows[inside], cols[inside]
    loss = covered_loss_db(
        heights.values, heights.cell_size_m, row, col, [mast], radio.handset_height_m, radio.frequency_mhz,
        np.append(r, np.floor(r + 0.5)), np.append(c, np.floor(c + 0.5)), ground.cover, exact_losses,
    )[0]  # fmt: skip
    out[inside] = loss[: len(inside)] - loss[len(inside) :]
    return out
