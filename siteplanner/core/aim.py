"""Where to point the sectors, and how high to raise the mast.

One spot at a time: losses are known for every mast stop and cell; wanted are the sector bearings that give the
largest expected share of the weighted cells, where a cell counts with the probability of service in its best
sector. The search works on tallies (bearing x margin), so that trying a bearing does not touch the cells again;
the share that is handed back is then summed over the cells themselves.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numba import njit
from numpy.typing import ArrayLike
from scipy.special import ndtr

from siteplanner.core.aim_search import KERNEL, bearing_search
from siteplanner.core.antenna import SectorPattern
from siteplanner.core.link import LinkParameters, allowed_loss_db, margin_db, service_probability

Z_RANGE, Z_STEPS = 8.0, 256  # table of the normal distribution: +-8 sigma, steps of 1/256, error below 5e-7
THREAD_CELLS = 50_000  # stops x cells from which stops are worked on at once


@dataclass(frozen=True, eq=False)
class Aim:
    """The best aim at each mast stop."""

    bearings_deg: np.ndarray  # (stops, sectors) as the input's bearings, each row rising
    shares: np.ndarray  # (stops,) expected share of the weight that has service, 0..1


def best_aim(
    path_loss_db: np.ndarray,
    bearing_deg: ArrayLike,
    elevation_deg: np.ndarray,
    weights: ArrayLike,
    params: LinkParameters,
    pattern: SectorPattern,
    *,
    sectors: int = 2,
    separation_deg: float | Literal["free", "even"] = "free",
    min_separation_deg: float = 0.0,
    sigma_db: float = 8.0,
    distance_m: ArrayLike | None = None,
    max_radius_m: float = math.inf,
    step_deg: float = 10.0,
) -> Aim:
    """Sector bearings that serve most, for every mast stop.

    path_loss_db, elevation_deg: (stops, cells); bearing_deg, weights, distance_m: (cells,). Bearings from the
    mast to the cells, elevation up positive, as `coverage.directions` gives them. A cell with unknown (NaN)
    loss or beyond max_radius_m has no service but keeps its weight in the whole.
    separation_deg: "free" lets every sector turn by itself; "even" keeps them 360 / sectors apart; a number
    keeps neighbours that far apart (the mast turns as one). min_separation_deg: free sectors are at least this
    far apart; the model knows no interference between sectors of one mast, so say it here if there is.
    Free bearings: every pair of a step_deg grid (from three sectors on: one sector after the other, then each
    again), then refined to 1 degree. Fixed separations: every degree. Equal shares: the lowest bearing.
    Weights that add up to 0 give share 0. Raises ValueError for shapes that do not fit, negative or unknown
    weights, fewer than 1 sector.
    """
    loss = np.ascontiguousarray(np.atleast_2d(path_loss_db), np.float32)
    elevation = np.ascontiguousarray(np.atleast_2d(elevation_deg), np.float32)
    stops, cells = loss.shape
    bearing = np.ascontiguousarray(np.asarray(bearing_deg, float) % 360.0, np.float32)
    weight = _counted_weights(weights, cells, distance_m, max_radius_m)
    if elevation.shape != loss.shape or bearing.shape != (cells,):
        raise ValueError("path_loss_db and elevation_deg must be (stops, cells), bearing_deg (cells,)")
    if sectors < 1:
        raise ValueError("sectors must be at least 1")
    if not 0 < step_deg <= 90:
        raise ValueError("step_deg must be above 0 and at most 90")
    total = float(np.sum(np.asarray(weights, float)))
    limit = min(allowed_loss_db(params))
    table = _normal_table(sigma_db)
    search = bearing_search(pattern, sectors, separation_deg, min_separation_deg, sigma_db, step_deg)

    def aim_stop(stop: int) -> tuple[np.ndarray, float]:
        shape = (search.bins, search.margins_db.size)
        beam, floor = np.zeros(shape), np.zeros(shape)
        _tally(
            loss[stop],
            bearing,
            elevation[stop],
            weight,
            limit,
            pattern.vertical_beamwidth_deg,
            pattern.side_lobe_db,
            pattern.downtilt_deg,
            pattern.front_to_back_db,
            search.margins_db[0],
            search.margin_step_db,
            beam,
            floor,
        )
        bearings = search.best(beam, floor)
        served = _served_weight(
            loss[stop],
            bearing,
            elevation[stop],
            weight,
            bearings,
            limit,
            pattern.beamwidth_deg,
            pattern.front_to_back_db,
            pattern.vertical_beamwidth_deg,
            pattern.side_lobe_db,
            pattern.downtilt_deg,
            sigma_db,
            table,
        )
        return bearings, served / total if total > 0 else 0.0

    if stops > 1 and stops * cells >= THREAD_CELLS:
        with ThreadPoolExecutor(min(stops, os.cpu_count() or 1)) as pool:
            found = list(pool.map(aim_stop, range(stops)))
    else:
        found = [aim_stop(stop) for stop in range(stops)]
    return Aim(np.array([b for b, _ in found]), np.array([s for _, s in found]))


def served_probability(
    path_loss_db: ArrayLike,
    bearing_deg: ArrayLike,
    elevation_deg: ArrayLike,
    sector_bearings_deg: Sequence[float] | np.ndarray,
    params: LinkParameters,
    pattern: SectorPattern,
    *,
    sigma_db: float = 8.0,
    distance_m: ArrayLike | None = None,
    max_radius_m: float = math.inf,
) -> tuple[np.ndarray, np.ndarray]:
    """Probability of service and median margin (dB) of each cell in its best sector, for chosen bearings.

    Shapes broadcast. Unknown loss stays NaN in both; beyond max_radius_m the probability is 0.
    """
    gain = best_sector_gain_db(bearing_deg, elevation_deg, sector_bearings_deg, pattern)
    margin = margin_db(params, path_loss_db, gain)
    probability = service_probability(margin, sigma_db)
    if distance_m is not None:
        probability = np.where(np.asarray(distance_m) > max_radius_m, 0.0, probability)
    return probability, margin


def expected_weight(weights: np.ndarray, margin_db: np.ndarray, sigma_db: float) -> float:
    """Sum of weight x probability of service at known median margins, (cells,) each, by the table that `best_aim` uses.

    Raises ValueError for a negative sigma_db.
    """
    return float(_expected_weight(weights, margin_db, float(sigma_db), _normal_table(sigma_db)))


def best_sector_gain_db(
    bearing_deg: ArrayLike,
    elevation_deg: ArrayLike,
    sector_bearings_deg: Sequence[float] | np.ndarray,
    pattern: SectorPattern,
) -> np.ndarray:
    """Pattern gain (0 or less, dB) of the sector that favours each direction most. Shapes broadcast."""
    bearing = np.asarray(bearing_deg, float)
    gains = [pattern.gain_db(bearing - float(b), elevation_deg) for b in np.atleast_1d(sector_bearings_deg)]
    return np.max(gains, axis=0)


def lowest_good_stop(shares: ArrayLike, tolerance: float = 0.02) -> int:
    """Index of the first (lowest) mast stop whose share is within `tolerance` of the best.

    A mast need not be raised further than it pays. shares: (stops,), lowest stop first.
    Raises ValueError for no shares or unknown ones.
    """
    values = np.asarray(shares, float)
    if values.ndim != 1 or values.size == 0 or np.isnan(values).any():
        raise ValueError("shares must be a list of known numbers")
    return int(np.argmax(values >= values.max() - tolerance - 1e-12))


def _counted_weights(weights: ArrayLike, cells: int, distance_m: ArrayLike | None, max_radius_m: float) -> np.ndarray:
    weight = np.array(weights, float)
    if weight.shape != (cells,):
        raise ValueError("weights must be (cells,)")
    if not np.all(weight >= 0):
        raise ValueError("weights must be known and not negative")
    if distance_m is not None:
        distance = np.asarray(distance_m)
        if distance.shape != (cells,):
            raise ValueError("distance_m must be (cells,)")
        weight[distance > max_radius_m] = 0.0
    elif math.isfinite(max_radius_m):
        raise ValueError("max_radius_m needs distance_m")
    return weight


def _normal_table(sigma_db: float) -> np.ndarray:
    if sigma_db < 0:
        raise ValueError("sigma_db must not be negative")
    z = np.arange(-Z_RANGE * Z_STEPS, Z_RANGE * Z_STEPS + 2) / Z_STEPS
    return ndtr(z)


@njit(**KERNEL)
def _tally(
    loss,
    bearing,
    elevation,
    weight,
    limit_db,
    vertical_beamwidth,
    side_lobe,
    downtilt,
    front_to_back,
    first_margin,
    margin_step,
    beam,
    floor,
):
    """Add each cell's weight at its bearing and margin: on the sector's bearing (beam), on its floor (floor)."""
    bins, margins = beam.shape
    per_bin = bins / 360.0
    for c in range(loss.size):
        if weight[c] <= 0.0 or not loss[c] < 1e9:
            continue
        off = (elevation[c] + downtilt) / vertical_beamwidth
        vertical = min(12.0 * off * off, side_lobe)
        margin = limit_db - loss[c]
        b = min(int(bearing[c] * per_bin), bins - 1)
        m = (margin - min(vertical, front_to_back) - first_margin) / margin_step + 0.5
        if m >= 0.0:
            beam[b, min(int(m), margins - 1)] += weight[c]
        m = (margin - front_to_back - first_margin) / margin_step + 0.5
        if m >= 0.0:
            floor[b, min(int(m), margins - 1)] += weight[c]


@njit(**KERNEL)
def _expected_weight(weight, margin, sigma, table):
    """Sum of weight x the normal distribution at margin / sigma; a hard edge for sigma 0."""
    served, top = 0.0, table.size - 2
    for c in range(weight.size):
        if sigma == 0.0:
            served += weight[c] if margin[c] >= 0.0 else 0.0
            continue
        z = min((margin[c] / sigma + Z_RANGE) * Z_STEPS, float(top))
        if z > 0.0:
            i = int(z)
            served += weight[c] * (table[i] + (z - i) * (table[i + 1] - table[i]))
    return served


@njit(**KERNEL)
def _served_weight(
    loss,
    bearing,
    elevation,
    weight,
    bearings,
    limit_db,
    beamwidth,
    front_to_back,
    vertical_beamwidth,
    side_lobe,
    downtilt,
    sigma,
    table,
):
    """Sum of weight x probability of service in the best sector, cell by cell (patterns as in `antenna`)."""
    served = 0.0
    top = table.size - 2
    for c in range(loss.size):
        if weight[c] <= 0.0 or not loss[c] < 1e9:
            continue
        off = (elevation[c] + downtilt) / vertical_beamwidth
        vertical = min(12.0 * off * off, side_lobe)
        nearest = 180.0
        for k in range(bearings.size):
            turn = abs(bearing[c] - bearings[k])
            nearest = min(nearest, min(turn, 360.0 - turn))
        side = nearest / beamwidth
        horizontal = 0.0 if beamwidth == 360.0 else min(12.0 * side * side, front_to_back)
        margin = limit_db - loss[c] - min(horizontal + vertical, front_to_back)
        if sigma == 0.0:
            if margin >= 0.0:
                served += weight[c]
            continue
        z = (margin / sigma + Z_RANGE) * Z_STEPS
        if z <= 0.0:
            continue
        i = int(z)
        if i >= top:
            served += weight[c]
        else:
            served += weight[c] * (table[i] + (z - i) * (table[i + 1] - table[i]))
    return served
