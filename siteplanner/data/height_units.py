"""In which unit a raster's heights are, and whether they can be heights of ground at all."""

from __future__ import annotations

from siteplanner.core.constants import FOOT_M
from siteplanner.data.raster_read import Reading
from siteplanner.data.raster_source import METRES_PER, RasterSource
from siteplanner.errors import Finding, InputError

HIGHEST_M = 9000.0  # nothing on Earth is higher (8,849 m)


def _both(low: float, high: float) -> str:
    return f"{low:,.0f} to {high:,.0f} m if they are meters, {low * FOOT_M:,.0f} to {high * FOOT_M:,.0f} m if feet"


def unit_of(source: RasterSource, asked: str) -> str:
    """The unit to read heights in, where nothing is to be said about it: the one asked for, the file's own, metres."""
    return asked if asked != "auto" else source.unit or "m"


def unit_read(source: RasterSource, reading: Reading, asked: str, findings: list[Finding]) -> str:
    """The unit to read heights in, with what has to be said about it.

    Raises InputError for ground that may well be in feet where nothing says so.
    """
    name, low, high = source.path.name, reading.low, reading.high
    if asked != "auto":
        if source.unit is not None and source.unit != asked:
            findings.append(
                Finding(
                    "elevation_unit_overridden",
                    "check",
                    file=name,
                    facts={"unit": source.unit, "unit_from": source.unit_from, "taken": asked},
                )
            )
        return asked
    if source.unit is not None:
        if source.unit != "m" and reading.count:
            factor = METRES_PER[source.unit]
            findings.append(
                Finding(
                    "elevation_in_feet",
                    "note",
                    file=name,
                    facts={
                        "unit": source.unit,
                        "unit_from": source.unit_from,
                        "low": low,
                        "high": high,
                        "low_m": low * factor,
                        "high_m": high * factor,
                    },
                )
            )
        return source.unit
    if not reading.count:
        return "m"
    if source.feet_ground or high > HIGHEST_M:
        why = "its map is in feet" if source.feet_ground else "no ground is that high in meters"
        raise InputError(
            f"The raster does not say its unit and {why}: its heights are {_both(low, high)}.",
            remedy='Set layers.elevation_unit = "ft" (or "us-ft", or "m") in the mission.',
            file=source.path,
            field="layers.elevation_unit",
        )
    findings.append(
        Finding(
            "elevation_unit_assumed",
            "check",
            file=name,
            facts={"low": low, "high": high},
        )
    )
    return "m"


def check_height(source: RasterSource, height_m: float) -> None:
    """Raises InputError for a height that no ground has, of a part of the file that nothing else looked at."""
    if height_m > HIGHEST_M:
        raise InputError(
            f"It contains a height of {height_m:,.0f} m, higher than any ground.",
            remedy="Set layers.elevation_unit to the true unit, or mark the wrong cells as nodata.",
            file=source.path,
            field="layers.elevation_unit",
        )


def check_heights(source: RasterSource, reading: Reading, used: str, asked: str) -> None:
    """Raises InputError for heights read that no ground has."""
    factor = METRES_PER[used]
    if reading.count and reading.high * factor > HIGHEST_M:
        said = "the mission" if asked != "auto" else source.unit_from
        raise InputError(
            f"Heights up to {reading.high:,.0f} {used} (said by {said}) are higher than any ground: they are "
            f"{_both(reading.low, reading.high)}.",
            remedy="Set layers.elevation_unit to the true unit, or mark the wrong cells as nodata.",
            file=source.path,
            field="layers.elevation_unit",
        )
