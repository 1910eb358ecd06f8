"""How far the served share and the chances at named points are off because the elevation is; values only.

Random errors of an elevation stand in the paths like obstacles: with them the loss is told too high on average, so that
the share is told too low. Both that and its spread are worked out over draws of the true ground on a sample of paths.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from siteplanner.core.cover_error import loss_shifts_db
from siteplanner.core.horizon_error import NINE_IN_TEN
from siteplanner.core.likely_ground import DRAWS, LikelyGround
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.study.inputs import CoverageInputs

PATHS = 48  # of the thousands to the cells of the area
# how far the bias itself is known, a share of it: measured (tests/planning/test_service_error.py); what errors make,
# and what the ground hides between cells
OF_BIAS, OF_HIDDEN = 0.3, 0.75
NINE_IN_TEN_DRAWS = (0.05, 0.95)
_FIRST = 2  # lanes before the draws
_LEAST = 0.02  # the least that a path counts in the choice, against one at the edge of service


def doubt_about(figure: float, bias: float, spread: float) -> ElevationDoubt:
    """The range of a figure between 0 and 1; a normal spread about the figure with its bias."""
    middle, off = figure + bias, NINE_IN_TEN * spread
    low, high = (min(max(v, 0.0), 1.0) for v in (middle - off, middle + off))
    return ElevationDoubt(bias, spread, low, high)


def share_doubt(
    inputs: CoverageInputs,
    cell: tuple[int, int],
    mast_height_m: float,
    share: float,
    loss_db: np.ndarray,
    margin_db: np.ndarray,
    within: np.ndarray,
    sigma_db: float,
) -> ElevationDoubt:
    """Of the share, from draws on paths to cells chosen by weight and by how near the edge of service they are.

    loss_db, margin_db: (cells,) as told at the chosen stop and bearings; within: (cells,) bool, cells that may be
    served. The spread between draws less what so few paths add to it by chance, and the error of the mean over so few.
    """
    cells = inputs.area_cells
    z = np.where(np.isfinite(margin_db), margin_db, 0) / max(sigma_db, 1.0)
    counts = np.exp(-(z**2) / 8) + _LEAST
    wanted = np.where(within & np.isfinite(margin_db), cells.weight * counts, 0.0)
    total = float(wanted.sum())
    if total <= 0:
        return doubt_about(share, 0.0, 0.0)
    picked = np.searchsorted(np.cumsum(wanted), (np.arange(PATHS) + 0.5) / PATHS * total)
    picked = np.minimum(picked, wanted.size - 1)
    told = _served(margin_db[picked], sigma_db)[:, None]

    def moved(ground: LikelyGround) -> np.ndarray:
        """Each path's part of the share's shift, times the paths, for each draw."""
        paths = cells.rows[picked], cells.cols[picked], loss_db[picked]
        shifts = _shifts(inputs, ground, cell, mast_height_m, *paths)[:, _FIRST:]
        return (_served(margin_db[picked, None] - shifts, sigma_db) - told) * (total / counts[picked])[:, None]

    each = moved(inputs.likely)
    hidden = each.mean() - moved(replace(inputs.likely, steps=1)).mean() if inputs.likely.steps > 1 else 0.0
    by_draw, by_path = each.mean(0), each.mean(1)
    alone = each - by_path[:, None] - by_draw[None] + by_draw.mean()
    common = max(float(by_draw.var(ddof=1) - (alone**2).sum(0).mean() / PATHS**2), 0.0)
    of_mean = float(by_path.var(ddof=1)) / PATHS
    bias = float(by_draw.mean())
    law = (OF_BIAS * (bias - hidden)) ** 2 + (OF_HIDDEN * hidden) ** 2
    return doubt_about(share, bias, math.sqrt(common + of_mean + law))


def points_doubt(
    inputs: CoverageInputs,
    cell: tuple[int, int],
    mast_height_m: float,
    paths: np.ndarray,
    told: list[float],
    sigma_db: float,
) -> tuple[tuple[ElevationDoubt | None, ...], ElevationDoubt | None]:
    """Of the chance at each named point, and of their mean; None for a point whose path is not known or too long.

    paths: (points, 4) row, column, told loss and margin in dB; told: the chances as told, with their cap. The ranges of
    the points hold nine draws in ten: near an edge they are not even about their middle.
    """
    if not len(told):
        return (), None
    most = inputs.radio.most_certain_at_point
    known = np.isfinite(paths[:, 2:]).all(1)
    chance = np.repeat(np.array(told)[:, None], DRAWS, 1)
    if known.any():
        rows, cols, loss, margin = paths[known].T
        shifts = _shifts(inputs, inputs.likely, cell, mast_height_m, rows, cols, loss)[:, _FIRST:]
        chance[known] = np.minimum(_served(margin[:, None] - shifts, sigma_db), most)
    mean = chance.mean(0)
    of_mean = doubt_about(float(np.mean(told)), float(mean.mean() - np.mean(told)), float(mean.std(ddof=1)))
    out = []
    for k, figure in enumerate(told):
        low, high = np.quantile(chance[k], NINE_IN_TEN_DRAWS)
        doubt = ElevationDoubt(float(chance[k].mean() - figure), float(chance[k].std(ddof=1)), float(low), float(high))
        out.append(doubt if known[k] else None)
    return tuple(out), of_mean


def _shifts(
    inputs: CoverageInputs,
    ground: LikelyGround,
    cell: tuple[int, int],
    mast_height_m: float,
    rows: np.ndarray,
    cols: np.ndarray,
    told_db: np.ndarray,
) -> np.ndarray:
    grid, radio = inputs.elevation, inputs.radio
    return loss_shifts_db(
        grid.values,
        grid.cell_size_m,
        *cell,
        mast_height_m,
        radio.handset_height_m,
        radio.frequency_mhz,
        rows,
        cols,
        told_db,
        inputs.cover.cover,
        ground,
    )


def _served(margin_db: np.ndarray, sigma_db: float) -> np.ndarray:
    if sigma_db == 0:
        return (margin_db >= 0).astype(float)
    return ndtr(margin_db / sigma_db)
