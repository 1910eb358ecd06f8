"""What a tow driver asks for first: lowest clearance, lightest bridge, steepest grade, each with its place.

What the data do not state is never told as a figure: the sign on the road decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.telling.towing import rated_grade_words
from siteplanner.planning.telling.units import NOT_KNOWN, Units
from siteplanner.roads.grade_bands import grade_stretches
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.routing import Route

READ = "not in the data: read the sign"
OVERHEAD = ("under bridge", "tunnel", "covered", "no figure")


def limit_rows(told: Told, route: Route, max_grade_pct: float, units: Units) -> list[tuple[str, str]]:
    """(what, figure with road and place) of the three."""
    heights = [(h, f) for h in told.hazards for name, f in _figures(h) if name == "height"]
    weights = [(h, f) for h in told.hazards for name, f in _figures(h) if name == "weight"]
    high = {id(h) for h, _ in heights}
    heavy = {id(h) for h, _ in weights}
    unknown_heights = [h for h in told.hazards if h.kind in OVERHEAD and id(h) not in high]
    unknown_bridges = [h for h in told.hazards if h.kind == "bridge" and id(h) not in heavy]
    return [
        ("Lowest clearance", _least(heights, unknown_heights, "m", "low place", told, units)),
        ("Lightest bridge", _least(weights, unknown_bridges, "t", "bridge", told, units)),
        ("Steepest grade", _steepest(told, route, max_grade_pct, units)),
    ]


def _figures(hazard: HazardAhead) -> list[tuple[str, float]]:
    if hazard.kind == "under bridge":
        return [] if hazard.value is None else [("height", hazard.value)]
    return [(name, figure) for name, figure, _ in hazard.posted]


def _least(
    found: Sequence[tuple[HazardAhead, float]],
    unknown: Sequence[HazardAhead],
    unit: str,
    what: str,
    told: Told,
    units: Units,
) -> str:
    words = []
    if found:
        hazard, figure = min(found, key=lambda pair: pair[1])
        words.append(f"{units.posted(figure, unit)} {place_words(hazard.running_m, told, units)}")
    if unknown:
        several, at = len(unknown) > 1, place_words(unknown[0].running_m, told, units)
        if several or found:
            count = f"{len(unknown)} {what}{'s' if several else ''} with no figure in the data"
            words.append(f"{count}: read the sign{'s, first' if several else ''} {at}")
        else:
            words.append(f"{READ} {at}")
    return "; ".join(words) or f"No {what} in the data; signs override the map"


def _steepest(told: Told, route: Route, max_grade_pct: float, units: Units) -> str:
    grade = route.worst_grade_pct
    if not math.isfinite(grade):
        return NOT_KNOWN
    words = units.grade(grade, route.worst_grade_error_pct)
    stretches = [s for s in grade_stretches(route, max_grade_pct) if s.worst_pct * grade > 0]
    if stretches:
        worst = max(stretches, key=lambda s: abs(s.worst_pct))
        words += f" {place_words(worst.start_m, told, units)}"
    return "; ".join(filter(None, (words, rated_grade_words(abs(grade), units))))


def place_words(running_m: float, told: Told, units: Units) -> str:
    """`on Mill Road at 2.1 km`: a place of the drive by its road and its distance from the start."""
    road = next((s.name for s in reversed(told.steps) if s.running_m <= running_m + 1 and s.name), "")
    at = f"at {units.odometer_words(running_m)}"
    return f"on {road} {at}" if road else at


def first_line(told: Told, route: Route, spot_name: str, reference: str, drive: str, units: Units) -> str:
    """What a driver needs most in at most 160 characters, as one text message takes them.

    Whole clauses, the least needed left out first; characters of the GSM alphabet only (3GPP TS 23.038).
    """
    one = units.first
    steep = route.worst_grade_pct
    grave = next((h for h in told.hazards if h.severity == "warning"), None)
    stop = told.steps[-1]
    side = f" on the {stop.move.side}" if stop.move.side in ("left", "right") else ""
    clauses = [
        f"Spot {_plain(spot_name)}, grid {reference}",
        drive,
        f"stop at {one.odometer(stop.running_m)} {one.odometer_unit}{side}",
        f"steepest {one.grade(steep, route.worst_grade_error_pct)}" if abs(steep) >= 1 else "",
        f"at {one.odometer(grave.running_m)} {one.odometer_unit} {_in_short(grave)}" if grave else "",
        f"{_plain(told.beside[0].name) or 'hazard area'} beside the road" if told.beside else "",
        "read signs, follow the track",
    ]
    out = ""
    for clause in filter(None, clauses):
        longer = f"{out}, {clause}" if out else clause
        if len(longer) < LONGEST_MESSAGE:
            out = longer
    return f"{out}."


def _plain(name: str) -> str:
    """A name in so few characters that a message has room for the rest; '' for letters that would halve that room."""
    return name[:MOST_OF_A_NAME].rstrip() if name.isascii() and name.isprintable() else ""


def _in_short(hazard: HazardAhead) -> str:
    """A grave hazard in two words."""
    if hazard.kind == "bend":
        turn = "U-turn" if hazard.hairpin else "tight turn"
        return turn if hazard.state == "junction" else "tight bend"
    return SHORT.get(hazard.kind, hazard.kind)


MOST_OF_A_NAME = 32
SHORT = {"under bridge": "low bridge", "no figure": "low place", "flooding": "water on road"}
LONGEST_MESSAGE = 160
"""Characters of one text message in the 7-bit alphabet (3GPP TS 23.040, section 9.2.3.24: 140 octets)."""
