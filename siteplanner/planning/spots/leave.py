"""Facts of one spot about who is asked first: whose land it is, who flies near, who sends on the channel, the license.

Nothing here rules a spot out: leave may be had by a call. Bearings true, lengths metres; NaN is not known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely
from shapely.geometry import LineString, Point, box
from shapely.ops import nearest_points

from siteplanner.core.air_notice import (
    LOW_ANTENNA_M,
    TALL_M,
    approach_keep_m,
    nearest_runway_m,
    notice_surface,
    notice_verdict,
)
from siteplanner.core.link import SUBCARRIER_HZ, SUBCARRIERS_A_BLOCK, resource_blocks, thermal_noise_dbm
from siteplanner.core.point_link import basic_loss_db
from siteplanner.core.propagation import free_space_db
from siteplanner.core.spectrum import field_strength_dbuv_m, overlap_mhz
from siteplanner.errors import Finding, Severity
from siteplanner.planning.site.leave import CellNear, LandingNear, Leave, LicenseFact
from siteplanner.planning.spots.backhaul import profile_to
from siteplanner.planning.spots.levels import ways_to
from siteplanner.planning.study.inputs import LeaveInputs
from siteplanner.planning.study.leave import KnownCell, LandingZone, Parcel
from siteplanner.planning.study.spot import Spot

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from siteplanner.data.grid import Grid

ABOVE_STOP_M = 2.0  # antennas and lightning rod above the stop that the mast is raised to; common practice, no source
MOST_NAMED = 4  # landing zones, cells and parcels that a spot names, those that matter most
MOST_BORDER = 96  # places of the license's border at which the field is worked out
ALL_KNOWN = 0.999  # share of a border that counts as all of it: rounding
WIDEST_MHZ = 20.0  # LTE's widest channel, 3GPP TS 36.101 Table 5.6-1: of a cell that does not say


def leave_of(
    inputs: LeaveInputs,
    spot: Spot,
    cell: tuple[int, int],
    mast_height_m: float,
    bearings_deg: tuple[float, ...],
    last_leg: LineString | None,
) -> Leave:
    """Who is asked before the trailer stands at a spot and sends from this mast stop on these (true) bearings."""
    held, top = inputs.layers, mast_height_m + ABOVE_STOP_M
    parcels = None if held.parcels is None else parcels_at(held.parcels, spot, inputs.footprint_reach_m, last_leg)
    landing = None
    if held.landing_zones is not None:
        judged = [landing_near(inputs, zone, spot, top) for zone in held.landing_zones]
        concerned = [a for a in judged if a.verdict != "beyond" or a.in_approach is not False]
        landing = sorted(concerned, key=_gravest)
    cells = None if held.known_cells is None else cells_near(inputs, spot, cell)
    license_fact = None
    if held.license_area is not None:
        license_fact = license_at(inputs, held.license_area, spot, cell, mast_height_m, bearings_deg)
    lists: list[Sequence[object]] = [parcels or (), landing or (), cells or ()]
    own = parcels is not None and bool(parcels) and bool(parcels[0].shape.covers(Point(spot.x, spot.y)))
    return Leave(
        None if parcels is None else tuple(parcels[:MOST_NAMED]),
        own,
        None if landing is None else tuple(landing[:MOST_NAMED]),
        None if cells is None else tuple(cells[:MOST_NAMED]),
        license_fact,
        top,
        top > TALL_M,
        sum(max(len(one) - MOST_NAMED, 0) for one in lists),
    )


def _gravest(one: LandingNear) -> tuple[int, int, float]:
    order = {"file": 0, "ask": 1, "none": 2}
    return 0 if one.in_approach else 1 if one.in_approach is None else 2, order[one.notice], one.distance_m


def leave_findings(leave: Leave) -> tuple[Finding, ...]:
    """What of it is told as a finding; no owner stands in one."""
    out = []
    if leave.tall:
        out.append(Finding("mast_tall", "check", facts={"mast_top_m": leave.mast_top_m, "limit_m": TALL_M}))
    for zone in leave.landing or ():
        if zone.in_approach:
            out.append(Finding("landing_approach", "warning", facts={"about": (zone,)}))
        if zone.notice != "none":
            severity: Severity = "check" if zone.notice == "file" or zone.certain else "unknown"
            out.append(Finding(f"air_notice_{zone.notice}", severity, facts={"about": (zone,)}))
    for known in leave.cells or ():
        severity = "unknown" if math.isnan(known.level_dbm) else "check"
        out.append(Finding("channel_shared", severity, facts={"about": (known,)}))
    held = leave.license
    if held is not None and not held.inside:
        out.append(Finding("outside_license", "check", facts={"border_m": held.border_m}))
    elif held is not None and (held.spills or held.part_known < ALL_KNOWN):
        severity = "check" if held.spills else "unknown"
        out.append(Finding("license_border_field", severity, facts={"about": (held,)}))
    return tuple(out)


def parcels_at(parcels: Sequence[Parcel], spot: Spot, reach_m: float, last_leg: LineString | None) -> list[Parcel]:
    """The parcel under the spot, then those under its footprint, then those that the last leg crosses."""
    place = Point(spot.x, spot.y)
    shapes = np.array([p.shape for p in parcels], object)
    out: list[int] = []
    for where in (place, place.buffer(reach_m), *(() if last_leg is None else (last_leg,))):
        out += [int(k) for k in np.flatnonzero(shapely.intersects(shapes, where)) if int(k) not in out]
    return [parcels[k] for k in out]


def _bearing(grid: Grid, spot: Spot, x: float, y: float) -> float:
    away = math.degrees(math.atan2(x - spot.x, y - spot.y))
    return (away + grid.convergence_deg(spot.x, spot.y)) % 360


def landing_near(inputs: LeaveInputs, zone: LandingZone, spot: Spot, mast_top_m: float) -> LandingNear:
    """One landing zone against the mast's top, by 14 CFR 77.9(b) and by the approach that is kept clear.

    What the layer does not say of height is taken from the elevation where it reaches; a kind that it does not say
    counts as an airport, whose surface is the lowest and reaches farthest.
    """
    grid, rules = inputs.relief.elevation, inputs.rules
    place = Point(spot.x, spot.y)
    nearest = nearest_points(zone.shape, place)[0]
    distance = float(place.distance(nearest))
    ground = float(grid.sample(nearest.x, nearest.y))
    height = zone.elevation_m if math.isfinite(zone.elevation_m) else ground
    source: Literal["layer", "ground", ""] = "layer" if math.isfinite(zone.elevation_m) else "ground"
    above = spot.elevation_m + mast_top_m - height
    helicopters = zone.kind in ("heliport", "helispot")
    is_point = shapely.get_dimensions(zone.shape) == 0
    near = distance if helicopters else nearest_runway_m(distance, bool(is_point), zone.runway_m)
    surface = notice_surface(helicopters, zone.runway_m)
    keep = approach_keep_m(above, rules.landing_slope)
    in_approach = None if math.isnan(keep) and distance <= surface.reach_m else bool(distance < keep)
    if in_approach is False and not helicopters and near < keep:
        in_approach = None  # the point stands for runways that may come nearer
    return LandingNear(
        name=zone.name,
        kind=zone.kind,
        distance_m=distance,
        bearing_deg=_bearing(grid, spot, nearest.x, nearest.y),
        runway_from_m=near,
        runway_m=zone.runway_m,
        elevation_m=height,
        elevation_from=source if math.isfinite(height) else "",
        mast_above_m=above,
        surface=surface,
        verdict=notice_verdict(surface, near, above),
        low_antenna=mast_top_m <= LOW_ANTENNA_M,
        keep_m=keep,
        in_approach=in_approach,
    )


def cells_near(inputs: LeaveInputs, spot: Spot, cell: tuple[int, int]) -> list[CellNear]:
    """The known cells that send on our channels, the nearest first."""
    radio, held = inputs.service.radio, inputs.layers.known_cells or ()
    ours: list[tuple[Literal["downlink", "uplink"], float]] = [("downlink", radio.frequency_mhz)]
    if radio.uplink_frequency_mhz is not None:
        ours.append(("uplink", radio.uplink_frequency_mhz))
    noise = float(thermal_noise_dbm(resource_blocks(radio.bandwidth_mhz) * SUBCARRIERS_A_BLOCK * SUBCARRIER_HZ))
    out = []
    for known in held:
        distance = math.hypot(known.x - spot.x, known.y - spot.y)
        if math.isnan(known.frequency_mhz) or distance > inputs.rules.known_cells_within_m:
            continue
        assumed = math.isnan(known.bandwidth_mhz)
        width = WIDEST_MHZ if assumed else known.bandwidth_mhz
        shared = [(overlap_mhz(f, radio.bandwidth_mhz, known.frequency_mhz, width), way) for way, f in ours]
        most, way = max(shared, key=lambda row: row[0])
        if most <= 0:
            continue
        free = known.eirp_dbm - float(free_space_db(max(distance, 1.0), known.frequency_mhz))
        out.append(
            CellNear(
                known.name,
                distance,
                _bearing(inputs.relief.elevation, spot, known.x, known.y),
                way,
                most,
                assumed,
                _level_dbm(inputs, spot, cell, known, distance),
                free,
                noise + radio.handset_noise_figure_db,
            )
        )
    return sorted(out, key=lambda one: (one.distance_m, one.name))


def _level_dbm(inputs: LeaveInputs, spot: Spot, cell: tuple[int, int], known: KnownCell, distance_m: float) -> float:
    """Median level over the ground between them; NaN where power, height or ground is not known."""
    if math.isnan(known.eirp_dbm) or math.isnan(known.height_m) or distance_m <= inputs.relief.elevation.cell_size_m:
        return math.nan
    share, heights = profile_to(inputs.relief, spot, cell, known)
    if not np.isfinite(heights).all():
        return math.nan
    handset_m = inputs.service.radio.handset_height_m
    loss = basic_loss_db(share * distance_m, heights, handset_m, known.height_m, known.frequency_mhz)
    return known.eirp_dbm - loss


def license_at(
    inputs: LeaveInputs,
    area: BaseGeometry,
    spot: Spot,
    cell: tuple[int, int],
    mast_height_m: float,
    bearings_deg: tuple[float, ...],
) -> LicenseFact:
    """Whether a spot stands in the license area, and the median field that it makes along the border."""
    grid, radio, limit = inputs.relief.elevation, inputs.service.radio, inputs.rules.border_field_dbuv_m
    place = Point(spot.x, spot.y)
    if area.is_empty:
        return LicenseFact(False, math.inf, limit)
    border = area.boundary
    inside, away = bool(area.covers(place)), float(border.distance(place))
    half = grid.cell_size_m / 2
    west, south, east, north = grid.bounds
    known = border.intersection(box(west + half, south + half, east - half, north - half))
    if not inside or known.is_empty or not bearings_deg:
        return LicenseFact(inside, away, limit)
    points = _along(known, place)
    rows, cols = (np.asarray(v, float) for v in grid.rowcol(points[:, 0], points[:, 1]))
    rows, cols = np.clip(rows, 0, grid.shape[0] - 1), np.clip(cols, 0, grid.shape[1] - 1)
    way = ways_to(inputs.service, spot, cell, mast_height_m, bearings_deg, rows, cols, exact=True)
    power = radio.tx_power_dbm + 10 * math.log10(radio.antenna_ports) + radio.antenna_gain_dbi - radio.cable_loss_db
    arriving = power + radio.measured_offset_db + way.all_db - way.loss_db
    field = field_strength_dbuv_m(arriving, radio.frequency_mhz)
    found = np.isfinite(field)
    if not found.any():
        return LicenseFact(inside, away, limit)
    strongest = int(np.nanargmax(field))
    x, y = points[strongest]
    share = float(found.mean()) * float(known.length / border.length)
    return LicenseFact(
        inside,
        away,
        limit,
        float(field[strongest]),
        math.hypot(x - spot.x, y - spot.y),
        _bearing(grid, spot, x, y),
        min(share, 1.0),
    )


def _along(lines: BaseGeometry, place: Point) -> np.ndarray:
    """(n, 2) places along lines, evenly spread, and the one nearest to a place."""
    step = np.linspace(0.0, lines.length, MOST_BORDER, endpoint=False)
    parts = [p for p in shapely.get_parts(lines) if p.length > 0]
    at, before = [shapely.get_coordinates(nearest_points(lines, place)[0])], 0.0
    for part in parts:
        own = step[(step >= before) & (step < before + part.length)] - before
        at.append(shapely.get_coordinates(shapely.line_interpolate_point(part, own)))
        before += part.length
    return np.concatenate(at)
