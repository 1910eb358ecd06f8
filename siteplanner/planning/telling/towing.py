"""What holds for every tow: the check at the hitch, what to do when the road cannot be driven, wires, descents.

Sources: National Highway Traffic Safety Administration, Towing a Trailer: Being Equipped for Safety (DOT HS 809 433,
2002; from memory): coupler, chains, breakaway, lights, tires, 10 to 15 % of the trailer's weight on the tongue.
American Association of Motor Vehicle Administrators, commercial driver's manual of the states, section 2.16 (from
memory): the low gear is taken before the descent starts. SAE J2807 (from memory) proves tow ratings on a 12 % grade.
The rest is common practice.
"""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.core.constants import MILE_M
from siteplanner.planning.telling.units import Units
from siteplanner.roads.alternatives import Alternative
from siteplanner.roads.descents import Descent

RECHECK_M = MILE_M  # one mile. Common practice
WIRE_DOWN_M = 10.668  # 35 ft: public advice of the Electrical Safety Foundation, from memory; OSHA asks for 10 ft
RATED_GRADE_PCT = 12.0  # SAE J2807: launch and parking brake on 12 %, from memory

HITCH = (
    "Coupler latched and pinned; ball and coupler the same size",
    "Safety chains crossed under the tongue, with slack to turn",
    "Breakaway cable to the truck's frame, not to the ball or the chains",
    "Trailer brakes tried at walking pace; all lights work",
    "Tires and lug nuts: both looked at, on truck and trailer",
    "Tongue load 10 to 15 % of the trailer's weight",
    "Mast down and pinned; dish stowed; nothing loose on the roof",
    "Jacks and outriggers up and pinned; chocks in",
)
NEW_PLAN = "Different rig or load? Get a new plan. Not stated is not safe."
HITCH_SOURCE = (
    "Hitch, chains, breakaway, lights, tires, tongue load: NHTSA DOT HS 809 433. The others: common practice."
)

SPOTTER = "Back only with a spotter in sight; lost from sight means stop. Nobody between rig and trailer."
FOLLOW = "Follow the track and the signs. Do not let a phone choose the road: it does not know this rig."


def code_words(off_m: float, units: Units) -> str:
    """What the square code holds."""
    return (
        f"Scanned, the code is the drive as a track (GPX text), within {units.keep(off_m)} of the road: keep it as a "
        ".gpx file. routes.gpx has all of it."
    )


def recheck_words(units: Units) -> str:
    """When to look at it all again."""
    return f"Stop and look again after the first {units.distance(RECHECK_M)}: hubs cool, coupler tight, lights on"


def wire_down_words(units: Units) -> str:
    """What to do about a wire on or over the road that hangs low."""
    return (
        f"Wire down or hanging low: stay {units.keep(WIRE_DOWN_M)} off, never drive over it, report it. It may be live."
    )


def cannot_go_on_words(alternative: Alternative) -> str:
    """What to do where the road cannot be driven."""
    if alternative.way is None:
        other = "There is no other way in the data."
    elif alternative.distinct:
        other = "Ask before you take the other way below."
    else:
        other = "Every other way in the data shares most of this one: ask."
    return (
        "Road shut, water over it, too soft or too steep: stop while you can still go straight back. Do not try it and "
        f"do not look for a way yourself. Call dispatch with this step's number and your grid reference. {other}"
    )


def rated_grade_words(grade_pct: float, units: Units) -> str:
    """That a grade is steeper than tow ratings are proved on; '' where it is not."""
    if not grade_pct >= RATED_GRADE_PCT + 0.5:  # told in whole percents
        return ""
    return f"steeper than the {units.figure(RATED_GRADE_PCT, '%')} on which tow ratings are proved (SAE J2807)"


def home_words(descents: Sequence[Descent], both_ways: bool, units: Units) -> list[str]:
    """The way home: whether it is the same road, and its descents with the gear taken before each crest."""
    if not both_ways:
        return ["Part of the way here is one-way: ask dispatch for the way home before you leave."]
    if not descents:
        return ["Home by the same road. By the data no long descent on it; grades that are not known stay not known."]
    out = [
        "Home by the same road, counted from the stop. Brakes cool before each crest; low gear before it, not on it."
    ]
    for d in descents:
        crest = f"from {units.distance(d.crest_m)}" if d.crest_m >= 20 else "from the stop itself"
        out.append(
            f"Descent {crest}, for {units.distance(d.length_m)}: {units.length(d.drop_m)} down, "
            f"steepest {units.figure(d.steepest_pct, '%')}."
        )
    return out
