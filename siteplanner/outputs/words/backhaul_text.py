"""Backhaul in words and rows for every output: which is used at a spot, which others do not work, how to aim a link.

Plain text, not escaped: each output passes it through its own function of `text`.
"""

from __future__ import annotations

import math

from siteplanner.outputs.words.text import bearing_text, distance_text, number_text
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.lines import Backhaul, DonorPath
from siteplanner.planning.telling.backhaul import backhaul_reason, clause, donor_reason
from siteplanner.planning.telling.words import best_look

KINDS = {"geostationary": "Satellite dish", "open_sky": "Open-sky terminal", "donor_link": "Donor link"}
VERDICTS = {"works": "works", "fails": "does not work", "unknown": "not known"}
POLARISATION = (
    "Polarisation, channel and power as the donor's owner and the unit's manual say; turn for the strongest level."
)


def names_in(evaluation: Evaluation) -> list[str]:
    """Names from files that stand in the sentences here."""
    return [look.satellite_name for look in evaluation.sky] + [d.name for b in evaluation.backhauls for d in b.donors]


def backhaul_lines(evaluation: Evaluation) -> list[tuple[str, str]]:
    """(verdict, sentence) of every wanted backhaul, in order of preference; the verdict of the used one is `used`."""
    used = evaluation.backhaul
    out = []
    for b in evaluation.backhauls:
        text = clause(b)
        out.append(("used" if b is used else VERDICTS[b.verdict], text[:1].upper() + text[1:]))
    return out


def backhaul_fact(evaluation: Evaluation) -> tuple[str, str]:
    """Label and figure of the backhaul in use, short enough for a table cell."""
    used = evaluation.backhaul
    if used is not None and used.kind == "donor_link":
        return "Donor link", f"{number_text(used.margin, 0, 'dB')} to spare"
    if used is not None and used.kind == "open_sky":
        return "Open sky", f"{math.floor(100 * used.margin + 1e-9)} % clear"
    if used is None and evaluation.backhauls and not evaluation.dish_wanted:
        return "Backhaul", "none works"
    look = best_look(evaluation)
    return "Satellite", "not known" if look is None else f"{number_text(look.margin_deg, 0, '°')} over the skyline"


def backhaul_cell(evaluation: Evaluation) -> str:
    """The backhaul in use with its figure, as short as it goes; the dish by its margin alone where nothing else is
    wanted."""
    used = evaluation.backhaul
    if all(b.kind == "geostationary" for b in evaluation.backhauls):
        look = best_look(evaluation)
        return "not known" if look is None else number_text(look.margin_deg, 0, "°")
    if used is not None and used.kind == "donor_link":
        return f"Donor link {number_text(used.margin, 0, 'dB')}"
    return " ".join(backhaul_fact(evaluation))


def donor_words(path: DonorPath) -> str:
    """`Link to Ridge tower: blocked at 3.2 km`, for marks and lines on maps."""
    return f"Link to {path.name}: {donor_reason(path)}"


def up_text(elevation_deg: float) -> str:
    """`1.2° up`, `0.4° down`."""
    if not math.isfinite(elevation_deg):
        return "tilt not known"
    return f"{abs(elevation_deg):.1f}° {'up' if elevation_deg >= 0 else 'down'}"


def donor_rows(evaluation: Evaluation) -> list[list[str]]:
    """One row a judged donor link, best first: name, bearings, tilt, distance, clearance, spare level, verdict."""
    rows = []
    for b in evaluation.backhauls:
        for d in b.donors:
            rows.append(
                [
                    d.name,
                    bearing_text(d.bearing_deg),
                    bearing_text(d.bearing_magnetic_deg),
                    up_text(d.elevation_deg),
                    distance_text(d.distance_m),
                    number_text(d.clearance_share, 2) + " F1" if math.isfinite(d.clearance_share) else "not known",
                    number_text(d.margin_db, 0, "dB"),
                    VERDICTS[d.verdict],
                ]
            )
    return rows


def terminal_text(evaluation: Evaluation) -> str:
    """Where the open-sky terminal looks and what stands nearest to its cone; empty where it is not wanted."""
    for b in evaluation.backhauls:
        if b.kind == "open_sky":
            return _terminal(b)
    return ""


def _terminal(b: Backhaul) -> str:
    text = f"Open-sky terminal: {backhaul_reason(b)}."
    if b.verdict == "works" and b.dome is not None and b.dome.worst is not None:
        sector = b.dome.worst
        text += (
            f" Nearest to its view: ground up to {sector.highest_deg:.0f}° at {bearing_text(sector.highest_at_deg)} "
            "true."
        )
    return text
