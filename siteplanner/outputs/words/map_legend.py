"""What the colours of a picture of the ground mean, the same for the saved map and the app. Plain text."""

from __future__ import annotations

from siteplanner.outputs.words.palettes import SKY_COLOURS, SKY_UNKNOWN_COLOUR, SLOPE_COLOURS
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.legend import sky_classes, sky_steps, sky_words, slope_classes
from siteplanner.planning.telling.units import NOT_KNOWN, reader_units

__all__ = ["sky_steps", "sky_words"]
SERVICE_TITLE, RULED_TITLE = "Predicted service", "Ruled out"
SKY_TITLE, SLOPE_TITLE = "Sky margin", "Slope"
FIRST_LIMIT = "Share of the search ground; a cell with several limits has the color of the first."


def sky_shown(plan: Plan) -> bool:
    """Whether a picture of the sky margin can be made and says something: the dish is wanted."""
    return plan.scene.margin_of is not None and "geostationary" in plan.mission.backhaul.wanted


def sky_rows(plan: Plan) -> list[tuple[str, str]]:
    """(colour, words) of the sky margin's classes, the shut sky first."""
    units = reader_units(plan.mission)
    behind, least, _, _ = sky_steps(plan)
    rows = list(zip(SKY_COLOURS, sky_classes(plan, units.first), strict=True))
    if least <= behind:  # no margin is asked for: the class is empty
        del rows[1]
    return [*rows, (SKY_UNKNOWN_COLOUR, NOT_KNOWN)]


def slope_rows(plan: Plan) -> list[tuple[str, str]]:
    """(colour, words) of the slope's classes."""
    units = reader_units(plan.mission)
    return list(zip(SLOPE_COLOURS, slope_classes(plan, units.first), strict=True))
