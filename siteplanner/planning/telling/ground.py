"""How the trailer stands and how well that is known, in words. A lift below its own doubt is not told as a lift."""

from __future__ import annotations

import math

from siteplanner.planning.spots.evaluation import Ground
from siteplanner.planning.telling.units import NOT_KNOWN, Units

LEVEL_M = 0.5  # less than an elevation's own error; common practice, no source
WHOLE_M = 10.0  # cells and heights from here on are told in whole meters


def cell_words(metres: float, units: Units) -> str:
    """How wide a cell of a raster is, everywhere the same: whole meters and feet, a fine one by its own digits."""
    return units.length(metres) if metres >= WHOLE_M else units.stop(metres)


def slope_cell(ground: Ground, units: Units) -> str:
    """`1.8° ± 2.0°`, as a cell of a table."""
    slope = units.angle(ground.slope_deg)
    return f"{slope}{_doubt(ground, units)}" if math.isfinite(ground.slope_deg) else NOT_KNOWN


def slope_with_doubt(ground: Ground, units: Units) -> str:
    """`2.1° ± 3.4°`; over wide cells `2.1° ± 3.4° as the mean of cells of 83 m; ...`."""
    if not math.isfinite(ground.slope_deg) or ground.known_at_size:
        return slope_cell(ground, units)
    wide = cell_words(max(ground.cell_size_m, ground.source_cell_m), units)
    return f"{slope_cell(ground, units)} as the mean of cells of {wide}; not known at the trailer's size"


def _doubt(ground: Ground, units: Units) -> str:
    doubt = ground.slope_uncertainty_deg
    return f" ± {units.angle(doubt)}" if math.isfinite(doubt) else ", doubt not known"


def channel_words(above_m: float, units: Units) -> str:
    """`about 2.1 m above the channel that it drains to`; nobody knows the last half meter."""
    if above_m < LEVEL_M:
        return "level with the channel that it drains to"
    return f"about {units.length(above_m, 1 if above_m < WHOLE_M else 0)} above the channel that it drains to"


def stands_on_words(ground: Ground, units: Units) -> str:
    """Within a sentence: `stands on 2.1° of slope`; `stands where cells of 83 m slope 2.1° on average`."""
    slope = units.angle(ground.slope_deg)
    if ground.known_at_size:
        return f"stands on {slope} of slope"
    wide = cell_words(max(ground.cell_size_m, ground.source_cell_m), units)
    return f"stands where cells of {wide} slope {slope} on average"


def slope_doubt_words(ground: Ground, units: Units) -> str:
    """What the cells leave open: `slope ± 2.0°`, and that wide ones do not know it; '' where not known."""
    doubt = ground.slope_uncertainty_deg
    if not math.isfinite(doubt):
        return ""
    size = "" if ground.known_at_size else "not known at the trailer's size, "
    return f"slope {size}± {units.angle(doubt)}"


def lift_words(ground: Ground, corner: str, units: Units) -> str:
    """The lift of one jack: `0.31 m (12.2 in)`; below its doubt `within ± 0.22 m (8.7 in)`."""
    lift, doubt = ground.jack_differences_m.get(corner, math.nan), ground.lift_uncertainty_m
    if not math.isfinite(lift):
        return NOT_KNOWN
    if lift <= doubt:
        return f"within ± {units.lift(doubt)}" if ground.known_at_size else f"{NOT_KNOWN} (± {units.lift(doubt)})"
    return units.lift(lift)


def lift_doubt_words(ground: Ground, units: Units) -> str:
    """How well the lifts are known; '' where not known.

    `Level within what the elevation can tell (± 0.22 m): measure with a level; ...` where no lift passes its doubt.
    """
    doubt = ground.lift_uncertainty_m
    if not math.isfinite(doubt):
        return ""
    about = f"± {units.lift(max(0.01, doubt))}"
    if ground.level_within_doubt and not ground.known_at_size:
        text = f"How level it is, is not known at the trailer's size ({about}): measure with a level"
    elif ground.level_within_doubt:
        text = f"Level within what the elevation can tell ({about}): measure with a level"
    else:
        text = f"Lifts {about}: check with a level"
    if math.isfinite(ground.bumps_m):
        return f"{text}; the ground under the trailer leaves the plane by up to {units.lift(ground.bumps_m)}."
    return f"{text}; bumps that the elevation does not show come on top."


def raise_first_words(ground: Ground) -> str:
    """Which corner the crew lifts first, in a sentence; '' where the stand is not known."""
    if not math.isfinite(ground.largest_lift_m):
        return ""
    if ground.level_within_doubt:
        return "Which corner is lowest is not known: the level tells."
    if not ground.raise_first:
        return "Already level, to a centimeter."
    return f"Raise the {ground.raise_first.replace('_', ' ')} corner first: it is the lowest."
