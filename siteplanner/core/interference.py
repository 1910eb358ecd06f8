"""Several transmitters on one channel: signal to interference and noise, and the margin that is left of each.

The downlink as in 3GPP TR 36.942 section 5 (from memory): C over I, C the power that the serving cell sends in one
resource element as it arrives, I the sum of the powers of all other cells in the same element, and noise. Powers of
other cells are medians, added as powers; each counts with the load, the share of its resource elements that are in use.
The spread stays that of one path: with two paths of the same standard deviation and shadows that go together with 0.5
between sites (TR 36.942, simulation assumptions, from memory) their difference has sqrt(2 (1 - 0.5)) = 1 times it;
where noise rules it is that of the one path anyway. All powers are those of one antenna port: ports of a sector send at
once, and the same number of them stands on both sides. What handsets of the other cell add at the base station is
not in it (`interference_margin_db` of the budget holds it).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, prange
from scipy.special import ndtr

from siteplanner.core.antenna import SectorPattern
from siteplanner.core.link import SUBCARRIER_HZ, LinkParameters, budget, thermal_noise_dbm

Z_RANGE, Z_STEPS = 8.0, 256  # table of the normal distribution, as `core.aim`'s: error below 5e-7


def above_noise_db(params: LinkParameters, path_loss_db: np.ndarray, pattern_gain_db: np.ndarray) -> np.ndarray:
    """Power of one resource element at the handset over the handset's noise, dB; shapes broadcast, NaN stays NaN.

    RSRP of the link budget less k T B of 15 kHz and the noise figure; the budget's interference margin is not in it.
    """
    rsrp = next(line.value for line in budget(params, 0.0, 0.0) if line.item == "RSRP at the handset")
    noise = float(thermal_noise_dbm(SUBCARRIER_HZ)) + params.handset_noise_figure_db
    return rsrp + params.interference_margin_db - noise - np.asarray(path_loss_db) + np.asarray(pattern_gain_db)


def all_sectors_gain_db(
    bearing_deg: np.ndarray, elevation_deg: np.ndarray, sector_bearings_deg: np.ndarray, pattern: SectorPattern
) -> np.ndarray:
    """What all sectors of a mast send toward each direction together, as a pattern gain in dB: powers added."""
    gains = [pattern.gain_db(bearing_deg - float(b), elevation_deg) for b in np.atleast_1d(sector_bearings_deg)]
    return 10 * np.log10(np.sum([10 ** (g / 10) for g in gains], axis=0))


def rise_db(sent_db: np.ndarray, load: float) -> np.ndarray:
    """By how much other transmitters lift the noise: 10 log10(1 + load x their power over noise); dB in and out.

    sent_db: (..., cells), the last but one axis is summed when there is one. NaN stays NaN.
    """
    power = load * 10 ** (np.asarray(sent_db, float) / 10)
    return 10 * np.log10(1 + (power.sum(0) if power.ndim > 1 else power))


def shared_margin_db(
    margin_db: np.ndarray, signal_db: np.ndarray, sent_db: np.ndarray, needed_snr_db: np.ndarray, load: float
) -> np.ndarray:
    """(k, cells) margin of each of k transmitters on one channel: the smaller of its own and that of its SINR.

    margin_db: each alone, both directions; signal_db: its best sector over noise; sent_db: all its sectors over noise;
    needed_snr_db: (k,). A cell that another transmitter reaches by a path that is not known has no known margin.
    """
    count = len(margin_db)
    out = np.empty(margin_db.shape)
    for i in range(count):
        others = [j for j in range(count) if j != i]
        lifted = rise_db(sent_db[others], load) if others else 0.0
        left = signal_db[i] - lifted - needed_snr_db[i]
        out[i] = np.where(np.isnan(left), np.nan, np.fmin(margin_db[i], left))
    return out


def shared_probability(margin_db: np.ndarray, sigma_db: float, reached: np.ndarray) -> np.ndarray:
    """(k, cells) probability of service by each transmitter; 0 where a path is not known or it serves no more.

    reached: (k, cells) bool, within each transmitter's own radius. Raises ValueError for a negative sigma_db.
    """
    if sigma_db < 0:
        raise ValueError("sigma_db must not be negative")
    known = np.nan_to_num(margin_db, nan=-math.inf)
    served = ndtr(known / sigma_db) if sigma_db else (known >= 0).astype(float)
    return np.where(reached, served, 0.0)


def pair_worths(
    own_db: np.ndarray,
    left_db: np.ndarray,
    lifts_db: np.ndarray,
    sigma_db: np.ndarray,
    value: np.ndarray,
    pairs: np.ndarray,
) -> np.ndarray:
    """(pairs,) sum of value x probability by the better of two transmitters on one channel; float32 (n, cells) each.

    own_db: margin alone, -inf where it serves no more or its path is not known; left_db: signal over noise less the
    needed signal to noise; lifts_db: `rise_db` of each alone, +inf where not known; sigma_db: (n,), above 0.
    """
    z = np.arange(-Z_RANGE * Z_STEPS, Z_RANGE * Z_STEPS + 2) / Z_STEPS
    out = np.zeros(len(pairs))
    _pair_worths(own_db, left_db, lifts_db, sigma_db, value, pairs, ndtr(z), out)
    return out


@njit(cache=True, nogil=True, parallel=True)
def _pair_worths(own, left, lifts, sigma, value, pairs, table, out):
    top = table.size - 2
    for p in prange(pairs.shape[0]):
        i, j = pairs[p, 0], pairs[p, 1]
        total = 0.0
        for c in range(value.size):
            a = min(own[i, c], left[i, c] - lifts[j, c]) / sigma[i]
            b = min(own[j, c], left[j, c] - lifts[i, c]) / sigma[j]
            z = ((a if a > b else b) + Z_RANGE) * Z_STEPS
            if z > 0.0:
                k = int(min(z, float(top)))
                total += value[c] * (table[k] + (min(z, float(top)) - k) * (table[k + 1] - table[k]))
        out[p] = total


def addition_worths(
    own_db: np.ndarray,
    left_db: np.ndarray,
    power: np.ndarray,
    sigma_db: np.ndarray,
    value: np.ndarray,
    chosen: np.ndarray,
    added: np.ndarray,
) -> np.ndarray:
    """(added,) value of `chosen` transmitters and one more on one channel; arrays as in `pair_worths`.

    power: (n, cells) load x power over noise, linear, +inf where not known.
    """
    z = np.arange(-Z_RANGE * Z_STEPS, Z_RANGE * Z_STEPS + 2) / Z_STEPS
    out = np.zeros(len(added))
    _addition_worths(own_db, left_db, power, sigma_db, value, chosen, added, ndtr(z), out)
    return out


@njit(cache=True, nogil=True, parallel=True)
def _addition_worths(own, left, power, sigma, value, chosen, added, table, out):
    top = table.size - 2
    for p in prange(added.size):
        new = added[p]
        total = 0.0
        for c in range(value.size):
            best = -1e30
            for at in range(chosen.size + 1):
                i = chosen[at] if at < chosen.size else new
                if not own[i, c] > -1e30:
                    continue
                lifted = 1.0 + (power[new, c] if at < chosen.size else 0.0)
                for other in range(chosen.size):
                    if other != at:
                        lifted += power[chosen[other], c]
                best = max(best, min(own[i, c], left[i, c] - 10.0 * math.log10(lifted)) / sigma[i])
            z = (best + Z_RANGE) * Z_STEPS
            if z > 0.0:
                k = int(min(z, float(top)))
                total += value[c] * (table[k] + (min(z, float(top)) - k) * (table[k + 1] - table[k]))
        out[p] = total
