"""What would have to change for a point to pass, in sentences."""

from __future__ import annotations

from siteplanner.mission import Mission
from siteplanner.planning.plan.explain import Explanation
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.nearest import NearestPass
from siteplanner.planning.telling.limits import change_words
from siteplanner.planning.telling.units import METRIC, Units
from siteplanner.planning.telling.words import compass_point


def changes(found: Explanation, mission: Mission, units: Units = METRIC) -> tuple[str, ...]:
    """One sentence for each limit that the point breaks: what would have to be otherwise. Empty when it passes.

    Figures of limits are rounded up to what would just do, so that nobody relaxes more than is needed.
    """
    out = []
    if not found.in_search_ground:
        out.append("The search would have to reach farther beyond the incident area (search.radius_m).")
    for code in dict.fromkeys(breach.code for breach in found.evaluation.failed):
        out.append(change_words(code, found.evaluation, mission, units))
    return tuple(out)


def nearest_words(near: NearestPass, where: str, units: Units = METRIC) -> str:
    """Where the nearest ground is that passes, as far as the map's cells show; `where`: its place as written."""
    toward = f"{compass_point(near.bearing_deg)} ({units.bearing(near.bearing_deg)} true)"
    return (
        f"Or move: the nearest ground that passes every limit on the map is {units.distance(near.distance_m)} away, "
        f"{toward}, at {where}."
    )


def lead_words(found: Explanation, plan: Plan) -> str:
    """For a point that passes: how far it is from the first place, in a sentence; empty when it would lead."""
    if not found.passes or found.score is None or plan.best is None or found.score >= plan.best.score:
        return ""
    ahead = {c.name: c.contribution for c in plan.best.criteria}
    behind = {c.name: ahead.get(c.name, 0.0) - c.contribution for c in found.criteria}
    worst = max(found.criteria, key=lambda c: behind[c.name])
    return (
        f"It is {plan.best.score - found.score:.1f} points behind {plan.best.spot.name}, most of them "
        f"({behind[worst.name]:.1f}) on: {worst.label.lower()}."
    )
