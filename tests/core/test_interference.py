"""Two transmitters on one channel: a case by hand in free space, the model's limits, the fast kernels' twin."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr

from siteplanner.core.antenna import SectorPattern
from siteplanner.core.interference import (
    above_noise_db,
    addition_worths,
    all_sectors_gain_db,
    pair_worths,
    rise_db,
    shared_margin_db,
    shared_probability,
)
from siteplanner.core.link import LinkParameters, margin_db
from siteplanner.core.propagation import free_space_db


def test_two_transmitters_in_free_space_by_hand():
    """A handset 4 km from its own mast and 8 km from the other, 763 MHz, both straight ahead of a sector.

    Free space, ITU-R P.525: 32.45 + 20 log10(763) + 20 log10(4) = 32.45 + 57.65 + 12.04 = 102.14 dB, and at twice the
    distance 20 log10(2) = 6.02 dB more: 108.16 dB.
    One resource element of a 10 MHz channel (50 blocks of 12): 33 - 10 log10(600) = 33 - 27.78 = 5.22 dBm.
    RSRP: 5.22 - 1.5 cable + 14 antenna - 3 handset's antenna - 3 body = 11.72 dBm less the path: -90.42 and -96.44 dBm.
    Noise in 15 kHz: -173.98 + 41.76 = -132.22 dBm, with 9 dB noise figure -123.22 dBm.
    Over noise: 32.80 dB and 26.78 dB. The other lifts the noise by 10 log10(1 + 10^2.678) = 26.79 dB.
    SINR: 32.80 - 26.79 = 6.01 dB; nearly the 6.02 dB by which the paths differ, for noise is next to nothing.
    """
    params = LinkParameters(min_rsrp_dbm=None)
    loss = np.array([free_space_db(4000.0, 763.0), free_space_db(8000.0, 763.0)], float)
    assert loss == pytest.approx([102.14, 108.16], abs=0.01)
    over = above_noise_db(params, loss, np.zeros(2))
    assert over == pytest.approx([32.80, 26.78], abs=0.02)
    assert float(rise_db(over[1:2], 1.0)[0]) == pytest.approx(26.79, abs=0.02)
    own = margin_db(params, loss)
    shared = shared_margin_db(own[:, None], over[:, None], over[:, None], np.full(2, params.down_snr_db), 1.0)
    assert shared[0, 0] == pytest.approx(6.01 - params.down_snr_db, abs=0.02)
    # the far mast is heard 6 dB below the near one: its SINR is -10 log10(10^0.602 + a little noise)
    assert shared[1, 0] == pytest.approx(-6.02 - params.down_snr_db, abs=0.02)
    # at half load only half of the other's elements are in use: 3.01 dB less noise rise, 9.02 dB
    half = shared_margin_db(own[:, None], over[:, None], over[:, None], np.full(2, params.down_snr_db), 0.5)
    assert half[0, 0] == pytest.approx(9.02 - params.down_snr_db, abs=0.02)
    # 8 dB spread: Phi((6.01 - needed) / 8)
    served = shared_probability(shared, 8.0, np.ones((2, 1), bool))
    assert served[0, 0] == pytest.approx(ndtr((6.01 - params.down_snr_db) / 8), abs=0.002)


def test_without_another_on_air_nothing_changes():
    own = np.array([[3.0, -5.0, np.nan]])
    over = np.array([[10.0, 2.0, np.nan]])
    assert shared_margin_db(own, over, over, np.array([1.0]), 1.0)[0] == pytest.approx([3.0, -5.0, np.nan], nan_ok=True)
    two_own, two = np.vstack([own, own]), np.vstack([over, np.full((1, 3), -300.0)])
    assert shared_margin_db(two_own, two, two, np.zeros(2), 1.0)[0, :2] == pytest.approx([3.0, -5.0], abs=1e-9)
    assert shared_margin_db(two_own, two, two + 400, np.zeros(2), 0.0)[0, :2] == pytest.approx([3.0, -5.0])


def test_a_path_that_nobody_knows_is_not_promised():
    """Neither of the serving mast nor of the disturbing one."""
    own, over = np.full((2, 2), 20.0), np.array([[30.0, 30.0], [np.nan, 3.0]])
    found = shared_margin_db(own, over, over, np.zeros(2), 1.0)
    assert np.isnan(found[0, 0])
    assert np.isfinite(found[0, 1])
    assert shared_probability(found, 8.0, np.ones((2, 2), bool))[0, 0] == 0.0


def test_sectors_of_a_mast_add_up_as_powers():
    pattern = SectorPattern(65.0, 20.0, 15.0, 20.0, 0.0)
    one = all_sectors_gain_db(np.array([0.0]), np.array([0.0]), np.array([0.0]), pattern)
    two = all_sectors_gain_db(np.array([0.0]), np.array([0.0]), np.array([0.0, 0.0]), pattern)
    assert one[0] == pytest.approx(0.0)
    assert two[0] == pytest.approx(10 * math.log10(2))


@pytest.mark.parametrize("load", [1.0, 0.3])
def test_the_fast_kernels_are_the_plain_sums(load):
    rng = np.random.default_rng(2)
    n, cells, sigma = 6, 400, np.full(6, 7.0)
    over = rng.uniform(-20, 40, (n, cells)).astype(np.float32)
    over[2, 7] = np.nan
    own = (over - 3).astype(np.float32)
    value = rng.uniform(0, 1, cells)
    needed = np.full(n, 2.0)

    def plain(which):
        margin = shared_margin_db(own[which], over[which], over[which], needed[which], load)
        return float((shared_probability(margin, 7.0, np.ones(margin.shape, bool)).max(0) * value).sum())

    stacked = (
        np.where(np.isnan(own), -np.inf, own),
        np.nan_to_num(over - 2, nan=-np.inf).astype(np.float32),
    )
    lifts = np.nan_to_num(np.array([rise_db(one, load) for one in over]), nan=np.inf).astype(np.float32)
    pairs = np.array([(i, j) for i in range(n) for j in range(i + 1, n)])
    found = pair_worths(*stacked, lifts, sigma, value, pairs)
    assert found == pytest.approx([plain(list(p)) for p in pairs], abs=2e-3)
    power = np.nan_to_num(load * 10 ** (over.astype(float) / 10), nan=np.inf)
    more = addition_worths(*stacked, power, sigma, value, np.array([0, 2]), np.array([1, 3, 4, 5]))
    assert more == pytest.approx([plain([0, 2, k]) for k in (1, 3, 4, 5)], abs=2e-3)
