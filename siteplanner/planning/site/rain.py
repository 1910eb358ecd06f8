"""Rain and cloud on the satellite link: what they take from each direction, and how much of the year the margins hold.

By the ITU-R methods that the package `itur` carries: P.618-13 with 676, 837, 838, 839, 840. P.618-14 (08/2023) is in
force; no package carries it yet, and the differences in its rain method do not reach the figures told here (from
memory). The package is an optional extra (`rain`): without it there is no figure, and a note says how to get one.
Gas is left out: a clear-sky margin holds it already. Downlink: attenuation and the noise of the warm rain, P.618
section 3. Uplink: attenuation alone. Nothing here ranks a spot.
"""

from __future__ import annotations

import math
import sys
import threading
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from siteplanner.core.geodesy import look_angles
from siteplanner.mission import Mission, Sky

Way = Literal["downlink", "uplink"]

LEAST_PERCENT, MOST_PERCENT = 0.001, 50.0  # of the average year: where P.618-13 holds
LEAST_ELEVATION_DEG = 5.0  # P.618-13 section 2.2.1.1 holds from there up
EFFICIENCY = 0.65  # of the dish, for scintillation; common practice
HALVINGS = 12  # of the logarithm: to 1 % of the unavailable share
HELD_MAPS = 837, 839, 840, 1510, 1511  # Recommendations of which `itur` keeps the maps
_ONE_AT_A_TIME = threading.Lock()  # who comes while `itur` fills its maps meets a half-filled one, and fails
MEDIUM_K = 275.0  # effective temperature of rain and cloud, P.618-13 section 3


@dataclass(frozen=True)
class RainLink:
    """One satellite at one place; percent are of an average year. Losses are over clear sky, gas not in them."""

    satellite_name: str
    satellite_longitude_deg: float
    attenuation_1_pct_db: float  # of the downlink, exceeded for 1 % of the year (88 hours): rain, cloud, scintillation
    attenuation_01_pct_db: float  # exceeded for 0.1 % (9 hours)
    available_pct: float  # of the year with both directions within their margins; at most 99.999, at least 50
    downlink_loss_1_pct_db: float = math.nan  # signal to noise: attenuation and the noise that the rain adds
    downlink_loss_01_pct_db: float = math.nan
    uplink_loss_1_pct_db: float = math.nan
    uplink_loss_01_pct_db: float = math.nan
    downlink_available_pct: float = math.nan
    uplink_available_pct: float = math.nan

    @property
    def decides(self) -> Way:
        """The direction that is lost first."""
        return "uplink" if self.uplink_available_pct < self.downlink_available_pct else "downlink"


@dataclass(frozen=True)
class Rain:
    """Of the satellites named that stand high enough; none where the optional package is `absent`."""

    frequency_ghz: float
    margin_db: float
    links: tuple[RainLink, ...]
    absent: bool = False
    too_low: tuple[str, ...] = ()  # satellites below the least elevation of the method
    uplink_ghz: float = math.nan
    uplink_margin_db: float = math.nan
    system_temperature_k: float = math.nan


def attenuation_db(
    latitude: float,
    longitude: float,
    height_m: float,
    elevation_deg: float,
    tilt_deg: float,
    frequency_ghz: float,
    diameter_m: float,
    percent: float,
    gas: bool = True,
) -> float | None:
    """Total attenuation exceeded for a share of the average year, dB (P.618-13 section 2.5); None without `itur`.

    `tilt_deg`: polarization against the horizontal. Degrees, metres. Below 1 % of the year gas and cloud stand at
    their 1 % values, as P.618-13 has it. Without `gas` what comes on top of a clear sky.
    """
    try:
        with _ONE_AT_A_TIME, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import itur

            # the water vapour counts in the gas alone: without it, it need not be read from its maps
            vapour = {} if gas else {"rho": 0.0, "V_t": 0.0}
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
                include_gas=gas,
                **vapour,
            )
    except ImportError:
        return None
    return float(getattr(found, "value", found))


def downlink_loss_db(attenuation_db: float, system_temperature_k: float) -> float:
    """Signal to noise that an attenuation costs a receiver, dB: itself and the noise it adds, over clear sky.

    The rain shines with `MEDIUM_K` (1 - 10^(-A/10)) kelvin (P.618-13 section 3); `system_temperature_k` is that of
    the whole receiver in clear sky.
    """
    if attenuation_db <= 0:
        return attenuation_db
    added = MEDIUM_K * (1 - 10 ** (-attenuation_db / 10))
    return attenuation_db + 10 * math.log10(1 + added / system_temperature_k)


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
    return rain_over(mission.sky, latitude, longitude, height_m)


def rain_over(sky: Sky, latitude: float, longitude: float, height_m: float) -> Rain:
    """`rain` of the sky alone, all that it hangs on."""
    try:
        return _rain(sky, latitude, longitude, height_m)
    finally:
        _let_go_of_maps()


def _let_go_of_maps() -> None:
    """The package keeps each of its maps of the world that it has read, 100 MB in all; a plan asks once."""
    for number in HELD_MAPS:
        module = sys.modules.get(f"itur.models.itu{number}")
        if module is not None:
            module.change_version(module.get_version())


def _rain(sky: Sky, latitude: float, longitude: float, height_m: float) -> Rain:
    up_margin = sky.link_margin_db if sky.uplink_margin_db is None else sky.uplink_margin_db
    links = []
    low = []
    absent = False
    for satellite in sky.satellites:
        name = satellite.called
        _, elevation, skew = (float(v) for v in look_angles(latitude, longitude, height_m, satellite.longitude_deg))
        if elevation < LEAST_ELEVATION_DEG:
            low.append(name)
            continue
        tilt = 45.0 if math.isnan(skew) else 90.0 - abs(skew)  # vertical polarization, turned by the skew

        def taken(percent: float, ghz: float, elevation: float = elevation, tilt: float = tilt) -> float:
            place = latitude, longitude, height_m, elevation
            found = attenuation_db(*place, tilt, ghz, sky.dish_diameter_m, percent, gas=False)
            return math.nan if found is None else found

        def down(percent: float, taken: Callable[..., float] = taken) -> float:
            return downlink_loss_db(taken(percent, sky.downlink_ghz), sky.system_temperature_k)

        def up(percent: float, taken: Callable[..., float] = taken) -> float:
            return taken(percent, sky.uplink_ghz)

        at_1 = taken(1.0, sky.downlink_ghz)
        if math.isnan(at_1):
            absent = True
            break
        both = available_pct(sky.link_margin_db, down), available_pct(up_margin, up)
        links.append(
            RainLink(
                name,
                satellite.longitude_deg,
                at_1,
                taken(0.1, sky.downlink_ghz),
                min(both),  # it rains on both at once
                down(1.0),
                down(0.1),
                up(1.0),
                up(0.1),
                *both,
            )
        )
    return Rain(
        sky.downlink_ghz,
        sky.link_margin_db,
        () if absent else tuple(links),
        absent,
        () if absent else tuple(low),
        sky.uplink_ghz,
        up_margin,
        sky.system_temperature_k,
    )
