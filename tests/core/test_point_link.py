"""Point-to-point paths: closed forms, published Fresnel radii, and a twin that looks at every sample."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.core.constants import SPEED_OF_LIGHT_M_S
from siteplanner.core.point_link import basic_loss_db, clearance, elevation_angle_deg, ray_heights_m
from siteplanner.core.propagation import knife_edge_db

A_E = 4 / 3 * 6_371_000.0  # ITU-R P.526-15 section 2, k = 4/3


def flat(length_m: float, step_m: float = 50.0, height_m: float = 100.0):
    d = np.arange(0, length_m + step_m / 2, step_m)
    return d, np.full(d.size, height_m)


class TestRay:
    def test_the_bulge_of_the_earth(self):
        # d1 d2 / 2ka: 5 + 5 km 1.4715 m, 10 + 10 km 5.8860 m, 1 + 19 km 1.1183 m (closed form, k = 4/3)
        for near, far, bulge in ((5, 5, 1.4715), (10, 10, 5.8860), (1, 19, 1.1183)):
            d = np.array([0, near, near + far]) * 1000.0
            assert ray_heights_m(d, 50.0, 50.0)[1] == pytest.approx(50 - bulge, abs=1e-4)

    def test_it_starts_and_ends_at_the_antennas(self):
        ray = ray_heights_m([0, 700, 2000], 10.0, 90.0)
        assert (ray[0], ray[-1]) == (10.0, 90.0)

    def test_two_antennas_at_their_radio_horizons_just_see_each_other(self):
        # 4.1218 km x root of the height: 30 m and 10 m stand 22.576 + 13.034 km apart (closed form, k = 4/3)
        length = math.sqrt(2 * A_E * 30) + math.sqrt(2 * A_E * 10)
        assert length == pytest.approx(22_576 + 13_034, abs=1)
        d = np.linspace(0, length, 20001)
        found = clearance(d, np.zeros(d.size), 30.0, 10.0, 700.0)
        assert found.clearance_m == pytest.approx(0, abs=0.01)
        assert found.at_m == pytest.approx(22_576, abs=30)

    def test_the_angle_of_the_ray(self):
        # level antennas 20 km apart: each looks down by half the arc, d / 2ka
        assert elevation_angle_deg(20_000, 100, 100) == pytest.approx(-math.degrees(20_000 / (2 * A_E)), abs=1e-6)
        assert elevation_angle_deg(1000, 0, 1000) == pytest.approx(45, abs=0.01)


class TestClearance:
    def test_over_flat_ground_the_middle_is_the_tightest(self):
        d, z = flat(10_000)
        found = clearance(d, z, 20.0, 20.0, 700.0)
        assert found.at_m == 5000
        assert found.clearance_m == pytest.approx(20 - 5000 * 5000 / (2 * A_E))
        # P.526 first Fresnel radius at 5 + 5 km and 700 MHz: 32.7214 m (closed form)
        assert found.radius_m == pytest.approx(32.7214, abs=1e-4)
        assert found.share == pytest.approx(found.clearance_m / 32.7214, abs=1e-5)
        assert found.complete

    @pytest.mark.parametrize(
        ("near_km", "far_km", "mhz", "radius"), [(1, 9, 850, 17.8165), (0.5, 0.5, 2500, 5.4753), (5, 5, 700, 32.7214)]
    )
    def test_an_edge_is_measured_in_its_own_radius(self, near_km, far_km, mhz, radius):
        # radii sqrt(lambda d1 d2 / d) (P.526-15 section 2); 0.6 of them are the usual demand
        d = np.array([0, near_km, near_km + far_km]) * 1000.0
        bulge = d[1] * (d[2] - d[1]) / (2 * A_E)
        z = np.array([0, 200 - bulge - 0.6 * radius, 0])
        found = clearance(d, z, 200.0, 200.0, mhz)
        assert found.share == pytest.approx(0.6, abs=1e-5)
        assert found.radius_m == pytest.approx(radius, abs=1e-4)

    def test_an_edge_through_the_ray_blocks_there(self):
        d, z = flat(8000)
        z[64] = 160.0  # at 3.2 km
        found = clearance(d, z, 20.0, 20.0, 5800.0)
        assert found.at_m == pytest.approx(3200)
        assert found.share < 0
        assert found.clearance_m == pytest.approx(120 - 160 - 3200 * 4800 / (2 * A_E), abs=1e-9)

    def test_a_hole_in_the_ground_is_not_clear(self):
        d, z = flat(8000)
        z[40:44] = np.nan
        found = clearance(d, z, 60.0, 60.0, 5800.0)
        assert not found.complete
        assert found.unknown_from_m == 2000
        assert found.share > 0.6  # of what is known
        z[0] = np.nan
        assert math.isnan(clearance(d, z, 60.0, 60.0, 5800.0).share)

    @settings(max_examples=60, deadline=None)
    @given(
        st.lists(st.floats(0, 300), min_size=3, max_size=60),
        st.floats(1, 60),
        st.floats(1, 60),
        st.floats(100, 15000),
        st.floats(0.5, 3),
    )
    def test_it_is_what_looking_at_every_sample_finds(self, heights, tx, rx, mhz, k):
        """Twin: plain loop over the samples in the Earth's own frame, by the law of the chord."""
        step = 137.0
        n = len(heights)
        length = step * (n - 1)
        worst = (math.inf, 0.0)
        for i in range(1, n - 1):
            x = i * step
            line = heights[0] + tx + (heights[-1] + rx - heights[0] - tx) * x / length
            ground = heights[i] + x * (length - x) / (2 * k * 6_371_000.0)
            radius = math.sqrt(SPEED_OF_LIGHT_M_S / (mhz * 1e6) * x * (length - x) / length)
            worst = min(worst, ((line - ground) / radius, x))
        found = clearance(np.arange(n) * step, heights, tx, rx, mhz, k)
        assert found.share == pytest.approx(worst[0], rel=1e-9, abs=1e-9)
        assert found.complete

    def test_wrong_arguments(self):
        with pytest.raises(ValueError, match="must rise"):
            clearance([0, 10, 10], [0, 0, 0], 1, 1, 700)
        with pytest.raises(ValueError, match="at least 3"):
            clearance([0, 10], [0, 0], 1, 1, 700)


class TestLoss:
    def test_free_space_where_nothing_is_near(self):
        d = np.linspace(0, 3000, 61)
        # 20 log10(4 pi d f / c), ITU-R P.525-4; the slant length counts
        loss = basic_loss_db(d, np.concatenate(([0], np.full(59, -500.0), [0])), 10.0, 210.0, 5800.0)
        slant = math.hypot(3000, 200)
        assert loss == pytest.approx(20 * math.log10(4 * math.pi * slant * 5.8e9 / SPEED_OF_LIGHT_M_S), abs=0.02)

    def test_one_edge_at_mid_path(self):
        """P.526-15 section 4.1: nu = h sqrt(2 (1/d1 + 1/d2) / lambda), J(nu) by equation (31); Bullington's method
        adds (1 - exp(-J/6)) (10 + 0.02 d) (P.526-15 section 4.5)."""
        d = np.array([0, 5000, 10000.0])
        bulge = 5000 * 5000 / (2 * A_E)
        z = np.array([0, 330 - bulge, 0])  # 30 m above the ray of two antennas at 300 m
        nu = 30 * math.sqrt(2 * (2 / 5000) / (SPEED_OF_LIGHT_M_S / 700e6))
        assert nu == pytest.approx(1.296597, abs=1e-6)  # closed form; J = 15.7057 dB
        edge = float(knife_edge_db(nu))
        assert edge == pytest.approx(15.7057, abs=1e-4)
        free = 20 * math.log10(4 * math.pi * 10000 * 700e6 / SPEED_OF_LIGHT_M_S)
        found = basic_loss_db(d, z, 300.0, 300.0, 700.0)
        assert found == pytest.approx(free + edge + (1 - math.exp(-edge / 6)) * (10 + 0.02 * 10), abs=0.01)

    def test_clearing_six_tenths_costs_nothing_over_an_edge(self):
        # nu = -0.6 root 2 = -0.8485 lies below -0.78, where P.526-15 equation (31) gives no loss
        d = np.array([0, 4000, 8000.0])
        radius = math.sqrt(SPEED_OF_LIGHT_M_S / 5.8e9 * 2000)
        z = np.array([0, 400 - 4000**2 / (2 * A_E) - 0.61 * radius, 0])
        free = 20 * math.log10(4 * math.pi * 8000 * 5.8e9 / SPEED_OF_LIGHT_M_S)
        assert basic_loss_db(d, z, 400.0, 400.0, 5800.0) == pytest.approx(free, abs=1e-6)

    def test_unknown_ground_has_no_loss(self):
        d, z = flat(4000)
        z[7] = np.nan
        assert math.isnan(basic_loss_db(d, z, 10.0, 10.0, 5800.0))
