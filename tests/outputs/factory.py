"""Small plans made by hand for the tests of what is written out. Everything in them is invented.

`make_plan()` gives a plan with spots, roads, hazards and must-serve points on 6 km of made-up hills; figures are
chosen, not computed, so that a test can foretell every word. `HOSTILE` are names that files could bring.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
from affine import Affine
from pyproj import CRS
from shapely.geometry import LineString, Point, Polygon, box

from siteplanner.core.link import BudgetLine
from siteplanner.data.grid import Grid
from siteplanner.errors import Finding
from siteplanner.mission import Layers, Mission, Rig, Speeds, Staging
from siteplanner.mission.criteria import CRITERIA
from siteplanner.planning.choose.ranked import Firmness, RankedSpot, ScoreLine
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.overhead_lines import line_keep_away
from siteplanner.planning.limits.ruling import BITS, LIMITS, OUTSIDE, RulingShare
from siteplanner.planning.plan.model import Plan, Scene
from siteplanner.planning.site.on_site import on_site
from siteplanner.planning.site.timeline import time_on_air
from siteplanner.planning.spots.drive import tell
from siteplanner.planning.spots.evaluation import Access, Coverage, Evaluation, Ground, PointService
from siteplanner.planning.spots.lines import Backhaul, DonorPath, Look
from siteplanner.planning.spots.room import room_to_turn
from siteplanner.planning.spots.surroundings import hazards_near
from siteplanner.planning.study.slope import Slope
from siteplanner.planning.study.spot import Spot
from siteplanner.roads.lifeline import Lifeline, Thread
from siteplanner.roads.network import RoadNetwork, build_network
from siteplanner.roads.routing import DriveTree, drive_tree, nearest_access, route_to

HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "{{7*7}}",
    "{{ cycler.__init__.__globals__ }}",
    "{% for x in y %}{#",
    "`+alert(1)+`${alert(2)}",
    "'\"; alert(3); //",
    "</script><script>alert(4)</script>",
    "<!-- ]]> &lt; &#60;",
    "=cmd|'/C calc'!A0",
    "+1+1",
    "@SUM(A1)",
    "\u202etxt.exe \u05d0\u05d1\u05d2",
    "lone \ud800 half",
    "bell \x07 null \x00 end",
    "line\u2028break\u2029and\ttab",
    "\u6771\u4eac \U0001f525 \u0645\u0631\u062d\u0628\u0627",
)

CELL_M = 25.0
ROWS, COLS = 220, 240
WEST, NORTH = 420000.0, 4385000.0
DONOR_XY = (WEST + 5600.0, NORTH - 700.0)
CRS_UTM = CRS.from_epsg(32613)


TREE = {"height_m": 18.0, "distance_m": 9.0, "bearing_deg": 40.0, "reaches_trailer": True, "cell_size_m": 25.0}


def elevation() -> Grid:
    """Invented hills: two ridges and a valley, 2,300 to 2,800 m, with a hole in the data."""
    y, x = np.mgrid[0:ROWS, 0:COLS].astype(np.float32)
    z = 2500 + 160 * np.sin(x / 34) * np.cos(y / 47) + 90 * np.sin((x + y) / 21) + 0.4 * (y - x)
    z += 12 * np.sin(x / 3.1) * np.sin(y / 4.3)
    z[5:15, 200:220] = np.nan
    return Grid(z.astype(np.float32), Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH), CRS_UTM)


def _spot(grid: Grid, name: str, x: float, y: float, origin: Any = "search") -> Spot:
    lon, lat = grid.lonlat(x, y)
    return Spot(
        name, x, y, float(lat), float(lon), f"13S DD {x % 1e5:05.0f} {y % 1e5:05.0f}", float(grid.sample(x, y)), origin
    )


def _evaluation(
    spot: Spot,
    number: int,
    area_cells: int,
    points: list[tuple[str, Point]],
    tree: DriveTree,
    grid: Grid,
    failed: tuple[Breach, ...] = (),
    donor: str = "Ridge tower",
) -> Evaluation:
    rng = np.random.default_rng(number)
    probability = np.clip(np.linspace(1.05 - 0.06 * number, 0.25, area_cells) + rng.normal(0, 0.03, area_cells), 0, 1)
    served = []
    for k, (name, place) in enumerate(points):
        lon, lat = grid.lonlat(place.x, place.y)
        served.append(
            PointService(
                name,
                float(lat),
                float(lon),
                0.97 - 0.1 * k - 0.05 * number,
                6.0 - k,
                float(np.hypot(place.x - spot.x, place.y - spot.y)),
                40.0 + 100 * k,
            )
        )
    network = tree.network
    access = nearest_access(network, tree, spot.x, spot.y)
    assert access is not None, "the factory's spots must lie on roads that the rig reaches"
    route = route_to(network, tree, access)
    leg = LineString([(access.x, access.y), (spot.x, spot.y)])
    looks = (
        Look(
            "satellite at 103° W",
            -103.0,
            176.4 + number,
            168.2 + number,
            43.9,
            -3.2,
            9.5 + number,
            34.4 - number,
            9000.0,
            "clear",
        ),
        Look("satellite at 61° W", -61.0, 121.0, 112.8, 22.1, 30.0, float("nan"), float("nan"), 1200.0, "unknown"),
    )
    return Evaluation(
        spot=spot,
        ground=Ground(
            2.1 + number / 3,
            75.0 + 10 * number,
            0.8,
            1.9,
            {"front_left": 0.0, "front_right": 0.06, "rear_left": 0.11, "rear_right": 0.17},
            0.05,
            CELL_M,
        ),
        sky=looks,
        coverage=Coverage(
            float(probability.mean()),
            6.2 - number / 4,
            12.0,
            (35.0 + 15 * number, 215.0 + 15 * number),
            tuple(served),
            ((8.0, 0.6), (12.0, 0.7), (15.0, 0.69)),
            (BudgetLine("downlink", "power", 40.0, "dBm"), BudgetLine("downlink", "gain", 14.0, "dBi")),
            probability.astype(np.float32),
        ),
        access=Access(
            route.time_s + leg.length / 1.4,
            route,
            leg,
            Lifeline(Thread(2 if number else 1, ()), Thread(2 if number else 1, ())),
        ),
        on_air=None,
        failed=failed,
        backhauls=(
            Backhaul("geostationary", "works", 34.4 - number, "deg", looks=looks),
            _donor_link(spot, number, donor, grid),
        ),
        findings=(Finding("trees_near", "warning", facts=TREE),) if number == 0 else (),
    )


def _donor_link(spot: Spot, number: int, name: str, grid: Grid) -> Backhaul:
    """Blocked from the first spot, not known from the second, and so on by turns."""
    nan = float("nan")
    lon, lat = (float(v) for v in grid.lonlat(*DONOR_XY))
    blocked = number % 2 == 0
    path = DonorPath(
        name=name,
        latitude=lat,
        longitude=lon,
        verdict="fails" if blocked else "unknown",
        why="blocked" if blocked else "ground_unknown",
        needed=nan,
        distance_m=4100.0,
        bearing_deg=214.4,
        bearing_magnetic_deg=206.2,
        elevation_deg=-1.2,
        antenna_height_m=12.0,
        donor_height_m=30.0,
        donor_height_stated=True,
        frequency_mhz=5800.0,
        clearance_share=-2.5 if blocked else 1.4,
        tightest_at_m=3200.0,
        clearance_m=-14.0 if blocked else 8.0,
        unknown_from_m=nan if blocked else 1500.0,
        loss_db=nan,
        level_dbm=nan,
        margin_db=nan,
    )
    return Backhaul("donor_link", path.verdict, nan, "dB", donors=(path,))


def _criteria(number: int) -> tuple[ScoreLine, ...]:
    weights = np.array([5.0, 2.0, 1.0, 1.0, 2.0]) / 11
    utility = np.clip(np.array([0.93, 0.97, 0.88, 0.61, 0.7]) - 0.041 * number * np.array([1, 0.4, 2, -1, 0.3]), 0, 1)
    rows = (
        ("coverage", "Predicted service", 71.0),
        ("must_serve", "Must-serve points", 90.0),
        ("backhaul", "Sky margin", 34.4 - number),
        ("ground", "Level ground", 2.1),
        ("access", "Drive", 12.5),
    )
    return tuple(
        ScoreLine(name, replace(CRITERIA[name].gauge, label=label), value, float(u), float(w), float(100 * w * u))
        for (name, label, value), u, w in zip(rows, utility, weights, strict=True)
    )


def _roads(start: tuple[float, float], names: list[str], grid: Grid) -> RoadNetwork:
    x, y = start
    lines = [
        LineString([(x - 400, y - 300), (x, y), (x + 400, y + 250), (x + 1500, y + 900), (x + 2900, y + 1500)]),
        LineString([(x + 1500, y + 900), (x + 1300, y + 2100), (x + 900, y + 3300)]),
        LineString([(x + 1500, y + 900), (x + 2600, y + 300), (x + 4300, y + 200)]),
        LineString([(x + 2900, y + 1500), (x + 3300, y + 2600), (x + 4200, y + 3400)]),
    ]
    posted = {
        "maxheight": ["4.5", "", "3", "4.5"],
        "maxweight": ["40", "", "", "12"],
        "maxwidth": ["3"] * 4,
        "maxlength": ["18", "", "", "18"],
        "surface": ["asphalt", "gravel", "gravel", "asphalt"],
        "incline": ["5%", "8%", "4%", "3%"],
    }
    frame = gpd.GeoDataFrame(
        {"name": [*names, "", ""][:4], "highway": ["secondary", "unclassified", "track", "service"], **posted},
        geometry=lines,
        crs=CRS_UTM,
    )
    return build_network(frame, elevation=grid, rig=Rig(), speeds=Speeds())


def _ruling(grid: Grid, slope: Slope) -> Grid:
    y, x = np.mgrid[0:ROWS, 0:COLS]
    values = np.zeros(grid.shape, np.uint16)
    values[slope[:, :] > 5] |= BITS["steep"]
    values[~np.isfinite(grid.values)] |= BITS["no_data"]
    values[100:130, 60:90] |= BITS["hazard"]
    values[150:170, 150:180] |= BITS["keep_out"]
    values[np.abs(y - x * 0.6 - 30) < 3] |= BITS["power_line"]
    values[(np.sin(x / 17) > 0.8) & (y < 90)] |= BITS["sky_blocked"]
    values[(np.cos(x / 29 + y / 41) > 0.75)] |= BITS["no_way_in"]
    values[(np.hypot(y - 110, x - 120) > 105)] = OUTSIDE
    return grid.with_values(values)


def sky_margin(grid: Grid, ruling: Grid) -> Grid:
    """Invented: from behind the skyline in the west to wide open in the east, not known in the far north-west."""
    y, x = np.mgrid[0:ROWS, 0:COLS].astype(np.float32)
    values = np.where(ruling.values == OUTSIDE, np.nan, x / 5 - 12)
    values[(y < 60) & (x < 100)] = np.nan
    return grid.with_values(values.astype(np.float32))


def make_plan(
    spots: int = 6,
    *,
    names: tuple[str, ...] = (),
    mission_name: str = "Bluff Creek (invented)",
    coverage: bool = True,
    rejected: int = 1,
    **changes: Any,
) -> Plan:
    """A plan with `spots` ranked spots.

    `names` are used, in turn, for every name there is: spots, roads, hazards, points, layers' rows, limits'
    labels, findings. `changes` replace fields of the Plan.
    """

    def word(number: int, plain: str) -> str:
        return names[number % len(names)] if names else plain

    grid = elevation()
    slope = Slope(grid)
    ruling = _ruling(grid, slope)
    start = (WEST + 700.0, NORTH - 4700.0)
    lon, lat = grid.lonlat(*start)
    area = Polygon(
        [
            (WEST + 2200, NORTH - 3900),
            (WEST + 3800, NORTH - 4100),
            (WEST + 4500, NORTH - 2600),
            (WEST + 3400, NORTH - 1500),
            (WEST + 2300, NORTH - 2300),
        ]
    )
    area_frame = gpd.GeoDataFrame(
        {"name": [word(0, "Bluff Creek fire")], "weight": [1.0]}, geometry=[area], crs=CRS_UTM
    )
    ys, xs = np.mgrid[0:ROWS, 0:COLS]
    px, py = grid.xy(ys, xs)
    from shapely import contains_xy

    rows, cols = np.nonzero(contains_xy(area, px, py))
    points = [
        (word(1, "Command post"), Point(WEST + 2700, NORTH - 2500)),
        (word(2, "Drop point 4"), Point(WEST + 3900, NORTH - 3200)),
    ]
    overlays = {
        "keep_out": gpd.GeoDataFrame(
            {"name": [word(3, "Cultural site")]},
            crs=CRS_UTM,
            geometry=[box(WEST + 150 * 25, NORTH - 170 * 25, WEST + 180 * 25, NORTH - 150 * 25)],
        ),
        "hazards": gpd.GeoDataFrame(
            {"name": [word(4, "Slide below the bluff")]},
            crs=CRS_UTM,
            geometry=[box(WEST + 60 * 25, NORTH - 130 * 25, WEST + 90 * 25, NORTH - 100 * 25)],
        ),
        "power_lines": gpd.GeoDataFrame(
            {"name": [word(5, "Feeder 12")], "voltage_kv": [115.0]},
            crs=CRS_UTM,
            geometry=[LineString([(WEST, NORTH - 30 * 25), (WEST + 6000, NORTH - 174 * 25)])],
        ),
        "closures": gpd.GeoDataFrame(
            {"name": [word(6, "Bridge out")]}, crs=CRS_UTM, geometry=[Point(WEST + 300, NORTH - 5000)]
        ),
        "extra_tracks": gpd.GeoDataFrame(
            {"name": [word(7, "Cat line")]},
            crs=CRS_UTM,
            geometry=[LineString([(WEST + 300, NORTH - 5200), (WEST + 900, NORTH - 5200)])],
        ),
        "donor_sites": gpd.GeoDataFrame(
            {"name": [word(9, "Ridge tower")], "height_m": [30.0]}, crs=CRS_UTM, geometry=[Point(*DONOR_XY)]
        ),
        "structures": gpd.GeoDataFrame(
            {"name": [word(6, "Barn"), word(7, "Line fence"), word(8, "Water tank")]},
            crs=CRS_UTM,
            geometry=[
                box(WEST + 1000, NORTH - 5100, WEST + 1040, NORTH - 5080),
                LineString([(WEST + 1000, NORTH - 5200), (WEST + 1300, NORTH - 5250)]),
                Point(WEST + 1100, NORTH - 5150),
            ],
        ),
        "water": gpd.GeoDataFrame(
            {"name": [word(9, "Mill Pond"), word(10, "Bluff Creek")]},
            crs=CRS_UTM,
            geometry=[
                box(WEST + 5000, NORTH - 5600, WEST + 5200, NORTH - 5500),
                LineString([(WEST + 5100, NORTH - 5500), (WEST + 5300, NORTH - 3000)]),
            ],
        ),
        "soft_ground": gpd.GeoDataFrame(
            {"name": [word(11, "Alder bog")]},
            crs=CRS_UTM,
            geometry=[box(WEST + 4600, NORTH - 5600, WEST + 4900, NORTH - 5400)],
        ),
        "parcels": gpd.GeoDataFrame(
            {"parcel": [word(11, "12-34")]},
            crs=CRS_UTM,
            geometry=[box(WEST + 2600, NORTH - 5700, WEST + 2800, NORTH - 5500)],
        ),
        "landing_zones": gpd.GeoDataFrame(
            {"name": [word(0, "Bluff helispot"), word(2, "Mill strip"), word(3, "Clinic roof")]},
            crs=CRS_UTM,
            geometry=[
                Point(WEST + 5600, NORTH - 600),
                LineString([(WEST + 5000, NORTH - 400), (WEST + 5800, NORTH - 420)]),
                box(WEST + 5700, NORTH - 900, WEST + 5720, NORTH - 880),
            ],
        ),
        "known_cells": gpd.GeoDataFrame(
            {"name": [word(4, "County tower")], "frequency_mhz": [763.0]},
            crs=CRS_UTM,
            geometry=[Point(WEST + 5900, NORTH - 300)],
        ),
        "license_area": gpd.GeoDataFrame(
            {"name": [word(5, "Region 7")]},
            crs=CRS_UTM,
            geometry=[box(WEST - 9000, NORTH - 15000, WEST + 15000, NORTH + 9000)],
        ),
        "must_serve": gpd.GeoDataFrame({"name": [n for n, _ in points]}, crs=CRS_UTM, geometry=[p for _, p in points]),
    }
    ground = (values := ruling.values) != OUTSIDE
    shares = tuple(
        RulingShare(
            code,
            word(6 + n, label),
            float(((values & BITS[code]) != 0)[ground].mean()),
            float((values == BITS[code])[ground].mean()),
            *((6.2, "deg") if code == "steep" else ()),
        )
        for n, (code, label) in enumerate(LIMITS.items())
        if ((values & BITS[code]) != 0)[ground].any()
    )
    network = _roads(start, [word(n, p) for n, p in enumerate(("Bluff Road", "Mill Lane"))], grid)
    tree = drive_tree(network, *start)
    ranked = []
    for n in range(spots):
        # beside the roads, further out for each next spot
        road = network.geometry.line[[2, 1, 4, 2, 4, 1][n % 6]]
        place = road.interpolate((0.62, 0.8, 0.35, 0.9, 0.75, 0.3)[n % 6], normalized=True)
        spot = _spot(grid, word(n, "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[n % 26]), place.x + 45 + n, place.y - 30 - 2 * n)
        evaluation = _evaluation(spot, n, len(rows), points, tree, grid, donor=word(9, "Ridge tower"))
        if not coverage:
            evaluation = replace(evaluation, coverage=None)
        criteria = _criteria(n)
        ranked.append(RankedSpot(n + 1, evaluation, criteria, sum(c.contribution for c in criteria)))
    out = tuple(
        _evaluation(
            _spot(grid, word(n, f"Lookout {n + 1}"), WEST + 3000 + 300 * n, NORTH - 1300, "user"),
            n + 1,
            len(rows),
            points,
            tree,
            grid,
            failed=(Breach("structure", "", 3.0, 12.5, "m", 2.0, names=(word(n, "The barn"),)),),
        )
        for n in range(rejected)
    )

    def read(text: str) -> str:
        """As a mission file could bring it: it is UTF-8, so halves of surrogate pairs cannot be in it."""
        return "".join(c for c in text if not 0xD800 <= ord(c) < 0xE000)

    mission = Mission(
        name=read(mission_name),
        layers=Layers(elevation=("dem.tif",), incident_area="area.geojson", roads="roads.gpkg"),
        staging=Staging(name=read(word(7, "County yard")), latitude=float(lat), longitude=float(lon)),
    )
    plan = Plan(
        mission=mission,
        software={"siteplanner": "0.1.0"},
        inputs=(),
        findings=(
            Finding("layer_doubtful", "note", facts={"said": word(8, "Small holes")}),
            Finding("elevation_unit_assumed", "check", file="dem.tif", facts={"low": 1500.0, "high": 2100.0}),
        ),
        rulings=shares,
        spots=tuple(ranked),
        judged=tuple(ranked),
        rejected=out,
        scene=Scene(
            elevation=grid,
            ruling=ruling,
            slope=slope,
            area=area_frame,
            roads=network,
            overlays=overlays,
            area_rows=rows,
            area_cols=cols,
            margin_of=lambda most_deg=None: sky_margin(grid, ruling),
        ),
        firmness=Firmness(2.4, "ground", spots, 0.07, "B", "ground", 0.62, 0.0, 1.3, 1.1, weights_varied=0.2)
        if spots > 1
        else None,
    )
    return waiting(replace(plan, **changes))


def waiting(plan: Plan) -> Plan:
    """The plan with what the product works out for spots that are handed over: the drive told, the hours on site."""
    scene, mission = plan.scene, plan.mission
    tree = drive_tree(
        scene.roads, *scene.elevation.from_lonlat(mission.staging[0].longitude, mission.staging[0].latitude)
    )
    study: Any = SimpleNamespace(
        mission=mission,
        elevation=scene.elevation,
        slope=scene.slope,
        obstacles=None,
        overlays=scene.overlays,
        overlay=lambda role: frame if (frame := scene.overlays.get(role)) is not None and len(frame) else None,
        network=scene.roads,
        trees=[tree],
    )

    def detailed(e: Evaluation) -> Evaluation:
        room, access = room_to_turn(study, e.spot.x, e.spot.y), e.access
        air = None if access is None else time_on_air(mission, access.route.time_s, access.last_leg_s)
        mast = None if e.coverage is None else e.coverage.mast_height_m
        waits = on_site(mission, scene.elevation, e.spot, air, mast, hazards_near(study, e.spot, access), plan.forecast)
        return replace(
            e,
            ground=replace(e.ground, room=room),
            access=None if access is None else replace(access, told=tell(study, access, room)),
            on_air=air,
            line=line_keep_away(study.overlay("power_lines"), mission, e.spot.x, e.spot.y),
            on_site=waits,
        )

    return replace(
        plan,
        spots=tuple(replace(r, evaluation=detailed(r.evaluation)) for r in plan.spots),
        rejected=tuple(detailed(e) for e in plan.rejected),
    )
