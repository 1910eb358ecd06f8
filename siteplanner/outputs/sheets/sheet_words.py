"""Facts in words that more than one sheet prints: places, times, speeds, lines, hazards, room to turn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
import shapely

from siteplanner.core.clearance import mast_keep_away_m
from siteplanner.core.constants import FOOT_M, MPH_M_S
from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid_reference import grid_text
from siteplanner.errors import Finding
from siteplanner.outputs.sheets.fonts import name_in_text
from siteplanner.outputs.words.text import distance_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.site.timeline import Timeline
from siteplanner.planning.spots.evaluation import Access
from siteplanner.planning.study.spot import Spot

if TYPE_CHECKING:
    from siteplanner.roads.network import RoadNetwork

NO_BREAK = "\u00a0"  # a blank at which no line breaks
PLANNING_AID = (
    "A planning aid made from map data: check ground, wires, road limits and weather on site. "
    "The unit's manual, local codes, the landowner and licensed practice come first."
)


def coordinates(latitude: float, longitude: float, reference: str) -> list[tuple[str, str]]:
    """A place in three formats (label, text), all WGS 84: decimal degrees, degrees and minutes, military grid.

    0.0001 minute is 0.2 m.
    """
    halves = degrees_minutes(latitude, longitude, decimals=4).split(", ")
    return [
        ("Degrees", f"{latitude:.6f}, {longitude:.6f}"),
        ("Minutes", ", ".join(half.replace(" ", NO_BREAK) for half in halves)),
        ("Grid", grid_text(reference)),
    ]


def geo_uri(spot: Spot) -> str:
    """The place as a `geo:` URI (RFC 5870), WGS 84."""
    return f"geo:{spot.latitude:.6f},{spot.longitude:.6f}"


def clock_text(moment: datetime | None) -> str:
    """`Mon 01 Jun 05:30 (-06:00)`."""
    if moment is None:
        return "not known"
    days = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    offset = moment.strftime("%z")
    return (
        f"{days[moment.weekday()]} {moment.day:02d} {months[moment.month - 1]} {moment:%H:%M} "
        f"({offset[:3]}:{offset[3:5]})"
    )


def clock_range(early: datetime | None, late: datetime | None) -> str:
    """`Mon 01 Jun 05:30 to 05:50 (-06:00)`; both in full where the day or the offset changes between them."""
    if early is None or late is None:
        return "not known"
    if early.date() != late.date() or early.utcoffset() != late.utcoffset():
        return f"{clock_text(early)} to {clock_text(late)}"
    start, offset = clock_text(early).rsplit(" ", 1)
    return f"{start} to {late:%H:%M} {offset}"


def minutes_range(early: float, late: float) -> str:
    """`75 to 95 min`."""
    return f"{early:.0f} to {late:.0f} min"


def speed_text(speed_m_s: float | None) -> str:
    """`45 mph (20 m/s)`."""
    return "not known" if speed_m_s is None else f"{speed_m_s / MPH_M_S:.0f} mph ({speed_m_s:.0f} m/s)"


def short_metres(value: float | None, digits: int = 1) -> str:
    """`16.5 m (54 ft)`, both in full; unknown is said."""
    if value is None or not math.isfinite(value):
        return "not known"
    return f"{value:,.{digits}f} m ({value / FOOT_M:,.0f} ft)"


def finding_text(finding: Finding, longest: int = 260) -> str:
    """A finding with its remedy on one line."""
    return name_in_text(f"{finding.message} {finding.remedy}".strip(), longest)


def lamp(timeline: Timeline | None) -> str:
    """Daylight at arrival and during the set-up, in a sentence."""
    if timeline is None:
        return "Daylight not worked out: there is no drive."
    if timeline.light is None:
        return "Daylight not worked out: the mission names no dispatch time. Take lamps."
    light = timeline.light
    moments = {"dawn": light.dawn, "sunrise": light.sunrise, "sunset": light.sunset, "dusk": light.dusk}
    times = ", ".join(
        f"{name} {clock_text(moment)[11:16]}" if moment is not None else f"no {name}"
        for name, moment in moments.items()
    )
    return f"{light.sentence} On arrival: {light.at_arrival}. Level horizon: {times}."


@dataclass(frozen=True)
class LineNear:
    """The overhead line that matters most at a spot: the one with the least room left."""

    name: str
    distance_m: float
    need_m: float
    voltage_kv: float | None  # None: not stated, the mission's assumption counts


def line_near(plan: Plan, spot: Spot) -> LineNear | None:
    """None where no line layer was given or it holds none."""
    frame = plan.scene.overlays.get("power_lines")
    if frame is None or not len(frame):
        return None
    import pandas as pd

    given = (
        pd.to_numeric(frame["voltage_kv"], errors="coerce").to_numpy(float)
        if "voltage_kv" in frame.columns
        else np.full(len(frame), np.nan)
    )
    names = frame["name"] if "name" in frame.columns else [None] * len(frame)
    place = shapely.Point(spot.x, spot.y)
    found = []
    for name, voltage, geometry in zip(names, given, frame.geometry, strict=True):
        known = bool(np.isfinite(voltage) and voltage > 0)
        used = min(float(voltage) if known else plan.mission.power_lines.default_voltage_kv, 1000.0)
        need = mast_keep_away_m(used, max(plan.mission.trailer.mast_stops_m), plan.mission.power_lines.mast_fall_factor)
        label = name if isinstance(name, str) and name.strip() else "an overhead line"
        found.append(LineNear(label, float(geometry.distance(place)), need, float(voltage) if known else None))
    return min(found, key=lambda line: line.distance_m - line.need_m)


def line_words(plan: Plan, spot: Spot) -> str:
    """The nearest overhead line and the room that the mast needs, in a sentence."""
    near = line_near(plan, spot)
    if near is None:
        return "No overhead lines were given: unknown is not clear. Look for poles and wires before the mast moves."
    volts = f"{near.voltage_kv:g} kV" if near.voltage_kv is not None else "voltage not stated"
    return (
        f"Nearest known line: {name_in_text(near.name, 40)} ({volts}), {distance_text(near.distance_m)} away; mast "
        f"fall and clearance need {short_metres(near.need_m)} (29 CFR 1926.1408 Table A). Look for others."
    )


def hazard_words(plan: Plan, ranked: RankedSpot) -> list[str]:
    """How near the hazard areas lie to the spot, and whether the drive goes through one."""
    frame = plan.scene.overlays.get("hazards")
    if frame is None or not len(frame):
        return []
    place = shapely.Point(ranked.spot.x, ranked.spot.y)
    names = frame["name"] if "name" in frame.columns else [None] * len(frame)
    out = []
    rows = [(n, g, float(g.distance(place))) for n, g in zip(names, frame.geometry, strict=True)]
    for name, geometry, distance in sorted(rows, key=lambda row: row[2])[:3]:
        label = name_in_text(name, 40) if isinstance(name, str) and name.strip() else "a hazard area"
        access = ranked.evaluation.access
        through = access is not None and access.route.line.intersects(geometry)
        text = f"{label[:1].upper() + label[1:]}: {distance_text(distance)} from the spot"
        out.append(text + ("; the drive goes through it." if through else "."))
    return out


@dataclass(frozen=True)
class TurningPlace:
    """The last junction before the spot with room to turn the rig round."""

    before_m: float
    name: str
    latitude: float
    longitude: float


def turning_place(plan: Plan, access: Access) -> TurningPlace | None:
    """The last junction on the drive where another road for the rig leaves; None where there is none.

    Three ways for the rig at one place let it turn by backing into one of them. Whether there is room shows only
    on the ground.
    """
    roads: RoadNetwork = plan.scene.roads
    route = access.route
    use = np.flatnonzero(roads.drivable)
    degree = np.bincount(np.concatenate([roads.seg_from[use], roads.seg_to[use]]), minlength=len(roads.node_x))
    for leg in range(len(route.segments) - 1, 0, -1):
        segment = int(route.segments[leg])
        node = int(roads.seg_from[segment] if route.directions[leg] > 0 else roads.seg_to[segment])
        if degree[node] < 3:
            continue
        x, y = float(roads.node_x[node]), float(roads.node_y[node])
        lon, lat = plan.scene.elevation.lonlat(x, y)
        others = [int(s) for s in use if node in (roads.seg_from[s], roads.seg_to[s]) and s not in route.segments]
        name = next((str(roads.name[s]) for s in others if roads.name[s]), "")
        return TurningPlace(float(route.distance_m - route.running_m[leg]), name, float(lat), float(lon))
    return None
