"""Where the road data end along no box: each road that the border cut is an exit, or what hangs on it is not known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import CRS
from shapely.geometry import LineString, Polygon

from siteplanner.data.vectors import read_layer
from siteplanner.mission import Rig, Speeds
from siteplanner.planning.study.road_layers import edges_of
from siteplanner.planning.telling.findings import said
from siteplanner.roads.exits import OnRoad, exit_tree
from siteplanner.roads.lifeline import lifeline, thread
from siteplanner.roads.network import build_network
from siteplanner.roads.noding import REACH_M
from siteplanner.roads.routing import drive_tree, nearest_accesses
from tests.roads.drawn import EAST, NORTH, UTM, network, road

SIZE, STEP_M = 18, 120.0


def streets(seed):
    """A town on a grid, every fifth street a through road, a third of the others missing: (line, class)."""
    rng = np.random.default_rng(seed)
    at = np.stack(np.meshgrid(np.arange(SIZE) * STEP_M, np.arange(SIZE) * STEP_M, indexing="ij"), -1)
    at += rng.uniform(-25, 25, at.shape)
    out = []
    for i in range(SIZE):
        for j in range(SIZE):
            for k, (a, b) in enumerate(((i + 1, j), (i, j + 1))):
                through = (j, i)[k] % 5 == 2
                if a < SIZE and b < SIZE and (through or rng.random() > 0.35):
                    out.append((LineString([at[i, j], at[a, b]]), "secondary" if through else "residential"))
    return out


def county(seed):
    """An outline of fourteen corners."""
    rng = np.random.default_rng(seed)
    middle = SIZE * STEP_M / 2
    turn, far = np.sort(rng.uniform(0, 2 * np.pi, 14)), middle * rng.uniform(0.5, 0.97, 14)
    shape = Polygon(middle + np.column_stack([far * np.cos(turn), far * np.sin(turn)])).buffer(0)
    return max(shapely.get_parts(shape), key=shapely.area)


def clipped(seed, outline, **tags):
    rows = []
    for line, highway in streets(seed):
        for part in shapely.get_parts(shapely.intersection(line, outline)):
            if part.length > 1:
                rows.append(road(*part.coords, **tags) | {"highway": highway})
    return network(*rows)


def cut_at(net, outline):
    """The ends of segments on the outline, from the drawing alone; without those of two roads that were cut so near
    to each other that their ends are taken for one (noding.REACH_M)."""
    g = net.geometry
    rim = shapely.transform(outline, lambda xy: np.add(xy, (EAST, NORTH))).exterior
    ends = [OnRoad(i, m) for i in range(len(net)) for m in (0.0, float(g.length_m[i]))]
    at = {e: g.line[e.segment].interpolate(e.along_m) for e in ends}
    cut = [e for e in ends if shapely.distance(at[e], rim) < 0.01]
    return [e for e in cut if not any(o != e and at[o].distance(at[e]) <= REACH_M for o in cut)]


def compared(net, true):
    """Of 30 places: (those whose way out is told, those where it is not known), the told ones right."""
    rng = np.random.default_rng(1)
    west, south, east, north = net.geometry.bounds
    tree = drive_tree(net, (west + east) / 2, (south + north) / 2)
    while tree.refused is not None:
        tree = drive_tree(net, rng.uniform(west, east), rng.uniform(south, north))
    places = nearest_accesses(net, tree, rng.uniform(west, east, 30), rng.uniform(south, north, 30))
    right = exit_tree(net.geometry, net.judged.drivable, true)
    told = unknown = 0
    for access in (a for a in places if a is not None):
        found = lifeline(net, tree, access).outside
        if found is None:
            unknown += 1
            continue
        told += 1
        truth = thread(right, OnRoad(access.segment, access.along_m))
        assert found.ways == truth.ways
        assert found.length_m == pytest.approx(truth.length_m, abs=1e-6)
    return told, unknown


@pytest.mark.parametrize("seed", range(10))
def test_along_an_irregular_border_every_cut_road_may_be_an_exit_and_nothing_wrong_is_told(seed):
    outline = county(seed)
    net = clipped(seed, outline)
    true = cut_at(net, outline)
    assert len(true) > 15
    assert set(true) <= {*net.exits, *net.perhaps_exits}
    (told,) = [said(f) for f in net.findings if f.code == "road_border_irregular"]
    assert f"{len(net.perhaps_exits)} roads may go on beyond them or not" in told.message
    assert "layers.exits" in told.remedy
    assert compared(net, true)[1] > 10


def test_along_a_box_the_cut_roads_are_exits_and_nothing_is_unknown():
    outline = shapely.box(310, 250, 1730, 1810)
    net = clipped(3, outline)
    true = set(cut_at(net, outline))
    assert true <= set(net.exits)
    assert len(net.exits) <= len(true) + 1  # a dead end 30 m inside counts as cut (exits.EDGE_M)
    assert net.perhaps_exits == ()
    told, unknown = compared(net, net.exits)
    assert (told > 20, unknown) == (True, 0)


def test_one_dead_end_of_a_through_road_does_not_make_the_border_irregular():
    rows = [road((0, 500), (2000, 500)), road((1000, 0), (1000, 900), highway="secondary")]
    assert network(*rows).perhaps_exits == ()


def test_without_classes_dead_ends_at_the_rim_are_weighed_against_those_at_the_box():
    diamond = Polygon([(1000, 60), (1950, 1000), (1000, 1980), (100, 1000)])
    net = clipped(4, diamond, highway=None)
    plain = build_network(
        net_rows(4, diamond), elevation=None, rig=Rig(), speeds=Speeds()
    )  # without the column of classes
    assert set(cut_at(plain, diamond)) <= {*plain.exits, *plain.perhaps_exits}
    assert len(plain.perhaps_exits) > 10
    assert compared(plain, cut_at(plain, diamond))[1] > 10
    assert len(net) == len(plain)


def net_rows(seed, outline):
    import geopandas as gpd

    parts = [p for line, _ in streets(seed) for p in shapely.get_parts(shapely.intersection(line, outline))]
    lines = [shapely.transform(p, lambda xy: np.add(xy, (EAST, NORTH))) for p in parts if p.length > 1]
    return gpd.GeoDataFrame(geometry=lines, crs=UTM)


def extract(path: Path, lacking: set[int], stated: bool = True) -> Path:
    """A cross of two roads with nodes 1..9 from west to east and 11..19 from south to north, without some nodes."""
    at = {k: (24.9 + 0.002 * (k - 5), 60.2) for k in range(1, 10)}
    at |= {10 + k: (24.9, 60.2 + 0.001 * (k - 5)) for k in range(1, 10) if k != 5}
    nodes = "".join(f'<node id="{k}" lat="{y}" lon="{x}"/>' for k, (x, y) in at.items() if k not in lacking)
    ways = "".join(
        f'<way id="{way}">{"".join(f"""<nd ref="{n}"/>""" for n in refs)}<tag k="highway" v="residential"/></way>'
        for way, refs in ((1, range(1, 10)), (2, (11, 12, 13, 14, 5, 16, 17, 18, 19)))
    )
    box = '<bounds minlat="60.19" minlon="24.88" maxlat="60.21" maxlon="24.92"/>' if stated else ""
    path.write_text(f'<osm version="0.6">{box}{nodes}{ways}</osm>', encoding="utf-8")
    return path


def exits_in_degrees(path):
    layer = read_layer(path, "roads", target_crs=CRS.from_epsg(32635), kinds={"line"})
    net = build_network(layer.frame, elevation=None, rig=Rig(), speeds=Speeds(), edges=edges_of(layer, None))
    places = [net.geometry.line[s].interpolate(m) for s, m in (*net.exits, *net.perhaps_exits)]
    from pyproj import Transformer

    back = Transformer.from_crs(32635, 4326, always_xy=True)
    found = [tuple(round(v, 4) for v in back.transform(p.x, p.y)) for p in places]
    return set(found[: len(net.exits)]), set(found[len(net.exits) :])


def test_where_an_extract_lacks_the_next_point_of_a_road_it_leaves_the_data(tmp_path):
    """The ends of the east-west road lie well inside the stated box; only the missing points tell."""
    sure, perhaps = exits_in_degrees(extract(tmp_path / "a.osm", {1, 2, 9, 19}))
    assert sure == {(24.896, 60.2), (24.906, 60.2), (24.9, 60.203)}
    assert perhaps == set()


def test_a_road_that_ends_beyond_the_stated_box_goes_on_there(tmp_path):
    """An extract keeps roads whole: a place beyond the box has the road's end there as well as the box."""
    path = extract(tmp_path / "a.osm", set())
    text = path.read_text(encoding="utf-8").replace('maxlon="24.92"', 'maxlon="24.905"')
    path.write_text(text, encoding="utf-8")
    sure, _ = exits_in_degrees(path)
    assert (24.905, 60.2) in sure
    assert (24.908, 60.2) in sure


def test_a_road_that_comes_back_into_the_extract_may_leave_it_there(tmp_path):
    sure, perhaps = exits_in_degrees(extract(tmp_path / "a.osm", {3, 9}))
    assert sure == {(24.906, 60.2)}
    assert perhaps == {(24.894, 60.2), (24.898, 60.2)}
