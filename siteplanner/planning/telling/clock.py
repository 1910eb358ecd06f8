"""Times of day and ranges of minutes in words."""

from __future__ import annotations

from datetime import datetime

from siteplanner.planning.telling.units import METRIC, NOT_KNOWN, Units

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def clock_text(moment: datetime | None) -> str:
    """`Mon 01 Jun 05:30 (-06:00)`."""
    if moment is None:
        return NOT_KNOWN
    offset = moment.strftime("%z")
    return (
        f"{DAYS[moment.weekday()]} {moment.day:02d} {MONTHS[moment.month - 1]} {moment:%H:%M} "
        f"({offset[:3]}:{offset[3:5]})"
    )


def clock_range(early: datetime | None, late: datetime | None) -> str:
    """`Mon 01 Jun 05:30 to 05:50 (-06:00)`; both in full where the day or the offset changes between them."""
    if early is None or late is None:
        return NOT_KNOWN
    if early.date() != late.date() or early.utcoffset() != late.utcoffset():
        return f"{clock_text(early)} to {clock_text(late)}"
    start, offset = clock_text(early).rsplit(" ", 1)
    return f"{start} to {late:%H:%M} {offset}"


def day_and_time(moment: datetime) -> str:
    """`Mon 05:30`, for an axis."""
    return f"{DAYS[moment.weekday()]} {moment:%H:%M}"


def iso_minute(stamp: str) -> str:
    """`2026-06-01 05:30`: the written time to the minute, in its own offset."""
    return f"{datetime.fromisoformat(stamp):%Y-%m-%d %H:%M}"


def minutes_range(early: float, late: float, units: Units = METRIC) -> str:
    """`75 to 95 min`."""
    return f"{early:.0f} to {units.figure(late, 'min')}"


def hours_range(low: float, high: float, units: Units = METRIC) -> str:
    """`30 to 42 h`."""
    return f"{low:.0f} to {units.figure(high, 'h')}"
