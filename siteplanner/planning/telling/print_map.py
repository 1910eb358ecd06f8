"""What stands around the printed map: its scale, its grid, its norths."""

from __future__ import annotations

from siteplanner.planning.telling.units import Units


def scale_words(denominator: int) -> str:
    """`1 : 50,000`."""
    return f"1 : {denominator:,}"


def grid_words(zone: int, north: bool, square: str, step_m: float, units: Units) -> str:
    """Whose grid, how far apart its lines, and which 100,000 m square the middle lies in (empty beyond the grid)."""
    hemisphere = "north" if north else "south"
    within = f" US National Grid square of the middle {square}." if square else ""
    apart = units.stated(step_m, "m") if step_m < 1000 else units.stated(step_m / 1000, "km")
    return f"Grid: UTM zone {zone} {hemisphere}, WGS 84, a line each {apart}.{within}"


def north_words(convergence_deg: float, declination_deg: float | None, units: Units) -> str:
    """True and magnetic north against the grid lines of the map, at its middle."""
    if declination_deg is None:
        magnetic = " Magnetic declination not known."
    else:
        magnetic = f" Magnetic north {_turned(declination_deg - convergence_deg, units)} grid north."
    return f"True north {_turned(-convergence_deg, units)} grid north.{magnetic}"


def _turned(angle_deg: float, units: Units) -> str:
    side = "right of" if angle_deg >= 0 else "left of"
    return f"{units.angle(abs(angle_deg), 1)} {side}"


def print_advice(denominator: int) -> str:
    """What keeps the scale true on paper."""
    return f"Print at 100 %, not fitted to the page: the scale is {scale_words(denominator)}."
