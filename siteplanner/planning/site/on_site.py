"""What waits on a spot that is handed over: times, wind, distances. No weights in it, nothing that ranks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from siteplanner.data.grid import Grid
from siteplanner.mission import Mission
from siteplanner.planning.limits.keep_away import AntennaKeepAway, antenna_keep_away
from siteplanner.planning.site.clock import Clock, Threat, clock
from siteplanner.planning.site.site_wind import SiteWind, site_wind
from siteplanner.planning.site.timeline import Moments, Timeline, timeline
from siteplanner.planning.study.spot import Spot

if TYPE_CHECKING:
    from siteplanner.data.forecast import WindForecast


@dataclass(frozen=True)
class HazardNear:
    """A hazard area, how far from the spot it lies, and whether the drive goes through it."""

    name: str  # '': not named
    distance_m: float
    on_the_drive: bool
    near_drive: bool = False  # so near that its rim may reach the road
    near_spot: bool = False
    comes: datetime | None = None  # None: not known
    goes: datetime | None = None

    @property
    def threats(self) -> tuple[Threat, ...]:
        """What it may reach: the drive, the spot, or neither."""
        places: tuple[tuple[Literal["spot", "drive"], bool], ...] = (
            ("drive", self.near_drive),
            ("spot", self.near_spot),
        )
        return tuple(Threat(self.name, place, self.comes, self.goes) for place, near in places if near)


@dataclass(frozen=True)
class OnSite:
    """None where it cannot be told: no way in, no elevation around."""

    timeline: Timeline | None
    wind: SiteWind | None
    antennas: tuple[AntennaKeepAway, ...]
    hazards: tuple[HazardNear, ...]  # the nearest first
    clock: Clock | None = None

    @property
    def public_keep_away_m(self) -> float | None:
        """What the public keeps from the front of a sector antenna; None where no limit is known."""
        return next((row.keep_m for row in self.antennas if row.people == "public" and row.antenna == "sector"), None)


def on_site(
    mission: Mission,
    grid: Grid,
    spot: Spot,
    moments: Moments | None,
    mast_height_m: float | None,
    hazards: tuple[HazardNear, ...],
    forecast: WindForecast | None,
    antennas: tuple[AntennaKeepAway, ...] | None = None,
) -> OnSite:
    """Timeline, wind and distances of one spot; without a mast stop chosen, for the highest.

    `antennas` None: the sectors alone, on bearings that are not known.
    """
    mast = max(mission.trailer.mast_stops_m) if mast_height_m is None else mast_height_m
    times = None
    if moments is not None:
        times = timeline(mission, moments, spot.latitude, spot.longitude, spot.elevation_m)
    rows = antenna_keep_away(mission, mast) if antennas is None else antennas
    wind = site_wind(mission, grid, spot, mast, forecast)
    threats = [threat for hazard in hazards for threat in hazard.threats]
    hours = None if times is None else clock(mission, times, threats, wind)
    return OnSite(times, wind, rows, hazards, hours)
