"""What wind the mast stands at a stop, as the mission says from the manual. Nothing is put in place of a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from siteplanner.core.constants import MPH_M_S
from siteplanner.mission import Mission

FIELD_MANUALS_RAISING_M_S = 25 * MPH_M_S
"""Wind above which raising a mast asks for extra care and a hand on the windward guy (US Army Subcourse SS0732,
"Antenna erection"); it names neither gust nor mean, so gusts are taken. Told where the mission states no limit for
raising, and never as the unit's own."""


@dataclass(frozen=True)
class MastLimit:
    """NaN: not stated; read the manual."""

    stop_m: float
    guyed: bool
    limit_m_s: float  # at the top of the mast
    raising_m_s: float  # above it the mast is neither raised nor lowered, as the mission says

    @property
    def stated(self) -> bool:
        """Whether the mission says what the raised mast stands."""
        return math.isfinite(self.limit_m_s)

    @property
    def raising_stated(self) -> bool:
        """Whether the mission says up to which wind the mast is raised."""
        return math.isfinite(self.raising_m_s)

    @property
    def raise_below_m_s(self) -> float:
        """Up to which wind the mast is raised and lowered: the mission's figure, else that of field manuals."""
        return self.raising_m_s if self.raising_stated else FIELD_MANUALS_RAISING_M_S


def mast_limit(mission: Mission, stop_m: float) -> MastLimit:
    """The limit at a stop, guyed or not as the mission says; between stops that of the next one up.

    A guyed mast without a limit of its own is held to the one without guys, which it stands as well.
    """
    wind, stops = mission.wind, mission.trailer.mast_stops_m
    free, guyed = (
        at_stop(limits, stops, stop_m) for limits in (wind.mast_limit_unguyed_m_s, wind.mast_limit_guyed_m_s)
    )
    limit = free if not mission.guys or math.isnan(guyed) else guyed
    raising = wind.mast_limit_raising_m_s
    return MastLimit(stop_m, mission.guys > 0, limit, math.nan if raising is None else raising)


def at_stop(limits: tuple[float, ...], stops: tuple[float, ...], stop_m: float) -> float:
    """The limit of a stop, of the next one up between two; NaN where none is stated."""
    if not limits:
        return math.nan
    if len(limits) == 1:
        return limits[0]
    return limits[next((k for k, stop in enumerate(stops) if stop >= stop_m - 1e-6), len(stops) - 1)]
