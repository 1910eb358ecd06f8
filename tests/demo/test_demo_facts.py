"""What the sample county promises, read from its files with nothing of the planner: own sight lines, own graph."""

from __future__ import annotations

import json
import math
from itertools import combinations
from pathlib import Path

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
import rasterio
from pyproj import Proj, Transformer
from scipy import ndimage
from shapely.geometry import Point

from siteplanner.demo import sample_mission
from siteplanner.mission import Mission, load_mission

FOLDER = Path(__file__).parents[2] / "data_samples" / "dunmarrow_county"
UTM = "EPSG:32612"
CHAPEL_BENCH = (338_720.0, 4_945_230.0)  # metres; README gives it in degrees
# effective earth radius for sight lines of radio, k = 4/3: ITU-R P.310
EARTH_M = 4 / 3 * 6_371_000.0


@pytest.fixture(scope="module")
def mission() -> Mission:
    return load_mission(FOLDER / "mission.toml")


@pytest.fixture(scope="module")
def ground() -> tuple[np.ndarray, rasterio.Affine]:
    with rasterio.open(FOLDER / "elevation.tif") as source:
        return source.read(1).astype(float), source.transform


@pytest.fixture(scope="module")
def trees_top() -> np.ndarray:
    with rasterio.open(FOLDER / "surface.tif") as source:
        return source.read(1).astype(float)


def layer(name: str) -> gpd.GeoDataFrame:
    return gpd.read_file(FOLDER / f"{name}.geojson").to_crs(UTM)


@pytest.fixture(scope="module")
def spots() -> dict[str, tuple[float, float]]:
    frame = layer("spots")
    named = {n: (p.x, p.y) for n, p in zip(frame["name"], frame.geometry, strict=True)}
    return {**named, "Chapel Bench": CHAPEL_BENCH}


def cell(transform, x, y):
    return ((np.asarray(y) - transform.f) / transform.e - 0.5, (np.asarray(x) - transform.c) / transform.a - 0.5)


def heights(values, transform, x, y):
    return ndimage.map_coordinates(values, cell(transform, x, y), order=1, mode="nearest")


def slope_deg(values, transform, x, y):
    """Central differences over 20 m."""
    gx = (heights(values, transform, x + 10, y) - heights(values, transform, x - 10, y)) / 20
    gy = (heights(values, transform, x, y + 10) - heights(values, transform, x, y - 10)) / 20
    return np.degrees(np.arctan(np.hypot(gx, gy))).item()


def sees(ground, top, spot, targets, mission):
    """Which targets (n, 2) a mast sees over ground and trees within the cell's radius; ray samples every 10 m."""
    z, transform = ground
    x0, y0 = spot
    eye = float(heights(z, transform, np.array([x0]), np.array([y0]))[0]) + mission.trailer.mast_stops_m[-1]
    out = np.zeros(len(targets), dtype=bool)
    for k, (x, y) in enumerate(targets):
        far = math.hypot(x - x0, y - y0)
        t = np.arange(1, int(far / 10)) / max(int(far / 10), 1)
        line = heights(top, transform, x0 + t * (x - x0), y0 + t * (y - y0)) + far**2 * t * (1 - t) / (2 * EARTH_M)
        goal = float(heights(z, transform, np.array([x]), np.array([y]))[0]) + mission.radio.handset_height_m
        out[k] = far <= mission.radio.max_radius_m and not (line > eye + t * (goal - eye)).any()
    return out


def view(ground, top, spot, area, mission):
    """Share of the weight in the incident area that a mast on the spot sees."""
    rng = np.random.default_rng(7)
    seen = total = 0.0
    for polygon, weight in zip(area.geometry, area["weight"], strict=True):
        west, south, east, north = polygon.bounds
        points = rng.uniform((west, south), (east, north), (2000, 2))
        inside = points[[polygon.contains(Point(p)) for p in points]][:250]
        # equal samples a polygon: each stands for its share of the area
        each = polygon.area * weight / len(inside)
        seen += each * sees(ground, top, spot, inside, mission).sum()
        total += each * len(inside)
    return seen / total


@pytest.fixture(scope="module")
def views(ground, trees_top, spots, mission):
    area = layer("incident_area")
    return {name: view(ground, trees_top, spot, area, mission) for name, spot in spots.items()}


def look_deg(satellite_longitude_deg, longitude_deg, latitude_deg):
    """Azimuth and elevation toward a geostationary satellite on a spherical earth (0.15127 = 6378 / 42164)."""
    d, lat = math.radians(satellite_longitude_deg - longitude_deg), math.radians(latitude_deg)
    azimuth = math.degrees(math.atan2(math.sin(d), -math.cos(d) * math.sin(lat))) % 360
    cosine = math.cos(lat) * math.cos(d)
    return azimuth, math.degrees(math.atan((cosine - 0.15127) / math.sqrt(1 - cosine**2)))


def sky_margins(values, transform, spot, mission):
    """Satellite elevation minus terrain horizon for each satellite of the mission; dish at its height."""
    lon, lat = Transformer.from_crs(UTM, 4326, always_xy=True).transform(*spot)
    convergence = Proj(UTM).get_factors(lon, lat).meridian_convergence
    d = np.arange(10.0, 8000.0, 10.0)
    base = float(heights(values, transform, np.array([spot[0]]), np.array([spot[1]]))[0])
    out = []
    for satellite in mission.sky.satellites:
        azimuth, elevation = look_deg(satellite.longitude_deg, lon, lat)
        bearing = math.radians(azimuth - convergence)
        rise = heights(values, transform, spot[0] + d * math.sin(bearing), spot[1] + d * math.cos(bearing)) - base
        horizon = np.degrees(np.arctan2(rise - mission.trailer.dish_height_m - d**2 / (2 * EARTH_M), d)).max()
        out.append(elevation - horizon)
    return out


# --- the files -------------------------------------------------------------------------------------------------


def test_raster_format() -> None:
    for name in ("elevation.tif", "surface.tif"):
        with rasterio.open(FOLDER / name) as source:
            assert source.shape == (1400, 1600)
            assert source.res == (10.0, 10.0)
            assert source.crs.to_epsg() == 32612
            assert source.units == ("m",)
            assert source.nodata == -9999
            assert source.dtypes == ("float32",)
            assert source.profile["tiled"]
            assert source.profile["compress"] == "deflate"
            values = source.read(1)
        assert np.array_equal(values * 8, np.round(values * 8))  # eighths of a metre
        assert values.min() > 1400


def test_whole_sample_is_small() -> None:
    assert sum(p.stat().st_size for p in FOLDER.iterdir()) < 5_000_000


def test_trees_stand_on_the_ground(ground, trees_top) -> None:
    trees = trees_top - ground[0]
    assert trees.min() >= 0
    assert trees.max() <= 24
    assert 0.1 < (trees > 2).mean() < 0.5


def test_relief_of_a_mountain_county(ground) -> None:
    z, _ = ground
    slope = np.degrees(np.arctan(np.hypot(*np.gradient(z, 10.0))))
    assert z.max() - z.min() > 1200
    assert 0.05 < (slope < 5).mean() < 0.2
    assert 0.1 < (slope > 35).mean() < 0.35


def test_no_hole_without_outlet_is_deep(ground) -> None:
    """Fill hollows on every fifth cell (minimum filter by reconstruction): road banks may dam, nothing else."""
    z = ground[0][::5, ::5]
    level = np.full_like(z, z.max())
    level[0], level[-1], level[:, 0], level[:, -1] = z[0], z[-1], z[:, 0], z[:, -1]
    while True:
        lower = np.maximum(z, ndimage.minimum_filter(level, 3))
        if np.array_equal(lower, level):
            break
        level = lower
    # five-cell steps jump over narrow outlets: allow those, count wide hollows
    assert (level - z > 12).mean() < 0.01


def test_mission_is_complete(mission) -> None:
    assert "invented" in mission.name
    for path in (*mission.layers.elevation, *mission.layers.surface, *mission.layers.spots):
        assert mission.path(path).is_file()
    assert "No such county exists" in (FOLDER / "README.md").read_text(encoding="utf-8")
    assert sample_mission("dunmarrow_county").parent == FOLDER


def test_area_and_places() -> None:
    area = layer("incident_area")
    assert 12 < area.area.sum() / 1e6 < 18
    assert area["weight"].tolist() == [3.0, 1.0]
    assert area.is_valid.all()
    everywhere = area.union_all()
    flood = layer("hazards").union_all()
    places = layer("must_serve")
    assert len(places) == 5
    for place in places.geometry:
        assert everywhere.contains(place)
        assert not flood.contains(place)


def test_structures_and_wet_ground_leave_roads_and_named_spots_alone(road_lines, spots, ground) -> None:
    """So that the five good-looking spots still lose for their own reasons, and nothing stands on a road."""
    structures, water, soft = layer("structures"), layer("water"), layer("soft_ground")
    roads = gpd.read_file(FOLDER / "roads.geojson").to_crs(UTM).geometry.union_all()
    buildings = structures[structures.geom_type == "Polygon"]
    assert len(buildings) >= 10
    assert buildings.distance(roads).min() >= 8
    assert set(structures.geom_type) == {"Polygon", "LineString", "Point"}
    assert soft.distance(roads).min() > 15
    for name, place in spots.items():
        near = min(frame.distance(Point(place)).min() for frame in (structures, water, soft))
        assert near > 30, name
    # the water lies where the ground says: along each course the ground is the lowest within 60 m, but for 3 m
    z, transform = ground
    lowest = ndimage.minimum_filter(z, 13)
    for course in layer("water").geometry:
        line = course.exterior if course.geom_type == "Polygon" else course
        x, y = np.array([line.interpolate(d).coords[0] for d in np.arange(50, line.length, 200)]).T
        row, col = (np.round(v).astype(int) for v in cell(transform, x, y))
        inside = (row >= 0) & (row < z.shape[0]) & (col >= 0) & (col < z.shape[1])
        row, col = row[inside], col[inside]
        assert np.median(z[row, col] - lowest[row, col]) < 6


# --- the roads -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def road_lines() -> list[tuple[dict, list[tuple[float, float]]]]:
    data = json.loads((FOLDER / "roads.geojson").read_text(encoding="utf-8"))
    return [(f["properties"], [tuple(p) for p in f["geometry"]["coordinates"]]) for f in data["features"]]


def road_graph(lines, mission=None) -> nx.Graph:
    """Undirected; points in degrees are nodes, so that lines join only where they share one."""
    to = Transformer.from_crs(4326, UTM, always_xy=True)
    graph = nx.Graph()
    for tags, points in lines:
        if mission is not None and (
            float(tags.get("maxheight", 99)) < mission.rig.height_m
            or float(tags.get("maxweight", 99)) < mission.rig.mass_kg / 1000
        ):
            continue
        xy = np.column_stack(to.transform(*np.array(points).T))
        for a, b, p, q in zip(points[:-1], points[1:], xy[:-1], xy[1:], strict=True):
            graph.add_edge(a, b, length=float(np.hypot(*(q - p))))
    return graph


def node_near(graph, x, y):
    lon, lat = Transformer.from_crs(UTM, 4326, always_xy=True).transform(x, y)
    return min(graph, key=lambda p: math.hypot((p[0] - lon) * 79_000, (p[1] - lat) * 111_000))


def steepest(ground, lines, name, over_m=50.0):
    z, transform = ground
    to = Transformer.from_crs(4326, UTM, always_xy=True)
    worst = 0.0
    for tags, points in lines:
        if tags.get("name") != name or "bridge" in tags:
            continue
        xy = np.column_stack(to.transform(*np.array(points).T))
        run = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        s = np.arange(0, run[-1], 5.0)
        h = heights(z, transform, np.interp(s, run, xy[:, 0]), np.interp(s, run, xy[:, 1]))
        step = int(over_m / 5)
        if len(s) > step:
            worst = max(worst, float(np.abs(h[step:] - h[:-step]).max() / over_m * 100))
    return worst


def test_kinds_of_road_are_there(road_lines) -> None:
    tags = [t for t, _ in road_lines]
    assert {"primary", "secondary", "tertiary", "unclassified", "residential", "service", "track"} <= {
        t["highway"] for t in tags
    }
    assert sum(t.get("maxheight") == "2.8" for t in tags) == 2
    assert [t["name"] for t in tags if "maxweight" in t] == ["Cable Bridge"]
    assert sum("ford" in t for t in tags) == 1
    assert {t["name"] for t in tags if t.get("oneway") == "yes"} == {"Mill Street", "Chapel Street"}
    assert any(t.get("tracktype") == "grade4" for t in tags)


def test_oneway_pair_runs_both_ways(road_lines) -> None:
    ends = {t["name"]: (p[0][1], p[-1][1]) for t, p in road_lines if t.get("oneway") == "yes"}
    assert ends["Mill Street"][0] > ends["Mill Street"][1]  # southward
    assert ends["Chapel Street"][0] < ends["Chapel Street"][1]  # northward


def test_staging_is_far_and_on_a_road(road_lines, mission) -> None:
    graph = road_graph(road_lines, mission)
    x, y = Transformer.from_crs(4326, UTM, always_xy=True).transform(
        mission.staging[0].longitude, mission.staging[0].latitude
    )
    start = node_near(graph, x, y)
    lengths = nx.single_source_dijkstra_path_length(graph, start, weight="length")
    assert lengths[node_near(graph, *CHAPEL_BENCH)] > 10_000
    command = layer("must_serve").set_index("name").geometry["Incident command post"]
    assert lengths[node_near(graph, command.x, command.y)] > 10_000


def test_two_parts_of_the_network(road_lines) -> None:
    parts = sorted(nx.connected_components(road_graph(road_lines)), key=len)
    assert len(parts) == 2  # one lost track in the south
    lost = next(t for t, p in road_lines if p[0] in parts[0])
    assert lost["highway"] == "track"


def test_crossings_without_a_common_point_are_the_overpass(road_lines) -> None:
    frame = layer("roads")
    apart = []
    for a, b in combinations(range(len(frame)), 2):
        if frame.geometry[a].intersects(frame.geometry[b]) and not set(road_lines[a][1]) & set(road_lines[b][1]):
            apart.append({frame["name"][a], frame["name"][b]})
    assert apart == [{"Marrow Highway", "Haul Road"}]
    bridge = next(t for t, _ in road_lines if t.get("name") == "Haul Road" and "bridge" in t)
    assert bridge["layer"] == "1"


def test_main_roads_keep_a_grade_that_a_rig_climbs(ground, road_lines, mission) -> None:
    for name in (
        "Marrow Highway",
        "Sable Creek Road",
        "Linnet Road",
        "South Side Road",
        "Orchard Bench Road",
        "Chapel Bench Road",
        "Line Knoll Road",
        "South Bench Road",
        "Gannet Ridge Track",
    ):
        assert steepest(ground, road_lines, name) < mission.rig.max_grade_pct, name


# --- who wins and who loses ---------------------------------------------------------------------------------------


def test_chapel_bench_is_open_level_and_reached(ground, trees_top, road_lines, mission) -> None:
    z, transform = ground
    x, y = np.array([CHAPEL_BENCH[0]]), np.array([CHAPEL_BENCH[1]])
    assert slope_deg(z, transform, x, y) < 3
    assert heights(trees_top - z, transform, x, y)[0] < 0.5
    assert min(sky_margins(trees_top, transform, CHAPEL_BENCH, mission)) > 20
    roads = layer("roads")
    assert roads.distance(Point(CHAPEL_BENCH)).min() < mission.rig.last_leg_max_m
    graph = road_graph(road_lines, mission)
    xy = Transformer.from_crs(4326, UTM, always_xy=True).transform(
        mission.staging[0].longitude, mission.staging[0].latitude
    )
    assert nx.has_path(graph, node_near(graph, *xy), node_near(graph, *CHAPEL_BENCH))


def test_chapel_bench_sees_most_of_the_area(views) -> None:
    assert views["Chapel Bench"] > 0.6
    assert views["Chapel Bench"] > views["Mount Averil lookout"] - 0.02
    assert views["Chapel Bench"] > 2 * views["Marrowford school field"]


def test_highest_ground_has_a_road_too_steep(ground, road_lines, spots, mission) -> None:
    z, transform = ground
    x, y = spots["Mount Averil lookout"]
    assert z.max() - heights(z, transform, np.array([x]), np.array([y]))[0] < 5
    assert steepest(ground, road_lines, "Averil Lookout Road") > 1.5 * mission.rig.max_grade_pct
    # and no other road comes near
    others = layer("roads").query("name != 'Averil Lookout Road'")
    assert others.distance(Point(x, y)).min() > 500


def test_south_bench_sees_as_much_but_both_ways_in_are_closed(views, spots, road_lines, mission) -> None:
    assert views["South Bench corral"] > 0.6
    xy = Transformer.from_crs(4326, UTM, always_xy=True).transform(
        mission.staging[0].longitude, mission.staging[0].latitude
    )
    free, rig = road_graph(road_lines), road_graph(road_lines, mission)
    goal = node_near(free, *spots["South Bench corral"])
    assert nx.has_path(free, node_near(free, *xy), goal)
    assert not nx.has_path(rig, node_near(rig, *xy), node_near(rig, *spots["South Bench corral"]))


def test_sable_meadow_is_flat_by_the_road_and_blind(ground, spots, mission) -> None:
    z, transform = ground
    spot = spots["Sable Meadow"]
    assert slope_deg(z, transform, np.array([spot[0]]), np.array([spot[1]])) < 3
    assert layer("roads").query("highway == 'secondary'").distance(Point(spot)).min() < 60
    # bare ground alone blocks every satellite of the mission
    assert max(sky_margins(z, transform, spot, mission)) < -4


def test_line_knoll_sees_far_but_stands_under_the_line(ground, views, spots, mission) -> None:
    # 29 CFR 1926.1408 Table A: over 200 to 350 kV, 20 ft; plus the fall of the raised mast
    need = 20 * 0.3048 + mission.power_lines.mast_fall_factor * mission.trailer.mast_stops_m[-1]
    lines = layer("power_lines")
    assert lines["voltage_kv"].iloc[0] == 230
    assert np.isnan(lines["voltage_kv"].iloc[1])
    assert lines.distance(Point(spots["Line Knoll"])).min() < need / 2
    z, transform = ground
    assert slope_deg(z, transform, np.array([spots["Line Knoll"][0]]), np.array([spots["Line Knoll"][1]])) < 5
    assert views["Line Knoll"] > 0.5


def test_school_field_is_kept_out(spots) -> None:
    assert layer("keep_out").contains(Point(spots["Marrowford school field"])).sum() == 1
    assert not layer("hazards").union_all().contains(Point(spots["Marrowford school field"]))
