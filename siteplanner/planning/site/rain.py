"""Rain, cloud and gas on the satellite link: attenuation, and the share of the year in which the link's margin holds.

By the ITU-R methods that the package `itur` carries (P.618-13 with 676, 837, 838, 839, 840). The package is an
optional extra (`rain`): without it there is no figure, and a note says how to get one. Nothing here ranks a spot.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from dataclasses import dataclass

from siteplanner.core.geodesy import look_angles
from siteplanner.mission import Mission

LEAST_PERCENT, MOST_PERCENT = 0.001, 50.0  # of the average year: where P.618-13 holds
LEAST_ELEVATION_DEG = 5.0  # P.618-13 section 2.2.1.1 holds from there up
EFFICIENCY = 0.65  # of the dish, for scintillation; common practice
HALVINGS = 12  # of the logarithm: to 1 % of the unavailable share


@dataclass(frozen=True)
class RainLink:
    """One satellite at one place; percent are of an average year."""

    satellite_name: str
    satellite_longitude_deg: float
    attenuation_1_pct_db: float  # exceeded for 1 % of the year (88 hours): rain, cloud, gas, scintillation
    attenuation_01_pct_db: float  # exceeded for 0.1 % (9 hours)
    available_pct: float  # of the year with no more attenuation than the margin; at most 99.999, at least 50


@dataclass(frozen=True)
class Rain:
    """Of the satellites named that stand high enough; none where the optional package is `absent`."""

    frequency_ghz: float
    margin_db: float
    links: tuple[RainLink, ...]
    absent: bool = False
    too_low: tuple[str, ...] = ()  # satellites below the least elevation of the method


def attenuation_db(
    latitude: float,
    longitude: float,
    height_m: float,
    elevation_deg: float,
    tilt_deg: float,
    frequency_ghz: float,
    diameter_m: float,
    percent: float,
) -> float | None:
    """Total attenuation exceeded for a share of the average year, dB (P.618-13 section 2.5); None without `itur`.

    `tilt_deg`: polarization against the horizontal. Degrees, metres. Below 1 % of the year gas and cloud stand at
    their 1 % values, as P.618-13 has it.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import itur

            found = itur.atmospheric_attenuation_slant_path(
                latitude,
                longitude,
                frequency_ghz,
                elevation_deg,
                percent,
                diameter_m,
                hs=max(height_m, 0.0) / 1000,
                eta=EFFICIENCY,
                tau=tilt_deg,
            )
    except ImportError:
        return None
    return float(getattr(found, "value", found))


def available_pct(margin_db: float, attenuation: Callable[[float], float]) -> float:
    """Share of the year, percent, in which `attenuation(percent)` stays within the margin; it falls with percent."""
    low, high = LEAST_PERCENT, MOST_PERCENT
    if attenuation(low) <= margin_db:
        return 100 - low
    if attenuation(high) > margin_db:
        return 100 - high
    for _ in range(HALVINGS):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if attenuation(middle) <= margin_db else (middle, high)
    return 100 - high


def rain(mission: Mission, latitude: float, longitude: float, height_m: float) -> Rain:
    """Of every satellite that the mission names, at one place; a county's width changes it by hundredths of a dB."""
    sky = mission.sky
    links = []
    low = []
    for satellite in sky.satellites:
        name = satellite.name or f"{satellite.longitude_deg:g} deg"
        _, elevation, skew = (float(v) for v in look_angles(latitude, longitude, height_m, satellite.longitude_deg))
        if elevation < LEAST_ELEVATION_DEG:
            low.append(name)
            continue
        tilt = 45.0 if math.isnan(skew) else 90.0 - abs(skew)  # vertical polarization, turned by the skew

        def attenuation(percent: float, elevation: float = elevation, tilt: float = tilt) -> float:
            found = attenuation_db(
                latitude, longitude, height_m, elevation, tilt, sky.downlink_ghz, sky.dish_diameter_m, percent
            )
            return math.nan if found is None else found

        at_1 = attenuation(1.0)
        if math.isnan(at_1):
            return Rain(sky.downlink_ghz, sky.link_margin_db, (), absent=True)
        share = available_pct(sky.link_margin_db, attenuation)
        links.append(RainLink(name, satellite.longitude_deg, at_1, attenuation(0.1), share))
    return Rain(sky.downlink_ghz, sky.link_margin_db, tuple(links), too_low=tuple(low))
