"""Everything with a place in one GeoPackage (OGC 12-128r18), for GIS staff: layers, attributes, styles, metadata."""

from __future__ import annotations

import math
import re
import sqlite3
from collections.abc import Collection
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shapely import get_dimensions
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, Point, Polygon, box

from siteplanner.outputs.gis.drive_layers import drive_layers
from siteplanner.outputs.gis.finding_rows import finding_rows
from siteplanner.outputs.gis.given_layers import AREA_COLUMNS, area_rows, given_columns, given_rows
from siteplanner.outputs.gis.ground_layers import ruling_rows, service_rows
from siteplanner.outputs.gis.judged import judged_rows
from siteplanner.outputs.gis.limit_rows import limit_rows
from siteplanner.outputs.gis.metadata import metadata_xml
from siteplanner.outputs.gis.package_tables import add_descriptions, add_metadata
from siteplanner.outputs.gis.road_layers import known, road_hazard_rows, road_rows
from siteplanner.outputs.gis.service_rasters import raster_rows
from siteplanner.outputs.gis.set_layers import set_layers
from siteplanner.outputs.gis.styles import STYLES, add_styles
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.overhead_lines import mast_fall_m
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation, start_of
from siteplanner.planning.telling.backhaul import backhaul_sentence, donor_reason
from siteplanner.planning.telling.compass import SKEW_POSITIVE
from siteplanner.planning.telling.exposure import keep_m_up
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.roads import unknown_along_words
from siteplanner.planning.telling.units import kept, reader_units, there

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import DataFrame

BY_KIND = {  # layers of several kinds of shape, one table a kind: polygons, lines, points
    "water": ("water", "water_lines"),
    "soft_ground": ("soft_ground",),
    "structures": ("structures", "structure_lines", "structure_points"),
    "landing_zones": ("landing_zones", "landing_zone_lines", "landing_zone_points"),
}
GIVEN = (
    "hazards", "closures", "extra_tracks", "keep_out", "power_lines", "known_cells", "license_area", "parcels"
)  # fmt: skip
"""Layers of one kind of shape."""
TITLES: dict[str, str] = {
    "spots": "Spots handed over in full: the options, the next best, those asked about",
    "judged_spots": "Every spot that was judged and passes",
    "rejected_spots": "Spots asked about that break a limit",
    "staging": "Staging point",
    "footprints": "Trailer with outriggers, parking heading",
    "routes": "Drives from staging",
    "last_legs": "Last legs over ground",
    "alternatives": "Other ways to drive",
    "decision_points": "Decision points of the drives, with words and coordinates",
    "hazards_on_drives": "Hazards on the drives, in driving order",
    "turning_places": "Last turning place before each spot",
    "cut_segments": "Road without a way round: its loss cuts a spot off",
    "set_service": "Predicted service of the best two trailers together",
    "set_server": "Which of the best two trailers serves which ground",
    "set_trailers": "Where the best two trailers stand, in the order in which they should go",
    "incident_area": "Incident area with all its own columns, and what is served of each polygon",
    "must_serve": "Must-serve points, service from each spot",
    "roads": "Roads: for the rig or why not",
    "road_hazards": "What a driver is warned of on any road, a row each",
    "ruling": "Ground that passes, and the first limit that rules it out",
    "service": "Predicted service of each spot",
    "closures": "What closes roads",
    "extra_tracks": "Tracks drawn for this mission",
    "donor_links": "Links to donor sites: work or why not",
    "donor_sites": "Donor sites",
    "hazards": "Hazard areas",
    "keep_out": "Keep-out areas",
    "power_lines": "Overhead lines",
    "structures": "Buildings and other structures with a ground plan",
    "structure_lines": "Fences, walls and other structures drawn as lines",
    "structure_points": "Tanks, poles and other structures drawn as points",
    "water": "Lakes and rivers",
    "water_lines": "Streams drawn as lines",
    "soft_ground": "Soft ground",
    "landing_zones": "Airports, heliports, helispots drawn as areas",
    "landing_zone_lines": "Runways drawn as lines",
    "landing_zone_points": "Airports, heliports, helispots drawn as points",
    "known_cells": "Cells that others have on the air",
    "license_area": "Where the license lets the radio send",
    "parcels": "Parcels by their numbers",
    "findings": "Findings, a row each: code, severity, file, sentence, remedy",
    "limits_not_stated": "Limits that the road data do not state, a row each: of a drive or a road",
    "rasters": "Rasters beside this package: file, what it holds, unit",
}


def write_geopackage(plan: Plan, path: Path) -> Path:
    """All layers of the plan in the plan's CRS; a layer without rows is left out.

    GeoPackage 1.2: newer ones make older GDAL (before 3.7) warn. Times in the file are that of the plan, so that the
    same plan makes the same bytes.

    Text from files is cleaned of control characters; unknown is NULL.
    """
    from pyogrio import set_gdal_config_options, write_dataframe

    path = Path(path)
    path.unlink(missing_ok=True)
    written = []
    set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": "OFF"})  # the whole file is synced once, when all files stand
    try:
        for name, frame in {**layers(plan), **tables(plan)}.items():
            if not len(frame):
                continue
            write_dataframe(
                frame,
                path,
                layer=name,
                driver="GPKG",
                append=path.exists(),
                dataset_options={} if path.exists() else {"VERSION": "1.2"},
                layer_options={"DESCRIPTION": TITLES[name]},
            )
            written.append(name)
    finally:
        set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": None})
    made = _made(plan)
    with sqlite3.connect(path) as base:
        base.execute("PRAGMA synchronous = OFF")
        base.execute("PRAGMA foreign_keys = ON")
        add_styles(base, [name for name in written if name in STYLES], made)
        add_descriptions(base, _given(plan))
        add_metadata(base, metadata_xml(plan, str(plan.software.get("created", ""))), made)
        base.execute("UPDATE gpkg_contents SET last_change = ?", (made,))
    base.execute("VACUUM")
    base.close()
    _count_no_changes(path)
    return path


def _count_no_changes(path: Path) -> None:
    """Set the counter of changes to 1: how often a library wrote is no content. Database file format of SQLite,
    sections 1.3.7 and 1.3.20: the counter, and the counter's value for which the size in the header holds."""
    with path.open("r+b") as file:
        for offset in (24, 92):
            file.seek(offset)
            file.write((1).to_bytes(4, "big"))


def _made(plan: Plan) -> str:
    """When the plan was made, as the standard writes it; the first of 1970 where it does not say."""
    try:
        when = datetime.fromisoformat(str(plan.software.get("created")))
    except ValueError:
        when = datetime(1970, 1, 1, tzinfo=UTC)
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")


def _given(plan: Plan) -> dict[str, dict[str, str]]:
    """Layer -> the user's own columns in it -> the file that brought them."""
    files = {record.role.replace(" ", "_"): record.file for record in plan.inputs}
    out = {"incident_area": _named(plan.scene.area, files.get("incident_area", "the mission"), AREA_COLUMNS)}
    for role, frame in plan.scene.overlays.items():
        for name in BY_KIND.get(role, (role,)):
            out[name] = _named(frame, files.get(role, "the mission"))
    out.pop("must_serve", None)  # a row a spot there: columns of its own
    return out


def _named(frame: GeoDataFrame, file: str, own: Collection[str] = ()) -> dict[str, str]:
    return dict.fromkeys(given_columns(frame, own).values(), clean(file))


def tables(plan: Plan) -> dict[str, DataFrame]:
    """Table name -> rows without a place: findings, and the rasters beside the package."""
    import pandas as pd

    found = {"findings": finding_rows, "limits_not_stated": limit_rows, "rasters": raster_rows}
    return {name: pd.DataFrame(rows(plan)) for name, rows in found.items()}


def layers(plan: Plan) -> dict[str, GeoDataFrame]:
    """Layer name -> rows, in drawing order from the bottom; all in the plan's CRS."""
    units = reader_units(plan.mission)
    scene = plan.scene
    made: dict[str, Any] = {
        "ruling": ruling_rows(plan),
        "service": service_rows(plan),
        **set_layers(plan),
        "incident_area": area_rows(plan),
        "roads": road_rows(plan),
        "road_hazards": road_hazard_rows(plan),
    }
    for role in GIVEN:
        frame = scene.overlays.get(role)
        made[role] = [] if frame is None else given_rows(frame)
    for role, names in BY_KIND.items():
        frame = scene.overlays.get(role)
        for name, dimension in zip(names, (2, 1, 0), strict=False):
            kept = [] if frame is None else frame[get_dimensions(frame.geometry.array) == dimension]
            made[name] = given_rows(kept) if len(kept) else []
    made["must_serve"] = _must_serve(plan)
    made["donor_links"] = _donor_links(plan)
    donors = scene.overlays.get("donor_sites")
    made["donor_sites"] = [] if donors is None else given_rows(donors)
    drives = drive_layers(plan)
    made["cut_segments"], made["alternatives"] = drives.pop("cut_segments"), drives.pop("alternatives")
    for name, kind in (("routes", "route"), ("last_legs", "leg")):
        made[name] = [_way(plan, ranked, kind) for ranked in plan.spots if ranked.evaluation.access is not None]
    made.update(drives)
    made["footprints"] = [
        {
            "rank": r.rank,
            "spot": clean(r.spot.name),
            "heading_true_deg": known(r.evaluation.ground.heading_deg),
            "geometry": footprint(plan, r.evaluation),
        }
        for r in plan.spots
        if math.isfinite(r.evaluation.ground.heading_deg)
    ]
    made["staging"] = [
        {
            "name": clean(s.name),
            "rig_available": s.rig_available,
            "geometry": Point(*(float(v) for v in scene.elevation.from_lonlat(s.longitude, s.latitude))),
        }
        for s in plan.mission.stagings
    ]
    made["rejected_spots"] = [
        {
            "name": clean(e.spot.name),
            "why_not": clean(" ".join(breach_words(breach, units.first) for breach in e.failed)),
            "geometry": Point(e.spot.x, e.spot.y),
        }
        for e in plan.rejected
    ]
    made["judged_spots"] = [
        {**{k: clean(v) if isinstance(v, str) else v for k, v in row.items()}, "geometry": Point(r.spot.x, r.spot.y)}
        for row, r in zip(judged_rows(plan), plan.judged, strict=True)
    ]
    made["spots"] = [_spot(plan, ranked) for ranked in plan.spots]
    return {name: _frame(rows, plan) for name, rows in made.items()}


def _frame(rows: list[dict[str, Any]], plan: Plan) -> GeoDataFrame:
    import geopandas as gpd

    if not rows:
        return gpd.GeoDataFrame(geometry=[], crs=plan.scene.elevation.crs)
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=plan.scene.elevation.crs)
    for column in frame.columns:
        if frame[column].dtype == object and frame[column].isna().all() and _FIGURE.search(column):
            frame[column] = frame[column].astype(float)  # else a column of figures without one becomes text
    return frame


_FIGURE = re.compile(
    r"_(m|km2|deg|min|db|dbm|pct|mhz|kmh|share|after|served|figure|limit)$|^(value|rig_figure|rank|ways_out)$"
)


def footprint(plan: Plan, evaluation: Evaluation) -> Polygon:
    """The trailer with its outriggers out, turned to its parking heading, in the plan's CRS."""
    trailer, spot = plan.mission.trailer, evaluation.spot
    half_width = trailer.width_m / 2 + trailer.outrigger_reach_m
    level = box(-half_width, -trailer.length_m / 2, half_width, trailer.length_m / 2)
    grid_heading = evaluation.ground.heading_deg - plan.scene.elevation.convergence_deg(spot.x, spot.y)
    return translate(rotate(level, -grid_heading, origin=(0, 0)), spot.x, spot.y)


def _spot(plan: Plan, ranked: RankedSpot) -> dict[str, Any]:
    units = reader_units(plan.mission)
    e, spot = ranked.evaluation, ranked.spot
    clear = e.look if e.aimed else None
    coverage, access, air, site = e.coverage, e.access, e.on_air, ranked.on_site
    return {
        "rank": ranked.rank,
        "name": clean(spot.name),
        "option": any(o.ranked.spot.key == spot.key for o in plan.options),
        "score_of_100": known(ranked.score, 2),
        "latitude": round(spot.latitude, 7),
        "longitude": round(spot.longitude, 7),
        "grid_reference": spot.grid_reference,
        "elevation_m": known(spot.elevation_m, 1),
        "slope_deg": known(e.ground.slope_deg, 2),
        "heading_true_deg": known(e.ground.heading_deg, 1),
        "satellite": clean(clear.satellite_name) if clear else None,
        "dish_azimuth_true_deg": known(clear.azimuth_deg, 2) if clear else None,
        "dish_azimuth_magnetic_deg": known(clear.azimuth_magnetic_deg, 2) if clear else None,
        "dish_elevation_deg": known(clear.elevation_deg, 2) if clear else None,
        "dish_skew_deg": known(clear.skew_deg, 2) if clear else None,
        "dish_skew_positive": SKEW_POSITIVE if clear else None,
        "sky_margin_deg": known(clear.margin_deg, 2) if clear else None,
        "backhaul": e.backhaul.kind if e.backhaul else None,
        "backhauls": clean(backhaul_sentence(e, units.first)),
        "coverage_share": known(coverage.share, 4) if coverage else None,
        "mast_height_m": coverage.mast_height_m if coverage else None,
        "sector_bearings_true_deg": ", ".join(f"{b:.1f}" for b in coverage.sector_bearings_deg) if coverage else None,
        "drive_distance_m": known(access.drive_distance_m, 0) if access else None,
        "drive_time_min": known(access.drive_time_s / 60, 1) if access else None,
        "worst_grade_pct": known(access.worst_grade_pct, 1) if access else None,
        "last_leg_m": known(access.last_leg_m, 1) if access else None,
        "ways_out": access.ways_out if access else None,
        "one_way_in": access.one_way_in if access else None,
        "on_air_early_min": known(air.early_min, 0) if air else None,
        "on_air_likely_min": known(air.likely_min, 0) if air else None,
        "on_air_mean_min": known(air.mean_min, 0) if air else None,
        "on_air_late_min": known(air.late_min, 0) if air else None,
        "wind_speed_up_worst": known(site.wind.worst.ground, 2) if site.wind and site.wind.worst else None,
        "radio_keep_away_public_m": keep_m_up(site.antennas, "sector"),
        "radio_keep_away_crew_m": keep_m_up(site.antennas, "sector", "workers"),
        "link_keep_away_public_m": keep_m_up(site.antennas, "link"),
        "dish_beam_keep_away_public_m": keep_m_up(site.antennas, "dish"),
        "overhead_line_m": None if e.line is None else there(e.line.distance_m),
        "overhead_line_needed_m": None if e.line is None else kept(e.line.needed_m),
        "mast_fall_m": kept(mast_fall_m(plan.mission)),
        "findings": len(e.findings),
        "geometry": Point(spot.x, spot.y),
    }


def _way(plan: Plan, ranked: RankedSpot, kind: str) -> dict[str, Any]:
    units = reader_units(plan.mission)
    access = ranked.evaluation.access
    assert access is not None  # the caller has looked
    row: dict[str, Any] = {"rank": ranked.rank, "spot": clean(ranked.spot.name)}
    if kind == "leg":
        return {**row, "length_m": known(access.last_leg_m, 1), "geometry": access.last_leg}
    return {
        **row,
        "staging": clean(start_of(plan.mission, access).name),
        "distance_m": known(access.drive_distance_m, 0),
        "drive_time_min": known(access.drive_time_s / 60, 1),
        "drive_time_low_min": known(access.drive_low_s / 60, 1),
        "drive_time_high_min": known(access.drive_high_s / 60, 1),
        "worst_grade_pct": known(access.worst_grade_pct, 1),
        "limits_not_stated": clean("; ".join(unknown_along_words(access.unknown, units.first))),
        "geometry": access.route.line,
    }


def _must_serve(plan: Plan) -> list[dict[str, Any]]:
    """One row a must-serve point and spot."""
    rows = []
    required = [p.required for p in plan.points]
    for ranked in plan.spots:
        coverage = ranked.evaluation.coverage
        for number, point in enumerate(coverage.must_serve if coverage else ()):
            x, y = plan.scene.elevation.from_lonlat(point.longitude, point.latitude)
            rows.append(
                {
                    "name": clean(point.name),
                    "rank": ranked.rank,
                    "spot": clean(ranked.spot.name),
                    "required": required[number] if number < len(required) else None,
                    "probability": known(point.probability, 4),
                    "margin_db": known(point.margin_db, 1),
                    "distance_m": known(point.distance_m, 0),
                    "bearing_true_deg": known(point.bearing_deg, 1),
                    "geometry": Point(float(x), float(y)),
                }
            )
    return rows


def _donor_links(plan: Plan) -> list[dict[str, Any]]:
    """One row a spot and judged donor site."""
    units = reader_units(plan.mission)
    rows = []
    for ranked in plan.spots:
        for path in (d for b in ranked.evaluation.backhauls for d in b.donors):
            x, y = plan.scene.elevation.from_lonlat(path.longitude, path.latitude)
            rows.append(
                {
                    "rank": ranked.rank,
                    "spot": clean(ranked.spot.name),
                    "donor": clean(path.name),
                    "verdict": path.verdict,
                    "reason": clean(donor_reason(path, units.first)),
                    "distance_m": known(path.distance_m, 0),
                    "bearing_true_deg": known(path.bearing_deg, 2),
                    "bearing_magnetic_deg": known(path.bearing_magnetic_deg, 2),
                    "elevation_deg": known(path.elevation_deg, 2),
                    "antenna_height_m": known(path.antenna_height_m, 1),
                    "donor_height_m": known(path.donor_height_m, 1),
                    "frequency_mhz": known(path.frequency_mhz, 1),
                    "clearance_fresnel_radii": known(path.clearance_share, 2),
                    "tightest_at_m": known(path.tightest_at_m, 0),
                    "loss_db": known(path.loss_db, 1),
                    "level_dbm": known(path.level_dbm, 1),
                    "margin_db": known(path.margin_db, 1),
                    "geometry": LineString([(ranked.spot.x, ranked.spot.y), (float(x), float(y))]),
                }
            )
    return rows
