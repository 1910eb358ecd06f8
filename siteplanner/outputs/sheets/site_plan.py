"""The drawing of the spot itself for the crew, true north up."""

from __future__ import annotations

import math
from typing import Any

import shapely
from shapely.affinity import rotate

from siteplanner.outputs.sheets.sheet_maps import FONT, View, furniture, path, svg
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.aiming import true_label
from siteplanner.planning.telling.keep_clear import antenna_label, fall_label
from siteplanner.planning.telling.units import reader_units

SIDE_MM = 84.0
LEAST_HALF_M = 28.0


def site_svg(plan: Plan, ranked: RankedSpot, fall_m: float, radio_m: float | None) -> str:
    """Trailer, outriggers, heading, mast fall circle, dish and sectors, roads and lines; true north up."""
    units = reader_units(plan.mission)
    e, spot, trailer = ranked.evaluation, ranked.spot, plan.mission.trailer
    half = max(LEAST_HALF_M, 1.55 * fall_m)
    view = View(spot.x - half, spot.y + half, 2 * half / SIDE_MM, SIDE_MM, SIDE_MM)
    turn = plan.scene.elevation.convergence_deg(spot.x, spot.y)

    def true_up(geometry: Any) -> Any:
        return rotate(geometry, -turn, origin=(spot.x, spot.y))

    body = ""
    roads = plan.scene.roads
    near = roads.lines_tree.query(
        shapely.box(spot.x - 2 * half, spot.y - 2 * half, spot.x + 2 * half, spot.y + 2 * half)
    )
    for i in near:
        if roads.tags.for_vehicles[i]:
            line = true_up(roads.geometry.line[i])
            body += path(line, view, f'fill="none" stroke="#999" stroke-width="{5 / view.metres_per_mm:.2f}"')
            body += path(line, view, f'fill="none" stroke="#eee" stroke-width="{4.2 / view.metres_per_mm:.2f}"')
    for role, style in (
        ("water", 'fill="#ddd" stroke="#555" stroke-width="0.4"'),
        ("soft_ground", 'fill="none" stroke="#555" stroke-width="0.4" stroke-dasharray="0.4 0.8"'),
        ("structures", 'fill="#444" stroke="#000" stroke-width="0.5"'),
        ("keep_out", 'fill="url(#keepout)" stroke="#000" stroke-width="0.25"'),
        ("hazards", 'fill="url(#danger)" stroke="#000" stroke-width="0.4"'),
        ("power_lines", 'fill="none" stroke="#000" stroke-width="0.6" stroke-dasharray="3 1 0.6 1"'),
    ):
        frame = plan.scene.overlays.get(role)
        for geometry in () if frame is None else frame.geometry:
            body += path(true_up(geometry), view, style)
    if e.access is not None:
        body += path(
            true_up(e.access.last_leg), view, 'fill="none" stroke="#000" stroke-width="0.6" stroke-dasharray="1.4 1"'
        )
    cx = cy = SIDE_MM / 2
    circle = fall_m / view.metres_per_mm
    body += (
        f'<circle cx="{cx}" cy="{cy}" r="{circle:.2f}" fill="none" stroke="#000" stroke-width="0.4" '
        'stroke-dasharray="2 1.2"/>'
    )
    if math.isfinite(e.ground.heading_deg):
        body += trailer_drawing(cx, cy, e.ground.heading_deg, trailer, view.metres_per_mm)
    reach = circle + 4
    clear = e.look if e.aimed else None
    aims: list[tuple[float, str, float]] = []
    if clear is not None and e.dish_used:
        aims.append((clear.azimuth_deg, "dish", 1.0))
    if e.donor is not None:
        aims.append((e.donor.bearing_deg, "link", 1.0))
    aims += [(b, f"sector {n}", 0.5) for n, b in enumerate(e.coverage.sector_bearings_deg if e.coverage else (), 1)]
    # the scale bar and the north arrow have their places
    labels = Labels(SIDE_MM, [(0.0, SIDE_MM - 8.0, 24.0, SIDE_MM), (SIDE_MM - 11.0, 0.0, SIDE_MM, 17.0)])
    tips = []
    for bearing, words, width in aims:
        east, north = math.sin(math.radians(bearing)), math.cos(math.radians(bearing))
        x, y = cx + reach * east, cy - reach * north
        body += arrow(cx, cy, bearing, circle * 0.98, reach, width)
        labels.keep_free(x, y, 1.6)
        tips.append((x + 2.5 * east, y - 3.0 * north + 0.8, true_label(words, bearing, units.first)))
    for x, y, words in tips:
        body += labels.put(x, y, words)
    if math.isfinite(e.ground.heading_deg):
        east, north = (f(math.radians(e.ground.heading_deg)) for f in (math.sin, math.cos))
        nose = trailer.length_m / 2 / view.metres_per_mm + 5.0
        body += labels.put(
            cx + nose * east, cy - nose * north + 0.8, true_label("nose", e.ground.heading_deg, units.first)
        )
    taken = [bearing for bearing, _, _ in aims]
    free = max(range(0, 360, 15), key=lambda b: min([abs((b - t + 180) % 360 - 180) for t in taken], default=180))
    body += labels.put(
        cx + circle * math.sin(math.radians(free)),
        cy - circle * math.cos(math.radians(free)),
        fall_label(fall_m, units.first),
    )
    if radio_m is not None and math.isfinite(radio_m):
        body += labels.put(SIDE_MM / 2 - 6, 3.4, antenna_label(radio_m, units.first))
    return svg(view, body + furniture(view, 0.0, units))


class Labels:
    """Places words on a drawing so that none covers another or leaves the drawing."""

    def __init__(self, side: float, taken: list[tuple[float, float, float, float]]) -> None:
        self.side, self.taken = side, taken  # boxes: left, top, right, bottom, millimetres

    def keep_free(self, x: float, y: float, half: float) -> None:
        self.taken.append((x - half, y - half, x + half, y + half))

    def put(self, x: float, y: float, words: str) -> str:
        """The words centred at a place, or as near to it as there is room; up and down first, then sideways."""
        half = 0.31 * 2.4 * len(words)
        tries = [(dx, dy) for dx in (0, -6, 6, -14, 14) for dy in (0, 3.3, -3.3, 6.6, -6.6, 9.9, -9.9)]
        boxes = []
        for dx, dy in sorted(tries, key=lambda d: abs(d[0]) + abs(d[1])):
            px = min(max(x + dx, half + 0.6), self.side - half - 0.6)
            py = min(max(y + dy, 2.9), self.side - 1.2)
            boxes.append((px - half, py - 2.2, px + half, py + 0.8))
        box = min(boxes, key=self._covered)  # the first of those that cover least
        self.taken.append(box)
        left, top, right, bottom = box
        return (
            f'<rect x="{left:.2f}" y="{top:.2f}" width="{right - left:.2f}" height="{bottom - top:.2f}" fill="#fff" '
            f'fill-opacity="0.85"/><text x="{(left + right) / 2:.2f}" y="{bottom - 0.8:.2f}" font-size="2.4" {FONT} '
            f'text-anchor="middle">{words}</text>'
        )

    def _covered(self, box: tuple[float, float, float, float]) -> float:
        left, top, right, bottom = box
        return sum(
            max(min(right, r) - max(left, a), 0.0) * max(min(bottom, b) - max(top, t), 0.0) for a, t, r, b in self.taken
        )


def arrow(cx: float, cy: float, bearing_deg: float, start: float, end: float, width: float) -> str:
    east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    x0, y0, x1, y1 = cx + start * 0.45 * east, cy - start * 0.45 * north, cx + end * east, cy - end * north
    return (
        f'<path d="M{x0:.2f} {y0:.2f}L{x1:.2f} {y1:.2f}" stroke="#000" stroke-width="{width}"/>'
        f'<g transform="translate({x1:.2f} {y1:.2f}) rotate({bearing_deg:.2f})"><path d="M0 -2L1.3 1H-1.3Z"/></g>'
    )


def trailer_drawing(cx: float, cy: float, heading_deg: float, trailer: Any, metres_per_mm: float) -> str:
    """Body, tongue at the nose, outriggers at the corners with their names."""
    wide, long, arm = (v / metres_per_mm for v in (trailer.width_m, trailer.length_m, trailer.outrigger_reach_m))
    out = (
        f'<rect x="{-wide / 2:.2f}" y="{-long / 2:.2f}" width="{wide:.2f}" height="{long:.2f}" fill="#fff" '
        'stroke="#000" stroke-width="0.6"/>'
        f'<path d="M{-wide / 4:.2f} {-long / 2:.2f}L0 {-long / 2 - 1.5 / metres_per_mm:.2f}'
        f'L{wide / 4:.2f} {-long / 2:.2f}" fill="none" stroke="#000" stroke-width="0.5"/><circle r="0.9" fill="#000"/>'
    )
    for side, end in ((-1, -1), (1, -1), (-1, 1), (1, 1)):
        x, y = side * wide / 2, end * long / 2
        out += (
            f'<path d="M{x:.2f} {y:.2f}h{side * arm:.2f}" stroke="#000" stroke-width="0.7"/>'
            f'<rect x="{x + side * arm - 0.5:.2f}" y="{y - 0.5:.2f}" width="1" height="1"/>'
        )
    return f'<g transform="translate({cx} {cy}) rotate({heading_deg:.2f})">{out}</g>'
