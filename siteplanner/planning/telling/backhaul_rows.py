"""Backhaul in rows and short facts: which is used at a spot, which others do not work, how to aim a link."""

from __future__ import annotations

import math
from collections.abc import Callable

from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.lines import Backhaul, DonorPath
from siteplanner.planning.telling.aiming import both_bearings, up_text
from siteplanner.planning.telling.backhaul import backhaul_reason, clause, donor_reason
from siteplanner.planning.telling.units import BOTH, METRIC, NOT_KNOWN, Units, rounded_text
from siteplanner.planning.telling.words import best_look

KINDS = {"geostationary": "Satellite dish", "open_sky": "Open-sky terminal", "donor_link": "Donor link"}
VERDICTS = {"works": "works", "fails": "does not work", "unknown": "not known"}


def names_in(evaluation: Evaluation) -> list[str]:
    """Names from files that stand in the sentences here."""
    return [look.satellite_name for look in evaluation.sky] + [d.name for b in evaluation.backhauls for d in b.donors]


def backhaul_lines(evaluation: Evaluation, units: Units = METRIC) -> list[tuple[str, str]]:
    """(verdict, sentence) of every wanted backhaul, in order of preference; the verdict of the used one is `used`."""
    used = evaluation.backhaul
    out = []
    for b in evaluation.backhauls:
        text = clause(b, units.first)
        out.append(("used" if b is used else VERDICTS[b.verdict], text[:1].upper() + text[1:]))
    return out


def backhaul_fact(evaluation: Evaluation, units: Units = METRIC) -> tuple[str, str]:
    """Label and figure of the backhaul in use, short enough for a table cell."""
    used = evaluation.backhaul
    if used is not None and used.kind == "donor_link":
        return "Donor link", f"{units.decibels(used.margin)} to spare"
    if used is not None and used.kind == "open_sky":
        return "Open sky", f"{units.share_at_least(used.margin)} clear"
    if used is None and evaluation.backhauls and not evaluation.dish_wanted:
        return "Backhaul", "none works"
    look = best_look(evaluation)
    return "Satellite", NOT_KNOWN if look is None else f"{units.angle(look.margin_deg, 0)} over the skyline"


def backhaul_cell(evaluation: Evaluation, units: Units = METRIC) -> str:
    """The backhaul in use with its figure, as short as it goes; the dish by its margin alone where nothing else is
    wanted."""
    used = evaluation.backhaul
    if all(b.kind == "geostationary" for b in evaluation.backhauls):
        look = best_look(evaluation)
        return NOT_KNOWN if look is None else units.angle(look.margin_deg, 0)
    if used is not None and used.kind == "donor_link":
        return f"Donor link {units.decibels(used.margin)}"
    return " ".join(backhaul_fact(evaluation, units))


def other_backhauls(evaluation: Evaluation) -> str:
    """The wanted backhauls that are not in use here, and whether they would work."""
    rest = [b for b in evaluation.backhauls if b is not evaluation.backhaul]
    return "; ".join(f"{KINDS[b.kind].lower()} {VERDICTS[b.verdict]}" for b in rest) or "none requested"


def donor_words(path: DonorPath, units: Units = METRIC) -> str:
    """`Link to Ridge tower: blocked at 3.2 km`, for marks and lines on maps."""
    return f"Link to {path.name}: {donor_reason(path, units.first)}"


def donor_tip(path: DonorPath, evaluation: Evaluation, units: Units) -> str:
    """The same with what the antenna is aimed by, for a line on a map."""
    return (
        f"{donor_words(path, units)}; {both_bearings(path.bearing_deg, evaluation, units)}, "
        f"{up_text(path.elevation_deg, units)}, {units.distance(path.distance_m)}"
    )


def donor_sentence(path: DonorPath, evaluation: Evaluation, units: Units) -> str:
    """The same in sentences, for a list of places."""
    aimed = f"{both_bearings(path.bearing_deg, evaluation, units)}, {units.distance(path.distance_m)}"
    return f"{donor_words(path, units)}. {aimed}."


def donor_rows(evaluation: Evaluation, units: Units = BOTH) -> list[list[str]]:
    """One row a judged donor link, best first: name, bearings, tilt, distance, clearance, spare level, verdict."""
    return [
        [
            d.name,
            units.bearing(d.bearing_deg),
            units.bearing(d.bearing_magnetic_deg),
            up_text(d.elevation_deg, units),
            units.distance(d.distance_m),
            f"{rounded_text(d.clearance_share, 2)} F1" if math.isfinite(d.clearance_share) else NOT_KNOWN,
            units.decibels(d.margin_db),
            VERDICTS[d.verdict],
        ]
        for b in evaluation.backhauls
        for d in b.donors
    ]


def link_line(path: DonorPath, units: Units, named: Callable[[str], str] = str) -> str:
    """A judged donor link in one line, for the crew's message; `named` shows its name."""
    return (
        f"Link to {named(path.name)}: {units.bearing(path.bearing_deg)} true "
        f"({units.bearing(path.bearing_magnetic_deg)} magnetic), {up_text(path.elevation_deg, units)}, "
        f"{units.distance(path.distance_m)}, {VERDICTS[path.verdict]}"
    )


def terminal_sentences(evaluation: Evaluation, units: Units) -> str:
    """Where the open-sky terminal looks and what stands nearest to its cone; empty where it is not wanted."""
    wanted = next((b for b in evaluation.backhauls if b.kind == "open_sky"), None)
    return "" if wanted is None else _terminal(wanted, units)


def _terminal(b: Backhaul, units: Units) -> str:
    text = f"Open-sky terminal: {backhaul_reason(b, units.first)}."
    if b.verdict == "works" and b.dome is not None and b.dome.worst is not None:
        sector = b.dome.worst
        at = units.bearing(sector.highest_at_deg)
        text += f" Nearest to its view: ground up to {units.angle(sector.highest_deg, 0)} at {at} true."
    return text


def donor_height_words(height: object, units: Units) -> str:
    """The height of a donor site's antenna as its layer states it, in metres; what is no figure is told as it is."""
    try:
        return units.stated(float(str(height)), "m")
    except ValueError:
        return str(height)
