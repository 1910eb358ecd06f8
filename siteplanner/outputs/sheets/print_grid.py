"""The printed map's frame on the ground: its scale, and UTM grid lines with their figures at the edges.

Lines and figures follow the practice of topographic maps with the US National Grid (FGDC-STD-011-2001): kilometres
by two large figures, those above them small. Metres of UTM on WGS 84, zone of the map's middle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from siteplanner.data.grid_reference import grid_reference
from siteplanner.outputs.sheets.sheet_maps import FONT, View, path
from siteplanner.planning.plan.model import Plan

SCALES = (2_500, 5_000, 10_000, 15_000, 20_000, 24_000, 25_000, 50_000, 75_000, 100_000, 125_000, 150_000, 200_000,
          250_000, 500_000, 1_000_000, 2_000_000)  # fmt: skip
STEPS_M = (100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000)
LEAST_APART_MM = 18.0  # of grid lines: figures find room, and a place is read to a tenth by eye
EDGE_MM = 9.0  # around the map, for the figures
BLACK = 'fill="none" stroke="#000"'


def scaled(bounds: tuple[float, float, float, float], width: float, height: float) -> tuple[View, int]:
    """The window of the largest usual scale that shows bounds (west, south, east, north), and its denominator."""
    west, south, east, north = bounds
    needed = 1000 * 1.06 * max((east - west) / width, (north - south) / height)
    denominator = next((s for s in SCALES if s >= needed), math.ceil(needed / 1e6) * 1_000_000)
    per_mm = denominator / 1000
    return (
        View((west + east) / 2 - per_mm * width / 2, (south + north) / 2 + per_mm * height / 2, per_mm, width, height),
        denominator,
    )


@dataclass(frozen=True, eq=False)
class MapGrid:
    """Grid lines in the plan's CRS. `square`: the 100,000 m square of the middle, '' beyond the grid."""

    zone: int
    north: bool
    square: str
    step_m: float
    eastings: tuple[tuple[float, Any], ...]  # metres of UTM, line
    northings: tuple[tuple[float, Any], ...]


def map_grid(plan: Plan, view: View) -> MapGrid:
    """UTM lines that cross the window, in any CRS of the plan's."""
    from pyproj import CRS, Transformer

    grid = plan.scene.elevation
    west, south, east, north = view.box
    lon, lat = (float(v) for v in grid.lonlat((west + east) / 2, (south + north) / 2))
    zone = _zone(lat, lon)
    utm = CRS.from_epsg((32600 if lat >= 0 else 32700) + zone)
    there = Transformer.from_crs(grid.crs, utm, always_xy=True)
    edge = shapely.get_coordinates(shapely.segmentize(shapely.box(*view.box).exterior, (east - west) / 40))
    x, y = there.transform(edge[:, 0], edge[:, 1])
    step = next((s for s in STEPS_M if s / view.metres_per_mm >= LEAST_APART_MM), STEPS_M[-1])

    def lines(low: float, high: float, across: tuple[float, float], upright: bool) -> tuple[tuple[float, Any], ...]:
        out = []
        run = np.linspace(*across, 41)
        for value in np.arange(math.ceil(low / step), math.floor(high / step) + 1) * float(step):
            held = np.full(len(run), value)
            eastings, northings = (held, run) if upright else (run, held)
            a, b = there.transform(eastings, northings, direction="INVERSE")
            out.append((float(value), shapely.LineString(np.column_stack([a, b]))))
        return tuple(out)

    spans = (float(x.min()), float(x.max())), (float(y.min()), float(y.max()))
    reference = grid_reference(lat, lon) if -80 <= lat <= 84 else ""
    square = f"{reference[:-12]} {reference[-12:-10]}" if len(reference) > 12 else ""
    return MapGrid(
        zone, lat >= 0, square, step, lines(*spans[0], spans[1], True), lines(*spans[1], spans[0], False)
    )  # fmt: skip


def _zone(latitude: float, longitude: float) -> int:
    """UTM zone, with Norway's and Svalbard's exceptions (DMA TM 8358.2, from memory)."""
    if 56 <= latitude < 64 and 3 <= longitude < 12:
        return 32
    if 72 <= latitude < 84 and 0 <= longitude < 42:
        return 31 + 2 * int((longitude + 3) // 12)
    return int((longitude + 180) // 6) % 60 + 1


def grid_lines(found: MapGrid, view: View) -> str:
    """The lines within the window."""
    shapes = [line for _, line in (*found.eastings, *found.northings)]
    return "".join(
        path(line, view, 'fill="none" stroke="#1F5F8B" stroke-width="0.18" opacity="0.8"') for line in shapes
    )


def edge_figures(found: MapGrid, view: View) -> str:
    """Ticks and figures outside the window, in its millimetres: eastings below and above, northings left and right."""
    west, south, east, north = view.box
    out = []
    for values, upright in ((found.eastings, True), (found.northings, False)):
        for value, line in values:
            for low in (True, False):
                at = (south if low else north) if upright else (west if low else east)
                edge = shapely.LineString([(west, at), (east, at)] if upright else [(at, south), (at, north)])
                crossing = shapely.intersection(line, edge)
                if crossing.is_empty or crossing.geom_type != "Point":
                    continue
                cx, cy = view.at(crossing.x, crossing.y)
                out.append(_figure(cx, cy, value, found.step_m, upright, low))
    return "".join(out)


def _figure(x: float, y: float, value: float, step_m: float, upright: bool, low: bool) -> str:
    out = 1.2 if low == upright else -1.2
    tick = f"M{x:.2f} {y:.2f}{'v' if upright else 'h'}{out:.2f}"
    tx, ty = (x, y + (4.0 if low else -1.8)) if upright else (x + (-1.8 if low else 1.8), y + 0.9)
    anchor = "middle" if upright else "end" if low else "start"
    small, large, rest = figures(value, step_m)
    return (
        f'<path d="{tick}" {BLACK} stroke-width="0.25"/>'
        f'<text x="{tx:.2f}" y="{ty:.2f}" font-size="2.6" {FONT} text-anchor="{anchor}">'
        f'<tspan font-size="1.7">{small}</tspan><tspan font-weight="bold">{large}</tspan>'
        f'<tspan font-size="1.7">{rest}</tspan></text>'
    )


def figures(value_m: float, step_m: float) -> tuple[str, str, str]:
    """`338500` as small, large and small figures: hundreds of kilometres, kilometres, metres where lines stand closer
    than one."""
    kilometres, metres = divmod(round(value_m), 1000)
    return str(kilometres // 100), f"{kilometres % 100:02d}", f"{metres:03d}" if step_m < 1000 else ""
