"""What would have to change for a point to pass, and where the nearest ground is that passes already."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.mission import Mission
from siteplanner.planning.limits.ruling import LIMITS
from siteplanner.planning.plan.explain import Explanation
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation

GROUND = {
    "structure": "It would have to lie farther from the structure, so that outriggers and mast have their room.",
    "water": "It would have to lie farther from the water.",
    "trees_on_spot": "The trees would have to be gone, or the point lie in a gap between them: look on site.",
    "soft_ground": "The ground would have to bear the rig: dry, frozen or matted, and tried on foot first.",
}


@dataclass(frozen=True)
class NearestPass:
    """The middle of the nearest cell that passes every limit. `bearing_deg` is true, from the point asked about."""

    latitude: float
    longitude: float
    distance_m: float
    bearing_deg: float


def changes(found: Explanation, mission: Mission) -> tuple[str, ...]:
    """One sentence for each limit that the point breaks: what would have to be otherwise. Empty when it passes.

    Figures of limits are rounded up to what would just do, so that nobody relaxes more than is needed.
    """
    out = []
    if not found.in_search_ground:
        out.append("The search would have to reach farther beyond the incident area (search.radius_m).")
    for code in dict.fromkeys(breach.code for breach in found.evaluation.failed):
        out.append(_change(code, found.evaluation, mission))
    return tuple(out)


def _change(code: str, e: Evaluation, mission: Mission) -> str:
    if code == "steep":
        need = math.ceil(10 * e.ground.slope_deg) / 10
        return (
            f"The ground would have to be levelled, or the unit's manual allow {need:.1f} deg "
            f"(trailer.max_slope_deg, now {mission.trailer.max_slope_deg:g})."
        )
    if code == "sky_blocked":
        return _sky(e, mission)
    if code == "sky_unknown":
        ways = [f"{look.azimuth_deg:.0f} deg true" for look in e.sky if math.isnan(look.margin_deg)]
        return f"Elevation data would have to reach farther along {' and '.join(ways) or 'the look'}."
    if code == "no_backhaul":
        return _backhaul(e)
    if code == "no_way_in":
        return (
            f"A road that the rig can use would have to come within {mission.rig.last_leg_max_m:g} m over drivable "
            "ground (rig.last_leg_max_m), or a track that the map lacks would have to be named."
        )
    if code == "power_line":
        return "The trailer would have to stand farther from the line; only the line's owner can allow less."
    if code == "roadway":
        return f"It would have to lie {mission.trailer.road_setback_m:g} m from the road's centre line."
    if code in ("keep_out", "hazard"):
        return "The area would have to be lifted by whoever set it, or the point lie outside it."
    if code == "no_data":
        return "Elevation data would have to cover the point and the cells beside it."
    if code in GROUND:
        return GROUND[code]
    return f"The limit would have to be lifted where the point lies: {LIMITS.get(code, code).lower()}."


def _backhaul(e: Evaluation) -> str:
    """What the wanted backhauls lack here, the nearest to working first."""
    links = [d for b in e.backhauls for d in b.donors]
    text = "One of the wanted backhauls would have to work here, or another be wanted (backhaul.wanted)."
    low = [d for d in links if math.isfinite(d.clearance_m) and d.verdict == "fails"]
    if low:
        path = max(low, key=lambda d: d.clearance_m)
        text += (
            f" The line to {path.name} passes {abs(path.clearance_m):.0f} m "
            f"{'below' if path.clearance_m < 0 else 'above'} what stands at {path.tightest_at_m / 1000:.1f} km."
        )
    if any(b.verdict == "unknown" for b in e.backhauls):
        text += " Elevation data that reach farther could settle what is not known."
    return text


def _sky(e: Evaluation, mission: Mission) -> str:
    known = [look for look in e.sky if math.isfinite(look.margin_deg)]
    look = max(known, key=lambda one: one.margin_deg, default=None)
    if look is None:
        return "A satellite would have to stand clear of the skyline."
    low = mission.sky.min_elevation_deg
    if look.margin_deg >= mission.sky.min_margin_deg and look.elevation_deg < low:
        return f"Looks below {low:g} deg would have to be allowed (sky.min_elevation_deg)."
    short = math.ceil(10 * (mission.sky.min_margin_deg - look.margin_deg)) / 10
    one = "" if mission.sky.need == "any" else " for every satellite that is needed"
    return (
        f"The skyline toward {look.satellite_name} would have to be {max(short, 0.1):.1f} deg lower{one}, or "
        "a satellite that stands higher be used (sky.satellites)."
    )


def nearest_pass(ruling: Grid, x: float, y: float) -> NearestPass | None:
    """The nearest cell of the search ground that no limit rules out; None: there is none.

    `ruling` as in `Scene.ruling`; x and y in metres of its CRS. Distance in the plane of that CRS.
    """
    rows, cols = np.nonzero(ruling.values == 0)
    if not len(rows):
        return None
    row, col = ruling.rowcol(x, y)
    best = int(np.argmin((rows - float(row)) ** 2 + (cols - float(col)) ** 2))
    px, py = (float(v) for v in ruling.xy(int(rows[best]), int(cols[best])))
    lon, lat = ruling.lonlat(px, py)
    bearing = math.degrees(math.atan2(px - x, py - y)) + ruling.convergence_deg(x, y)
    return NearestPass(float(lat), float(lon), math.hypot(px - x, py - y), bearing % 360)


def lead_needed(found: Explanation, plan: Plan) -> str:
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
