"""What is kept clear of around the trailer, in words: overhead lines, antennas, exhaust, hazard areas near by.

`named` shows a name from a file where the sentence goes: cut to a length, set apart from the words around it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from siteplanner.planning.limits.keep_away import AntennaKeepAway
from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.site.on_site import HazardNear
from siteplanner.planning.telling.overhead_lines import line_words, parts_words, wires_words
from siteplanner.planning.telling.units import NOT_KNOWN, Units

Named = Callable[[str], str]
EXHAUST_M = 6.096  # 20 ft from openings: US consumer-safety advice on portable generators, from memory

PEOPLE = {"public": ("Public", "public"), "workers": ("Crew who know of it", "crew")}
"""People that a limit protects: as a row of the table is headed, and within a sentence."""


def line_sentence(line: KeepAway | None, units: Units, named: Named = str) -> str:
    """The overhead line with the least to spare and the room that it needs."""
    return line_words(line, units, named)


def hazard_near_sentence(hazard: HazardNear, units: Units, named: Named = str) -> str:
    """How near a hazard area lies to the spot, and whether the drive goes through it."""
    label = named(hazard.name or "a hazard area")
    through = "; the drive goes through it." if hazard.on_the_drive else "."
    return f"{label[:1].upper() + label[1:]}: {units.distance(hazard.distance_m, 'down')} from the spot{through}"


def hazards_near_sentences(hazards: Iterable[HazardNear], units: Units, named: Named = str) -> list[str]:
    """`hazard_near_sentence` of each."""
    return [hazard_near_sentence(hazard, units, named) for hazard in hazards]


def clear_distances(
    line: KeepAway | None, fall_m: float, public_m: float | None, units: Units
) -> list[tuple[str, str]]:
    """(what, distance) of all that must stay clear around the trailer. `public_m`: in front of the antennas."""
    return [
        ("Mast fall circle", f"{units.keep(fall_m, 1)}: nobody who need not be there"),
        ("Overhead lines", wires_words(line, units)),
        *([("Mapped line", parts_words(line, units))] if line is not None and line.judged else []),
        ("Antennas, front", NOT_KNOWN if public_m is None else f"{units.keep(public_m, 1)}, public"),
        ("Exhaust", f"{units.keep(EXHAUST_M)} from openings and people, downwind"),
    ]


def exhaust_sentences(units: Units) -> str:
    """Carbon monoxide and fuel."""
    return (
        "Carbon monoxide kills: generator in the open, exhaust downwind, "
        f"{units.keep(EXHAUST_M)} from doors, windows, intakes and tents. "
        "Stop and cool before refuelling; no flame, extinguisher at hand."
    )


def exposure_rows(antennas: Sequence[AntennaKeepAway], units: Units) -> list[list[str]]:
    """Who, distance by each set of limits, share of the limit on the ground."""
    return [
        [
            PEOPLE[row.people][0],
            units.keep(row.main_beam_m, 1),
            units.keep(row.icnirp_main_beam_m, 1),
            units.share(row.ground_share, 1),
        ]
        for row in antennas
    ]


def exposure_line(antennas: Sequence[AntennaKeepAway], units: Units) -> str:
    """The distances in one line."""
    each = "; ".join(
        f"{PEOPLE[row.people][0]} {units.keep(row.main_beam_m, 1)} by 47 CFR 1.1310, "
        f"{units.keep(row.icnirp_main_beam_m, 1)} by ICNIRP"
        for row in antennas
    )
    return f"Keep away from the front of antennas, the longer counts: {each}"


def exposure_note(antennas: Sequence[AntennaKeepAway], units: Units) -> str:
    """What the distances were worked out for, and what they do not cover; '' where there are none."""
    if not antennas:
        return ""
    first = antennas[0]
    limits = " and ".join(
        f"{PEOPLE[row.people][1]} {row.limit_mw_cm2:.3g} mW/cm², {row.icnirp_limit_w_m2:.3g} W/m²" for row in antennas
    )
    return (
        f"In front of an antenna at its own height, keep the longer of the two. {units.stated(first.band_mhz, 'MHz')}, "
        f"{first.eirp_w:.0f} W EIRP a sector; limits: {limits} (47 CFR 1.1310 Table 1, OET Bulletin 65 eq. (8); "
        "ICNIRP 2020 Table 5). Stay out of the dish's beam, between dish and feed above all; the manual gives its "
        "distance. Radio off before anyone climbs or reaches up to an antenna."
    )


def antenna_label(keep_m: float, units: Units) -> str:
    """For the drawing of the spot."""
    return f"in front of the antennas keep {units.keep(keep_m, 1)}"


def fall_label(fall_m: float, units: Units) -> str:
    """For the drawing of the spot."""
    return f"mast fall {units.keep(fall_m, 1)}"
