"""What would have to change for a point to pass, in sentences."""

from __future__ import annotations

import math

from siteplanner.mission import Mission
from siteplanner.planning.limits.ruling import LIMITS
from siteplanner.planning.plan.explain import Explanation
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.nearest import NearestPass
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.units import METRIC, Units
from siteplanner.planning.telling.words import compass_point

GROUND = {
    "structure": "It would have to lie farther from the structure, so that outriggers and mast have their room.",
    "water": "It would have to lie farther from the water.",
    "trees_on_spot": "The trees would have to be gone, or the point lie in a gap between them: look on site.",
    "soft_ground": "The ground would have to bear the rig: dry, frozen or matted, and tried on foot first.",
}


def changes(found: Explanation, mission: Mission, units: Units = METRIC) -> tuple[str, ...]:
    """One sentence for each limit that the point breaks: what would have to be otherwise. Empty when it passes.

    Figures of limits are rounded up to what would just do, so that nobody relaxes more than is needed.
    """
    out = []
    if not found.in_search_ground:
        out.append("The search would have to reach farther beyond the incident area (search.radius_m).")
    for code in dict.fromkeys(breach.code for breach in found.evaluation.failed):
        out.append(_change(code, found.evaluation, mission, units))
    return tuple(out)


def _change(code: str, e: Evaluation, mission: Mission, units: Units) -> str:
    if code == "steep":
        need, now = units.figure(e.ground.slope_deg, "°", 1, "up"), units.posted(mission.trailer.max_slope_deg, "°")
        allow = f"{need} (trailer.max_slope_deg, now {now})"
        return f"The ground would have to be levelled, or the unit's manual allow {allow}."
    if code == "sky_blocked":
        return _sky(e, mission, units)
    if code == "sky_unknown":
        ways = [f"{units.bearing(look.azimuth_deg)} true" for look in e.sky if math.isnan(look.margin_deg)]
        return f"Elevation data would have to reach farther along {' and '.join(ways) or 'the look'}."
    if code == "no_backhaul":
        return _backhaul(e, units)
    if code == "no_way_in":
        return (
            f"A road that the rig can use would have to come within {units.stop(mission.rig.last_leg_max_m)} over "
            "drivable ground (rig.last_leg_max_m), or a track that the map lacks would have to be named."
        )
    if code == "power_line":
        return "The trailer would have to stand farther from the line; only the line's owner can allow less."
    if code == "roadway":
        return f"It would have to lie {units.stop(mission.trailer.road_setback_m)} from the road's centre line."
    if code in ("keep_out", "hazard"):
        return "The area would have to be lifted by whoever set it, or the point lie outside it."
    if code == "no_data":
        return "Elevation data would have to cover the point and the cells beside it."
    if code in GROUND:
        return GROUND[code]
    return f"The limit would have to be lifted where the point lies: {LIMITS.get(code, code).lower()}."


def _backhaul(e: Evaluation, units: Units) -> str:
    """What the wanted backhauls lack here, the nearest to working first."""
    links = [d for b in e.backhauls for d in b.donors]
    text = "One of the wanted backhauls would have to work here, or another be wanted (backhaul.wanted)."
    low = [d for d in links if math.isfinite(d.clearance_m) and d.verdict == "fails"]
    if low:
        path = max(low, key=lambda d: d.clearance_m)
        side = "below" if path.clearance_m < 0 else "above"
        by, at = units.length(abs(path.clearance_m)), units.figure(path.tightest_at_m / 1000, "km", 1)
        text += f" The line to {path.name} passes {by} {side} what stands at {at}."
    if any(b.verdict == "unknown" for b in e.backhauls):
        text += " Elevation data that reach farther could settle what is not known."
    return text


def _sky(e: Evaluation, mission: Mission, units: Units) -> str:
    known = [look for look in e.sky if math.isfinite(look.margin_deg)]
    look = max(known, key=lambda one: one.margin_deg, default=None)
    if look is None:
        return "A satellite would have to stand clear of the skyline."
    low = mission.sky.min_elevation_deg
    if look.margin_deg >= mission.sky.min_margin_deg and look.elevation_deg < low:
        return f"Looks below {units.posted(low, '°')} would have to be allowed (sky.min_elevation_deg)."
    short = units.figure(max(mission.sky.min_margin_deg - look.margin_deg, 0.1), "°", 1, "up")
    one = "" if mission.sky.need == "any" else " for every satellite that is needed"
    return (
        f"The skyline toward {look.satellite_name} would have to be {short} lower{one}, or "
        "a satellite that stands higher be used (sky.satellites)."
    )


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
