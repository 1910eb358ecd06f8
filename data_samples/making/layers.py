"""The other layers of Dunmarrow County: people, dangers, lines, forest. All invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from affine import Affine
from rasterio import features
from scipy import ndimage
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, shape
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union
from shapely.validation import make_valid

from data_samples.making.county import CELL_M, HEIGHT_M, VALLEYS, WIDTH_M, Ground
from data_samples.making.roadplan import Road
from data_samples.making.terrain import fractal

Feature = tuple[object, dict[str, object]]  # geometry in local metres, properties

MUST_SERVE = (
    ("Incident command post", 9360, 6905),
    ("Shelter camp, fairground", 10860, 6570),
    ("Water drop point", 12950, 6560),
    ("Search base, Sable Creek", 5050, 3330),
    ("Ranch landing", 7380, 7220),
)
STAGING = ("County road yard", 250, 10060)  # moved onto the highway
SPOTS = (
    ("Mount Averil lookout", 4135, 2385),
    ("Marrowford school field", 9485, 6900),
    ("Sable Meadow", 4450, 3292),
    ("South Bench corral", 10600, 4480),
    ("Line Knoll", 8750, 7395),
)
POWER_LINES = (
    (
        {"name": "Dunmarrow tie line", "voltage_kv": 230.0, "height_m": 28.0},
        (
            (16000, 7500),
            (14600, 7350),
            (13200, 7300),
            (11300, 7250),
            (9700, 7420),
            (8750, 7395),
            (7900, 7900),
            (6300, 8600),
            (4400, 9600),
            (2200, 10400),
            (0, 10900),
        ),
    ),
    (
        {"name": "Village feeder", "voltage_kv": None, "height_m": 11.0},
        (
            (11300, 7250),
            (10900, 6900),
            (9900, 6650),
            (9080, 6640),
            (8870, 6500),
            (8600, 5600),
            (8000, 4850),
            (6500, 3650),
            (5000, 3450),
        ),
    ),
)
PASTURES = (  # x, y, radius: grazed, no trees
    (8720, 5330, 420),
    (8750, 7400, 300),
    (10600, 4600, 420),
    (9700, 7900, 700),
    (10900, 8400, 500),
    (6000, 5250, 350),
    (4450, 3300, 150),
)
WATER_M = 3.4  # height above the river that the flood reaches


@dataclass(frozen=True, eq=False)
class Layers:
    """Vector layers as features in local metres, and tree heights in metres."""

    incident_area: list[Feature]
    must_serve: list[Feature]
    keep_out: list[Feature]
    hazards: list[Feature]
    power_lines: list[Feature]
    spots: list[Feature]
    structures: list[Feature]
    water: list[Feature]
    soft_ground: list[Feature]
    canopy_m: np.ndarray


def make_layers(ground: Ground, elevation_m: np.ndarray, roads: list[Road], seed: int = 31) -> Layers:
    """Everything but ground and roads."""
    return Layers(
        _incident_area(ground),
        [(Point(x, y), {"name": name}) for name, x, y in MUST_SERVE],
        [
            (_box(9440, 6858, 9610, 6940), {"name": "School ground: children sheltered here"}),
            (_box(12480, 5430, 12680, 5600), {"name": "Private ranch yard: owner refuses"}),
        ],
        _hazards(ground, roads),
        [(LineString(nodes), dict(tags)) for tags, nodes in POWER_LINES],
        [(Point(x, y), {"name": name}) for name, x, y in SPOTS],
        structures(),
        water(ground.streams),
        soft_ground(),
        _forest(ground, elevation_m, roads, seed),
    )


def structures() -> list[Feature]:
    """The village's houses, the school, and what stands on the benches."""
    houses: list[Feature] = [
        (_box(x, y, x + 14, y + 10), {"name": f"House {number}, {street}"})
        for street, x in (("Mill Street", 9160), ("Chapel Street", 9290))
        for number, y in enumerate((6750, 6795, 6862, 6905), 1)
    ]
    ranch = [(12480, 5430), (12680, 5430), (12680, 5600), (12480, 5600), (12480, 5430)]
    corral = [(10630, 4500), (10670, 4500), (10670, 4540), (10630, 4540)]
    return [
        *houses,
        (_box(9560, 6905, 9602, 6930), {"name": "Marrowford school"}),
        (_box(12560, 5540, 12590, 5558), {"name": "Ranch barn"}),
        (LineString(ranch), {"name": "Ranch fence"}),
        (LineString(corral), {"name": "Corral fence"}),
        (Point(10690, 4560), {"name": "Stock tank"}),
        (Point(8860, 5330), {"name": "Stock tank, Chapel Bench"}),
    ]


def water(streams: list[np.ndarray]) -> list[Feature]:
    """The river as wide as its channel, the creeks as lines; cut at the county's edge."""
    county = _box(0, 0, WIDTH_M, HEIGHT_M)
    out: list[Feature] = []
    for valley, line in zip(VALLEYS, streams, strict=True):
        course = LineString(line[:, :2]).simplify(2.0).intersection(county)
        wide = valley.channel_m > 20
        out.append((course.buffer(valley.channel_m / 2).simplify(2.0) if wide else course, {"name": valley.name}))
    return out


def soft_ground() -> list[Feature]:
    """Wet ground on the valley floor."""
    return [
        (Point(10250, 6450).buffer(130).simplify(8), {"name": "Alder bog"}),
        (Polygon([(13060, 5860), (13330, 5930), (13420, 5850), (13200, 5780)]), {"name": "Old oxbow"}),
        (Polygon([(6850, 3760), (6980, 3850), (7010, 3800), (6890, 3720)]), {"name": "Sable Creek seep"}),
    ]


def _box(west, south, east, north):
    return Polygon([(west, south), (east, south), (east, north), (west, north)])


def _incident_area(ground: Ground) -> list[Feature]:
    river, sable = (LineString(line[:, :2]) for line in ground.streams[:2])
    floor = _polygons(ground.above_stream_m < 9.0, smooth_m=60)
    valley = floor.intersection(river.buffer(900)).intersection(_box(6300, 4700, 13900, 7500))
    valley = _largest(valley.buffer(60).buffer(-60)).simplify(15)
    upper = sable.buffer(420).intersection(_box(2900, 2900, 8100, 5000))
    upper = _largest(upper.difference(valley.buffer(5))).simplify(15)
    return [
        (Polygon(valley.exterior), {"name": "Flooded valley floor, Marrowford", "weight": 3.0, "people": 620}),
        (Polygon(upper.exterior), {"name": "Search ground, Sable Creek", "weight": 1.0, "people": 45}),
    ]


def _hazards(ground: Ground, roads: list[Road]) -> list[Feature]:
    main = np.zeros(ground.elevation_m.shape, dtype=bool)
    river = LineString(ground.streams[0][:, :2]).buffer(750)
    main |= features.geometry_mask([river], main.shape, _cells_affine(), invert=True)
    flood = _polygons((ground.above_stream_m < WATER_M) & main, smooth_m=25).intersection(river)
    parts = [p for p in getattr(flood, "geoms", [flood]) if p.area > 20_000]
    causeway = unary_union([LineString(r.points[:, :2]).buffer(14) for r in roads if r.key in ("highway", "sable")])
    flood = make_valid(MultiPolygon(parts).simplify(10)).difference(causeway)  # the causeway stays dry
    slide = Polygon([(5680, 2700), (6020, 2720), (6080, 3150), (5960, 3330), (5780, 3300), (5690, 3050)])
    return [
        (flood, {"name": "Flood, high water expected", "kind": "flood"}),
        (slide, {"name": "Slide, Averil wall", "kind": "slide"}),
    ]


def _cells_affine() -> Affine:
    return Affine(CELL_M, 0, 0, 0, -CELL_M, HEIGHT_M)


def _polygons(flags: np.ndarray, smooth_m: float) -> BaseGeometry:
    share = ndimage.gaussian_filter(flags.astype(np.float32), smooth_m / CELL_M)
    found = features.shapes((share > 0.5).astype(np.uint8), mask=share > 0.5, transform=_cells_affine())
    return unary_union([shape(g) for g, _ in found])


def _largest(geometry):
    return max(getattr(geometry, "geoms", [geometry]), key=lambda g: g.area)


def staging_point(roads: list[Road]) -> tuple[float, float]:
    """The road yard's gate: the highway's point nearest to it."""
    highway = next(r for r in roads if r.key == "highway").points
    k = int(np.argmin(np.hypot(highway[:, 0] - STAGING[1], highway[:, 1] - STAGING[2])))
    return float(highway[k, 0]), float(highway[k, 1])


def _forest(ground: Ground, z: np.ndarray, roads: list[Road], seed: int) -> np.ndarray:
    """Tree heights in whole metres: north sides and middle heights, trees along the river, cleared roads."""
    gy, gx = np.gradient(ndimage.gaussian_filter(z, 6), CELL_M)
    slope = np.hypot(gx, gy)
    northness = gy / np.maximum(slope, 0.05)  # rows run south: rising southward faces north
    patch = fractal(z.shape, seed, power=1.3, longest=120, shortest=6)
    moist = 0.9 * np.clip(northness, -1, 1) + 0.9 * patch
    moist -= np.clip((z - 2300) / 150, 0, None) + np.clip((1600 - z) / 60, 0, None) + np.clip(slope - 0.75, 0, None) * 4
    moist -= 2.0 * (slope < 0.12)
    x, y = ground.frame.centres()
    ragged = 1 + 0.2 * fractal(z.shape, seed + 2, power=1.5, longest=60)
    for px, py, radius in PASTURES:
        moist -= 3.0 * (np.hypot(x - px, y - py) < radius * ragged)
    height = np.clip(8 + 6 * moist + 2 * fractal(z.shape, seed + 1, power=0.8, longest=12), 0, 24) * (moist > 0.45)
    above = ground.above_stream_m
    riverside = (above > 0.8) & (above < 3.0) & (patch > 0.9)
    height = np.where(riverside, 11 + 2 * np.round(patch), height)
    clear = np.zeros(z.shape, dtype=bool)
    lines = [LineString(r.points[:, :2]).buffer(14 if r.key != "highway" else 22) for r in roads]
    lines += [LineString(nodes).buffer(18) for _, nodes in POWER_LINES]
    clear |= features.geometry_mask(lines, z.shape, _cells_affine(), invert=True)
    return np.where(clear, 0, np.round(height))
