"""The drive as a drawing: height along the way, grades in bands, hazards where they lie; and the same in a sentence."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from siteplanner.core.constants import FOOT_M, MILE_M
from siteplanner.outputs.words.text import xml_text
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.telling.driver import grade_class, hazard_on_words, profile_words
from siteplanner.planning.telling.signal_words import CHECK, NOTE, UNKNOWN
from siteplanner.planning.telling.units import Units
from siteplanner.roads.grade_bands import edges_pct, grade_stretches
from siteplanner.roads.hazards_ahead import HazardAhead, hazards_along

WIDTH = 760.0
LEFT, RIGHT, BOTTOM = 58.0, 12.0, 76.0
STRIP = 16.0  # height of the strip of grades
FONT = 'font-family="DejaVu Sans, sans-serif"'
Place = Callable[[float], float]
ABOVE = "#000"  # the band above the rig's limit
FILLS = ("#f2f2f2", "#cfcfcf", "#a0a0a0", "#6e6e6e", "#484848")  # those below it, from the gentlest


@dataclass(frozen=True)
class Size:
    """Height of the whole drawing and of its margin above the road, in units of a drawing 760 wide."""

    height: float
    top: float


PAGE, SHEET = Size(250.0, 40.0), Size(166.0, 20.0)


def profile_svg(plan: Plan, ranked: RankedSpot, units: Units, *, size: Size = PAGE) -> str:
    """Height, grades and hazards along the drive as a whole SVG; '' where no road leads to the spot or no height on
    it is known. Greys only; every mark is explained below the drawing."""
    access = ranked.evaluation.access
    if access is None:
        return ""
    route, us = access.route, units.system == "US"
    d, z = route.profile_distance_m, route.profile_elevation_m
    known = np.isfinite(z)
    if known.sum() < 2 or not d[-1] > 0:
        return ""
    end, low, high = float(d[-1]), float(z[known].min()), float(z[known].max())
    span = max(high - low, 20.0)
    floor = size.height - BOTTOM - STRIP

    def x(metres: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * metres / end

    def y(level: float) -> float:
        return floor - (floor - size.top) * (level - low) / span

    keep = np.unique(np.linspace(0, len(d) - 1, min(len(d), 700)).astype(int))
    key = hashlib.sha256(f"profile {ranked.spot.x:.2f} {ranked.spot.y:.2f} {us}".encode()).hexdigest()[:8]
    body = _axes(x, y, end, low, high, floor, us)
    body += _height(x, y, d[keep], z[keep], floor)
    limit_pct = plan.mission.rig.max_grade_pct
    edges = edges_pct(limit_pct)
    for band in grade_stretches(route, limit_pct):
        body += (
            f'<rect x="{x(band.start_m):.1f}" y="{floor:.1f}" width="{x(band.end_m) - x(band.start_m):.1f}" '
            f'height="{STRIP:g}" fill="{_fill(band.band, len(edges))}"/>'
        )
        if band.band and x(band.end_m) - x(band.start_m) > 14:
            ink = "#fff" if band.band > 2 else "#000"
            up = band.worst_pct > 0
            middle = (x(band.start_m) + x(band.end_m)) / 2
            body += f'<path d="M{middle:.1f} {floor + (4 if up else 12):.1f}l-4 {8 if up else -8}h8Z" fill="{ink}"/>'
    body += (
        f'<rect x="{LEFT:g}" y="{floor:.1f}" width="{WIDTH - LEFT - RIGHT:g}" height="{STRIP:g}" fill="none" '
        'stroke="#000" stroke-width="0.8"/>'
    )
    body += _hazards(hazards_along(plan.scene.roads, route), x, y, d[known], z[known], units)
    body += _legend(edges, size.height, units)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {size.height:g}" role="img" '
        f'aria-labelledby="t{key} d{key}"><title id="t{key}">Drive to {xml_text(ranked.spot.name)}</title>'
        f'<desc id="d{key}">{xml_text(profile_words(plan, ranked, units))}</desc>'
        f'<rect width="{WIDTH:g}" height="{size.height:g}" fill="#fff"/>{body}</svg>'
    )


def _fill(band: int, edges: int) -> str:
    """The grey of a band; the last one lies above the rig's limit."""
    return ABOVE if band >= edges - 1 else FILLS[band]


def _height(x: Place, y: Place, d: np.ndarray, z: np.ndarray, floor: float) -> str:
    """The line of the road over its shade, piece by piece where heights are known."""
    out = ""
    for known, held in groupby(range(len(d)), key=lambda k: bool(np.isfinite(z[k]))):
        run = list(held)
        if not known or len(run) < 2:
            continue
        line = "L".join(f"{x(float(d[k])):.1f} {y(float(z[k])):.1f}" for k in run)
        out += (
            f'<path d="M{line}L{x(float(d[run[-1]])):.1f} {floor:.1f}L{x(float(d[run[0]])):.1f} {floor:.1f}Z" '
            f'fill="#e0e0e0"/><path d="M{line}" fill="none" stroke="#000" stroke-width="2"/>'
        )
    return out


def _axes(x: Place, y: Place, end: float, low: float, high: float, floor: float, us: bool) -> str:
    unit, name = (FOOT_M, "ft") if us else (1.0, "m")
    out = ""
    for level in (low, high) if high - low > 1 else (low,):
        out += (
            f'<path d="M{LEFT:g} {y(level):.1f}H{WIDTH - RIGHT:g}" stroke="#999" stroke-width="0.6" '
            'stroke-dasharray="3 3"/>'
            f'<text x="{LEFT - 5:g}" y="{y(level) + 4:.1f}" font-size="11" {FONT} text-anchor="end">'
            f"{level / unit:,.0f} {name}</text>"
        )
    long, words = (MILE_M, "mi") if us else (1000.0, "km")
    step = next(s for s in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 1e9) if end / long / s <= 12)
    for k in range(int(end / long / step + 1e-9) + 1):
        at = x(k * step * long)
        anchor = "start" if k == 0 else "end" if at > WIDTH - RIGHT - 10 else "middle"
        label = f"{k * step:g}" + (f" {words}" if k == 0 else "")
        out += (
            f'<path d="M{at:.1f} {floor + STRIP:.1f}v5" stroke="#000"/>'
            f'<text x="{at:.1f}" y="{floor + STRIP + 17:.1f}" font-size="11" {FONT} text-anchor="{anchor}">'
            f"{label}</text>"
        )
    return out


def _hazards(hazards: Iterable[HazardAhead], x: Place, y: Place, d: np.ndarray, z: np.ndarray, units: Units) -> str:
    """A mark over the road for each hazard: black for WARNING, white for what to check, a tick for notes; tooltips say
    what it is."""
    out = ""
    for hazard in hazards:
        at = x(hazard.running_m)
        top = y(float(np.interp(hazard.running_m, d, z)))
        words = f"<title>{xml_text(hazard_on_words(hazard, units))}</title>"
        if hazard.severity == "note":
            out += f'<g>{words}<path d="M{at:.1f} {top - 3:.1f}v-9" stroke="#000" stroke-width="2"/></g>'
            continue
        fill, ink = ("#000", "#fff") if hazard.severity == "warning" else ("#fff", "#000")
        out += (
            f'<g>{words}<path d="M{at:.1f} {top - 2:.1f}l-8 -16h16Z" fill="{fill}" stroke="#000" stroke-width="1.2"/>'
            f'<path d="M{at:.1f} {top - 13.5:.1f}v5m0 2v1.8" stroke="{ink}" stroke-width="1.8"/></g>'
        )
    return out


def _legend(edges: tuple[float, ...], height: float, units: Units) -> str:
    *gears, limit = edges
    entries = []
    for number, until in enumerate((*gears[1:], limit)):
        rim = ' stroke="#000" stroke-width="0.6"' if number == 0 else ""
        words = grade_class(number, until, limit, units.first)
        entries.append((f'<rect width="20" height="10" fill="{_fill(number, len(edges))}"{rim}/>', words))
    entries += [
        (f'<rect width="20" height="10" fill="{ABOVE}"/>', "above it"),
        ('<path d="M4 1l-4 8h8ZM16 9l-4 -8h8Z" fill="#000"/>', "climb, descent"),
        ('<path d="M10 12l-7 -13h14Z" fill="#000"/>', "WARNING"),
        ('<path d="M10 12l-7 -13h14Z" fill="#fff" stroke="#000"/>', f"{CHECK}, {UNKNOWN.lower()}"),
        ('<path d="M10 11v-10" stroke="#000" stroke-width="2"/>', NOTE),
    ]
    px, py, out = LEFT, height - 40.0, ""
    for mark, words in entries:
        wide = 36 + 6.3 * len(words)
        if px + wide > WIDTH - RIGHT:
            px, py = LEFT, py + 19
        out += (
            f'<g transform="translate({px:.1f} {py:.1f})">{mark}'
            f'<text x="25" y="9" font-size="11" {FONT}>{xml_text(words)}</text></g>'
        )
        px += wide
    return out
