"""The sun behind the satellite, in words."""

from __future__ import annotations

import math
from datetime import datetime

from siteplanner.planning.site.sun_outage import SatelliteOutages


def outage_sentence(one: SatelliteOutages) -> str:
    """`Sun behind Relay two: 6 to 11 Oct 2026, daily between 12:57 and 13:09 (-06:00), up to 8 min without link.`"""
    name = one.satellite_name
    if not one.seasons:
        return f"Sun behind {name}: not within a year."
    season = one.seasons[0]
    first, last = season[0].start, season[-1].start
    clocks = [(o.start, o.end) for o in season]
    early = min(_clock(a) for a, _ in clocks)
    late = max(_clock(b) for _, b in clocks)
    offset = first.strftime("%z")
    days = f"{first.day} {first:%b %Y}"
    if last.date() != first.date():
        left = f"{first.day}" if (first.month, first.year) == (last.month, last.year) else f"{first.day} {first:%b}"
        days = f"{left} to {last.day} {last:%b %Y}, daily"
    longest = max(o.minutes for o in season)
    return (
        f"Sun behind {name}: {days} between {early} and {late} ({offset[:3]}:{offset[3:5]}), up to "
        f"{math.ceil(longest)} min without link."
    )


def _clock(moment: datetime) -> str:
    return f"{moment:%H:%M}"
