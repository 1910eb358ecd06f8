"""What wind the mast stands at a stop, as the mission says from the manual. Nothing is put in place of a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from siteplanner.mission import Mission


@dataclass(frozen=True)
class MastLimit:
    """NaN: not stated; read the manual."""

    stop_m: float
    guyed: bool
    limit_m_s: float  # at the top of the mast
    raising_m_s: float  # above it the mast is neither raised nor lowered

    @property
    def stated(self) -> bool:
        """Whether the mission says what the raised mast stands."""
        return math.isfinite(self.limit_m_s)


def mast_limit(mission: Mission, stop_m: float) -> MastLimit:
    """The limit at a stop, guyed or not as the mission says; between stops that of the next one up.

    A guyed mast without a limit of its own is held to the one without guys, which it stands as well.
    """
    wind, stops = mission.wind, mission.trailer.mast_stops_m
    free, guyed = (_at(limits, stops, stop_m) for limits in (wind.mast_limit_unguyed_m_s, wind.mast_limit_guyed_m_s))
    limit = free if not wind.mast_guyed or math.isnan(guyed) else guyed
    raising = wind.mast_limit_raising_m_s
    return MastLimit(stop_m, wind.mast_guyed, limit, math.nan if raising is None else raising)


def _at(limits: tuple[float, ...], stops: tuple[float, ...], stop_m: float) -> float:
    if not limits:
        return math.nan
    if len(limits) == 1:
        return limits[0]
    return limits[next((k for k, stop in enumerate(stops) if stop >= stop_m - 1e-6), len(stops) - 1)]
