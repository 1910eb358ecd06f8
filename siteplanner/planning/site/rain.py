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
ABSENT = "Rain on the satellite link is not worked out: install the extra `rain` (pip install siteplanner[rain])."


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
    """Of the satellites named that stand high enough; `note` says what is left out."""

    frequency_ghz: float
    margin_db: float
    links: tuple[RainLink, ...]
    note: str


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
            return Rain(sky.downlink_ghz, sky.link_margin_db, (), ABSENT)
        share = available_pct(sky.link_margin_db, attenuation)
        links.append(RainLink(name, satellite.longitude_deg, at_1, attenuation(0.1), share))
    note = f"Too low for the method (below {LEAST_ELEVATION_DEG:g} deg): {', '.join(low)}." if low else ""
    return Rain(sky.downlink_ghz, sky.link_margin_db, tuple(links), note)


def margin_sentence(made: Rain | None, satellite_name: str, clear_sky_db: float) -> str:
    """Link margin in clear sky and in rain, beside each other; not known where the rain was not worked out.

    In rain: the margin less the attenuation exceeded for 1 % and for 0.1 % of an average year. Gas and cloud are part
    of that; the noise that warm rain adds to the receiver is not.
    """
    link = next((k for k in made.links if k.satellite_name == satellite_name), None) if made is not None else None
    clear = f"Link margin toward {satellite_name}: {clear_sky_db:g} dB in clear sky"
    if link is None:
        return f"{clear}, in rain not known."
    often, rare = (
        round(clear_sky_db - a, 1) + 0.0 for a in (link.attenuation_1_pct_db, link.attenuation_01_pct_db)
    )  # + 0.0: no minus before a nought
    lost = " (below 0 the link is lost)" if min(often, rare) < 0 else ""
    return (
        f"{clear}; in the wettest 88 hours of a year {often:.1f} dB or less, in the wettest 9 hours {rare:.1f} dB or "
        f"less{lost}."
    )


def rain_sentence(link: RainLink, margin_db: float) -> str:
    """`Rain toward slot 113 W: 3 dB of margin hold 99.99 % of the year; 0.9 dB are exceeded 88 hours a year, ...`"""
    lost_h = (100 - link.available_pct) / 100 * 8766
    return (
        f"Rain toward {link.satellite_name}: {margin_db:g} dB of margin hold {link.available_pct:.2f} % of an average "
        f"year (all but {lost_h:.1f} hours); {link.attenuation_1_pct_db:.1f} dB are exceeded in 88 hours, "
        f"{link.attenuation_01_pct_db:.1f} dB in 9 hours (ITU-R P.618)."
    )
