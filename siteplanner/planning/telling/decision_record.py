"""What `plan.json` holds for the decision: the options, who serves which named point, and every judged spot."""

from __future__ import annotations

import math
from dataclasses import asdict, replace
from typing import Any

from siteplanner.planning.choose.dominance import Figure, Hanging, hanging
from siteplanner.planning.choose.options import Option, Trigger
from siteplanner.planning.choose.points import PointAnswer
from siteplanner.planning.choose.price import Difference, Price
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.decision import nearby
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.places import Nearby
from siteplanner.planning.spots.required import CODE
from siteplanner.planning.telling.certainty import first_if_words, flip_to
from siteplanner.planning.telling.options import (
    NO_OTHER,
    missed_words,
    option_sentences,
    price_words,
    tied_words,
    whole_of,
)


def decision_record(plan: Plan) -> dict[str, Any]:
    """The keys of `plan.json` for the decision.

    `options`: two to five, by rank; `points`: a row a named point; `tied`: names; `judged`: a row a judged spot, whose
    `polygons` and `points` are shares and chances in the order of `judged_of`; `set_aside`: the same of the spots that
    only a required point rules out, which points and by how much in `ruled_out_by`.
    """
    near, roads = nearby(plan), plan.scene.roads
    return {
        "options": [_option(o, plan) for o in plan.options],
        "options_note": NO_OTHER if len(plan.options) == 1 else "",
        "points": [_point(p) for p in plan.points],
        "tied": {"spots": [r.spot.name for r in plan.tied], "sentence": tied_words(plan.tied)},
        "judged_of": judged_of(plan),
        "judged": [
            judged_row(r, hanging(r.evaluation.access, roads), beside)
            for r, beside in zip(plan.judged, near, strict=True)
        ],
        "set_aside": _set_aside(plan),
    }


def _set_aside(plan: Plan) -> list[dict[str, Any]]:
    """A row a spot that keeps every limit but a required point; `rank` counts all that keep the others."""
    near, roads = nearby(replace(plan, judged=plan.set_aside)), plan.scene.roads
    required, needed = [p.required for p in plan.points], plan.mission.radio.chance_needed
    rows = []
    for ranked, beside in zip(plan.set_aside, near, strict=True):
        coverage = ranked.evaluation.coverage
        points = () if coverage is None else coverage.must_serve
        failed = [
            {"limit": CODE, "point": p.name, "chance": round(p.probability, 5), "needed": needed}
            for p, must in zip(points, required, strict=False)
            if must and not p.probability >= needed
        ]
        row = judged_row(ranked, hanging(ranked.evaluation.access, roads), beside)
        rows.append({**row, "ruled_out_by": failed})
    return rows


def judged_of(plan: Plan) -> dict[str, list[str]]:
    """What `polygons` and `points` of the rows of `judged` are of, in their order."""
    coverage = next((r.evaluation.coverage for r in (*plan.judged, *plan.set_aside)), None)
    service = None if coverage is None else coverage.service
    return {
        "polygons": [] if service is None else [p.name for p in service.polygons],
        "points": [] if coverage is None else [p.name for p in coverage.must_serve],
    }


def _option(option: Option, plan: Plan) -> dict[str, Any]:
    ranked = option.ranked
    return {
        "rank": ranked.rank,
        "name": ranked.spot.name,
        "grid_reference": ranked.spot.grid_reference,
        "score": ranked.score,
        "overlap": option.overlap,
        "differs": list(option.differs),
        "best_at": [{**_figure(b.figure), "value": b.value, "among": b.among} for b in option.best_at],
        "lifeline": _hanging(option.lifeline),
        "price": _price(option.price),
        "trigger": None if option.trigger is None else _trigger(option.trigger),
        "first_if": _first_if(plan, ranked),
        "sentences": option_sentences(option, plan.mission.times.dispatch),
    }


def _first_if(plan: Plan, ranked: RankedSpot) -> dict[str, Any] | None:
    """The likeliest change that would put an option first; null for the first and where no error drawn does it."""
    flip = flip_to(plan.firmness, ranked.spot.name)
    if flip is None:
        return None
    return {**asdict(flip), "sentence": first_if_words(plan.firmness, ranked.spot.name)}


def _figure(figure: Figure) -> dict[str, Any]:
    return {"figure": figure.name, "about": figure.about}


def _difference(d: Difference) -> dict[str, Any]:
    return {**_figure(d.figure), "here": d.here, "first": d.first}


def _price(price: Price) -> dict[str, Any]:
    return {
        "gains": [_difference(d) for d in price.gains],
        "costs": [_difference(d) for d in price.costs],
        "not_known": [_figure(f) for f in price.unknown],
    }


def _trigger(trigger: Trigger) -> dict[str, Any]:
    return {
        "points": list(trigger.points),
        "roads": [{"name": s.name, "bridge": s.bridge, "over": s.over, "length_m": s.length_m} for s in trigger.roads],
        "steepest": None if trigger.steepest is None else asdict(trigger.steepest),
        "counts": None if trigger.counts is None else _difference(trigger.counts),
        "drives_part_at_m": None if trigger.parts is None else trigger.parts.distance_m,
        "decide_by_min": trigger.decide_by_min,
        "on_air_late_min": trigger.on_air_late_min,
    }


def _hanging(found: Hanging | None) -> dict[str, Any] | None:
    return None if found is None else asdict(found)


def _point(point: PointAnswer) -> dict[str, Any]:
    best = point.best
    return {
        "name": point.name,
        "required": point.required,
        "chance_needed": point.needed,
        "chance_at_first": point.first,
        "served_by_first": not point.missed,
        "served_by": point.served_by,
        "best_spot": None if best is None else {"name": best.spot.name, "rank": best.rank, "chance": point.chance,
                                                "grid_reference": best.spot.grid_reference},
        "price": None if point.price is None else _price(point.price),
        "sentence": missed_words(point) if point.missed else "",
        "price_sentence": "" if best is None or point.price is None else price_words(point.price, whole_of(best)),
    }  # fmt: skip


def judged_row(ranked: RankedSpot, hangs: Hanging | None, near: Nearby) -> dict[str, Any]:
    """One judged spot with everything that it was compared by; figures rounded to what they can hold."""
    e, spot = ranked.evaluation, ranked.spot
    coverage, access, air = e.coverage, e.access, e.on_air
    service = None if coverage is None else coverage.service
    return {
        "rank": ranked.rank,
        "name": spot.name,
        "origin": spot.origin,
        "latitude": round(spot.latitude, 7),
        "longitude": round(spot.longitude, 7),
        "grid_reference": spot.grid_reference,
        "x": round(spot.x, 2),
        "y": round(spot.y, 2),
        "score": ranked.score,
        "share": None if coverage is None else round(coverage.share, 5),
        "area_share": None if service is None else round(service.area_share, 5),
        "people_served": None if service is None or service.people_served is None else round(service.people_served, 1),
        "polygons": [] if service is None else [round(p.share, 5) for p in service.polygons],
        "points": [] if coverage is None else [round(p.probability, 5) for p in coverage.must_serve],
        "mast_height_m": None if coverage is None else coverage.mast_height_m,
        "sector_bearings_deg": [] if coverage is None else [round(b, 1) for b in coverage.sector_bearings_deg],
        "criteria": {
            c.name: {"value": c.value, "utility": round(c.utility, 5), "contribution": round(c.contribution, 4)}
            for c in ranked.criteria
        },
        "backhaul": None if e.backhaul is None else e.backhaul.kind,
        "lifeline": None if hangs is None else {k: _short(v) for k, v in asdict(hangs).items()},
        "drive_min": None if access is None else round(access.drive_time_s / 60, 2),
        "last_leg_m": None if access is None else round(access.last_leg_m, 1),
        "steepest_pct": None if access is None else _short(access.worst_grade_pct),
        "on_air_min": None if air is None else [round(v, 1) for v in (air.early_min, air.mean_min, air.late_min)],
        "hazard_m": _short(near.hazard_m),
        "water_m": _short(near.water_m),
        "above_channel_m": _short(e.ground.above_drainage_m),
        "slope_deg": round(e.ground.slope_deg, 2),
        "steep_chance": None if math.isnan(e.ground.steep_chance) else round(e.ground.steep_chance, 3),
    }  # fmt: skip


def _short(value: Any) -> Any:
    return round(value, 1) if isinstance(value, float) and math.isfinite(value) else value
