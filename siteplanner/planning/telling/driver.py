"""The driver's sheet in words: the drive and its grades, the last leg, the rig, the drawing of the height."""

from __future__ import annotations

import math
from collections.abc import Callable

from siteplanner.mission import Rig
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Access, Evaluation
from siteplanner.planning.telling.aiming import both_bearings
from siteplanner.planning.telling.roads import (
    USUAL,
    ahead_words,
    rig_height_words,
    turning_radius_words,
    unknown_along_words,
)
from siteplanner.planning.telling.units import BOTH, NOT_KNOWN, Units
from siteplanner.roads.grade_bands import edges_pct, grade_stretches
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.routing import Route

Named = Callable[[str], str]


def drive_words(access: Access, units: Units) -> str:
    """`12.8 km (7.9 mi), 21 min (18 min to 26 min), last leg included`."""
    return f"{units.distance(access.drive_distance_m)}, {drive_time_words(access, units)}, last leg included"


def drive_time_words(access: Access, units: Units) -> str:
    """`21 min (18 min to 26 min)`; without the range where it is not known."""
    text = units.seconds(access.drive_time_s)
    if not math.isfinite(access.drive_low_s):
        return text
    return f"{text} ({units.seconds(access.drive_low_s)} to {units.seconds(access.drive_high_s)})"


def start_words(name: str, drive_time_s: float | None, units: Units) -> str:
    """Another start: how long the drive from it is, or that there is none."""
    return f"{name} {no_way_or_time(drive_time_s, units)}"


def no_way_or_time(drive_time_s: float | None, units: Units) -> str:
    """The time of a drive, or that the rig has no way."""
    return "no way for the rig" if drive_time_s is None else units.seconds(drive_time_s)


def other_starts(access: Access, units: Units, named: Named = str) -> str:
    """The staging points that were not chosen, with the time that the drive would take from each."""
    return "; ".join(start_words(named(s.name), s.drive_time_s, units) for s in access.by_staging[1:])


def climb_words(route: Route, units: Units) -> str:
    """How far the drive goes up and down in all."""
    return f"{units.length(route.climb_m)} up, {units.length(route.descent_m)} down"


def last_leg_words(access: Access, bearing_deg: float, evaluation: Evaluation, units: Units) -> str:
    """Where the last leg starts and where the spot lies; `bearing_deg` true, from the road to the spot."""
    return (
        f"The last leg starts here: {units.distance(access.last_leg_m)} over ground to the spot, which lies at "
        f"{both_bearings(bearing_deg, evaluation, units)}."
    )


def on_foot_words(heading_deg: float, evaluation: Evaluation, units: Units) -> str:
    """How the last leg is driven and how the rig is parked; `heading_deg` NaN: not known."""
    park = parked_words(heading_deg, evaluation, units)
    return f"Walking pace, a spotter on foot in sight of the driver. {park}".rstrip()


def stretch_words(hazard: HazardAhead, units: Units, named: Named = str) -> str:
    """A hazard, and for how long it stays."""
    stretch = f", for {units.distance(hazard.length_m)}" if hazard.length_m > 0 else ""
    return f"{named(ahead_words(hazard, units))}{stretch}"


def hazard_on_words(hazard: HazardAhead, units: Units) -> str:
    """A hazard with its place on the drive, for a mark on a drawing."""
    return f"{ahead_words(hazard, units)}, at {units.odometer_words(hazard.running_m)}"


def rig_rows(rig: Rig, units: Units) -> list[tuple[str, str]]:
    """The rig as the roads were judged for it."""
    return [
        ("Height", rig_height_words(rig, units)),
        ("Width", units.stated(rig.width_m, "m")),
        ("Length", units.stated(rig.length_m, "m", 0)),
        ("Mass", units.load(rig.mass_kg)),
        ("Steepest grade", units.stated(rig.max_grade_pct, "%")),
        ("Turning radius", turning_radius_words(rig.turning_radius_m, units)),
    ]


def not_stated_words(access: Access | None, units: Units, named: Named = str) -> str:
    """What the road data do not state of the rig's limits, under a heading that says so."""
    unknown = "; ".join(unknown_along_words(access.unknown if access else (), units, labelled=True))
    return f"{named(unknown)}. {USUAL}" if unknown else USUAL


def profile_words(plan: Plan, ranked: RankedSpot, units: Units = BOTH) -> str:
    """The profile in short sentences; '' where no road leads to the spot."""
    access = ranked.evaluation.access
    if access is None:
        return ""
    route = access.route
    parts = [
        f"{units.distance(access.drive_distance_m)} by road, {units.length(route.climb_m)} up and "
        f"{units.length(route.descent_m)} down."
    ]
    limit = plan.mission.rig.max_grade_pct
    stretches = grade_stretches(route, limit)
    for words, grade, chosen in (
        ("Steepest climb", route.up_grade_pct, [b for b in stretches if b.worst_pct > 0]),
        ("steepest descent", route.down_grade_pct, [b for b in stretches if b.worst_pct < 0]),
    ):
        if chosen and round(grade) > 0:  # the figure is the route's own; the stretches know where it lies
            worst = max(chosen, key=lambda b: abs(b.worst_pct))
            at = units.odometer_words(worst.start_m)
            parts.append(f"{words} {units.figure(grade, '%')}, at about {at}")
    text = parts[0] + (f" {', '.join(parts[1:])}." if len(parts) > 1 else "")
    if stretches:
        *gears, _ = edges_pct(limit)
        steep = sum(b.end_m - b.start_m for b in stretches if b.band >= len(gears) - 1)
        told = f"{units.distance(steep)} steeper" if steep > 0 else "Nowhere steeper"
        gear, most = units.stated(gears[-1], "%"), units.stated(limit, "%")
        text += f" {told} than {gear}; the rig's limit is {most}."
    return text


def parked_words(heading_deg: float, evaluation: Evaluation, units: Units) -> str:
    """How the rig stands at the end: `Park with the nose at 158° true (146° magnetic).`; '' where it is not known."""
    if not math.isfinite(heading_deg):
        return ""
    return f"Park with the tongue at {both_bearings(heading_deg, evaluation, units)}."


def leg_labels(bearing_deg: float, heading_deg: float, evaluation: Evaluation, units: Units) -> list[str]:
    """For the drawing of the last leg: where the spot lies, how the trailer stands; `heading_deg` NaN: not known."""
    nose = [f"tongue {both_bearings(heading_deg, evaluation, units)}"] if math.isfinite(heading_deg) else []
    return [f"to the spot {both_bearings(bearing_deg, evaluation, units)}", *nose]


def times_words(text: str, count: int) -> str:
    """A hazard that comes several times at the same place: how often, before what it is."""
    return text if count < 2 else f"{count} times: {text}"


def minutes_at(running_s: float) -> str:
    """Minutes since leaving as a column tells them: whole ones."""
    return NOT_KNOWN if not math.isfinite(running_s) else f"{running_s / 60:.0f}"


def grade_class(number: int, until_pct: float, limit_pct: float, units: Units) -> str:
    """A class of grades in the legend of the profile; the last one ends at the rig's limit."""
    words = f"to {units.stated(until_pct, '%')}"
    if number == 0:
        return f"grade {words}"
    return f"{words}, the rig's limit" if until_pct == limit_pct else words
