"""Each limit as a raster: from the study to the ruling. One function a limit, in the order of ruling.LIMITS."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from shapely.ops import unary_union

from siteplanner.core.geodesy import look_angles, visible_arc_deg
from siteplanner.core.parking import steepest_for_jacks_deg
from siteplanner.core.sky import BLOCKED, CLEAR, UNKNOWN_GAP, sky_state_varying
from siteplanner.data.burn import burn
from siteplanner.errors import Finding
from siteplanner.planning.limits.ground_way import GroundWay, find_ground_way
from siteplanner.planning.limits.overhead_lines import line_zones
from siteplanner.planning.limits.ruling import BITS, Ruling, bands, counts_of, mark, rule
from siteplanner.planning.limits.site_limits import in_the_way, road_room_m, site_hits
from siteplanner.planning.limits.toward import Toward, margin_to_allow_deg
from siteplanner.planning.study.beyond import FLAT_LINE_DEG
from siteplanner.planning.study.inputs import SkyLimitInputs, sky_limit_inputs
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.study.relief import Relief
from siteplanner.planning.study.reuse import Reuse
from siteplanner.planning.study.study import Study

Tick = Callable[[float], None]
SAMPLE = 60  # cells whose distance is measured to say how far a limit must relax
SKY_SAMPLE = 2000  # the same for cells whose skyline is walked, about 0.1 ms each


@dataclass(frozen=True, eq=False)
class SkyLimit:
    """What `sky_hits` finds, a bit a cell: it is kept for the next run."""

    width: int  # of the raster, cells
    blocked_bits: np.ndarray  # (rows, bytes) uint8
    unknown_bits: np.ndarray
    findings: list[Finding]

    def blocked(self, rows: slice) -> np.ndarray:
        """Of some rows, bool."""
        return np.unpackbits(self.blocked_bits[rows], axis=1, count=self.width).view(bool)

    def unknown(self, rows: slice) -> np.ndarray:
        """Of some rows, bool."""
        return np.unpackbits(self.unknown_bits[rows], axis=1, count=self.width).view(bool)

    def clear(self) -> np.ndarray:
        """Of the whole raster, bool."""
        out = np.empty((len(self.blocked_bits), self.width), bool)
        for band in bands(len(out)):
            out[band] = ~(self.blocked(band) | self.unknown(band))
        return out


def sky_limit(study: Study, reuse: Reuse, tick: Tick) -> SkyLimit:
    """`sky_hits` of a study, taken over from the run before where nothing of it has changed."""
    return reuse.call("sky_limit", partial(packed_hits, tick=tick), sky_limit_inputs(study))


def packed_hits(inputs: SkyLimitInputs, tick: Tick) -> SkyLimit:
    """`sky_hits`, a bit a cell."""
    blocked, unknown, findings = sky_hits(inputs, tick)
    return SkyLimit(blocked.shape[1], np.packbits(blocked, axis=1), np.packbits(unknown, axis=1), findings)


def sky_hits(inputs: SkyLimitInputs, tick: Tick) -> tuple[np.ndarray, np.ndarray, list[Finding]]:
    """(blocked, unknown) per cell toward the satellites that the mission needs, tile by tile; findings."""
    dish, need = inputs.dish, inputs.need
    grid = dish.relief.elevation
    shape = grid.shape
    findings: list[Finding] = []
    blocked = np.full(shape, need == "any")
    clear = np.full(shape, need == "all")
    centre = grid.lonlat(*grid.xy(shape[0] / 2, shape[1] / 2))
    if np.isnan(visible_arc_deg(centre[1], centre[0], dish.min_elevation_deg)[0]):
        findings.append(
            Finding(
                "no_geostationary_satellite",
                "check",
                facts={"latitude_deg": float(centre[1]), "least_elevation_deg": dish.min_elevation_deg},
            )
        )
    for number, satellite in enumerate(dish.satellites):
        _, elevation, _ = look_angles(centre[1], centre[0], 0.0, satellite.longitude_deg)
        lowest = max(dish.min_elevation_deg, dish.min_margin_deg + FLAT_LINE_DEG)
        if elevation < lowest:
            findings.append(
                Finding(
                    "satellite_too_low",
                    "check",
                    facts={
                        "longitude_deg": satellite.longitude_deg,
                        "elevation_deg": float(elevation),
                        "least_deg": float(lowest),
                    },
                )
            )
            one_blocked, one_clear = np.full(shape, True), np.full(shape, False)
        else:
            state = sky_toward(inputs, satellite.longitude_deg, _part(tick, number, len(dish.satellites)))
            one_blocked, one_clear = state == BLOCKED, state == CLEAR
        if need == "any":
            blocked &= one_blocked
            clear |= one_clear
        else:
            blocked |= one_blocked
            clear &= one_clear
    return blocked, ~blocked & ~clear, findings


def _part(tick: Tick, number: int, of: int) -> Tick:
    return lambda share: tick((number + share) / of)


def sky_toward(inputs: SkyLimitInputs, satellite_longitude_deg: float, tick: Tick) -> np.ndarray:
    """State (`core.sky`) of every cell of the search ground toward one satellite, over the beam's width."""
    dish = inputs.dish
    state = _state_over(inputs, dish.relief, satellite_longitude_deg, tick)
    if dish.relief.possible is not None:  # where trees are not known, the tallest must leave the line free too
        at_worst = _state_over(inputs, dish.relief.possible, satellite_longitude_deg, tick)
        state = np.where((state == CLEAR) & (at_worst != CLEAR), UNKNOWN_GAP, state)
    return state


def _state_over(inputs: SkyLimitInputs, relief: Relief, satellite_longitude_deg: float, tick: Tick) -> np.ndarray:
    """`sky_toward` over ground with what is taken to stand on it."""
    dish = inputs.dish
    one = Toward(relief.elevation, satellite_longitude_deg, dish.beam_half_deg)

    def look(rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        bearings, elevation = one.beam(rows, cols)
        return bearings, elevation - dish.min_margin_deg

    return sky_state_varying(
        relief.elevation.values,
        relief.elevation.cell_size_m,
        look,
        dish.dish_height_m,
        inputs.search_ground,
        tick,
        ceiling_m=dish.beyond.ceiling_over(relief),
        obstacles_m=relief.surface.values,
        known=relief.blocks,
        far=dish.beyond.far,
    )


def road_cells(study: Study) -> np.ndarray:
    """Cells touched by roads that the rig reaches from the staging point and may stop on."""
    network = study.network
    ok = study.reached & network.may_stop
    return burn(
        list(network.geometry.line[ok]),
        study.elevation,
        all_touched=True,
    )


def ways_over_ground(study: Study, passable: np.ndarray, tick: Tick | None = None) -> GroundWay:
    """The last leg from reached roads to every cell near them. `passable`: bool, ground that is not too steep; what
    shuts ground is taken out of it."""
    rig, grid = study.mission.rig, study.elevation
    for role in ("keep_out", "hazards"):
        frame = study.overlay(role)
        if frame is not None:
            passable &= ~burn(frame.geometry, grid)
    passable &= ~in_the_way(study)
    return find_ground_way(road_cells(study), passable, grid.cell_size_m, rig.last_leg_max_m, tick)


def rule_ground(
    study: Study, stages: Stages, reuse: Reuse | None = None
) -> tuple[Ruling, GroundWay, tuple[Finding, ...]]:
    """All limits over the whole raster; the satellite line is taken from `reuse` where nothing of it has changed.

    One limit after the other goes into the sum of bits, so that no more than one is held as a raster of its own.
    """
    reuse = reuse or Reuse()
    grid, mission = study.elevation, study.mission
    bits, asked = np.zeros(grid.shape, np.uint16), ["no_data", "steep", "no_way_in"]
    with stages.stage("Measuring slope") as tick:
        passable = _by_slope(study, bits, tick)

    def add(code: str, hit: np.ndarray) -> None:
        asked.append(code)
        mark(bits, code, hit)

    for code, role in (("keep_out", "keep_out"), ("hazard", "hazards")):
        frame = study.overlay(role)
        if frame is not None:
            add(code, burn(frame.geometry, grid))
    lines = study.overlay("power_lines")
    if lines is not None:
        add("power_line", burn(line_zones(lines, mission), grid))
    findings: list[Finding] = []
    if "geostationary" in mission.backhaul.wanted and not study.alternatives_possible:
        with stages.stage("Checking the view of the satellite") as tick:
            found = sky_limit(study, reuse, tick)
            findings, searched = found.findings, study.search_ground
            asked += ["sky_blocked", "sky_unknown"]
            mark(bits, "sky_blocked", lambda rows: found.blocked(rows) & searched[rows])
            mark(bits, "sky_unknown", lambda rows: found.unknown(rows) & searched[rows])
    with stages.stage("Finding ways over ground") as tick:
        network = study.network
        setback = road_room_m(mission)
        if setback > 0 and len(network.geometry.line):
            add("roadway", burn([s.buffer(setback) for s in network.geometry.line], grid))
        way = ways_over_ground(study, passable, tick)
        del passable
        mark(bits, "no_way_in", lambda rows: ~(way.within(rows, slice(None)) <= mission.rig.last_leg_max_m))
        for code, hit in site_hits(study):
            tick(1.0)
            add(code, hit)
    with stages.stage("Tracing where water runs") as tick:
        study.work_out_flow(tick)
        study.work_out("drainage_level_m")
    counts = counts_of(bits, study.search_ground)
    ruling = rule(grid, study.search_ground, bits, asked, counts, _relax(study, bits, counts))
    return ruling, way, tuple(findings)


def _by_slope(study: Study, bits: np.ndarray, tick: Tick) -> np.ndarray:
    """Marks what is unknown and what is too steep to stand on; bool, ground that is not too steep to drive over."""
    heights, trailer, slope = study.elevation.values, study.mission.trailer, study.slope
    jacks_deg = steepest_for_jacks_deg(trailer.length_m, trailer.jack_width_m, trailer.jack_travel_m)
    steepest = min(trailer.max_slope_deg, jacks_deg)
    passable = np.empty(bits.shape, bool)
    for band in bands(bits.shape[0]):
        tick(band.start / bits.shape[0])
        here, known = slope[band], np.isfinite(heights[band])
        # a cell whose slope cannot be told (raster rim, beside a hole) is as unknown as one without elevation
        mark(bits[band], "no_data", ~(known & np.isfinite(here)))
        mark(bits[band], "steep", here > steepest)
        passable[band] = (here <= study.mission.rig.last_leg_max_slope_deg) & known
    return passable


def _relax(study: Study, bits: np.ndarray, counts: np.ndarray) -> dict[str, tuple[float, str]]:
    """For each limit: what it would have to be for the nearest cell that only it rules out."""
    out: dict[str, tuple[float, str]] = {}

    def only(code: str, most: int) -> tuple[np.ndarray, np.ndarray]:
        step = max(1, int(counts[BITS[code]]) // most)
        found, seen = [np.empty((0, 2), int)], 0
        for band in bands(bits.shape[0]) if counts[BITS[code]] else ():
            here = np.argwhere((bits[band] == BITS[code]) & study.search_ground[band])
            found.append(here[-seen % step :: step] + np.array([band.start, 0]))
            seen += len(here)
        rows, cols = np.concatenate(found).T
        return rows, cols

    if counts[BITS["steep"]]:
        least = math.inf
        for band in bands(bits.shape[0]):
            here = (bits[band] == BITS["steep"]) & study.search_ground[band]
            least = min(least, float(np.min(study.slope[band], where=here, initial=math.inf))) if here.any() else least
        out["steep"] = least, "deg"
    rows, cols = only("power_line", SAMPLE)
    frame = study.overlay("power_lines")
    if len(rows) and frame is not None:
        from shapely import points

        lines = unary_union(list(frame.geometry))
        x, y = study.elevation.xy(rows, cols)
        out["power_line"] = float(max(p.distance(lines) for p in points(x, y))), "m"
    rows, cols = only("sky_blocked", SKY_SAMPLE)
    if len(rows):
        margins = [margin_to_allow_deg(study, int(r), int(c)) for r, c in zip(rows, cols, strict=True)]
        known = [m for m in margins if math.isfinite(m)]
        if known:
            out["sky_blocked"] = float(max(known)), "deg"
    return out
