"""Coordinates in three formats, written and read: decimal degrees, degrees and minutes, grid reference."""

from __future__ import annotations

import re
from typing import Literal

from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid_reference import grid_reference as unspaced
from siteplanner.data.grid_reference import grid_text
from siteplanner.errors import InputError

Format = Literal["degrees", "degrees and minutes", "grid reference"]
FORMATS: tuple[Format, ...] = ("degrees", "degrees and minutes", "grid reference")
EXAMPLES = "44.65250, -113.05240 or 44 39.150 N 113 03.144 W or 12TUQ 37264 46397"
"""One place in the invented county, in each format."""
_GRID = re.compile(r"^(\d{1,2})\s*([C-HJ-NP-X])\s*([A-HJ-NP-Z]{2})\s*(\d{2,10})$", re.IGNORECASE)
_NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?")


def written(latitude: float, longitude: float, style: Format) -> str:
    """A place of WGS 84. Minutes to a thousandth (about 2 m), degrees to five places (about 1 m), grid to 1 m."""
    if style == "degrees":
        return f"{latitude:.5f}, {longitude:.5f}"
    if style == "degrees and minutes":
        return degrees_minutes(latitude, longitude).replace(",", "")
    return grid_reference(latitude, longitude)


def grid_reference(latitude: float, longitude: float) -> str:
    """Military grid reference to 1 m with blanks, e.g. `12T UQ 37264 46397`; empty beyond 80 S and 84 N."""
    return grid_text(unspaced(latitude, longitude)) if -80 <= latitude <= 84 else ""


def read(text: str) -> tuple[float, float]:
    """Latitude and longitude in degrees from any of the formats.

    Without letters the first number is the latitude. Raises InputError, naming the formats, for anything else and
    for a place off the Earth.
    """
    wrong = InputError(
        f"{text.strip()[:60]!r} is not a place that is understood.",
        remedy=f"Write it like {EXAMPLES}.",
        field="coordinates",
    )
    line = text.strip().replace("−", "-")
    grid = _GRID.match(re.sub(r"(?<=\d)\s+(?=\d)", "", line))
    if grid:
        if len(grid[4]) % 2:
            raise InputError(
                "A grid reference has as many figures east as north.",
                remedy="Write both halves with the same number of figures.",
                field="coordinates",
            )
        import mgrs

        try:
            latitude, longitude = mgrs.MGRS().toLatLon("".join(grid.groups()).upper())
        except Exception:  # the library raises its own and plain kinds for squares that do not exist
            raise wrong from None
        return _on_earth(float(latitude), float(longitude))
    if re.search(r"[^\d\s.,+\-°º'′\"″NSEWnsew;:]", line):
        raise wrong
    letters = re.findall(r"[NSEW]", line.upper())
    if ("." not in line and line.count(",") == 1) or ", " in line:
        line = line.replace(",", " ")
    values = [float(n.replace(",", ".")) for n in _NUMBER.findall(line)]
    if len(values) not in (2, 4, 6) or len(letters) not in (0, 2):
        raise wrong
    half = len(values) // 2
    pair = [_angle(values[:half], wrong), _angle(values[half:], wrong)]
    if letters:
        if {letters[0], letters[1]} & set("NS") == set() or {letters[0], letters[1]} & set("EW") == set():
            raise wrong
        pair = [-abs(v) if letter in "SW" else v for v, letter in zip(pair, letters, strict=True)]
        if letters[0] in "EW":
            pair.reverse()
    return _on_earth(*pair)


def _angle(parts: list[float], wrong: InputError) -> float:
    whole, rest = parts[0], parts[1:]
    if any(not 0 <= part < 60 for part in rest):
        raise wrong
    size = abs(whole) + sum(part / 60**n for n, part in enumerate(rest, 1))
    return -size if whole < 0 else size


def _on_earth(latitude: float, longitude: float) -> tuple[float, float]:
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise InputError(
            f"{latitude:g}, {longitude:g} is not a place on Earth.",
            remedy="Give the latitude first, then the longitude.",
            field="coordinates",
        )
    return latitude, longitude
