"""Gates and limits that come as points of an ordinary road layer hold for the road that they were meant for."""

from __future__ import annotations

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
from shapely.geometry import LineString, MultiPoint, Point

from siteplanner.mission import Rig, Speeds
from siteplanner.roads.loose_points import REACH_M, points_onto_lines
from siteplanner.roads.network import build_network

CRS = 32612
LINE = LineString([(0, 0), (500, 0), (1000, 0)])


def table(*points, **columns):
    shapes = [LINE, *points]
    filled = {name: [None, *values] for name, values in columns.items()}
    return gpd.GeoDataFrame({"highway": ["track", *[None] * len(points)], **filled}, geometry=shapes, crs=CRS)


def goes_through(roads) -> bool:
    """Whether the rig gets from one end of the line to the other, by a graph library."""
    network = build_network(roads, rig=Rig(), speeds=Speeds(), elevation=None)
    g, graph = network.geometry, nx.Graph()
    graph.add_nodes_from(range(len(g.node_x)))
    graph.add_edges_from(zip(g.seg_from[network.judged.drivable], g.seg_to[network.judged.drivable], strict=True))
    ends = [int(np.argmin(np.hypot(g.node_x - x, g.node_y))) for x in (0, 1000)]
    return nx.has_path(graph, *ends)


def test_an_open_road_is_open():
    assert goes_through(table(Point(200, 0)))


@pytest.mark.parametrize("off_m", [0.0, 3.0, 4.9])
def test_a_bollard_beside_the_line_shuts_the_road(off_m):
    roads, findings = points_onto_lines(table(Point(400, off_m), barrier=["bollard"]), "roads.geojson")
    assert not findings
    assert not goes_through(roads)
    np.testing.assert_allclose(roads.geometry.iloc[1].coords[0], (400, 0))


def test_a_limit_at_a_point_counts_and_one_that_is_no_hindrance_does_not():
    for height, shut in (("2.5", True), ("6", False)):
        roads, _ = points_onto_lines(table(Point(400, 1), maxheight=[height]), "roads.geojson")
        assert goes_through(roads) != shut


def test_points_far_from_every_road_are_told_and_mere_labels_are_not():
    far, label = Point(400, REACH_M + 1), Point(200, 0)
    roads, findings = points_onto_lines(table(far, label, barrier=["gate", None]), "roads.geojson")
    assert [f.code for f in findings] == ["road_points_apart"]
    assert findings[0].facts["count"] == 1
    assert len(roads) == 1


def test_several_points_in_one_shape():
    roads, findings = points_onto_lines(table(MultiPoint([(100, 1), (700, 2)]), barrier=["bollard"]), "roads.geojson")
    assert not findings
    assert len(roads) == 3
