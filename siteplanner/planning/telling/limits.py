"""The limits that a spot breaks, each in a sentence."""

from __future__ import annotations

import math

from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.ruling import LIMITS
from siteplanner.planning.telling.backhaul import no_backhaul_words
from siteplanner.planning.telling.roads import no_way_words
from siteplanner.planning.telling.units import METRIC


def breach_words(breach: Breach) -> str:
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
        "no_backhaul": lambda b: no_backhaul_words(b.kind, b.about),
    }.get(breach.code)
    return _area(breach) if made is None else made(breach)


def _name(breach: Breach) -> str:
    return breach.names[0] if breach.names else ""


def _no_data(breach: Breach) -> str:
    if breach.kind == "beside":
        return "The elevation beside this cell is not known."
    return "There is no elevation here."


def _steep(breach: Breach) -> str:
    if breach.kind == "jack":
        corner = _name(breach).replace("_", " ")
        return f"Levelling lifts the {corner} jack {breach.figure:.2f} m; the jacks travel {breach.limit:.2f} m."
    return f"The ground slopes {breach.figure:.1f} deg; the limit is {breach.limit:.1f} deg."


def _no_way(breach: Breach) -> str:
    """`about`: what is wrong with the nearest road."""
    text = f"No road that the rig can reach comes within {breach.limit:.0f} m over drivable ground."
    return " ".join(filter(None, (text, *(no_way_words(found) for found in breach.about))))


def _line(breach: Breach) -> str:
    there, need = METRIC.there(breach.figure), METRIC.keep(breach.limit)
    return f"An overhead line is {there} away; mast fall and clearance need {need}."


def _structure(breach: Breach) -> str:
    return (
        f"{_name(breach) or 'A structure'} is {breach.figure:.1f} m away; trailer, outriggers and a clearance of "
        f"{breach.margin:g} m need {breach.limit:.1f} m."
    )


def _water(breach: Breach) -> str:
    where = "The spot lies in water" if breach.figure == 0 else f"Water is {breach.figure:.1f} m away"
    name = f" ({breach.names[0]})" if breach.names else ""
    return f"{where}{name}; {breach.limit:g} m is kept from it."


def _trees(breach: Breach) -> str:
    what = "Trees reach" if breach.kind == "reach" else f"Trees or roofs about {breach.figure:.0f} m tall stand"
    return f"{what} where the trailer and its outriggers would be (surface less elevation)."


def _soft(breach: Breach) -> str:
    return f"Soft ground{f' ({breach.names[0]})' if breach.names else ''} under trailer or outriggers."


def _roadway(breach: Breach) -> str:
    return f"Closer than {breach.limit:.0f} m to a road's centre line."


def _sky(breach: Breach) -> str:
    """`about`: the looks; `limit` the margin needed over the skyline, `margin` the least elevation."""
    low = [look for look in breach.about if look.elevation_deg < (breach.margin or 0.0)]
    text = ""
    if low:
        names = ", ".join(
            f"{look.satellite_name} stands {look.elevation_deg:.1f} deg up"
            if look.elevation_deg >= 0
            else f"{look.satellite_name} is below the horizon ({look.elevation_deg:.1f} deg)"
            for look in low
        )
        text = f"{names}; {breach.margin:.1f} deg is needed."
    margins = ", ".join(
        f"{look.satellite_name}: " + (f"{look.margin_deg:.1f} deg" if math.isfinite(look.margin_deg) else "not known")
        for look in breach.about
        if look not in low
    )
    if margins:
        text = f"{text} Sky margin {margins}; {breach.limit:.1f} deg is needed.".strip()
    return text


def _area(breach: Breach) -> str:
    """A keep-out or a hazard area."""
    return f"{LIMITS[breach.code]}: {breach.names[0]}." if breach.names else f"{LIMITS[breach.code]}."
