"""A real interchange under elevated roads, railway and footbridges: where a rig may leave the road, what is over it.

The file is read again here, by osmium alone, and the levels are told from its tags (OpenStreetMap wiki, Key:layer).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import osmium
import pytest
import shapely
from pyproj import CRS, Transformer

from siteplanner.data.osm import WAY
from siteplanner.data.vectors import read_layer
from siteplanner.mission import Rig, Speeds
from siteplanner.roads.hazards_ahead import hazards_along
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree, nearest_accesses, route_to

FILE = Path(__file__).parent / "data" / "singapore_levels.osm.pbf"
UTM = CRS.from_epsg(32648)
ON_FOOT = ("footway", "path", "cycleway", "steps", "pedestrian", "bridleway")


@pytest.fixture(scope="module")
def raw():
    """(tags by way, points by way in metres)."""
    nodes, tags, points = {}, {}, {}
    move = Transformer.from_crs(4326, UTM, always_xy=True)
    for o in osmium.FileProcessor(str(FILE)):
        if o.is_node():
            nodes[o.id] = move.transform(o.lon, o.lat)
        elif o.is_way():
            tags[o.id] = {t.k: t.v for t in o.tags}
            points[o.id] = [nodes[n.ref] for n in o.nodes if n.ref in nodes]
    return tags, points


@pytest.fixture(scope="module")
def layer():
    return read_layer(FILE, "roads", target_crs=UTM, kinds={"line"})


@pytest.fixture(scope="module")
def net(layer):
    return build_network(layer.frame, elevation=None, rig=Rig(), speeds=Speeds(), restrictions=layer.restrictions)


def level(tags):
    return int(tags.get("layer") or (1 if tags.get("bridge", "no") != "no" else -1 if "tunnel" in tags else 0))


def starts(net, count):
    rng = np.random.default_rng(1)
    for _ in range(count):
        segment = net.usable[rng.integers(len(net.usable))]
        place = shapely.line_interpolate_point(net.geometry.line[segment], 0.4, normalized=True)
        tree = drive_tree(net, place.x + 3, place.y)
        if tree.refused is None:
            west, south, east, north = net.geometry.bounds
            yield tree, nearest_accesses(net, tree, rng.uniform(west, east, 20), rng.uniform(south, north, 20))


def test_nobody_leaves_the_road_in_a_tunnel_or_on_a_bridge(net, layer, raw):
    tags, _ = raw
    way = layer.frame[WAY].to_numpy()
    asked = 0
    for tree, found in starts(net, 15):
        for segment in [tree.segment, *(a.segment for a in found if a is not None)]:
            told = tags[int(way[net.tags.source_row[segment]])]
            assert told.get("tunnel", "no") == "no"
            assert told.get("bridge", "no") == "no"
            assert level(told) == 0
            assert not told["highway"].startswith("motorway")
            asked += 1
    assert asked > 250


def test_every_railway_and_footbridge_over_the_drive_is_told(net, layer, raw):
    tags, points = raw
    way = layer.frame[WAY].to_numpy()
    over = [
        w
        for w, t in tags.items()
        if t.get("bridge", "no") != "no"
        and (t.get("highway") in ON_FOOT or ("railway" in t and "highway" not in t))
        and len(points[w]) > 1
    ]
    lines = [shapely.LineString(points[w]) for w in over]
    told = 0
    for tree, found in starts(net, 15):
        for access in found[:6]:
            route = route_to(net, tree, access)
            if route.distance_m < 1:
                continue
            places = [h.running_m for h in hazards_along(net, route) if h.kind == "under bridge"]
            for w, line in zip(over, lines, strict=True):
                for x, y in shapely.get_coordinates(shapely.intersection(route.line, line)):
                    running = route.line.project(shapely.Point(x, y))
                    leg = min(max(int(np.searchsorted(route.running_m, running)) - 1, 0), len(route.segments) - 1)
                    below = tags[int(way[net.tags.source_row[route.segments[leg]]])]
                    if level(below) < level(tags[w]) and "tunnel" not in below:
                        assert min(abs(running - p) for p in places) < 3, (w, below)
                        told += 1
    assert told > 20
