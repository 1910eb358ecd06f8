"""A trailer that stands, in short words: where it is against its plan, and whether any limit is broken."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.planning.limits.ruling import LIMITS
from siteplanner.planning.plan.as_built import AsBuilt
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.units import METRIC, Units

MARK = "AS BUILT"
NOT_SEARCHED = "It stands outside the ground that was searched: trees on the spot and the roadway were not judged."
NAMES = {"heading": "heading", "stop": "mast stop", "sectors": "sector bearings"}


def named_spot(made: AsBuilt) -> str:
    """`spot A`; a name of several words stands by itself."""
    name = made.planned.name
    return name if " " in name else f"spot {name}"


def where_words(made: AsBuilt, units: Units = METRIC) -> str:
    """`the trailer stands 40 m from spot A, toward 052° true (± 7 m)`."""
    doubt = f"± {units.keep(made.doubt_m)}"
    if made.distance_m <= made.doubt_m:
        return f"the trailer stands at {named_spot(made)}, as near as the place is known ({doubt})"
    away = f"{units.distance(made.distance_m)} from {named_spot(made)}, toward {units.bearing(made.bearing_deg)} true"
    return f"the trailer stands {away} ({doubt})"


def as_built_head(made: AsBuilt, units: Units = METRIC) -> str:
    """The first words of everything that is said of it."""
    return f"{MARK}: {where_words(made, units)}"


def run_words(made: AsBuilt, units: Units = METRIC) -> str:
    """What the log says of a report."""
    return f"{as_built_head(made, units)}. {limits_sentence(made, units)}"


def where_it_stands(made: AsBuilt, units: Units = METRIC) -> str:
    """`where_words` as a heading."""
    text = where_words(made, units)
    return f"{text[:1].upper()}{text[1:]}"


def banner_words(made: AsBuilt, units: Units = METRIC) -> str:
    """What stands beside the mark on every page."""
    return f"{where_it_stands(made, units)}. {limits_sentence(made, units)} Times are those of the plan."


def broken_sentences(made: AsBuilt, units: Units = METRIC) -> list[str]:
    """Each limit that is broken where it stands, in a sentence."""
    return [breach_words(breach, units) for breach in made.broken]


def limits_sentence(made: AsBuilt, units: Units = METRIC) -> str:
    """Whether any limit is broken now; never calm over what is not known."""
    if made.broken:
        what = "; ".join(dict.fromkeys(_limit(breach.code) for breach in made.broken))
        count = "one limit is" if len(made.broken) == 1 else f"{len(made.broken)} limits are"
        return f"{count.capitalize()} broken where it stands: {what}."
    if made.near:
        return f"No limit is broken at the place reported. {near_words(made.near, made.doubt_m, units)}"
    if made.outside:
        return f"No limit that was judged is broken where it stands. {NOT_SEARCHED}"
    return "No limit that the data tell of is broken where it stands. What they do not hold is not known: look."


def _limit(code: str) -> str:
    return LIMITS.get(code, code.replace("_", " ")).lower()


def near_words(codes: Sequence[str], doubt_m: float, units: Units) -> str:
    """Limits that ground within the doubt of the place breaks."""
    what = "; ".join(_limit(code) for code in codes)
    return f"Within {units.keep(doubt_m)}, to which the place is known, ground is ruled out: {what}."


def assumed_words(parts: Sequence[str]) -> str:
    """What the report did not say."""
    return ", ".join(NAMES.get(part, part) for part in parts)
