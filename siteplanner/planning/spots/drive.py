"""The drive to one spot, told: steps, hazards, grades, another way, turning round, what would cut the spot off."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid import Grid
from siteplanner.data.grid_reference import grid_reference
from siteplanner.mission import Mission, Staging
from siteplanner.planning.spots.drive_facts import Cut, Place, Told
from siteplanner.planning.spots.evaluation import start_of
from siteplanner.planning.spots.turn_round import turn_round
from siteplanner.roads.alternatives import alternative_to
from siteplanner.roads.directions import directions
from siteplanner.roads.grade_bands import grade_bands
from siteplanner.roads.hazards import Warned
from siteplanner.roads.hazards_ahead import HazardAhead, hazard_ahead, hazards_along, placed
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route
from siteplanner.roads.ruled_out import shut_on_quicker_ways
from siteplanner.roads.signposts import called
from siteplanner.roads.steps import Step
from siteplanner.roads.ways_out import WaysOut

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from siteplanner.planning.spots.evaluation import Access
    from siteplanner.planning.spots.room import Room
    from siteplanner.planning.study.study import Study


def tell(study: Study, access: Access, room: Room) -> Told:
    """The whole of it, for spots that are handed over. `room` is what the spot has to turn the rig in."""
    network, grid, route = study.network, study.elevation, access.route
    start = start_words(study.mission, access)
    steps, hazards = steps_and_hazards(network, route, grid, study.overlays, start)
    steps = _with_gap(steps, access.gap_m)
    tree = study.trees[study.mission.starts.index(start_of(study.mission, access))]
    alternative = alternative_to(network, tree, route)
    other: tuple[Step, ...] = ()
    if alternative.route is not None:
        other = _with_gap(directions(network, alternative.route, grid, start), access.gap_m)
    return Told(
        steps,
        hazards,
        grade_bands(route, study.mission.rig.max_grade_pct),
        cuts_of(network, route, access.ways, grid),
        alternative,
        other,
        turn_round(study, room, route, access.last_leg_m),
        shut_on_quicker_ways(network, tree, route),
    )


def _with_gap(steps: tuple[Step, ...], gap_m: float) -> tuple[Step, ...]:
    """The steps with the way from the staging point to its road in the first one."""
    if not steps or not gap_m:
        return steps
    first = replace(steps[0], move=replace(steps[0].move, off_road_m=gap_m))
    return (first, *steps[1:])


def start_words(mission: Mission, access: Access | None = None) -> str:
    """What the start is called in directions: the name that the user gave it, if any."""
    name = start_of(mission, access).name.strip()
    return name if name and name != Staging.model_fields["name"].default else "the staging point"


def steps_and_hazards(
    network: RoadNetwork, route: Route, grid: Grid, overlays: dict[str, GeoDataFrame], start: str
) -> tuple[tuple[Step, ...], tuple[HazardAhead, ...]]:
    """Of a route. Hazards are those of the roads and overhead lines; each step holds those up to the next."""
    lines = lines_above(route, overlays)
    hazards = placed([*hazards_along(network, route), *lines], grid)
    steps = directions(network, route, grid, start)
    if lines:
        lines = list(placed(lines, grid))
        until = [*(s.running_m for s in steps[1:]), np.inf]
        steps = tuple(_with_lines(step, lines, end) for step, end in zip(steps, until, strict=True))
    return steps, hazards


def _with_lines(step: Step, lines: list[HazardAhead], until_m: float) -> Step:
    """The step with the overhead lines up to the next one among its hazards."""
    mine = [*step.hazards, *(line for line in lines if step.running_m <= line.running_m < until_m)]
    return replace(step, hazards=tuple(sorted(mine, key=lambda hazard: hazard.running_m)))


def lines_above(route: Route, overlays: dict[str, GeoDataFrame]) -> list[HazardAhead]:
    """Overhead lines that the drive passes under. Hazard areas on the way are hazards of the roads already."""
    frame = overlays.get("power_lines")
    if frame is None or not len(frame):
        return []
    out = []
    names = frame["name"] if "name" in frame.columns else [None] * len(frame)
    for name, shape in zip(names, frame.geometry, strict=True):
        if shape is None or not route.line.intersects(shape):
            continue
        label = name if isinstance(name, str) and name.strip() else ""
        warned = Warned(kind="overhead line", severity="warning", what=label)
        for part in shapely.get_parts(route.line.intersection(shape)):
            running = min(route.line.project(shapely.Point(p)) for p in shapely.get_coordinates(part))
            at = route.line.interpolate(running)
            out.append(hazard_ahead(warned, running, at.x, at.y))
    return out


def place_at(grid: Grid, x: float, y: float) -> Place:
    """A point of the plan's CRS with its coordinates."""
    lon, lat = (float(v) for v in grid.lonlat(x, y))
    return Place(float(x), float(y), lat, lon, degrees_minutes(lat, lon), grid_reference(lat, lon))


def cuts_of(network: RoadNetwork, route: Route, ways: WaysOut | None, grid: Grid) -> tuple[Cut, ...]:
    """The road sections without a way round, from the spot outward; neighbours of one name are one section."""
    if ways is None:
        return ()
    groups: list[list[int]] = []
    for segment in ways.cut_segments:
        if (
            groups
            and called(network, segment) == called(network, groups[-1][-1])
            and _shared(network, segment, groups[-1][-1]) >= 0
        ):
            groups[-1].append(segment)
        else:
            groups.append([segment])
    out = []
    for number, group in enumerate(groups):
        nodes = _chain(network, route, group, groups[number + 1][0] if number + 1 < len(groups) else None)
        first, last = (
            place_at(
                grid,
                network.geometry.node_x[n],
                network.geometry.node_y[n],
            )
            for n in nodes
        )
        line = shapely.line_merge(shapely.multilinestrings(list(network.geometry.line[group])))
        length = float(network.geometry.length_m[group].sum())
        out.append(Cut(called(network, group[0]), length, first, last, tuple(group), line))
    return tuple(out)


def _shared(network: RoadNetwork, a: int, b: int) -> int:
    """The node that two segments share, or -1."""
    mine = {
        int(network.geometry.seg_from[a]),
        int(network.geometry.seg_to[a]),
    }
    both = mine & {
        int(network.geometry.seg_from[b]),
        int(network.geometry.seg_to[b]),
    }
    return min(both) if both else -1


def _chain(network: RoadNetwork, route: Route, group: list[int], following: int | None) -> tuple[int, int]:
    """The outer nodes of a chain of segments, the one nearer to the spot first."""
    if len(group) == 1 and group[0] in route.segments:
        leg = int(np.flatnonzero(route.segments == group[0])[0])
        near, far = (
            int(network.geometry.seg_to[group[0]]),
            int(network.geometry.seg_from[group[0]]),
        )
        return (near, far) if route.directions[leg] > 0 else (far, near)
    ends = {
        int(network.geometry.seg_from[group[0]]),
        int(network.geometry.seg_to[group[0]]),
    }
    if len(group) == 1:
        joint = _shared(network, group[0], following) if following is not None else -1
        last = joint if joint >= 0 else int(network.geometry.seg_to[group[0]])
        return next(iter(ends - {last}), last), last
    first = next(iter(ends - {_shared(network, group[0], group[1])}), -1)
    tail = {
        int(network.geometry.seg_from[group[-1]]),
        int(network.geometry.seg_to[group[-1]]),
    }
    last = next(iter(tail - {_shared(network, group[-1], group[-2])}), -1)
    return (first if first >= 0 else min(ends)), (last if last >= 0 else min(tail))
