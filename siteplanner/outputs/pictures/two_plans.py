"""Two plans on one small drawing: the incident area, both first spots, roads shut or open again, spots that came, went.

SVG with nothing but shapes and text: no script, no style sheet, no address. Every name passes `xml_text`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from siteplanner.errors import InputError
from siteplanner.outputs.words.palettes import BLUE, DARK_GREEN, DARK_VERMILION, ORANGE
from siteplanner.outputs.words.text import xml_text
from siteplanner.planning.plan.comparison import Comparison
from siteplanner.planning.telling.compare import comparison_lines
from siteplanner.planning.telling.units import Units

INK, PAPER, GROUND = "#000000", "#FFFFFF", "#E2E2E2"  # greys, which the app turns over for the night
WIDTH, DRAWN, MARGIN, LINE = 760, 460, 24, 20
LETTERS = 104  # of a line under the drawing
SUFFIXES = (".html", ".svg")
Point = tuple[float, float]


def two_plans_svg(found: Comparison, units: Units) -> str:
    """The drawing with its legend and the lines under it."""
    lines = [part for line in comparison_lines(found, units) for part in _folded(line)]
    top = DRAWN + 2 * LINE
    height = top + LINE * (len(lines) + 2)
    project = _projection(found)
    parts = [f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>']
    if project is not None:
        parts += _drawing(found, project)
    parts += [_text(MARGIN, top + LINE * (k + 1), line) for k, line in enumerate(lines)]
    label = xml_text(lines[0] if lines else "")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" '
        f'role="img" aria-label="{label}" font-family="sans-serif" font-size="14">' + "".join(parts) + "</svg>\n"
    )


def two_plans_html(found: Comparison, units: Units) -> str:
    """The same as a page of its own."""
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\"><title>Two plans compared</title></head>"
        f'<body style="margin:1em;background:{PAPER}">{two_plans_svg(found, units)}</body></html>\n'
    )


def write_two_plans(found: Comparison, path: Path, units: Units) -> None:
    """Write it as .html or .svg. Raises InputError for another ending, and where it cannot be written."""
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(
            "The picture is written as .html or .svg.", remedy="Name a file that ends so.", file=path, field="--picture"
        )
    made = two_plans_svg(found, units) if path.suffix.lower() == ".svg" else two_plans_html(found, units)
    try:
        path.write_text(made, "utf-8")
    except OSError as error:
        raise InputError(
            f"The picture cannot be written ({error.strerror}).",
            remedy="Name a file in a folder that is there and may be written into.",
            file=path,
            field="--picture",
        ) from None


def _drawing(found: Comparison, project: _Projection) -> list[str]:
    out = [_ring(project, ring, "none", INK, ' stroke-dasharray="6 5"') for ring in found.old_area]
    out += [_ring(project, ring, GROUND, INK, "") for ring in found.new_area]
    out += [_cross(project(r.longitude, r.latitude), DARK_VERMILION) for r in found.shut if _known(r)]
    out += [_ticked(project(r.longitude, r.latitude), DARK_GREEN) for r in found.opened if _known(r)]
    for spot in found.spots:
        for place, filled in ((spot.old, False), (spot.new, True)):
            if place is not None and _known(place):
                at = project(place.longitude, place.latitude)
                out += [_disc(at, 4, ORANGE, filled), _text(at[0] + 7, at[1] - 5, place.name[:12], 11)]
    for place, filled in ((found.old_first, False), (found.new_first, True)):
        if place is not None and _known(place):
            at = project(place.longitude, place.latitude)
            out += [_disc(at, 9, BLUE, filled), _text(at[0] + 12, at[1] + (16 if filled else -10), place.name[:24])]
    x, y = MARGIN, DRAWN + LINE
    legend = (
        (_disc((x, y), 6, BLUE, False), "first before", 120),
        (_disc((x + 120, y), 6, BLUE, True), "first now", 110),
        (_disc((x + 230, y), 4, ORANGE, False), "spot that went", 130),
        (_disc((x + 360, y), 4, ORANGE, True), "spot that came", 140),
        (_cross((x + 500, y), DARK_VERMILION), "road shut now", 130),
        (_ticked((x + 630, y), DARK_GREEN), "open again", 0),
    )
    for mark, words, step in legend:
        out += [mark, _text(x + 12, y + 4, words, 12)]
        x += step
    return out


class _Projection:
    """Degrees onto the drawing: one scale both ways, north up."""

    def __init__(self, points: list[Point]) -> None:
        west, east = min(p[0] for p in points), max(p[0] for p in points)
        south, north = min(p[1] for p in points), max(p[1] for p in points)
        self._shrink = math.cos(math.radians((south + north) / 2)) or 1e-6
        self._middle = (west + east) / 2, (south + north) / 2
        wide, high = max((east - west) * self._shrink, 1e-5), max(north - south, 1e-5)
        self._scale = min((WIDTH - 6 * MARGIN) / wide, (DRAWN - 4 * MARGIN) / high)

    def __call__(self, longitude: float, latitude: float) -> Point:
        x = WIDTH / 2 + (longitude - self._middle[0]) * self._shrink * self._scale
        return x, DRAWN / 2 - (latitude - self._middle[1]) * self._scale


def _projection(found: Comparison) -> _Projection | None:
    """None where nothing has a place."""
    rings = [p for ring in (*found.old_area, *found.new_area) for p in ring]
    places = [found.old_first, found.new_first, *(p for s in found.spots for p in (s.old, s.new))]
    points = rings + [(p.longitude, p.latitude) for p in (*places, *found.shut, *found.opened) if p and _known(p)]
    inside = [(x, y) for x, y in points if abs(x) <= 180 and abs(y) <= 90]
    return _Projection(inside) if inside else None


def _known(place: object) -> bool:
    return all(math.isfinite(getattr(place, name)) for name in ("latitude", "longitude"))


def _ring(project: _Projection, ring: Iterable[Point], fill: str, line: str, more: str) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in (project(*p) for p in ring))
    return f'<polygon points="{points}" fill="{fill}" stroke="{line}" stroke-width="1.5"{more}/>'


def _disc(at: Point, radius: float, colour: str, filled: bool) -> str:
    inside = colour if filled else PAPER
    return (
        f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius}" fill="{inside}" stroke="{colour}" stroke-width="2"/>'
    )


def _cross(at: Point, colour: str) -> str:
    x, y = at
    path = _line((x - 6, y - 6), (x + 6, y + 6)) + _line((x + 6, y - 6), (x - 6, y + 6))
    return f'<path d="{path}" stroke="{colour}" stroke-width="3" fill="none"/>'


def _ticked(at: Point, colour: str) -> str:
    x, y = at
    path = _line((x - 6, y), (x - 1, y + 5), (x + 7, y - 6))
    return f'<path d="{path}" stroke="{colour}" stroke-width="3" fill="none"/>'


def _line(*points: Point) -> str:
    """A line through points, as a path of SVG."""
    return "M" + " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _text(x: float, y: float, words: str, size: int = 14) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{INK}">{xml_text(words)}</text>'


def _folded(line: str) -> list[str]:
    """A line in parts that fit, broken between words."""
    out, now = [], ""
    for word in line.split(" "):
        if now and len(now) + 1 + len(word) > LETTERS:
            out.append(now)
            now = f"   {word}"
        else:
            now = f"{now} {word}" if now else word
    return [*out, now]
