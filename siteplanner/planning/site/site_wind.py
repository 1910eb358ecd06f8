"""Wind at a spot: how much the ground speeds it up, and when a forecast passes the unit's limits there."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from siteplanner.core.wind import (
    Condition,
    gust_over_mean,
    landform_along,
    spans_above,
    topographic_factor,
    unmet_conditions,
    with_height,
)
from siteplanner.data.forecast import WindForecast
from siteplanner.data.grid import Grid
from siteplanner.errors import Finding
from siteplanner.mission import Mission, Wind
from siteplanner.planning.site.mast_wind import MastLimit, mast_limit
from siteplanner.planning.study.spot import Spot

REACH_M = 3219.0  # 2 miles upwind, the reach of ASCE 7-16 section 26.8.1
LEAST_REACH_M = 800.0  # with less known ground upwind nothing is said. Common practice, no source
BEHIND_M = 800.0
BEARINGS_DEG = tuple(22.5 * k for k in range(16))
METHOD = (
    "ASCE 7-16 section 26.8, Figure 26.8-1; speed grows with the root of the factor; where conditions 1 to 3 of "
    "26.8.1 do not hold the factor is kept and the condition named"
)

LimitName = Literal["mast", "raising", "stow", "tracking"]


@dataclass(frozen=True)
class SpeedUp:
    """Times the wind at 10 m over open country, for wind from one bearing: at dish height and at the top of the mast.

    `ground` is the part of the ground alone, at the dish. `unmet`: conditions of the rule that do not hold here.
    """

    from_deg: float  # true
    at_dish: float
    at_mast: float
    ground: float
    landform: str  # ridge, escarpment, '' for none
    unmet: tuple[Condition, ...] = ()


@dataclass(frozen=True)
class Span:
    """A time during which the wind at the spot is forecast above a limit."""

    limit: LimitName
    start: str  # ISO 8601 with the forecast's own offset
    end: str
    hours: float


@dataclass(frozen=True)
class GustsFrom:
    """Where the gusts come from: the column `gust`, or the column `speed` times a factor."""

    rows: int
    rows_with_gust: int
    factor: float  # for the rows without
    factor_stated: bool  # by the mission; False: by the table
    mean_min: int  # what the column `speed` is taken as a mean over


@dataclass(frozen=True)
class SiteWind:
    """`speed_ups` per bearing where the ground upwind is known; `worst` the largest at the dish."""

    speed_ups: tuple[SpeedUp, ...]
    worst: SpeedUp | None
    unknown_bearings: int
    # open-country wind at which the dish here is at its limit, worst bearing; None where no ground is known
    open_tracking_limit_m_s: float | None
    open_stow_limit_m_s: float | None
    limits_hold_for: Literal["gust", "mean"]  # of the dish
    mast: MastLimit
    mast_limits_hold_for: Literal["gust", "mean"]
    # the highest forecast wind of the kind that the limits hold for; None without a forecast
    forecast_peak_dish_m_s: float | None
    forecast_peak_mast_m_s: float | None
    gusts: GustsFrom | None  # None without a forecast
    spans: tuple[Span, ...]
    method: str
    findings: tuple[Finding, ...]
    forecast_from: tuple[str, str] | None = None  # its first and last hour, ISO 8601; None without a forecast

    def at(self, from_deg: float) -> SpeedUp | None:
        """The speed-up for wind from a bearing; the worst where the bearing or its ground is not known."""
        if math.isnan(from_deg):
            return self.worst
        near = [s for s in self.speed_ups if abs((s.from_deg - from_deg + 180) % 360 - 180) <= 11.25 + 1e-9]
        return max(near, key=lambda s: s.at_dish, default=self.worst)


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
    at_dish, at_mast = with_height(dish_m, wind.exposure), with_height(mast_m, wind.exposure)
    if form is None:
        return SpeedUp(from_deg, at_dish, at_mast, 1.0, "")
    shape = (form.height_m, form.half_length_m, form.from_crest_m)
    dish, mast = (
        math.sqrt(topographic_factor(form.landform, wind.exposure, *shape, height)) for height in (dish_m, mast_m)
    )
    if dish <= 1:
        return SpeedUp(from_deg, at_dish, mast * at_mast, 1.0, "")
    unmet = unmet_conditions(along, z, form)
    return SpeedUp(from_deg, dish * at_dish, mast * at_mast, dish, form.landform, unmet)


def site_wind(
    mission: Mission, grid: Grid, spot: Spot, mast_height_m: float, forecast: WindForecast | None
) -> SiteWind:
    """Speed-ups from sixteen bearings and, with a forecast, the hours above each limit at this spot.

    The forecast is taken as wind at 10 m over open ground; where it has no gust, the mean times a stated factor. Each
    limit is held against the gust or the mean, as the mission says of it. The findings give advice; they rate nothing.
    """
    wind, dish_m = mission.wind, mission.trailer.dish_height_m
    found = [speed_up(grid, spot, b, wind, dish_m, mast_height_m) for b in BEARINGS_DEG]
    known = tuple(s for s in found if s is not None)
    worst = max(known, key=lambda s: (s.at_dish, -s.from_deg), default=None)
    mast = mast_limit(mission, mast_height_m)
    bare = SiteWind(
        known,
        worst,
        len(found) - len(known),
        None if worst is None else wind.tracking_limit_m_s / worst.at_dish,
        None if worst is None else wind.stow_limit_m_s / worst.at_dish,
        wind.limits_hold_for,
        mast,
        wind.mast_limits_hold_for,
        None,
        None,
        None,
        (),
        METHOD,
        _not_stated(mast, wind.mast_limits_hold_for, None),
    )
    if forecast is None:
        return bare
    stated = wind.gust_factor is not None
    factor = wind.gust_factor if wind.gust_factor is not None else gust_over_mean(wind.forecast_mean_min)
    series = {"gust": np.array(forecast.gusts_m_s(factor)), "mean": np.array(forecast.speed_m_s)}
    here = [bare.at(d) for d in forecast.direction_deg]
    # over ground that is not known: the height alone
    heights = with_height(dish_m, wind.exposure), with_height(mast_height_m, wind.exposure)
    plain = SpeedUp(math.nan, heights[0], heights[1], 1.0, "")
    at_dish = series[wind.limits_hold_for] * [(s or plain).at_dish for s in here]
    up = np.array([(s or plain).at_mast for s in here])
    at_mast = series[wind.mast_limits_hold_for] * up
    raised_in = at_mast if mast.raising_stated else series["gust"] * up  # field manuals: the safer reading
    hours = np.array([(t - forecast.times[0]).total_seconds() / 3600 for t in forecast.times])
    limits: tuple[tuple[LimitName, np.ndarray, float], ...] = (
        ("mast", at_mast, mast.limit_m_s),
        ("raising", raised_in, mast.raise_below_m_s),
        ("tracking", at_dish, wind.tracking_limit_m_s),
        ("stow", at_dish, wind.stow_limit_m_s),
    )
    spans = tuple(
        _span(name, forecast, start, end)
        for name, values, limit in limits
        if math.isfinite(limit)
        for start, end in _hours_above(hours, values, limit)
    )
    peaks = float(np.nanmax(at_dish)), float(np.nanmax(at_mast))
    peak_raised = float(np.nanmax(raised_in))
    return replace(
        bare,
        forecast_peak_dish_m_s=peaks[0],
        forecast_peak_mast_m_s=peaks[1],
        gusts=GustsFrom(len(here), forecast.rows_with_gust, factor, stated, wind.forecast_mean_min),
        spans=spans,
        forecast_from=(forecast.times[0].isoformat(), forecast.times[-1].isoformat()),
        findings=(
            *_findings(mission, mast, *peaks, peak_raised, spans),
            *_not_stated(mast, wind.mast_limits_hold_for, peaks[1]),
        ),
    )


def highest_stop_m(mission: Mission, grid: Grid, spot: Spot, forecast: WindForecast | None) -> float | None:
    """The highest mast stop that the forecast wind allows at this spot, the lowest where it allows none.

    None where nothing says so: no forecast, or no limit of the mast stated.
    """
    stops = mission.trailer.mast_stops_m
    if forecast is None or not any(mast_limit(mission, stop).stated for stop in stops):
        return None
    for stop in reversed(stops):
        found = site_wind(mission, grid, spot, stop, forecast)
        if found.mast.stated and not any(span.limit == "mast" for span in found.spans):
            return stop
    return stops[0]


def _hours_above(hours: np.ndarray, values: np.ndarray, limit: float) -> list[tuple[float, float]]:
    if len(hours) == 1:
        return [(0.0, 0.0)] if values[0] > limit else []
    return spans_above(hours, values, limit)


def _span(name: LimitName, forecast: WindForecast, start_h: float, end_h: float) -> Span:
    from datetime import timedelta

    zero = forecast.times[0]
    start, end = (
        (zero + timedelta(hours=h)).replace(second=0, microsecond=0).isoformat(timespec="minutes")
        for h in (start_h, end_h)
    )
    return Span(name, start, end, end_h - start_h)


def _findings(
    mission: Mission,
    mast: MastLimit,
    peak_dish: float,
    peak_mast: float,
    peak_raised: float,
    spans: tuple[Span, ...],
) -> tuple[Finding, ...]:
    wind = mission.wind
    hours = {name: sum(s.hours for s in spans if s.limit == name) for name in {s.limit for s in spans}}
    out = []
    if "mast" in hours:
        lower = tuple(s for s in mission.trailer.mast_stops_m if s < mast.stop_m)
        out.append(
            Finding(
                "wind_mast",
                "warning",
                facts={
                    "peak_m_s": peak_mast,
                    "kind": wind.mast_limits_hold_for,
                    "limit_m_s": mast.limit_m_s,
                    "hours": hours["mast"],
                    "mast_height_m": mast.stop_m,
                    "guyed": mast.guyed,
                    "lower_stops_m": lower,
                },
            )
        )
    if "raising" in hours:
        out.append(
            Finding(
                "wind_raising",
                "warning",
                facts={
                    "peak_m_s": peak_raised,
                    "kind": wind.mast_limits_hold_for if mast.raising_stated else "gust",
                    "limit_m_s": mast.raise_below_m_s,
                    "hours": hours["raising"],
                    "stated": mast.raising_stated,
                },
            )
        )
    for name in ("stow", "tracking"):
        if name in hours:
            facts = {"peak_m_s": peak_dish, "kind": wind.limits_hold_for, "hours": hours[name]}
            out.append(Finding(f"wind_{name}", "notice" if name == "stow" else "check", facts=facts))
    return tuple(out)


def _not_stated(mast: MastLimit, kind: str, peak_m_s: float | None) -> tuple[Finding, ...]:
    """What the mission does not say of the mast: nobody has held the wind against it."""
    raising = mast.raising_stated
    if mast.stated and raising:
        return ()
    facts = {
        "mast_height_m": mast.stop_m,
        "guyed": mast.guyed,
        "standing_stated": mast.stated,
        "raising_stated": raising,
        "peak_m_s": peak_m_s,
        "kind": kind,
    }
    return (Finding("wind_mast_not_stated", "unknown", facts=facts),)
