"""Ridges beyond the plan's own raster: found where a file holds them, unknown where none does; never told clear."""

from __future__ import annotations

import math

import numpy as np
import pytest

from siteplanner import load_mission, plan
from siteplanner.core.geodesy import look_angles
from siteplanner.errors import InputError
from siteplanner.outputs.sheets.crew import crew_content
from siteplanner.planning.limits.ruling import BITS
from siteplanner.planning.spots.margin_raster import sky_margin
from siteplanner.planning.telling.record import plan_record
from tests.planning.hidden_ridge import CELL_M, PLAIN_M, RIDGE_M, ridge_mission, true_skyline_deg

PLACES = [(70.0, 27.0), (-70.0, -60.0)]


def planned(*args, **named):
    made = plan(load_mission(ridge_mission(*args, **named)))
    (spot,) = [e for e in (*(r.evaluation for r in made.spots), *made.rejected) if e.spot.name == "middle"]
    return made, spot


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_a_ridge_that_the_file_holds_blocks_from_far_beyond_the_ground_searched(tmp_path, latitude, longitude):
    """70 degrees from the equator the satellite stands 11.49 deg up; the ridge of 3,099 m, 9 km away, 13.11 deg."""
    made, spot = planned(tmp_path, latitude, longitude, 3099.0)
    assert not (made.scene.elevation.values > 3000).any()  # the plan's own raster ends long before it
    (look,) = spot.sky
    assert look.elevation_deg == pytest.approx(11.49, abs=0.02)
    true = true_skyline_deg(3099.0)
    assert true == pytest.approx(13.11, abs=0.04)
    assert look.horizon_deg == pytest.approx(true, abs=0.06)  # a cell of 20 m nearer: 0.03 deg
    assert look.state == "blocked"
    assert made.best is None
    assert {breach.code for breach in spot.failed} >= {"sky_blocked"}
    cells = made.scene.ruling.values[made.judge.study.search_ground]
    assert (cells & BITS["sky_blocked"]).all()
    layer = sky_margin(made.judge.study)
    assert np.nanmax(layer.values) < 0
    assert spot.arc.clear == ()


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_a_lower_ridge_leaves_its_true_margin(tmp_path, latitude, longitude):
    """A ridge of 2,500 m: 9.43 deg, so that a margin of 2.05 deg is left, not the 11.54 deg of a plain without it."""
    made, spot = planned(tmp_path, latitude, longitude, 2500.0)
    (look,) = spot.sky
    truth = look.elevation_deg - true_skyline_deg(2500.0)
    assert truth == pytest.approx(2.05, abs=0.05)
    assert look.margin_deg == pytest.approx(truth, abs=0.05)
    assert look.margin_deg <= truth + 0.0105  # never told too wide; the spot stands up to 10 m off the scene's middle
    assert look.state == "clear"
    assert math.isinf(look.known_to_m)
    row, col = spot.spot.cell
    layer = sky_margin(made.judge.study)
    x, y = made.scene.elevation.xy(row, col)
    assert layer.values[layer.cell(float(x), float(y))] == pytest.approx(look.margin_deg, abs=0.015)  # half a cell
    at = round(look.azimuth_deg) % 360
    assert spot.skyline.bare_deg[at] == pytest.approx(look.horizon_deg, abs=0.05)
    assert not (made.scene.ruling.values[row, col] & (BITS["sky_blocked"] | BITS["sky_unknown"]))


def test_the_open_sky_cone_counts_the_ridge_too(tmp_path):
    """A cone from 10 degrees up loses the ridge's sector, which stands 13.1 deg high in its middle."""
    cone = '[backhaul]\nwanted = ["open_sky"]\n[backhaul.open_sky]\nmin_elevation_deg = 10\nmin_clear_share = 0.9'
    _, spot = planned(tmp_path, 70.0, 27.0, 3099.0, tables=cone)
    dome = spot.backhauls[0].dome
    assert dome.worst is not None
    assert dome.worst.highest_deg == pytest.approx(true_skyline_deg(3099.0), abs=0.06)
    assert dome.worst.from_deg < 180 < dome.worst.to_deg


def test_a_ridge_outside_every_file_is_not_known_not_clear(tmp_path):
    """The file ends 5 km toward the ridge and holds as high a hill elsewhere: one may stand beyond its end."""
    made, spot = planned(tmp_path, 70.0, 27.0, 3099.0, reach_m=5000.0, peak_m=3099.0)
    (look,) = spot.sky
    assert (look.state, look.clear) == ("unknown", False)
    assert math.isnan(look.margin_deg)
    assert (look.ceiling_m, look.ceiling_from) == (3099.0, "elevation_files")
    assert look.known_to_m == pytest.approx(5000.0, abs=3 * CELL_M)
    assert made.best is None
    assert (made.scene.ruling.values[made.judge.study.search_ground] & BITS["sky_unknown"]).all()
    assert spot.arc.clear == ()
    assert spot.arc.unknown
    assert np.isnan(made.judge.study.elevation.values).sum() == 0


def test_the_mission_may_state_the_highest_ground_of_the_region(tmp_path):
    """A plain file that ends 5 km on: clear by its own heights, unknown with mountains stated for the region."""
    flat = {"reach_m": 5000.0, "ridge_top_m": PLAIN_M}
    made, spot = planned(tmp_path / "silent", 70.0, 27.0, **flat)
    (look,) = spot.sky
    assert look.state == "clear"
    assert (look.ceiling_m, look.ceiling_from) == (PLAIN_M, "elevation_files")
    made, spot = planned(tmp_path / "stated", 70.0, 27.0, layers="highest_ground_m = 3200", **flat)
    (look,) = spot.sky
    assert (look.state, look.ceiling_m, look.ceiling_from) == ("unknown", 3200.0, "mission")
    record = plan_record(made)["rejected"][0]["sky"][0]
    assert (record["state"], record["ceiling_m"], record["ceiling_from"]) == ("unknown", 3200.0, "mission")


def test_what_the_mission_states_is_not_below_what_the_files_hold(tmp_path):
    with pytest.raises(InputError, match=r"stated as 2000 m; the layers have 3099\.0 m \(dem\.tif\)") as caught:
        planned(tmp_path, 70.0, 27.0, 3099.0, layers="highest_ground_m = 2000")
    assert "layers.highest_ground_m" in str(caught.value)


def test_the_crew_reads_where_the_data_end_and_what_is_taken_beyond(tmp_path):
    """In the file a hill of 1,600 m; the line is above it 4.5 km on only where the mission's margin is small."""
    made, spot = planned(tmp_path, 70.0, 27.0, PLAIN_M, reach_m=5000.0, peak_m=1700.0, sky="min_margin_deg = 1.0")
    (look,) = spot.sky
    line = PLAIN_M + 2 + look.known_to_m * math.tan(math.radians(look.elevation_deg - 1))
    assert look.clear is (line > 1700)
    assert look.clear
    ranked = next(r for r in made.spots if r.spot.name == "middle")
    notes = " ".join(crew_content(made, ranked)["sky_known"])
    assert "meridian: clear if no ground beyond is higher than 1,700 m" in notes
    assert "the highest ground that the elevation files have" in notes


def test_the_scene_is_what_it_says():
    azimuth, elevation, _ = look_angles(70.0, 27.0, PLAIN_M, 27.0)
    assert float(azimuth) == pytest.approx(180.0, abs=1e-6)
    assert float(elevation) - true_skyline_deg(3099.0) == pytest.approx(-1.6, abs=0.05)
    assert RIDGE_M / CELL_M == 450
