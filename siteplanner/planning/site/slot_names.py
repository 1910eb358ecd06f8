"""Names of places on the geostationary arc."""

from __future__ import annotations

from siteplanner.core.geodesy import wrap_180_deg


def slot_text(longitude_deg: float) -> str:
    """`62.4 W`."""
    tenths = round(abs(float(wrap_180_deg(longitude_deg))) * 10) / 10
    return f"{tenths:g} {'W' if wrap_180_deg(longitude_deg) < 0 and 0 < tenths < 180 else 'E'}"
