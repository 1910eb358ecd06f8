"""Whether and where the rig turns round, in sentences."""

from __future__ import annotations

from siteplanner.planning.spots.drive_facts import Turning
from siteplanner.planning.spots.room import Limit, Room

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


def radii_text(free_radius_m: float, needed_m: float) -> tuple[str, str]:
    """Free and needed radius in metres, with as many digits as show which is the larger."""
    for digits in (1, 2, 3):
        free, need = f"{free_radius_m:.{digits}f}", f"{needed_m:.{digits}f}"
        if free != need:
            break
    return free, need


def room_words(room: Room | None) -> str:
    """Whether the rig can turn at the spot, with the circle that is free and the one that is needed."""
    if room is None:
        return "Not known whether the rig can turn at the spot: there is no elevation."
    if room.state == "unknown":
        why = WHY_UNKNOWN.get(room.limited_by, "the data cannot tell")
        return f"Not known whether the rig can turn at the spot: {why}; {room.needed_m:.1f} m of free radius needed."
    free, need = radii_text(room.free_radius_m, room.needed_m)
    if room.state == "yes":
        trees = "" if room.heights_known else "; trees and banks are not in the data"
        return f"Room to turn at the spot by the map: a free circle of {free} m radius, {need} m needed{trees}."
    meets = f" and meets {IN_THE_WAY[room.limited_by]}" if room.limited_by in IN_THE_WAY else ""
    circle = f"the largest free circle has {free} m radius{meets}"
    return f"No room to turn at the spot by the map: {circle}; {need} m needed."


def turning_words(turning: Turning) -> str:
    """Where the rig turns round, at the spot or before it, in a few sentences."""
    at_spot, place = turning.room.is_enough, turning.place
    text = room_words(turning.room)
    if place is None:
        text += " No turning place is known on the road before it." if not at_spot else ""
    else:
        named = {
            "junction": f"the junction with {place.name}",
            "loop": f"the loop of {place.name}",
            "roundabout": "the roundabout",
            "open ground": "open ground beside the road",
        }[place.kind]
        where = f"{_tens(place.back_m)} m before the stop" if place.back_m >= 5 else "at the stop"
        if at_spot:
            text += f" The last turning place on the road before it: {named}, {where}."
        else:
            text += f" Turn before it: {named}, {where}; from the spot {_tens(turning.back_m)} m of backing."
    if turning.carry_on_m is not None and not at_spot:
        text += f" Or carry on without turning: {turning.carry_on_m / 1000:.1f} km back to the start."
    return f"{text} See whether there is room before you commit."


def _tens(metres: float) -> int:
    return max(10, round(metres / 10) * 10)
