"""Military grid and US National Grid references."""

from __future__ import annotations

import re

HAIR_DEG = 5e-6  # half a metre of latitude


def grid_reference(latitude_deg: float, longitude_deg: float) -> str:
    """Reference of a WGS 84 point to 1 m: truncated, never rounded (FGDC-STD-011-2001). Latitude -80 to 84."""
    from mgrs import MGRS

    if -HAIR_DEG < latitude_deg < 0:  # the northing would be carried into a square that names no place
        latitude_deg = 0.0
    return str(MGRS().toMGRS(latitude_deg, longitude_deg, MGRSPrecision=5))


def grid_text(reference: str) -> str:
    """A military grid reference with blanks, to be read aloud: `12TUQ3882545865` -> `12T UQ 38825 45865`."""
    parts = re.fullmatch(r"(\d{1,2}[C-X])([A-Z]{2})(\d*)", reference)
    if not parts or len(parts[3]) % 2:
        return reference
    half = len(parts[3]) // 2
    return " ".join(filter(None, (parts[1], parts[2], parts[3][:half], parts[3][half:])))
