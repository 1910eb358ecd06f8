"""Magnetic bearings and the sense of the skew, in words."""

from __future__ import annotations

from siteplanner.planning.site.magnetic import Magnetic

SKEW_POSITIVE = "clockwise, seen from behind the dish"
"""What + means wherever a skew stands (`core.geodesy.look_angles`)."""
SKEW_SENSE = "Skew: seen from behind the dish, + is clockwise."
SKEW_BRIEFLY = "+ clockwise from behind"


def model_words(compass: Magnetic) -> str:
    """`World Magnetic Model 2025, good from 2025 to 2030, used for 2026-06-03`."""
    name = compass.model.replace("WMM-", "World Magnetic Model ")
    return f"{name}, good from {compass.valid_from} to {compass.valid_until}, used for {compass.date}"
