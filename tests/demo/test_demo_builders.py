"""The builders' parts on grounds small enough to check by hand."""

from __future__ import annotations

import os

import numpy as np
import pytest
from shapely.geometry import LineString, Point

from data_samples.making.county import PADS
from data_samples.making.dunmarrow_county import write_geojson
from data_samples.making.roadplan import PLANS, Road, _joined, _limited, _runs
from data_samples.making.routing import NoWayError, densified, find_path, grade_profile, rounded, sample
from data_samples.making.terrain import Frame, erode, fill_holes, fractal
from siteplanner.demo import sample_mission

FRAME = Frame(0.0, 0.0, 3000.0, 3000.0, 20.0)
NONE = np.zeros(FRAME.shape)


def length(points: np.ndarray) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def test_level_ground_gives_a_straight_road() -> None:
    path = find_path(NONE, NONE, FRAME, [(1500, 300), (1500, 2700)], 0.1)
    assert length(path) == pytest.approx(2400, rel=0.02)


def test_road_winds_up_a_hill_within_the_grade() -> None:
    x, y = FRAME.centres()
    z = -0.25 * np.hypot(x - 1500, y - 1500)
    path = find_path(z, NONE, FRAME, [(1500, 300), (1500, 1200)], 0.1, to_the_point=False)
    rise = np.abs(np.diff(sample(z, FRAME, path)))
    run = np.hypot(*np.diff(path, axis=0).T)
    assert (rise[1:] / run[1:]).max() <= 0.1 + 1e-6  # the first step starts off the cell's centre
    climbed = sample(z, FRAME, path[-1:])[0] - sample(z, FRAME, path[:1])[0]
    assert length(path) > climbed / 0.1 > 1.9 * 900


def test_wall_gives_no_way() -> None:
    z = np.where(FRAME.centres()[1] > 1500, 400.0, 0.0)
    with pytest.raises(NoWayError, match="within 10%"):
        find_path(z, NONE, FRAME, [(1500, 600), (1500, 2400)], 0.1)


def test_rounded_corner_keeps_ends_and_cuts_inside() -> None:
    corner = np.array([(0.0, 0.0), (100.0, 0.0), (100.0, 100.0)])
    out = rounded(corner)
    assert out[0].tolist() == [0, 0]
    assert out[-1].tolist() == [100, 100]
    assert np.hypot(*(out - corner[1]).T).min() > 15


def test_densified_steps_are_equal() -> None:
    out = densified(np.array([(0.0, 0.0), (30.0, 40.0), (30.0, 140.0)]), 5.0)
    assert len(out) == 31
    assert length(out) == pytest.approx(150.0, rel=1e-3)


def test_profile_keeps_grade_and_fixed_heights() -> None:
    rng = np.random.default_rng(2)
    wild = np.cumsum(rng.normal(0, 0.8, 400))
    fixed = np.zeros(400, dtype=bool)
    fixed[0] = True
    out = grade_profile(wild, 5.0, 0.1, fixed)
    assert np.abs(np.diff(out)).max() <= 0.5 * 1.03
    assert out[0] == wild[0]


def test_hollow_is_filled_to_its_spill() -> None:
    z = np.full((7, 7), 10.0)
    z[2:5, 2:5] = 4.0
    z[3, 5] = 8.0  # the rim's lowest place
    out = fill_holes(z, _border(z))
    assert out[2:5, 2:5].min() == pytest.approx(8.0, abs=2.1)  # beyond it lies the border at 10
    assert out[3, 3] >= 10.0
    assert (out >= z).all()


def _border(z: np.ndarray) -> np.ndarray:
    edge = np.zeros(z.shape, dtype=bool)
    edge[[0, -1]] = edge[:, [0, -1]] = True
    return edge


def test_erosion_lowers_to_the_outlet_and_keeps_it() -> None:
    rng = np.random.default_rng(4)
    z = 50 + rng.random((60, 60))
    base = np.zeros(z.shape, dtype=bool)
    base[-1] = True
    z[-1] = 0.0
    ones = np.ones_like(z)
    out = erode(z, base, 0 * ones, 2e-5 * ones, 1.0 * ones, 80.0, 2e4, 60, 0.01, 1)
    assert (out[-1] == 0).all()
    assert out.mean() < 0.5 * z.mean()
    assert out.min() >= 0


def test_uplift_and_slope_limit() -> None:
    z = np.zeros((40, 40))
    base = _border(z)
    ones = np.ones_like(z)
    out = erode(z, base, 5e-3 * ones, 1e-9 * ones, 0.5 * ones, 50.0, 1e4, 60, 0.0, 1)
    # with next to no erosion the limit alone holds the hill: half a metre a metre from the nearest edge
    assert out[20, 20] == pytest.approx(0.5 * 50 * 19.5, rel=0.1)


def test_noise_is_the_same_every_time_and_normed() -> None:
    a, b = (fractal((64, 80), 5, power=1.7, longest=40) for _ in range(2))
    assert np.array_equal(a, b)
    assert a.std() == pytest.approx(1)
    assert not np.array_equal(a, fractal((64, 80), 6, power=1.7, longest=40))


def test_stretches_are_cut_where_tags_change() -> None:
    cuts = _limited([(0, 20, {"highway": "track"})], ((25.0, 50.0, {"maxheight": "2.8"}),))
    assert [(a, b) for a, b, _ in cuts] == [(0, 5), (5, 10), (10, 20)]
    assert ["maxheight" in t for _, _, t in cuts] == [False, True, False]
    assert _runs(np.array([False, True, True, False, True])) == [(1, 2), (4, 4)]


def test_crossing_roads_get_a_common_point_but_a_bridge_does_not() -> None:
    east = np.column_stack([np.arange(0, 101, 5.0), np.full(21, 2.0), np.zeros(21)])
    north = np.column_stack([np.full(21, 52.0), np.arange(-50, 51, 5.0), np.zeros(21)])
    plain = _joined([Road("a", east, ((0, 20, {}),)), Road("b", north, ((0, 20, {}),))])
    shared = {tuple(p[:2]) for p in plain[0].points} & {tuple(p[:2]) for p in plain[1].points}
    assert shared == {(52.0, 2.0)}
    over = _joined([Road("a", east, ((0, 20, {}),)), Road("b", north, ((0, 20, {"layer": "1"}),))])
    assert not {tuple(p[:2]) for p in over[0].points} & {tuple(p[:2]) for p in over[1].points}


def test_geojson_bytes_repeat(tmp_path) -> None:
    features = [(Point(100.0, 200.0), {"name": "a"}), (LineString([(0, 0), (10, 10)]), {"v": None})]
    for name in ("one", "two"):
        write_geojson(tmp_path / name, features)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_plan_keys_are_unique_and_pads_on_the_county() -> None:
    keys = [p.key for p in PLANS]
    assert len(set(keys)) == len(keys)
    assert all(0 < x < 16_000 and 0 < y < 14_000 for x, y, *_ in PADS)


@pytest.mark.skipif("SITEPLANNER_REBUILD" not in os.environ, reason="takes a minute; set SITEPLANNER_REBUILD=1")
def test_building_the_county_anew_gives_the_same_files(tmp_path) -> None:
    from data_samples.making.dunmarrow_county import build

    build(tmp_path)
    committed = sample_mission("dunmarrow_county").parent
    for path in committed.iterdir():
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name
