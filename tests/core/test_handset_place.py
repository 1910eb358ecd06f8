"""The way in to the handset against P.2109's published figures and TR 38.901."""

import math

import pytest

from siteplanner.core.handset_place import EntryLoss, entry_loss, spread_db


def test_in_the_open_nothing_is_lost():
    assert entry_loss("outdoors", 763) == EntryLoss(0.0, 0.0)


def test_a_vehicle():
    assert entry_loss("vehicle", 763) == EntryLoss(9.0, 5.0)  # 3GPP TR 38.901 section 7.4.3.2


@pytest.mark.parametrize(
    ("place", "mhz", "median_db"),
    [  # pycraf 2.1.0, pathprof.building_entry_loss(f, 0 deg, 0.5): ITU-R P.2109-1
        ("building_traditional", 700, 14.1021),
        ("building_traditional", 2500, 15.2401),
        ("building_efficient", 700, 31.5762),
        ("building_efficient", 2500, 30.5867),
    ],
)
def test_median_of_buildings(place, mhz, median_db):
    assert entry_loss(place, mhz).median_db == pytest.approx(median_db, abs=1e-4)


def test_the_spread_of_buildings():
    """P.2109-1 Table 1, traditional, 700 MHz by hand: sigma1 = 9.6 + 2.0 log10 0.7 = 9.29, sigma2 = 4.5 - 2.0
    log10 0.7 = 4.81, mu1 = 12.09, mu2 = 9.1 - 3.0 log10 0.7 = 9.56; one deviation up and down, powers added with -3 dB.
    """
    mu_1, mu_2, sigma_1, sigma_2 = 12.0868, 9.5647, 9.2902, 4.8098

    def at(z: float) -> float:
        powers = (mu_1 + z * sigma_1, mu_2 + z * sigma_2, -3.0)
        return 10 * math.log10(sum(10 ** (p / 10) for p in powers))

    assert entry_loss("building_traditional", 700).sigma_db == pytest.approx((at(1) - at(-1)) / 2, abs=1e-3)


def test_spreads_join_by_their_squares():
    assert spread_db(3.0, EntryLoss(9.0, 4.0)) == pytest.approx(5.0)


def test_below_the_method_is_refused():
    with pytest.raises(ValueError, match="80 MHz"):
        entry_loss("building_traditional", 70)
