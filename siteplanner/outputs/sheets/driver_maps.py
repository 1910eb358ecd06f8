"""Two drawings for the driver: the end of the drive large enough to follow, and the last leg with the stand."""

from __future__ import annotations

import math

import shapely
from shapely.ops import substring

from siteplanner.outputs.sheets.sheet_maps import (
    FONT,
    LETTER_MM,
    Box,
    View,
    corner_free,
    fit,
    furniture,
    map_of_drive,
    path,
    svg,
)
from siteplanner.outputs.sheets.site_marks import arrow, trailer_drawing
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Access, told_of
from siteplanner.planning.telling.driver import leg_labels
from siteplanner.planning.telling.units import reader_units

INSET_M = 2000.0  # of the drive's end
COME_IN_M = 60.0  # of the road before the stop, in the drawing of the last leg
Step = tuple[str, float, float]


def end_map(plan: Plan, ranked: RankedSpot, width: float, height: float) -> str:
    """The last 2 km of the drive with their steps."""
    access = _access(ranked)
    end = substring(access.route.line, max(0.0, access.route.line.length - INSET_M), access.route.line.length)
    told = told_of(access)
    steps = [(str(n), s.x, s.y) for n, s in enumerate(told.steps, 1)]
    bounds = shapely.union_all([end, access.last_leg, shapely.Point(ranked.spot.x, ranked.spot.y)]).bounds
    return map_of_drive(plan, ranked, fit(bounds, width, height), steps, size=1.9, apart_mm=4.0)


def last_leg_map(plan: Plan, ranked: RankedSpot, width: float, height: float) -> str:
    """The road's end, the last leg and the trailer as it stands, true north up, with the way in as an arrow."""
    access, e, spot = _access(ranked), ranked.evaluation, ranked.spot
    units = reader_units(plan.mission)
    line = access.route.line
    come_in = substring(line, max(0.0, line.length - COME_IN_M), line.length)
    shapes = [come_in, access.last_leg, shapely.Point(spot.x, spot.y).buffer(plan.mission.trailer.length_m * 1.5)]
    view = fit(shapely.union_all(shapes).bounds, width, height, least_span_m=40.0)
    turn = plan.scene.elevation.convergence_deg(spot.x, spot.y)
    body = '<rect width="100%" height="100%" fill="#fff"/>'
    roads = plan.scene.roads
    near = roads.lines_tree.query(shapely.box(*view.box))
    near = near[roads.tags.for_vehicles[near]]
    if len(near):
        lines = shapely.multilinestrings(roads.geometry.line[near].tolist())
        wide = max(1.2, 5.0 / view.metres_per_mm)
        body += path(lines, view, f'fill="none" stroke="#ccc" stroke-width="{wide:.2f}" stroke-linecap="round"')
    body += path(come_in, view, 'fill="none" stroke="#000" stroke-width="1.1"')
    body += path(access.last_leg, view, 'fill="none" stroke="#000" stroke-width="0.8" stroke-dasharray="1.4 0.9"')
    body += _head(come_in, view) + _head(access.last_leg, view)
    cx, cy = view.at(spot.x, spot.y)
    if math.isfinite(e.ground.heading_deg):
        nose = e.ground.heading_deg - turn  # drawn on the plan's grid
        body += trailer_drawing(cx, cy, nose, plan.mission.trailer, view.metres_per_mm)
        body += arrow(cx, cy, nose, 2.0, plan.mission.trailer.length_m / 2 / view.metres_per_mm + 5.0, 0.5)
    sx, sy = view.at(*line.coords[-1][:2])
    body += f'<circle cx="{sx:.2f}" cy="{sy:.2f}" r="1.1" fill="#fff" stroke="#000" stroke-width="0.5"/>'
    words = leg_labels(leg_bearing_deg(plan, ranked), e.ground.heading_deg, e, units)
    half = plan.mission.trailer.length_m / 2
    around = [(spot.x + half * a, spot.y + half * b) for a in (-1, 0, 1) for b in (-1, 0, 1)]
    marks = [view.at(x, y) for x, y in (*around, *_along(come_in, view), *_along(access.last_leg, view))]
    room = corner_free(view, _size(words), marks, first=2)  # the lower right, where nothing is drawn there
    return svg(view, body + furniture(view, -turn, units, marks, (room,)) + _words(words, room))


def leg_bearing_deg(plan: Plan, ranked: RankedSpot) -> float:
    """True bearing from the end of the road part to the spot."""
    spot, access = ranked.spot, _access(ranked)
    east, north = spot.x - access.route.access.x, spot.y - access.route.access.y
    return (math.degrees(math.atan2(east, north)) + plan.scene.elevation.convergence_deg(spot.x, spot.y)) % 360


def _access(ranked: RankedSpot) -> Access:
    access = ranked.evaluation.access
    assert access is not None  # no drive, no driver's sheet
    return access


def _head(line: shapely.LineString | shapely.Point, view: View) -> str:
    """An arrow's head in the middle of a line, the way it is driven."""
    if not isinstance(line, shapely.LineString) or line.length < 4 * view.metres_per_mm:
        return ""
    a, b = line.interpolate(0.45, normalized=True), line.interpolate(0.55, normalized=True)
    x, y = view.at(b.x, b.y)
    towards = math.degrees(math.atan2(b.x - a.x, b.y - a.y))
    return f'<g transform="translate({x:.2f} {y:.2f}) rotate({towards:.1f})"><path d="M0 -2.2L1.5 1.6H-1.5Z"/></g>'


def _along(line: shapely.LineString | shapely.Point, view: View) -> list[tuple[float, float]]:
    """Places on a line of the drawing, 3 mm apart."""
    if not isinstance(line, shapely.LineString) or line.is_empty:
        return []
    count = max(2, math.ceil(line.length / view.metres_per_mm / 3))
    points = [line.interpolate(n / count, normalized=True) for n in range(count + 1)]
    return [(p.x, p.y) for p in points]


def _size(lines: list[str]) -> tuple[float, float]:
    """Width and height that lines of words take, millimetres."""
    return 1.4 * max(len(line) for line in lines), 3.4 * len(lines) + 0.2


def _words(lines: list[str], room: Box) -> str:
    """Lines in the corner that is kept for them."""
    half = (room[2] - room[0]) / 2
    x, top = room[0] + half, room[1]
    rows = "".join(
        f'<text x="{x:.2f}" y="{top + 2.6 + 3.4 * n:.2f}" font-size="{LETTER_MM}" {FONT} text-anchor="middle">'
        f"{line}</text>"
        for n, line in enumerate(lines)
    )
    return (
        f'<rect x="{x - half:.2f}" y="{top:.2f}" width="{2 * half:.2f}" height="{3.4 * len(lines) + 0.2:.2f}" '
        f'fill="#fff" fill-opacity="0.85"/>{rows}'
    )
