"""Sun outages: when the sun stands behind the satellite and its noise drowns the link.

Twice a year the sun passes the satellite's declination as the dish sees it; for some days it then crosses the beam
once a day. An outage is the time in which the sun's disc touches the beam.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.core.antenna import dish_beam_deg
from siteplanner.core.geodesy import look_angles
from siteplanner.mission import Mission

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

SUN_RADIUS_DEG = 0.267  # mean; 0.262 in July, 0.271 in January (from memory)
SUN_DEG_PER_MIN = 0.25  # it turns by 15 deg an hour
DAYS = 366
SAMPLE_S = 10.0  # between samples; start and end lie on the straight line between two, good to a second
SEASON_GAP_DAYS = 3


@dataclass(frozen=True)
class SunOutage:
    """One pass of the sun through the beam. `start` and `end` carry the dispatch time's offset from UTC."""

    start: datetime
    end: datetime
    closest_deg: float  # between the sun's centre and the satellite

    @property
    def minutes(self) -> float:
        return (self.end - self.start).total_seconds() / 60


@dataclass(frozen=True)
class SatelliteOutages:
    """All of one satellite in the year asked about; empty: none (it stands too low, or the sun never crosses it)."""

    satellite_name: str
    satellite_longitude_deg: float
    outages: tuple[SunOutage, ...]

    @property
    def seasons(self) -> tuple[tuple[SunOutage, ...], ...]:
        """Runs of neighbouring days, usually one in spring and one in autumn."""
        out: list[list[SunOutage]] = []
        for outage in self.outages:
            if out and outage.start - out[-1][-1].start < timedelta(days=SEASON_GAP_DAYS):
                out[-1].append(outage)
            else:
                out.append([outage])
        return tuple(tuple(season) for season in out)


@dataclass(frozen=True)
class SunOutages:
    """Of the mission's satellites, at one place, for a year from dispatch (today where no dispatch is named)."""

    latitude: float
    longitude: float
    first_day: date
    beam_deg: float
    half_width_deg: float
    satellites: tuple[SatelliteOutages, ...]


def half_width_deg(diameter_m: float, frequency_ghz: float) -> float:
    """How near the sun's centre may come: half the beam and the sun's own radius."""
    return dish_beam_deg(diameter_m, frequency_ghz) / 2 + SUN_RADIUS_DEG


def hour_angle_declination(
    latitude: float, azimuth_deg: ArrayLike, elevation_deg: ArrayLike
) -> tuple[np.ndarray, np.ndarray]:
    """Hour angle (west positive) and declination of a direction, degrees. Any handbook of spherical astronomy."""
    lat, az, el = (np.radians(v) for v in (latitude, azimuth_deg, elevation_deg))
    sine = np.sin(lat) * np.sin(el) + np.cos(lat) * np.cos(el) * np.cos(az)
    hour = np.arctan2(-np.sin(az) * np.cos(el), np.cos(lat) * np.sin(el) - np.sin(lat) * np.cos(el) * np.cos(az))
    return np.degrees(hour), np.degrees(np.arcsin(np.clip(sine, -1, 1)))


def _sun(moments: np.ndarray, latitude: float, longitude: float, height_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Azimuth and geometric elevation (no refraction: it lifts sun and satellite alike), degrees; NREL SPA."""
    import pandas as pd
    import pvlib

    index = pd.DatetimeIndex(moments.ravel().astype("datetime64[ns]"), tz="UTC")
    table = pvlib.solarposition.get_solarposition(index, latitude, longitude, altitude=height_m)
    return (table["azimuth"].to_numpy().reshape(moments.shape), table["elevation"].to_numpy().reshape(moments.shape))


def outages_of(
    latitude: float,
    longitude: float,
    height_m: float,
    satellite_longitude_deg: float,
    first: datetime,
    half_deg: float,
    days: int = DAYS,
) -> tuple[SunOutage, ...]:
    """Sun outages at a place toward one slot from a moment on (with its offset), in order of time.

    WGS 84 degrees, metres. Sun by the NREL solar position algorithm (pvlib), satellite by `core.geodesy`; the sun's
    centre comes nearer than `half_deg`. Empty for a satellite below the horizon.
    """
    azimuth, elevation, _ = (float(v) for v in look_angles(latitude, longitude, height_m, satellite_longitude_deg))
    if elevation <= 0:
        return ()
    azimuth = 0.0 if math.isnan(azimuth) else azimuth
    hour, declination = (float(v) for v in hour_angle_declination(latitude, azimuth, elevation))
    zone: tzinfo = first.tzinfo or UTC
    begin = np.datetime64(first.astimezone(UTC).replace(tzinfo=None), "ms")
    midnight = begin.astype("datetime64[D]").astype("datetime64[ms]")
    # when the sun has the satellite's hour angle: first by mean time, then set right by where it really stands
    mean_s = ((12.0 - longitude / 15 + hour / 15) % 24) * 3600
    near = midnight + (np.arange(-1, days + 1) * 86_400_000 + round(mean_s * 1000)).astype("timedelta64[ms]")
    for _ in range(2):
        sun_hour, sun_declination = hour_angle_declination(latitude, *_sun(near, latitude, longitude, height_m))
        late_deg = (sun_hour - hour + 180) % 360 - 180
        near = near - np.round(late_deg / 15 * 3_600_000).astype("timedelta64[ms]")
    # a quarter of a degree a minute is the sun's own pace on the equator; two minutes more to be sure
    candidates = near[np.abs(sun_declination - declination) < half_deg + 0.05]
    reach_s = (half_deg / SUN_DEG_PER_MIN / math.cos(math.radians(declination)) + 2) * 60
    steps = np.arange(-reach_s, reach_s + SAMPLE_S, SAMPLE_S)
    out = []
    if len(candidates):
        moments = candidates[:, None] + np.round(steps * 1000).astype("timedelta64[ms]")
        apart = _apart_deg(azimuth, elevation, *_sun(moments, latitude, longitude, height_m))
        for when, row in zip(candidates, apart, strict=True):
            inside = np.flatnonzero(row < half_deg)
            if not len(inside):
                continue
            start, end = (
                when.astype(datetime).replace(tzinfo=UTC) + timedelta(seconds=_crossing(steps, row, half_deg, k, side))
                for k, side in ((int(inside[0]), -1), (int(inside[-1]), 1))
            )
            if first <= end and start < first + timedelta(days=days):
                out.append(SunOutage(start.astimezone(zone), end.astimezone(zone), float(row.min())))
    return tuple(out)


def _crossing(steps: np.ndarray, row: np.ndarray, half_deg: float, inside: int, side: int) -> float:
    """Seconds at which the separation passes the limit, between a sample inside and its neighbour outside."""
    outside = min(max(inside + side, 0), len(row) - 1)
    if outside == inside:
        return float(steps[inside])
    share = (half_deg - row[inside]) / (row[outside] - row[inside])
    return float(steps[inside] + share * (steps[outside] - steps[inside]))


def _apart_deg(azimuth: float, elevation: float, azimuths: np.ndarray, elevations: np.ndarray) -> np.ndarray:
    """Angle between directions, by the haversine (exact near 0)."""
    turn, rise = np.radians(azimuths - azimuth) / 2, np.radians(elevations - elevation) / 2
    half = np.sin(rise) ** 2 + math.cos(math.radians(elevation)) * np.cos(np.radians(elevations)) * np.sin(turn) ** 2
    return np.degrees(2 * np.arcsin(np.sqrt(half)))


def sun_outages(mission: Mission, latitude: float, longitude: float, height_m: float) -> SunOutages:
    """Of every satellite that the mission names, for a year. A county's width moves the times by seconds."""
    sky, dispatch = mission.sky, mission.times.dispatch
    first = dispatch or datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    half = half_width_deg(sky.dish_diameter_m, sky.downlink_ghz)
    return SunOutages(
        latitude,
        longitude,
        first.date(),
        dish_beam_deg(sky.dish_diameter_m, sky.downlink_ghz),
        half,
        tuple(
            SatelliteOutages(
                s.called,
                s.longitude_deg,
                outages_of(latitude, longitude, height_m, s.longitude_deg, first, half),
            )
            for s in sky.satellites
        ),
    )
