"""Share of the sky dome: closed forms, a brute-force twin, and what unknown ground does to it."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.core.dome import clear_share, dome_share


def sine(angle_deg: float) -> float:
    return math.sin(math.radians(angle_deg))


class TestShare:
    @pytest.mark.parametrize("least", [0.0, 10.0, 25.0, 60.0])
    def test_a_flat_horizon_leaves_all_of_it(self, least):
        assert clear_share(np.zeros(360), least) == 1.0
        assert clear_share(np.full(360, -4.0), least) == 1.0  # from a summit no more than all

    @pytest.mark.parametrize("least", [0.0, 25.0])
    def test_half_the_bearings_walled_to_the_zenith_leave_half(self, least):
        horizon = np.where(np.arange(360) < 180, 90.0, 0.0)
        assert clear_share(horizon, least) == pytest.approx(0.5, abs=1e-12)

    @pytest.mark.parametrize(("wall", "least"), [(40.0, 25.0), (30.0, 0.0), (25.0, 25.0), (89.0, 25.0), (10.0, 25.0)])
    def test_a_wall_all_round(self, wall, least):
        # the zone of a sphere from h to the zenith has 2 pi (1 - sin h) (Archimedes)
        expected = (1 - sine(max(wall, least))) / (1 - sine(least))
        assert clear_share(np.full(360, wall), least) == pytest.approx(expected, abs=1e-12)

    def test_one_number_by_hand(self):
        # half of the bearings at 30 deg, cone from the horizon: (0.5 + 1) / 2
        assert clear_share(np.where(np.arange(360) % 2 == 0, 30.0, 0.0), 0.0) == pytest.approx(0.75)

    def test_beside_an_endless_wall_half_the_sky_is_left(self):
        """At the foot of an endless vertical wall half of the dome is gone; seen from a distance D before a wall of
        height H its top stands at atan(H / D cos(bearing)): a lune, whose area is linear in its angle."""
        bearings = (np.arange(3600) + 0.5) / 10
        for rise in (0.2, 1.0, 3.0):
            toward = np.cos(np.radians(bearings))
            horizon = np.where(toward > 0, np.degrees(np.arctan(rise * toward)), 0.0)
            # the plane through the eye and the wall's top cuts the dome in a great circle: a lune of atan(rise)
            expected = 1 - math.degrees(math.atan(rise)) / 180
            assert clear_share(horizon, 0.0) == pytest.approx(expected, abs=1e-6)

    @settings(max_examples=25, deadline=None)
    @given(st.lists(st.floats(-5, 90), min_size=1, max_size=24), st.floats(0, 80))
    def test_the_share_is_that_of_counted_pieces_of_sky(self, horizon, least):
        """Twin: the cone cut into rings of equal area, each piece looked at for itself."""
        rings = 4000
        sines = sine(least) + (np.arange(rings) + 0.5) / rings * (1 - sine(least))
        up = np.degrees(np.arcsin(sines))
        seen = sum(int((up > h).sum()) for h in horizon) / (rings * len(horizon))
        assert clear_share(horizon, least) == pytest.approx(seen, abs=2 / rings)

    def test_wrong_arguments(self):
        with pytest.raises(ValueError, match="at least one bearing"):
            clear_share([], 25.0)
        with pytest.raises(ValueError, match="below 90"):
            clear_share([0.0], 90.0)
        with pytest.raises(ValueError, match="equally long"):
            dome_share([0.0, 1.0], [0.0], 25.0)


class TestUnknown:
    def test_unknown_is_a_range_and_never_clear(self):
        horizon = np.zeros(360)
        possible = horizon.copy()
        possible[90:180] = 90.0
        found = dome_share(horizon, possible, 25.0)
        assert (found.low, found.high) == (pytest.approx(0.75), 1.0)
        assert found.worst is None
        assert found.unknown is not None
        assert (found.unknown.from_deg, found.unknown.to_deg) == (90.0, 179.0)
        assert found.unknown.lost_share == pytest.approx(0.25)

    def test_nothing_known_is_anything_from_none_to_all(self):
        nothing = np.full(360, np.nan)
        found = dome_share(nothing, nothing, 25.0)
        assert (found.low, found.high) == (0.0, 1.0)
        assert found.unknown is not None
        assert (found.unknown.from_deg, found.unknown.to_deg) == (0.0, 360.0)

    def test_known_ground_that_blocks_blocks_whatever_is_unknown(self):
        found = dome_share(np.full(360, 90.0), np.full(360, np.nan), 25.0)
        assert (found.low, found.high) == (0.0, 0.0)


class TestSector:
    def test_the_sector_over_north_is_one(self):
        horizon = np.zeros(360)
        horizon[350:] = 40.0
        horizon[:21] = 50.0
        horizon[5] = 60.0
        horizon[180:200] = 45.0
        worst = dome_share(horizon, horizon, 25.0).worst
        assert worst is not None
        assert (worst.from_deg, worst.to_deg) == (350.0, 20.0)
        assert (worst.highest_deg, worst.highest_at_deg) == (60.0, 5.0)
        lost = 10 * (sine(40) - sine(25)) + 20 * (sine(50) - sine(25)) + sine(60) - sine(25)
        assert worst.lost_share == pytest.approx(lost / 360 / (1 - sine(25)))

    def test_a_higher_narrow_sector_can_be_the_worse_one(self):
        horizon = np.zeros(360)
        horizon[10:40] = 26.0  # 30 degrees wide, hardly above the cone's edge
        horizon[200:210] = 80.0
        worst = dome_share(horizon, horizon, 25.0).worst
        assert worst is not None
        assert (worst.from_deg, worst.to_deg) == (200.0, 209.0)

    def test_ground_below_the_cone_is_no_sector(self):
        assert dome_share(np.full(360, 25.0), np.full(360, 25.0), 25.0).worst is None
