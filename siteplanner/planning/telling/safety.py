"""What can kill or hurt a crew at the trailer, each under its signal word, in words that a tired hand cannot misread.

Sources. Overhead lines: 29 CFR 1926.1408, 1926.1409. A wire on the ground: 35 ft, public electrical-safety advice, from
memory. Exhaust: 16 CFR 1407 puts DANGER on portable generators, from memory. Lightning: OSHA and NOAA fact sheet
OSHA FS-3863: stop at thunder, a hard-topped vehicle with its windows up or a building, 30 minutes after the last.
Stored energy: 29 CFR 1910.147(d)(5). Buried lines: 29 CFR 1926.651(b); 811 in the US.
"""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.errors import Finding
from siteplanner.planning.limits.keep_away import AntennaKeepAway
from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.telling.exposure import PEOPLE
from siteplanner.planning.telling.keep_clear import EXHAUST_M, Named, line_sentence
from siteplanner.planning.telling.signal_words import gravest_first, signal_word
from siteplanner.planning.telling.units import Units
from siteplanner.planning.telling.words import MANUAL_FIRST, WALK_IT, WIRES

WIRE_DOWN_M = 10.668  # 35 ft
AFTER_THUNDER_MIN = 30.0  # OSHA FS-3863


def crew_dangers(
    line: KeepAway | None, fall_m: float, dish: str, guyed: bool, units: Units, named: Named = str
) -> list[tuple[str, str, str]]:
    """(signal word, of what, what to do), the gravest first; `dish`: what is kept from the dish, '' where there is
    none."""
    rows = [
        ("DANGER", "Wires", f"{WIRES} {line_sentence(line, units, named)}"),
        ("DANGER", "Wire down", wire_down_words(units)),
        ("DANGER", "Exhaust", exhaust_words(units)),
        ("WARNING", "Lightning", lightning_words(units)),
        ("WARNING", "Mast", mast_words(fall_m, guyed, units)),
        ("WARNING", "Stored energy", STORED_ENERGY),
        ("WARNING", "Digging", DIGGING),
        *([("WARNING", "Dish", dish)] if dish else []),
        ("WARNING", "Ground", WALK_IT),
        ("WARNING", "Manual first", MANUAL_FIRST),
    ]
    return sorted(rows, key=lambda row: gravest_first(row[0]))


def told_findings(findings: Sequence[Finding]) -> list[tuple[str, Finding]]:
    """(signal word or what stands in its place, finding), the gravest first."""
    return sorted(((signal_word(f.severity), f) for f in findings), key=lambda row: gravest_first(row[0]))


def wire_down_words(units: Units) -> str:
    """A wire on the ground, or on the rig."""
    return (
        f"Stay {units.keep(WIRE_DOWN_M)} off, touch nothing that it touches, keep others off, call the line's owner. "
        "On the vehicle: stay in; if it burns, jump clear, feet together, and shuffle away."
    )


def exhaust_words(units: Units) -> str:
    """Carbon monoxide."""
    return (
        f"Carbon monoxide kills: generator in the open, exhaust downwind, {units.keep(EXHAUST_M)} from doors, windows, "
        "intakes and tents. Nobody sleeps in the exhaust, the tow vehicle included; a CO alarm where the crew sleeps. "
        "Stop and cool before refueling."
    )


def lightning_words(units: Units) -> str:
    """What the tallest metal around asks for."""
    return (
        "At the first thunder or flash: hands off mast, guys and trailer, neither raise nor lower; into a building or "
        f"a hard-topped vehicle, windows up, until {units.figure(AFTER_THUNDER_MIN, 'min')} after the last thunder."
    )


def mast_words(fall_m: float, guyed: bool, units: Units) -> str:
    """The circle in which it can fall."""
    guys = " No guy is loosened while it stands." if guyed else ""
    return (
        f"Within {units.keep(fall_m, 1)} of the trailer's middle: nobody who need not be there, nobody at all while it "
        f"moves.{guys}"
    )


STORED_ENERGY = (
    "A mast, its winch, springs or air still push with the power off. Before hands go in: stop, isolate, lock, hang "
    "your tag, lower or pin the mast, let the pressure out, try to start it. Only the person who hung a tag removes it."
)
DIGGING = (
    "Before any rod or anchor is driven, have buried lines marked: in the US call 811, elsewhere the local service; "
    "say that it is an emergency."
)


def dish_words(antennas: Sequence[AntennaKeepAway], azimuth: str, units: Units) -> str:
    """What is kept from the dish's beam, at head height on the roof and before it; `azimuth`: where it looks."""
    rows = [row for row in antennas if row.antenna == "dish" and row.keep_m == row.keep_m]
    head = f"Its beam leaves at head height toward {azimuth}: do not stand in front of it or on the roof"
    if not rows:
        return f"{head}; how far is not known, its power is not stated. It moves by itself when it searches."
    far = ", ".join(f"{PEOPLE[row.people][1]} {units.keep(row.keep_m, 1)}" for row in rows)
    return f"{head}: keep {far} in its beam. It moves by itself when it searches."


def antennas_words(antennas: Sequence[AntennaKeepAway], units: Units) -> str:
    """What is kept from the antennas of the mast, at their own height, and what of the limit is left on the ground."""
    out = []
    for row in antennas:
        if row.antenna == "dish":
            continue
        name = "link antenna, " if row.antenna == "link" else ""
        out.append(f"{name}{PEOPLE[row.people][1]} {units.keep(row.keep_m, 1)}")
    if not out:
        return ""
    shares = [row.ground_share for row in antennas if row.ground_share == row.ground_share]
    ground = f" On the ground at most {units.share(max(shares), 1)} of the limit." if shares else ""
    return (
        f"In front of an antenna, at its own height: {'; '.join(out)} (the longer of ICNIRP 2020 and 47 CFR 1.1310)."
        f"{ground} Radio off before anyone climbs or reaches up to an antenna."
    )
