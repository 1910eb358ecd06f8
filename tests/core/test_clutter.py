"""Clutter, woodland and building losses against published values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from siteplanner.core.clutter import (
    CLUTTER_HEIGHT_M,
    building_entry_db,
    building_median_db,
    height_gain_db,
    woodland_constants,
    woodland_db,
)

PRINTED = 0.0501  # the test data are printed to 0.1 dB


class TestHeightGain:
    @pytest.mark.parametrize(
        ("ghz", "height", "width", "top", "clutter", "loss"),
        [  # NTIA/p2108-test-data, HeightGainTerminalCorrectionModelTestData.csv (P.2108-1 section 3.1)
            (1.5, 2, 27, 10, "open", 16.0),
            (1.5, 2, 27, 6, "water", 10.9),
            (0.9, 2.3, 30, 10, "open", 13.7),
            (1.5, 2, 27, 10, "suburban", 20.5),
            (1.5, 2, 27, 15, "urban", 24.5),
            (1.5, 2, 27, 20, "dense_urban", 27.1),
            (3, 3, 15, 15, "trees", 29.0),
            (1.5, 2.5, 25, 10, "suburban", 20.2),
            (0.03, 2.1, 24.5, 9.8, "suburban", 5.7),
            (1.7, 30, 24.5, 9.8, "urban", 0.0),
        ],
    )
    def test_published_rows(self, ghz, height, width, top, clutter, loss):
        found = height_gain_db(ghz * 1000, height, clutter, clutter_height_m=top, street_width_m=width)
        assert found == pytest.approx(loss, abs=PRINTED)

    def test_representative_heights(self):
        # P.2108-1 Table 3.
        assert CLUTTER_HEIGHT_M == {
            "water": 10,
            "open": 10,
            "suburban": 10,
            "urban": 15,
            "trees": 15,
            "dense_urban": 20,
        }

    @pytest.mark.parametrize(
        ("mhz", "losses"),
        [(700, (17.170, 17.671, 21.483, 21.483, 23.983)), (2500, (19.994, 23.187, 27.033, 27.033, 29.538))],
    )
    def test_handset_at_our_bands(self, mhz, losses):
        # Closed form of section 3.1, handset at 1.5 m, streets of 27 m.
        kinds = ("open", "suburban", "urban", "trees", "dense_urban")
        found = [float(height_gain_db(mhz, 1.5, kind)) for kind in kinds]
        np.testing.assert_allclose(found, losses, atol=1e-3)

    @given(st.floats(0.5, 40), st.floats(0, 10), st.sampled_from(sorted(CLUTTER_HEIGHT_M)))
    def test_never_grows_with_height(self, height, more, clutter):
        assert height_gain_db(900, height + more, clutter) <= height_gain_db(900, height, clutter) + 1e-9

    @pytest.mark.parametrize(
        ("arguments", "message"),
        [
            ((20, 1.5, "open"), "30 to 3000"),
            ((3500, 1.5, "open"), "30 to 3000"),
            ((700, 0, "open"), "above 0"),
            ((700, 1.5, "jungle"), "one of water"),
        ],
    )
    def test_refusals(self, arguments, message):
        with pytest.raises(ValueError, match=message):
            height_gain_db(*arguments)


class TestWoodland:
    def test_measured_constants(self):
        # P.833-9: gamma and A_m at the measured frequencies.
        gamma, top = woodland_constants([105.9, 466.475, 949, 1852.2, 2117.5])
        np.testing.assert_allclose(gamma, [0.04, 0.12, 0.17, 0.30, 0.34])
        np.testing.assert_allclose(top, [9.4, 18.0, 26.5, 29.0, 34.1])

    @pytest.mark.parametrize(
        ("mhz", "losses"),
        [(949, (1.6466, 7.2716, 12.5478, 22.6325)), (2117.5, (3.2360, 13.3870, 21.5185, 32.3873))],
    )
    def test_depths(self, mhz, losses):
        # P.833-9 section 2: A_m (1 - exp(-d gamma / A_m)) at 10, 50, 100, 300 m.
        np.testing.assert_allclose(woodland_db([10, 50, 100, 300], mhz), losses, atol=1e-4)

    def test_a_stand_of_ones_own(self):
        assert woodland_db(1e9, specific_db_m=0.2, maximum_db=20.0) == pytest.approx(20.0)

    def test_refusals(self):
        with pytest.raises(ValueError, match=r"105\.9 to 2117\.5"):
            woodland_db(10, 2600)
        with pytest.raises(ValueError, match="negative"):
            woodland_db(-1, 949)
        with pytest.raises(ValueError, match="both specific_db_m and maximum_db"):
            woodland_db(10, specific_db_m=0.1)


class TestBuildings:
    P = (0.10, 0.5011872, 0.8912509)

    @pytest.mark.parametrize(
        ("mhz", "elevation", "building", "losses"),
        [  # ITU-R SG 3 workbook for P.2109, as in eeveetza/p2109 validate_p2109.m
            (28_000, 0, "traditional", (6.891, 20.218, 35.448)),
            (28_000, 0, "efficient", (19.484, 41.732, 65.040)),
            (2000, 45, "traditional", (11.251, 23.556, 35.991)),
            (2000, 45, "efficient", (20.566, 37.995, 55.724)),
        ],
    )
    def test_published_rows(self, mhz, elevation, building, losses):
        np.testing.assert_allclose(building_entry_db(mhz, self.P, building, elevation), losses, atol=0.001)

    def test_medians(self):
        # Constants of P.2109-1 Table 1: r + s log f + t log^2 f.
        np.testing.assert_allclose(building_median_db([700, 2500]), [12.0868, 14.2724], atol=1e-4)
        np.testing.assert_allclose(building_median_db([700, 2500], "efficient"), [28.8582, 28.3390], atol=1e-4)

    def test_half_of_places(self):
        # pycraf 2.1.0, pathprof.building_entry_loss(f, 0 deg, 0.5, ...).
        np.testing.assert_allclose(building_entry_db([700, 2500]), [14.1021, 15.2401], atol=1e-4)
        np.testing.assert_allclose(building_entry_db([700, 2500], building="efficient"), [31.5762, 30.5867], atol=1e-4)

    def test_refusals(self):
        with pytest.raises(ValueError, match="80 MHz"):
            building_entry_db(50)
        with pytest.raises(ValueError, match="between 0 and 1"):
            building_entry_db(700, 1.0)
        with pytest.raises(ValueError, match="one of traditional"):
            building_entry_db(700, 0.5, "castle")
