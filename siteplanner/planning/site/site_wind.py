"""Wind at a spot: how much the ground speeds it up, and when a forecast passes the unit's limits there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from siteplanner.core.constants import MPH_M_S
from siteplanner.core.wind import (
    landform_along,
    spans_above,
    speed_at_height,
    speed_at_height_log,
    topographic_factor,
)
from siteplanner.data.forecast import WindForecast
from siteplanner.data.grid import Grid
from siteplanner.errors import Finding
from siteplanner.mission import Mission, Wind
from siteplanner.planning.study.spot import Spot

REACH_M = 3219.0  # 2 miles upwind, the reach of ASCE 7-16 section 26.8.1
LEAST_REACH_M = 800.0  # with less known ground upwind nothing is said. Common practice, no source
BEHIND_M = 800.0
BEARINGS_DEG = tuple(22.5 * k for k in range(16))
METHOD = "ASCE 7-16 section 26.8, Figure 26.8-1; speed grows with the root of the factor; other hills not looked at"


@dataclass(frozen=True)
class SpeedUp:
    """Times the open-country speed for wind from one bearing, at dish height and at the top of the mast."""

    from_deg: float  # true
    at_dish: float
    at_mast: float
    landform: str  # ridge, escarpment, '' for none


@dataclass(frozen=True)
class Span:
    """A time during which the wind at the spot is forecast above a limit."""

    limit: str  # tracking, stow
    start: str  # ISO 8601 with the forecast's own offset
    end: str
    hours: float


@dataclass(frozen=True)
class SiteWind:
    """`speed_ups` per bearing where the ground upwind is known; `worst` the largest at the dish."""

    speed_ups: tuple[SpeedUp, ...]
    worst: SpeedUp | None
    unknown_bearings: int
    # open-country wind at which the dish here is at its limit, worst bearing; None where no ground is known
    open_tracking_limit_m_s: float | None
    open_stow_limit_m_s: float | None
    forecast_peak_dish_m_s: float | None  # None without a forecast
    forecast_peak_mast_m_s: float | None
    spans: tuple[Span, ...]
    method: str
    findings: tuple[Finding, ...]

    def at(self, from_deg: float) -> SpeedUp | None:
        """The speed-up for wind from a bearing; the worst where the bearing or its ground is not known."""
        if math.isnan(from_deg):
            return self.worst
        near = [s for s in self.speed_ups if abs((s.from_deg - from_deg + 180) % 360 - 180) <= 11.25 + 1e-9]
        return max(near, key=lambda s: s.at_dish, default=self.worst)


def with_height(above_ground_m: float) -> float:
    """Times the speed at 10 m over open ground: the larger of power law (1/7) and logarithmic law (0.03 m)."""
    return float(max(speed_at_height(1.0, above_ground_m), speed_at_height_log(1.0, above_ground_m)))


def speed_up(grid: Grid, spot: Spot, from_deg: float, wind: Wind, dish_m: float, mast_m: float) -> SpeedUp | None:
    """Speed-up for wind from one true bearing; None where too little ground upwind is known."""
    bearing = math.radians(from_deg - grid.convergence_deg(spot.x, spot.y))
    step = max(grid.cell_size_m, 5.0)
    along = np.arange(-math.floor(REACH_M / step), math.floor(BEHIND_M / step) + 1) * step
    z = grid.sample(spot.x - along * math.sin(bearing), spot.y - along * math.cos(bearing))
    gaps = np.flatnonzero(~np.isfinite(z))
    before, behind = gaps[along[gaps] <= 0], gaps[along[gaps] > 0]
    first = int(before[-1]) + 1 if len(before) else 0
    last = int(behind[0]) if len(behind) else len(along)
    along, z = along[first:last], z[first:last]
    if not len(along) or -along[0] < LEAST_REACH_M:
        return None
    # a tenth of the full reach is near enough to be the crest of this place, whatever the reach known
    form = landform_along(along, z)
    if form is None:
        dish = mast = 1.0
    else:
        shape = (form.height_m, form.half_length_m, form.from_crest_m)
        dish, mast = (
            math.sqrt(topographic_factor(form.landform, wind.exposure, *shape, height)) for height in (dish_m, mast_m)
        )
    return SpeedUp(
        from_deg,
        dish,
        mast * with_height(mast_m),
        form.landform if form is not None and dish > 1 else "",
    )


def site_wind(
    mission: Mission, grid: Grid, spot: Spot, mast_height_m: float, forecast: WindForecast | None
) -> SiteWind:
    """Speed-ups from sixteen bearings and, with a forecast, the hours above each limit at this spot.

    The forecast is taken as wind at 10 m over open ground. A gust that passes a limit counts even when the mean
    does not. The findings give advice; they rate nothing.
    """
    wind = mission.wind
    found = [speed_up(grid, spot, b, wind, mission.trailer.dish_height_m, mast_height_m) for b in BEARINGS_DEG]
    known = tuple(s for s in found if s is not None)
    worst = max(known, key=lambda s: (s.at_dish, -s.from_deg), default=None)
    bare = SiteWind(
        known,
        worst,
        len(found) - len(known),
        None if worst is None else wind.tracking_limit_m_s / worst.at_dish,
        None if worst is None else wind.stow_limit_m_s / worst.at_dish,
        None,
        None,
        (),
        METHOD,
        (),
    )
    if forecast is None:
        return bare
    here = [bare.at(d) for d in forecast.direction_deg]
    open_wind = np.array(forecast.worst_m_s())
    at_dish = open_wind * [1.0 if s is None else s.at_dish for s in here]
    at_mast = open_wind * [with_height(mast_height_m) if s is None else s.at_mast for s in here]
    hours = np.array([(t - forecast.times[0]).total_seconds() / 3600 for t in forecast.times])
    spans = tuple(
        _span(name, forecast, start, end)
        for name, limit in (("tracking", wind.tracking_limit_m_s), ("stow", wind.stow_limit_m_s))
        for start, end in _hours_above(hours, at_dish, limit)
    )
    peak_dish, peak_mast = float(np.nanmax(at_dish)), float(np.nanmax(at_mast))
    return SiteWind(
        known,
        worst,
        bare.unknown_bearings,
        bare.open_tracking_limit_m_s,
        bare.open_stow_limit_m_s,
        peak_dish,
        peak_mast,
        spans,
        METHOD,
        _findings(mission, mast_height_m, peak_dish, peak_mast, spans),
    )


def _hours_above(hours: np.ndarray, values: np.ndarray, limit: float) -> list[tuple[float, float]]:
    if len(hours) == 1:
        return [(0.0, 0.0)] if values[0] > limit else []
    return spans_above(hours, values, limit)


def _span(name: str, forecast: WindForecast, start_h: float, end_h: float) -> Span:
    from datetime import timedelta

    zero = forecast.times[0]
    start, end = (
        (zero + timedelta(hours=h)).replace(second=0, microsecond=0).isoformat(timespec="minutes")
        for h in (start_h, end_h)
    )
    return Span(name, start, end, end_h - start_h)


def _findings(
    mission: Mission, mast_height_m: float, peak_dish: float, peak_mast: float, spans: tuple[Span, ...]
) -> tuple[Finding, ...]:
    wind = mission.wind
    out = []
    for name, what in (("stow", "the dish stows"), ("tracking", "the dish may lose the satellite")):
        hours = sum(s.hours for s in spans if s.limit == name)
        if any(s.limit == name for s in spans):
            out.append(
                Finding(
                    f"wind_{name}",
                    "caution" if name == "stow" else "warning",
                    f"Forecast gusts reach {peak_dish / MPH_M_S:.0f} mph ({peak_dish:.0f} m/s) at the dish: {what} for "
                    f"about {hours:.1f} h.",
                    "Tell those who rely on the service; have a second way to talk for these hours.",
                )
            )
    if peak_mast > wind.tracking_limit_m_s:
        lower = [s for s in mission.trailer.mast_stops_m if s < mast_height_m]
        down = f"Use a lower stop ({', '.join(f'{s:g}' for s in lower)} m) or guy" if lower else "Guy"
        out.append(
            Finding(
                "wind_mast",
                "caution",
                f"Forecast gusts reach {peak_mast / MPH_M_S:.0f} mph ({peak_mast:.0f} m/s) at the top of the mast at "
                f"{mast_height_m:g} m.",
                f"{down} as the unit's manual says before the wind rises; lower the mast when the manual says so. "
                "This is advice, not a rating of the mast.",
            )
        )
    return tuple(out)
