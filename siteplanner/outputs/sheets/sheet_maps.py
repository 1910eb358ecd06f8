"""Maps for the printed sheets as SVG: grey relief below, lines above, legible without colour.

Everything is vector but the relief and the hatching of ground without service. Labels are numbers and single
letters that the sheet's tables explain, so no name from a file gets in here.
"""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from siteplanner.outputs.pictures.layers import probability_grid
from siteplanner.outputs.pictures.relief import shade
from siteplanner.outputs.sheets.mark_room import apart, leader
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import start_of, told_of
from siteplanner.planning.telling.answer import rival
from siteplanner.planning.telling.units import Units, reader_units

FONT = 'font-family="DejaVu Sans"'
LETTER_MM = 2.65  # 7.5 pt: the least on the sheets of driver and crew
PICTURE_SIDE = 520  # pixels of the relief's longer side: about 150 a printed inch
LEAST_SPAN_M = 600.0
RIM_MM = 5.0
MAX_ROADS = 3000
SPOT_MM = 2.4
HALVES_MM = {"spot": SPOT_MM, "other": SPOT_MM, "second": 1.4 * SPOT_MM, "staging": 2.1, "point": 2.3}  # of a mark
MARK_MM = 3.4  # from the middle of a mark to its rim
Box = tuple[float, float, float, float]  # left, top, right, bottom


@dataclass(frozen=True)
class View:
    """A window on the plan's CRS, printed `width` by `height` millimetres."""

    west: float
    north: float
    metres_per_mm: float
    width: float
    height: float

    def at(self, x: float, y: float) -> tuple[float, float]:
        return (x - self.west) / self.metres_per_mm, (self.north - y) / self.metres_per_mm

    def place(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """The place in the plan's CRS that is drawn there."""
        return self.west + x_mm * self.metres_per_mm, self.north - y_mm * self.metres_per_mm

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east, north."""
        return (
            self.west,
            self.north - self.height * self.metres_per_mm,
            self.west + self.width * self.metres_per_mm,
            self.north,
        )


def fit(
    bounds: tuple[float, float, float, float], width: float, height: float, least_span_m: float = LEAST_SPAN_M
) -> View:
    """The view that shows bounds (west, south, east, north) with a margin."""
    west, south, east, north = bounds
    wide, high = width - 2 * RIM_MM, height - 2 * RIM_MM  # a mark on the rim is seen whole
    span = max((east - west) / wide, (north - south) / high, least_span_m / max(wide, high))
    return View((west + east) / 2 - span * width / 2, (south + north) / 2 + span * height / 2, span, width, height)


def relief_image(plan: Plan, view: View) -> str:
    """Pale grey shading as an image element; unknown ground is white."""
    grid = plan.scene.elevation
    scale = PICTURE_SIDE / max(view.width, view.height)
    cols, rows = round(view.width * scale), round(view.height * scale)
    cell = view.metres_per_mm / scale
    x = view.west + (np.arange(cols) + 0.5) * cell
    y = view.north - (np.arange(rows) + 0.5) * cell
    z = grid.sample(*np.meshgrid(x, y)).astype(np.float32)
    light = shade(z, np.full(rows, cell))
    level = math.sqrt(0.5)
    grey = np.clip(238 + 150 * (np.nan_to_num(light, nan=level) - level), 150, 255)
    return _image(np.where(np.isfinite(z), grey, 255).astype(np.uint8), view)


def _image(values: np.ndarray, view: View) -> str:
    import io

    from PIL import Image

    held = io.BytesIO()
    Image.fromarray(values).save(held, "PNG")
    data = base64.b64encode(held.getvalue()).decode()
    return (
        f'<image x="0" y="0" width="{view.width:g}" height="{view.height:g}" preserveAspectRatio="none" '
        f'href="data:image/png;base64,{data}"/>'
    )


def no_service_image(plan: Plan, ranked: RankedSpot, view: View) -> str:
    """Diagonal lines over the part of the incident area where service is less likely than not."""
    grid = probability_grid(ranked, plan)
    if grid is None:
        return ""
    scale = 2 * PICTURE_SIDE / max(view.width, view.height)
    cols, rows = round(view.width * scale), round(view.height * scale)
    cell = view.metres_per_mm / scale
    x, y = np.meshgrid(view.west + (np.arange(cols) + 0.5) * cell, view.north - (np.arange(rows) + 0.5) * cell)
    row, col = (np.floor(v + 0.5).astype(int) for v in grid.rowcol(x, y))
    inside = (row >= 0) & (row < grid.shape[0]) & (col >= 0) & (col < grid.shape[1])
    p = np.where(inside, grid.values[np.clip(row, 0, grid.shape[0] - 1), np.clip(col, 0, grid.shape[1] - 1)], np.nan)
    lines = (np.add.outer(np.arange(rows), np.arange(cols)) % 14) < 3
    out = np.zeros((rows, cols, 4), np.uint8)
    out[..., 3] = np.where((p < 0.5) & lines, 120, 0)
    return _image(out, view)


def path(geometry: Any, view: View, style: str) -> str:
    """Lines or rings of a shape as one path, clipped to the view."""
    west, south, east, north = view.box
    margin = 5 * view.metres_per_mm
    held = shapely.clip_by_rect(
        shapely.force_2d(geometry), west - margin, south - margin, east + margin, north + margin
    )
    held = shapely.simplify(held, 0.1 * view.metres_per_mm)
    pieces = []
    for part in shapely.get_parts(held):
        if part.is_empty or part.geom_type == "Point":
            continue
        rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
        for ring in rings:
            xy = [view.at(x, y) for x, y in shapely.get_coordinates(ring)]
            pieces.append(
                "M" + "L".join(f"{a:.2f} {b:.2f}" for a, b in xy) + ("Z" if part.geom_type == "Polygon" else "")
            )
    return f'<path d="{"".join(pieces)}" {style}/>' if pieces else ""


def _roads(plan: Plan, view: View) -> str:
    roads = plan.scene.roads
    near = roads.lines_tree.query(shapely.box(*view.box))
    near = near[roads.tags.for_vehicles[near]]
    near = near[np.argsort(-roads.geometry.length_m[near], kind="stable")][:MAX_ROADS]
    out = ""
    for drivable, style in (
        (True, 'fill="none" stroke="#555" stroke-width="0.35"'),
        (False, 'fill="none" stroke="#777" stroke-width="0.35" stroke-dasharray="0.9 0.7"'),
    ):
        lines = roads.geometry.line[near[roads.judged.drivable[near] == drivable]]
        if len(lines):
            out += path(shapely.multilinestrings(lines.tolist()), view, style)
    return out


def mark(view: View, x: float, y: float, label: str, kind: str, size: float = 2.1) -> str:
    """A labelled mark: `spot` black disc, `other` white disc, `second` white disc with a ring around it, `staging`
    black square, `point` white triangle, `step` small white square."""
    cx, cy = view.at(x, y)
    dark = kind in ("spot", "staging")
    fill, ink = ("#000", "#fff") if dark else ("#fff", "#000")
    edge = f'fill="{fill}" stroke="{"#fff" if dark else "#000"}" stroke-width="0.35"'
    if kind in ("spot", "other", "second"):
        shape = f'<circle cx="{cx:.2f}" cy="{cy:.2f}" r="{size}" {edge}/>'
        if kind == "second":
            shape = f'<circle cx="{cx:.2f}" cy="{cy:.2f}" r="{1.4 * size:.2f}" {edge}/>{shape}'
    elif kind == "point":
        s = size * 1.35
        foot = cy + s * 0.75
        shape = f'<path d="M{cx:.2f} {cy - s:.2f}L{cx + s:.2f} {foot:.2f}L{cx - s:.2f} {foot:.2f}Z" {edge}/>'
    else:
        shape = f'<rect x="{cx - size:.2f}" y="{cy - size:.2f}" width="{2 * size}" height="{2 * size}" {edge}/>'
    text = max(1.25 * size if len(label) < 2 else size, LETTER_MM)
    drop = 0.36 * text + (0.25 * size if kind == "point" else 0)
    return shape + (
        f'<text x="{cx:.2f}" y="{cy + drop:.2f}" font-size="{text:.2f}" {FONT} font-weight="bold" '
        f'text-anchor="middle" fill="{ink}">{label}</text>'
    )


Places = Sequence[tuple[float, float]]
CORNERS = ((0, 1), (1, 0), (1, 1), (0, 0))  # (right, lower): the scale's first choice, the arrow's
NORTH_MM = (9.2, 16.4)  # the room of the arrow with its letter
SCALE_HIGH_MM = 6.0


def furniture(view: View, north_deg: float, units: Units, marks: Places = (), taken: Sequence[Box] = ()) -> str:
    """Scale bar and north arrow, each in a corner of its own, of four the one that hides least of `marks` (millimetres
    of the drawing) and of `taken`. `north_deg`: where true north points, clockwise from up."""
    length, words = units.bar(0.3 * view.width * view.metres_per_mm)
    mm = length / view.metres_per_mm
    wide = max(mm, 0.6 * LETTER_MM * len(words)) + 4
    scale = corner_free(view, (wide, SCALE_HIGH_MM), marks, taken)
    arrow_at = corner_free(view, NORTH_MM, marks, (*taken, scale), first=1)
    left, bottom = scale[0] + (wide - mm) / 2, scale[3] - 1.5
    x, n = (arrow_at[0] + arrow_at[2]) / 2, arrow_at[1] + 5.0
    return (
        f'<rect x="{scale[0]:.2f}" y="{scale[1]:.2f}" width="{wide:.2f}" height="{SCALE_HIGH_MM:g}" '
        'fill="#fff" fill-opacity="0.85" class="scale"/>'
        f'<path d="M{left:.2f} {bottom - 1:.2f}V{bottom:.2f}H{left + mm:.2f}V{bottom - 1:.2f}" fill="none" '
        'stroke="#000" stroke-width="0.4"/>'
        f'<text x="{left + mm / 2:.2f}" y="{bottom - 1.2:.2f}" font-size="{LETTER_MM}" {FONT} '
        f'text-anchor="middle">{words}</text>'
        f'<g class="north" transform="translate({x:.2f} {n:.2f}) rotate({north_deg:.2f})">'
        '<circle r="4.6" fill="#fff" fill-opacity="0.85"/>'
        f'<path d="M0 -4L1.5 2.5L0 1.4L-1.5 2.5Z" fill="#000"/></g>'
        f'<text x="{x:.2f}" y="{n + 7.4:.2f}" font-size="{LETTER_MM}" {FONT} font-weight="bold" '
        'text-anchor="middle">N</text>'
    )


def corner_free(
    view: View, size: tuple[float, float], marks: Places = (), taken: Sequence[Box] = (), first: int = 0
) -> Box:
    """A box of this width and height in the corner where it hides the fewest marks; never over what is taken already,
    where there is another corner. `first`: the corner that is tried first."""
    (wide, high), rim = size, 1.5

    def box(corner: tuple[int, int]) -> Box:
        left = view.width - wide - rim if corner[0] else rim
        top = view.height - high - rim if corner[1] else rim
        return left, top, left + wide, top + high

    def hidden(at: Box) -> tuple[bool, int]:
        over = any(at[0] < t[2] and t[0] < at[2] and at[1] < t[3] and t[1] < at[3] for t in taken)
        inside = (at[0] - MARK_MM < x < at[2] + MARK_MM and at[1] - MARK_MM < y < at[3] + MARK_MM for x, y in marks)
        return over, sum(inside)

    return min((box(c) for c in (*CORNERS[first:], *CORNERS[:first])), key=hidden)


def svg(view: View, body: str) -> str:
    """A drawing in millimetres with a thin frame."""
    w, h = view.width, view.height
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:g}mm" height="{h:g}mm" viewBox="0 0 {w:g} {h:g}">'
        f'<defs><clipPath id="frame"><rect width="{w:g}" height="{h:g}"/></clipPath>'
        '<pattern id="danger" width="2" height="2" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="0.3" height="2" fill="#000"/></pattern>'
        '<pattern id="keepout" width="1.6" height="1.6" patternUnits="userSpaceOnUse">'
        '<circle cx="0.8" cy="0.8" r="0.25" fill="#000"/></pattern></defs>'
        f'<g clip-path="url(#frame)">{body}</g>'
        f'<rect x="0.1" y="0.1" width="{w - 0.2:g}" height="{h - 0.2:g}" fill="none" stroke="#000" '
        'stroke-width="0.3"/></svg>'
    )


def _overlays(plan: Plan, view: View) -> str:
    out = ""
    for role, style in (
        ("keep_out", 'fill="url(#keepout)" fill-rule="evenodd" stroke="#000" stroke-width="0.25"'),
        ("hazards", 'fill="url(#danger)" fill-rule="evenodd" stroke="#000" stroke-width="0.4"'),
        ("power_lines", 'fill="none" stroke="#000" stroke-width="0.3" stroke-dasharray="2.2 0.7 0.4 0.7"'),
    ):
        frame = plan.scene.overlays.get(role)
        for geometry in () if frame is None else frame.geometry:
            out += path(geometry, view, style)
    return out


def _drive(ranked: RankedSpot, view: View) -> str:
    access = ranked.evaluation.access
    if access is None:
        return ""
    line, leg = access.route.line, access.last_leg
    return (
        path(line, view, 'fill="none" stroke="#fff" stroke-width="1.7" stroke-linejoin="round"')
        + path(line, view, 'fill="none" stroke="#000" stroke-width="0.95" stroke-linejoin="round"')
        + path(leg, view, 'fill="none" stroke="#000" stroke-width="0.7" stroke-dasharray="0.9 0.6"')
    )


def _grid_north(plan: Plan, x: float, y: float) -> float:
    return -plan.scene.elevation.convergence_deg(x, y)


def _spot(view: View, ranked: RankedSpot, kind: str) -> str:
    """A spot's mark with its name in it: letters as they are; a longer name of the user's is a bare disc, which the
    sheet's key explains."""
    return mark(view, ranked.spot.x, ranked.spot.y, _name(ranked), kind, SPOT_MM)


def _name(ranked: RankedSpot) -> str:
    return ranked.spot.name if re.fullmatch(r"[A-Z0-9]{1,2}", ranked.spot.name) else ""


def commander_map(
    plan: Plan, chosen: RankedSpot | None, width: float, height: float, points: list[tuple[str, float, float]]
) -> str:
    """Area, service, the chosen spot and its rival, a second trailer's, drive, hazards.

    `points` are (label, longitude, latitude).
    """
    spots = [r for r in (chosen, None if chosen is None else rival(plan, chosen)) if r is not None]
    grid = plan.scene.elevation
    # of several staging points the ones that a rig leaves for these spots
    starts = list(dict.fromkeys(start_of(plan.mission, r.evaluation.access) for r in spots)) or [
        plan.mission.staging[0]
    ]
    stands = [tuple(float(v) for v in grid.from_lonlat(s.longitude, s.latitude)) for s in starts]
    sx, sy = stands[0]
    shapes = [shapely.box(*plan.scene.area.total_bounds), *(shapely.Point(*p) for p in stands)]
    second = None if plan.beside_first is None or chosen is not plan.best else plan.beside_first.trailers[1].ranked
    more = [] if second is None or second in spots else [second]
    shapes += [shapely.Point(r.spot.x, r.spot.y) for r in (*spots, *more)]
    places = [(float(x), float(y)) for x, y in (grid.from_lonlat(lon, lat) for _, lon, lat in points)]
    shapes += [shapely.Point(*p) for p in places]
    shapes += [r.evaluation.access.route.line for r in spots[:1] if r.evaluation.access]
    view = fit(shapely.total_bounds(np.array(shapes, object)).tolist(), width, height)
    body = relief_image(plan, view) + _roads(plan, view) + _overlays(plan, view)
    if spots:
        body += no_service_image(plan, spots[0], view)
    for geometry in plan.scene.area.geometry:
        body += path(geometry, view, 'fill="none" stroke="#000" stroke-width="0.8" stroke-dasharray="3 1"')
    if spots:
        body += _drive(spots[0], view)
    several = len(plan.mission.stagings) > 1
    # the most important first: what would lie on it moves aside
    wanted = [(_name(r), "spot", r.spot.x, r.spot.y) for r in spots[:1]]
    wanted += [
        (f"S{plan.mission.stagings.index(start) + 1}" if several else "S", "staging", x, y)
        for start, (x, y) in zip(starts, stands, strict=True)
    ]
    wanted += [(_name(r), "second" if r is second else "other", r.spot.x, r.spot.y) for r in spots[1:]]
    wanted += [(_name(r), "second", r.spot.x, r.spot.y) for r in more]
    wanted += [(label, "point", x, y) for (label, _, _), (x, y) in zip(points, places, strict=True)]
    own = [view.at(x, y) for _, _, x, y in wanted]
    halves = [HALVES_MM[kind] for _, kind, _, _ in wanted]
    drawn = apart([(*at, half) for at, half in zip(own, halves, strict=True)], view.width, view.height)
    body += furniture(view, _grid_north(plan, sx, sy), reader_units(plan.mission), drawn)
    body += "".join(leader(*pair) for pair in zip(own, drawn, strict=True))
    for (label, kind, _, _), at in reversed(list(zip(wanted, drawn, strict=True))):
        size = {"point": 1.7, "staging": 2.1}.get(kind, SPOT_MM)
        body += mark(view, *view.place(*at), label, kind, size)
    return svg(view, body)


def driver_map(
    plan: Plan, ranked: RankedSpot, width: float, height: float, steps: list[tuple[str, float, float]]
) -> str:
    """The whole drive with its steps; `steps` are (number, x, y)."""
    access = ranked.evaluation.access
    assert access is not None  # no drive, no driver's map
    view = fit(shapely.union_all([access.route.line, access.last_leg]).bounds, width, height)
    return map_of_drive(plan, ranked, view, steps)


def map_of_drive(
    plan: Plan,
    ranked: RankedSpot,
    view: View,
    steps: list[tuple[str, float, float]],
    size: float = 1.9,
    apart_mm: float = 4.2,
) -> str:
    """The drive in a window. A number that would lie on another moves aside, one that finds no room is left out;
    marks outside the window are too."""
    access = ranked.evaluation.access
    assert access is not None
    body = relief_image(plan, view) + _roads(plan, view) + _overlays(plan, view)
    told = told_of(access)
    if told.alternative.route is not None:
        dashes = 'fill="none" stroke="#000" stroke-width="0.6" stroke-dasharray="2 1"'
        body += path(told.alternative.route.line, view, dashes)
    body += _drive(ranked, view)
    x0, y0 = access.route.line.coords[0][:2]
    ends = [view.at(x0, y0), view.at(ranked.spot.x, ranked.spot.y)]
    seen = [(label, view.at(x, y)) for label, x, y in steps]
    seen = [(label, at) for label, at in seen if 0 <= at[0] <= view.width and 0 <= at[1] <= view.height]
    wanted = [(*at, HALVES_MM["spot"]) for at in ends] + [(*at, apart_mm / 2) for _, at in seen]
    drawn = apart(wanted, view.width, view.height)[len(ends) :]
    taken, leaders, over = list(ends), "", ""
    for (label, own), at in zip(seen, drawn, strict=True):
        if all(math.dist(at, other) >= apart_mm for other in taken):
            taken.append(at)
            leaders += leader(own, at)
            over += mark(view, *view.place(*at), label, "step", size)
    over = leaders + over
    turn = told.turning.place
    if turn is not None and all(math.dist(view.at(turn.x, turn.y), other) > 3 for other in taken):
        taken.append(view.at(turn.x, turn.y))
        over += mark(view, turn.x, turn.y, "T", "other", size)
    body += furniture(view, _grid_north(plan, x0, y0), reader_units(plan.mission), taken)
    body += over + mark(view, x0, y0, "S", "staging") + _spot(view, ranked, "spot")
    return svg(view, body)
