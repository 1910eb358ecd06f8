"""Drawings of the spot itself for the crew: the site, true north up, and the skyline."""

from __future__ import annotations

import importlib
import importlib.util
import math
from typing import Any

import shapely
from shapely.affinity import rotate

from siteplanner.outputs.sheets_map import FONT, View, furniture, path, svg
from siteplanner.planning.model import Plan, RankedSpot

SIDE_MM = 84.0
LEAST_HALF_M = 28.0


def horizon_figure(ranked: RankedSpot) -> str | None:
    """The horizon diagram as SVG where the plan's figures can draw it, else None."""
    if importlib.util.find_spec("siteplanner.outputs.figures") is None:
        return None
    figures = importlib.import_module("siteplanner.outputs.figures")
    drawn = figures.horizon_svg(ranked.evaluation)
    return None if drawn is None else str(drawn)


def site_svg(plan: Plan, ranked: RankedSpot, fall_m: float, radio_m: float | None) -> str:
    """Trailer, outriggers, heading, mast fall circle, dish and sectors, roads and lines; true north up."""
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
        if roads.for_vehicles[i]:
            line = true_up(roads.seg_geometry[i])
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
        body += _trailer(cx, cy, e.ground.heading_deg, trailer, view.metres_per_mm)
    reach = circle + 4
    clear = next((look for look in e.sky if look.clear), None)
    taken: list[float] = []
    if clear is not None:
        body += _arrow(cx, cy, clear.azimuth_deg, circle * 0.98, reach, "dish", double=True)
        taken.append(clear.azimuth_deg)
    for number, bearing in enumerate(e.coverage.sector_bearings_deg if e.coverage else (), 1):
        further = 4.5 if any(abs((bearing - t + 180) % 360 - 180) < 14 for t in taken) else 0.0
        body += _arrow(cx, cy, bearing, circle * 0.98, reach + further, f"sector {number}")
        taken.append(bearing)
    free = max(range(0, 360, 15), key=lambda b: min([abs((b - t + 180) % 360 - 180) for t in taken], default=180))
    body += label_at(
        cx + circle * math.sin(math.radians(free)),
        cy - circle * math.cos(math.radians(free)),
        f"mast fall {fall_m:.1f} m",
    )
    if radio_m is not None and math.isfinite(radio_m):
        body += label_at(SIDE_MM / 2 - 6, 3.4, f"in front of the antennas keep {radio_m:.1f} m")
    return svg(view, body + furniture(view, 0.0))


def label_at(x: float, y: float, words: str) -> str:
    half = 0.31 * 2.4 * len(words)
    return (
        f'<rect x="{x - half:.2f}" y="{y - 2.2:.2f}" width="{2 * half:.2f}" height="3" fill="#fff" '
        'fill-opacity="0.85"/>'
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="2.4" {FONT} text-anchor="middle">{words}</text>'
    )


def _arrow(
    cx: float, cy: float, bearing_deg: float, start: float, end: float, words: str, *, double: bool = False
) -> str:
    east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    x0, y0, x1, y1 = cx + start * 0.45 * east, cy - start * 0.45 * north, cx + end * east, cy - end * north
    width = 1.0 if double else 0.5
    label = f"{words} {round(bearing_deg) % 360:03d}° true"
    lx = min(max(x1 + 1.5 * east, 12), 2 * cx - 12)
    return (
        f'<path d="M{x0:.2f} {y0:.2f}L{x1:.2f} {y1:.2f}" stroke="#000" stroke-width="{width}"/>'
        f'<g transform="translate({x1:.2f} {y1:.2f}) rotate({bearing_deg:.2f})"><path d="M0 -2L1.3 1H-1.3Z"/></g>'
        + label_at(lx, y1 + (-2.6 if north > 0 else 4.6), label)
    )


def _trailer(cx: float, cy: float, heading_deg: float, trailer: Any, metres_per_mm: float) -> str:
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
