"""Errors that all spots share: how far radio model and handsets are off everywhere, how slow hour and crew are.

They move every spot at once: the share of each by its own amount, for a spot with many cells near the edge of service
moves more than one that looks down into a bowl.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from siteplanner.mission import Mission
from siteplanner.planning.site.timeline import pert
from siteplanner.planning.spots.evaluation import Access, Coverage

_GRID = np.linspace(-5.0, 5.0, 21)  # standard deviations at which points are worked out; straight lines between
_RIM = 1e-9


@dataclass(frozen=True, eq=False)
class Shared:
    """Standard normal draws of what all spots share, one entry a draw. Positive: better radio, a slower hour."""

    radio: np.ndarray
    hour: np.ndarray


def draw_shared(rng: np.random.Generator, draws: int) -> Shared:
    """One set of draws for all spots."""
    return Shared(rng.standard_normal(draws), rng.standard_normal(draws))


OF_THE_SIGNAL = ("season_db", "handset_db")
"""Fields of `doubts` that are in the shared error beside the model's own; readings narrow all three alike."""


def radio_spread_db(mission: Mission) -> float:
    """One standard deviation of what is the same everywhere: the model's own error, season and clutter, handsets."""
    return math.hypot(mission.radio.model_sigma_db, *(getattr(mission.doubts, name) for name in OF_THE_SIGNAL))


def share_off(served: Coverage, shared: Shared, mission: Mission) -> np.ndarray:
    """Points of share by which the model's error moves one spot's share in each draw.

    `share_low` and `share_high` are the shares one model error down and up. Between and beyond them the share is the
    normal distribution of a straight line, P(a + b z), whose mean over z is P(a / sqrt(1 + b^2)): closed form, so that
    the mean of the draws stays the share told. Zero where nobody worked the two out.
    """
    model_db = mission.radio.model_sigma_db
    ends = np.array([served.share_low, served.share_high, served.share])
    if not (np.isfinite(ends).all() and model_db > 0 and 0 < served.share < 1):
        return np.zeros_like(shared.radio)
    low, high, told = ndtri(np.clip(ends, _RIM, 1 - _RIM))
    per_sd = max(high - low, 0.0) / 2 * radio_spread_db(mission) / model_db
    moved = ndtr(told * math.hypot(1.0, per_sd) + per_sd * shared.radio)
    return 100 * (moved - served.share)


def points_off(served: Coverage, shared: Shared, mission: Mission) -> np.ndarray:
    """The same of the mean probability at the must-serve points, from each point's margin.

    Where the margin stands m dB above what is needed, a share P((m + e) / s) of the places there is served while the
    model is off by e; s is the variability from place to place.
    """
    spread_db, place_db = radio_spread_db(mission), mission.radio.location_sigma_db
    margins = np.array([p.margin_db for p in served.must_serve if math.isfinite(p.margin_db)])
    if not len(margins) or not spread_db > 0:
        return np.zeros_like(shared.radio)
    place_db = max(place_db, _RIM)
    moved = ndtr((margins[:, None] + spread_db * _GRID) / place_db).sum(0)
    told = ndtr(margins / math.hypot(place_db, spread_db)).sum()
    return np.interp(shared.radio, _GRID, 100 * (moved - told) / len(served.must_serve))


def drive_off(access: Access, shared: Shared, mission: Mission) -> np.ndarray:
    """Minutes by which the hour and the crew move one drive: of the drive's own range the part that is alike."""
    low, likely, high = access.drive_low_s / 60, access.drive_time_s / 60, access.drive_high_s / 60
    if not (math.isfinite(low) and math.isfinite(high)):
        return np.zeros_like(shared.hour)
    return math.sqrt(mission.times.parts_alike) * pert(low, likely, high)[1] * shared.hour
