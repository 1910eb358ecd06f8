"""Facts in words that more than one sheet prints: places, times, speeds, lines, hazards."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from siteplanner.core.constants import MPH_M_S
from siteplanner.core.geodesy import degrees_minutes
from siteplanner.data.grid_reference import grid_text
from siteplanner.errors import Finding
from siteplanner.outputs.sheets.fonts import name_in_text
from siteplanner.outputs.words.text import distance_text
from siteplanner.planning.limits.keep_away import LINE_SOURCE, KeepAway
from siteplanner.planning.site.on_site import HazardNear
from siteplanner.planning.site.timeline import Timeline
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.units import BOTH

MOST_HAZARDS = 3  # nearest areas that a sheet names
NO_BREAK = "\u00a0"  # a blank at which no line breaks


def coordinates(latitude: float, longitude: float, reference: str) -> list[tuple[str, str]]:
    """A place in three formats (label, text), all WGS 84: decimal degrees, degrees and minutes, military grid.

    0.0001 minute is 0.2 m.
    """
    halves = degrees_minutes(latitude, longitude, decimals=4).split(", ")
    return [
        ("Degrees", f"{latitude:.6f}, {longitude:.6f}"),
        ("Minutes", ", ".join(half.replace(" ", NO_BREAK) for half in halves)),
        ("Grid", grid_text(reference)),
    ]


def geo_uri(spot: Spot) -> str:
    """The place as a `geo:` URI (RFC 5870), WGS 84."""
    return f"geo:{spot.latitude:.6f},{spot.longitude:.6f}"


def clock_text(moment: datetime | None) -> str:
    """`Mon 01 Jun 05:30 (-06:00)`."""
    if moment is None:
        return "not known"
    days = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    offset = moment.strftime("%z")
    return (
        f"{days[moment.weekday()]} {moment.day:02d} {months[moment.month - 1]} {moment:%H:%M} "
        f"({offset[:3]}:{offset[3:5]})"
    )


def clock_range(early: datetime | None, late: datetime | None) -> str:
    """`Mon 01 Jun 05:30 to 05:50 (-06:00)`; both in full where the day or the offset changes between them."""
    if early is None or late is None:
        return "not known"
    if early.date() != late.date() or early.utcoffset() != late.utcoffset():
        return f"{clock_text(early)} to {clock_text(late)}"
    start, offset = clock_text(early).rsplit(" ", 1)
    return f"{start} to {late:%H:%M} {offset}"


def minutes_range(early: float, late: float) -> str:
    """`75 to 95 min`."""
    return f"{early:.0f} to {late:.0f} min"


def speed_text(speed_m_s: float | None) -> str:
    """`45 mph (20 m/s)`."""
    return "not known" if speed_m_s is None else f"{speed_m_s / MPH_M_S:.0f} mph ({speed_m_s:.0f} m/s)"


def finding_text(finding: Finding, longest: int = 260) -> str:
    """A finding with its remedy on one line."""
    words = said(finding)
    return name_in_text(f"{words.message} {words.remedy}".strip(), longest)


def lamp(timeline: Timeline | None) -> str:
    """Daylight at arrival and during the set-up, in a sentence."""
    if timeline is None:
        return "Daylight not worked out: there is no drive."
    if timeline.light is None:
        return "Daylight not worked out: the mission names no dispatch time. Take lamps."
    light = timeline.light
    moments = {"dawn": light.dawn, "sunrise": light.sunrise, "sunset": light.sunset, "dusk": light.dusk}
    times = ", ".join(
        f"{name} {clock_text(moment)[11:16]}" if moment is not None else f"no {name}"
        for name, moment in moments.items()
    )
    return f"{light.sentence} On arrival: {light.at_arrival}. Level horizon: {times}."


def _there(distance_m: float) -> str:
    """A distance that is there: below a kilometre rounded down in both units, beyond it no figure is that near."""
    return BOTH.there(distance_m) if distance_m < 995 else distance_text(distance_m)


def line_words(line: KeepAway | None) -> str:
    """The overhead line with the least to spare and the room that the mast needs, in a sentence."""
    if line is None:
        return "No overhead lines were given: unknown is not clear. Look for poles and wires before the mast moves."
    volts = f"{line.voltage_kv:g} kV" if line.voltage_stated else "voltage not stated"
    return (
        f"Nearest known line: {name_in_text(line.name or 'an overhead line', 40)} ({volts}), "
        f"{_there(line.distance_m)} away; mast fall and clearance need {BOTH.keep(line.needed_m, 1)} "
        f"({LINE_SOURCE}). Look for others."
    )


def hazard_words(hazards: Iterable[HazardNear]) -> list[str]:
    """How near hazard areas lie to the spot, and whether the drive goes through them; a sentence each."""
    out = []
    for hazard in hazards:
        label = name_in_text(hazard.name or "a hazard area", 40)
        text = f"{label[:1].upper() + label[1:]}: {distance_text(hazard.distance_m)} from the spot"
        out.append(text + ("; the drive goes through it." if hazard.on_the_drive else "."))
    return out
