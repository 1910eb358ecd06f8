"""Bearings in words, true and magnetic side by side, and how to aim mast and dish at a spot.

Plain text, not escaped: each output passes it through its own function of `text`.
"""

from __future__ import annotations

from siteplanner.outputs.text import bearing_text, number_text
from siteplanner.planning.model import Evaluation, RankedSpot


def declination_deg(evaluation: Evaluation) -> float | None:
    """True minus magnetic bearing at the spot, east positive; None: not known."""
    if evaluation.magnetic is not None:
        return evaluation.magnetic.declination_deg
    for look in evaluation.sky:
        if look.azimuth_magnetic_deg is not None:
            return (look.azimuth_deg - look.azimuth_magnetic_deg + 180) % 360 - 180
    return None


def compass_words(evaluation: Evaluation) -> str:
    """How to turn true into magnetic, by which model and for which day; or why there is nothing to turn by."""
    turn, compass = declination_deg(evaluation), evaluation.magnetic
    if turn is None:
        why = "" if compass is None or compass.finding is None else f" {compass.finding.message}"
        return f"Magnetic declination not known: bearings are true only.{why}"
    rule = f"Magnetic = true {'-' if turn >= 0 else '+'} {abs(turn):.1f}°"
    return f"{rule}." if compass is None else f"{rule} ({compass.source})."


def both_bearings(true_deg: float, evaluation: Evaluation) -> str:
    """`214° true (206° magnetic)`."""
    turn = declination_deg(evaluation)
    magnetic = "magnetic not known" if turn is None else f"{bearing_text(true_deg - turn)} magnetic"
    return f"{bearing_text(true_deg)} true ({magnetic})"


def aim(spot: RankedSpot) -> str:
    """Mast height, sector bearings and the dish in one sentence."""
    evaluation = spot.evaluation
    parts = []
    if evaluation.coverage:
        bearings = " and ".join(both_bearings(b, evaluation) for b in evaluation.coverage.sector_bearings_deg)
        parts.append(f"mast at {number_text(evaluation.coverage.mast_height_m, 0, 'm')}")
        if bearings:
            parts.append(f"sectors at {bearings}")
    clear = next((look for look in evaluation.sky if look.clear), None)
    if clear:
        parts.append(f"dish at {both_bearings(clear.azimuth_deg, evaluation)}, {clear.elevation_deg:.1f}° up")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else ""
