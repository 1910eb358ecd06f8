"""What a map or a device says of a place: spots, drives, points. Plain text, each output escapes it in its own way."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

from siteplanner.data.grid_reference import grid_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.spots.evaluation import Access, Coverage, Evaluation, PointService
from siteplanner.planning.telling.aiming import aim, both_bearings
from siteplanner.planning.telling.backhaul import backhaul_sentence
from siteplanner.planning.telling.backhaul_rows import backhaul_fact
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.planning.telling.score import rank_text, score_text
from siteplanner.planning.telling.service import served_words
from siteplanner.planning.telling.units import Units
from siteplanner.planning.telling.words import best_look
from siteplanner.roads.steps import Step


def spot_tip(ranked: RankedSpot) -> str:
    """`Spot A: rank 1, score 81.2`; a spot has one name everywhere, its rank is said in words."""
    return f"Spot {ranked.spot.name}: {rank_text(ranked.rank)}, score {score_text(ranked.criteria)}"


def rank_words(ranked: RankedSpot) -> str:
    """`rank 3`; `place` is kept for where a spot lies."""
    return f"rank {ranked.rank}"


def spot_sentences(ranked: RankedSpot, units: Units) -> str:
    """A spot in sentences: rank, score, service, drive, backhaul, aim, grid reference."""
    e = ranked.evaluation
    parts = [f"Rank {ranked.rank}, score {score_text(ranked.criteria)} of 100."]
    if e.coverage:
        parts.append(f"Serves {served_words(e.coverage, units)}.")
    if e.access:
        parts.append(f"Drive {drive_figures(e.access, units)}.")
    parts += [backhaul_sentence(e, units.first), aim(ranked, units), grid_text(ranked.spot.grid_reference)]
    return " ".join(filter(None, parts))


def spot_waypoint(ranked: RankedSpot, units: Units) -> str:
    """A spot for a navigation device: rank, score, grid reference, aim."""
    reference = grid_text(ranked.spot.grid_reference)
    return f"Rank {ranked.rank}, score {score_text(ranked.criteria)}. {reference}. {aim(ranked, units)}"


def drive_figures(access: Access, units: Units) -> str:
    """`12.8 km (7.9 mi), 21 min`."""
    return f"{units.distance(access.drive_distance_m)}, {units.seconds(access.drive_time_s)}"


def drive_tip(ranked: RankedSpot, access: Access, units: Units) -> str:
    """The drive to a spot, for its line on a map."""
    return f"Drive to spot {ranked.spot.name}: {drive_figures(access, units)}"


def last_leg_tip(ranked: RankedSpot, access: Access, units: Units) -> str:
    """The last leg to a spot, for its line on a map."""
    return f"Last leg to spot {ranked.spot.name}: {last_leg_length(access, units)}"


def last_leg_length(access: Access, units: Units) -> str:
    """`25 m (82 ft) over ground`."""
    return f"{units.distance(access.last_leg_m)} over ground"


def way_point(step: Step, units: Units) -> str:
    """A decision point for a navigation device: how far on, and what lies ahead."""
    return ". ".join(
        [f"At {units.distance(step.running_m)}", *(ahead_words(hazard, units.first) for hazard in step.hazards)]
    )


def service_words(coverage: Coverage, units: Units) -> str:
    """Share of what is weighed, people, and area served."""
    return f"{served_words(coverage, units)}, {units.first.area(coverage.served_area_km2)}"


def point_words(point: PointService, evaluation: Evaluation, units: Units) -> str:
    """A must-serve point: service, distance, bearing from the spot."""
    at = both_bearings(point.bearing_deg, evaluation, units)
    return f"{point.name}: {units.share(point.probability)}, {units.distance(point.distance_m)} at {at}"


def served_tip(name: str, probability: float | None, whose: str, units: Units) -> str:
    """A must-serve point on the map, with what a spot gives it; `probability` None: not served by any."""
    served = "" if probability is None else f": {units.share(probability)} from {whose}"
    return f"Must-serve point {name}{served}"


def layer_figures(row: Mapping[Hashable, Any], units: Units) -> list[str]:
    """What a row of the mission's layers states: weight, voltage, height; what is not stated is left out."""
    out = []
    for column, label, unit in (("weight", "weight ", ""), ("voltage_kv", "", "kV"), ("height_m", "height ", "m")):
        stated = row.get(column)
        if isinstance(stated, (int, float)) and stated == stated:
            figure = units.stated(stated, unit) if unit else f"{stated:g}"
            out.append(f"{label}{figure}")
        elif isinstance(stated, str) and stated:
            out.append(f"{label}{stated} {unit}".rstrip())
    return out


def spot_facts(e: Evaluation, units: Units) -> str:
    """`96 % served, 21 min drive, sky margin 8°`, for the list of spots."""
    share = units.share(e.coverage.share if e.coverage else None)
    drive = units.seconds(e.access.drive_time_s if e.access else None)
    look = best_look(e)
    sky = "sky not known" if look is None else f"sky margin {units.angle(look.margin_deg, 0)}"
    if not e.dish_used:
        label, figure = backhaul_fact(e, units)
        sky = f"{label.lower()} {figure}"
    return f"{share} served, {drive} drive, {sky}"


def ruled_out_share(share: float, only_share: float, units: Units) -> str:
    """How much of the ground a limit rules out, and how much no other limit does."""
    return f"{units.share(share)} ({units.share(only_share)} by this alone)"
