"""A drive as plain data: what `plan.json` holds under `access`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.if_lost import if_lost
from siteplanner.planning.spots.drive_facts import Told, Turning
from siteplanner.planning.spots.evaluation import Access
from siteplanner.planning.spots.lifelines import BESIDE_M, Place, Section
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.telling.directions import alternative_words, step_words, too_far_words
from siteplanner.planning.telling.lifeline import hazards_beside_words, if_lost_words, way_in_words, way_out_words
from siteplanner.planning.telling.radio import radio_lines
from siteplanner.planning.telling.roads import ahead_words, band_words, reason_words, unknown_along_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.times import drive_method_words
from siteplanner.roads.alternatives import Alternative
from siteplanner.roads.grade_bands import GradeBand
from siteplanner.roads.hazards_ahead import HazardAhead
from siteplanner.roads.lifeline import Thread
from siteplanner.roads.reasons import UnknownAlong
from siteplanner.roads.routing import Route
from siteplanner.roads.ruled_out import RuledOut
from siteplanner.roads.steps import Step

PROFILE_POINTS = 400  # a longer profile is thinned; its highest, lowest and steepest points stay


def access_record(spot: Spot, access: Access, listed: Sequence[RankedSpot] = ()) -> dict[str, Any]:
    """The figures of the drive, and what was told of it where it was told. `listed`: the spots handed over with it."""
    route, told = access.route, access.told
    record: dict[str, Any] = {
        "drive_distance_m": access.drive_distance_m,
        "drive_time_s": access.drive_time_s,
        "gap_m": _known(access.gap_m, 1),
        "drive_time_low_s": _known(access.drive_low_s, 1),
        "drive_time_high_s": _known(access.drive_high_s, 1),
        "drive_time_method": drive_method_words(),
        "worst_grade_pct": access.worst_grade_pct,
        "worst_grade_error_pct": access.worst_grade_error_pct,
        "last_leg_m": access.last_leg_m,
        "ways_out": access.ways_out,
        "one_way_in": access.one_way_in,
        "unknown_limits": list(unknown_along_words(access.unknown)),
        "unknown": [_unknown(item) for item in access.unknown],
        "by_staging": [asdict(start) for start in access.by_staging],
    }
    if told is None:
        return record
    return record | {
        "cut_segments": [_section(section) for section in told.staging_cuts],
        "lifeline": _lifeline(spot, access, told, listed),
        "directions": [_step(step) for step in told.steps],
        "hazards": [_hazard(hazard) for hazard in told.hazards],
        "grade_bands": [_band(band) for band in told.bands],
        "profile": profile_record(route),
        "alternative": _alternative(told.alternative, told),
        "turning": _turning(told.turning),
        "way_home": {
            "same_road": told.both_ways,
            "descents": [
                {
                    "crest_from_stop_m": _known(d.crest_m, 1),
                    "length_m": _known(d.length_m, 1),
                    "steepest_pct": _known(d.steepest_pct, 1),
                    "drop_m": _known(d.drop_m, 1),
                }
                for d in told.descents
            ],
        },
        "not_these_ways": [ruled_out_record(road) for road in told.not_these],
        "radio": list(radio_lines(spot, access, told)),
    }


def _known(value: float, digits: int) -> float | None:
    return round(value, digits) if math.isfinite(value) else None


def _step(step: Step) -> dict[str, Any]:
    return {
        "text": step_words(step),
        "kind": step.kind,
        "onto": step.name,
        "distance_m": _known(step.distance_m, 1),
        "running_m": _known(step.running_m, 1),
        "running_s": _known(step.running_s, 1),
        "latitude": _known(step.latitude, 7),
        "longitude": _known(step.longitude, 7),
        "degrees_minutes": step.degrees_minutes,
        "grid_reference": step.grid_reference,
        "bearing_true_deg": _known(step.bearing_deg, 1),
        "toward": step.toward,
        "continue_past": step.past,
        "continue_past_m": _known(step.past_m, 1),
        "too_far": too_far_words(step.beyond),
    }


def _hazard(hazard: HazardAhead) -> dict[str, Any]:
    return {
        "running_m": _known(hazard.running_m, 1),
        "length_m": _known(hazard.length_m, 1),
        "kind": hazard.kind,
        "severity": hazard.severity,
        "signal_word": signal_word(hazard.severity),
        "text": ahead_words(hazard),
        "value": None if hazard.value is None else _known(hazard.value, 2),
        "limit": hazard.limit,
        "what": hazard.what,
        "state": hazard.state,
        "written": hazard.written,
        "side": hazard.side,
        "certain": hazard.error is None,
        "latitude": _known(hazard.latitude, 7),
        "longitude": _known(hazard.longitude, 7),
        "grid_reference": hazard.grid_reference,
    }


def _unknown(item: UnknownAlong) -> dict[str, Any]:
    return {"kind": item.kind, "near_the_limit": item.near, "length_m": _known(item.length_m, 1)}


def ruled_out_record(road: RuledOut) -> dict[str, Any]:
    """A road that is shut for the rig and one reason, in figures and in words."""
    reason = road.reason
    return {
        "name": road.name,
        "kind": reason.kind,
        "figure": None if reason.figure is None else _known(reason.figure, 2),
        "limit": reason.limit,
        "unit": reason.unit,
        "source": reason.source,
        "certain": reason.certain,
        "what": reason.what,
        "structure": reason.structure,
        "written": reason.written,
        "length_m": _known(road.length_m, 1),
        "words": reason_words(reason),
    }


def _band(band: GradeBand) -> dict[str, Any]:
    return {
        "way": band.way,
        "from_pct": _known(band.from_pct, 0),
        "to_pct": _known(band.to_pct, 0),
        "length_m": _known(band.length_m, 1),
        "label": band_words(band),
    }


def _place(place: Place) -> dict[str, Any]:
    return {
        "latitude": _known(place.latitude, 7),
        "longitude": _known(place.longitude, 7),
        "degrees_minutes": place.degrees_minutes,
        "grid_reference": place.grid_reference,
    }


def _section(section: Section) -> dict[str, Any]:
    return {
        "name": section.name,
        "bridge": section.bridge,
        "over": section.over,
        "length_m": _known(section.length_m, 1),
        "running_m": _known(section.running_m, 1),
        "from": _place(section.start),
        "to": _place(section.end),
    }


def _thread(thread: Thread | None, sections: Sequence[Section], sentence: str) -> dict[str, Any]:
    return {
        "ways": None if thread is None else thread.ways,
        "length_m": None if thread is None else _known(thread.length_m, 1),
        "bridges": sum(section.bridge for section in sections),
        "sections": [_section(section) for section in sections],
        "sentence": sentence,
    }


def _lifeline(spot: Spot, access: Access, told: Told, listed: Sequence[RankedSpot]) -> dict[str, Any] | None:
    """What the spot hangs on, what remains if each goes, and what lies beside the drive."""
    line = access.lifeline
    if line is None:
        return None
    return {
        "staging": _thread(line.staging, told.staging_cuts, way_in_words(access)),
        "outside": _thread(line.outside, told.outside_cuts, way_out_words(access)),
        "if_lost": [
            {
                "name": lost.section.name,
                "bridge": lost.section.bridge,
                "length_m": _known(lost.section.length_m, 1),
                "parts_from": list(lost.parts),
                "spots_reached": list(lost.spots),
                "reached_from": lost.start or None,
                "way_out_stays": lost.outside,
                "sentence": if_lost_words(lost),
            }
            for lost in if_lost(listed, access, spot.name)
        ],
        "hazards_beside": [
            {
                "name": beside.name,
                "running_m": _known(beside.running_m, 1),
                "length_m": _known(beside.length_m, 1),
                "across_m": _known(beside.across_m, 1),
                "up_m": _known(beside.up_m, 1),
                "within_m": BESIDE_M,
            }
            for beside in told.beside
        ],
        "bridges_over_water": [
            {
                "road": bridge.road,
                "water": bridge.water,
                "running_m": _known(bridge.running_m, 1),
                "hazard": bridge.hazard,
                "across_m": _known(bridge.across_m, 1),
                "up_m": _known(bridge.up_m, 1),
            }
            for bridge in told.over_water
        ],
        "sentences": hazards_beside_words(access),
    }


def _alternative(alternative: Alternative, told: Told) -> dict[str, Any]:
    route = alternative.route
    record: dict[str, Any] = {"exists": route is not None, "sentence": alternative_words(alternative)}
    if route is None:
        return record
    return record | {
        "by": alternative.by,
        "instead_of": alternative.instead_of,
        "distance_m": route.distance_m,
        "time_s": route.time_s,
        "longer_s": alternative.longer_s,
        "farther_m": alternative.farther_m,
        "shared_m": alternative.shared_m,
        "worst_grade_pct": route.worst_grade_pct,
        "unknown_limits": list(unknown_along_words(route.unknown)),
        "directions": [_step(step) for step in told.alternative_steps],
    }


def _turning(turning: Turning) -> dict[str, Any]:
    place = turning.place
    return {
        "at_spot": turning.room.is_enough,
        "circle_radius_m": turning.room.needed_m,
        "back_up_m": _known(turning.back_m, 1),
        "carry_on_m": turning.carry_on_m,
        "sentence": turning_words(turning),
        "place": None
        if place is None
        else {
            "kind": place.kind,
            "name": place.name,
            "before_the_stop_m": _known(place.back_m, 1),
            "latitude": _known(turning.latitude, 7),
            "longitude": _known(turning.longitude, 7),
            "degrees_minutes": turning.degrees_minutes,
            "grid_reference": turning.grid_reference,
        },
    }


def profile_record(route: Route) -> dict[str, list[float | None]]:
    """Distance, height and grade along the drive; unknown is None."""
    d, z, g = route.profile_distance_m, route.profile_elevation_m, route.profile_grade_pct
    keep = np.linspace(0, len(d) - 1, min(len(d), PROFILE_POINTS)).round().astype(int)
    for values in (z, g):
        if np.isfinite(values).any():
            keep = np.append(keep, [np.nanargmin(values), np.nanargmax(values)])
    keep = np.unique(keep)
    return {
        name: [_known(v, 1) for v in values[keep].tolist()]
        for name, values in (("distance_m", d), ("elevation_m", z), ("grade_pct", g))
    }
