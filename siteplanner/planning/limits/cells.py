"""Each limit as a raster: from the study to the ruling. One function a limit, in the order of ruling.LIMITS."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from shapely.ops import unary_union

from siteplanner.core.geodesy import look_angles, visible_arc_deg
from siteplanner.core.horizon import horizon_deg
from siteplanner.core.parking import steepest_for_jacks_deg
from siteplanner.core.sky import BLOCKED, CLEAR, sky_state
from siteplanner.data.burn import burn
from siteplanner.errors import Finding
from siteplanner.planning.limits.ground_way import GroundWay, find_ground_way
from siteplanner.planning.limits.keep_away import line_needs
from siteplanner.planning.limits.ruling import BITS, Ruling, rule
from siteplanner.planning.limits.site_limits import in_the_way, site_hits
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.study import Study

Tick = Callable[[float], None]
SAMPLE = 60  # cells looked at one by one to say how far a limit must relax
FLAT_LINE_DEG = 1.0  # a line of sight less its margin must still rise, over all of the raster
SKY_TILE_M = 2500.0  # one look angle a tile: it turns by about 0.01 deg a km, so at most about 0.02 deg off


def power_line_zones(study: Study) -> list:
    """The ground within reach, one polygon a line."""
    frame = study.overlay("power_lines")
    if frame is None:
        return []
    needs = line_needs(frame, study.mission)
    return [shape.buffer(need) for shape, (need, _, _) in zip(frame.geometry, needs, strict=True)]


def sky_hits(study: Study, tick: Tick) -> tuple[np.ndarray, np.ndarray, list[Finding]]:
    """(blocked, unknown) per cell toward the satellites that the mission needs, tile by tile."""
    grid, sky = study.elevation, study.mission.sky
    shape = grid.shape
    findings: list[Finding] = []
    blocked = np.full(shape, sky.need == "any")
    clear = np.full(shape, sky.need == "all")
    centre = grid.lonlat(*grid.xy(shape[0] / 2, shape[1] / 2))
    ceiling = float(np.nanmax(study.obstacles.values if study.obstacles else grid.values))
    if np.isnan(visible_arc_deg(centre[1], centre[0], sky.min_elevation_deg)[0]):
        findings.append(
            Finding(
                "no_geostationary_satellite",
                "warning",
                f"At latitude {centre[1]:.1f} no geostationary satellite at all stands {sky.min_elevation_deg:g} deg "
                "above the level: there is nothing to point the dish at, so every spot is ruled out.",
                "Plan with another backhaul, such as a terminal for moving satellites, or stand nearer to the equator.",
            )
        )
    for number, satellite in enumerate(sky.satellites):
        _, elevation, _ = look_angles(centre[1], centre[0], 0.0, satellite.longitude_deg)
        lowest = max(sky.min_elevation_deg, sky.min_margin_deg + FLAT_LINE_DEG)
        if elevation < lowest:
            findings.append(
                Finding(
                    "satellite_too_low",
                    "warning",
                    f"The satellite at {satellite.longitude_deg:.1f} deg stands at {elevation:.1f} deg here, below the "
                    f"{lowest:.1f} deg that the mission's least elevation and margin ask for.",
                    "Name a satellite nearer to this longitude.",
                )
            )
            one_blocked, one_clear = np.full(shape, True), np.full(shape, False)
        else:
            state = _sky_of(study, satellite.longitude_deg, ceiling, _part(tick, number, len(sky.satellites)))
            one_blocked, one_clear = state == BLOCKED, state == CLEAR
        if sky.need == "any":
            blocked &= one_blocked
            clear |= one_clear
        else:
            blocked |= one_blocked
            clear &= one_clear
    return blocked, ~blocked & ~clear, findings


def _part(tick: Tick, number: int, of: int) -> Tick:
    return lambda share: tick((number + share) / of)


def _sky_of(study: Study, satellite_longitude_deg: float, ceiling: float, tick: Tick) -> np.ndarray:
    """Sky state of every cell of the search ground; one look angle per tile of SKY_TILE_M.

    As `core.sky.sky_state_varying`, but only where there is search ground, and with a tick a tile, so that a run
    can be cancelled and its bar moves.
    """
    grid, sky = study.elevation, study.mission.sky
    out = np.full(grid.shape, CLEAR, np.uint8)
    tile = max(int(SKY_TILE_M / grid.cell_size_m), 16)
    surface = study.obstacles.values if study.obstacles else None
    rows, cols = np.nonzero(study.search_ground)
    if not len(rows):
        return out
    corners = [(r, c) for r in range(rows.min(), rows.max() + 1, tile) for c in range(cols.min(), cols.max() + 1, tile)]
    floor = float(np.nanmin(grid.values))
    for number, (r, c) in enumerate(corners):
        tick(number / len(corners))
        inner = (slice(r, min(r + tile, grid.shape[0])), slice(c, min(c + tile, grid.shape[1])))
        if not study.search_ground[inner].any():
            continue
        x, y = grid.xy(r + tile / 2, c + tile / 2)
        lon, lat = grid.lonlat(x, y)
        azimuth, elevation, _ = look_angles(lat, lon, 0.0, satellite_longitude_deg)
        limit = float(elevation) - sky.min_margin_deg
        bearing = float(azimuth) - grid.convergence_deg(float(x), float(y))
        # only ground up to where the line has risen above the highest ground can block
        reach = int(np.ceil((ceiling - floor) / np.tan(np.radians(limit)) / grid.cell_size_m)) + 3
        south, east = -np.cos(np.radians(bearing)) * reach, np.sin(np.radians(bearing)) * reach
        r0, r1 = int(max(0, inner[0].start + min(south, 0) - 3)), int(inner[0].stop + max(south, 0) + 3)
        c0, c1 = int(max(0, inner[1].start + min(east, 0) - 3)), int(inner[1].stop + max(east, 0) + 3)
        part = sky_state(
            np.ascontiguousarray(grid.values[r0:r1, c0:c1]),
            grid.cell_size_m,
            bearing,
            limit,
            study.mission.trailer.dish_height_m,
            ceiling_m=ceiling,
            obstacles_m=None if surface is None else np.ascontiguousarray(surface[r0:r1, c0:c1]),
        )
        out[inner] = part[inner[0].start - r0 : inner[0].stop - r0, inner[1].start - c0 : inner[1].stop - c0]
    return out


def road_cells(study: Study) -> np.ndarray:
    """Cells touched by roads that the rig can drive and reach from the staging point."""
    network, reached = study.network, study.reached
    return burn(
        [shape for shape, ok in zip(network.seg_geometry, reached, strict=True) if ok],
        study.elevation,
        all_touched=True,
    )


def ways_over_ground(study: Study) -> GroundWay:
    """The last leg from reached roads to every cell near them."""
    rig, grid = study.mission.rig, study.elevation
    passable = study.slope.values <= rig.last_leg_max_slope_deg
    for role in ("keep_out", "hazards"):
        frame = study.overlay(role)
        if frame is not None:
            passable &= ~burn(frame.geometry, grid)
    passable &= ~in_the_way(study)
    return find_ground_way(road_cells(study), passable & np.isfinite(grid.values), grid.cell_size_m, rig.last_leg_max_m)


def rule_ground(
    study: Study, stages: Stages, reuse: Reuse | None = None
) -> tuple[Ruling, GroundWay, tuple[Finding, ...]]:
    """All limits over the whole raster; the satellite line is taken from `reuse` where nothing of it has changed."""
    reuse = reuse or Reuse()
    grid, mission = study.elevation, study.mission
    # a cell whose slope cannot be told (raster rim, beside a hole) is as unknown as one without elevation
    hits: dict[str, np.ndarray] = {"no_data": ~np.isfinite(grid.values) | ~np.isfinite(study.slope.values)}
    trailer = mission.trailer
    jacks_deg = steepest_for_jacks_deg(trailer.length_m, trailer.width_m, trailer.jack_travel_m)
    hits["steep"] = study.slope.values > min(trailer.max_slope_deg, jacks_deg)
    for code, role in (("keep_out", "keep_out"), ("hazard", "hazards")):
        frame = study.overlay(role)
        if frame is not None:
            hits[code] = burn(frame.geometry, grid)
    zones = power_line_zones(study)
    if zones:
        hits["power_line"] = burn(zones, grid)
    findings: list[Finding] = []
    if "geostationary" in mission.backhaul.wanted and not study.alternatives_possible:
        with stages.stage("Checking the satellite line") as tick:
            blocked, unknown, findings = reuse.watched("sky_limit", study, lambda watched: sky_hits(watched, tick))
            hits["sky_blocked"], hits["sky_unknown"] = blocked & study.search_ground, unknown & study.search_ground
    with stages.stage("Finding ways over ground"):
        network = study.network
        if mission.trailer.road_setback_m > 0 and len(network.seg_geometry):
            hits["roadway"] = burn([s.buffer(mission.trailer.road_setback_m) for s in network.seg_geometry], grid)
        way = ways_over_ground(study)
        hits["no_way_in"] = ~(way.distance_m <= mission.rig.last_leg_max_m)
    hits |= site_hits(study)
    with stages.stage("Following the water"):
        assert study.above_drainage_m.shape == grid.shape  # made here, so that its time is told
    ruling = rule(grid, study.search_ground, hits, _relax(study, hits, way))
    return ruling, way, tuple(findings)


def _relax(study: Study, hits: dict[str, np.ndarray], way: GroundWay) -> dict[str, str]:
    """For each limit: what it would have to be for the nearest cell that only it rules out."""
    value = np.zeros(study.elevation.shape, np.uint16)
    for code, hit in hits.items():
        value[hit] |= np.uint16(BITS[code])
    out: dict[str, str] = {}

    def only(code: str) -> tuple[np.ndarray, np.ndarray]:
        rows, cols = np.nonzero((value == BITS[code]) & study.search_ground)
        step = max(1, len(rows) // SAMPLE)
        return (rows, cols) if code == "steep" else (rows[::step], cols[::step])

    rows, cols = only("steep")
    if len(rows):
        out["steep"] = f"would have to allow {np.nanmin(study.slope.values[rows, cols]):.1f} deg"
    if "power_line" in hits:
        rows, cols = only("power_line")
        frame = study.overlay("power_lines")
        if len(rows) and frame is not None:
            from shapely import points

            lines = unary_union(list(frame.geometry))
            x, y = study.elevation.xy(rows, cols)
            out["power_line"] = f"would have to allow {max(p.distance(lines) for p in points(x, y)):.1f} m"
    rows, cols = only("sky_blocked")
    if len(rows):
        margins = [best_margin_deg(study, int(r), int(c)) for r, c in zip(rows, cols, strict=True)]
        known = [m for m in margins if np.isfinite(m)]
        if known:
            out["sky_blocked"] = f"would have to allow a margin of {max(known):.1f} deg"
    return out


def best_margin_deg(study: Study, row: int, col: int) -> float:
    """Largest sky margin among the satellites from one cell, by the exact skyline."""
    grid = study.elevation
    x, y = grid.xy(row, col)
    lon, lat = grid.lonlat(x, y)
    height = study.mission.trailer.dish_height_m
    best = -np.inf
    for satellite in study.mission.sky.satellites:
        azimuth, elevation, _ = look_angles(lat, lon, 0.0, satellite.longitude_deg)
        bearing = float(azimuth) - grid.convergence_deg(float(x), float(y))
        skyline = horizon_deg(
            grid.values,
            grid.cell_size_m,
            row,
            col,
            np.array([bearing]),
            height,
            obstacles_m=None if study.obstacles is None else study.obstacles.values,
            known=study.blocks,
        )
        best = max(best, float(elevation) - float(skyline[0]))
    return best
