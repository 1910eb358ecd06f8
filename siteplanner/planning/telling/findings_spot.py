"""What is said of one spot: how the trailer stands, what is around it, what carries its traffic."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.core.parking import MORE_LIKELY_THAN_NOT
from siteplanner.planning.telling.backhaul import clause, used_words
from siteplanner.planning.telling.ground import cell_words, channel_words
from siteplanner.planning.telling.room import radii_text
from siteplanner.planning.telling.units import Units

Facts = Mapping[str, Any]


def _jacks(f: Facts, u: Units) -> tuple[str, str]:
    bumps, off = f["bumps_m"], f["off_m"]
    lift, doubt, on = u.length(f["lift_m"], 2), u.length(off, 2), f"jacks {u.length(f['width_m'], 1)} apart"
    if bumps >= off:
        why = (
            f"the largest lift of {lift} ({on}) is that of a plane, and the ground leaves it by up to "
            f"{u.length(bumps, 2)}"
        )
    elif f["lift_m"] > off:
        why = f"the largest lift of {lift} ({on}) is known to about ± {doubt}"
    else:
        why = f"the lifts ({on}) are not known better than ± {doubt}"
    return (
        f"A jack may not reach: {why}; the jacks travel {u.length(f['travel_m'], 2)}.",
        "Bring blocks for the low corner, or move to smoother ground close by.",
    )


def _chance(f: Facts, u: Units) -> str:
    """`; the chance that it is above the limit of 5.0° is 22 %`; '' where it is not known."""
    if not math.isfinite(f["chance"]):
        return ""
    back = "; spots where that is unlikely rank before it" if f["chance"] > MORE_LIKELY_THAN_NOT else ""
    return f"; the chance that it is above the limit of {u.angle(f['limit_deg'])} is {u.share(f['chance'])}{back}"


def _not_at_size(f: Facts, u: Units) -> tuple[str, str]:
    known = math.isfinite(f["uncertainty_deg"])
    off = f" by about {u.angle(f['uncertainty_deg'])}" if known else ""
    return (
        f"The slope is not known at the trailer's size: {u.angle(f['slope_deg'])} is the mean of elevation cells of "
        f"{cell_words(f['cell_m'], u)}, and ground as wide as the trailer differs from it{off}{_chance(f, u)}.",
        "Walk the spot with a level before the rig leaves the road, or bring finer elevation.",
    )


def _tree(f: Facts, u: Units) -> tuple[str, str]:
    does = "could fall on the trailer" if f["reaches_trailer"] else "is within reach of the mast"
    return (
        f"A tree about {u.keep(f['height_m'])} tall, {u.there(f['distance_m'])} away at "
        f"{u.bearing(f['bearing_deg'])} true, {does} (surface less elevation, cells of "
        f"{cell_words(f['cell_size_m'], u)}).",
        "Look for dead and leaning trees; stay clear of their fall, and of branches when the mast moves.",
    )


def _low(f: Facts, u: Units) -> tuple[str, str]:
    source = "mapped water and flow over the elevation" if f["water_mapped"] else "flow over the elevation"
    return (
        f"Low ground: {channel_words(f['above_drainage_m'], u)} ({source}). Flash flood: check upstream.",
        "Ask what the water does there; look for flood marks; keep the rig hitched when rain is near.",
    )


def _no_room(f: Facts, u: Units) -> tuple[str, str]:
    free, need = radii_text(f["free_radius_m"], f["needed_m"], u)
    return (
        f"The rig cannot swing round here: its turning circle has a radius of {need}, the largest free one {free}, "
        "as far as the data show.",
        "Turn before the last leg and back in with a spotter, or unhitch and turn the trailer by hand.",
    )


def _no_rain(frequency_mhz: float) -> str:
    """ITU-R P.530 section 2.4 (from memory): rain counts from 5 GHz up, and decides from about 10 GHz up."""
    if frequency_mhz < 5000:
        return ""
    worse = " and decides how often the link is lost" if frequency_mhz >= 10_000 else ""
    return f" Rain is not included in the received level: at {frequency_mhz / 1000:.1f} GHz it takes its share{worse}."


SPOT_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "may_be_too_steep": lambda f, u: (
        f"May be too steep: the slope of {u.angle(f['slope_deg'])} is known to about {u.angle(f['uncertainty_deg'])}"
        f"{_chance(f, u)}.",
        "Check with a level before you unhitch.",
    ),
    "slope_not_known_at_size": _not_at_size,
    "jacks_may_not_reach": _jacks,
    "mast_in_beam": lambda f, u: (
        "On every heading that suits the ground the mast stands in the dish's line to the satellite.",
        "Turn the trailer on the spot until the dish looks past the mast, and level it again.",
    ),
    "nose_in": lambda f, u: (
        f"The tongue points {u.angle(f['off_deg'], 0)} off the way out: leaving takes a turn.",
        "Keep room to swing out, or turn the trailer when it is leveled again.",
    ),
    "trees_near": _tree,
    "structure_in_mast_fall": lambda f, u: (
        f"{f['name'] or 'A structure'} is {u.there(f['distance_m'])} away, inside the mast's fall circle of "
        f"{u.keep(f['mast_fall_m'], 1)}.",
        "Nobody in it or beside it while the mast moves; exhaust away from its openings.",
    ),
    "low_ground": _low,
    "runoff": lambda f, u: (
        f"Rain from about {u.length(f['slope_above_m'])} of slope above runs onto this spot (flow over the elevation).",
        "Look for rills and wet soil; put the pads on high points, or cut a drain above the trailer.",
    ),
    "soft_ground": lambda f, u: (
        f"Soft ground{' (' + f['name'] + ')' if f['name'] else ''} under the trailer: jacks may sink.",
        "Probe with a rod, wide pads under every jack, check the level again after an hour.",
    ),
    "soft_last_leg": lambda f, u: (
        "The last leg crosses soft ground: the rig may bog down.",
        "Walk it first; drive it only when it carries, with a line ready.",
    ),
    "no_swing_room": _no_room,
    "backhaul_not_first_choice": lambda f, u: (
        f"The backhaul here is the {used_words(f['used'])}, not the preferred one: "
        f"{'; '.join(clause(b, u) for b in f['passed_over'])}.",
        "The unit must carry what this backhaul needs.",
    ),
    "mast_raised_for_link": lambda f, u: (
        f"The link to {f['name']} works with the mast at {u.stop(f['mast_height_m'])}, not at "
        f"{u.stop(f['not_at_m'][-1])}. For "
        f"coverage alone {u.stop(f['not_at_m'][0])} would be enough.",
        "Raise the mast to the stop that the sheet names; the predicted service is that of this stop.",
    ),
    "donor_agreement": lambda f, u: (
        f"The link to {f['name']} was calculated from places and heights: the donor's radio, license, free capacity "
        f"and power are not checked.{_no_rain(f['frequency_mhz'])}",
        "Its owner has to agree before the unit leaves.",
    ),
    "open_sky_bare_ground": lambda f, u: (
        f"The open sky of {u.share_at_least(f['share'])} counts bare ground only: trees and roofs are not in the data.",
        "Look all round on arrival: nothing may stand in the terminal's cone.",
    ),
}
