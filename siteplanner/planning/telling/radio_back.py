"""What the crew reports once it stands: lines short enough to be read over a radio, the planned figure beside each.

Bearings say true or magnetic by themselves, as a listener would guess wrong.
"""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.data.grid_reference import grid_text
from siteplanner.planning.spots.evaluation import Evaluation, PointService
from siteplanner.planning.telling.aiming import declination_deg
from siteplanner.planning.telling.units import NOT_KNOWN, Units

Row = tuple[str, str, str]


def report_rows(e: Evaluation, satellite: str, points: Sequence[tuple[str, str]], units: Units) -> list[Row]:
    """(what, as planned, '' to be filled in), in the order in which it is read out.

    `satellite`: its name in the controller, '' where no dish is used; `points`: (name, reading expected there).
    """
    kind = "true" if declination_deg(e) is None else "magnetic"
    stop = units.stop(e.coverage.mast_height_m) if e.coverage else NOT_KNOWN
    bearings = e.coverage.sector_bearings_deg if e.coverage else ()
    sectors = ", ".join(_bearing(b, e, units) for b in bearings) or "all round"
    spot = e.spot
    return [
        ("Trailer stands at (phone, degrees)", f"{spot.latitude:.5f}, {spot.longitude:.5f}", ""),
        ("Same by grid", grid_text(spot.grid_reference), ""),
        (f"Tongue points to, {kind}", _bearing(e.ground.heading_deg, e, units), ""),
        ("Mast stop", stop, ""),
        (f"Sectors point to, {kind}", sectors, ""),
        *([("Satellite found, locked at (time)", satellite, "")] if satellite else []),
        ("On air at (time)", "", ""),
        *((f"Phone at {name}", reading, "") for name, reading in points),
        ("Fuel, hours on the meter", "", ""),
        ("Photos: tongue, mast, dish, signs (names)", "", ""),
        ("What was different from the plan", "", ""),
    ]


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
