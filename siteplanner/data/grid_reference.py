"""Military grid and US National Grid references."""

from __future__ import annotations


def grid_reference(latitude_deg: float, longitude_deg: float) -> str:
    """Reference of a WGS 84 point to 1 m: truncated, never rounded (FGDC-STD-011-2001). Latitude -80 to 84."""
    from mgrs import MGRS

    return str(MGRS().toMGRS(latitude_deg, longitude_deg, MGRSPrecision=5))
