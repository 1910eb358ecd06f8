"""The plan as plain data: what `plan.json` holds. Every figure shown anywhere comes from here or the same value."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from siteplanner.planning.choose.ranked import Firmness, RankedSpot, ScoreLine
from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.limits.ruling import RulingShare
from siteplanner.planning.plan.mission_place import shared_folder, shared_parameters
from siteplanner.planning.plan.model import Plan, SearchSummary
from siteplanner.planning.plan.outline import outline
from siteplanner.planning.plan.shut_roads import shut_roads
from siteplanner.planning.site.clock import Clock
from siteplanner.planning.site.rain import Rain
from siteplanner.planning.site.site_wind import SiteWind
from siteplanner.planning.site.sun_outage import SunOutages
from siteplanner.planning.site.timeline import Timeline
from siteplanner.planning.spots.capacity import Capacity, capacity_of
from siteplanner.planning.spots.evaluation import Coverage, Evaluation
from siteplanner.planning.spots.lines import Backhaul, DonorPath
from siteplanner.planning.spots.skyline import Skyline
from siteplanner.planning.study.driving import as_driven
from siteplanner.planning.telling.arc import arc_words
from siteplanner.planning.telling.arrival import arrival_checks
from siteplanner.planning.telling.as_built_rows import as_built_record
from siteplanner.planning.telling.backhaul import backhaul_reason, backhaul_sentence, donor_reason
from siteplanner.planning.telling.budget import line_item
from siteplanner.planning.telling.capacity import capacity_sentences
from siteplanner.planning.telling.clock import go_rows
from siteplanner.planning.telling.compass import SKEW_POSITIVE
from siteplanner.planning.telling.decision_record import decision_record
from siteplanner.planning.telling.drive_record import access_record, ruled_out_record
from siteplanner.planning.telling.findings import finding_record
from siteplanner.planning.telling.inputs import input_record
from siteplanner.planning.telling.leave import leave_record
from siteplanner.planning.telling.limits import breach_words, nearest_to_pass_words
from siteplanner.planning.telling.overhead_lines import line_source, line_words, need_words
from siteplanner.planning.telling.prediction import cover_sentence, prediction_sentence, probability_meaning
from siteplanner.planning.telling.rain import margin_sentence, rain_note, rain_sentence
from siteplanner.planning.telling.service import service_lines
from siteplanner.planning.telling.sets import sets_record
from siteplanner.planning.telling.sun import outage_sentence
from siteplanner.planning.telling.timeline import light_record
from siteplanner.planning.telling.times import driving_words, range_words
from siteplanner.planning.telling.units import METRIC
from siteplanner.planning.telling.words import BEFORE_ACTING, firmness_sentence, recommendation

FORMAT = 2
"""1 had the severities `caution` (now `warning`), `warning` (now `check`) and `note`, and no `signal_word`."""


def plan_record(plan: Plan, beside: Path | None = None) -> dict[str, Any]:
    """The plan as a dict of plain values (NaN stays NaN here; the writer turns it into null).

    `beside`: the folder in which the record will stand, from where the mission's is named; no path goes in from the
    root (`mission_place`).
    """
    return {
        "format": FORMAT,
        "software": plan.software,
        "recommendation": recommendation(plan),
        "firmness": {**_fields(plan.firmness), "sentence": firmness_sentence(plan)},
        "cautions": [text for _, text in BEFORE_ACTING],
        "before_acting": [{"signal_word": word, "text": text} for word, text in BEFORE_ACTING],
        "crs": plan.scene.elevation.crs.to_string(),
        "mission": shared_parameters(plan.mission),
        "mission_folder": shared_folder(plan.mission, beside),
        "area_outline": outline(plan),
        "inputs": [input_record(record) for record in plan.inputs],
        "findings": [finding_record(finding) for finding in plan.findings],
        "rulings": [_ruling(share) for share in plan.rulings],
        "search": _fields(plan.search),
        "service": {
            "over": cover_sentence(plan.mission, plan.findings, METRIC),
            "predicted_for": prediction_sentence(plan.mission.radio, METRIC),
            "probability_at_points": probability_meaning(plan.mission.radio, METRIC),
        },
        "roads": _roads_record(plan),
        "sun_outages": _sun_record(plan.sun),
        "rain": _rain_record(plan.rain),
        **decision_record(plan),
        "driving": {**asdict(as_driven(plan.mission)), "sentence": f"{driving_words(as_driven(plan.mission))}."},
        "spots": spots_record(plan),
        "rejected": [
            {
                **evaluation_record(e, plan.spots),
                "failed": [{"limit": b.code, "reason": breach_words(b)} for b in e.failed],
            }
            for e in plan.rejected
        ],
        **sets_record(plan),
        **({} if plan.as_built is None else {"as_built": as_built_record(plan.as_built, plan.spots[0].evaluation)}),
        **({} if plan.stands is None else {"stands": asdict(plan.stands)}),
        "timings_s": plan.timings_s,
    }


def _ruling(share: RulingShare) -> dict[str, Any]:
    return {
        "code": share.code,
        "label": share.label,
        "share": share.share,
        "only_share": share.only_share,
        "nearest_to_pass": nearest_to_pass_words(share),
        "would_allow": share.would_allow if math.isfinite(share.would_allow) else None,
        "unit": share.unit,
    }


def _fields(value: Firmness | SearchSummary | None) -> dict[str, Any]:
    """Nothing of what a plan does not hold."""
    return {} if value is None else asdict(value)


def spots_record(plan: Plan) -> list[dict[str, Any]]:
    """The spots handed over, by rank, with what waits there."""
    return [{**spot_record(ranked, plan.spots), **on_site_record(plan, ranked)} for ranked in plan.spots]


def spot_record(ranked: RankedSpot, listed: Sequence[RankedSpot] = ()) -> dict[str, Any]:
    """One ranked spot; `score` is the sum of the criteria's contributions."""
    return {
        "rank": ranked.rank,
        **evaluation_record(ranked.evaluation, listed),
        "score": ranked.score,
        "criteria": {c.name: line_record(c) for c in ranked.criteria},
        "certainty": None if ranked.certainty is None else asdict(ranked.certainty),
    }


def on_site_record(plan: Plan, ranked: RankedSpot) -> dict[str, Any]:
    """What waits on the spot: the timeline, the wind, distances from the antennas, what to check on arrival."""
    site = ranked.on_site
    return {
        "timeline": None if site.timeline is None else _timeline_record(site.timeline),
        "wind": None if site.wind is None else _wind_record(site.wind),
        "clock": None if site.clock is None else _clock_record(site.clock),
        "capacity": _capacity_record(capacity_of(ranked.evaluation, plan.mission)),
        "radio_exposure": [{**asdict(row), "keep_m": row.keep_m} for row in site.antennas],
        "arrival_checks": [asdict(check) for check in arrival_checks(plan, ranked)],
    }


def _clock_record(hours: Clock) -> dict[str, Any]:
    """Moments as ISO 8601 with their own offset; null where nobody knows."""
    return {**_written(asdict(hours)), "rows": [list(row) for row in go_rows(hours)]}


def _written(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    if isinstance(value, dict):
        return {name: _written(held) for name, held in value.items()}
    return [_written(held) for held in value] if isinstance(value, (list, tuple)) else value


def _capacity_record(capacity: Capacity) -> dict[str, Any]:
    return {**asdict(capacity), "sentences": capacity_sentences(capacity)}


def _skyline_record(figure: Skyline) -> dict[str, Any]:
    """One value a degree of true bearing from 0 to 359; angles to 0.01 deg, distances to 1 m."""
    return {
        "bearings_deg": "0 to 359, true, by 1",
        "bare_deg": figure.bare_deg.round(2).tolist(),
        "surface_deg": None if figure.surface_deg is None else figure.surface_deg.round(2).tolist(),
        "known_to_m": figure.known_to_m.round(0).tolist(),  # null: complete
        "possible_deg": figure.possible_deg.round(2).tolist(),
        "unknown_bearings": int(figure.unknown.sum()),
        "satellite_arc": [
            {name: v if isinstance(v, str) else round(v, 2) for name, v in asdict(p).items()} for p in figure.arc
        ],
        "margin_deg": figure.margin_deg,
        "tree_limits": [
            {name: v if isinstance(v, str) else round(v, 1) for name, v in asdict(t).items()} for t in figure.trees
        ],
    }


def _roads_record(plan: Plan) -> dict[str, Any]:
    """Roads that are shut for the rig: one row for each road's name and reason, by name."""
    shut, grid = shut_roads(plan), plan.scene.elevation
    rows = []
    for road in shut.rows:
        lon, lat = (round(float(v), 7) for v in grid.lonlat(road.x, road.y))
        rows.append({**ruled_out_record(road), "latitude": lat, "longitude": lon})
    return {"not_for_rig": rows, "not_for_rig_left_out": shut.left_out}


def _rain_record(made: Rain | None) -> dict[str, Any] | None:
    """`links` is null where the optional package is absent; `note` then says so."""
    if made is None:
        return None
    links = [
        {
            **asdict(link),
            "decides": link.decides,
            "margin_1_pct_db": made.margin_db - link.downlink_loss_1_pct_db,
            "margin_01_pct_db": made.margin_db - link.downlink_loss_01_pct_db,
            "uplink_margin_1_pct_db": made.uplink_margin_db - link.uplink_loss_1_pct_db,
            "uplink_margin_01_pct_db": made.uplink_margin_db - link.uplink_loss_01_pct_db,
            "sentence": rain_sentence(made, link),
            "margin_sentence": margin_sentence(made, link.satellite_name, made.margin_db),
        }
        for link in made.links
    ]
    return {
        "frequency_ghz": made.frequency_ghz,
        "margin_db": made.margin_db,
        "uplink_ghz": made.uplink_ghz,
        "uplink_margin_db": made.uplink_margin_db,
        "system_temperature_k": made.system_temperature_k,
        "links": links or None,
        "note": rain_note(made),
    }


def _sun_record(sun: SunOutages | None) -> dict[str, Any] | None:
    """Times as in the dispatch time's offset and in UTC."""
    if sun is None:
        return None
    return {
        "latitude": sun.latitude,
        "longitude": sun.longitude,
        "first_day": sun.first_day.isoformat(),
        "beam_deg": round(sun.beam_deg, 3),
        "half_width_deg": round(sun.half_width_deg, 3),
        "satellites": [
            {
                "satellite_name": one.satellite_name,
                "satellite_longitude_deg": one.satellite_longitude_deg,
                "sentence": outage_sentence(one),
                "outages": [
                    {
                        "start_utc": o.start.astimezone(UTC).isoformat(timespec="seconds"),
                        "end_utc": o.end.astimezone(UTC).isoformat(timespec="seconds"),
                        "start": o.start.isoformat(timespec="seconds"),
                        "end": o.end.isoformat(timespec="seconds"),
                        "minutes": round(o.minutes, 1),
                        "closest_deg": round(o.closest_deg, 3),
                    }
                    for o in one.outages
                ],
            }
            for one in sun.satellites
        ],
    }


def line_record(line: ScoreLine) -> dict[str, Any]:
    """One criterion's line of a score."""
    return {
        "label": line.label,
        "value": line.value,
        "unit": line.unit,
        "utility": line.utility,
        "weight": line.weight,
        "contribution": line.contribution,
    }


def _timeline_record(timeline: Timeline) -> dict[str, Any]:
    moments = timeline.moments
    record = {
        "parts": [asdict(part) for part in moments.parts],
        "early_min": moments.early_min,
        "likely_min": moments.likely_min,
        "mean_min": moments.mean_min,
        "late_min": moments.late_min,
        "method": range_words(moments),
        "parts_alike": moments.parts_alike,
        **{name: value for name, value in asdict(timeline).items() if name != "moments"},
    }
    record["dispatch"] = None if timeline.dispatch is None else timeline.dispatch.isoformat()
    if timeline.light is not None:
        for name in ("dawn", "sunrise", "sunset", "dusk"):
            moment = getattr(timeline.light, name)
            record["light"][name] = None if moment is None else moment.isoformat(timespec="seconds")
        record["light"] |= light_record(timeline.light)
    return record


def _wind_record(wind: SiteWind) -> dict[str, Any]:
    record = asdict(wind)
    record["findings"] = [finding_record(finding) for finding in wind.findings]
    return record


def _backhaul_record(e: Evaluation) -> dict[str, Any]:
    """Every wanted backhaul with its verdict and figures, in order of preference; `used` is null where none works."""
    used = e.backhaul
    return {
        "used": None if used is None else used.kind,
        "sentence": backhaul_sentence(e),
        "wanted": [{"choice": place, **_one_backhaul(b)} for place, b in enumerate(e.backhauls, 1)],
    }


def _donor_record(path: DonorPath) -> dict[str, Any]:
    return {**{k: v for k, v in asdict(path).items() if k != "at_lowest"}, "reason": donor_reason(path)}


def _one_backhaul(b: Backhaul) -> dict[str, Any]:
    return {
        "kind": b.kind,
        "verdict": b.verdict,
        "reason": backhaul_reason(b),
        "margin": b.margin,
        "unit": b.unit,
        "dome": None if b.dome is None else asdict(b.dome),
        "min_elevation_deg": b.min_elevation_deg,
        "donors": [_donor_record(d) for d in b.donors],
    }


def service_record(c: Coverage) -> dict[str, Any] | None:
    """Who is served: by polygon, people and named points; None where it was not worked out."""
    if c.service is None:
        return None
    points = [{"name": p.name, "probability": p.probability, "served": p.probability >= 0.5} for p in c.must_serve]
    return {**asdict(c.service), "points": points, "sentences": service_lines(c)}


def _overhead_line_record(line: KeepAway) -> dict[str, Any]:
    """The line with the least to spare; `needed_m` is the sum of the parts beside it, null where none is given."""
    return {
        **asdict(line),
        "voltage_stated": line.voltage_from == "line",
        "judged": line.judged,
        "to_wire_m": line.to_wire_m,
        "source": line_source(line),
        "sentence": line_words(line),
        "need": need_words(line),
    }


def evaluation_record(e: Evaluation, listed: Sequence[RankedSpot] = ()) -> dict[str, Any]:
    """What was found out about a spot. `listed`: the spots handed over with it."""
    spot = e.spot
    record: dict[str, Any] = {
        "name": spot.name,
        "origin": spot.origin,
        "latitude": spot.latitude,
        "longitude": spot.longitude,
        "grid_reference": spot.grid_reference,
        "elevation_m": spot.elevation_m,
        "x": spot.x,
        "y": spot.y,
        "ground": {**asdict(e.ground), "swing_room_m": e.ground.swing_room_m},
        "overhead_line": None if e.line is None else _overhead_line_record(e.line),
        "sky": [{**asdict(look), "skew_positive": SKEW_POSITIVE, "clear": look.clear} for look in e.sky],
        "backhaul": _backhaul_record(e),
        "magnetic": None if e.magnetic is None else asdict(e.magnetic),
        "coverage": None,
        "service": None,
        "access": None,
        "on_air": None,
        "skyline": None if e.skyline is None else _skyline_record(e.skyline),
        "visible_arc": None if e.arc is None else {**asdict(e.arc), "sentence": arc_words(e.arc, e.sky)},
        "leave": leave_record(e.leave),
        "findings": [finding_record(finding) for finding in e.findings],
    }
    if e.coverage is not None:
        c = e.coverage
        record["coverage"] = {
            "share": c.share,
            "share_low": c.share_low,
            "share_high": c.share_high,
            "elevation": None if c.elevation is None else asdict(c.elevation),
            "points_elevation": None if c.points_elevation is None else asdict(c.points_elevation),
            "mounting": None if c.mounting is None else asdict(c.mounting),
            "points_mounting": None if c.points_mounting is None else asdict(c.points_mounting),
            "served_area_km2": c.served_area_km2,
            "mast_height_m": c.mast_height_m,
            "sector_bearings_deg": list(c.sector_bearings_deg),
            "must_serve": [asdict(p) for p in c.must_serve],
            "share_by_stop": [{"mast_height_m": h, "share": s} for h, s in c.share_by_stop],
            "budget_at_median_cell": [{"item": line_item(b), "value": b.value, "unit": b.unit} for b in c.budget],
        }
        record["service"] = service_record(c)
    if e.access is not None:
        record["access"] = access_record(spot, e.access, listed)
    if e.on_air is not None:
        air = e.on_air
        record["on_air"] = {
            "parts": [(p.name, p.low_min, p.likely_min, p.high_min) for p in air.parts],
            "low_min": air.early_min,
            "likely_min": air.likely_min,
            "mean_min": air.mean_min,
            "high_min": air.late_min,
            "method": range_words(air),
        }
    return record
