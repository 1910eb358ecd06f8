"""Magnetic declination at a spot: which model, for which day, how sure, and where a compass is no guide.

The World Magnetic Model is fitted for five years at a time; outside them, and around the magnetic poles, there is
no value but a finding, and bearings are true only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

from siteplanner.errors import Finding
from siteplanner.mission import Mission

MODELS = ("wmm/WMM_2025.COF", "wmm/WMM_2020.COF")  # coefficients that pygeomag carries, the newest first
BLACKOUT_NT = 2000.0  # horizontal field below it: declination is no guide (World Magnetic Model 2025, blackout zone)
CAUTION_NT = 6000.0  # below it compasses grow sluggish (World Magnetic Model 2025, caution zone)


@dataclass(frozen=True)
class Magnetic:
    """Declination at one place and day. `declination_deg` is true minus magnetic bearing, east positive."""

    declination_deg: float | None  # None: bearings are true only; `finding` says why
    uncertainty_deg: float | None  # one standard deviation, by the model's own error model
    model: str  # of the model that holds on that day, else of the newest
    valid_from: int  # years; valid until the first day of `valid_until`
    valid_until: int
    date: str  # ISO 8601
    finding: Finding | None = None


def day_of(mission: Mission) -> date:
    """The day that bearings are given for: that of dispatch (UTC), else today."""
    dispatch = mission.times.dispatch
    return dispatch.astimezone(UTC).date() if dispatch is not None else datetime.now(UTC).date()


def decimal_year(day: date) -> float:
    """2025-07-02 -> about 2025.5; the first of January is the whole year."""
    start, after = date(day.year, 1, 1), date(day.year + 1, 1, 1)
    return day.year + (day - start).days / (after - start).days


@cache
def _model(file: str) -> Any:
    from pygeomag import GeoMag

    return GeoMag(coefficients_file=file)


def _life(file: str) -> tuple[int, int]:
    first, last = _model(file).life_span
    return int(first), int(last)


def magnetic(latitude: float, longitude: float, height_m: float, year: float | date) -> Magnetic:
    """Declination at a WGS 84 place (degrees, height in metres above sea level) on a day or at a decimal year.

    By the World Magnetic Model whose five years hold the date (NOAA and BGS, WMM2020 and WMM2025, by pygeomag).
    `declination_deg` is None outside every model's years, and where the horizontal field is below 2,000 nT
    (blackout zone); between 2,000 and 6,000 nT it stands with a finding. Raises ValueError for no place on Earth.
    """
    if not (abs(latitude) <= 90 and math.isfinite(longitude)):
        raise ValueError(f"{latitude}, {longitude} is not a place on Earth.")
    when = decimal_year(year) if isinstance(year, date) else year
    said = year.isoformat() if isinstance(year, date) else f"{year:g}"
    files = [file for file in MODELS if _life(file)[0] <= when <= _life(file)[1]]
    newest = _model(MODELS[0])
    if not files:
        first, last = _life(MODELS[0])
        finding = Finding(
            "magnetic_model_expired",
            "check",
            facts={"day": said, "model": newest.model, "valid_from": first, "valid_until": last},
        )
        return Magnetic(None, None, newest.model, first, last, said, finding)
    model = _model(files[0])
    first, last = _life(files[0])
    height_km = height_m / 1000 if math.isfinite(height_m) else 0.0  # a kilometre turns it by less than 0.01 deg
    found = model.calculate(glat=latitude, glon=longitude, alt=height_km, time=when)
    if found.h < BLACKOUT_NT:
        finding = Finding(
            "magnetic_blackout",
            "check",
            facts={"field_nt": float(found.h), "least_nt": BLACKOUT_NT, "model": model.model},
        )
        return Magnetic(None, None, model.model, first, last, said, finding)
    uncertainty = float(found.calculate_uncertainty().d)
    weak = None
    if found.h < CAUTION_NT:
        weak = Finding(
            "magnetic_caution",
            "check",
            facts={"field_nt": float(found.h), "least_nt": CAUTION_NT, "model": model.model},
        )
    return Magnetic(float(found.d), uncertainty, model.model, first, last, said, weak)
