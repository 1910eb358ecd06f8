"""The overhead line with the least to spare, in words: how far it is, what is kept from it and what that is made of."""

from __future__ import annotations

from collections.abc import Callable

from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.telling.units import METRIC, Units

NO_LINES = "No overhead lines were given: unknown is not clear. Look for poles and wires before the mast moves."


def line_source(line: KeepAway) -> str:
    """The rule that the clearance comes from."""
    if not line.judged:
        return "29 CFR 1926.1409(b)"
    return "29 CFR 1926.1409(a)" if line.voltage_from == "unknown" else "29 CFR 1926.1408 Table A"


def voltage_words(line: KeepAway, units: Units = METRIC) -> str:
    """`13 kV`, `at most 350 kV by the mission`, `voltage not known`."""
    if line.voltage_from == "unknown":
        return "voltage not known"
    volts = units.stated(line.voltage_kv, "kV")
    return volts if line.voltage_from == "line" else f"at most {volts} by the mission"


def line_words(line: KeepAway | None, units: Units = METRIC, named: Callable[[str], str] = str) -> str:
    """The line with the least to spare, how far it is and what is needed, in a sentence or two."""
    if line is None:
        return NO_LINES
    height = "" if line.height_m != line.height_m else f", wires from {units.there(line.height_m)} up"
    what = f"{named(line.name or 'an overhead line')} ({voltage_words(line, units)}{height})"
    head = f"Nearest known line: {what}, {_away(line, units)}"
    if not line.judged:
        return f"{head}. {need_words(line, units)} Look for others."
    return (
        f"{head} on the map where {units.keep(line.needed_m, 1)} are needed; on the ground {wires_words(line, units)} "
        f"({line_source(line)}). Look for others."
    )


def need_words(line: KeepAway, units: Units = METRIC) -> str:
    """What is kept from the line as mapped, part by part; or that nobody here can say."""
    if not line.judged:
        return (
            f"Above 1,000 kV only its owner or a qualified engineer sets the distance ({line_source(line)}): nothing "
            f"within {units.keep(line.rules_within_m)} of it is planned."
        )
    return f"On the map {units.keep(line.needed_m, 1)} are needed: {parts_words(line, units)}."


def parts_words(line: KeepAway, units: Units = METRIC) -> str:
    """The parts of what is kept from the line as mapped."""
    return (
        f"clearance {units.keep(line.clearance_m, 1)} by {line_source(line)}, outer wires "
        f"{units.keep(line.half_width_m, 1)}, map and parking {units.keep(line.position_error_m, 1)}, mast that falls "
        f"or tips {units.keep(line.reach_m, 1)}"
    )


def too_near_words(line: KeepAway, units: Units = METRIC) -> str:
    """Why the line rules the spot out."""
    head = f"{line.name or 'An overhead line'} ({voltage_words(line, units)})"
    return f"{head} is {_away(line, units)}. {need_words(line, units)}"


def wires_words(line: KeepAway | None, units: Units = METRIC) -> str:
    """What stays clear on the ground, as a cell of a table."""
    if line is None:
        return "none known: look"
    if not line.judged:
        return "its owner sets the distance"
    return f"{units.keep(line.to_wire_m, 1)} from the trailer's middle to the nearest wire"


def _away(line: KeepAway, units: Units) -> str:
    if line.distance_m < 1000:  # in feet, as what is kept from it: 0.2 mi beside 207 ft would be read wrongly
        return f"{units.there(line.distance_m)} away"
    return f"{units.distance(line.distance_m, 'down')} away"
