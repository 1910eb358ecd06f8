"""Coordinates in three formats, written and read: decimal degrees, degrees and minutes, grid reference."""

from __future__ import annotations

import math
from typing import Literal

from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.coordinates import read_place
from siteplanner.data.grid_reference import grid_reference as unspaced
from siteplanner.data.grid_reference import grid_text

Format = Literal["degrees", "degrees and minutes", "grid reference"]
FORMATS: tuple[Format, ...] = ("degrees", "degrees and minutes", "grid reference")
EXAMPLES = "44.65250, -113.05240 or 44 39.150 N 113 03.144 W or 12TUQ 37264 46397"
"""One place in the invented county, in each format."""


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
    """Latitude and longitude in degrees from any of the formats (`data.coordinates`), however few figures it has.

    Without letters the first number is the latitude. Raises InputError, naming the formats, for anything else and
    for a place off the Earth.
    """
    found = read_place(text, math.inf)
    return found.latitude, found.longitude
