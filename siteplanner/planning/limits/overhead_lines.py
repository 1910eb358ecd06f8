"""How far a trailer with its mast keeps from overhead lines: one answer for raster, spot and explained point."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from siteplanner.core.clearance import (
    UNKNOWN_VOLTAGE_CLEARANCE_M,
    line_half_width_m,
    mast_reach_m,
    overhead_line_clearance_m,
)
from siteplanner.mission import Mission

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

NOT_JUDGED_WITHIN_M = 100.0
"""Beyond what the mast reaches, nothing is planned nearer than this to a line that no table judges (above 1,000 kV):
some six times the 50 ft of 29 CFR 1926.1409(a). Common practice, no source."""

VoltageFrom = Literal["line", "mission", "unknown"]


@dataclass(frozen=True)
class KeepAway:
    """What the middle of the trailer keeps from an overhead line as it is mapped, part by part, and what lies between.

    `needed_m` is the sum of the four parts; NaN: above 1,000 kV nobody but the line's owner can say.
    """

    name: str  # '': not named
    needed_m: float
    distance_m: float  # from the spot to the line as mapped; NaN: asked for the line alone
    voltage_kv: float  # as taken; NaN: not known
    voltage_from: VoltageFrom  # the line's own, what the mission says they carry at most, or nobody
    clearance_m: float  # of the rule, from the nearest conductor
    half_width_m: float  # outer conductor from the mapped line
    position_error_m: float  # the line as mapped against the true one, the trailer against its spot
    reach_m: float  # how far from the middle of the trailer the tip of the mast lands, tipping included
    rules_within_m: float  # a spot nearer than this is ruled out
    height_m: float = math.nan  # of the lowest conductor, as the layer says; it takes nothing off the distance

    @property
    def judged(self) -> bool:
        """Whether the rule gives a distance for this voltage."""
        return math.isfinite(self.needed_m)

    @property
    def to_wire_m(self) -> float:
        """What the middle of the trailer keeps from the nearest wire, as measured on the ground; NaN as `needed_m`."""
        return self.clearance_m + self.reach_m

    @property
    def broken(self) -> bool:
        """Whether the spot is too near."""
        return self.distance_m < self.rules_within_m


def mast_fall_m(mission: Mission) -> float:
    """How far from the middle of the trailer the tip of its mast can land, from the highest stop, tipping included."""
    trailer = mission.trailer
    tip = mission.power_lines.mast_fall_factor * max(trailer.mast_stops_m)
    return mast_reach_m(tip, trailer.length_m, trailer.width_m, trailer.width_m + 2 * trailer.outrigger_reach_m)


def line_need(mission: Mission, voltage_kv: float | None) -> KeepAway:
    """What a line of this voltage asks for; None or NaN: not stated, so what the mission says they carry at most, or
    the rule for lines of which nothing is known (29 CFR 1926.1409).
    """
    lines = mission.power_lines
    source: VoltageFrom = "line"
    if voltage_kv is None or not voltage_kv > 0:
        voltage_kv, source = lines.voltage_at_most_kv, "mission"
    if voltage_kv is None:
        clearance, half, source = UNKNOWN_VOLTAGE_CLEARANCE_M, line_half_width_m(None), "unknown"
    else:
        clearance, half = overhead_line_clearance_m(voltage_kv), line_half_width_m(voltage_kv)
    if lines.half_width_m is not None:
        half = lines.half_width_m
    error, reach = lines.position_error_m, mast_fall_m(mission)
    needed = clearance + half + error + reach
    return KeepAway(
        name="",
        needed_m=needed,
        distance_m=math.nan,
        voltage_kv=math.nan if voltage_kv is None else float(voltage_kv),
        voltage_from=source,
        clearance_m=clearance,
        half_width_m=half,
        position_error_m=error,
        reach_m=reach,
        rules_within_m=needed if math.isfinite(needed) else NOT_JUDGED_WITHIN_M + error + reach,
    )


def line_needs(lines: GeoDataFrame, mission: Mission) -> list[KeepAway]:
    """`line_need` of every line of a layer, by its column `voltage_kv`."""
    made: dict[float, KeepAway] = {}
    out = []
    for voltage in _figures(lines, "voltage_kv"):
        key = float(voltage) if voltage > 0 else -1.0
        if key not in made:
            made[key] = line_need(mission, None if key < 0 else key)
        out.append(made[key])
    return out


def line_zones(lines: GeoDataFrame, mission: Mission) -> list[Any]:
    """The ground that each line rules out for the middle of the trailer, one polygon a line."""
    needs = line_needs(lines, mission)
    # 64 sides a quarter: the polygon lies inside the true circle by less than a centimetre in 100 m
    return [shape.buffer(n.rules_within_m, quad_segs=64) for shape, n in zip(lines.geometry, needs, strict=True)]


def line_keep_away(lines: GeoDataFrame | None, mission: Mission, x: float, y: float) -> KeepAway | None:
    """The line that matters most to a mast at a place (metres of the layer's CRS): the one with the least to spare.

    None without lines: unknown is not clear.
    """
    if lines is None or not len(lines):
        return None
    import shapely

    needs = line_needs(lines, mission)
    distance = np.asarray(lines.geometry.distance(shapely.Point(x, y)), float)
    first = int(np.argmin(distance - np.array([need.rules_within_m for need in needs])))
    name = lines["name"].iloc[first] if "name" in lines.columns else None
    height = float(_figures(lines, "height_m")[first])
    return replace(
        needs[first],
        name=name.strip() if isinstance(name, str) else "",
        distance_m=float(distance[first]),
        height_m=height if height > 0 else math.nan,
    )


def _figures(lines: GeoDataFrame, column: str) -> np.ndarray:
    """A column as numbers; NaN where it is missing or no number."""
    import pandas as pd

    if column not in lines.columns:
        return np.full(len(lines), np.nan)
    return pd.to_numeric(lines[column], errors="coerce").to_numpy(float)
