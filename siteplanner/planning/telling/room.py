"""Whether and where the rig turns round, in sentences."""

from __future__ import annotations

import math

from siteplanner.core.constants import FOOT_M
from siteplanner.planning.spots.drive_facts import Turning
from siteplanner.planning.spots.room import Limit, Room
from siteplanner.planning.telling.units import METRIC, Units

IN_THE_WAY: dict[Limit, str] = {
    "keep_out": "a keep-out",
    "hazards": "a hazard area",
    "structures": "a structure",
    "water": "water",
    "soft_ground": "soft ground",
    "steep": "steep ground",
    "obstacle": "what stands on the ground",
}
WHY_UNKNOWN: dict[Limit, str] = {
    "coarse_cells": "the elevation's cells are too wide to show it",
    "unknown_ground": "the ground around is not known",
}


def radii_text(free_radius_m: float, needed_m: float, units: Units = METRIC) -> tuple[str, str]:
    """Free radius, rounded down, and needed radius, rounded up, with as many digits as show which is the larger."""
    for digits in (1, 2, 3):
        steps = (10.0**-digits, FOOT_M * 10.0 ** (1 - digits))  # of metres and of feet, as they are printed
        if all(_alike(free_radius_m, needed_m, step) for step in steps):
            break
    free, need = units.there(free_radius_m, digits), units.keep(needed_m, digits)
    return free, need


def _alike(free_m: float, needed_m: float, step_m: float) -> bool:
    """Whether the rounded figures tell the same as the true ones: which of them is the larger."""
    return (math.floor(free_m / step_m) >= math.ceil(needed_m / step_m)) == (free_m >= needed_m)


def room_words(room: Room | None, units: Units = METRIC) -> str:
    """Whether the rig can turn at the spot, with the circle that is free and the one that is needed."""
    if room is None:
        return "Not known whether the rig can turn at the spot: there is no elevation."
    if room.state == "unknown":
        why = WHY_UNKNOWN.get(room.limited_by, "the data cannot tell")
        return (
            f"Not known whether the rig can turn at the spot: {why}; {units.keep(room.needed_m, 1)} of free radius "
            f"needed."
        )
    free, need = radii_text(room.free_radius_m, room.needed_m, units)
    if room.state == "yes":
        trees = "" if room.heights_known else "; trees and banks are not in the data"
        return f"Room to turn at the spot by the map: a free circle of {free} radius, {need} needed{trees}."
    meets = f" and meets {IN_THE_WAY[room.limited_by]}" if room.limited_by in IN_THE_WAY else ""
    circle = f"the largest free circle has {free} radius{meets}"
    return f"No room to turn at the spot by the map: {circle}; {need} needed."


def turning_words(turning: Turning, units: Units = METRIC) -> str:
    """Where the rig turns round, at the spot or before it, in a few sentences."""
    at_spot, place = turning.room.is_enough, turning.place
    text = room_words(turning.room, units)
    if place is None:
        text += " No turning place is known on the road before it." if not at_spot else ""
    else:
        named = {
            "junction": f"the junction with {place.name}",
            "loop": f"the loop of {place.name}",
            "roundabout": "the roundabout",
            "open ground": "open ground beside the road",
        }[place.kind]
        where = f"{units.roughly(place.back_m)} before the stop" if place.back_m >= 5 else "at the stop"
        if at_spot:
            text += f" The last turning place on the road before it: {named}, {where}."
        else:
            text += f" Turn before it: {named}, {where}; from the spot {units.roughly(turning.back_m)} of backing."
    if turning.carry_on_m is not None and not at_spot:
        or_else = "Or carry on" if place is not None else "Carry on"
        text += f" {or_else} without turning: {units.figure(turning.carry_on_m / 1000, 'km', 1)} back to the start."
    return f"{text} See whether there is room before you commit."
