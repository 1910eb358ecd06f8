"""The drive to one spot, told: steps, hazards, grades, another way, turning round, what the spot hangs on."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from siteplanner.data.grid import Grid
from siteplanner.mission import Mission, Staging
from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.spots.evaluation import start_of
from siteplanner.planning.spots.lifelines import bridges_over_water, hazards_beside, sections_of
from siteplanner.planning.spots.turn_round import turn_round
from siteplanner.roads.alternatives import alternative_to
from siteplanner.roads.descents import descents_home
from siteplanner.roads.directions import directions
from siteplanner.roads.grade_bands import grade_bands
from siteplanner.roads.hazards import Warned
from siteplanner.roads.hazards_ahead import HazardAhead, hazard_ahead, hazards_along, placed
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.routing import Route
from siteplanner.roads.ruled_out import shut_on_quicker_ways
from siteplanner.roads.steps import Step

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from siteplanner.planning.spots.evaluation import Access
    from siteplanner.planning.spots.room import Room
    from siteplanner.planning.study.study import Study

HIGH_LOAD_M = 4.27
"""14 ft: vehicles lower than this pass under any line built by the code (legal height in most states of the US)."""
LEAST_OVER_ROADS_M = 4.7
"""15.5 ft: least height of wires over roads. NESC (IEEE C2) Table 232-1, from memory."""


def tell(study: Study, access: Access, room: Room) -> Told:
    """The whole of it, for spots that are handed over. `room` is what the spot has to turn the rig in."""
    network, grid, route = study.network, study.elevation, access.route
    start = start_words(study.mission, access)
    height_m = study.mission.rig.height_m + study.mission.rig.height_allowance_m
    steps, hazards = steps_and_hazards(network, route, grid, study.overlays, start, height_m)
    steps = _with_gap(steps, access)
    tree = study.trees[study.mission.starts.index(start_of(study.mission, access))]
    alternative = alternative_to(network, tree, route)
    other: tuple[Step, ...] = ()
    if alternative.route is not None:
        other = _with_gap(directions(network, alternative.route, grid, start), access)
    areas = study.overlay("hazards")
    bridges = bridges_over_water(network, route, study.overlay("water"), areas, grid)
    line = access.lifeline
    return Told(
        steps,
        hazards,
        grade_bands(route, study.mission.rig.max_grade_pct),
        () if line is None else sections_of(network, route, line.staging, grid, bridges),
        () if line is None or line.outside is None else sections_of(network, route, line.outside, grid, bridges),
        alternative,
        other,
        turn_round(study, room, route, access.last_leg_m),
        shut_on_quicker_ways(network, tree, route),
        hazards_beside(route, areas, grid),
        bridges,
        descents_home(route),
        _both_ways(network, route),
    )


def _both_ways(network: RoadNetwork, route: Route) -> bool:
    """Whether the rig may drive each road of the way home too: none of it is one-way."""
    back = np.where(
        route.directions > 0, network.times.backward_s[route.segments], network.times.forward_s[route.segments]
    )
    return bool(np.isfinite(back).all())


def _with_gap(steps: tuple[Step, ...], access: Access) -> tuple[Step, ...]:
    """The steps with the way from the staging point to its road in the first one, and its time in all that follow."""
    if not steps or not access.gap_m:
        return steps
    first = replace(steps[0], move=replace(steps[0].move, off_road_m=access.gap_m))
    return (first, *(replace(step, running_s=step.running_s + access.gap_s) for step in steps[1:]))


def start_words(mission: Mission, access: Access | None = None) -> str:
    """What the start is called in directions: the name that the user gave it, if any."""
    name = start_of(mission, access).name.strip()
    return name if name and name != Staging.model_fields["name"].default else "the staging point"


def steps_and_hazards(
    network: RoadNetwork,
    route: Route,
    grid: Grid,
    overlays: dict[str, GeoDataFrame],
    start: str,
    rig_height_m: float,
) -> tuple[tuple[Step, ...], tuple[HazardAhead, ...]]:
    """Of a route. Hazards are those of the roads and overhead lines; each step holds those up to the next."""
    lines = lines_above(route, overlays, rig_height_m)
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


def lines_above(route: Route, overlays: dict[str, GeoDataFrame], rig_height_m: float) -> list[HazardAhead]:
    """Overhead lines that the drive passes under and that matter: to a rig from HIGH_LOAD_M up every line, to a lower
    one a line that is stated to hang lower than the code wants it over a road. Hazard areas on the way are hazards of
    the roads already.
    """
    frame = overlays.get("power_lines")
    if frame is None or not len(frame):
        return []
    out = []
    names = frame["name"] if "name" in frame.columns else [None] * len(frame)
    heights = frame["height_m"] if "height_m" in frame.columns else [float("nan")] * len(frame)
    for name, shape, height_m in zip(names, frame.geometry, heights, strict=True):
        if shape is None or not route.line.intersects(shape):
            continue
        if rig_height_m < HIGH_LOAD_M and not (isinstance(height_m, float) and height_m < LEAST_OVER_ROADS_M):
            continue
        label = name if isinstance(name, str) and name.strip() else ""
        warned = Warned(kind="overhead line", severity="warning", what=label)
        for part in shapely.get_parts(route.line.intersection(shape)):
            running = min(route.line.project(shapely.Point(p)) for p in shapely.get_coordinates(part))
            at = route.line.interpolate(running)
            out.append(hazard_ahead(warned, running, at.x, at.y))
    return out
