"""The link budget and the chance of service."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.core.link import (
    RESOURCE_BLOCKS,
    LinkParameters,
    allowed_loss_db,
    budget,
    deciding_direction,
    margin_db,
    resource_blocks,
    service_probability,
    thermal_noise_dbm,
    uplink_offset_db,
)
from siteplanner.core.propagation import free_space_db
from siteplanner.core.service_level import needed_snr_db


def test_defaults_are_the_missions():
    # The planner copies field by field; a default that drifts apart would mislead whoever calls the core alone.
    mission = pytest.importorskip("siteplanner.mission")
    radio = mission.Radio()
    for name in LinkParameters.__dataclass_fields__:
        assert getattr(LinkParameters(), name) == getattr(radio, name), name


class TestPowers:
    def test_resource_blocks(self):
        # 3GPP TS 36.101 Table 6.3.2.1-1; used bandwidth is 0.18 MHz a block.
        assert RESOURCE_BLOCKS == {1.4: 6, 3: 15, 5: 25, 10: 50, 15: 75, 20: 100}
        used = [0.18 * resource_blocks(width) for width in (1.4, 3, 5, 10, 15, 20)]
        assert used == pytest.approx([1.08, 2.7, 4.5, 9, 13.5, 18])

    def test_thermal_noise(self):
        # k T B at 290 K: 1 Hz, 15 kHz, 180 kHz, 9 MHz.
        np.testing.assert_allclose(
            thermal_noise_dbm([1, 15e3, 180e3, 9e6]), [-173.9752, -132.214, -121.422, -104.433], atol=1e-3
        )

    @pytest.mark.parametrize(
        ("dbm", "mhz", "expected"), [(43, 10, 15.2185), (37, 10, 9.2185), (43, 20, 12.2082), (40, 5, 15.2288)]
    )
    def test_power_of_a_resource_element(self, dbm, mhz, expected):
        # P - 10 log(12 N_RB).
        lines = budget(LinkParameters(tx_power_dbm=dbm, bandwidth_mhz=mhz), 0.0, 0.0)
        assert sum(line.value for line in lines[:2]) == pytest.approx(expected, abs=1e-4)

    def test_rsrp_in_free_space(self):
        # 43 dBm in 10 MHz + 14 dBi, 763 MHz, 5 km: -74.8114 dBm with the 32.4 form, 0.0478 dB less exactly.
        params = LinkParameters(tx_power_dbm=43, cable_loss_db=0, body_loss_db=0, handset_gain_dbi=0)
        lines = budget(params, float(free_space_db(5000.0, 763.0)), 0.0)
        rsrp = next(line.value for line in lines if line.direction == "downlink" and line.is_sum)
        assert rsrp == pytest.approx(-74.8114 - 0.0478, abs=1e-4)

    def test_handset_reference_sensitivity_is_explained(self):
        # TS 36.101 Table 7.3.1-1, band 1, 10 MHz: -97 dBm = noise in 9 MHz + NF 9 + SNR -1 + 2.5 - 3 dB
        # (3GPP budget convention, from memory).
        assert thermal_noise_dbm(9e6) + 9 - 1 + 2.5 - 3 == pytest.approx(-96.96, abs=0.05)

    def test_refusals(self):
        with pytest.raises(ValueError, match="LTE channel"):
            resource_blocks(7)
        with pytest.raises(ValueError, match="uplink_resource_blocks must be 1 to 6"):
            LinkParameters(bandwidth_mhz=1.4, uplink_resource_blocks=7)
        with pytest.raises(ValueError, match="frequencies"):
            LinkParameters(frequency_mhz=0)


parameters = st.builds(
    LinkParameters,
    frequency_mhz=st.floats(400, 3000),
    uplink_frequency_mhz=st.none() | st.floats(400, 3000),
    bandwidth_mhz=st.sampled_from(sorted(RESOURCE_BLOCKS)),
    tx_power_dbm=st.floats(20, 50),
    antenna_gain_dbi=st.floats(0, 20),
    cable_loss_db=st.floats(0, 5),
    noise_figure_db=st.floats(0, 10),
    handset_power_dbm=st.floats(10, 33),
    handset_gain_dbi=st.floats(-10, 5),
    body_loss_db=st.floats(0, 10),
    building_loss_db=st.none() | st.floats(0, 30),
    handset_place=st.sampled_from(["outdoors", "vehicle", "building_traditional", "building_efficient"]),
    service=st.sampled_from(["messages", "voice", "data"]),
    handset_noise_figure_db=st.floats(3, 12),
    interference_margin_db=st.floats(0, 6),
    min_rsrp_dbm=st.none() | st.floats(-140, -60),
    uplink_resource_blocks=st.none() | st.integers(1, 6),
    uplink_min_snr_db=st.none() | st.floats(-10, 20),
)


class TestBudget:
    @settings(max_examples=80, deadline=None)
    @given(parameters, st.floats(60, 200), st.floats(-30, 0))
    def test_adds_up_by_hand(self, params, loss, gain):
        lines = budget(params, loss, gain)
        sums = {}
        for direction in ("downlink", "uplink"):
            total = 0.0
            for line in (one for one in lines if one.direction == direction):
                if line.is_sum:
                    assert line.value == pytest.approx(total, abs=1e-9), line.item
                else:
                    total += line.value
            sums[direction] = total
        weaker = min(sums.values())
        assert [(one.direction, one.value) for one in lines if one.ends] == [
            ("downlink", pytest.approx(sums["downlink"], abs=1e-9)),
            ("uplink", pytest.approx(sums["uplink"], abs=1e-9)),
            ("weaker", pytest.approx(weaker, abs=1e-9)),
        ]
        assert lines[-1].direction == "weaker"
        assert margin_db(params, loss, gain) == pytest.approx(weaker, abs=1e-9)

    def test_by_hand_once(self):
        # Down: 33 - 10 log(600) - 1.5 + 14 - 3 - 130 - 0 - 3 - 3 - 0 = -121.2815 dBm. Least for data: -132.2143
        # in 15 kHz + 9 noise figure - 0.4580 (1 Mbit/s over 1.8 MHz: 2^(0.9259) - 1 = 0.8999) = -123.6723: 2.3908 dB.
        # Up: 23 - 3 - 3 - 0 - 130 + 14 - 3 - 1.5 = -103.5 dBm. Least: -114.4328 in 900 kHz + 5 - 1.9582 (256 kbit/s:
        # 2^(0.7111) - 1 = 0.6371) = -111.3909: 7.8909 dB.
        lines = {(one.direction, one.item): one.value for one in budget(LinkParameters(), 130.0, -3.0)}
        assert lines["downlink", "RSRP at the handset"] == pytest.approx(-121.2815, abs=1e-4)
        assert lines["downlink", "margin"] == pytest.approx(2.3908, abs=1e-4)
        assert lines["uplink", "margin"] == pytest.approx(7.8909, abs=1e-4)

    def test_a_stated_threshold_goes_before_that_of_the_service(self):
        # the budget of former defaults: 40 dBm, -116 dBm, -3 dB in 5 blocks, worked by hand
        params = LinkParameters(tx_power_dbm=40, min_rsrp_dbm=-116, uplink_min_snr_db=-3, uplink_resource_blocks=5)
        lines = {(one.direction, one.item): one.value for one in budget(params, 130.0, -3.0)}
        assert lines["downlink", "margin"] == pytest.approx(1.7185, abs=1e-4)
        assert lines["uplink", "margin"] == pytest.approx(8.9328, abs=1e-4)

    def test_the_noise_of_the_handset_counts(self):
        # it stood in the mission and changed nothing; 3 dB more take 3 dB of the downlink, none of the uplink
        quiet, loud = (allowed_loss_db(LinkParameters(handset_noise_figure_db=nf)) for nf in (6.0, 9.0))
        assert quiet[0] - loud[0] == pytest.approx(3.0)
        assert quiet[1] == loud[1]

    @pytest.mark.parametrize("kind", ["messages", "voice", "data"])
    def test_both_directions_mean_the_same_service(self, kind):
        params = LinkParameters(service=kind)
        assert (params.down_snr_db, params.up_snr_db) == (
            needed_snr_db(kind, "downlink"),
            needed_snr_db(kind, "uplink"),
        )
        assert params.least_rsrp_dbm == pytest.approx(-132.2143 + 9 + params.down_snr_db, abs=1e-4)

    def test_the_deciding_direction(self):
        # 5.5 dB by the two margins of the budget worked by hand; 10 dB more power down turn it round
        assert deciding_direction(LinkParameters()) == ("downlink", pytest.approx(7.8909 - 2.3908, abs=1e-3))
        assert deciding_direction(LinkParameters(tx_power_dbm=43)) == ("uplink", pytest.approx(4.4999, abs=1e-3))

    def test_the_way_in_counts_in_both_directions(self):
        # TR 38.901 section 7.4.3.2: 9 dB on average into a vehicle
        out, car = (allowed_loss_db(LinkParameters(handset_place=p)) for p in ("outdoors", "vehicle"))
        assert [o - c for o, c in zip(out, car, strict=True)] == pytest.approx([9.0, 9.0])

    def test_every_item_is_used_once(self):
        items = [(one.direction, one.item) for one in budget(LinkParameters(), 130.0, -3.0)]
        assert len(items) == len(set(items))

    def test_no_minus_zero_is_shown(self):
        zeros = [one.value for one in budget(LinkParameters(), 130, 0) if one.value == 0]
        assert zeros
        assert all(math.copysign(1, value) > 0 for value in zeros)

    def test_allowed_loss_is_where_the_margin_ends(self):
        params = LinkParameters(uplink_frequency_mhz=793.0)
        for loss, direction in zip(allowed_loss_db(params), ("downlink", "uplink"), strict=True):
            (end,) = [one for one in budget(params, loss, 0.0) if one.direction == direction and one.ends]
            assert end.value == pytest.approx(0.0, abs=1e-9)

    def test_uplink_frequency(self):
        # 20 log10(793 / 763) = 0.335 dB.
        assert uplink_offset_db(LinkParameters(uplink_frequency_mhz=793.0)) == pytest.approx(0.335, abs=1e-3)
        assert uplink_offset_db(LinkParameters()) == 0.0

    def test_margin_takes_arrays_as_they_are(self):
        loss = np.array([[100.0, np.nan]], np.float32)
        margin = margin_db(LinkParameters(), loss, np.zeros((3, 1), np.float32))
        assert (margin.shape, margin.dtype) == ((3, 2), np.float32)
        assert np.isnan(margin[:, 1]).all()


class TestProbability:
    def test_normal_distribution(self):
        # z 0.6745 is the 75 % point of the normal distribution.
        np.testing.assert_allclose(service_probability([0.0, 0.6745 * 8, -8.0], 8.0), [0.5, 0.75, 0.1587], atol=1e-4)

    def test_hard_edge(self):
        np.testing.assert_array_equal(service_probability([-0.01, 0.0, 5.0], 0.0), [0, 1, 1])

    def test_unknown_stays_unknown(self):
        assert np.isnan(service_probability([np.nan], 8.0)).all()
        assert np.isnan(service_probability([np.nan], 0.0)).all()

    def test_negative_sigma_is_refused(self):
        with pytest.raises(ValueError, match="sigma_db"):
            service_probability(0.0, -1.0)
