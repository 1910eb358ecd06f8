"""How far the served share and the chances at named points are off because the elevation is; values only.

Random errors of an elevation stand in the paths like obstacles: with them the loss is told too high on average, so that
the share is told too low. Both that and its spread are worked out over draws of the true ground on a sample of paths.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.special import ndtr, stdtrit

from siteplanner.core.cover_error import loss_shifts_db
from siteplanner.core.horizon_error import NINE_IN_TEN
from siteplanner.core.likely_ground import DRAWS, LikelyGround
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.study.inputs import CoverageInputs

PATHS = 48  # of the thousands to the cells of the area
# how far the bias itself is known, a share of it: measured (tests/planning/test_service_error.py); what errors make,
# and what the ground hides between cells. The last is a guess from the finest forms that the cells show: on ground of
# twelve kinds what they truly hide was 0.6 to 1.7 times as much, by single spots more apart, so that it is taken widely
OF_BIAS, OF_HIDDEN = 0.3, 0.65
UNSEEN = 0.0015  # of the share: what paths beside so few do; measured there, where all else was smaller
PAIRS = DRAWS // 2  # draws come in pairs of opposite errors: so many are independent
NINE_IN_TEN_DRAWS = (0.05, 0.95)
LEAST_FREE = 4.0  # degrees of freedom that are counted on at least
_FIRST = 2  # lanes before the draws
_LEAST = 0.02  # the least that a path counts in the choice, against one at the edge of service


def doubt_about(figure: float, bias: float, spread: float, hidden: float = 0.0) -> ElevationDoubt:
    """The range of a figure between 0 and 1; a normal spread about the figure with its bias."""
    middle, off = figure + bias, NINE_IN_TEN * spread
    low, high = (min(max(v, 0.0), 1.0) for v in (middle - off, middle + off))
    return ElevationDoubt(bias, spread, low, high, hidden)


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
    hidden = float(each.mean() - moved(replace(inputs.likely, steps=1)).mean()) if inputs.likely.steps > 1 else 0.0
    by_draw, by_path = each.mean(0), each.mean(1)
    alone = each - by_path[:, None] - by_draw[None] + by_draw.mean()
    common = max(float(by_draw.var(ddof=1) - (alone**2).sum(0).mean() / PATHS**2), 0.0)
    of_mean = float(by_path.var(ddof=1)) / PATHS
    bias = float(by_draw.mean())
    law = (OF_BIAS * (bias - hidden)) ** 2 + (OF_HIDDEN * hidden) ** 2
    unseen = UNSEEN**2 if np.any(each) else 0.0
    drawn = (float(by_draw.var(ddof=1)), PAIRS), (of_mean, PATHS - 1)
    return doubt_about(share, bias, _as_normal(common + of_mean + law + unseen, *drawn), hidden)


def _as_normal(variance: float, *drawn: tuple[float, float]) -> float:
    """One standard deviation of the normal distribution whose 1.645-fold holds nine in ten.

    Where parts of the variance were estimated from a few draws the error follows Student's t: with the degrees of
    freedom of Welch and Satterthwaite, (sum of parts)^2 / sum of part^2 / degrees (JCGM 100:2008, G.4.1, from memory).
    drawn: (variance, degrees of freedom) of those parts.
    """
    if variance <= 0:
        return 0.0
    degrees = variance**2 / max(sum(part**2 / free for part, free in drawn), 1e-300)
    return math.sqrt(variance) * float(stdtrit(max(degrees, LEAST_FREE), 0.95)) / NINE_IN_TEN


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
    the points are made of the draws: near an edge they are not even about their middle.
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
    law = OF_HIDDEN if inputs.likely.steps > 1 else OF_BIAS
    each = zip(told, chance, known, strict=True)
    out = [_of_draws(figure, drawn, law, most) if k else None for figure, drawn, k in each]
    mean = chance.mean(0)
    bias, variance = float(mean.mean() - np.mean(told)), float(mean.var(ddof=1))
    of_mean = doubt_about(float(np.mean(told)), bias, _as_normal(variance + (law * bias) ** 2, (variance, PAIRS)))
    return tuple(out), of_mean


def _of_draws(figure: float, drawn: np.ndarray, law: float, most: float) -> ElevationDoubt:
    """Of one chance: what nine in ten of the draws hold, wider by how far its bias is known.

    Between the order statistics r and n + 1 - r of n draws lie (n + 1 - 2 r) / (n + 1) of all others (David and
    Nagaraja 2003, Order Statistics, section 7.2, from memory): that, not the draws' own quantiles, which are narrower.
    """
    middle, spread = float(drawn.mean()), float(drawn.std(ddof=1))
    off = NINE_IN_TEN * law * abs(middle - figure)
    low, high = np.quantile(drawn, NINE_IN_TEN_DRAWS, method="weibull").tolist()
    low, high = middle - math.hypot(middle - low, off), middle + math.hypot(high - middle, off)
    return ElevationDoubt(middle - figure, spread, max(low, 0.0), min(high, most))


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
