"""What the colours of a picture of the ground mean, the same words for the saved map and the app. Plain text."""

from __future__ import annotations

from siteplanner.outputs.words.palettes import SKY_COLOURS, SKY_UNKNOWN_COLOUR, SLOPE_COLOURS
from siteplanner.planning.plan.model import Plan

SKY_TITLE, SLOPE_TITLE = "Sky margin", "Slope of the ground"


def sky_steps(plan: Plan) -> tuple[float, float, float, float]:
    """Upper ends of the sky margin's classes but the last, in degrees: behind the skyline, short of the limit, ..."""
    least = plan.mission.sky.min_margin_deg
    return 0.0, least, max(10.0, least + 5), max(20.0, least + 15)


def sky_shown(plan: Plan) -> bool:
    """Whether a picture of the sky margin can be made and says something: the dish is wanted."""
    return plan.scene.margin_of is not None and "geostationary" in plan.mission.backhaul.wanted


def sky_words(plan: Plan) -> str:
    """What the picture of the sky margin shows; of several satellites, which one."""
    sky = plan.mission.sky
    if len(sky.satellites) == 1:
        which = "Satellite"
    else:
        which = "The clearest satellite" if sky.need == "any" else "The satellite with the least margin"
    return f"{which} above the skyline; no colour: outside the search ground"


def sky_rows(plan: Plan) -> list[tuple[str, str]]:
    """(colour, words) of the sky margin's classes, the shut sky first."""
    behind, least, good, wide = sky_steps(plan)
    words = ("behind it", f"up to {least:g}°, too little", f"up to {good:g}°", f"up to {wide:g}°", f"above {wide:g}°")
    rows = list(zip(SKY_COLOURS, words, strict=True))
    if least <= behind:  # no margin is asked for: the class is empty
        del rows[1]
    return [*rows, (SKY_UNKNOWN_COLOUR, "not known")]


def slope_rows(plan: Plan) -> list[tuple[str, str]]:
    """(colour, words) of the slope's classes."""
    limit = plan.mission.trailer.max_slope_deg
    steps = (f"up to {limit / 2:g}°", f"up to {limit:g}°, the limit", f"up to {2 * limit:g}°", f"above {2 * limit:g}°")
    return list(zip(SLOPE_COLOURS, steps, strict=True))
