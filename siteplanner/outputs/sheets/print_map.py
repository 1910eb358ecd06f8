"""The map to print, in colour and at a true scale with a grid: as a page, and the same picture with its place on Earth.

`print_map.pdf` is one page in the mission's paper; `print_map.tif` holds the map's picture alone as a cloud-optimised
GeoTIFF, for a GIS and for the map programs of phones. Both are drawn from the same SVG.
"""

from __future__ import annotations

import io
import json
import math
import re
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from siteplanner.data.grid_reference import grid_text
from siteplanner.outputs.pictures.layers import probability_grid
from siteplanner.outputs.pictures.relief import rasterio_crs, relief_rgba
from siteplanner.outputs.sheets.fonts import FONT_FOLDER, Printer, extra_fonts, held
from siteplanner.outputs.sheets.mark_room import apart, leader
from siteplanner.outputs.sheets.print_grid import EDGE_MM, MapGrid, edge_figures, grid_lines, map_grid, scaled
from siteplanner.outputs.sheets.printing import FOLDER, families, made_at, made_words
from siteplanner.outputs.sheets.sheet_maps import HALVES_MM, View, furniture, mark, path, svg
from siteplanner.outputs.sheets.sheet_words import point_letter
from siteplanner.outputs.words.palettes import BLUE, DARK_VERMILION, INK, RULING_COLOURS, SERVICE_CLASSES, rgb
from siteplanner.outputs.words.standard import PLANNING_AID
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.aiming import declination_deg
from siteplanner.planning.telling.as_built import MARK, banner_words
from siteplanner.planning.telling.print_map import grid_words, north_words, print_advice, scale_words
from siteplanner.planning.telling.units import reader_units

PAPER_MM = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
MARGIN_MM = 8.0
WORDS_MM = 46.0  # of the page's height, for what stands around the map
PIXELS_PER_MM = 6.0  # of relief and service in the map
RASTER_PPI = 200.0
SERVED_SHADE = 0.55  # of the colour of service over the relief
ROADS = (
    (True, 'fill="none" stroke="#4D5561" stroke-width="0.4"'),
    (False, 'fill="none" stroke="#A3123F" stroke-width="0.4" stroke-dasharray="0.8 0.8"'),
)
AREAS: dict[str, tuple[str, str]] = {  # layer -> words, style
    "water": ("Water", 'fill="#1F5F8B" fill-opacity="0.3" stroke="#1F5F8B" stroke-width="0.25"'),
    "soft_ground": ("Soft ground", 'fill="#6B5B1E" fill-opacity="0.15" stroke="#6B5B1E" stroke-width="0.25"'),
    "keep_out": ("Keep-out area", f'fill="url(#keepout)" stroke="{RULING_COLOURS["keep_out"]}" stroke-width="0.35"'),
    "hazards": ("Hazard area", f'fill="url(#danger)" stroke="{DARK_VERMILION}" stroke-width="0.5"'),
    "structures": ("Building, fence, tank", 'fill="#3B3B3B" stroke="#3B3B3B" stroke-width="0.3"'),
    "power_lines": (
        "Overhead line",
        f'fill="none" stroke="{RULING_COLOURS["power_line"]}" stroke-width="0.5" stroke-dasharray="2.2 0.7 0.4 0.7"',
    ),
}
SIZES_MM = {"spot": 2.3, "other": 2.3, "staging": 1.8, "point": 1.6}  # of a mark, within what `HALVES_MM` keeps free
INCIDENT = 'fill="none" stroke="#000" stroke-width="0.8" stroke-dasharray="3 1"'
DRIVE = f'fill="none" stroke="{BLUE}" stroke-width="1" stroke-linejoin="round"'
LEG = f'fill="none" stroke="{BLUE}" stroke-width="0.8" stroke-dasharray="0.9 0.7"'


@dataclass(frozen=True, eq=False)
class PrintMap:
    """A map with its window: the drawing alone and with the grid's figures around it, both SVG in millimetres."""

    view: View
    denominator: int
    grid: MapGrid
    picture: str
    framed: str
    wide: bool


@lru_cache(maxsize=1)  # page and raster follow one another
def print_map(plan: Plan) -> PrintMap:
    """The map of the area, the options, the drive to the best spot and what stands in their way."""
    shown = shown_spots(plan)
    bounds = _bounds(plan, shown)
    paper = PAPER_MM[plan.mission.sheets.paper]
    frames = []
    for wide in (False, True):
        across, down = (paper[1], paper[0]) if wide else paper
        width = across - 2 * MARGIN_MM - 2 * EDGE_MM
        height = down - 2 * MARGIN_MM - 2 * EDGE_MM - WORDS_MM
        frames.append((*scaled(bounds, width, height), wide))
    view, denominator, wide = min(frames, key=lambda f: (f[1], f[2]))
    grid = map_grid(plan, view)
    body = _body(plan, view, grid, shown)
    w, h, e = view.width, view.height, EDGE_MM
    picture = svg(view, body)
    inner = picture.replace(
        f'width="{w:g}mm" height="{h:g}mm"', f'width="{w:g}" height="{h:g}"', 1
    )  # units of the outer
    framed = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w + 2 * e:g}mm" height="{h + 2 * e:g}mm" '
        f'viewBox="{-e:g} {-e:g} {w + 2 * e:g} {h + 2 * e:g}">{inner}{edge_figures(grid, view)}</svg>'
    )
    return PrintMap(view, denominator, grid, picture, framed, wide)


def shown_spots(plan: Plan) -> tuple[RankedSpot, ...]:
    """The options and the second trailer of the best set of two, best first; the best spot where there is no option."""
    options = [o.ranked for o in plan.options] or ([plan.best] if plan.best is not None else [])
    pair = plan.sets.get(2)
    keys = {r.spot.key for r in options}
    more = [] if pair is None else [r for r in pair.spots if r.spot.key not in keys]
    return tuple(sorted([*options, *more], key=lambda r: r.rank))


def _bounds(plan: Plan, shown: Sequence[RankedSpot]) -> tuple[float, float, float, float]:
    grid = plan.scene.elevation
    shapes: list[Any] = [shapely.box(*plan.scene.area.total_bounds)]
    shapes += [
        shapely.Point(*(float(v) for v in grid.from_lonlat(s.longitude, s.latitude))) for s in plan.mission.starts
    ]
    shapes += [shapely.Point(r.spot.x, r.spot.y) for r in shown]
    if plan.best is not None and plan.best.evaluation.access is not None:
        shapes.append(plan.best.evaluation.access.route.line)
    west, south, east, north = (float(v) for v in shapely.total_bounds(np.array(shapes, object)))
    return west, south, east, north


def _body(plan: Plan, view: View, grid: MapGrid, shown: Sequence[RankedSpot]) -> str:
    best, lonlat = plan.best, plan.scene.elevation
    body = _ground(plan, view)
    for role, (_, style) in AREAS.items():
        frame = plan.scene.overlays.get(role)
        for geometry in () if frame is None else frame.geometry:
            body += path(geometry, view, style if shapely.get_dimensions(geometry) == 2 else _unfilled(style))
    body += _roads(plan, view) + grid_lines(grid, view)
    for geometry in plan.scene.area.geometry:
        body += path(geometry, view, INCIDENT)
    if best is not None and best.evaluation.access is not None:
        line, leg = best.evaluation.access.route.line, best.evaluation.access.last_leg
        body += path(line, view, 'fill="none" stroke="#fff" stroke-width="1.8"') + path(line, view, DRIVE)
        body += path(leg, view, LEG)
    middle = (view.box[0] + view.box[2]) / 2, (view.box[1] + view.box[3]) / 2
    wanted = _marks(plan, shown)
    own = [view.at(x, y) for _, _, x, y in wanted]
    halves = [HALVES_MM[kind] for _, kind, _, _ in wanted]
    drawn = apart([(*at, half) for at, half in zip(own, halves, strict=True)], view.width, view.height)
    body += furniture(view, -lonlat.convergence_deg(*middle), reader_units(plan.mission), drawn)
    body += "".join(leader(*pair) for pair in zip(own, drawn, strict=True))
    for (label, kind, _, _), at in reversed(list(zip(wanted, drawn, strict=True))):
        body += mark(view, *view.place(*at), label, kind, SIZES_MM[kind])
    return body


def _marks(plan: Plan, shown: Sequence[RankedSpot]) -> list[tuple[str, str, float, float]]:
    """Letter, kind and place of each mark, the most important first: what would lie on it moves aside."""
    spots = [
        (
            ranked.spot.name if len(ranked.spot.name) <= 2 and ranked.spot.name.isalnum() else "",
            "spot" if ranked.rank == 1 else "other",
            ranked.spot.x,
            ranked.spot.y,
        )
        for ranked in shown
    ]
    starts = []
    for staging in plan.mission.starts:
        x, y = plan.scene.elevation.from_lonlat(staging.longitude, staging.latitude)
        starts.append(("S", "staging", float(x), float(y)))
    return [*spots[:1], *starts, *spots[1:], *((letter, "point", *at) for letter, _, at in _points(plan))]


def _unfilled(style: str) -> str:
    """The same for a line, which encloses nothing."""
    return re.sub(r'fill="[^"]*"', 'fill="none"', style, count=1)


def _points(plan: Plan) -> list[tuple[str, str, tuple[float, float]]]:
    """Small letter, name and place of each must-serve point."""
    coverage = None if plan.best is None else plan.best.evaluation.coverage
    points = () if coverage is None else coverage.must_serve
    out = []
    for n, point in enumerate(points[:26]):
        x, y = (float(v) for v in plan.scene.elevation.from_lonlat(point.longitude, point.latitude))
        out.append((point_letter(n), point.name, (x, y)))
    return out


def _ground(plan: Plan, view: View) -> str:
    """Relief with the predicted service of the best spot over it, as one picture in the drawing."""
    from PIL import Image

    elevation = plan.scene.elevation
    cols, rows = round(view.width * PIXELS_PER_MM), round(view.height * PIXELS_PER_MM)
    cell = view.metres_per_mm / PIXELS_PER_MM
    x, y = np.meshgrid(view.west + (np.arange(cols) + 0.5) * cell, view.north - (np.arange(rows) + 0.5) * cell)
    z = elevation.sample(x, y).astype(np.float32)
    rgba = relief_rgba(z, np.full(rows, cell))
    colours = np.where(rgba[..., 3:] > 0, rgba[..., :3], 255).astype(np.float32)
    grid = None if plan.best is None else probability_grid(plan.best, plan)
    if grid is not None:
        row, col = (np.floor(v + 0.5).astype(int) for v in grid.rowcol(x, y))
        inside = (row >= 0) & (row < grid.shape[0]) & (col >= 0) & (col < grid.shape[1])
        near = grid.values[np.clip(row, 0, grid.shape[0] - 1), np.clip(col, 0, grid.shape[1] - 1)]
        classes = np.digitize(np.nan_to_num(np.where(inside, near, 0)), [start for start, _, _ in SERVICE_CLASSES])
        table = np.array([(0, 0, 0), *(rgb(colour) for _, colour, _ in SERVICE_CLASSES)], np.float32)
        over = classes > 0
        colours[over] = (1 - SERVED_SHADE) * colours[over] + SERVED_SHADE * table[classes[over]]
    kept = io.BytesIO()
    Image.fromarray(colours.astype(np.uint8)).save(kept, "JPEG", quality=88)
    data = b64encode(kept.getvalue()).decode()
    return (
        f'<image x="0" y="0" width="{view.width:g}" height="{view.height:g}" preserveAspectRatio="none" '
        f'href="data:image/jpeg;base64,{data}"/>'
    )


def _roads(plan: Plan, view: View) -> str:
    roads = plan.scene.roads
    near = roads.lines_tree.query(shapely.box(*view.box))
    near = np.sort(near[roads.tags.for_vehicles[near]])
    out = ""
    for drivable, style in ROADS:
        lines = roads.geometry.line[near[roads.judged.drivable[near] == drivable]]
        if len(lines):
            out += path(shapely.multilinestrings(lines.tolist()), view, style)
    return out


def print_content(plan: Plan) -> dict[str, Any]:
    """What stands on the page, as plain data."""
    made, units, shown = print_map(plan), reader_units(plan.mission), shown_spots(plan)
    grid, legend = made.grid, _legend(plan)
    middle = (made.view.box[0] + made.view.box[2]) / 2, (made.view.box[1] + made.view.box[3]) / 2
    declination = None if plan.best is None else declination_deg(plan.best.evaluation)
    rows = [
        [r.spot.name, str(r.rank), grid_text(r.spot.grid_reference), _served(r, units)]
        for r in shown
    ]  # fmt: skip
    return {
        "title": "Map to print" if plan.as_built is None else f"{MARK}. Map to print",
        "mission": clean(plan.mission.name),
        "scale": scale_words(made.denominator),
        "map_svg": made.framed,
        "map_alt": "Map with grid: relief, roads, service of the best spot, hazards, spots and the drive.",
        "width": made.view.width + 2 * EDGE_MM,
        "wide": made.wide,
        "notes": [
            grid_words(grid.zone, grid.north, grid.square, grid.step_m, units.first),
            north_words(plan.scene.elevation.convergence_deg(*middle), declination, units.first),
            print_advice(made.denominator),
            *([] if plan.as_built is None else [banner_words(plan.as_built, units.first)]),
        ],
        "legend_svg": [symbol for symbol, _ in legend],
        "legend": [words for _, words in legend],
        "head": ["Spot", "Rank", "Grid reference", "Area served"],
        "spots": rows,
        "aid": PLANNING_AID,
        "made": made_words(plan),
    }


def _served(ranked: RankedSpot, units: Any) -> str:
    coverage = ranked.evaluation.coverage
    return units.share(None if coverage is None else coverage.share)


def _legend(plan: Plan) -> list[tuple[str, str]]:
    """(symbol as SVG, words)."""
    area = '<path d="M0.3 0.3H5.7V2.7H0.3Z" {}/>'
    line = '<path d="M0 1.5H6" {}/>'
    out = [(_symbol(line.format(INCIDENT)), "Incident area")]
    if plan.best is not None:
        out.append((_symbol(line.format(DRIVE)), f"Drive to spot {plan.best.spot.name}"))
    out += [
        (_symbol(line.format(ROADS[0][1])), "Road for the rig"),
        (_symbol(line.format(ROADS[1][1])), "Road not for this rig"),
    ]
    for role, (words, style) in AREAS.items():
        if role in plan.scene.overlays:
            kind = line if role == "power_lines" else area
            out.append((_symbol(kind.format(style)), words))
    if plan.best is not None and probability_grid(plan.best, plan) is not None:
        for _, colour, words in SERVICE_CLASSES:
            filled = f'fill="{colour}" fill-opacity="{SERVED_SHADE}" stroke="{INK}" stroke-width="0.15"'
            out.append((_symbol(area.format(filled)), words))
        out[-len(SERVICE_CLASSES)] = (
            out[-len(SERVICE_CLASSES)][0],
            f"Service of spot {plan.best.spot.name}: 50 to 70 %",
        )
    disc = '<circle cx="3" cy="1.5" r="1.35" fill="{}" stroke="#000" stroke-width="0.25"/>'
    if plan.best is not None:
        out.append((_symbol(disc.format("#000")), "Best spot"))
        out.append((_symbol(disc.format("#fff")), "Other option, or second of two trailers"))
    out.append((_symbol('<rect x="1.5" width="3" height="3" fill="#000"/>'), "S: staging point"))
    for letter, name, _ in _points(plan):
        out.append(
            (_symbol('<path d="M3 0L4.8 2.9H1.2Z" fill="#fff" stroke="#000" stroke-width="0.3"/>'), f"{letter}: {name}")
        )
    return out


def _symbol(body: str) -> str:
    patterns = (
        '<defs><pattern id="danger" width="2" height="2" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="0.3" height="2" fill="#000"/></pattern>'
        '<pattern id="keepout" width="1.6" height="1.6" patternUnits="userSpaceOnUse">'
        '<circle cx="0.8" cy="0.8" r="0.25" fill="#000"/></pattern></defs>'
    )
    return f'<svg xmlns="http://www.w3.org/2000/svg" width="6mm" height="3mm" viewBox="0 0 6 3">{patterns}{body}</svg>'


def _compiler(plan: Plan, name: str, content: dict[str, Any]) -> Any:
    import typst

    extra = extra_fonts(plan.mission)
    inputs = {
        "data": json.dumps(content, ensure_ascii=False),
        "fonts": json.dumps(["DejaVu Sans", *families(extra)]),
        "paper": {"letter": "us-letter", "a4": "a4"}[plan.mission.sheets.paper],
        "size": "7",
    }
    places = [FONT_FOLDER, *sorted({p.parent for p in extra})]
    return typst.Compiler(
        input=str(FOLDER / name),
        root=str(FOLDER),
        font_paths=[str(place) for place in places],
        ignore_system_fonts=True,
        sys_inputs=inputs,
    )


def write_print_map(plan: Plan, file: Path) -> None:
    """The page, as accessible PDF (PDF/UA-1)."""
    content = Printer(held(extra_fonts(plan.mission))).all(print_content(plan))
    compiler = _compiler(plan, "print_map.typ", content)
    file.write_bytes(compiler.compile(format="pdf", pdf_standards=["ua-1"], timestamp=made_at(plan)))


def write_print_raster(plan: Plan, file: Path) -> None:
    """The map's picture as GeoTIFF in the plan's CRS, red, green and blue."""
    from PIL import Image

    made = print_map(plan)
    content = {"svg": made.picture, "width": made.view.width, "height": made.view.height}
    drawn = _compiler(plan, "print_picture.typ", content).compile(format="png", ppi=RASTER_PPI)
    pixels = np.asarray(Image.open(io.BytesIO(drawn)).convert("RGB"))
    _write_rgb(file, pixels, made.view, plan)


def _write_rgb(file: Path, pixels: np.ndarray, view: View, plan: Plan) -> None:
    import rasterio
    from affine import Affine
    from rasterio.io import MemoryFile
    from rasterio.shutil import copy

    rows, cols = pixels.shape[:2]
    cell = view.metres_per_mm * 25.4 / RASTER_PPI  # a page is rounded up to whole pixels, their size is not
    with MemoryFile() as memory:
        with memory.open(
            driver="GTiff",
            height=rows,
            width=cols,
            count=3,
            dtype="uint8",
            crs=rasterio_crs(plan.scene.elevation.crs),
            transform=Affine(cell, 0, view.west, 0, -cell, view.north),
            photometric="RGB",
        ) as target:
            target.write(np.moveaxis(pixels, -1, 0))
            target.update_tags(MISSION=clean(plan.mission.name), SCALE=f"{math.floor(view.metres_per_mm * 1000)}")
        with memory.open() as source, rasterio.Env(GDAL_PAM_ENABLED="NO"):
            copy(source, file, driver="COG", compress="JPEG", quality=85, overviews="AUTO")
