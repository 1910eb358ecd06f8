"""Room to turn on ground made for it: what is free, what is not, what cannot be told."""

from __future__ import annotations

import math

import numpy as np
import pytest
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, box

from siteplanner.planning.spots.room import Room, room_to_turn, turning_need_m
from siteplanner.planning.telling.room import radii_text, room_words
from siteplanner.planning.telling.units import METRIC, US
from tests.planning.open_ground import study_on


def ground(slope_pct=2.0, size=41, **parts):
    rows, cols = np.mgrid[0:size, 0:size]
    values = 1000 + slope_pct / 100 * 10 * cols + 0 * rows
    study = study_on(values, **parts)
    study.slope = np.full(values.shape, np.degrees(np.arctan(slope_pct / 100)), np.float32)
    return study


def middle(study):
    at = study.elevation.shape[0] // 2
    return tuple(float(v) for v in study.elevation.xy(at, at))


def state(study):
    return room_to_turn(study, *middle(study)).state


def sloped(study, mask, degrees):
    study.slope = study.slope.copy()
    study.slope[mask] = degrees
    return study


def test_level_ground_has_room_and_a_slope_has_none():
    assert state(ground()) == "yes"
    assert state(ground(20.0)) == "no"  # 11 degrees


def test_a_strip_must_be_wide_enough():
    """The circle has a radius of 10.06 + 1.25 m: on cells of 2 m a strip of 22 m is too narrow, one of 26 m is not."""
    for width, answer in ((22, "no"), (26, "yes")):
        study = ground(cell_size_m=2.0)
        cells = width // 2
        first = 20 - cells // 2
        beside = np.ones(study.slope.shape, bool)
        beside[:, first : first + cells] = False
        assert state(sloped(study, beside, 20)) == answer, width


def test_keep_outs_and_trees_take_the_room():
    study = ground()
    x, y = middle(study)
    fence = GeoDataFrame(
        geometry=[box(x - 100, y - 14, x + 100, y - 6), box(x - 100, y + 6, x + 100, y + 14)], crs=study.elevation.crs
    )
    study.overlay = lambda role: fence if role == "keep_out" else None
    room = room_to_turn(study, x, y)
    assert (room.state, room.free_radius_m, room.limited_by) == ("no", pytest.approx(6.0), "keep_out")
    trees = np.full((41, 41), 0.0)
    trees[::2, :] = 2000.0  # a hedge on every second row of cells
    room = room_to_turn(ground(obstacles=trees), *middle(study))
    assert (room.state, room.limited_by) == ("no", "obstacle")


@pytest.mark.parametrize(("above_m", "answer"), [(0.9, "yes"), (1.0, "no"), (2.0, "no")])
def test_brush_lower_than_a_tree_is_in_the_way_too(above_m, answer):
    study = ground(0.0)
    hedges = np.full((41, 41), 1000.0)
    hedges[::2, :] += above_m
    assert state(ground(0.0, obstacles=hedges)) == answer
    assert study.mission.site.tree_height_m == 3.0


def test_the_mission_may_say_what_counts_as_in_the_way():
    hedges = np.full((41, 41), 1000.0)
    hedges[::2, :] += 2.0
    assert state(ground(0.0, obstacles=hedges, site={"obstacle_height_m": 2.5})) == "yes"
    assert state(ground(0.0, obstacles=hedges, site={"obstacle_height_m": 2.5, "tree_height_m": 1.5})) == "no"


def test_fence_lines_and_posts_count_though_they_have_no_area():
    study = ground()
    x, y = middle(study)
    for shapes in (
        [LineString([(x - 300, y + d), (x + 300, y + d)]) for d in (-8, 8)],
        [Point(x + dx, y + dy) for dx in range(-40, 41, 8) for dy in range(-40, 41, 8)],
    ):
        fence = GeoDataFrame(geometry=shapes, crs=study.elevation.crs)
        study.overlay = lambda role, fence=fence: fence if role == "structures" else None
        assert room_to_turn(study, x, y).state == "no"


def test_wide_cells_show_no_room_but_may_show_that_there_is_none():
    room = room_to_turn(ground(cell_size_m=30.0), *middle(ground(cell_size_m=30.0)))
    assert (room.state, room.limited_by) == ("unknown", "coarse_cells")
    assert math.isnan(room.free_radius_m)
    assert state(ground(20.0, cell_size_m=30.0)) == "no"


def test_ground_that_is_not_known_is_neither_free_nor_shut():
    study = ground()
    rows, _ = np.mgrid[0:41, 0:41]
    study = sloped(study, np.abs(rows - 20) >= 1, np.nan)  # only one row of cells is known
    assert room_to_turn(study, *middle(study)).limited_by == "unknown_ground"
    assert state(study) == "unknown"
    x, y = middle(study)
    wall = GeoDataFrame(geometry=[LineString([(x - 300, y), (x + 300, y)])], crs=study.elevation.crs)
    study.overlay = lambda role: wall if role == "structures" else None
    assert state(study) == "no" or room_to_turn(study, x, y + 1).state == "unknown"
    # beside the raster's rim a circle fits on the inner side, and none beyond it
    study = ground()
    west, south, _, _ = study.elevation.bounds
    assert room_to_turn(study, west + 12, south + 200).state == "yes"
    assert room_to_turn(study, west - 12, south + 200).state == "unknown"


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.02, 0.4))
def test_the_circle_against_every_cell_and_the_words_against_the_state(seed, share):
    """Brute force: a state of yes has a centre whose every shut cell lies beyond the need; no has none on the rings."""
    study = ground(0.0, size=25)
    shut = np.random.default_rng(seed).random((25, 25)) < share
    study = sloped(study, shut, 30.0)
    x, y = middle(study)
    room = room_to_turn(study, x, y)
    need = turning_need_m(study.mission.rig)
    cells = [box(cx - 5, cy - 5, cx + 5, cy + 5) for cx, cy in zip(*study.elevation.xy(*np.nonzero(shut)), strict=True)]
    best = 0.0
    for step in range(5):
        for bearing in np.radians(np.arange(16) * 22.5):
            away = step / 4 * study.mission.rig.turning_radius_m
            centre = Point(x + away * math.sin(bearing), y + away * math.cos(bearing))
            free = min((centre.distance(cell) for cell in cells), default=math.inf)
            if away <= free:
                best = max(best, min(free, 2 * need))
    assert room.free_radius_m == pytest.approx(best, abs=1e-6)
    assert room.state == ("yes" if best >= need else "no")
    assert room_words(room).startswith("Room to turn" if room.state == "yes" else "No room to turn")


@given(st.floats(0, 22.62))
def test_printed_radii_never_contradict_the_answer(free):
    room = Room("yes" if free >= 11.31 else "no", free, 11.31, "", True)
    for units in (METRIC, US):
        has, needs = (float(text.split()[0]) for text in radii_text(room.free_radius_m, room.needed_m, units))
        assert has >= needs if room.state == "yes" else has <= needs
