"""The roads of Dunmarrow County: where they should go, what they are, and how they are laid on the ground."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from scipy import ndimage
from shapely.geometry import LineString, Point

from data_samples.making.county import Ground
from data_samples.making.routing import (
    Course,
    carve,
    densified,
    find_path,
    grade_profile,
    rounded,
    sample,
)
from data_samples.making.terrain import Frame

STEP_M = 5.0


@dataclass(frozen=True)
class RoadPlan:
    """One road to be laid. A stop is (x, y) in local metres; a name of a road snaps an end onto that road."""

    key: str
    stops: tuple[tuple[float, float], ...]
    tags: dict[str, str]
    max_grade: float
    start_on: str | None = None
    end_on: str | None = None
    bridge: dict[str, str] | None = None  # extra tags of its bridges over streams; None: it fords them
    turn_m: float = 60.0
    limits: tuple[tuple[float, float, dict[str, str]], ...] = ()  # from, to (m along), extra tags
    to_the_point: bool = False  # or within two cells of the last stop
    dry_m: float | None = None  # on a causeway at least this high above the stream


@dataclass(frozen=True, eq=False)
class Road:
    """A laid road: points (local metres, height) and the tags of each stretch [first, last]."""

    key: str
    points: np.ndarray
    stretches: tuple[tuple[int, int, dict[str, str]], ...]


@dataclass(frozen=True)
class Street:
    """A short road set out by hand on flat ground, straight from node to node; ends may snap onto roads."""

    key: str
    nodes: tuple[tuple[float, float], ...]
    tags: dict[str, str]
    start_on: str | None = None
    end_on: str | None = None
    limits: tuple[tuple[float, float, dict[str, str]], ...] = ()
    over: str | None = None  # the road it passes over without joining
    deck_m: float = 6.5


def _tags(highway, name="", surface="", **more):
    out = {"highway": highway, "name": name, "surface": surface, **more}
    return {k: v for k, v in out.items() if v}


PLANS = (
    RoadPlan(
        "highway",
        (
            (2, 10050),
            (1400, 9600),
            (3000, 9330),
            (5150, 8300),
            (8000, 7480),
            (9000, 6990),
            (9800, 6930),
            (11400, 6580),
            (12900, 6520),
            (15998, 6800),
        ),
        _tags("primary", "Marrow Highway", "asphalt", ref="7", maxspeed="50 mph", lanes="2"),
        0.07,
        bridge={"name": "Marrow Highway"},
        turn_m=140,
        to_the_point=True,
        dry_m=4.6,
    ),
    RoadPlan(
        "sable",
        ((9000, 6990), (8950, 6500), (7950, 4700), (6400, 3480), (5300, 3260), (4000, 3395), (2900, 3480)),
        _tags("secondary", "Sable Creek Road", "asphalt"),
        0.09,
        start_on="highway",
        bridge={},
        turn_m=90,
        dry_m=5.2,
    ),
    RoadPlan(
        "linnet",
        ((12100, 6540), (12120, 7900), (11700, 9200), (12080, 10600), (11420, 12200), (11560, 13998)),
        _tags("tertiary", "Linnet Road", "asphalt"),
        0.08,
        start_on="highway",
        bridge={},
        turn_m=90,
        to_the_point=True,
    ),
    RoadPlan(
        "south",
        (
            (8500, 5350),
            (9300, 5050),
            (10500, 5080),
            (12100, 5250),
            (13600, 5350),
            (14700, 5600),
            (14900, 6300),
            (14900, 6850),
        ),
        _tags("tertiary", "South Side Road", "gravel"),
        0.09,
        start_on="sable",
        end_on="highway",
        bridge={"name": "Cable Bridge", "maxweight": "3.5"},
        turn_m=80,
        limits=((900, 925, {"tunnel": "yes", "layer": "-1", "maxheight": "2.8"}),),
    ),
    RoadPlan(
        "bench",
        ((9600, 6990), (9500, 7650), (10200, 8150), (10700, 8500), (11900, 8700)),
        _tags("unclassified", "Orchard Bench Road", "asphalt"),
        0.12,
        start_on="highway",
        end_on="linnet",
        bridge={},
    ),
    RoadPlan(
        "gannet",
        ((10150, 8100), (8800, 9800)),
        _tags("track", "Gannet Ridge Track", "gravel", tracktype="grade2"),
        0.145,
        start_on="bench",
    ),
    RoadPlan(
        "southbench",
        ((10500, 5080), (10550, 4488)),
        _tags("unclassified", "South Bench Road", "gravel"),
        0.125,
        start_on="south",
        to_the_point=True,
    ),
    RoadPlan(
        "chapel",
        ((8350, 5450), (8725, 5225)),
        _tags("unclassified", "Chapel Bench Road", "gravel"),
        0.12,
        start_on="sable",
        bridge={},
        to_the_point=True,
    ),
    RoadPlan(
        "knoll",
        ((8500, 7150), (8800, 7560), (8775, 7402)),
        _tags("service", "Line Knoll Road", "gravel"),
        0.12,
        start_on="highway",
        to_the_point=True,
    ),
    RoadPlan(
        "averil",
        ((6500, 3480), (4135, 2385)),
        _tags("unclassified", "Averil Lookout Road", "gravel"),
        0.30,
        start_on="sable",
        bridge={},
    ),
    RoadPlan(
        "sawyer",
        ((7300, 4100), (5950, 5200)),
        _tags("track", "Sawyer Flat Track", "compacted", tracktype="grade3"),
        0.13,
        start_on="sable",
        bridge={},
    ),
    RoadPlan(
        "hatchet",
        ((11400, 5200), (11500, 3000)),
        _tags("unclassified", "Hatchet Gulch Road", "gravel", noexit="yes"),
        0.10,
        start_on="south",
    ),
    RoadPlan(
        "cutover",
        ((11750, 9300), (10700, 10400)),
        _tags("track", "Cutover Track", "dirt", tracktype="grade4"),
        0.15,
        start_on="linnet",
        bridge={},
    ),
    RoadPlan(
        "eastridge",
        ((11900, 10100), (13900, 10200)),
        _tags("track", "East Ridge Track", "ground", tracktype="grade3"),
        0.17,
        start_on="linnet",
        bridge={},
    ),
    RoadPlan("lost", ((12300, 2400), (13600, 1700)), _tags("track", "", "ground", tracktype="grade3"), 0.16),
    RoadPlan(
        "ford",
        ((5500, 3280), (5500, 3700)),
        _tags("track", "Ford Lane", "gravel", tracktype="grade2"),
        0.12,
        start_on="sable",
        turn_m=30,
    ),
)


STREETS = (
    Street(
        "mill lane",
        ((7450, 7280), (8300, 6990), (8800, 6800), (8960, 6760)),
        _tags("unclassified", "Old Mill Lane", "asphalt"),
        "highway",
        "sable",
        limits=((420, 440, {"tunnel": "yes", "layer": "-1", "maxheight": "2.8", "note": "old rail trestle"}),),
    ),
    Street(
        "front",
        ((8960, 6860), (9150, 6850), (9280, 6845), (9420, 6840)),
        _tags("residential", "Front Street", "asphalt"),
        "sable",
    ),
    Street("second", ((9150, 6740), (9280, 6735), (9420, 6730)), _tags("residential", "Second Street", "asphalt")),
    Street(
        "mill",
        ((9150, 6980), (9150, 6850), (9150, 6740)),
        _tags("residential", "Mill Street", "asphalt", oneway="yes"),
        "highway",
    ),
    Street(
        "chapel street",
        ((9280, 6735), (9280, 6845), (9280, 6980)),
        _tags("residential", "Chapel Street", "asphalt", oneway="yes"),
        None,
        "highway",
    ),
    Street(
        "school",
        ((9420, 6980), (9420, 6840), (9420, 6730)),
        _tags("residential", "School Street", "asphalt"),
        "highway",
    ),
    Street("pit", ((13950, 6510), (13800, 6640), (13500, 6690)), _tags("service", "Pit Road", "gravel"), "highway"),
    Street(
        "haul", ((13500, 6690), (13450, 6510), (13400, 6320)), _tags("service", "Haul Road", "gravel"), over="highway"
    ),
    Street("ranch", ((12500, 5300), (12560, 5480)), _tags("service", "", "gravel", access="private"), "south"),
)


def lay_roads(ground: Ground, plans: tuple[RoadPlan, ...] = PLANS) -> tuple[np.ndarray, list[Road]]:
    """Lay the planned roads one after another; returns the ground with their shelves, and the roads."""
    z = ground.elevation_m.copy()
    frame = ground.frame
    coarse = Frame(frame.west_m, frame.south_m, frame.east_m, frame.north_m, 20.0)
    roads: list[Road] = []
    water = _channel(ground)
    wet = ndimage.zoom(_channel(ground).astype(float), 0.5, order=1, grid_mode=True, mode="nearest") > 0.2
    taken = np.zeros(coarse.shape)
    for plan in plans:
        smooth = ndimage.gaussian_filter(z, 2.2)
        half = smooth.reshape(coarse.shape[0], 2, coarse.shape[1], 2).mean((1, 3))
        cross = np.hypot(*np.gradient(ndimage.gaussian_filter(half, 1.0), 20.0))
        burden = 1.2 * cross + 6 * np.clip(cross - 0.55, 0, None) + 10.0 * wet + 3.0 * taken
        stops = list(plan.stops)
        by_key = {r.key: r for r in roads}
        if plan.start_on:
            stops[0] = _snap(by_key[plan.start_on], stops[0])
        if plan.end_on:
            stops[-1] = _snap(by_key[plan.end_on], stops[-1])
        path = find_path(
            half,
            burden,
            coarse,
            stops,
            plan.max_grade,
            plan.turn_m,
            to_the_point=plan.to_the_point or plan.end_on is not None,
        )
        line = densified(rounded(path), STEP_M)
        road, z = _lay(plan, line, z, ground, water, roads)
        roads.append(road)
        r, c = (np.round(v).astype(int) for v in coarse.rowcol(road.points[:, 0], road.points[:, 1]))
        inside = (r >= 0) & (c >= 0) & (r < coarse.shape[0]) & (c < coarse.shape[1])
        taken[r[inside], c[inside]] = 1
        taken = ndimage.maximum_filter(taken, 3)
    for street in STREETS:
        roads.append(_set_out(street, z, frame, roads))
    for road in roads[len(plans) :]:
        z = carve(z, frame, Course(*_off_deck(road).T), water)
    return z, _joined(roads)


def _joined(roads: list[Road]) -> list[Road]:
    """Give roads that cross at one level a point in common, as a mapper would."""
    points = [road.points.copy() for road in roads]
    lines = [LineString(p[:, :2]) for p in points]
    for a, b in combinations(range(len(roads)), 2):
        if not lines[a].intersects(lines[b]):
            continue
        met = lines[a].intersection(lines[b])
        for spot in (p for p in getattr(met, "geoms", [met]) if p.geom_type == "Point"):
            nearest = [int(np.argmin(np.hypot(points[k][:, 0] - spot.x, points[k][:, 1] - spot.y))) for k in (a, b)]
            if any(
                "layer" in t and first <= n <= last
                for k, n in zip((a, b), nearest, strict=True)
                for first, last, t in roads[k].stretches
            ):
                continue
            for k, n in zip((a, b), nearest, strict=True):
                points[k][n, :2] = spot.x, spot.y
    return [Road(r.key, p, r.stretches) for r, p in zip(roads, points, strict=True)]


def _off_deck(road: Road) -> np.ndarray:
    deck = np.zeros(len(road.points), dtype=bool)
    for first, last, tags in road.stretches:
        if "bridge" in tags:
            deck[first : last + 1] = True
    return road.points[~deck]


def _set_out(street: Street, z: np.ndarray, frame: Frame, roads: list[Road]) -> Road:
    nodes = list(street.nodes)
    by_key = {r.key: r for r in roads}
    if street.start_on:
        nodes[0] = _snap(by_key[street.start_on], nodes[0])
    if street.end_on:
        nodes[-1] = _snap(by_key[street.end_on], nodes[-1])
    legs = [densified(np.array(pair), STEP_M)[1:] for pair in pairwise(nodes)]
    line = np.vstack([np.array(nodes[:1]), *legs])
    heights = ndimage.gaussian_filter1d(sample(z, frame, line), 2.0, mode="nearest")
    cuts: list[tuple[int, int, dict[str, str]]] = [(0, len(line) - 1, street.tags)]
    if street.over:
        below = by_key[street.over]
        d = np.array([LineString(below.points[:, :2]).distance(Point(p)) for p in line])
        k = int(np.argmin(d))
        run = np.abs(np.arange(len(line)) - k) * STEP_M
        top = sample(z, frame, line[k : k + 1])[0] + street.deck_m
        heights = np.maximum(heights, top - 0.07 * np.clip(run - 15, 0, None))
        cuts = _limited(cuts, (((k - 3) * STEP_M, (k + 3) * STEP_M, {"bridge": "yes", "layer": "1"}),))
    fixed = np.zeros(len(line), dtype=bool)
    fixed[0], fixed[-1] = street.start_on is not None, street.end_on is not None
    heights = grade_profile(heights, STEP_M, 0.08, fixed)
    return Road(street.key, np.column_stack([line, heights]), tuple(_limited(cuts, street.limits)))


def _channel(ground: Ground) -> np.ndarray:
    return ground.above_stream_m < 0.6


def _snap(road: Road, point: tuple[float, float]) -> tuple[float, float]:
    """The road's vertex nearest to a point, off its bridges."""
    free = np.ones(len(road.points), dtype=bool)
    for first, last, tags in road.stretches:
        if "bridge" in tags:
            free[first : last + 1] = False
    d = np.hypot(road.points[:, 0] - point[0], road.points[:, 1] - point[1])
    k = int(np.argmin(np.where(free, d, np.inf)))
    return float(road.points[k, 0]), float(road.points[k, 1])


def _lay(
    plan: RoadPlan, line: np.ndarray, z: np.ndarray, ground: Ground, water: np.ndarray, roads: list[Road]
) -> tuple[Road, np.ndarray]:
    frame = ground.frame
    heights = sample(z, frame, line)
    if plan.dry_m is not None:
        heights = np.maximum(heights, heights + plan.dry_m - sample(ground.above_stream_m, frame, line))
    row, col = (
        np.clip(np.round(v).astype(int), 0, np.array(z.shape)[k] - 1)
        for k, v in enumerate(frame.rowcol(line[:, 0], line[:, 1]))
    )
    wet = water[row, col]
    runs: list[tuple[int, int]] = []
    if plan.bridge is not None:
        for first, last in _runs(wet):
            first, last = max(first - 2, 1), min(last + 2, len(line) - 2)
            if runs and first - runs[-1][1] < 8:
                runs[-1] = (runs[-1][0], last)
            else:
                runs.append((first, last))
        for first, last in runs:
            heights[first : last + 1] = np.linspace(heights[first], heights[last], last - first + 1) + 0.8
    fixed = np.zeros(len(line), dtype=bool)
    # where it meets or crosses a road that is already there, that road's surface rules
    laid = [LineString(r.points[:, :2]) for r in roads]
    for other in laid:
        near = np.array([other.distance(Point(p)) < 7.0 for p in line])
        fixed |= near
    profile = grade_profile(heights, STEP_M, plan.max_grade, fixed)
    keep = water & (plan.bridge is not None)
    points = np.column_stack([line, profile])
    cuts: list[tuple[int, int, dict[str, str]]] = []
    at = 0
    for first, last in runs:
        if first > at:
            cuts.append((at, first, plan.tags))
        cuts.append((first, last, {**plan.tags, "bridge": "yes", "layer": "1", **(plan.bridge or {})}))
        at = last
    cuts.append((at, len(points) - 1, plan.tags))
    cuts = _limited(cuts, plan.limits)
    if plan.bridge is None:
        for first, last in _runs(wet):
            cuts = _limited(cuts, (((first - 1) * STEP_M, (last + 1) * STEP_M, {"ford": "yes"}),))
    deck = np.zeros(len(points), dtype=bool)
    for first, last in runs:
        deck[first + 1 : last] = True
    shelf = Course(points[~deck, 0], points[~deck, 1], points[~deck, 2])
    return Road(plan.key, points, tuple(cuts)), carve(z, frame, shelf, keep)


def _limited(cuts, limits):
    """Cut the stretches once more where a road carries further tags over some metres."""
    for begin, end, extra in limits:
        a, b = max(round(begin / STEP_M), 0), round(end / STEP_M)
        out = []
        for first, last, tags in cuts:
            edges = sorted({first, last, *(k for k in (a, b) if first < k < last)})
            out += [(p, q, {**tags, **extra} if a <= p and q <= b else tags) for p, q in pairwise(edges)]
        cuts = out
    return cuts


def _runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of every run of true."""
    edge = np.diff(np.concatenate([[0], flags.astype(int), [0]]))
    return list(zip(np.flatnonzero(edge == 1).tolist(), (np.flatnonzero(edge == -1) - 1).tolist(), strict=True))
