"""Which way to park: least roll within the limits, the mast out of the dish's line, the nose toward the way out."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.geodesy import wrap_180_deg, wrap_360_deg
from siteplanner.core.terrain import attitude, best_heading, jack_lifts_m

MORE_LIKELY_THAN_NOT = 0.5  # a chance
_STEP_DEG = 0.5
_STEPS = 100  # slopes up to the limit that a mean is taken over


def mast_in_beam(
    heading_deg: ArrayLike,
    azimuth_deg: ArrayLike,
    mast_ahead_m: float,
    mast_right_m: float,
    dish_diameter_m: float,
    mast_width_m: float,
) -> Any:
    """Whether the mast stands in the dish's line toward `azimuth_deg` with the nose toward `heading_deg`. Broadcasts.

    Near a dish its beam is as wide as the dish. In plan, with the mast a m ahead of the dish (toward the nose) and b m
    to its right, and d = azimuth - heading: it stands a cos d + b sin d along the line and b cos d - a sin d beside
    it; it is in the way when ahead of the dish and nearer than half of dish and mast together. Closed form.
    """
    d = np.radians(np.asarray(azimuth_deg, float) - np.asarray(heading_deg, float))
    along = mast_ahead_m * np.cos(d) + mast_right_m * np.sin(d)
    beside = mast_right_m * np.cos(d) - mast_ahead_m * np.sin(d)
    return ((along > 0) & (np.abs(beside) < (dish_diameter_m + mast_width_m) / 2))[()]


def parking_heading(
    east_gradient: float,
    north_gradient: float,
    max_tilt_deg: float,
    length_m: float,
    width_m: float,
    jack_travel_m: float,
    prefer_deg: float | None = None,
    level_deg: float = 0.0,
    shaded: Any = None,
) -> float:
    """Grid bearing of the nose with the least roll among the headings that fit; NaN where none does.

    A heading fits when roll and pitch stay within `max_tilt_deg`, no jack lifts more than `jack_travel_m`, and
    `shaded(headings)` (bool per heading) is False. Rolls up to `level_deg` count as none; among equals the nose is
    nearest to `prefer_deg`, without it to downhill. Headings are tried every half degree, and besides them the
    exact answer of `terrain.best_heading` and the preferred one.
    """
    if not (math.isfinite(east_gradient) and math.isfinite(north_gradient)):
        return math.nan
    downhill = math.degrees(math.atan2(-east_gradient, -north_gradient))
    wanted = downhill if prefer_deg is None else prefer_deg
    exact = best_heading(east_gradient, north_gradient, max_tilt_deg, max_tilt_deg, prefer_deg, level_deg)
    tried = np.concatenate([[exact, wanted % 360], np.arange(0, 360, _STEP_DEG)])
    tried = tried[np.isfinite(tried)]
    roll, pitch = attitude(east_gradient, north_gradient, tried)
    lift = np.max(list(jack_lifts_m(east_gradient, north_gradient, tried, length_m, width_m).values()), axis=0)
    rim = 1e-9
    fits = (np.abs(roll) <= max_tilt_deg + rim) & (np.abs(pitch) <= max_tilt_deg + rim) & (lift <= jack_travel_m + rim)
    if shaded is not None:
        fits &= ~np.asarray(shaded(tried), bool)
    if not fits.any():
        return math.nan
    cost = np.round(np.maximum(np.abs(roll), level_deg), 6)
    off = np.abs(wrap_180_deg(tried - wanted))
    order = np.lexsort((off, cost, ~fits))
    return float(wrap_360_deg(tried[order[0]]))


def steepest_for_jacks_deg(length_m: float, width_m: float, jack_travel_m: float) -> float:
    """The steepest slope that the jacks can level at some heading.

    The largest lift L |cos| g + W |sin| g over all headings is least along the trailer's shorter side: min(L, W) g.
    """
    return math.degrees(math.atan(jack_travel_m / min(length_m, width_m)))


def expected_level(slope_deg: float, limit_deg: float, uncertainty_deg: float) -> float:
    """Mean of 1 - slope / limit, 0 above the limit, over what the true slope may be; as `chance_above` has it.

    Without a doubt (0 or NaN) it is that of the slope told. The mean of the straight line from 1 at level to 0 at the
    limit is the mean chance to lie below a slope, over all slopes up to the limit. NaN for an unknown slope.
    """
    if not math.isfinite(slope_deg):
        return math.nan
    if not uncertainty_deg > 0:
        return min(max(1 - slope_deg / limit_deg, 0.0), 1.0)
    below = (np.arange(_STEPS) + 0.5) / _STEPS * limit_deg
    return float(1 - np.mean(chance_above(slope_deg, below, uncertainty_deg)))


def chance_above(slope_deg: ArrayLike, limit_deg: ArrayLike, uncertainty_deg: ArrayLike) -> Any:
    """Chance that the true slope is above a limit, from the slope told and one standard deviation of a gradient's part.

    Both parts of the gradient err alike and by themselves (normal): its length then follows Rice's distribution,
    whose tail is that of a noncentral chi-square with 2 degrees of freedom at (limit / sd)^2. Broadcasts.
    """
    from scipy.special import chndtr

    told, limit, sd = (np.tan(np.radians(np.asarray(v, float))) for v in (slope_deg, limit_deg, uncertainty_deg))
    with np.errstate(divide="ignore", invalid="ignore"):
        tail = 1 - chndtr((limit / sd) ** 2, 2, (told / sd) ** 2)
    chance = np.where(sd > 0, np.clip(tail, 0, 1), np.where(told > limit, 1.0, 0.0))
    return np.where(np.isfinite(told) & np.isfinite(sd), chance, np.nan)[()]
