"""Bearings in words, true and magnetic side by side, and how to aim mast and dish at a spot.

Plain text, not escaped: each output passes it through its own function of `text`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from siteplanner.core.constants import FOOT_M
from siteplanner.outputs.words.text import bearing_text, number_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.compass import model_words
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.rain import margin_sentence, rain_note, rain_sentence
from siteplanner.planning.telling.sun import outage_sentence


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
        why = "" if compass is None or compass.finding is None else f" {said(compass.finding).message}"
        return f"Magnetic declination not known: bearings are true only.{why}"
    rule = f"Magnetic = true {'-' if turn >= 0 else '+'} {abs(turn):.1f}°"
    return f"{rule}." if compass is None else f"{rule} ({model_words(compass)})."


@dataclass(frozen=True)
class TreeRow:
    """How tall a tree may be in the line to one satellite, at each of `skyline.TREE_DISTANCES_M`."""

    satellite_name: str
    azimuth_deg: float
    distances_m: tuple[float, ...]
    heights: tuple[str, ...]  # `21 m (68 ft)`, rounded down; `none: the ground blocks`; `not known`


def tree_rows(evaluation: Evaluation, clear_only: bool = False) -> list[TreeRow]:
    """What a crew can check by eye, without an instrument, one row a satellite."""
    limits = evaluation.skyline.trees if evaluation.skyline is not None else ()
    out = []
    for look in evaluation.sky:
        own = [t for t in limits if t.satellite_name == look.satellite_name and t.azimuth_deg == look.azimuth_deg]
        if own and (look.clear or not clear_only):
            row = TreeRow(
                look.satellite_name,
                look.azimuth_deg,
                tuple(t.distance_m for t in own),
                tuple(_tree_text(t.tree_m) for t in own),
            )
            out.append(row)
    return out


def _tree_text(height_m: float) -> str:
    if math.isnan(height_m):
        return "not known"
    if height_m <= 0:
        return "none: the ground blocks"
    return f"{math.floor(height_m)} m ({math.floor(height_m / FOOT_M)} ft)"


def tree_sentences(evaluation: Evaluation) -> list[str]:
    """`In the line to slot 113 W (180° true) a tree 30 m away may be up to 23 m (76 ft) tall, 60 m away 44 m ...`"""
    out = []
    for row in tree_rows(evaluation):
        parts = [f"{d:.0f} m away {text}" for d, text in zip(row.distances_m, row.heights, strict=True)]
        first, *others = parts
        first = first.replace(" away ", " away may be up to ", 1) + " tall" if first[-1] == ")" else first
        out.append(
            f"In the line to {row.satellite_name} ({bearing_text(row.azimuth_deg)} true) a tree "
            f"{', '.join([first, *others])}."
        )
    return out


def sun_words(plan: Plan, evaluation: Evaluation) -> list[str]:
    """The next days on which the sun stands behind each satellite that works at this spot, one sentence each."""
    if plan.sun is None or not evaluation.dish_wanted:
        return []
    works = {look.satellite_name for look in evaluation.sky if look.clear}
    return [outage_sentence(one) for one in plan.sun.satellites if one.satellite_name in works]


def rain_words(plan: Plan, evaluation: Evaluation) -> list[str]:
    """What rain does to each satellite that works at this spot, or why there is no figure."""
    if plan.rain is None or not evaluation.dish_wanted:
        return []
    works = {look.satellite_name for look in evaluation.sky if look.clear}
    note = rain_note(plan.rain)
    said = [rain_sentence(link, plan.rain.margin_db) for link in plan.rain.links if link.satellite_name in works]
    return [*margin_words(plan, evaluation), *(said or ([note] if note else []))]


def margin_words(plan: Plan, evaluation: Evaluation) -> list[str]:
    """Link margin in clear sky and in rain, one sentence a satellite that works at this spot."""
    if not evaluation.dish_wanted:
        return []
    clear_sky_db = plan.mission.sky.link_margin_db
    return [margin_sentence(plan.rain, look.satellite_name, clear_sky_db) for look in evaluation.sky if look.clear]


def sky_sentences(evaluation: Evaluation) -> list[str]:
    """What the spot sees of the satellite arc, and what a crew can check by eye."""
    return [*([evaluation.arc.sentence] if evaluation.arc is not None else []), *tree_sentences(evaluation)]


def both_bearings(true_deg: float, evaluation: Evaluation) -> str:
    """`214° true (206° magnetic)`."""
    turn = declination_deg(evaluation)
    magnetic = "magnetic not known" if turn is None else f"{bearing_text(true_deg - turn)} magnetic"
    return f"{bearing_text(true_deg)} true ({magnetic})"


def aim(spot: RankedSpot) -> str:
    """Mast height, sector bearings and the dish, or the link antenna, in one sentence."""
    evaluation = spot.evaluation
    parts = []
    if evaluation.coverage:
        bearings = " and ".join(both_bearings(b, evaluation) for b in evaluation.coverage.sector_bearings_deg)
        parts.append(f"mast at {number_text(evaluation.coverage.mast_height_m, 0, 'm')}")
        if bearings:
            parts.append(f"sectors at {bearings}")
    clear = next((look for look in evaluation.sky if look.clear), None)
    link = evaluation.donor
    if link is not None:
        parts.append(
            f"link antenna toward {link.name} at {both_bearings(link.bearing_deg, evaluation)}, "
            f"{abs(link.elevation_deg):.1f}° {'up' if link.elevation_deg >= 0 else 'down'}"
        )
    elif clear and evaluation.dish_used:
        parts.append(f"dish at {both_bearings(clear.azimuth_deg, evaluation)}, {clear.elevation_deg:.1f}° up")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else ""
