"""The ranking as a table: one row a spot, units in the names of the columns."""

from __future__ import annotations

import math
from typing import Any

from siteplanner.outputs.gis.judged import plainly
from siteplanner.outputs.gis.limit_rows import limit_columns
from siteplanner.outputs.words.text import csv_text
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.telling.backhaul import backhaul_sentence
from siteplanner.planning.telling.compass import SKEW_POSITIVE
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.units import Units, kept, reader_units, there
from siteplanner.planning.telling.words import best_look


def _row(plan: Plan, evaluation: Evaluation) -> dict[str, Any]:
    """Everything physical about one spot, in the order of the columns."""
    units = reader_units(plan.mission)
    spot, ground, access = evaluation.spot, evaluation.ground, evaluation.access
    coverage, air = evaluation.coverage, evaluation.on_air
    row: dict[str, Any] = {
        "name": spot.name,
        "origin": spot.origin,
        "latitude_deg": round(spot.latitude, 7),
        "longitude_deg": round(spot.longitude, 7),
        "grid_reference": spot.grid_reference,
        "elevation_m": round(spot.elevation_m, 1),
        "slope_deg": round(ground.slope_deg, 2),
        "heading_true_deg": round(ground.heading_deg, 1),
        "roll_deg": round(ground.roll_deg, 2),
        "pitch_deg": round(ground.pitch_deg, 2),
    }
    for corner in ("front_left", "front_right", "rear_left", "rear_right"):
        lift = ground.jack_differences_m.get(corner)
        row[f"jack_{corner}_m"] = None if lift is None else round(lift, 3)
    look = best_look(evaluation)
    row["satellite"] = look.satellite_name if look else None
    for field in ("azimuth_deg", "azimuth_magnetic_deg", "elevation_deg", "skew_deg", "horizon_deg", "margin_deg"):
        value = getattr(look, field) if look else None
        column = ("sky_" if field in ("horizon_deg", "margin_deg") else "dish_") + field
        row[column.replace("azimuth_deg", "azimuth_true_deg")] = None if value is None else round(value, 2)
    row["dish_skew_positive"] = SKEW_POSITIVE if look else None
    row["sky_clear"] = look.clear if look else None
    row |= _backhaul(evaluation, units)
    row["coverage_share"] = round(coverage.share, 4) if coverage else None
    row["served_area_km2"] = round(coverage.served_area_km2, 3) if coverage else None
    row["mast_height_m"] = coverage.mast_height_m if coverage else None
    for number in range(plan.mission.radio.sectors):
        bearings = coverage.sector_bearings_deg if coverage else ()
        row[f"sector_{number + 1}_true_deg"] = round(bearings[number], 1) if number < len(bearings) else None
    row["must_serve_lowest_probability"] = (
        round(min(p.probability for p in coverage.must_serve), 4) if coverage and coverage.must_serve else None
    )
    for number, point in enumerate(coverage.must_serve if coverage else (), 1):
        row[f"chance_{number}_{plainly(point.name)}"] = round(point.probability, 4)
    row["drive_distance_m"] = round(access.drive_distance_m) if access else None
    row["drive_time_min"] = round(access.drive_time_s / 60, 1) if access else None
    row["worst_grade_pct"] = round(access.worst_grade_pct, 1) if access else None
    row["last_leg_m"] = round(access.last_leg_m, 1) if access else None
    row["ways_out"] = access.ways_out if access else None
    row["one_way_in"] = access.one_way_in if access else None
    row["limits_not_stated"] = "; ".join(unknown_along_words(access.unknown, units.first)) if access else None
    row |= limit_columns(access)
    row["on_air_early_min"] = round(air.early_min) if air else None
    row["on_air_likely_min"] = round(air.likely_min) if air else None
    row["on_air_mean_min"] = round(air.mean_min) if air else None
    row["on_air_late_min"] = round(air.late_min) if air else None
    line = evaluation.line
    row["overhead_line_m"] = None if line is None else there(line.distance_m)
    row["overhead_line_needed_m"] = None if line is None else kept(line.needed_m)
    return row


def _backhaul(evaluation: Evaluation, units: Units) -> dict[str, Any]:
    """The backhaul in use with its place in the order of preference, the best donor link, and all in words."""
    used = evaluation.backhaul
    paths = [d for b in evaluation.backhauls for d in b.donors]
    best = paths[0] if paths else None

    def known(value: float | None, digits: int) -> float | None:
        return None if value is None or not math.isfinite(value) else round(value, digits)

    dome = next((b.dome for b in evaluation.backhauls if b.dome is not None), None)
    return {
        "backhaul": None if used is None else used.kind,
        "backhaul_choice": None if used is None else 1 + evaluation.backhauls.index(used),
        "open_sky_clear_least_share": known(dome.low, 4) if dome else None,
        "open_sky_clear_most_share": known(dome.high, 4) if dome else None,
        "donor": best.name if best else None,
        "donor_verdict": best.verdict if best else None,
        "donor_distance_m": known(best.distance_m, 0) if best else None,
        "donor_bearing_true_deg": known(best.bearing_deg, 2) if best else None,
        "donor_bearing_magnetic_deg": known(best.bearing_magnetic_deg, 2) if best else None,
        "donor_elevation_deg": known(best.elevation_deg, 2) if best else None,
        "donor_clearance_fresnel_radii": known(best.clearance_share, 2) if best else None,
        "donor_margin_db": known(best.margin_db, 1) if best else None,
        "backhaul_words": backhaul_sentence(evaluation, units.first),
    }


def ranking_csv(plan: Plan) -> str:
    """The listed spots as CSV (RFC 4180: comma, CRLF, quotes doubled), best first.

    Unknown is an empty cell. Text that a spreadsheet would run as a formula gets an apostrophe in front; numbers
    stay numbers. The text has no byte order mark: `write.write_outputs` puts one in front of the file, because
    the most common spreadsheet reads UTF-8 as something else without it, and readers made for CSV skip it.
    """
    units = reader_units(plan.mission)
    names = [c.name for c in plan.spots[0].criteria] if plan.spots else []
    rows = []
    for ranked in plan.spots:
        row: dict[str, Any] = {"rank": ranked.rank, "score_of_100": round(ranked.score, 2)}
        row |= _row(plan, ranked.evaluation)
        by_name = {c.name: c for c in ranked.criteria}
        for name in names:
            row[f"points_{name}"] = round(by_name[name].contribution, 2) if name in by_name else None
        row["findings"] = "; ".join(said(finding, units.first).message for finding in ranked.evaluation.findings)
        rows.append(row)
    header = list(dict.fromkeys(name for row in rows for name in row)) or ["rank", "score_of_100", "name"]
    return csv_text(header, rows)
