"""The stand on ground made by hand: how sure the slope is, what may be too steep, jacks too short, nose and mast."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from shapely.geometry import LineString

from siteplanner.core.resample import resample
from siteplanner.core.terrain import drawn_gradient_sd_per_m, footprint
from siteplanner.mission import Layers
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.spots.standing import (
    judge_ground,
    stand_breaks,
    standing_findings,
)
from siteplanner.planning.study.study import elevation_error_m
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.ground import (
    lift_doubt_words,
    lift_words,
    raise_first_words,
    slope_doubt_words,
    slope_with_doubt,
)
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.units import BOTH, METRIC, US
from siteplanner.planning.telling.words import drainage_words
from tests.planning.open_ground import spot_in, study_on


def slope(east=0.0, north=0.0, cell=10.0, size=41):
    rows, cols = np.indices((size, size))
    return 1000 + east * cols * cell - north * rows * cell


def stand(values, cell=10.0, access=None, looks=(), source=None, layers=None, **parts):
    study = study_on(values, cell, **parts)
    study.source_cell_m = source or cell
    if layers:
        study.mission = study.mission.model_copy(
            update={"layers": Layers(**{**study.mission.layers.model_dump(), **layers})}
        )
    middle = values.shape[0] // 2, values.shape[1] // 2
    return study, judge_ground(study, spot_in(study, *middle), middle, access, tuple(looks))


def look(azimuth, clear=True):
    return Look("sat", -111.0, azimuth, None, 38.0, 0.0, 5.0, 33.0, math.inf, "clear" if clear else "blocked")


def access_from(dx, dy):
    return SimpleNamespace(last_leg=LineString([(dx, dy), (0, 0)]))


def test_how_sure_the_slope_is_by_cell_and_error():
    # Horn: sqrt(12) / 8 sigma / cell; 0.8 m in cells of 10 m: 0.034641 -> 1.984 deg
    _, coarse = stand(slope(north=0.02))
    assert coarse.slope_uncertainty_deg == pytest.approx(1.984, abs=0.001)
    _, better = stand(slope(north=0.02), layers={"elevation_error_m": 0.2})
    assert math.tan(math.radians(better.slope_uncertainty_deg)) == pytest.approx(0.034641 / 4, abs=1e-6)
    # fine cells: least squares over the circle round the trailer, exact heights: the raster's error alone counts
    _, fine = stand(slope(north=0.02, cell=1.0), 1.0)
    assert fine.slope_uncertainty_deg < 0.5
    assert fine.slope_deg == pytest.approx(math.degrees(math.atan(0.02)), abs=1e-3)
    # a raster drawn finer than its source: cubic convolution between heights of 2 m, near sqrt(2) sigma / cell
    _, drawn = stand(slope(north=0.02, cell=1.0, size=461), 1.0, source=30.0)
    assert math.tan(math.radians(drawn.slope_uncertainty_deg)) == pytest.approx(
        2.0 * drawn_gradient_sd_per_m(30.0, 1.0), rel=1e-3
    )
    assert drawn_gradient_sd_per_m(30.0, 1.0) == pytest.approx(math.sqrt(2) / 30, rel=0.03)
    # where the ground around is not known, nor is what a wide cell hides: no figure at all
    _, alone = stand(slope(north=0.02, cell=1.0), 1.0, source=30.0)
    assert math.isnan(alone.slope_uncertainty_deg)
    assert math.isnan(alone.steep_chance)
    told = slope_with_doubt(alone, METRIC)
    assert told.endswith("doubt not known as the mean of cells of 30 m; not known at the trailer's size")
    assert slope_doubt_words(alone, METRIC) == ""


def test_default_error_follows_the_source():
    mission = study_on(slope()).mission
    assert [elevation_error_m(mission, cell) for cell in (1.0, 3.0, 10.0, 30.0)] == [0.1, 0.1, 0.8, 2.0]


def test_rough_ground_in_fine_cells_counts_as_error():
    rough = slope(cell=1.0) + np.random.default_rng(1).normal(0, 0.4, (41, 41))
    _, even = stand(slope(cell=1.0), 1.0)
    _, bumpy = stand(rough, 1.0)
    assert bumpy.slope_uncertainty_deg > 2.5 * even.slope_uncertainty_deg


def test_may_be_too_steep_says_the_chance():
    study, ground = stand(slope(north=math.tan(math.radians(4.0))))
    (finding,) = [f for f in standing_findings(study, ground) if f.code == "may_be_too_steep"]
    assert f"{round(100 * ground.steep_chance)} %" in said(finding).message
    assert 0.2 < ground.steep_chance < 0.5
    assert "Check with a level" in said(finding).remedy
    study, ground = stand(slope(north=math.tan(math.radians(2.0))))
    assert "may_be_too_steep" not in {f.code for f in standing_findings(study, ground)}
    assert stand_breaks(study, ground) == []


def test_jacks_at_the_outriggers_reach_over_a_wider_base():
    """4.84 m apart, not 2.4: the least lift over all headings is 4.84 x 0.08 = 0.387 m; a travel of 0.3 m is short."""
    study, ground = stand(slope(north=0.08), trailer={"jack_travel_m": 0.3})
    assert max(ground.jack_differences_m.values()) > 0.38
    assert ground.jack_differences_m == ground.outrigger_differences_m
    assert [(b.code, b.kind) for b in stand_breaks(study, ground)] == [("steep", "jack")]
    study, ground = stand(slope(north=0.08), trailer={"jack_travel_m": 0.3, "jacks_on_outriggers": False})
    assert stand_breaks(study, ground) == []
    assert max(ground.jack_differences_m.values()) <= 0.3 + 1e-6
    assert max(ground.outrigger_differences_m.values()) > 0.3
    # a lift that passes, but not with its doubt: told with the width that it is for
    study, ground = stand(slope(north=0.05), trailer={"jack_travel_m": 0.3})
    (finding,) = [f for f in standing_findings(study, ground) if f.code == "jacks_may_not_reach"]
    assert "jacks 4.8 m apart" in said(finding).message


def test_jacks_that_do_not_reach_break_the_limit():
    short = {"trailer": {"jack_travel_m": 0.1, "max_slope_deg": 5.0, "jacks_on_outriggers": False}}
    # 4 deg: least lift over all headings 2.4 tan 4 deg = 0.168 m
    study, ground = stand(slope(north=math.tan(math.radians(4.0))), **short)
    (breach,) = stand_breaks(study, ground)
    code, sentence = breach.code, breach_words(breach)
    assert code == "steep"
    assert "the jacks travel 0.10 m" in sentence
    study, ground = stand(slope(north=0.04), **short)  # 2.4 x 0.04 = 0.096 m, across the slope
    assert stand_breaks(study, ground) == []
    assert max(ground.jack_differences_m.values()) <= 0.1 + 1e-6
    study, ground = stand(slope(north=math.tan(math.radians(7.0))))
    assert "slopes 7.0°; the limit is 5.0°" in breach_words(stand_breaks(study, ground)[0])


def test_the_nose_points_out_and_says_so_when_it_does_not():
    _, ground = stand(slope(), access=access_from(50, 0))
    assert ground.nose_off_way_out_deg == pytest.approx(0, abs=1e-6)
    # the mast 2 m ahead must clear a satellite due east, where the way out is: no more than the mast needs
    study, ground = stand(slope(), access=access_from(50, 0), looks=[look(90.0)])
    assert ground.nose_off_way_out_deg == pytest.approx(math.degrees(math.asin(0.375)), abs=0.6)
    assert not ground.mast_in_beam
    assert "nose_in" not in {f.code for f in standing_findings(study, ground)}
    turned = replace(ground, nose_off_way_out_deg=140.0)
    (finding,) = [f for f in standing_findings(study, turned) if f.code == "nose_in"]
    assert "140°" in said(finding).message


def test_every_satellite_in_view_stays_free_where_it_can():
    looks = [look(90.0), look(200.0)]
    _, ground = stand(slope(), access=access_from(50, 0), looks=looks)
    assert 22 < ground.nose_off_way_out_deg < 23  # both stay free where a heading allows it
    _, ground = stand(slope(), access=access_from(50, 0), looks=looks, sky={"need": "all"})
    assert ground.nose_off_way_out_deg > 20
    _, ground = stand(slope(), access=access_from(50, 0), looks=[look(90.0, clear=False)])
    assert ground.nose_off_way_out_deg == pytest.approx(0, abs=1e-6)  # a satellite that is hidden is no reason


def test_one_satellite_will_do_where_no_heading_clears_all():
    ring = [look(az) for az in range(0, 360, 40)]  # each shades 44 deg of headings
    study, ground = stand(slope(), access=access_from(50, 0), looks=ring)
    assert not ground.mast_in_beam
    study, ground = stand(slope(), access=access_from(50, 0), looks=ring, sky={"need": "all"})
    assert ground.mast_in_beam
    assert "mast_in_beam" in {f.code for f in standing_findings(study, ground)}


def test_a_slope_that_leaves_no_other_heading_is_told():
    # falls 8 % to the east and the jacks allow the fall line only (roll limit by max slope): satellites both ways
    study, ground = stand(slope(east=-0.085), looks=[look(az) for az in range(0, 360, 10)], sky={"need": "all"})
    assert ground.mast_in_beam
    assert "mast_in_beam" in {f.code for f in standing_findings(study, ground)}


def test_the_lowest_corner_is_raised_first():
    sure = {"elevation_error_m": 0.05}
    _, ground = stand(slope(east=0.03, north=0.01), layers=sure)
    lifts = ground.jack_differences_m
    assert ground.raise_first == max(lifts, key=lifts.get)
    assert (
        raise_first_words(ground) == f"Raise the {ground.raise_first.replace('_', ' ')} corner first: it is the lowest."
    )
    wide = ground.outrigger_differences_m
    assert max(wide.values()) >= max(lifts.values())
    _, flat = stand(slope(), layers={"elevation_error_m": 0.0})
    assert (flat.raise_first, raise_first_words(flat)) == ("", "Which corner is lowest is not known: the level tells.")
    exact = replace(flat, lift_uncertainty_m=math.nan)
    assert raise_first_words(exact) == "Already level, to a centimeter."


def test_a_lift_smaller_than_its_own_doubt_is_no_lift():
    """A lift of 0.02 m beside a doubt of 0.27 m is the noise of the elevation; the figures stay in the plan."""
    _, ground = stand(slope(north=0.004))
    assert 0 < max(ground.jack_differences_m.values()) < 0.05
    assert ground.level_within_doubt
    for corner in ground.jack_differences_m:
        assert lift_words(ground, corner, METRIC) == "within ± 0.27 m"
    assert lift_doubt_words(ground, METRIC).startswith(
        "Level within what the elevation can tell (± 0.27 m): measure with a level"
    )
    assert raise_first_words(ground) == "Which corner is lowest is not known: the level tells."
    assert lift_words(ground, "front_left", BOTH) == "within ± 0.27 m (10.5 in)"
    assert lift_words(ground, "front_left", US) == "within ± 10.5 in"
    # and one that is larger is a lift, beside corners that are not
    _, steep = stand(slope(north=0.06), layers={"elevation_error_m": 0.2})
    told = [lift_words(steep, corner, METRIC) for corner in steep.jack_differences_m]
    assert any(words.startswith("within") for words in told)
    assert f"{max(steep.jack_differences_m.values()):.2f} m" in told
    assert lift_doubt_words(steep, METRIC).startswith("Lifts ± 0.07 m: check with a level")


def test_wide_cells_do_not_know_the_slope_at_the_size_of_a_trailer():
    """From 30 m cells on it is said, and the chance counts what a cell hides: on rough hills never 0 %."""
    rng = np.random.default_rng(11)
    hills = np.cumsum(np.cumsum(rng.normal(0, 1, (41, 41)), 0), 1)
    hills = 40 * (hills - hills.mean()) / hills.std()
    hills[19:22, 19:22] = hills[20, 20] + np.arange(3)[None, :] * 2.5  # 83 m cells that tell 1.7 deg
    study, ground = stand(hills, 83.0)
    assert ground.slope_deg == pytest.approx(math.degrees(math.atan(2.5 / 83)), abs=0.05)
    assert ground.slope_hidden_deg > 2
    assert ground.steep_chance > 0.1
    assert not ground.known_at_size
    worse = standing_findings(study, replace(ground, steep_chance=0.6))
    assert {f.code: f.severity for f in worse}["slope_not_known_at_size"] == "warning"
    (finding,) = [f for f in standing_findings(study, ground) if f.code == "slope_not_known_at_size"]
    message = said(finding).message
    assert message.startswith(
        "The slope is not known at the trailer's size: 1.7° is the mean of elevation cells of 83 m"
    )
    assert f"is {round(100 * ground.steep_chance)} %" in message
    assert "not known at the trailer's size" in slope_with_doubt(ground, METRIC)
    assert "not known at the trailer's size" in slope_doubt_words(ground, METRIC)
    study, fine = stand(slope(north=0.02), 10.0)
    assert fine.known_at_size
    assert "slope_not_known_at_size" not in {f.code for f in standing_findings(study, fine)}
    assert "trailer's size" not in slope_with_doubt(fine, METRIC)


@pytest.mark.parametrize(
    ("cell", "source", "error"),
    [(1.0, 1.0, 0.1), (10.0, 10.0, 0.8), (30.0, 30.0, 2.0), (5.0, 10.0, 0.8), (10.0, 30.0, 2.0)],
)
def test_nine_in_ten_of_told_slopes_hold_the_true_one(cell, source, error):
    """East and north gradient of a plane under independent errors of the source's cells, drawn by the tool's own
    resampling where its raster is finer: within 1.645 standard deviations in 85 to 95 of 100.
    """
    rng = np.random.default_rng(12)
    inside = []
    times = source / cell
    size = 45 if source == cell else int(45 * times)
    for _ in range(250):
        noise = rng.normal(0, error, (60, 60)).astype(np.float32)
        at = (np.arange(size) + rng.uniform()) / times + 5
        values = noise[:size, :size] if source == cell else resample(noise, *np.meshgrid(at, at, indexing="ij"))
        study = study_on(values.astype(float), cell)
        study.source_cell_m = source
        middle = size // 2, size // 2
        ground = judge_ground(study, spot_in(study, *middle), middle, None, ())
        trailer = study.mission.trailer
        plane = footprint(
            study.elevation.values, cell, *middle, trailer.length_m, trailer.width_m, trailer.outrigger_reach_m
        )
        doubt = math.tan(math.radians(ground.slope_uncertainty_deg))
        inside += [abs(part) <= 1.645 * doubt for part in (plane.east_gradient, plane.north_gradient)]
    assert 0.85 <= np.mean(inside) <= 0.95


def test_lifts_are_told_with_their_doubt():
    # 10 m cells, 0.8 m a cell: a gradient's part known to 0.034641 (above), over the diagonal of the jacks, which
    # stand at the outriggers: 6.0 x 4.84 m
    _, coarse = stand(slope(north=0.06))
    assert coarse.lift_uncertainty_m == pytest.approx(0.034641 * math.hypot(6.0, 4.8384), rel=1e-4)
    assert math.isnan(coarse.bumps_m)  # no cell that fine
    assert lift_doubt_words(coarse, METRIC) == (
        "Lifts ± 0.27 m: check with a level; bumps that the elevation does not show come on top."
    )
    # 1 m cells: the spread about the plane counts at both ends; one cell under the trailer stands 0.3 m out
    values = slope(north=0.02, cell=1.0)
    values[20, 21] += 0.3
    study, fine = stand(values, 1.0, layers={"elevation_error_m": 0.0})
    assert 0.25 < fine.bumps_m < 0.3  # the plane follows the bump a little
    plane = footprint(study.elevation.values, 1.0, 20, 20, 6.0, 2.4, study.mission.trailer.outrigger_reach_m)
    tilt = plane.noise_m * plane.gradient_sd_per_m * math.hypot(6.0, 4.8384)
    assert fine.lift_uncertainty_m == pytest.approx(math.sqrt(tilt**2 + 2 * plane.noise_m**2), rel=1e-3)
    assert lift_doubt_words(fine, METRIC).endswith(f"leaves the plane by up to {fine.bumps_m:.2f} m.")
    # drawn from wide source cells: smooth only because nobody looked
    _, drawn = stand(slope(north=0.02, cell=1.0), 1.0, source=30.0)
    assert math.isnan(drawn.bumps_m)
    assert lift_doubt_words(replace(drawn, lift_uncertainty_m=math.nan), METRIC) == ""


@pytest.mark.parametrize(("bump", "told"), [(0.0, False), (0.3, True)])
def test_a_bump_beyond_the_jacks_is_told_on_a_spot_that_passes(bump, told):
    # 5 % along the trailer lift 6.0 m x 0.05 = 0.3 m of the 0.45 m that the jacks travel
    values = slope(north=0.05, cell=1.0)
    values[20, 21] += bump
    study, ground = stand(values, 1.0, layers={"elevation_error_m": 0.02})
    assert stand_breaks(study, ground) == []
    found = [f for f in standing_findings(study, ground) if f.code == "jacks_may_not_reach"]
    assert bool(found) == told
    if told:
        assert (
            f"the ground leaves it by up to {ground.bumps_m:.2f} m; the jacks travel 0.45 m" in said(found[0]).message
        )


def test_words_for_water():
    _, ground = stand(slope())
    assert drainage_words(ground) == "not known"
    ground = replace(ground, above_drainage_m=4.25)
    assert drainage_words(ground).startswith("about 4.2 m above")
