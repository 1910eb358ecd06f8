"""Everything with a place in one GeoPackage (OGC 12-128r18), for GIS staff: layers, attributes, styles inside."""

from __future__ import annotations

import math
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from shapely import get_dimensions
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, Point, Polygon, box

from siteplanner.data.grid import Grid
from siteplanner.outputs.gis.drive_layers import drive_layers
from siteplanner.outputs.gis.styles import STYLES, add_styles
from siteplanner.outputs.pictures.layers import main_limit, probability_grid
from siteplanner.outputs.words.palettes import SERVICE_CLASSES
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Evaluation, start_of
from siteplanner.planning.telling.backhaul import backhaul_sentence, donor_reason
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.limits import breach_words
from siteplanner.planning.telling.roads import (
    hazard_words,
    names_together,
    reasons_words,
    unknown_along_words,
    unknown_words,
)
from siteplanner.roads.reasons import Reason, Unknown, closure_names

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

BY_KIND = {  # layers of several kinds of shape, one table a kind: polygons, lines, points
    "water": ("water", "water_lines"),
    "soft_ground": ("soft_ground",),
    "structures": ("structures", "structure_lines", "structure_points"),
}
TITLES: dict[str, str] = {
    "spots": "Ranked spots",
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
    "incident_area": "Incident area",
    "must_serve": "Must-serve points, service from each spot",
    "roads": "Roads: for the rig or why not",
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
}


def write_geopackage(plan: Plan, path: Path) -> Path:
    """All layers of the plan in the plan's CRS; a layer without rows is left out.

    GeoPackage 1.2: newer ones make older GDAL (before 3.7) warn.

    Text from files is cleaned of control characters; unknown is NULL.
    """
    from pyogrio import write_dataframe

    path = Path(path)
    path.unlink(missing_ok=True)
    written = []
    for name, frame in layers(plan).items():
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
    with sqlite3.connect(path) as base:
        add_styles(base, [name for name in written if name in STYLES])
    base.close()
    return path


def layers(plan: Plan) -> dict[str, GeoDataFrame]:
    """Layer name -> rows, in drawing order from the bottom; all in the plan's CRS."""
    scene = plan.scene
    made: dict[str, Any] = {
        "ruling": _ruling(plan),
        "service": _service(plan),
        "incident_area": _overlay(scene.area, ("name", "weight")),
        "roads": _roads(plan),
    }
    for role, columns in (
        ("hazards", ("name",)),
        ("closures", ("name",)),
        ("extra_tracks", ("name",)),
        ("keep_out", ("name",)),
        ("power_lines", ("name", "voltage_kv", "height_m")),
    ):
        frame = scene.overlays.get(role)
        made[role] = [] if frame is None else _overlay(frame, columns)
    for role, names in BY_KIND.items():
        frame = scene.overlays.get(role)
        for name, dimension in zip(names, (2, 1, 0), strict=False):
            kept = [] if frame is None else frame[get_dimensions(frame.geometry.array) == dimension]
            made[name] = _overlay(kept, ("name",)) if len(kept) else []
    made["must_serve"] = _must_serve(plan)
    made["donor_links"] = _donor_links(plan)
    donors = scene.overlays.get("donor_sites")
    made["donor_sites"] = [] if donors is None else _overlay(donors, ("name", "height_m", "frequency_mhz"))
    drives = drive_layers(plan)
    made["cut_segments"], made["alternatives"] = drives.pop("cut_segments"), drives.pop("alternatives")
    for name, kind in (("routes", "route"), ("last_legs", "leg")):
        made[name] = [_way(plan, ranked, kind) for ranked in plan.spots if ranked.evaluation.access is not None]
    made.update(drives)
    made["footprints"] = [
        {
            "rank": r.rank,
            "spot": clean(r.spot.name),
            "heading_true_deg": _known(r.evaluation.ground.heading_deg),
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
            "why_not": clean(" ".join(breach_words(breach) for breach in e.failed)),
            "geometry": Point(e.spot.x, e.spot.y),
        }
        for e in plan.rejected
    ]
    made["spots"] = [_spot(plan, ranked) for ranked in plan.spots]
    return {name: _frame(rows, plan) for name, rows in made.items()}


def _frame(rows: list[dict[str, Any]], plan: Plan) -> GeoDataFrame:
    import geopandas as gpd

    if not rows:
        return gpd.GeoDataFrame(geometry=[], crs=plan.scene.elevation.crs)
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=plan.scene.elevation.crs)


def _known(value: float | None, digits: int = 3) -> float | None:
    return round(float(value), digits) if value is not None and math.isfinite(value) else None


def footprint(plan: Plan, evaluation: Evaluation) -> Polygon:
    """The trailer with its outriggers out, turned to its parking heading, in the plan's CRS."""
    trailer, spot = plan.mission.trailer, evaluation.spot
    half_width = trailer.width_m / 2 + trailer.outrigger_reach_m
    level = box(-half_width, -trailer.length_m / 2, half_width, trailer.length_m / 2)
    grid_heading = evaluation.ground.heading_deg - plan.scene.elevation.convergence_deg(spot.x, spot.y)
    return translate(rotate(level, -grid_heading, origin=(0, 0)), spot.x, spot.y)


def _spot(plan: Plan, ranked: RankedSpot) -> dict[str, Any]:
    e, spot = ranked.evaluation, ranked.spot
    clear = next((look for look in e.sky if look.clear), None)
    coverage, access, air, site = e.coverage, e.access, e.on_air, ranked.on_site
    return {
        "rank": ranked.rank,
        "name": clean(spot.name),
        "score": _known(ranked.score, 2),
        "latitude": round(spot.latitude, 7),
        "longitude": round(spot.longitude, 7),
        "grid_reference": spot.grid_reference,
        "elevation_m": _known(spot.elevation_m, 1),
        "slope_deg": _known(e.ground.slope_deg, 2),
        "heading_true_deg": _known(e.ground.heading_deg, 1),
        "satellite": clean(clear.satellite_name) if clear else None,
        "dish_azimuth_true_deg": _known(clear.azimuth_deg, 2) if clear else None,
        "dish_azimuth_magnetic_deg": _known(clear.azimuth_magnetic_deg, 2) if clear else None,
        "dish_elevation_deg": _known(clear.elevation_deg, 2) if clear else None,
        "dish_skew_deg": _known(clear.skew_deg, 2) if clear else None,
        "sky_margin_deg": _known(clear.margin_deg, 2) if clear else None,
        "backhaul": e.backhaul.kind if e.backhaul else None,
        "backhauls": clean(backhaul_sentence(e)),
        "coverage_share": _known(coverage.share, 4) if coverage else None,
        "mast_height_m": coverage.mast_height_m if coverage else None,
        "sector_bearings_true_deg": ", ".join(f"{b:.1f}" for b in coverage.sector_bearings_deg) if coverage else None,
        "drive_distance_m": _known(access.drive_distance_m, 0) if access else None,
        "drive_time_min": _known(access.drive_time_s / 60, 1) if access else None,
        "worst_grade_pct": _known(access.worst_grade_pct, 1) if access else None,
        "last_leg_m": _known(access.last_leg_m, 1) if access else None,
        "ways_out": access.ways_out if access else None,
        "on_air_early_min": _known(air.early_min, 0) if air else None,
        "on_air_likely_min": _known(air.likely_min, 0) if air else None,
        "on_air_mean_min": _known(air.mean_min, 0) if air else None,
        "on_air_late_min": _known(air.late_min, 0) if air else None,
        "wind_speed_up_worst": _known(site.wind.worst.at_dish, 2) if site.wind and site.wind.worst else None,
        "radio_keep_away_public_m": _known(site.public_keep_away_m, 1),
        "findings": clean("; ".join(said(f).message for f in e.findings)),
        "geometry": Point(spot.x, spot.y),
    }


def _way(plan: Plan, ranked: RankedSpot, kind: str) -> dict[str, Any]:
    access = ranked.evaluation.access
    assert access is not None  # the caller has looked
    row: dict[str, Any] = {"rank": ranked.rank, "spot": clean(ranked.spot.name)}
    if kind == "leg":
        return {**row, "length_m": _known(access.last_leg_m, 1), "geometry": access.last_leg}
    return {
        **row,
        "staging": clean(start_of(plan.mission, access).name),
        "distance_m": _known(access.drive_distance_m, 0),
        "drive_time_min": _known(access.drive_time_s / 60, 1),
        "drive_time_low_min": _known(access.drive_low_s / 60, 1),
        "drive_time_high_min": _known(access.drive_high_s / 60, 1),
        "worst_grade_pct": _known(access.worst_grade_pct, 1),
        "limits_not_stated": clean("; ".join(unknown_along_words(access.unknown))),
        "geometry": access.route.line,
    }


def _overlay(frame: GeoDataFrame, columns: tuple[str, ...]) -> list[dict[str, Any]]:
    rows = []
    held = [c for c in columns if c in frame.columns]
    for record, geometry in zip(frame[held].to_dict("records"), frame.geometry, strict=True):
        row: dict[str, Any] = {}
        for column in held:
            value = record[column]
            if column == "name":
                row[column] = clean(value) if isinstance(value, str) else None
            else:
                try:
                    row[column] = _known(float(value))
                except (TypeError, ValueError):
                    row[column] = None
        rows.append({**row, "geometry": geometry})
    return rows


def _must_serve(plan: Plan) -> list[dict[str, Any]]:
    """One row a must-serve point and spot."""
    rows = []
    for ranked in plan.spots:
        coverage = ranked.evaluation.coverage
        for point in coverage.must_serve if coverage else ():
            x, y = plan.scene.elevation.from_lonlat(point.longitude, point.latitude)
            rows.append(
                {
                    "name": clean(point.name),
                    "rank": ranked.rank,
                    "spot": clean(ranked.spot.name),
                    "probability": _known(point.probability, 4),
                    "margin_db": _known(point.margin_db, 1),
                    "distance_m": _known(point.distance_m, 0),
                    "bearing_true_deg": _known(point.bearing_deg, 1),
                    "geometry": Point(float(x), float(y)),
                }
            )
    return rows


def _donor_links(plan: Plan) -> list[dict[str, Any]]:
    """One row a spot and judged donor site."""
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
                    "reason": clean(donor_reason(path)),
                    "distance_m": _known(path.distance_m, 0),
                    "bearing_true_deg": _known(path.bearing_deg, 2),
                    "bearing_magnetic_deg": _known(path.bearing_magnetic_deg, 2),
                    "elevation_deg": _known(path.elevation_deg, 2),
                    "antenna_height_m": _known(path.antenna_height_m, 1),
                    "donor_height_m": _known(path.donor_height_m, 1),
                    "frequency_mhz": _known(path.frequency_mhz, 1),
                    "clearance_fresnel_radii": _known(path.clearance_share, 2),
                    "tightest_at_m": _known(path.tightest_at_m, 0),
                    "loss_db": _known(path.loss_db, 1),
                    "level_dbm": _known(path.level_dbm, 1),
                    "margin_db": _known(path.margin_db, 1),
                    "geometry": LineString([(ranked.spot.x, ranked.spot.y), (float(x), float(y))]),
                }
            )
    return rows


def _reason(reasons: tuple[Reason, ...], unknown: tuple[Unknown, ...]) -> dict[str, Any]:
    """The first reason why a road is shut for the rig in figures; `why_not` says all `reasons`. `certain`: no figure
    lies closer to the rig's limit than it is known, whether the road is shut or open.
    """
    first = reasons[0] if reasons else None
    return {
        "reasons": len(reasons),
        "reason_kind": first.kind if first else None,
        "reason_figure": _known(first.figure, 2) if first and first.figure is not None else None,
        "reason_limit": first.limit if first else None,
        "reason_unit": first.unit or None if first else None,
        "reason_source": first.source if first else None,
        "certain": all(r.certain for r in reasons) and not any(u.near for u in unknown),
    }


def _roads(plan: Plan) -> list[dict[str, Any]]:
    roads = plan.scene.roads
    return [
        {
            "name": clean(roads.tags.name[i]),
            "highway": clean(roads.tags.highway[i]),
            "surface": clean(roads.tags.surface[i]),
            "for_rig": bool(roads.judged.drivable[i]),
            "closed_by": clean(names_together(closure_names(roads.judged.reasons[i]))) or None,
            "drawn_for_mission": bool(roads.tags.drawn[i]),
            "why_not": clean(reasons_words(roads.judged.reasons[i])),
            **_reason(roads.judged.reasons[i], roads.judged.unknown[i]),
            "limits_not_stated": clean(unknown_words(roads.judged.unknown[i])),
            "hazards": clean("; ".join(hazard_words(h) for h in roads.hazards[i])),
            "worst_grade_pct": _known(roads.grades.worst_pct[i], 1),
            "length_m": _known(roads.geometry.length_m[i], 1),
            "speed_kmh": _known(roads.mean_speed_kmh[i], 1),
            "geometry": roads.geometry.line[i],
        }
        for i in range(len(roads))
        if roads.tags.for_vehicles[i]
    ]


def _polygons(classes: Grid, wanted: dict[int, dict[str, Any]]) -> list[dict[str, Any]]:
    """One multi-polygon a class, along the cells' edges."""
    import shapely
    from rasterio.features import shapes

    parts: dict[int, list[Any]] = {value: [] for value in wanted}
    mask = np.isin(classes.values, list(wanted))
    for geometry, value in shapes(classes.values.astype(np.uint8), mask=mask, transform=classes.transform):
        parts[int(value)].append(geometry["coordinates"])
    out = []
    for value, found in parts.items():
        if not found:
            continue
        # thousands of polygons: built by arrays of rings, which is several times quicker than one by one
        rings = [ring for polygon in found for ring in polygon]
        owner = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
        closed: Any = shapely.linearrings(np.concatenate([np.asarray(ring) for ring in rings]), indices=owner)
        of_polygon = np.repeat(np.arange(len(found)), [len(polygon) for polygon in found])
        polygons: Any = shapely.polygons(closed, indices=of_polygon)
        out.append({**wanted[value], "geometry": shapely.multipolygons(polygons)})
    return out


def _ruling(plan: Plan) -> list[dict[str, Any]]:
    classes, rulings = main_limit(plan)
    wanted: dict[int, dict[str, Any]] = {
        1: {"code": "passes", "label": "Passes every limit", "share_of_search_ground": None}
    }
    for number, ruling in enumerate(rulings, 2):
        wanted[number] = {
            "code": clean(ruling.code),
            "label": clean(ruling.label),
            "share_of_search_ground": _known(ruling.share, 4),
        }
    return _polygons(classes, wanted)


def _service(plan: Plan) -> list[dict[str, Any]]:
    rows = []
    steps = [start for start, _, _ in SERVICE_CLASSES]
    for ranked in plan.spots:
        grid = probability_grid(ranked, plan)
        if grid is None:
            continue
        classes = np.digitize(np.nan_to_num(grid.values, nan=-1.0), steps).astype(np.uint8)
        wanted = {
            n: {"rank": ranked.rank, "spot": clean(ranked.spot.name), "probability_from": start, "label": label}
            for n, (start, _, label) in enumerate(SERVICE_CLASSES, 1)
        }
        rows += _polygons(grid.with_values(classes), wanted)
    return rows
