"""What the colours of a picture of the ground mean, in words; without the colours."""

from __future__ import annotations

from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.units import Units


def sky_steps(plan: Plan) -> tuple[float, float, float, float]:
    """Upper ends of the sky margin's classes but the last, in degrees: behind the skyline, short of the limit, ..."""
    least = plan.mission.sky.min_margin_deg
    return 0.0, least, max(10.0, least + 5), max(20.0, least + 15)


def sky_words(plan: Plan) -> str:
    """What the picture of the sky margin shows; of several satellites, which one."""
    sky = plan.mission.sky
    if len(sky.satellites) == 1:
        which = "Satellite"
    else:
        which = "The clearest satellite" if sky.need == "any" else "The satellite with the least margin"
    return f"{which} above the skyline; no color: outside the search ground"


def sky_classes(plan: Plan, units: Units) -> tuple[str, ...]:
    """The sky margin's classes, the shut sky first."""
    _, least, good, wide = (units.stated(step, "°") for step in sky_steps(plan))
    return "behind it", f"up to {least}, too little", f"up to {good}", f"up to {wide}", f"above {wide}"


def served_from_words(name: str, share: float, units: Units) -> str:
    """`Spot A serves at 75 % and more`: what a shape of predicted service stands for."""
    return f"Spot {name} serves at {units.share(share)} and more"


def slope_classes(plan: Plan, units: Units) -> tuple[str, ...]:
    """The slope's classes, level ground first."""
    limit = plan.mission.trailer.max_slope_deg
    half, full, double = (units.stated(step, "°") for step in (limit / 2, limit, 2 * limit))
    return f"up to {half}", f"up to {full}, the limit", f"up to {double}", f"above {double}"
