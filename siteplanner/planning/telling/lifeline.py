"""What is said of what a spot hangs on: the way in, the way out, what remains if a road goes, what lies beside."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.planning.plan.if_lost import IfLost
from siteplanner.planning.spots.evaluation import Access, told_of
from siteplanner.planning.spots.lifelines import BESIDE_M, Beside, OverWater, Section
from siteplanner.planning.telling.units import METRIC, Units

MOST_SECTIONS = 4  # named in one sentence; the longest ones
IN_KM_M = 500.0  # from here on lengths of road are told in kilometres or miles
NOT_KNOWN_OUT = "not known: nothing says where the roads lead out of the data"


def way_in_short(access: Access, units: Units = METRIC) -> str:
    """For a table: `one: 12.6 of 12.8 km without a way round, 4 bridges`."""
    line = access.lifeline
    if line is None:
        return "not calculated"
    if line.staging.ways != 1:
        return "two: no single road's loss cuts it" if line.staging.ways else "none"
    return f"one: {_of_drive(access, line.staging.length_m, units)}"


def _of_drive(access: Access, length_m: float, units: Units) -> str:
    """`12.6 km of the drive's 12.8 km without a way round, 4 bridges in it`."""
    told = access.told
    bridges = sum(s.bridge for s in told.staging_cuts) if told is not None else 0
    of = f"{along_words(length_m, units)} of the drive's {along_words(access.drive_distance_m, units)}"
    return f"{of} without a way round{_bridges(bridges)}"


def way_out_short(access: Access, units: Units = METRIC) -> str:
    """For a table: `one: 2.9 km without a way round`."""
    line = access.lifeline
    if line is None:
        return "not calculated"
    out = line.outside
    if out is None:
        return NOT_KNOWN_OUT
    if out.ways != 1:
        return "two: no single road's loss cuts it" if out.ways else "none"
    told = access.told
    bridges = sum(s.bridge for s in told.outside_cuts) if told is not None else 0
    return f"one: {along_words(out.length_m, units)} without a way round{_bridges(bridges)}"


def way_in_words(access: Access, units: Units = METRIC) -> str:
    """Whether the way from the staging point can be cut, by what; '' where nothing single cuts it."""
    line = access.lifeline
    if line is None or line.staging.ways != 1:
        return ""
    named = sections_words(told_of(access).staging_cuts, units)
    return f"One way in from staging. {_of_drive(access, line.staging.length_m, units)}. If lost, cut off: {named}."


def way_out_words(access: Access, units: Units = METRIC) -> str:
    """The same of the way out of the data."""
    line = access.lifeline
    if line is None:
        return ""
    if line.outside is None:
        return f"Ways out{units.colon}{NOT_KNOWN_OUT}."
    if line.outside.ways == 2:
        return "Two ways out of the area: no single road's loss shuts the spot in."
    if line.outside.ways == 0:
        return "No way out of the area is in the road data."
    return f"One way out of the area. If lost, shut in: {sections_words(told_of(access).outside_cuts, units)}."


def sections_words(sections: Sequence[Section], units: Units = METRIC, most: int = MOST_SECTIONS) -> str:
    """`Marrow Highway, 4.1 km; bridge of Linnet Road over Marrow River, 20 m; and 3 more`: roads by length, then
    bridges in the order of the drive."""
    roads: dict[str, float] = {}
    for section in sections:
        if not section.bridge:
            roads[section.name] = roads.get(section.name, 0.0) + section.length_m
    named = [f"{name}, {along_words(metres, units)}" for name, metres in sorted(roads.items(), key=lambda r: -r[1])]
    bridges = sorted((s for s in sections if s.bridge), key=lambda s: (s.running_m != s.running_m, s.running_m))
    left = len(named[most:])
    told = [*named[:most], *([f"and {left} more"] if left else [])]
    if bridges:
        told.append(f"bridges: {', '.join(dict.fromkeys(_bridge(b, units) for b in bridges[:most]))}")
        if len(bridges) > most:
            told.append(f"and {len(bridges) - most} more bridges")
    return "; ".join(told)


def section_name(section: Section) -> str:
    """`bridge of Linnet Road over Marrow River`, or the road's name."""
    if not section.bridge:
        return section.name
    return f"bridge of {section.name}" + (f" over {section.over}" if section.over else "")


def _bridge(section: Section, units: Units) -> str:
    at = f" at {units.figure(section.running_m / 1000, 'km', 1)}" if section.running_m == section.running_m else ""
    return f"{section.name}{f' over {section.over}' if section.over else ''}{at}"


def if_lost_words(lost: IfLost, units: Units = METRIC) -> str:
    """`If Chapel Bench Road (1.3 km) is lost: not reached from staging, a way out stays. Other spots reached: B.`"""
    what = f"{section_name(lost.section)} ({along_words(lost.section.length_m, units)})"
    return f"If {what} is lost: {_what_remains(lost)}"


def _bracketed(group: Sequence[IfLost], units: Units) -> str:
    """`Scarp Highway (16.7 km)`: the pieces of one road together."""
    return f"{group[0].section.name} ({along_words(sum(g.section.length_m for g in group), units)})"


def _what_remains(lost: IfLost) -> str:
    parts = []
    if "staging" in lost.parts:
        parts.append(f"reached from {lost.start}" if lost.start else "not reached from staging")
    if lost.outside is not None:
        parts.append("a way out stays" if lost.outside else "no way out")
    others = "No other listed spot is reached."
    if lost.spots:
        others = f"Other spots still reached: {', '.join(lost.spots)}."
    return f"{', '.join(parts)}. {others}"


def if_lost_lines(all_lost: Sequence[IfLost], units: Units = METRIC) -> list[str]:
    """The same for several, those with the same consequence in one line, in the order of the first of each."""
    groups: dict[tuple[object, ...], list[IfLost]] = {}
    for lost in all_lost:
        groups.setdefault((lost.parts, lost.spots, lost.start, lost.outside), []).append(lost)
    out = []
    for group in groups.values():
        if len(group) == 1:
            out.append(if_lost_words(group[0], units))
            continue
        which = sections_words([g.section for g in group], units)
        roads = {g.section.name for g in group if not g.section.bridge}
        one = len(roads) == 1 and not any(g.section.bridge for g in group)  # one road in several pieces
        head = f"If any part of {_bracketed(group, units)} is lost" if one else f"If one of these is lost ({which})"
        out.append(f"{head}: {_what_remains(group[0])}")
    return out


def beside_words(beside: Beside, drive_m: float, units: Units = METRIC) -> str:
    """`8.2 of the drive's 12.8 km lie within 50 m of Flood: 14 m at the nearest, 1.2 m above its edge at the least`."""
    name = beside.name or "a hazard area"
    lie = f"{along_words(beside.length_m, units)} of the drive's {along_words(drive_m, units)} lie"
    near = f"{lie} within {units.length(BESIDE_M)} of "
    where = "the drive goes through it" if beside.across_m <= 0 else f"{units.there(beside.across_m)} at the nearest"
    return f"{near}{name}{units.colon}{where}{_up(beside.up_m, units)}"


def over_water_words(bridge: OverWater, units: Units = METRIC) -> str:
    """`bridge of Marrow Highway over Marrow River at 2.1 km, 14 m from Flood`."""
    at = units.figure(bridge.running_m / 1000, "km", 1)
    what = f"bridge of {bridge.road} over {bridge.water or 'water'} at {at}"
    if bridge.hazard is None:
        return what
    name = bridge.hazard or "the hazard area"
    across = f"in {name}" if bridge.across_m <= 0 else f"{units.there(bridge.across_m)} from {name}"
    return f"{what}, {across}{_up(bridge.up_m, units)}"


def hazards_beside_words(access: Access, units: Units = METRIC) -> list[str]:
    """A sentence for each hazard area beside the drive, with the bridges over its water."""
    told = told_of(access)
    out = [f"{beside_words(b, access.drive_distance_m, units)}." for b in told.beside]
    flooded = [b for b in told.over_water if b.hazard is not None]
    if flooded:
        out.append(f"Bridges over water in a hazard area: {'; '.join(over_water_words(b, units) for b in flooded)}.")
    return [text[:1].upper() + text[1:] for text in out]


def _up(metres: float, units: Units) -> str:
    if metres != metres:
        return ", height above it not known"
    side = "above" if metres >= 0 else "below"
    size = units.there(metres, 1) if metres >= 0 else units.keep(-metres, 1)
    return f", the road {size} {side} its edge at the least"


def _bridges(count: int) -> str:
    return f", {count} bridge{'s' if count > 1 else ''} in it" if count else ""


def along_words(metres: float, units: Units) -> str:
    """A length of road on which a way hangs, everywhere the same: `0.5 km`, below 500 m `21 m`."""
    return units.figure(metres / 1000, "km", 1) if metres >= IN_KM_M else units.distance(metres)
