"""The horizon diagram as SVG: skyline, canopy, satellite arc and slots; legible in black and white.

Drawn for print and screen alike: greys and patterns only, every mark explained below the drawing, a title and a
description for readers who do not see it. All text from files passes `xml_text`.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from siteplanner.outputs.words.text import xml_text
from siteplanner.planning.limits.toward import beam_side_deg
from siteplanner.planning.spots.evaluation import Evaluation
from siteplanner.planning.spots.lines import Look
from siteplanner.planning.spots.skyline import ArcPoint, Skyline
from siteplanner.planning.telling.trees import skyline_words, slot_label, slot_legend, slot_short, tallest_label
from siteplanner.planning.telling.units import Units

LEFT, RIGHT, TOP = 44.0, 10.0, 14.0  # room for axes and legend around the drawing
FONT = 'font-family="DejaVu Sans, sans-serif"'
WINDS = {0: "N", 45: "NE", 90: "E", 135: "SE", 180: "S", 225: "SW", 270: "W", 315: "NW"}


@dataclass(frozen=True)
class Size:
    """Width and height of the whole drawing, and its margin below the horizon, in units of which a letter has 11.
    `explained`: whether the marks are explained within it, and the winds have their degrees."""

    width: float
    height: float
    bottom: float
    explained: bool


PAGE, SHEET = Size(760.0, 346.0, 90.0, True), Size(374.0, 158.0, 20.0, False)


class _Frame:
    """Bearings and elevations to places on the drawing; the equator's side of the sky is in the middle."""

    def __init__(self, figure: Skyline, size: Size) -> None:
        self.width, self.height, self.base = size.width, size.height, size.height - size.bottom
        self.right = size.width - RIGHT
        self.west = 0.0 if figure.latitude_deg >= 0 else 180.0
        heights = [*figure.highest_deg, *(p.elevation_deg for p in figure.arc)]
        known = [h for h in heights if math.isfinite(h)]
        self.low = 10.0 * math.floor((min([*known, 0.0]) - 1e-9) / 10) if min([*known, 0.0]) < -1 else -2.0
        self.high = min(90.0, 10.0 * math.ceil((max([*known, 20.0]) + 12) / 10))

    def x(self, bearing_deg: float) -> float:
        return LEFT + ((bearing_deg - self.west) % 360) / 360 * (self.right - LEFT)

    def y(self, elevation_deg: float) -> float:
        share = (min(max(elevation_deg, self.low), self.high) - self.low) / (self.high - self.low)
        return self.base - share * (self.base - TOP)


def horizon_svg(evaluation: Evaluation, units: Units, size: Size = PAGE) -> str | None:
    """The horizon diagram of one spot, a whole SVG; None where the evaluation holds no skyline."""
    figure = evaluation.skyline
    if figure is None:
        return None
    frame = _Frame(figure, size)
    key = hashlib.sha256(f"{evaluation.spot.x:.2f} {evaluation.spot.y:.2f}".encode()).hexdigest()[:8]
    title = f"Horizon at {xml_text(evaluation.spot.name)}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size.width:g} {size.height:g}" role="img" '
        f'aria-labelledby="t{key} d{key}"><title id="t{key}">{title}</title>'
        f'<desc id="d{key}">{xml_text(skyline_words(evaluation, units))}</desc>',
        _patterns(key),
        f'<rect width="{size.width:g}" height="{size.height:g}" fill="#fff"/>',
        _grid_lines(frame),
        _ground(figure, frame, key),
        _arc(figure.arc, frame),
        _slots(evaluation.sky, figure, frame, units, size),
        _axes(frame, size),
        *((_legend(figure, key, frame), _trees(evaluation, units, frame)) if size.explained else ()),
        "</svg>",
    ]
    return "".join(parts)


def _patterns(key: str) -> str:
    return (
        f'<defs><pattern id="c{key}" width="5" height="5" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="5" height="5" fill="#fff"/>'
        '<rect width="1.6" height="5" fill="#555"/></pattern>'
        f'<pattern id="u{key}" width="7" height="7" patternUnits="userSpaceOnUse"><rect width="7" height="7" '
        'fill="#fff"/><circle cx="2" cy="2" r="1" fill="#777"/></pattern></defs>'
    )


def _ground(figure: Skyline, frame: _Frame, key: str) -> str:
    """Unseen ground that could stand higher (dots), canopy and roofs (hatched), bare ground (grey)."""
    out = ""
    if figure.unknown.any():
        could = np.where(figure.unknown, figure.possible_deg, figure.highest_deg)
        could = np.where(figure.unknown & np.isnan(could), 90.0, could)
        out += _area(could, frame, f'fill="url(#u{key})" stroke="#777" stroke-width="0.6" stroke-dasharray="2 2"')
    if figure.surface_deg is not None:
        out += _area(figure.surface_deg, frame, f'fill="url(#c{key})" stroke="#000" stroke-width="0.8"')
    return out + _area(figure.bare_deg, frame, 'fill="#b5b5b5" stroke="#000" stroke-width="1.2"')


def _area(values: np.ndarray, frame: _Frame, style: str) -> str:
    heights = np.where(np.isnan(values), frame.low, values)
    start = int(frame.west)
    line = "".join(
        f"L{frame.x(start + k):.1f} {frame.y(float(heights[(start + k) % 360])):.1f}" for k in range(len(values))
    )
    floor, end = frame.y(frame.low), frame.right
    last = frame.y(float(heights[start % 360]))  # the full turn ends where it began
    return f'<path d="M{LEFT:g} {floor:.1f}{line}L{end:g} {last:.1f}L{end:g} {floor:.1f}Z" {style}/>'


ARC_STYLE = {
    "clear": 'stroke="#000" stroke-width="2.2"',
    "blocked": 'stroke="#000" stroke-width="1" stroke-dasharray="5 4"',
    "unknown": 'stroke="#000" stroke-width="1.6" stroke-dasharray="1.5 3"',
}


def _arc(points: tuple[ArcPoint, ...], frame: _Frame) -> str:
    """Piece by piece in the style of its far end; a piece over the drawing's seam is left out."""
    out = []
    for a, b in pairwise(points):
        x0, x1 = frame.x(a.azimuth_deg), frame.x(b.azimuth_deg)
        if abs(x1 - x0) > (frame.right - LEFT) / 2:
            continue
        worst = a.state if a.state == b.state else "unknown" if "unknown" in (a.state, b.state) else "blocked"
        out.append(
            f'<path d="M{x0:.1f} {frame.y(a.elevation_deg):.1f}L{x1:.1f} {frame.y(b.elevation_deg):.1f}" '
            f'fill="none" {ARC_STYLE[worst]}/>'
        )
    for p in points:
        if abs(p.satellite_longitude_deg % 10) < 1e-6:
            x, y = frame.x(p.azimuth_deg), frame.y(p.elevation_deg)
            out.append(f'<path d="M{x:.1f} {y - 3:.1f}v6" stroke="#000" stroke-width="1"/>')
    return "".join(out)


def _slots(looks: tuple[Look, ...], figure: Skyline, frame: _Frame, units: Units, size: Size) -> str:
    """Each named satellite that stands above the level horizon: beam with its margin, mark, name.

    A name stands above marks and skyline, tied to its mark by a thin upright line that goes through no other name.
    """
    shown = [k for k in looks if k.elevation_deg >= 0 and math.isfinite(k.azimuth_deg)]
    tops = [(frame.x(b), frame.y(h)) for b, h in enumerate(figure.highest_deg) if math.isfinite(h)]
    places = [(frame.x(k.azimuth_deg), frame.y(k.elevation_deg)) for k in shown]
    marks, names = "", ""
    for look, (x, y) in zip(shown, places, strict=True):
        side = float(beam_side_deg(look.elevation_deg, figure.beam_half_deg))
        half = max(side / 360 * (frame.right - LEFT), 1.0)
        foot = frame.y(look.elevation_deg - figure.margin_deg)
        marks += (
            f'<rect x="{x - half:.1f}" y="{y:.1f}" width="{2 * half:.1f}" height="{max(foot - y, 1):.1f}" '
            'fill="#fff" fill-opacity="0.6" stroke="#000" stroke-width="0.8"/>'
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" stroke="#000" stroke-width="1.6" '
            f'fill="{"#000" if look.clear else "#fff"}"/>'
        )
    labels = [slot_label(look, units) if size.explained else slot_short(look) for look in shown]
    longest = 60 if size.explained else 34
    labels = [label if len(label) <= longest else label[: longest - 1] + "…" for label in labels]
    rooms = _rooms([6.4 * len(label) for label in labels], places, [*places, *tops], frame.right)
    for label, (x, y), room in zip(labels, places, rooms, strict=True):
        end = room.left + room.wide
        # a name keeps to its own line whatever the width of the letters that draw it
        at, anchor = (
            (room.left, "start") if x < room.left else (end, "end") if x > end else ((room.left + end) / 2, "middle")
        )
        names += (
            f'<path d="M{x:.1f} {y - 4:.1f}V{room.base:.1f}" stroke="#000" stroke-width="0.5"/>'
            f'<rect x="{room.left:.1f}" y="{room.base - 10:.1f}" width="{room.wide:.1f}" height="13" fill="#fff" '
            'fill-opacity="0.85"/>'
            f'<text x="{at:.1f}" y="{room.base:.1f}" font-size="11" {FONT} text-anchor="{anchor}">'
            f"{xml_text(label)}</text>"
        )
    return names + marks


class _Room(NamedTuple):
    """Where a name stands: its left end, its width, the line that it stands on."""

    left: float
    wide: float
    base: float

    def holds(self, x: float, top: float, foot: float) -> bool:
        """Whether an upright line at x from `foot` up to `top` goes through it."""
        return self.left - 2 < x < self.left + self.wide + 2 and top < self.base + 3 and foot > self.base - 10

    def meets(self, other: _Room) -> bool:
        return (
            abs(self.base - other.base) < 14
            and self.left < other.left + other.wide
            and (other.left < self.left + self.wide)
        )


ROW, ROWS = 14.0, 12
BESIDE = 5.0  # from a line to the name beside it


def _rooms(
    widths: Sequence[float],
    marks: Sequence[tuple[float, float]],
    below: Sequence[tuple[float, float]],
    right: float,
) -> list[_Room]:
    """Room for a name of each width over its mark (x, y), above everything in `below`.

    From the outside in: the outer names go outward, so that the lines of those between run up between them.
    """
    order = sorted(range(len(marks)), key=lambda k: marks[k])
    turns = [order.pop(0 if n % 2 == 0 else -1) for n in range(len(marks))]
    placed: dict[int, _Room] = {}
    for n, k in enumerate(turns):
        (x, y), wide = marks[k], widths[k]
        later = [marks[j][0] for j in turns[n + 1 :]]
        outward = (x - BESIDE - wide, x + BESIDE) if n % 2 == 0 else (x + BESIDE, x - BESIDE - wide)
        starts = (x - wide / 2, *outward) if len(marks) == 1 else (*outward, x - wide / 2)
        found = [
            room
            for row in range(ROWS)
            for left in starts
            if LEFT <= left <= right - wide
            for room in [_Room(left, wide, _above(left, wide, x, below) - ROW * row)]
            if room.base >= 10
            and not any(room.meets(o) or o.holds(x, room.base, y) for o in placed.values())
            and not any(room.holds(marks[j][0], o.base, marks[j][1]) for j, o in placed.items())
            and not any(left - 2 < other < left + wide + 2 for other in later)
        ]
        clamped = min(max(x - wide / 2, LEFT), right - wide)
        placed[k] = found[0] if found else _Room(clamped, wide, max(_above(clamped, wide, x, below), 10.0))
    return [placed[k] for k in range(len(marks))]


def _above(left: float, wide: float, x: float, below: Sequence[tuple[float, float]]) -> float:
    """The lowest line for a name that stands clear of the marks and the skyline under it."""
    return min(py for px, py in below if left - 6 < px < left + wide + 6 or px == x) - 12


def _grid_lines(frame: _Frame) -> str:
    out = ""
    for level in range(math.ceil(frame.low / 10) * 10, int(frame.high) + 1, 10):
        y = frame.y(level)
        width = 1.2 if level == 0 else 0.5
        out += f'<path d="M{LEFT:g} {y:.1f}H{frame.right:g}" stroke="#999" stroke-width="{width}"/>'
        out += f'<text x="{LEFT - 5:g}" y="{y + 4:.1f}" font-size="11" {FONT} text-anchor="end">{level}°</text>'
    return out


def _axes(frame: _Frame, size: Size) -> str:
    base = frame.base
    out = (
        f'<rect x="{LEFT:g}" y="{TOP:g}" width="{frame.right - LEFT:g}" height="{base - TOP:g}" fill="none" '
        'stroke="#000"/>'
    )
    for step in range(9):
        bearing = (int(frame.west) + 45 * step) % 360
        x = LEFT + step * 45 / 360 * (frame.right - LEFT)
        anchor = "end" if step == 8 else "middle"
        out += f'<path d="M{x:.1f} {base:g}v5" stroke="#000"/>'
        out += (
            f'<text x="{x:.1f}" y="{base + 17:g}" font-size="11" {FONT} text-anchor="{anchor}">'
            f"{_wind(bearing, size)}</text>"
        )
    return out


def _wind(bearing: int, size: Size) -> str:
    """`SE 135°`; where room is short, the letter of the four winds and the degrees of the others."""
    if size.explained:
        return f"{WINDS[bearing]} {bearing:03d}°"
    return WINDS[bearing] if bearing % 90 == 0 else f"{bearing:03d}°"


def _trees(evaluation: Evaluation, units: Units, frame: _Frame) -> str:
    """How tall a tree may be in the line to the best satellite in view; on the last line of the drawing."""
    words = tallest_label(evaluation, units)
    if not words:
        return ""
    return f'<text x="{LEFT:g}" y="{frame.height - 4:g}" font-size="11" {FONT}>{xml_text(words)}</text>'


def _legend(figure: Skyline, key: str, frame: _Frame) -> str:
    entries = [('<rect width="20" height="9" fill="#b5b5b5" stroke="#000"/>', "bare ground")]
    if figure.surface_deg is not None:
        entries.append((f'<rect width="20" height="9" fill="url(#c{key})" stroke="#000"/>', "trees and roofs"))
    if figure.unknown.any():
        entries.append(
            (
                f'<rect width="20" height="9" fill="url(#u{key})" stroke="#777"/>',
                "beyond the data: could stand this high",
            )
        )
    states = {p.state for p in figure.arc}
    for state, words in (("clear", "arc clear"), ("blocked", "arc behind skyline"), ("unknown", "arc not known")):
        if state in states:
            entries.append((f'<path d="M0 5h20" {ARC_STYLE[state]}/>', words))
    entries.append(
        (
            '<rect x="4" width="12" height="10" fill="#fff" stroke="#000" stroke-width="0.8"/>'
            '<circle cx="10" cy="0" r="3.5" fill="#000"/>',
            slot_legend(figure.margin_deg),
        )
    )
    x, y, out = LEFT, frame.base + 30, ""
    for mark, words in entries:
        wide = 34 + 6.3 * len(words)
        if x + wide > frame.right:
            x, y = LEFT, y + 18
        out += (
            f'<g transform="translate({x:.1f} {y:.1f})">{mark}'
            f'<text x="25" y="9" font-size="11" {FONT}>{xml_text(words)}</text></g>'
        )
        x += wide
    ticks = "bearings true; ticks on the arc: every 10° of orbital longitude"
    return (
        out
        + f'<text x="{frame.right:g}" y="{frame.height - 20:g}" font-size="10" {FONT} text-anchor="end">{ticks}</text>'
    )
