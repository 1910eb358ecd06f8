"""Times of day and ranges of minutes in words, and the hours that decide: go or no go."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from siteplanner.planning.site.clock import Clock, Threat
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


def clock_after(start: datetime, moment: datetime) -> str:
    """`05:30` on the day and in the offset of a start that stands beside it; in full on another day."""
    same = moment.date() == start.date() and moment.utcoffset() == start.utcoffset()
    return f"{moment:%H:%M}" if same else clock_text(moment)


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


Named = Callable[[str], str]
MOST_WINDOWS, MOST_NAMED = 2, 3


def go_rows(hours: Clock | None, units: Units = METRIC, named: Named = str) -> list[tuple[str, str]]:
    """Label and hour of each moment that decides, the first to come first; `named` shows a name from a file."""
    if hours is None:
        return []
    rows = []
    if hours.dispatch_by is not None:
        sure, quick = hours.dispatch_by
        late = "already too late to be sure: " if hours.dispatch_too_late else ""
        rows.append(
            ("Dispatch by", f"{late}{clock_text(sure)}, to be on air before dark; {quick:%H:%M} if all is quick")
        )
    if hours.first_threat is not None and hours.turn_round_by is not None and hours.leave_spot_by is not None:
        rows.append(("Turn round", f"not on the spot by {clock_text(hours.turn_round_by)}: go back"))
        rows.append(
            ("Leave spot", f"take down from {clock_text(hours.leave_spot_by)} at the latest{_left(hours, units)}")
        )
        rows.append(("Because", threat_words(hours.first_threat, named)))
    unknown = list(dict.fromkeys(named(t.name or "a hazard area") for t in hours.threats if t.comes is None))
    if unknown:
        more = f" and {len(unknown) - MOST_NAMED} more" if len(unknown) > MOST_NAMED else ""
        rows.append(
            ("Hour unknown", f"{', '.join(unknown[:MOST_NAMED])}{more}: ask when it comes, agree when to leave")
        )
    rows.append(("Raise, lower", raising_words(hours)))
    low, high = hours.relief_leaves_min
    rows.append(("Relief leaves", f"{units.minutes(max(low, 0.0))} to {units.minutes(max(high, 0.0))} after dispatch"))
    short, long = hours.outage_min
    if long > 0:
        span = hours_range(*hours.outage_h, units)
        rows.append(
            ("Off air", f"{minutes_range(short, long, units)} at each refueling, first {span} after first service")
        )
    return rows


def threat_words(threat: Threat, named: Named = str) -> str:
    """`Flood reaches the drive Mon 01 Jun 09:30 (-06:00), until 14:00`."""
    until = "" if threat.goes is None else f", until {clock_text(threat.goes)}"
    return f"{named(threat.name or 'a hazard area')} reaches the {threat.place} {clock_text(threat.comes)}{until}"


def _left(hours: Clock, units: Units) -> str:
    if hours.service_min is None:
        return ""
    short, long = hours.service_min
    if long <= 0:
        return "; that leaves no time on air: do not go"
    return f"; on air for {units.minutes(short)} to {units.minutes(long)} before that"


def raising_words(hours: Clock) -> str:
    """When the wind lets the mast be raised and lowered."""
    if hours.raising is None:
        return "hours not known: no forecast, or no wind limit for raising stated"
    if not hours.raising:
        return "no hour of the forecast has little enough wind"
    spans = [clock_range(start, end) for start, end in hours.raising[:MOST_WINDOWS]]
    more = f" and {len(hours.raising) - MOST_WINDOWS} more" if len(hours.raising) > MOST_WINDOWS else ""
    return f"wind allows it {', '.join(spans)}{more}"
