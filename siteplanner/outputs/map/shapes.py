"""What the map draws from the plan as GeoJSON features: spots, drives, aim, areas, hazards, roads.

Every feature has an `id` that says what it is (`spot:1`, `road:17`), so that a click can be told apart. All
text in the properties has passed through `text.shown`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from siteplanner.data.grid import Grid
from siteplanner.mission import Mission
from siteplanner.outputs.map.panel import rejected_popup, spot_popup
from siteplanner.outputs.pictures.relief import Bounds
from siteplanner.outputs.words.text import clean, named, sentence, shown
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.sets import TrailerSet
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import told_of
from siteplanner.planning.spots.served import SERVED
from siteplanner.planning.telling.backhaul_rows import donor_height_words
from siteplanner.planning.telling.directions import alternative_words, step_words
from siteplanner.planning.telling.places import drive_tip, last_leg_tip, layer_figures, served_tip, spot_tip
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.sets import turn_words
from siteplanner.planning.telling.units import Units, reader_units

Feature = dict[str, Any]
TOLERANCE_M = 1.0  # lines are thinned by no more than this
STEPS_FROM, SPOTS_FROM, BEARINGS_FROM, WIFI_FROM, ROOM_FROM = 13, 14, 14, 15, 17  # zoom from which each is drawn
LONGEST = 26  # characters of a name on the map


def geojson(geometry: BaseGeometry, grid: Grid) -> dict[str, Any]:
    """A shape in the plan's CRS as GeoJSON: longitude and latitude to 1e-6 degrees (0.1 m)."""

    def degrees(xy: np.ndarray) -> np.ndarray:
        return np.column_stack(grid.lonlat(xy[:, 0], xy[:, 1]))

    flat = shapely.force_2d(geometry)
    if flat.geom_type not in {"Point", "MultiPoint"}:
        flat = shapely.simplify(flat, TOLERANCE_M)
    return _rounded(shapely.geometry.mapping(shapely.transform(flat, degrees)))


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    return [_rounded(item) for item in value] if isinstance(value, (tuple, list)) else value


def in_one_piece(features: list[Feature], grid: Grid) -> list[Feature]:
    """Features of a plan that lies on both sides of the 180th meridian, with longitudes that run on past 180."""
    if not grid.crosses_180:
        return features
    return [
        {**f, "geometry": {**f["geometry"], "coordinates": _eastward(f["geometry"]["coordinates"])}} for f in features
    ]


def _eastward(places: Any) -> Any:
    if isinstance(places[0], (list, tuple)):
        return [_eastward(place) for place in places]
    return [places[0] + 360 if places[0] < 0 else places[0], *places[1:]]


def eastward(longitudes: Iterable[float], grid: Grid) -> list[float]:
    """The same for plain longitudes."""
    return [lon + 360 if lon < 0 and grid.crosses_180 else lon for lon in longitudes]


def picture_bounds(bounds: Bounds, grid: Grid) -> Bounds:
    """Corners of a picture of a part of the grid's ground, likewise."""
    (south, west), (north, east) = bounds
    west, east = eastward([west, east], grid)
    return (south, west), (north, east)


def feature(identity: str, geometry: dict[str, Any], kind: str, **properties: str | int) -> Feature:
    """One GeoJSON feature; see `page.Shapes` for the properties."""
    return {"type": "Feature", "id": identity, "geometry": geometry, "properties": {"k": kind, **properties}}


def point(longitude: float, latitude: float) -> dict[str, Any]:
    """GeoJSON of a place."""
    return {"type": "Point", "coordinates": [round(longitude, 6), round(latitude, 6)]}


def spot_mark(ranked: RankedSpot, style: str = "", near: int = 0) -> tuple[str, str]:
    """(mark, tooltip) of a spot as HTML. A spot has one name everywhere; its rank is said in words. `near`: the zoom
    from which on the mark is drawn."""
    words = sentence(spot_tip(ranked), [ranked.spot.name])
    return f'<span class="sp-mark{style}"{from_zoom(near)}>{named(ranked.spot.name)}</span>', words


def from_zoom(zoom: int) -> str:
    """What tells the page that a mark or a label is drawn from a zoom on; '' for always."""
    return f' data-from="{zoom}"' if zoom else ""


def places_of(one: TrailerSet | None) -> dict[tuple[float, float], str]:
    """The places of a set beside its first: key of the spot -> which trailer stands there. They have a ring."""
    return {} if one is None else {t.ranked.spot.key: turn_words(one, k) for k, t in enumerate(one.trailers) if k}


def stands_out(plan: Plan, ringed: Collection[tuple[float, float]]) -> set[tuple[float, float]]:
    """The spots that the map shows from every zoom: options, further trailers, the user's own; all without options."""
    options = {o.ranked.spot.key for o in plan.options}
    held = [r.spot for r in plan.spots if not options or r.rank == 1 or r.spot.origin == "user"]
    return options | set(ringed) | {spot.key for spot in held}


def spot_marks(plan: Plan) -> list[Feature]:
    """The spots handed over as marks with their names, and the user's spots that were ruled out. Options and the place
    of a second trailer, which has a ring, are drawn from every zoom, the others from near by."""
    units, ringed = reader_units(plan.mission), places_of(plan.beside_first)
    seen, listed = stands_out(plan, ringed), {r.spot.key for r in plan.spots}
    out = []
    for ranked in plan.spots:
        key = ranked.spot.key
        style = (" sp-best" if ranked.rank == 1 else "") + (" sp-pair" if key in ringed else "")
        mark, words = spot_mark(ranked, style if key in seen else " sp-minor", 0 if key in seen else SPOTS_FROM)
        words += f"; {shown(ringed[key])}" if key in ringed else ""
        out.append(
            feature(
                f"spot:{ranked.rank}",
                point(ranked.spot.longitude, ranked.spot.latitude),
                "spot",
                i=mark,
                t=words,
                p=spot_popup(ranked, units, plan.mission),
            )
        )
    out += trailer_marks(plan.beside_first, listed)
    for number, evaluation in enumerate(plan.rejected, 1):
        spot = evaluation.spot
        out.append(
            feature(
                f"rejected:{number}",
                point(spot.longitude, spot.latitude),
                "spot",
                i=f'<span class="sp-mark sp-out"{from_zoom(SPOTS_FROM)}>{shown("×")}</span>',
                t=f"Spot {named(spot.name)}: ruled out",
                p=rejected_popup(evaluation, units),
            )
        )
    return out


def trailer_marks(one: TrailerSet | None, listed: Collection[tuple[float, float]]) -> list[Feature]:
    """Marks of a set's further trailers that stand at no spot handed over: a unit of its own has spots of its own."""
    out = []
    for k, t in enumerate(() if one is None else one.trailers):
        spot = t.ranked.spot
        if one is None or k == 0 or spot.key in listed:
            continue
        mark = f'<span class="sp-mark sp-pair">{named(spot.name)}</span>'
        words = f"{named(spot.name)}; {shown(turn_words(one, k))}"
        out.append(feature(f"trailer:{k}", point(spot.longitude, spot.latitude), "spot", i=mark, t=words))
    return out


def drive_shapes(ranked: RankedSpot, plan: Plan) -> list[Feature]:
    """The drive and the last leg of one spot."""
    units = reader_units(plan.mission)
    access, grid = ranked.evaluation.access, plan.scene.elevation
    if access is None:
        return []
    names = [ranked.spot.name]
    drive = sentence(drive_tip(ranked, access, units), names)
    out = [
        feature(f"drive_edge:{ranked.rank}", geojson(access.route.line, grid), "route_edge"),
        feature(f"drive:{ranked.rank}", geojson(access.route.line, grid), "route", t=drive),
    ]
    if access.last_leg.length > 0:
        leg = geojson(access.last_leg, grid)
        label = sentence(last_leg_tip(ranked, access, units), names)
        out += [
            feature(f"leg_edge:{ranked.rank}", leg, "route_edge"),
            feature(f"leg:{ranked.rank}", leg, "leg", t=label),
        ]
    told = told_of(access)
    if told.alternative.route is not None:
        line, tip = geojson(told.alternative.route.line, grid), f"Other way to spot {named(ranked.spot.name)}: "
        out.insert(
            0,
            feature(
                f"other:{ranked.rank}",
                line,
                "other_way",
                t=tip + named(alternative_words(told.alternative, units.first)),
            ),
        )
    turning = told.turning
    if turning.place is not None:
        out.append(
            feature(
                f"turning:{ranked.rank}",
                point(turning.longitude, turning.latitude),
                "label",
                i=f'<span class="sp-label"{from_zoom(BEARINGS_FROM)}>turning place</span>',
                t=f"Turning place. {named(turning_words(turning, units.first))}",
            )
        )
    return out


def decision_shapes(ranked: RankedSpot, plan: Plan) -> list[Feature]:
    """The decision points of one spot's drive, with the numbers and words of the driver's sheet."""
    units = reader_units(plan.mission)
    access = ranked.evaluation.access
    if access is None:
        return []
    return [
        feature(
            f"step:{ranked.rank}:{number}",
            point(step.longitude, step.latitude),
            "step",
            i=f'<span class="sp-step"{from_zoom(STEPS_FROM)}>{number}</span>',
            t=f"{number}. {named(step_words(step, units.first))}",
            z=-2000,
        )
        for number, step in enumerate(told_of(access).steps, 1)
    ]


def donor_marks(plan: Plan) -> list[Feature]:
    """The donor sites of the layer, with the height that it states."""
    frame, grid, units = plan.scene.overlays.get("donor_sites"), plan.scene.elevation, reader_units(plan.mission).first
    if frame is None:
        return []
    out = []
    for number, (geometry, row) in enumerate(
        zip(frame.geometry, frame.drop(columns=frame.geometry.name).to_dict("records"), strict=True), 1
    ):
        if geometry is None or geometry.is_empty:
            continue
        words = f"Donor site {named(row['name'])}" if _told(row.get("name")) else f"Donor site {number}"
        stated = row.get("height_m")
        height = shown(donor_height_words(stated, units)) if _told(stated) else "height not stated"
        out.append(
            feature(
                f"donor:{number}",
                geojson(geometry.representative_point(), grid),
                "donor",
                i=f'<span class="sp-donor">{shown("▲")}</span>',
                t=f"{words}, antenna {height}",
            )
        )
    return out


def table_shapes(frame: Any, grid: Grid, kind: str, words: str, units: Units) -> list[Feature]:
    """Rows of a layer, named by their column `name` where there is one; other known columns in the tooltip."""
    if frame is None or not len(frame):
        return []
    out = []
    plain = frame.drop(columns=frame.geometry.name)
    for number, (geometry, row) in enumerate(zip(frame.geometry, plain.to_dict("records"), strict=True), 1):
        if geometry is None or geometry.is_empty:
            continue
        parts = [words]
        parts += [named(row[c]) for c in ("name", "parcel") if _told(row.get(c))]
        parts += [shown(figure) for figure in layer_figures(row, units)]
        out.append(feature(f"{kind}:{number}", geojson(geometry, grid), kind, t=", ".join(parts)))
    return out


OVERLAYS: dict[str, tuple[str, str, str, int]] = {  # role -> (kind, one of them, name of the layer, order)
    "water": ("water", "Water", "Water", 7),
    "soft_ground": ("soft_ground", "Soft ground", "Soft ground", 8),
    "hazards": ("hazard", "Hazard area", "Hazard areas", 10),
    "keep_out": ("keep_out", "Keep-out area", "Keep-out areas", 11),
    "structures": ("structure", "Structure", "Structures", 12),
    "power_lines": ("power_line", "Overhead line", "Overhead lines", 31),
    "license_area": ("other", "License area", "License area", 5),
    "parcels": ("other", "Parcel", "Parcels", 6),
    "landing_zones": ("other", "Landing zone", "Landing zones", 32),
    "known_cells": ("other", "Known cell", "Known cells", 33),
}

DRAWN_ELSEWHERE = {"must_serve", "closures", "extra_tracks", "donor_sites"}  # marks, and roads with their closures


def overlay_shapes(plan: Plan) -> list[tuple[str, list[Feature], int]]:
    """(name of the layer, features, order) of every layer that the plan holds beside area, roads and must-serve
    points; a role without a look of its own is drawn as such under its own name."""
    grid, out = plan.scene.elevation, []
    for role, frame in plan.scene.overlays.items():
        if role in DRAWN_ELSEWHERE:
            continue
        plain = role.replace("_", " ").capitalize()
        kind, one, name, order = OVERLAYS.get(role, ("other", plain, plain, 15))
        features = table_shapes(frame, grid, kind, one, reader_units(plan.mission).first)
        if features:
            out.append((name, features, order))
    return sorted(out, key=lambda layer: layer[2])


def _told(value: Any) -> bool:
    return value is not None and value == value and str(value) != ""


def must_serve_marks(plan: Plan, chosen: RankedSpot | None = None) -> list[Feature]:
    """The must-serve points, with what the best spot gives each, or the spot `chosen`."""
    units = reader_units(plan.mission)
    frame, grid = plan.scene.overlays.get("must_serve"), plan.scene.elevation
    if frame is None:
        return []
    spot = chosen or plan.best
    whose = "the best spot" if chosen is None else f"spot {chosen.spot.name}"
    coverage = spot.evaluation.coverage if spot else None
    served = {p.name: p for p in coverage.must_serve} if coverage else {}
    out = []
    names = frame["name"] if "name" in frame.columns else [f"point {n + 1}" for n in range(len(frame))]
    needed = {p.name: p.needed for p in plan.points if p.required}
    for number, (geometry, name) in enumerate(zip(frame.geometry, names, strict=True), 1):
        if geometry is None or geometry.is_empty:
            continue
        found = served.get(str(name))
        missed = found is not None and not found.probability >= needed.get(str(name), SERVED)
        told = served_tip(str(name), None if found is None else found.probability, whose, units.first)
        words = sentence(told, [str(name), *([] if chosen is None else [chosen.spot.name])])
        out.append(
            feature(
                f"must_serve:{number}",
                geojson(geometry.centroid, grid),
                "must_serve",
                i=f'<span class="sp-must{" sp-missed" if missed else ""}"></span>',
                t=words,
            )
        )
        at = geojson(geometry.centroid, grid)
        out.append(
            feature(f"must_label:{number}", at, "label", i=f'<span class="sp-label">{named(short(name))}</span>')
        )
    return out


def short(name: object) -> str:
    """A name as far as a label on the map takes it."""
    text = clean(name)
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "\u2026"


def staging_mark(mission: Mission) -> list[Feature]:
    """Where the tow starts; several are S1, S2 and so on."""
    places = mission.stagings
    return [
        feature(
            f"staging:{n}",
            point(staging.longitude, staging.latitude),
            "staging",
            i=f'<span class="sp-staging">S{n if len(places) > 1 else ""}</span>',
            t=f"Staging point {named(staging.name)}" + ("" if staging.rig_available else ", no rig there"),
        )
        for n, staging in enumerate(places, 1)
    ]
