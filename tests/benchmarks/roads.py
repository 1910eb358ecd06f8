"""How fast a county of roads is built and driven, as ratios taken side by side in one run.

    python -m tests.benchmarks.roads [SIDE]

Prints, for an invented town of SIDE x SIDE crossings (320: 204,000 segments of 150 m with 8 vertices each):
building the network per geometric twin (a plain union of the same lines by GEOS), one-to-all driving times
against networkx on the same graph, many access points against one, and the growth of the build from a quarter of
the town. Seconds are of the processor, so that other work on the machine counts less; trust the ratios.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import geopandas as gpd
import networkx as nx
import numpy as np
import shapely
from affine import Affine
from pyproj import CRS
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from siteplanner.data.grid import Grid
from siteplanner.mission import Rig, Speeds
from siteplanner.roads.directions import directions
from siteplanner.roads.exits import exit_tree
from siteplanner.roads.network import RoadNetwork, build_network
from siteplanner.roads.routing import drive_tree, nearest_accesses, route_to
from siteplanner.roads.search import arc_seconds

UTM = CRS.from_epsg(32610)
EAST, NORTH, BLOCK_M = 500_000.0, 5_000_000.0, 150.0


def town(side: int) -> gpd.GeoDataFrame:
    """Crooked streets between jittered crossings; every tenth is a main road."""
    rng = np.random.default_rng(1)
    xy = np.stack(np.meshgrid(np.arange(side) * BLOCK_M, np.arange(side) * BLOCK_M), -1)
    xy = xy + rng.normal(0, 20, xy.shape) + (EAST, NORTH)
    a = np.concatenate([xy[:, :-1].reshape(-1, 2), xy[:-1].reshape(-1, 2)])
    b = np.concatenate([xy[:, 1:].reshape(-1, 2), xy[1:].reshape(-1, 2)])
    t = np.linspace(0, 1, 8)[None, :, None]
    lines = a[:, None] + (b - a)[:, None] * t
    lines[:, 1:-1] += rng.normal(0, 3, lines[:, 1:-1].shape)
    highway = np.where(rng.random(len(lines)) < 0.1, "secondary", "residential")
    return gpd.GeoDataFrame({"highway": highway}, geometry=shapely.linestrings(lines), crs=UTM)


def hills(side: int) -> Grid:
    n = int(side * BLOCK_M / 30) + 20
    rng = np.random.default_rng(2)
    return Grid(
        rng.normal(500, 0.3, (n, n)).astype(np.float32), Affine(30, 0, EAST - 200, 0, -30, NORTH + (n - 10) * 30), UTM
    )


def once_s(job: Callable[[], object]) -> float:
    start = time.process_time()
    job()
    return time.process_time() - start


def best_s(job: Callable[[], object], repeats: int = 3) -> float:
    return min(once_s(job) for _ in range(repeats))


def build(frame: gpd.GeoDataFrame, grid: Grid) -> RoadNetwork:
    return build_network(frame, elevation=grid, rig=Rig(), speeds=Speeds())


def main() -> None:
    side = int(sys.argv[1]) if len(sys.argv) > 1 else 320
    frame, grid = town(side), hills(side)
    start = time.process_time()
    net = build(frame, grid)
    build_s = time.process_time() - start
    quarter = town(side // 2)
    quarter_s = once_s(lambda: build(quarter, grid))
    union_s = once_s(lambda: shapely.node(shapely.multilinestrings(list(frame.geometry))))
    print(
        f"{len(frame)} lines, {len(net)} segments, {len(net.geometry.node_x)} nodes, {len(net.profile.along_m)} samples"
    )
    print(f"build {build_s:.2f} s = {build_s / union_s:.2f} x GEOS noding of the same lines ({union_s:.2f} s)")
    print(f"build / build of a quarter: {build_s / quarter_s:.2f} (4 is in proportion)")

    middle = EAST + side * BLOCK_M / 2, NORTH + side * BLOCK_M / 2
    first_s = once_s(lambda: drive_tree(net, *middle))
    tree_s = best_s(lambda: drive_tree(net, *middle))
    turns = net.turns
    arc = np.repeat(np.arange(len(turns.arc)), np.diff(turns.first))
    weight = arc_seconds(net.times)[turns.arc][turns.follow] + turns.turn_s
    graph = nx.DiGraph()
    graph.add_weighted_edges_from(zip(arc.tolist(), turns.follow.tolist(), weight.tolist(), strict=True))
    tree = drive_tree(net, *middle)
    source = 2 * tree.segment
    their_s = best_s(lambda: nx.single_source_dijkstra_path_length(graph, source), 2)
    shape = (len(turns.arc), len(turns.arc))
    matrix = csr_matrix((weight, turns.follow.astype(np.int32), turns.first.astype(np.int32)), shape=shape)

    bare_s = best_s(lambda: dijkstra(matrix, indices=source, return_predecessors=True))
    print(
        f"drive tree {tree_s:.3f} s (first, with its arcs, {first_s:.3f} s); networkx / ours {their_s / tree_s:.1f}; "
        f"ours / bare search {tree_s / bare_s:.2f}"
    )
    theirs = nx.single_source_dijkstra_path_length(graph, source)
    ours = dijkstra(matrix, indices=source)
    print(f"largest difference of arrival {max(abs(ours[k] - v) for k, v in theirs.items()):.1e} s")

    rng = np.random.default_rng(3)
    x, y = middle[0] + rng.uniform(-9000, 9000, 2000), middle[1] + rng.uniform(-9000, 9000, 2000)
    nearest_accesses(net, tree, x[:1], y[:1])
    one_s = best_s(lambda: nearest_accesses(net, tree, x[:1], y[:1]))
    many_s = best_s(lambda: nearest_accesses(net, tree, x, y))
    access = nearest_accesses(net, tree, x, y)
    route_s = best_s(lambda: [route_to(net, tree, a) for a in access[:50] if a]) / 50
    routes = [route_to(net, tree, a) for a in access[:5] if a]
    steps_s = best_s(lambda: [directions(net, r, grid) for r in routes]) / len(routes)
    out_s = once_s(lambda: exit_tree(net.geometry, net.judged.drivable, net.exits))
    print(
        f"2000 access points / one: {many_s / one_s:.0f}; per tree: {many_s / tree_s:.2f}; "
        f"a route / tree {route_s / tree_s:.3f}; directions / tree {steps_s / tree_s:.3f}; ways out / tree "
        f"{out_s / tree_s:.1f}"
    )


if __name__ == "__main__":
    main()
