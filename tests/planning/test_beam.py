"""The beam that must be free: its width from the dish and the frequency, its sides in bearing by the elevation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from siteplanner.core.antenna import dish_beam_deg
from siteplanner.core.geodesy import look_angles
from siteplanner.mission import Satellite, Sky
from siteplanner.planning.limits.toward import RAYS_APART_DEG, beam_bearings_deg, beam_side_deg, look_at
from siteplanner.planning.spots.evaluate import judge_sky
from siteplanner.planning.study.inputs import dish_view
from tests.planning.open_ground import spot_in, study_on


@pytest.mark.parametrize(("diameter", "half"), [(0.45, 1.95), (1.2, 0.73), (2.4, 0.366)])
def test_half_the_beam_by_the_handbook_rule(diameter, half):
    """70 wavelengths / diameters at 11.95 GHz (2.509 cm), from memory."""
    assert dish_beam_deg(diameter, 11.95) / 2 == pytest.approx(half, abs=0.005)
    study = study_on(np.zeros((21, 21)), sky=Sky(dish_diameter_m=diameter, downlink_ghz=11.95))
    assert dish_view(study).beam_half_deg == pytest.approx(half, abs=0.005)


def test_the_sides_stand_off_by_the_beam_on_the_sky():
    """Angle between the directions of middle and side: the haversine formula, from each elevation."""
    for up in (5.0, 38.0, 60.0, 80.0):
        side = float(beam_side_deg(up, 0.73))
        assert side == pytest.approx(0.73 / math.cos(math.radians(up)))
        apart = 2 * math.asin(math.cos(math.radians(up)) * math.sin(math.radians(side) / 2))
        assert math.degrees(apart) == pytest.approx(0.73, rel=2e-3)
    assert float(beam_side_deg(90.0, 0.73)) == 180.0


@pytest.mark.parametrize("half", [0.2, 0.73, 1.95, 6.0])
def test_rays_hold_both_sides_and_the_middle_and_leave_no_wide_gap(half):
    rays = beam_bearings_deg(np.array([180.0]), np.array([50.0]), half)[0]
    on_sky = (rays - 180.0) * math.cos(math.radians(50.0))
    assert (on_sky[0], on_sky[-1]) == pytest.approx((-half, half))
    assert 180.0 in rays
    assert np.diff(on_sky).max() <= RAYS_APART_DEG + 1e-9


def test_right_below_a_satellite_all_bearings_count():
    rays = beam_bearings_deg(np.array([np.nan]), np.array([90.0]), 0.73)[0]
    assert np.isfinite(rays).all()
    assert np.ptp(rays) > 180


@pytest.mark.parametrize(("diameter", "blocked"), [(0.45, True), (1.2, False)])
def test_a_post_beside_the_line_blocks_the_wide_beam_only(diameter, blocked):
    """A tower 1.6 deg aside on the sky (2.0 in bearing), 800 m away: in the beam of 0.45 m, not of 1.2 m."""
    ground = np.zeros((401, 401))
    aside = 800 * math.tan(math.radians(1.6 / math.cos(math.radians(38.2))))
    col = 200 + round(aside / 5)
    ground[200 + 160, col : col + 2] = 900.0
    satellite = Satellite(name="south", longitude_deg=-111.0)
    sky = Sky(satellites=(satellite,), dish_diameter_m=diameter, downlink_ghz=11.95)
    study = study_on(ground, cell_size_m=5.0, sky=sky)
    (look,) = judge_sky(dish_view(study), spot_in(study, 200, 200), (200, 200))
    assert look.elevation_deg == pytest.approx(38.2, abs=0.1)
    assert (look.state == "blocked") is blocked


def test_a_low_and_a_high_satellite_have_beams_of_one_width_on_the_sky():
    study = study_on(np.zeros((41, 41)), sky=Sky(dish_diameter_m=0.45, downlink_ghz=11.95))
    seen = look_at(dish_view(study), spot_in(study, 20, 20), (20, 20), np.array([-111.0, -60.0]))
    wide = np.ptp(seen.bearings_deg, axis=-1) * np.cos(np.radians(seen.elevation_deg))
    assert wide == pytest.approx([2 * 1.953] * 2, abs=0.01)
    _, elevation, _ = look_angles(45.0, -111.0, 0.0, np.array([-111.0, -60.0]))
    assert seen.elevation_deg == pytest.approx(elevation, abs=0.01)
