"""Rows of the GeoPackage about roads: whether each is for the rig, or why not; a row for each hazard of each road."""

from __future__ import annotations

import math
from typing import Any

from shapely.geometry import Point

from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.cut_off import cut_off_by_road
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.cut_off import cut_off_words
from siteplanner.planning.telling.roads import hazard_words, names_together, reasons_words, unknown_words
from siteplanner.planning.telling.signal_words import signal_word
from siteplanner.planning.telling.units import reader_units
from siteplanner.roads.reasons import Reason, Unknown, closure_names


def known(value: float | None, digits: int = 3) -> float | None:
    """A figure as it stands in a column; unknown is None."""
    return round(float(value), digits) if value is not None and math.isfinite(value) else None


def _reason(reasons: tuple[Reason, ...], unknown: tuple[Unknown, ...]) -> dict[str, Any]:
    """The first reason why a road is shut for the rig in figures; `why_not` says all `reasons`. `certain`: no figure
    lies closer to the rig's limit than it is known, whether the road is shut or open.
    """
    first = reasons[0] if reasons else None
    return {
        "reasons": len(reasons),
        "reason_kind": first.kind if first else None,
        "reason_figure": known(first.figure, 2) if first and first.figure is not None else None,
        "reason_limit": first.limit if first else None,
        "reason_unit": first.unit or None if first else None,
        "reason_source": first.source if first else None,
        "certain": all(r.certain for r in reasons) and not any(u.near for u in unknown),
    }


def road_rows(plan: Plan) -> list[dict[str, Any]]:
    """One row a road that vehicles use."""
    units = reader_units(plan.mission)
    roads = plan.scene.roads
    cuts, judged = cut_off_by_road(plan), len(plan.judged)
    return [
        {
            "road": int(i),
            "name": clean(roads.tags.name[i]),
            "highway": clean(roads.tags.highway[i]),
            "surface": clean(roads.tags.surface[i]),
            "for_rig": bool(roads.judged.drivable[i]),
            "closed_by": clean(names_together(closure_names(roads.judged.reasons[i]))) or None,
            "drawn_for_mission": bool(roads.tags.drawn[i]),
            "why_not": clean(reasons_words(roads.judged.reasons[i], units.first)),
            **_reason(roads.judged.reasons[i], roads.judged.unknown[i]),
            "limits_not_stated": clean(unknown_words(roads.judged.unknown[i], units.first)),
            "hazards": len(roads.hazards[i]),
            "worst_grade_pct": known(roads.grades.worst_pct[i], 1),
            "length_m": known(roads.geometry.length_m[i], 1),
            "speed_kmh": known(roads.mean_speed_kmh[i], 1),
            "spots_cut_off": cuts[i].either if i in cuts else 0,
            "spots_cut_off_from_staging": cuts[i].from_staging if i in cuts else 0,
            "spots_cut_off_from_outside": cuts[i].from_outside if i in cuts else 0,
            "cuts_off": clean(cut_off_words(cuts.get(i), judged)) or None,
            "geometry": roads.geometry.line[i],
        }
        for i in range(len(roads))
        if roads.tags.for_vehicles[i]
    ]


def road_hazard_rows(plan: Plan) -> list[dict[str, Any]]:
    """One row a hazard of a road that vehicles use, driven today or not; `road` is the number in the layer `roads`."""
    units = reader_units(plan.mission)
    roads = plan.scene.roads
    return [
        {
            "road": int(i),
            "name": clean(roads.tags.name[i]),
            "for_rig": bool(roads.judged.drivable[i]),
            "kind": hazard.kind,
            "severity": hazard.severity,
            "signal_word": signal_word(hazard.severity),
            "text": clean(hazard_words(hazard, units.first)),
            "value": None if hazard.value is None else known(hazard.value, 2),
            "rig_figure": None if hazard.limit is None else known(hazard.limit, 2),
            "somewhere_along": hazard.stretch,
            "geometry": Point(hazard.x, hazard.y),
        }
        for i in range(len(roads))
        if roads.tags.for_vehicles[i]
        for hazard in roads.hazards[i]
    ]
