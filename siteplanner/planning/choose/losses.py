"""Spots that a drawn error takes out: a road too steep for the rig, ground too steep, a backhaul that fails.

A spot that would break a limit in a draw is out in that draw: it leads nothing there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from siteplanner.mission import Mission
from siteplanner.planning.choose.luck import luck_of_road
from siteplanner.planning.choose.ranked import LossCause
from siteplanner.planning.spots.evaluation import Evaluation, Ground
from siteplanner.planning.spots.lines import Backhaul


def road_losses(spots: Sequence[Evaluation], draws: int) -> np.ndarray:
    """(spots, draws) bool: a road of the drive is too steep, and no other way leads there.

    One draw for each road, whichever spots hang on it: those behind its steepest stretch are lost first.
    """
    lost = np.zeros((len(spots), draws), bool)
    luck: dict[str, np.ndarray] = {}
    for k, e in enumerate(spots):
        for near in e.access.near_limit if e.access is not None else ():
            if near.road not in luck:
                luck[near.road] = luck_of_road(near.road).random(draws)
            if not near.way_round:
                lost[k] |= luck[near.road] < near.chance
    return lost


def true_slopes_deg(ground: Ground, along: np.ndarray, across: np.ndarray) -> np.ndarray:
    """Slopes that the ground may truly have: both parts of its gradient off by standard normal draws times the doubt.

    The chance that they are above a limit is that of `core.parking.chance_above`.
    """
    told, sd = (math.tan(math.radians(v)) for v in (ground.slope_deg, ground.slope_uncertainty_deg))
    return np.degrees(np.arctan(np.hypot(told + sd * along, sd * across)))


def ground_losses(ground: Ground, slopes_deg: np.ndarray, along: np.ndarray, mission: Mission) -> np.ndarray:
    """(draws,) bool: the true slope is above the limit, or a jack would have to lift more than it can.

    The lift is off with the slope along which it is told, by its own doubt; tilted the other way, other jacks lift.
    """
    lost = slopes_deg > mission.trailer.max_slope_deg
    lift, doubt = ground.largest_lift_m, ground.lift_uncertainty_m
    if math.isfinite(lift) and math.isfinite(doubt):
        lost = lost | (np.abs(lift + doubt * along) > mission.trailer.jack_travel_m)
    return lost


@dataclass(frozen=True)
class Carrier:
    """A backhaul that works at a spot as it is told: its margin, the least that it needs, and the margin's doubt."""

    margin: float
    least: float
    doubt: float


def carriers(e: Evaluation, mission: Mission) -> list[Carrier]:
    """Those that work, in the order in which they are used."""
    if not e.backhauls and e.look is not None:  # a spot put together by hand: the dish alone
        return [Carrier(e.look.margin_deg, mission.sky.min_margin_deg, sky_doubt_deg(e, mission))]
    return [_carrier(b, e, mission) for b in e.backhauls if b.verdict == "works"]


def _carrier(b: Backhaul, e: Evaluation, mission: Mission) -> Carrier:
    if b.kind == "geostationary":
        return Carrier(b.margin, mission.sky.min_margin_deg, sky_doubt_deg(e, mission))
    if b.kind == "open_sky":
        return Carrier(100 * b.margin, 100 * mission.backhaul.open_sky.min_clear_share, 0.0)
    return Carrier(b.margin, 0.0, mission.doubts.link_margin_db)


def sky_doubt_deg(e: Evaluation, mission: Mission) -> float:
    """One standard deviation of the sky margin: trees and roofs that no layer shows, or the elevation's own error."""
    own = math.nan if e.look is None else e.look.margin_error_deg  # of the elevation alone
    return max(mission.doubts.sky_margin_deg, own) if math.isfinite(own) else mission.doubts.sky_margin_deg


def without_first(e: Evaluation) -> Evaluation:
    """The same spot where the backhaul in use has failed: the next one that works carries the traffic."""
    used = e.backhaul
    return replace(e, backhauls=tuple(replace(b, verdict="fails") if b is used else b for b in e.backhauls))


CAUSES: tuple[LossCause, ...] = ("road", "ground", "backhaul")
"""Why a spot may be lost, in the order in which a call-out meets it."""
