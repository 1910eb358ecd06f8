"""The last leg against closed forms and a second graph library."""

import itertools

import networkx as nx
import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from siteplanner.data.grid import Grid
from siteplanner.planning.limits.ground_way import find_ground_way

CELL = 10.0


def test_straight_and_diagonal_distances_on_open_ground():
    road = np.zeros((30, 30), bool)
    road[15, 0] = True
    way = find_ground_way(road, np.ones((30, 30), bool), CELL, 250.0)
    assert way.distance_m[15, 7] == pytest.approx(70.0)
    assert way.distance_m[10, 5] == pytest.approx(5 * CELL * np.sqrt(2))
    assert np.isinf(way.distance_m[15, 29])  # 290 m is beyond the limit


def test_a_wall_is_walked_around_and_never_through_a_corner():
    road = np.zeros((9, 9), bool)
    road[4, 0] = True
    passable = np.ones((9, 9), bool)
    passable[:, 4] = False
    passable[0, 4] = True  # the one gap
    way = find_ground_way(road, passable, CELL, 1000.0)
    path = way.path_cells(4, 8)
    assert (0, 4) in path
    assert path[0] == (4, 0)
    assert path[-1] == (4, 8)
    for (r0, c0), (r1, c1) in itertools.pairwise(path):
        assert max(abs(r1 - r0), abs(c1 - c0)) == 1
        assert passable[r0, c1] or road[r0, c1]
        assert passable[r1, c0] or road[r1, c0]


def test_no_road_means_no_way():
    way = find_ground_way(np.zeros((5, 5), bool), np.ones((5, 5), bool), CELL, 100.0)
    assert np.isinf(way.distance_m).all()
    assert way.path_cells(2, 2) == []


def test_a_road_on_impassable_ground_is_still_a_start():
    road = np.zeros((5, 5), bool)
    road[2, 2] = True
    passable = np.zeros((5, 5), bool)
    passable[2, 3] = True
    way = find_ground_way(road, passable, CELL, 100.0)
    assert way.distance_m[2, 2] == 0
    assert way.distance_m[2, 3] == pytest.approx(10)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_distances_equal_a_second_graph_library(seed):
    rng = np.random.default_rng(seed)
    passable = rng.random((9, 11)) < 0.7
    road = np.zeros_like(passable)
    road[rng.integers(9), rng.integers(11)] = True
    way = find_ground_way(road, passable, CELL, 1e9)
    ok = passable | road
    graph = nx.Graph()
    for r, c in zip(*np.nonzero(ok), strict=True):
        graph.add_node((r, c))
        for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
            a, b = r + dr, c + dc
            if 0 <= a < 9 and 0 <= b < 11 and ok[a, b] and (not (dr and dc) or (ok[r, b] and ok[a, c])):
                graph.add_edge((r, c), (a, b), weight=CELL * np.hypot(dr, dc))
    source = tuple(np.argwhere(road)[0])
    expected = nx.single_source_dijkstra_path_length(graph, source, weight="weight")
    for cell in zip(*np.nonzero(ok), strict=True):
        assert way.distance_m[cell] == pytest.approx(expected.get(cell, np.inf), rel=1e-6)


def test_the_line_runs_from_the_road_point_to_the_cell():
    grid = Grid(np.zeros((9, 9), np.float32), Affine(10, 0, 500_000, 0, -10, 5_000_000), CRS.from_epsg(32612))
    road = np.zeros((9, 9), bool)
    road[4, 0] = True
    way = find_ground_way(road, np.ones((9, 9), bool), CELL, 1000.0)
    line = way.line(grid, 4, 5, 500_002.0, 4_999_957.0)
    assert line.coords[0] == (500_002.0, 4_999_957.0)
    assert line.coords[-1] == tuple(float(v) for v in grid.xy(4, 5))
