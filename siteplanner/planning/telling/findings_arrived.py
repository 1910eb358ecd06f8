"""What findings about a trailer that stands already say: broken limits first, then what its report leaves open."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from siteplanner.planning.telling.as_built import MARK, NOT_SEARCHED, assumed_words, near_words
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.units import Units

Facts = Mapping[str, Any]
MOVE = "Move it, or have the commander accept it in writing with this known."
REMEDIES: dict[str, str] = {
    "power_line": "Nobody raises, lowers or touches the mast: keep everybody clear, call the line's owner, then move "
    "the trailer.",
    "steep": "Level and chock it again before anything is raised; move it where the jacks do not reach.",
    "hazard": "Leave by the way that is open, then move it out of the area.",
    "sky_blocked": "Where the dish has locked all the same, say so: the data are wrong here. Otherwise move it, or use "
    "another backhaul.",
    "sky_unknown": "Where the dish has locked, this is settled. Otherwise look along the line, and move it where "
    "something stands there.",
    "no_backhaul": "Move it where one works; until then it serves nobody.",
    "no_way_in": "It stands there: have the driver say which way it came and whether it gets out.",
}


def _broken(f: Facts, u: Units) -> tuple[str, str]:
    return f"{MARK}, a limit is broken. {breach_words(f['breach'], u)}", REMEDIES.get(f["limit"], MOVE)


ARRIVED_WORDS: dict[str, Callable[[Facts, Units], tuple[str, str]]] = {
    "as_built_broken": _broken,
    "as_built_near": lambda f, u: (
        f"{MARK}. {near_words(f['limits'], f['doubt_m'], u)}",
        "Measure on the ground what it keeps from them; have the place read again, by another receiver.",
    ),
    "as_built_outside": lambda f, u: (
        f"{MARK}. {NOT_SEARCHED}",
        "Look at both on the ground; a larger search.radius_m brings the place into the plan.",
    ),
    "as_built_assumed": lambda f, u: (
        f"{MARK}. Not reported and taken as planned: {assumed_words(f['parts'])}.",
        "Ask the crew, then run this again.",
    ),
    "as_built_satellite": lambda f, u: (
        f"{MARK}. The satellite found, {f['found']}, is none of the mission's: {', '.join(f['names'])}.",
        "Ask the crew what the controller shows; a dish on another satellite carries nothing.",
    ),
    "mission_changed": lambda f, u: (
        f"The mission file is no longer that of the plan: {', '.join(f['names'])}"
        + (f" and {f['more']} more" if f["more"] else "")
        + ". The plan's own settings were used.",
        "Plan again by the mission as it is now, then hold the report against that plan.",
    ),
}
