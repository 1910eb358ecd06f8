"""What the crew reports once it stands: boxes short enough to be read over a radio, the planned figure beside each.

Bearings say true or magnetic by themselves, as a listener would guess wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from siteplanner.data.grid_reference import grid_text
from siteplanner.planning.spots.evaluation import Evaluation, PointService
from siteplanner.planning.telling.aiming import declination_deg
from siteplanner.planning.telling.units import NOT_KNOWN, Units

WHOLE = 12  # columns of the form
KINDS = "☐ magnetic  ☐ true"
FORM_NOTE = (
    "Read it out box by box, by its number; leave open what is not known. Coordinates in any form that the phone "
    "shows, with N or S and E or W, or with the minus."
)


@dataclass(frozen=True)
class Box:
    """One box of the form, in the order of reading out: what, as planned, its width of WHOLE, what is ticked."""

    what: str
    planned: str
    width: int
    ticks: str = ""


def report_boxes(e: Evaluation, satellite: str, points: Sequence[tuple[str, str]], units: Units) -> list[Box]:
    """What is said back, as boxes to be filled in.

    `satellite`: its name in the controller, '' where no dish is used; `points`: (name, reading expected there).
    """
    kind = "true" if declination_deg(e) is None else "magnetic"
    stop = units.stop(e.coverage.mast_height_m) if e.coverage else NOT_KNOWN
    bearings = e.coverage.sector_bearings_deg if e.coverage else ()
    sectors = ", ".join(_bearing(b, e, units) for b in bearings) or "all round"
    spot = e.spot
    dish = [Box("Satellite found", satellite, 4), Box("Arrived; dish locked (times)", "", 5)] if satellite else []
    return [
        Box("Trailer stands at (phone, degrees)", f"{spot.latitude:.5f}, {spot.longitude:.5f}", 6),
        Box("Same by grid", grid_text(spot.grid_reference), 6),
        Box(f"Tongue points to, {kind}", _bearing(e.ground.heading_deg, e, units), 4, KINDS),
        Box("Mast stop", stop, 3),
        Box(f"Sectors point to, {kind}", sectors, 5, KINDS),
        *(dish or [Box("Arrived (time)", "", 9)]),
        Box("On air at (time)", "", 3),
        *_levels(points),
        Box("Fuel in the tank, hours on the meter", "", 5),
        Box("Photos: tongue, mast, dish, signs (names)", "", 7),
        Box("What was different from the plan", "", WHOLE),
    ]


def _levels(points: Sequence[tuple[str, str]]) -> list[Box]:
    width = WHOLE // max(len(points), 1)
    return [Box(f"Phone at {name}", reading, width, "☐ service  ☐ none") for name, reading in points]


def _bearing(true_deg: float, e: Evaluation, units: Units) -> str:
    turn = declination_deg(e)
    return units.bearing(true_deg if turn is None else true_deg - turn)


def reading_text(point: PointService, edge_dbm: float, units: Units) -> str:
    """What a phone should read at a point: the level that just serves, and what the plan has to spare there."""
    return units.figure(edge_dbm + point.margin_db, "dBm")


def service_rows(
    points: Sequence[PointService], named: Sequence[str], edge_dbm: float, units: Units
) -> list[list[str]]:
    """Where a phone should find service: name, reading expected, bearing and distance from the trailer."""
    return [
        [name, reading_text(p, edge_dbm, units), units.bearing(p.bearing_deg), units.distance(p.distance_m)]
        for p, name in zip(points, named, strict=True)
    ]


def phone_words(frequency_mhz: float, edge_dbm: float, spread_db: float, units: Units) -> str:
    """Which phone, and what reading is good."""
    return (
        f"A phone with this cell's SIM and band ({units.stated(frequency_mhz, 'MHz')}), outdoors, Wi-Fi off: place a "
        "call, load a page, read RSRP on its field-test screen. Good: the figure expected ± "
        f"{units.decibels(spread_db)}; {units.figure(edge_dbm, 'dBm')} is the edge of service."
    )


def not_there_words(names: Sequence[str]) -> str:
    """Points where the plan predicts none: nobody is sent to test them."""
    return f"No service is expected at {', '.join(names)}: do not send anyone there to test." if names else ""
