"""One spot, everything physical about it: ground, sky, coverage, access, time to on air."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import ParamSpec, TypeVar

import numpy as np
from shapely.geometry import Point

from siteplanner.data.forecast import WindForecast
from siteplanner.data.grid import Grid
from siteplanner.errors import Finding
from siteplanner.mission import Sky
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.ground_way import GroundWay
from siteplanner.planning.limits.overhead_lines import KeepAway, line_keep_away
from siteplanner.planning.limits.ruling import Ruling, codes_of
from siteplanner.planning.limits.site_limits import road_room_m, site_breaks
from siteplanner.planning.limits.toward import errors_of, look_at
from siteplanner.planning.site.magnetic import day_of, magnetic
from siteplanner.planning.site.site_wind import highest_stop_m
from siteplanner.planning.site.timeline import drive_range, time_on_air
from siteplanner.planning.spots.backhaul import backhaul_findings, broken_backhaul, judge_backhauls, stop_for_link
from siteplanner.planning.spots.evaluation import Access, Evaluation, Ground, Start
from siteplanner.planning.spots.lifelines import hanging_findings
from siteplanner.planning.spots.lines import Backhaul, Look
from siteplanner.planning.spots.required import required_breaks
from siteplanner.planning.spots.service import predict_coverage
from siteplanner.planning.spots.standing import judge_ground, stand_breaks, standing_findings
from siteplanner.planning.spots.surroundings import look_round
from siteplanner.planning.study.inputs import CoverageInputs, DishView, coverage_inputs, dish_view
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.spot import Spot, Stance
from siteplanner.planning.study.study import Study
from siteplanner.roads.lifeline import lifeline
from siteplanner.roads.near_limit import near_limit
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.no_way import why_no_way
from siteplanner.roads.routing import DriveTree, nearest_access, route_to

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class AccessInputs:
    """What the way to a spot takes."""

    elevation: Grid
    way: GroundWay
    network: RoadNetwork
    trees: tuple[DriveTree, ...]
    starts: tuple[str, ...]  # names, in the order of `trees`
    last_leg_speed_kmh: float
    max_grade_pct: float


@dataclass(frozen=True, eq=False)
class Judge:
    """A study with its ruling: all that a spot is judged by. `reuse` is there while a plan is made. `required_holds`:
    required points rule spots out; not where no spot serves all of them.
    """

    study: Study
    ruling: Ruling
    way: GroundWay
    reuse: Reuse | None = None
    forecast: WindForecast | None = None
    required_holds: bool = True

    @cached_property
    def dish(self) -> DishView:
        """What the sky of a spot takes."""
        return dish_view(self.study)

    @cached_property
    def service(self) -> CoverageInputs:
        """What the coverage from a spot takes."""
        return coverage_inputs(self.study)

    @cached_property
    def drive(self) -> AccessInputs:
        """What the way to a spot takes."""
        study, mission = self.study, self.study.mission
        starts = tuple(start.name for start in mission.starts)
        speed = mission.rig.last_leg_speed_kmh
        limit = mission.rig.max_grade_pct
        return AccessInputs(study.elevation, self.way, study.network, study.trees, starts, speed, limit)

    def step(self, name: str, function: Callable[P, T], *args: P.args, **named: P.kwargs) -> T:
        """`function` of these arguments and nothing else, or its result for equal ones in the run before."""
        if self.reuse is None:
            return function(*args, **named)
        return self.reuse.call(name, function, *args, **named)


def evaluate(judge: Judge, spot: Spot, stands: Stance | None = None) -> Evaluation:
    """Judge one spot. Limits that it breaks stand in `failed`; nothing here depends on weights.

    `stands`: how a trailer stands there already; heading, mast stop and bearings are then judged, not chosen.
    """
    study = judge.study
    grid, cell = study.elevation, spot.cell
    if cell is None or not np.isfinite(grid.values[cell]):
        nothing = float("nan")
        return Evaluation(
            spot,
            Ground(nothing, nothing, nothing, nothing, {}, nothing, grid.cell_size_m),
            (),
            None,
            None,
            None,
            (Breach("no_data", "here"),),
        )
    failed: list[Breach] = []
    findings: list[Finding] = []
    place = spot.unnamed  # what is worked out for it serves the next run, whatever the spot is called there
    access = judge.step("access", find_access, judge.drive, place, cell)
    compass = magnetic(spot.latitude, spot.longitude, spot.elevation_m, day_of(study.mission))
    sky = judge.step("sky", judge_sky, judge.dish, place, cell, compass.declination_deg)
    ground = judge_ground(study, spot, cell, access, sky, None if stands is None else stands.heading_deg)
    around = look_round(study, spot, cell, access)
    ground = replace(
        ground,
        room=around.room,
        above_drainage_m=around.above_drainage_m,
        slope_above_m=around.slope_above_m,
        tree=around.tree,
    )
    findings += [*standing_findings(study, ground), *around.findings]
    if stands is not None:
        raised = replace(judge.service, mast_stops_m=(stands.mast_stop_m,))
        coverage = predict_coverage(raised, place, cell, aimed_deg=stands.sector_bearings_deg)
        backhauls = judge_backhauls(_raised(study, stands), spot, cell, sky, coverage, compass.declination_deg)
    else:
        most_m = highest_stop_m(study.mission, grid, place, judge.forecast)
        coverage = judge.step("coverage", predict_coverage, judge.service, place, cell, most_stop_m=most_m)
        backhauls = judge_backhauls(study, spot, cell, sky, coverage, compass.declination_deg)
        higher = stop_for_link(study, coverage, backhauls)
        if higher is not None:
            coverage = judge.step("coverage", predict_coverage, judge.service, place, cell, higher, most_m)
    line = line_keep_away(study.overlay("power_lines"), study.mission, spot.x, spot.y)
    failed += broken_limits(judge, spot, cell, ground, sky, access, backhauls, line)
    if judge.required_holds:
        failed += required_breaks(study, coverage)
    findings += backhaul_findings(study, backhauls)
    if access is not None:
        findings += access.route.findings
        findings += hanging_findings(study.network, access.lifeline, access.drive_distance_m)
    on_air = None
    if access is not None:
        on_air = time_on_air(study.mission, access.drive_s, access.last_leg_s, access.route.waits)
    return Evaluation(
        spot,
        ground,
        sky,
        coverage,
        access,
        on_air,
        tuple(failed),
        tuple(findings),
        magnetic=compass,
        backhauls=backhauls,
        line=line,
    )


def _raised(study: Study, stands: Stance) -> Study:
    """The study of a mast that stands at one stop: a link has no other to be asked at. What is kept from overhead lines
    stays that of the highest stop, for it may be raised yet."""
    trailer = study.mission.trailer.model_copy(update={"mast_stops_m": (stands.mast_stop_m,)})
    return replace(study, mission=study.mission.model_copy(update={"trailer": trailer}))


def judge_sky(
    dish: DishView, spot: Spot, cell: tuple[int, int], declination_deg: float | None = None
) -> tuple[Look, ...]:
    """Look angles, exact skyline over the beam's width and margin for every satellite named."""
    seen = look_at(dish, spot, cell, np.array([s.longitude_deg for s in dish.satellites]))
    looks = []
    for k, satellite in enumerate(dish.satellites):
        azimuth = float(seen.azimuth_deg[k])
        horizon_error, margin_error = errors_of(dish, cell, seen, k)
        looks.append(
            Look(
                satellite.called,
                satellite.longitude_deg,
                azimuth,
                None if declination_deg is None else (azimuth - declination_deg) % 360,
                float(seen.elevation_deg[k]),
                float(seen.skew_deg[k]),
                float(seen.horizon_deg[k]),
                float(seen.margin_deg[k]),
                float(seen.known_to_m[k]),
                seen.state[k].item(),
                dish.beyond.ceiling_over(dish.relief),
                dish.beyond.ceiling_from,
                horizon_error,
                margin_error,
                bool(seen.trees_unknown[k]),
                bool(seen.elevation_deg[k] < dish.min_elevation_deg),
            )
        )
    return tuple(looks)


def find_access(inputs: AccessInputs, spot: Spot, cell: tuple[int, int]) -> Access | None:
    """Drive from staging to the road point of the last leg, then over ground; None when there is no way.

    Of several staging points the one whose rig arrives first.
    """
    grid, network, trees = inputs.elevation, inputs.network, inputs.trees
    path = inputs.way.path_cells(*cell)
    if not path:
        return None
    x, y = (float(v) for v in grid.xy(*path[0]))
    # of several staging points only those count whose roads touch this very cell, not one beyond a closed bridge
    for cells in (1.5,) if len(trees) == 1 else (0.75, 1.5):
        found = [nearest_access(network, t, x, y, max_offset_m=cells * grid.cell_size_m) for t in trees]
        if any(found):
            break
    metres_s = inputs.last_leg_speed_kmh / 3.6
    arrivals = [np.inf if a is None else a.arrival_s + t.gap_m / metres_s for a, t in zip(found, trees, strict=True)]
    first = int(np.argmin(arrivals))
    access, tree = found[first], trees[first]
    if access is None:
        return None
    leg = inputs.way.line(grid, *cell, access.x, access.y)
    if len(path) == 1:  # the road crosses the spot's own cell: straight from the road to the spot
        from shapely.geometry import LineString

        leg = LineString([(access.x, access.y), (spot.x, spot.y)])
    # the driver is told of the spot itself, not of the cell where the last leg starts
    access = replace(access, target_x=spot.x, target_y=spot.y, offset_m=float(leg.length))
    route = route_to(network, tree, access)
    leg_s, gap_s = leg.length / metres_s, tree.gap_m / metres_s
    low, seconds, high = drive_range(route.time_s + gap_s, leg_s, route.waits)
    others = [(name, trees[k]) for k, name in enumerate(inputs.starts) if k != first and found[k] is not None]
    line = lifeline(network, tree, access, others)
    starts = []
    for start, other, arriving in zip(inputs.starts, trees, found, strict=True):
        drive = None if arriving is None else route if other is tree else route_to(network, other, arriving)
        starts.append(
            Start(
                start,
                None if drive is None else drive.time_s + other.gap_m / metres_s + leg_s,
                None if drive is None else drive.distance_m + other.gap_m,
            )
        )
    # the chosen one leads, also where another arrives at the same second
    starts = [starts.pop(first), *sorted(starts, key=lambda s: np.inf if s.drive_time_s is None else s.drive_time_s)]
    return Access(
        seconds,
        route,
        leg,
        line,
        drive_low_s=low,
        drive_high_s=high,
        by_staging=tuple(starts) if len(starts) > 1 else (),
        gap_m=tree.gap_m,
        gap_s=gap_s,
        near_limit=near_limit(network, route.segments.tolist(), line, inputs.max_grade_pct),
    )


def broken_limits(
    judge: Judge,
    spot: Spot,
    cell: tuple[int, int],
    ground: Ground,
    looks: tuple[Look, ...],
    access: Access | None,
    backhauls: tuple[Backhaul, ...],
    line: KeepAway | None,
) -> list[Breach]:
    """Every limit that the exact figures break."""
    study, mission = judge.study, judge.study.mission
    out: list[Breach] = []
    value = int(judge.ruling.cells.values[cell])
    codes = codes_of(value) if value and value < (1 << 15) else []
    out += stand_breaks(study, ground)
    if mission.backhaul.wanted == ("geostationary",):
        out += _broken_sky(backhauls[0], looks, mission.sky)
    else:
        out += broken_backhaul(backhauls)
    if access is None:
        out.append(_why_no_way(study, spot))
    if line is not None and line.broken:
        kind, names = "" if line.judged else "not_judged", (line.name,) if line.name else ()
        out.append(Breach("power_line", kind, line.distance_m, line.rules_within_m, "m", names=names, about=(line,)))
    out += site_breaks(study, spot, cell, codes)
    for code, role in (("keep_out", "keep_out"), ("hazard", "hazards")):
        frame = study.overlay(role)
        if frame is None:
            continue
        hit = frame[frame.geometry.intersects(Point(spot.x, spot.y))]
        if len(hit):
            name = hit.iloc[0].get("name")
            out.append(Breach(code, names=(name,) if isinstance(name, str) and name else ()))
    said = {breach.code for breach in out}
    if "roadway" in codes and "roadway" not in said:
        out.append(Breach("roadway", limit=road_room_m(mission), unit="m"))
    if "no_data" in codes and "no_data" not in said:
        out.append(Breach("no_data", "beside"))
    return out


def _broken_sky(dish: Backhaul, looks: tuple[Look, ...], sky: Sky) -> list[Breach]:
    """The limit where the dish is the only backhaul wanted."""
    if dish.verdict == "works":
        return []
    code = "sky_unknown" if dish.verdict == "unknown" else "sky_blocked"
    return [Breach(code, "", None, sky.min_margin_deg, "deg", sky.min_elevation_deg, about=looks)]


def _why_no_way(study: Study, spot: Spot) -> Breach:
    """The limit, with what is wrong with the nearest road when there is one close by."""
    reach, slack = study.mission.rig.last_leg_max_m, study.elevation.cell_size_m
    found = why_no_way(study.network, study.trees, spot.x, spot.y, reach + slack)
    return Breach("no_way_in", found.kind, found.distance_m, reach, "m", names=(found.name,), about=(found,))
