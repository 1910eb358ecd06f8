"""Drive routes for navigation devices: GPX 1.1 with a route and a track for each listed spot.

Schema: Topografix, GPX 1.1 Schema Documentation (http://www.topografix.com/GPX/1/1/): element order `metadata`,
`wpt`, `rte`, `trk`; WGS 84 degrees; elevations in metres.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterable, Iterator

import numpy as np
import shapely

from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.drive_facts import Told
from siteplanner.planning.spots.evaluation import Access, told_of
from siteplanner.planning.telling.directions import alternative_words, step_words
from siteplanner.planning.telling.places import drive_figures, last_leg_length, spot_waypoint, way_point
from siteplanner.planning.telling.roads import ahead_words
from siteplanner.planning.telling.room import turning_words
from siteplanner.planning.telling.towing import FOLLOW
from siteplanner.planning.telling.units import Units, reader_units
from siteplanner.roads.routing import Route
from siteplanner.roads.steps import Step
from siteplanner.roads.via_points import via_points_m

NAMESPACE = "http://www.topografix.com/GPX/1/1"
SCHEMA = "http://www.topografix.com/GPX/1/1/gpx.xsd"
OTHER_WAY = 100
VIA = "via"  # the type of a route point at which there is nothing to do
TOLD_NEAR_M = 0.5  # a via point at a decision point would be the same point twice


def _point(tag: str, latitude: float, longitude: float, elevation_m: float | None, **children: str) -> ET.Element:
    """A waypoint-like element; `children` are given in the order of the schema (name, cmt, desc, sym, type)."""
    longitude = (longitude + 180) % 360 - 180  # the schema wants -180 <= longitude < 180
    point = ET.Element(tag, lat=f"{latitude:.7f}", lon=f"{longitude:.7f}")
    if elevation_m is not None and np.isfinite(elevation_m):
        ET.SubElement(point, "ele").text = f"{elevation_m:.1f}"
    return _with(point, **{name: text for name, text in children.items() if text})


def _with(element: ET.Element, **children: str) -> ET.Element:
    """The element with a child of text for each name, in the order given."""
    for name, text in children.items():
        ET.SubElement(element, name).text = clean(text)
    return element


def _waypoints(plan: Plan) -> Iterator[ET.Element]:
    """Staging point, spots, and what the drives pass that can hurt."""
    units = reader_units(plan.mission)
    grid = plan.scene.elevation
    for staging in plan.mission.stagings:
        x, y = grid.from_lonlat(staging.longitude, staging.latitude)
        desc = "Staging point" if staging.rig_available else "Staging point, no rig there"
        yield _point(
            "wpt",
            staging.latitude,
            staging.longitude,
            float(grid.sample(x, y)),
            name=staging.name,
            desc=desc,
            type="staging",
        )
    for ranked in plan.spots:
        spot = ranked.spot
        words = spot_waypoint(ranked, units.first)
        yield _point(
            "wpt", spot.latitude, spot.longitude, spot.elevation_m, name=f"Spot {spot.name}", desc=words, type="spot"
        )
    said = set()
    for ranked, told in _told(plan):
        for number, step in enumerate(told.steps, 1):
            key = (step.kind, step.name, round(step.x, 1), round(step.y, 1))
            if key not in said:
                said.add(key)
                name = f"{ranked.spot.name}{number}: {step_words(step, units.first)}"
                where = f"{grid_text(step.grid_reference)}. {step.degrees_minutes}"
                height = float(grid.sample(step.x, step.y))
                yield _point("wpt", step.latitude, step.longitude, height, name=name, desc=where, type="decision")
        for hazard in told.hazards:
            key = (hazard.kind, ahead_words(hazard, units.first), round(hazard.x, 1), round(hazard.y, 1))
            if key not in said:
                said.add(key)
                yield _point(
                    "wpt",
                    hazard.latitude,
                    hazard.longitude,
                    None,
                    name=f"Hazard: {hazard.kind}",
                    desc=ahead_words(hazard, units.first),
                    type="hazard",
                )
        turning = told.turning
        if turning.place is not None:
            yield _point(
                "wpt",
                turning.latitude,
                turning.longitude,
                None,
                name=f"Turning place before spot {ranked.spot.name}",
                desc=turning_words(turning, units.first),
                type="turning place",
            )
    frame = plan.scene.overlays.get("hazards")
    if frame is not None:
        names = frame["name"] if "name" in frame.columns else [""] * len(frame)
        for geometry, name in zip(frame.geometry, names, strict=True):
            if geometry is not None and not geometry.is_empty:
                middle = geometry.representative_point()
                lon, lat = grid.lonlat(middle.x, middle.y)
                yield _point(
                    "wpt",
                    float(lat),
                    float(lon),
                    None,
                    name=f"Hazard area: {name}" if name else "Hazard area",
                    desc="A point inside the hazard area of the mission.",
                    type="hazard",
                )


def _told(plan: Plan) -> list[tuple[RankedSpot, Told]]:
    """The spots that can be driven to, with what is told of the drive."""
    found = [(ranked, ranked.evaluation.access) for ranked in plan.spots]
    return [(ranked, told_of(access)) for ranked, access in found if access is not None]


def _route(
    ranked: RankedSpot, access: Access, plan: Plan, steps: tuple[Step, ...], drive: Route, route: ET.Element
) -> ET.Element:
    """The route, filled with decision points and the words of each turn, and between them with via points that hold a
    device to this way; the last point is the spot itself.
    """
    units = reader_units(plan.mission)
    spot, grid = ranked.spot, plan.scene.elevation
    points = [(step.running_m, 0, _decision(step, plan)) for step in steps]
    told = np.array([step.running_m for step in steps])
    for along in via_points_m(drive).tolist():
        if len(told) and np.abs(told - along).min() < TOLD_NEAR_M:
            continue
        here = drive.line.interpolate(along)
        lon, lat = (float(v) for v in grid.lonlat(here.x, here.y))
        points.append((along, 1, _point("rtept", lat, lon, float(grid.sample(here.x, here.y)), type=VIA)))
    route.extend(point for _, _, point in sorted(points, key=lambda item: item[:2]))
    route.append(
        _point(
            "rtept",
            spot.latitude,
            spot.longitude,
            spot.elevation_m,
            name=f"Spot {spot.name}",
            cmt=grid_text(spot.grid_reference),
            desc=f"Last leg {last_leg_length(access, units)}",
            type="spot",
        )
    )
    return route


def _decision(step: Step, plan: Plan) -> ET.Element:
    units = reader_units(plan.mission)
    return _point(
        "rtept",
        step.latitude,
        step.longitude,
        float(plan.scene.elevation.sample(step.x, step.y)),
        name=step_words(step, units.first),
        cmt=grid_text(step.grid_reference),
        desc=way_point(step, units),
        type=step.kind,
    )


def _other_way(ranked: RankedSpot, access: Access, plan: Plan, told: Told) -> ET.Element | None:
    """The alternative as a route of its own; None where there is none."""
    units = reader_units(plan.mission)
    if told.alternative.route is None:
        return None
    route = _with(
        ET.Element("rte"),
        name=f"Other way to spot {ranked.spot.name}",
        desc=f"{alternative_words(told.alternative, units.first)} {PLANNING_AID}",
        number=str(OTHER_WAY + ranked.rank),
    )
    return _route(ranked, access, plan, told.alternative_steps, told.alternative.route, route)


def _drive(tag: str, ranked: RankedSpot, access: Access, units: Units) -> ET.Element:
    """A route or track that says what it is."""
    words = f"{drive_figures(access, units)}. {FOLLOW} {PLANNING_AID}"
    return _with(ET.Element(tag), name=f"Drive to spot {ranked.spot.name}", desc=words, number=str(ranked.rank))


def _track(ranked: RankedSpot, access: Access, plan: Plan) -> ET.Element:
    """The drive along the road and the last leg over ground, as two segments of one track."""
    units = reader_units(plan.mission)
    route = access.route
    xy = shapely.get_coordinates(route.line)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    known = np.isfinite(route.profile_elevation_m)
    heights = np.full(len(xy), np.nan)
    if known.any():
        heights = np.interp(along, route.profile_distance_m[known], route.profile_elevation_m[known])
    track = _drive("trk", ranked, access, units)
    ET.SubElement(track, "trkseg").extend(_track_points(xy, heights, plan))
    leg_xy = shapely.get_coordinates(access.last_leg)
    if access.last_leg.length > 0:
        heights = plan.scene.elevation.sample(leg_xy[:, 0], leg_xy[:, 1])
        ET.SubElement(track, "trkseg").extend(_track_points(leg_xy, heights, plan))
    return track


def _track_points(xy: np.ndarray, heights_m: Iterable[float], plan: Plan) -> list[ET.Element]:
    lon, lat = plan.scene.elevation.lonlat(xy[:, 0], xy[:, 1])
    return [_point("trkpt", a, b, float(z)) for a, b, z in zip(lat, lon, heights_m, strict=True)]


def routes_gpx(plan: Plan) -> str:
    """The drives as GPX 1.1 text (UTF-8).

    Waypoints: staging point, listed spots, decision points, hazards on the drives, turning places and hazard areas.
    For each spot that can be driven to: a route of decision points with the words of the turns, with via points between
    them so that a device that works out its own way stays on it (`roads.via_points`), a second one where
    there is another way (its number is OTHER_WAY more), and a track with elevations in metres
    (smoothed road heights on the drive, ground heights on the last leg).
    """
    units = reader_units(plan.mission)
    gpx = ET.Element(
        "gpx",
        {
            "version": "1.1",
            "creator": "siteplanner",
            "xmlns": NAMESPACE,
            "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
            "xsi:schemaLocation": f"{NAMESPACE} {SCHEMA}",
        },
    )
    gpx.append(_with(ET.Element("metadata"), name=plan.mission.name, desc=PLANNING_AID))
    gpx.extend(_waypoints(plan))
    drives = [(ranked, access) for ranked in plan.spots if (access := ranked.evaluation.access) is not None]
    told = [told_of(access) for _, access in drives]
    for (ranked, access), words in zip(drives, told, strict=True):
        gpx.append(_route(ranked, access, plan, words.steps, access.route, _drive("rte", ranked, access, units)))
    others = (_other_way(ranked, access, plan, words) for (ranked, access), words in zip(drives, told, strict=True))
    gpx.extend(route for route in others if route is not None)
    gpx.extend(_track(ranked, access, plan) for ranked, access in drives)
    for element in gpx:
        element.tail = "\n"
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(gpx, encoding="unicode")}\n'
