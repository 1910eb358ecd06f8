"""Shortcuts of the network's building against slow twins that say the same thing the plain way."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from siteplanner.roads.lines import _repeats
from siteplanner.roads.noding import _KEY_M, _keys, _runs_one_way, _Vertices
from siteplanner.roads.strokes import _outward, find_strokes


def crooked(rng: np.random.Generator, count: int = 60) -> np.ndarray:
    """Random walks of 2 to 9 vertices; many cross themselves."""
    size = rng.integers(2, 10, count)
    walks = [rng.uniform(0, 300, 2) + np.cumsum(rng.normal(0, 12, (n, 2)), axis=0) for n in size]
    return np.array([shapely.LineString(w) for w in walks], object)


@pytest.mark.parametrize("seed", range(8))
def test_inserted_vertices_land_where_a_full_sort_puts_them(seed):
    rng = np.random.default_rng(seed)
    v = _Vertices(crooked(rng))
    line = rng.integers(0, 60, 40)
    along = rng.uniform(-3, 60, 40)
    on = rng.integers(0, len(v.x), 15)  # exactly on a vertex: the new one goes behind it
    line, along = np.append(line, v.line[on]), np.append(along, v.along[on])
    new = np.concatenate([np.zeros(len(v.x), bool), np.ones(len(line), bool)])
    twin = np.lexsort((new, np.append(v.along, along), np.append(v.line, line)))
    assert np.array_equal(v._merged(line, along), twin)


@pytest.mark.parametrize("far", [0.0, 5e15])
def test_keys_number_the_places_in_order(far):
    rng = np.random.default_rng(3)
    x, y = (rng.integers(-40, 40, 4000) * _KEY_M * rng.choice([1, 1000], 4000) for _ in range(2))
    x[-1] += far * _KEY_M  # too wide for one number: sorted by both
    rounded = np.column_stack([np.round(x / _KEY_M), np.round(y / _KEY_M)]).astype(np.int64)
    twin = np.unique(rounded, axis=0, return_inverse=True)[1].ravel()
    assert np.array_equal(_keys(x, y), twin)
    assert len(_keys(x[:0], y[:0])) == 0


def test_a_line_that_runs_one_way_never_meets_itself():
    lines = crooked(np.random.default_rng(4), 2000)
    one_way, simple = _runs_one_way(lines), shapely.is_simple(lines)
    assert simple[one_way].all()
    assert 100 < one_way.sum() < simple.sum() < len(lines)


def test_repeated_vertices_are_found_where_removing_them_changes_the_line():
    rng = np.random.default_rng(5)
    lines = crooked(rng, 200)
    for k in range(0, 200, 3):
        xy = shapely.get_coordinates(lines[k])
        lines[k] = shapely.LineString(np.insert(xy, 1, xy[0] + rng.uniform(0, 0.0015, 2), axis=0))
    changed = shapely.get_num_coordinates(shapely.remove_repeated_points(lines, 1e-3)) < (
        shapely.get_num_coordinates(lines)
    )
    assert np.array_equal(_repeats(lines), changed)
    assert 10 < changed.sum() < 66


def test_directions_at_the_ends_are_those_that_geos_measures():
    lines = crooked(np.random.default_rng(6), 300)
    length = shapely.length(lines)
    reach = np.minimum(10.0, length)
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    ours = _outward(xy, np.flatnonzero(np.diff(owner, prepend=-1)))
    for end, at, ahead in ((0, 0.0, reach), (1, length, length - reach)):
        d = shapely.get_coordinates(shapely.line_interpolate_point(lines, ahead)) - shapely.get_coordinates(
            shapely.line_interpolate_point(lines, at)
        )
        assert ours[end::2] == pytest.approx(d / np.hypot(*d.T)[:, None], abs=1e-6)


def test_strokes_lay_the_segments_end_to_end():
    lines = crooked(np.random.default_rng(7), 40)
    node = np.random.default_rng(8).integers(0, 25, 80)
    strokes = find_strokes(lines, node[:40], node[40:])
    assert 0 < strokes.reverse.sum() < 40
    for k, (i, back) in enumerate(zip(strokes.order, strokes.reverse, strict=True)):
        xy = shapely.get_coordinates(lines[i])
        mine = strokes.vertex_place == k
        assert np.array_equal(
            np.column_stack([strokes.vertex_x[mine], strokes.vertex_y[mine]]), xy[::-1] if back else xy
        )
        assert strokes.length_m[k] == pytest.approx(lines[i].length, abs=1e-9)
