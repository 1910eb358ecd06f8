"""How far the figures that are scored may be off from spot to spot: what is common to all spots is not in here."""

from __future__ import annotations

from pydantic import Field

from siteplanner.mission.parts import Part


class Doubts(Part):
    """One standard deviation each, independent from spot to spot. What the elevation's error does to the slope is
    worked out at each spot instead."""

    share: float = Field(
        0.05,
        ge=0,
        le=0.5,
        description="Of the served share of the area (0.05: 5 points): errors of the elevation along the paths, "
        "clutter. Common practice, no source.",
    )
    must_serve: float = Field(
        0.10,
        ge=0,
        le=0.5,
        description="Of the mean probability at the must-serve points: few places, so less averages out. Common "
        "practice, no source.",
    )
    drive_share: float = Field(
        0.15,
        ge=0,
        le=1,
        description="Of the drive time, as a share of it: what differs from road to road. Common practice, no source.",
    )
    sky_margin_deg: float = Field(
        1.0,
        ge=0,
        le=20,
        description="Of the sky margin: 0.8 m of height are 0.5 deg at 100 m and 1.5 deg at 30 m. Closed form for the "
        "distance at which a near skyline stands; the distance is common practice.",
    )
    link_margin_db: float = Field(
        4.0, ge=0, le=30, description="Of a donor link's margin: diffraction near its edge. Common practice, no source."
    )
