"""Labels on the map, as short as they can be: what they leave out stands in the words behind the shape."""

from __future__ import annotations

from siteplanner.planning.spots.capacity import Capacity
from siteplanner.planning.telling.units import METRIC, Units


def sector_label(number: int, bearing_deg: float) -> str:
    """`sector 1 067°`: with its word before it, so that the number is no step of the drive."""
    return f"sector {number} {METRIC.bearing(bearing_deg)}"


def dish_label(azimuth_deg: float) -> str:
    """`dish 180°`."""
    return f"dish {METRIC.bearing(azimuth_deg)}"


def wifi_label(carries: Capacity, units: Units = METRIC) -> str:
    """`Wi-Fi within 47 m`."""
    return f"Wi-Fi within {units.there(carries.wifi_radius_m or 0.0)}"


def wifi_beyond_label(carries: Capacity, units: Units = METRIC) -> str:
    """`Wi-Fi within 47 m, wider than this drawing`."""
    return f"{wifi_label(carries, units)}, wider than this drawing"
