"""A real extract read, routed and described. What the tests compare with is taken from the file by osmium alone."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import osmium
import pytest
from affine import Affine
from pyproj import CRS, Geod

from siteplanner.data.grid import Grid
from siteplanner.data.vectors import read_layer
from siteplanner.mission import Rig, Speeds
from siteplanner.planning.telling.directions import step_words
from siteplanner.roads.directions import directions
from siteplanner.roads.exits import OnRoad
from siteplanner.roads.network import build_network
from siteplanner.roads.routing import drive_tree, nearest_access, route_to
from tests.roads.drawn import STILL, UNSIGNED
from tests.roads.test_lifeline import compare
from tests.roads.test_turns import arc_graph, turn_seconds

UTM = CRS.from_epsg(32635)
FILE = Path(__file__).parent / "data" / "helsinki_roads.osm.pbf"
GEOD = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def layer():
    return read_layer(FILE, "roads", target_crs=UTM, kinds={"line"})


@pytest.fixture(scope="module")
def net(layer):
    return build_network(
        layer.frame,
        elevation=None,
        rig=Rig(height_m=2.5, width_m=2.2, length_m=9),
        speeds=Speeds(),
        restrictions=layer.restrictions,
    )


@pytest.fixture(scope="module")
def still(layer):
    """The same roads without the seconds of turns: the ways that were read against the map."""
    return build_network(
        layer.frame,
        elevation=None,
        rig=Rig(height_m=2.5, width_m=2.2, length_m=9),
        speeds=STILL,
        restrictions=layer.restrictions,
    )


def turning(net):
    """The seconds of turns by hand, each pair once; the count of roads at a node is taken from the lines once."""
    known = {}

    def seconds(a, b):
        if (a, b) not in known:
            known[a, b] = turn_seconds(net, a, b)
        return known[a, b]

    return seconds


@pytest.fixture(scope="module")
def grid(net):
    x0, _, _, y1 = net.geometry.bounds
    return Grid(np.zeros((200, 200)), Affine(10, 0, x0 - 100, 0, -10, y1 + 100), UTM)


@pytest.fixture(scope="module")
def raw():
    """(way -> node ids, node -> (lon, lat), restrictions as (value, from way, via node, to way))."""
    ways, nodes, signs = {}, {}, []
    for o in osmium.FileProcessor(str(FILE)):
        if o.is_node():
            nodes[o.id] = (o.lon, o.lat)
        elif o.is_way():
            ways[o.id] = [n.ref for n in o.nodes]
        else:
            m = {role: ref for _, ref, role in ((m.type, m.ref, m.role) for m in o.members)}
            signs.append((o.tags.get("restriction", ""), m.get("from"), m.get("via"), m.get("to")))
    return ways, nodes, signs


def routes(net, count=60):
    rng = np.random.default_rng(5)
    x0, y0, x1, y1 = net.geometry.bounds
    while count:
        tree = drive_tree(net, rng.uniform(x0, x1), rng.uniform(y0, y1))
        for _ in range(4 if tree.refused is None else 0):
            access = nearest_access(net, tree, rng.uniform(x0, x1), rng.uniform(y0, y1))
            route = route_to(net, tree, access)
            if len(route.segments) > 4:
                count = max(count - 1, 0)
                yield route


def test_lines_meet_at_shared_nodes_and_nowhere_else(layer, net, raw):
    ways, nodes, _ = raw
    use: dict[int, int] = {}
    kept = set(layer.frame["osm_way"])
    for way in kept & set(ways):
        refs = [r for r in ways[way] if r in nodes]
        for k, ref in enumerate(refs):
            use[ref] = use.get(ref, 0) + (1 if k in (0, len(refs) - 1) else 2)
    # a node of the graph with three or more ends is a node that several ways (or one twice) share, and the reverse
    ends = np.bincount(
        np.concatenate([net.geometry.seg_from, net.geometry.seg_to]),
        minlength=len(net.geometry.node_x),
    )
    junctions = sum(n >= 3 for n in use.values())
    assert junctions > 200
    assert int((ends >= 3).sum()) == pytest.approx(junctions, abs=12)  # bollards part some, areas are not read
    assert int((ends == 2).sum()) < sum(n == 2 for n in use.values()) / 2  # plain bends are no nodes


def through_and_anywhere(net):
    """The same roads for a rig that stops and passes anywhere: what is at stake is the way, not where it may end."""
    nothing = np.full(len(net), "", object)
    return replace(net, tags=replace(net.tags, no_stop=nothing, destination=np.zeros(len(net), bool)))


def test_arrivals_agree_with_networkx(layer):
    net = build_network(
        layer.frame,
        elevation=None,
        rig=Rig(height_m=2.5, width_m=2.2, length_m=9),
        speeds=Speeds(**UNSIGNED),
        restrictions=layer.restrictions,
    )
    net = through_and_anywhere(net)
    x0, y0, _, _ = net.geometry.bounds
    tree = drive_tree(net, x0 + 200, y0 + 500)
    theirs = arc_graph(net, tree, turning(net))
    reached = np.isfinite(theirs)
    assert reached.sum() > 800
    assert np.array_equal(np.isfinite(tree.node_s), reached)
    assert tree.node_s[reached] == pytest.approx(theirs[reached], abs=1e-6)


def test_no_route_breaks_a_sign_of_the_file(layer, net, raw):
    _, nodes, signs = raw
    way_of = layer.frame["osm_way"].to_numpy()
    tested = 0
    for route in routes(net):
        ways = [int(way_of[net.tags.source_row[s]]) for s in route.segments]
        for k, (a, b) in enumerate(pairwise(ways)):
            segment = route.segments[k]
            node = net.geometry.seg_to[segment] if route.directions[k] > 0 else net.geometry.seg_from[segment]
            place = net.geometry.node_x[node], net.geometry.node_y[node]
            for value, from_way, via, to_way in signs:
                if from_way != a or via not in nodes:
                    continue
                lon, lat = nodes[via]
                there = lonlat_to_utm(lon, lat)
                if np.hypot(there[0] - place[0], there[1] - place[1]) > 0.5:
                    continue
                tested += 1
                if value.startswith("no_"):
                    assert b != to_way
                elif value.startswith("only_"):
                    assert b == to_way
    assert tested > 10


def lonlat_to_utm(lon, lat):
    from pyproj import Transformer

    return Transformer.from_crs(4326, UTM, always_xy=True).transform(lon, lat)


def test_left_and_right_agree_with_bearings_on_the_ellipsoid(net, grid):
    """Each turn told is compared with the change of the geodesic bearing 25 m before and after it."""
    checked = 0
    for route in routes(net, 40):
        for step in directions(net, route, grid):
            if step.kind.split(" ")[0] != "turn" or step.kind == "turn back":
                continue
            before, here, after = (
                grid.lonlat(*route.line.interpolate(min(max(d, 0), route.distance_m)).coords[0])
                for d in (step.running_m - 25, step.running_m, step.running_m + 25)
            )
            into = GEOD.inv(*before, *here)[0]
            out = GEOD.inv(*here, *after)[0]
            turn = (out - into + 180) % 360 - 180
            if abs(turn) < 30 or abs(turn) > 150:  # too near to straight on or back for a word's sign to be sure
                continue
            checked += 1
            assert ("right" in step.kind) == (turn > 0), (step_words(step), turn)
            assert step.latitude == pytest.approx(here[1], abs=1e-6)
    assert checked > 100


def test_one_way_streets_are_kept(layer, net):
    oneway = layer.frame["oneway"].fillna("").to_numpy()
    for route in routes(net, 30):
        for segment, ahead in zip(route.segments.tolist(), route.directions.tolist(), strict=True):
            word = oneway[net.tags.source_row[segment]]
            assert not (word == "yes" and ahead < 0)
            assert not (word == "-1" and ahead > 0)


def test_what_places_hang_on_equals_removing_each_stretch_in_turn(net):
    rng = np.random.default_rng(3)
    x0, y0, x1, y1 = net.geometry.bounds
    tree = drive_tree(net, x0 + 200, y0 + 500)
    places = [nearest_access(net, tree, rng.uniform(x0, x1), rng.uniform(y0, y1)) for _ in range(2)]
    places = [OnRoad(a.segment, a.along_m) for a in places]
    # dead ends, where something hangs on one road
    ends = np.bincount(np.concatenate([net.geometry.seg_from, net.geometry.seg_to]))
    dead = np.flatnonzero((ends[net.geometry.seg_from] == 1) & tree.reached)[::9]
    places += [OnRoad(int(i), float(net.geometry.length_m[i]) / 3) for i in dead[:2]]
    assert len(net.exits) > 2
    for exits in ((OnRoad(tree.segment, tree.along_m),), net.exits):
        assert compare(net, exits, places) >= 1


READ = {1: ((0.6, 0.3), (0.3, 0.75)), 2: ((0.9, 0.1), (0.15, 0.9)), 3: ((0.5, 0.95), (0.45, 0.05))}


def test_directions_are_those_that_were_read_against_the_map(still, grid):
    """The table in data/README.md: each step there was read against a drawing of the extract. Angles are measured
    again here, on the ellipsoid, from the route's line alone."""
    net = still
    table: dict[int, dict[int, tuple[float, str, str, float]]] = {n: {} for n in READ}
    for line in (Path(__file__).parent / "data" / "README.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 7 and cells[0].isdigit():
            assert cells[6].startswith("right")
            table[int(cells[0])][int(cells[1])] = (float(cells[2]), cells[3], cells[4], float(cells[5]))
    net = through_and_anywhere(net)  # some of the ends read lie in tunnels, where no rig stops
    x0, y0, x1, y1 = net.geometry.bounds
    turns = 0
    for number, (start, end) in READ.items():
        tree = drive_tree(net, x0 + start[0] * (x1 - x0), y0 + start[1] * (y1 - y0))
        route = route_to(net, tree, nearest_access(net, tree, x0 + end[0] * (x1 - x0), y0 + end[1] * (y1 - y0)))
        steps = directions(net, route, grid)
        assert set(table[number]) == set(range(1, len(steps) - 1))
        for k, (at, kind, text, turn) in table[number].items():
            step = steps[k]
            assert (step.kind, step_words(step)) == (kind, text)
            assert step.running_m == pytest.approx(at, abs=0.6)
            before = min(25, (step.running_m - steps[k - 1].running_m) * 0.9)
            after = min(25, step.distance_m * 0.9)
            places = [grid.lonlat(*route.line.interpolate(step.running_m + d).coords[0]) for d in (-before, 0, after)]
            into, out = (GEOD.inv(*a, *b)[0] for a, b in pairwise(places))
            measured = (out - into + 180) % 360 - 180
            assert measured == pytest.approx(turn, abs=1.0)
            if kind.startswith("turn"):
                turns += 1
                assert ("right" in kind) == (measured > 0), text
            elif kind == "continue":
                assert ("bend to the right" in text) <= (measured > 25), text
                assert ("bend to the left" in text) <= (measured < -25), text
    assert turns >= 25
