"""The limits that a spot breaks, each in a sentence, and what would have to be otherwise."""

from __future__ import annotations

import math
from collections.abc import Callable

from siteplanner.mission import Mission
from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.ruling import LIMITS, RulingShare
from siteplanner.planning.limits.site_limits import road_room_m
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.backhaul import no_backhaul_words
from siteplanner.planning.telling.overhead_lines import too_near_words
from siteplanner.planning.telling.roads import no_way_words
from siteplanner.planning.telling.units import METRIC, Units


def breach_words(breach: Breach, units: Units = METRIC) -> str:
    """One sentence, or two where the second says what is wrong with the road close by."""
    made = {
        "no_data": _no_data,
        "steep": _steep,
        "no_way_in": _no_way,
        "power_line": _line,
        "structure": _structure,
        "water": _water,
        "trees_on_spot": _trees,
        "soft_ground": _soft,
        "roadway": _roadway,
        "sky_blocked": _sky,
        "sky_unknown": _sky,
        "required_point": _required,
        "no_backhaul": lambda b, u: no_backhaul_words(b.kind, b.about, u),
    }.get(breach.code)
    return _area(breach) if made is None else made(breach, units)


def nearest_to_pass_words(share: RulingShare, units: Units = METRIC) -> str:
    """How far a limit would have to relax for the nearest ground that only it rules out; '' where not known.

    Rounded so that this ground passes with the very figure that is named.
    """
    if share.would_allow != share.would_allow:
        return ""
    if share.code == "steep":
        return f"allow {units.figure(share.would_allow, '°', 1, 'up')}"
    if share.code == "sky_blocked":
        return f"allow a margin of {units.figure(share.would_allow, '°', 1, 'down')}"
    return f"allow {units.there(share.would_allow, 1)}"


def _name(breach: Breach) -> str:
    return breach.names[0] if breach.names else ""


def _no_data(breach: Breach, units: Units) -> str:
    if breach.kind == "beside":
        return "The elevation beside this cell is not known."
    return "There is no elevation here."


def _steep(breach: Breach, units: Units) -> str:
    if breach.kind == "jack":
        corner = _name(breach).replace("_", " ")
        return (
            f"Leveling lifts the {corner} jack {units.length(breach.figure, 2)}; the jacks travel "
            f"{units.length(breach.limit, 2)}."
        )
    return f"The ground slopes {units.angle(breach.figure)}; the limit is {units.angle(breach.limit)}."


def _no_way(breach: Breach, units: Units) -> str:
    """`about`: what is wrong with the nearest road."""
    text = f"No road that the rig can reach comes within {units.length(breach.limit)} over drivable ground."
    return " ".join(filter(None, (text, *(no_way_words(found, units) for found in breach.about))))


def _line(breach: Breach, units: Units) -> str:
    """`about`: the line."""
    return too_near_words(breach.about[0], units)


def _structure(breach: Breach, units: Units) -> str:
    what = "trailer with outriggers and guy anchors" if breach.kind == "guys" else "trailer, outriggers"
    return (
        f"{_name(breach) or 'A structure'} is {units.there(breach.figure, 1)} away; {what} and a clearance "
        f"of {units.posted(breach.margin, 'm', 'up')} need {units.keep(breach.limit, 1)}."
    )


def _water(breach: Breach, units: Units) -> str:
    where = "The spot lies in water" if breach.figure == 0 else f"Water is {units.there(breach.figure, 1)} away"
    name = f" ({breach.names[0]})" if breach.names else ""
    guys = " (guy anchors)" if breach.kind == "guys" else ""
    return f"{where}{name}; {units.posted(breach.limit, 'm', 'up')} is kept from it{guys}."


def _trees(breach: Breach, units: Units) -> str:
    if breach.kind == "guys":
        return (
            "Trees reach where the trailer, its outriggers and the guys of its mast would be (surface less elevation)."
        )
    what = "Trees reach" if breach.kind == "reach" else f"Trees or roofs about {units.length(breach.figure)} tall stand"
    return f"{what} where the trailer and its outriggers would be (surface less elevation)."


def _soft(breach: Breach, units: Units) -> str:
    under = "trailer, outriggers or guy anchors" if breach.kind == "guys" else "trailer or outriggers"
    return f"Soft ground{f' ({breach.names[0]})' if breach.names else ''} under {under}."


def _required(breach: Breach, units: Units) -> str:
    """`about`: the points that it does not serve."""
    points = " and ".join(f"{p.name} ({units.share_at_least(p.probability)})" for p in breach.about)
    return f"Service is too unlikely at {points}; each required point needs {units.share(breach.limit)}."


def _roadway(breach: Breach, units: Units) -> str:
    return f"Closer than {units.keep(breach.limit)} to a road's center line."


def _sky(breach: Breach, units: Units) -> str:
    """`about`: the looks; `limit` the margin needed over the skyline, `margin` the least elevation."""
    low = [look for look in breach.about if look.elevation_deg < (breach.margin or 0.0)]
    text = ""
    if low:
        names = ", ".join(
            f"{look.satellite_name} stands {units.angle(look.elevation_deg)} up"
            if look.elevation_deg >= 0
            else f"{look.satellite_name} is below the horizon ({units.angle(look.elevation_deg)})"
            for look in low
        )
        text = f"{names}; {units.angle(breach.margin)} is needed."
    margins = ", ".join(
        f"{look.satellite_name}: {units.angle(look.margin_deg)}" for look in breach.about if look not in low
    )
    if margins:
        text = f"{text} Sky margin toward {margins}; {units.angle(breach.limit)} is needed.".strip()
    return text


def _area(breach: Breach) -> str:
    """A keep-out or a hazard area."""
    return f"{LIMITS[breach.code]}: {breach.names[0]}." if breach.names else f"{LIMITS[breach.code]}."


def change_words(code: str, e: Evaluation, mission: Mission, units: Units = METRIC) -> str:
    """What would have to be otherwise where a limit is broken, in a sentence."""
    made = CHANGES.get(code)
    if made is not None:
        return made(e, mission, units)
    return f"The limit would have to be lifted where the point lies: {LIMITS.get(code, code).lower()}."


def _less_steep(e: Evaluation, mission: Mission, units: Units) -> str:
    need, now = units.figure(e.ground.slope_deg, "°", 1, "up"), units.posted(mission.trailer.max_slope_deg, "°")
    allow = f"{need} (trailer.max_slope_deg, now {now})"
    return f"The ground would have to be leveled, or the unit's manual allow {allow}."


def _farther_data(e: Evaluation, mission: Mission, units: Units) -> str:
    """Which data would have to say more, along which looks."""
    out = []
    for trees, text in (
        (False, "Elevation data would have to reach farther along"),
        (True, "The surface layer would have to cover the ground along"),
    ):
        looks = [look for look in e.sky if look.state == "unknown" and look.trees_unknown is trees]
        if looks:
            out.append(f"{text} {' and '.join(f'{units.bearing(look.azimuth_deg)} true' for look in looks)}.")
    return " ".join(out) or "Elevation data would have to reach farther along the look."


def _nearer_road(e: Evaluation, mission: Mission, units: Units) -> str:
    return (
        f"A road that the rig can use would have to come within {units.stop(mission.rig.last_leg_max_m)} over "
        "drivable ground (rig.last_leg_max_m), or a track that is missing from the map must be named."
    )


def _off_the_road(e: Evaluation, mission: Mission, units: Units) -> str:
    setback = units.posted(road_room_m(mission), "m", "up")
    return f"It must be at least {setback} from the road's center line."


def _area_lifted(e: Evaluation, mission: Mission, units: Units) -> str:
    return "The area would have to be lifted by whoever set it, or the point lie outside it."


def _one_backhaul(e: Evaluation, mission: Mission, units: Units) -> str:
    """What the wanted backhauls lack here, the nearest to working first."""
    links = [d for b in e.backhauls for d in b.donors]
    text = "One of the requested backhauls would have to work here, or another be wanted (backhaul.wanted)."
    low = [d for d in links if math.isfinite(d.clearance_m) and d.verdict == "fails"]
    if low:
        path = max(low, key=lambda d: d.clearance_m)
        side = "below" if path.clearance_m < 0 else "above"
        by, at = units.length(abs(path.clearance_m)), units.figure(path.tightest_at_m / 1000, "km", 1)
        text += f" The line to {path.name} passes {by} {side} what stands at {at}."
    if any(b.verdict == "unknown" for b in e.backhauls):
        text += " Elevation data that reach farther could settle what is not known."
    return text


def _clear_sky(e: Evaluation, mission: Mission, units: Units) -> str:
    look = e.look
    if look is None or math.isnan(look.margin_deg):
        return "A satellite would have to stand clear of the skyline."
    low = mission.sky.min_elevation_deg
    if look.margin_deg >= mission.sky.min_margin_deg and look.too_low:
        return f"Looks below {units.posted(low, '°')} would have to be allowed (sky.min_elevation_deg)."
    short = units.figure(max(mission.sky.min_margin_deg - look.margin_deg, 0.1), "°", 1, "up")
    one = "" if mission.sky.need == "any" else " for every satellite that is needed"
    return (
        f"The skyline toward {look.satellite_name} would have to be {short} lower{one}, or "
        "a satellite that stands higher be used (sky.satellites)."
    )


CHANGES: dict[str, Callable[[Evaluation, Mission, Units], str]] = {
    "no_data": lambda e, mission, units: "Elevation data would have to cover the point and the cells beside it.",
    "steep": _less_steep,
    "keep_out": _area_lifted,
    "hazard": _area_lifted,
    "power_line": lambda e, mission, units: (
        "The trailer would have to stand farther from the line; only the line's owner can allow less."
    ),
    "sky_blocked": _clear_sky,
    "sky_unknown": _farther_data,
    "roadway": _off_the_road,
    "no_way_in": _nearer_road,
    "structure": lambda e, mission, units: (
        "It must be farther from the structure, so that outriggers and mast have their room."
    ),
    "water": lambda e, mission, units: "It must be farther from the water.",
    "trees_on_spot": lambda e, mission, units: (
        "The trees would have to be gone, or the point lie in a gap between them: look on site."
    ),
    "soft_ground": lambda e, mission, units: (
        "The ground would have to bear the rig: dry, frozen or matted, and tried on foot first."
    ),
    "required_point": lambda e, mission, units: (
        f"The point would have to be wanted only (site.required_points, column `required`), a chance below "
        f"{units.share(mission.radio.chance_needed)} be enough (radio.required_chance), or a second trailer serve it."
    ),
    "no_backhaul": _one_backhaul,
}
"""By the code of `ruling.LIMITS`, beside the sentence that says how the limit is broken."""
