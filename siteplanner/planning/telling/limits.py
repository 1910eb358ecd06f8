"""The limits that a spot breaks, each in a sentence."""

from __future__ import annotations

from siteplanner.planning.limits.breach import Breach
from siteplanner.planning.limits.ruling import LIMITS, RulingShare
from siteplanner.planning.telling.backhaul import no_backhaul_words
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
        return f"would have to allow {units.figure(share.would_allow, '°', 1, 'up')}"
    if share.code == "sky_blocked":
        return f"would have to allow a margin of {units.figure(share.would_allow, '°', 1, 'down')}"
    return f"would have to allow {units.there(share.would_allow, 1)}"


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
            f"Levelling lifts the {corner} jack {units.length(breach.figure, 2)}; the jacks travel "
            f"{units.length(breach.limit, 2)}."
        )
    return f"The ground slopes {units.angle(breach.figure)}; the limit is {units.angle(breach.limit)}."


def _no_way(breach: Breach, units: Units) -> str:
    """`about`: what is wrong with the nearest road."""
    text = f"No road that the rig can reach comes within {units.length(breach.limit)} over drivable ground."
    return " ".join(filter(None, (text, *(no_way_words(found, units) for found in breach.about))))


def _line(breach: Breach, units: Units) -> str:
    there, need = units.there(breach.figure), units.keep(breach.limit)
    return f"An overhead line is {there} away; mast fall and clearance need {need}."


def _structure(breach: Breach, units: Units) -> str:
    return (
        f"{_name(breach) or 'A structure'} is {units.there(breach.figure, 1)} away; trailer, outriggers and a "
        f"clearance "
        f"of {units.stop(breach.margin)} need {units.keep(breach.limit, 1)}."
    )


def _water(breach: Breach, units: Units) -> str:
    where = "The spot lies in water" if breach.figure == 0 else f"Water is {units.there(breach.figure, 1)} away"
    name = f" ({breach.names[0]})" if breach.names else ""
    return f"{where}{name}; {units.stop(breach.limit)} is kept from it."


def _trees(breach: Breach, units: Units) -> str:
    what = "Trees reach" if breach.kind == "reach" else f"Trees or roofs about {units.length(breach.figure)} tall stand"
    return f"{what} where the trailer and its outriggers would be (surface less elevation)."


def _soft(breach: Breach, units: Units) -> str:
    return f"Soft ground{f' ({breach.names[0]})' if breach.names else ''} under trailer or outriggers."


def _roadway(breach: Breach, units: Units) -> str:
    return f"Closer than {units.keep(breach.limit)} to a road's centre line."


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
        text = f"{text} Sky margin {margins}; {units.angle(breach.limit)} is needed.".strip()
    return text


def _area(breach: Breach) -> str:
    """A keep-out or a hazard area."""
    return f"{LIMITS[breach.code]}: {breach.names[0]}." if breach.names else f"{LIMITS[breach.code]}."
