"""What a drive hangs on and what threatens it: sections without a way round, bridges over water, hazards beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.ops import linemerge, substring

from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid import Grid
from siteplanner.data.grid_reference import grid_reference
from siteplanner.errors import Finding
from siteplanner.roads.lifeline import Lifeline, Stretch, Thread
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route
from siteplanner.roads.signposts import called

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

BESIDE_M = 50.0  # a hazard area this near to the drive may reach it: a predicted rim is no wall. Common practice
STEP_M = 10.0  # of the samples along the drive
_JOINED_M = 0.01


@dataclass(frozen=True)
class Place:
    """A point in metres of the plan's CRS and in WGS 84, three ways."""

    x: float
    y: float
    latitude: float
    longitude: float
    degrees_minutes: str
    grid_reference: str


def place_at(grid: Grid, x: float, y: float) -> Place:
    """A point of the plan's CRS with its coordinates."""
    lon, lat = (float(v) for v in grid.lonlat(x, y))
    return Place(float(x), float(y), lat, lon, degrees_minutes(lat, lon), grid_reference(lat, lon))


@dataclass(frozen=True, eq=False)
class Section:
    """Road or a bridge without a way round: its loss, anywhere on it, cuts the spot off. `start` is the end nearer to
    the spot. `over`: the water below a bridge, '' where none is named. `running_m`: where the drive comes onto it, NaN
    where it does not.
    """

    name: str
    bridge: bool
    over: str
    length_m: float
    running_m: float
    start: Place
    end: Place
    stretches: tuple[Stretch, ...]
    line: BaseGeometry


@dataclass(frozen=True)
class Beside:
    """A hazard area within BESIDE_M of the drive. `length_m` of the drive lie that near, the first at `running_m`;
    `across_m` is the least distance (0: the drive goes through), `up_m` the least height of the road above the ground
    at the area's nearest edge, NaN where it is not known or the drive goes through all the way.
    """

    name: str
    running_m: float
    length_m: float
    across_m: float
    up_m: float


@dataclass(frozen=True)
class OverWater:
    """A bridge of the drive over mapped water. `hazard`: the area that covers this water and comes within BESIDE_M of
    the bridge, None without one; `across_m`, `up_m` from the bridge to it as in `Beside`.
    """

    road: str
    water: str
    running_m: float
    hazard: str | None
    across_m: float
    up_m: float
    segments: tuple[int, ...]


def is_bridge(network: RoadNetwork, segment: int) -> bool:
    """Whether a segment is a bridge in the road data."""
    return any(hazard.kind == "bridge" for hazard in network.hazards[segment])


def sections_of(
    network: RoadNetwork, route: Route, thread: Thread, grid: Grid, bridges: Sequence[OverWater] = ()
) -> tuple[Section, ...]:
    """The stretches of a thread, from the spot on: neighbours of one name are one section, bridges by themselves."""
    groups: list[list[Stretch]] = []
    for stretch in thread.stretches:
        if groups and _belong(network, groups[-1][-1], stretch):
            groups[-1].append(stretch)
        else:
            groups.append([stretch])
    over = {s: bridge.water for bridge in bridges for s in bridge.segments}
    out = []
    for group in groups:
        first, last = group[0], group[-1]
        ends = _at(network, first.segment, first.start_m), _at(network, last.segment, last.end_m)
        line = linemerge([_part(network, stretch) for stretch in group])
        on = [_running(route, stretch) for stretch in group]
        out.append(
            Section(
                called(network, first.segment),
                is_bridge(network, first.segment),
                next((over[s.segment] for s in group if s.segment in over), ""),
                sum(stretch.length_m for stretch in group),
                min((m for m in on if m == m), default=float("nan")),
                place_at(grid, *ends[0]),
                place_at(grid, *ends[1]),
                tuple(group),
                line,
            )
        )
    return tuple(out)


def _belong(network: RoadNetwork, one: Stretch, two: Stretch) -> bool:
    if called(network, one.segment) != called(network, two.segment):
        return False
    if is_bridge(network, one.segment) != is_bridge(network, two.segment):
        return False
    (ax, ay), (bx, by) = _at(network, one.segment, one.end_m), _at(network, two.segment, two.start_m)
    return float(np.hypot(ax - bx, ay - by)) < _JOINED_M


def _at(network: RoadNetwork, segment: int, along_m: float) -> tuple[float, float]:
    point = shapely.line_interpolate_point(network.geometry.line[segment], along_m)
    return float(shapely.get_x(point)), float(shapely.get_y(point))


def _part(network: RoadNetwork, stretch: Stretch) -> LineString:
    low, high = sorted((stretch.start_m, stretch.end_m))
    part = substring(network.geometry.line[stretch.segment], low, high)
    assert isinstance(part, LineString)  # a stretch has a length
    return part


def _running(route: Route, stretch: Stretch) -> float:
    """Where the drive comes onto a stretch, NaN where it does not."""
    out = float("nan")
    for leg in np.flatnonzero(route.segments == stretch.segment).tolist():
        low, high = sorted((float(route.start_m[leg]), float(route.end_m[leg])))
        a, b = max(low, min(stretch.start_m, stretch.end_m)), min(high, max(stretch.start_m, stretch.end_m))
        if b - a > 0:
            entry = a if route.directions[leg] > 0 else b
            out = np.fmin(out, float(route.running_m[leg]) + abs(entry - float(route.start_m[leg])))
    return float(out)


def hanging_findings(network: RoadNetwork, line: Lifeline | None, drive_m: float) -> tuple[Finding, ...]:
    """Cautions: one way in from the staging point, one way out of the data."""
    out: list[Finding] = []
    if line is None:
        return ()
    for code, thread, of_m in (
        ("one_way_in", line.staging, drive_m),
        ("one_way_out", line.outside, float("nan")),
    ):
        if thread is None or thread.ways != 1:
            continue
        bridges = {s.segment for s in thread.stretches if is_bridge(network, s.segment)}
        facts = {"length_m": thread.length_m, "of_m": of_m, "bridges": len(bridges)}
        out.append(Finding(code, "warning", facts=facts))
    return tuple(out)


def hazards_beside(route: Route, hazards: GeoDataFrame | None, grid: Grid) -> tuple[Beside, ...]:
    """Hazard areas within BESIDE_M of the drive, in the order in which the drive meets them."""
    if hazards is None or not len(hazards):
        return ()
    steps = max(int(np.ceil(route.distance_m / STEP_M)), 1)
    running = (np.arange(steps) + 0.5) * route.distance_m / steps
    at = shapely.line_interpolate_point(route.line, running)
    out = []
    for name, shape in zip(_names(hazards), hazards.geometry, strict=True):
        if shape is None or shapely.is_empty(shape):
            continue
        shapely.prepare(shape)  # asked for every drive; what is prepared answers both questions much sooner
        if not shapely.dwithin(shape, route.line, BESIDE_M):
            continue
        near = shapely.dwithin(shape, at, BESIDE_M)
        nearest = float(route.line.project(shapely.shortest_line(route.line, shape).interpolate(0)))
        where = running[near] if near.any() else np.array([nearest])
        up = _above(route, shape, grid, np.append(where, nearest))
        first = float(where[0]) - (route.distance_m / steps / 2 if near.any() else 0.0)
        length = float(near.sum()) * route.distance_m / steps
        out.append(Beside(name, max(first, 0.0), length, float(route.line.distance(shape)), up))
    return tuple(sorted(out, key=lambda beside: beside.running_m))


def _above(route: Route, shape: BaseGeometry, grid: Grid, running: np.ndarray) -> float:
    """The least height of the road at these distances over the ground at the nearest edge of an area, where the road
    is outside it; NaN where that is nowhere known.
    """
    at = shapely.line_interpolate_point(route.line, running)
    outside = ~shapely.intersects(shape, at)
    if not outside.any():
        return float("nan")
    edge = shapely.get_coordinates(shapely.shortest_line(at[outside], shape))[1::2]
    road = np.interp(running[outside], route.profile_distance_m, route.profile_elevation_m)
    rise = road - grid.sample(edge[:, 0], edge[:, 1])
    return float(np.nanmin(rise)) if np.isfinite(rise).any() else float("nan")


def bridges_over_water(
    network: RoadNetwork, route: Route, water: GeoDataFrame | None, hazards: GeoDataFrame | None, grid: Grid
) -> tuple[OverWater, ...]:
    """The bridges of the drive that cross mapped water, in driving order; pieces of one bridge are one."""
    if water is None or not len(water):
        return ()
    bodies = list(zip(_names(water), water.geometry, strict=True))
    areas = [] if hazards is None else list(zip(_names(hazards), hazards.geometry, strict=True))
    out: list[OverWater] = []
    legs = [k for k, s in enumerate(route.segments.tolist()) if is_bridge(network, s)]
    runs: list[list[int]] = []
    for leg in legs:
        if runs and leg == runs[-1][-1] + 1:
            runs[-1].append(leg)
        else:
            runs.append([leg])
    for run in runs:
        segments = tuple(int(route.segments[leg]) for leg in run)
        line = shapely.union_all(network.geometry.line[list(segments)])
        crossed = [(name, body) for name, body in bodies if body is not None and body.intersects(line)]
        if not crossed:
            continue
        start, end = float(route.running_m[run[0]]), float(route.running_m[run[-1] + 1])
        near = [
            (float(area.distance(line)), name, area)
            for name, area in areas
            if area is not None and area.distance(line) <= BESIDE_M and any(area.intersects(b) for _, b in crossed)
        ]
        hazard, across, up = None, float("nan"), float("nan")
        if near:
            across, hazard, area = min(near, key=lambda found: found[:2])
            up = _above(route, area, grid, np.array([start, (start + end) / 2, end]))
        names = ", ".join(dict.fromkeys(name for name, _ in crossed if name))
        out.append(OverWater(called(network, segments[0]), names, start, hazard, across, up, segments))
    return tuple(out)


def _names(frame: GeoDataFrame) -> list[str]:
    names = frame["name"] if "name" in frame.columns else [None] * len(frame)
    return [name.strip() if isinstance(name, str) else "" for name in names]


def beside_findings(beside: Sequence[Beside], bridges: Sequence[OverWater], drive_m: float) -> tuple[Finding, ...]:
    """A caution for each hazard area beside the drive, with the bridges over its water. One that the drive goes
    through is a hazard of the roads already and is told again with how long the drive stays near it.
    """
    return tuple(
        Finding(
            "hazard_beside_drive",
            "warning",
            facts={
                "name": area.name,
                "length_m": area.length_m,
                "drive_m": drive_m,
                "running_m": area.running_m,
                "across_m": area.across_m,
                "up_m": area.up_m,
                "bridges": sum(bridge.hazard == area.name for bridge in bridges),
            },
        )
        for area in beside
    )
