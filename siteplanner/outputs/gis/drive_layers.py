"""Rows of the GeoPackage about the drives: other ways, decision points, hazards, turning places, cut sections."""

from __future__ import annotations

from typing import Any

from shapely.geometry import Point

from siteplanner.outputs.gis.road_layers import known
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import told_of
from siteplanner.planning.telling.directions import alternative_words, step_words
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.units import reader_units


def drive_layers(plan: Plan) -> dict[str, list[dict[str, Any]]]:
    """Layer name -> rows, for every spot that can be driven to; unknown is None."""
    units = reader_units(plan.mission)
    out: dict[str, list[dict[str, Any]]] = {
        "cut_segments": [],
        "alternatives": [],
        "hazards_on_drives": [],
        "decision_points": [],
        "turning_places": [],
    }
    for ranked in plan.spots:
        access = ranked.evaluation.access
        if access is None:
            continue
        told = told_of(access)
        whose = {"rank": ranked.rank, "spot": clean(ranked.spot.name)}
        for number, step in enumerate(told.steps, 1):
            out["decision_points"].append(
                {
                    **whose,
                    "step": number,
                    "text": clean(step_words(step, units.first)),
                    "kind": step.kind,
                    "onto": clean(step.name),
                    "running_m": known(step.running_m, 0),
                    "distance_m": known(step.distance_m, 0),
                    "bearing_true_deg": known(step.bearing_deg, 1),
                    "continue_past": clean(step.past) or None,
                    "latitude": known(step.latitude, 7),
                    "longitude": known(step.longitude, 7),
                    "degrees_minutes": step.degrees_minutes,
                    "grid_reference": step.grid_reference,
                    "geometry": Point(step.x, step.y),
                }
            )
        for hazard in told.hazards:
            out["hazards_on_drives"].append(
                {
                    **whose,
                    "kind": hazard.kind,
                    "severity": hazard.severity,
                    "signal_word": signal_word(hazard.severity),
                    "text": clean(ahead_words(hazard, units.first)),
                    "running_m": known(hazard.running_m, 0),
                    "length_m": known(hazard.length_m, 0),
                    "value": None if hazard.value is None else known(hazard.value, 2),
                    "grid_reference": hazard.grid_reference,
                    "geometry": Point(hazard.x, hazard.y),
                }
            )
        for cut in (*told.staging_cuts, *told.outside_cuts):
            out["cut_segments"].append(
                {
                    **whose,
                    "name": clean(cut.name),
                    "cut_off_from": "staging" if cut in told.staging_cuts else "outside",
                    "bridge": cut.bridge,
                    "length_m": known(cut.length_m, 0),
                    "from_grid_reference": cut.start.grid_reference,
                    "to_grid_reference": cut.end.grid_reference,
                    "geometry": cut.line,
                }
            )
        other = told.alternative
        if other.route is not None:
            out["alternatives"].append(
                {
                    **whose,
                    "text": clean(alternative_words(other, units.first)),
                    "distance_m": known(other.route.distance_m, 0),
                    "drive_time_min": known(other.route.time_s / 60, 1),
                    "longer_min": known(other.longer_s / 60, 1),
                    "shared_m": known(other.shared_m, 0),
                    "worst_grade_pct": known(other.route.worst_grade_pct, 1),
                    "geometry": other.route.line,
                }
            )
        turning = told.turning
        if turning.place is not None:
            out["turning_places"].append(
                {
                    **whose,
                    "kind": turning.place.kind,
                    "name": clean(turning.place.name),
                    "before_the_stop_m": known(turning.place.back_m, 0),
                    "back_up_m": known(turning.back_m, 0),
                    "grid_reference": turning.grid_reference,
                    "geometry": Point(turning.place.x, turning.place.y),
                }
            )
    return out
