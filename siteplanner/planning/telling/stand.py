"""How the trailer stands, in words: footprint, slope, jacks."""

from __future__ import annotations

import math

from siteplanner.mission import Trailer
from siteplanner.planning.spots.evaluation import Ground
from siteplanner.planning.telling.ground import (
    cell_words,
    lift_doubt_words,
    lift_words,
    raise_first_words,
    slope_doubt_words,
    slope_with_doubt,
)
from siteplanner.planning.telling.units import Units

TRAVELS = 2.0  # of a jack that boards and jacks together can make up; common practice, no source
CORNERS = (
    ("front_left", "Front left"),
    ("front_right", "Front right"),
    ("rear_left", "Rear left"),
    ("rear_right", "Rear right"),
)


def footprint_words(trailer: Trailer, units: Units) -> str:
    """Length and width with the outriggers out."""
    arm = trailer.outrigger_reach_m
    if arm == 0:
        return f"{units.stated(trailer.length_m, 'm')} by {units.length(trailer.width_m, 1)}, no outriggers"
    width = units.length(trailer.width_m + 2 * arm, 1)
    return f"{units.stated(trailer.length_m, 'm')} by {width}, outriggers {units.length(arm, 1)} a side"


def slope_words(ground: Ground, units: Units) -> str:
    """The slope and what of it goes across and along the trailer."""
    slope, roll, pitch = (units.angle(v) for v in (ground.slope_deg, ground.roll_deg, ground.pitch_deg))
    return f"{slope}; roll {roll}, pitch {pitch} before leveling"


def cells_words(ground: Ground, units: Units) -> str:
    """How fine the elevation is, and how well the slope is known by it."""
    text = f"cells of {cell_words(ground.cell_size_m, units)}: nothing finer is known"
    return "; ".join(filter(None, (text, slope_doubt_words(ground, units))))


def jack_rows(ground: Ground, units: Units) -> list[list[str]]:
    """(corner, lift) where the elevation knows a lift; empty where every one is within its doubt."""
    if ground.level_within_doubt or not ground.known_at_size:
        return []
    return [[label, lift_words(ground, key, units)] for key, label in CORNERS]


def jack_note(ground: Ground, trailer: Trailer, units: Units) -> str:
    """Which corner first, how well the lifts are known, what to carry, and how far the jacks reach."""
    if math.isnan(ground.largest_lift_m):
        return f"Not known. A jack travels {units.lift(trailer.jack_travel_m)}."
    lift = ground.largest_lift_m + (0.0 if math.isnan(ground.lift_uncertainty_m) else ground.lift_uncertainty_m)
    how = f"{raise_first_words(ground)} Lifts are above the highest corner. {lift_doubt_words(ground, units)}"
    if not jack_rows(ground, units):
        how = f"The map cannot tell which corner is low (± {units.lift(ground.lift_uncertainty_m)}): the level decides."
    travel = units.lift(trailer.jack_travel_m)
    if not jack_rows(ground, units) and lift > TRAVELS * trailer.jack_travel_m:
        return f"{how} A jack travels {travel}: where boards and jacks do not level it, do not set up; call."
    return f"{how} Carry boards and pads for up to {units.lift(lift)}; a jack travels {travel}."


def ground_words(ground: Ground, heading: str, units: Units) -> str:
    """Slope and parking heading, for the map; `heading` in words."""
    return f"slope {slope_with_doubt(ground, units)}; tongue toward {heading}"


def jack_lifts(ground: Ground, units: Units) -> str:
    """`front left 0.31 m, front right within ± 0.22 m, ...`; '' where not known."""
    return ", ".join(f"{key.replace('_', ' ')} {lift_words(ground, key, units)}" for key in ground.jack_differences_m)
