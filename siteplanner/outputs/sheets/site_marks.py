"""Marks on the drawing of a spot: trailer, tow vehicle, guy anchors, exhaust, lamps, arrows; and where words find room.

Places are millimetres of the drawing, x to the right and y down; bearings true, clockwise from up.
"""

from __future__ import annotations

import math
from typing import Any

from siteplanner.outputs.sheets.sheet_maps import FONT, LETTER_MM

SIDES = {"front": 0.0, "right": 90.0, "rear": 180.0, "left": 270.0}
LAMPS_M = 9.0  # from the trailer's middle: light on the jacks, the lamp out of the mast's foot; common practice
LAMP_BEARINGS = 16


def toward(x: float, y: float, bearing_deg: float, far_mm: float) -> tuple[float, float]:
    """The place so far off on a bearing."""
    return x + far_mm * math.sin(math.radians(bearing_deg)), y - far_mm * math.cos(math.radians(bearing_deg))


def apart_deg(a: float, b: float) -> float:
    """Angle between two bearings, 0 to 180."""
    return abs((a - b + 180) % 360 - 180)


class Labels:
    """Places words on a drawing so that none covers another or leaves the drawing."""

    def __init__(self, side: float, taken: list[tuple[float, float, float, float]]) -> None:
        self.side, self.taken = side, taken  # boxes: left, top, right, bottom, millimetres
        self.lines: list[tuple[float, float]] = []  # places on lines that a word had better not hide

    def keep_free(self, x: float, y: float, half: float) -> None:
        self.taken.append((x - half, y - half, x + half, y + half))

    def keep_line_free(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        count = max(2, math.ceil(math.dist(start, end)))
        steps = [n / count for n in range(count + 1)]
        self.lines += [(start[0] + t * (end[0] - start[0]), start[1] + t * (end[1] - start[1])) for t in steps]

    def put(self, x: float, y: float, words: str) -> str:
        """The words centred at a place, or as near to it as there is room; up and down first, then sideways."""
        half = 0.29 * LETTER_MM * len(words)
        tries = [(dx, dy) for dx in (0, -6, 6, -14, 14, -20, 20) for dy in (0, 3.3, -3.3, 6.6, -6.6, 9.9, -9.9)]
        boxes = []
        for dx, dy in sorted(tries, key=lambda d: abs(d[0]) + abs(d[1])):
            px = min(max(x + dx, half + 0.6), self.side - half - 0.6)
            py = min(max(y + dy, 2.9), self.side - 1.2)
            boxes.append((px - half, py - 2.3, px + half, py + 0.8))
        box = min(boxes, key=self._covered)  # the first of those that cover least
        self.taken.append(box)
        left, top, right, bottom = box
        return (
            f'<rect x="{left:.2f}" y="{top:.2f}" width="{right - left:.2f}" height="{bottom - top:.2f}" fill="#fff" '
            f'fill-opacity="0.85"/><text x="{(left + right) / 2:.2f}" y="{bottom - 0.8:.2f}" font-size="{LETTER_MM}" '
            f'{FONT} text-anchor="middle">{words}</text>'
        )

    def _covered(self, box: tuple[float, float, float, float]) -> tuple[float, int]:
        """What a word there would cover: of marks and words by area, then of lines by places."""
        left, top, right, bottom = box
        area = sum(
            max(min(right, r) - max(left, a), 0.0) * max(min(bottom, b) - max(top, t), 0.0) for a, t, r, b in self.taken
        )
        return round(area, 3), sum(left < x < right and top < y < bottom for x, y in self.lines)


def arrow(cx: float, cy: float, bearing_deg: float, start: float, end: float, width: float) -> str:
    """A line with a head at `end`; it begins at 0.45 of `start`, outside of the trailer."""
    x0, y0 = toward(cx, cy, bearing_deg, 0.45 * start)
    x1, y1 = toward(cx, cy, bearing_deg, end)
    return (
        f'<path d="M{x0:.2f} {y0:.2f}L{x1:.2f} {y1:.2f}" stroke="#000" stroke-width="{width}"/>'
        f'<g transform="translate({x1:.2f} {y1:.2f}) rotate({bearing_deg:.2f})"><path d="M0 -2L1.3 1H-1.3Z"/></g>'
    )


def trailer_drawing(cx: float, cy: float, heading_deg: float, trailer: Any, metres_per_mm: float) -> str:
    """Body, tongue at the nose, outriggers at the corners with their pads."""
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


def guy_bearings(heading_deg: float, guys: int) -> list[float]:
    """Where the guys go, evenly round the mast and as far from the tongue as that allows."""
    return [(heading_deg + 180 / guys + 360 * k / guys) % 360 for k in range(guys)]


def guy_marks(cx: float, cy: float, bearings: list[float], far_mm: float) -> str:
    """The anchors' circle, each anchor as a square, each guy as a thin line."""
    out = (
        f'<circle class="guys" cx="{cx}" cy="{cy}" r="{far_mm:.2f}" fill="none" stroke="#000" stroke-width="0.35" '
        'stroke-dasharray="0.5 0.9"/>'
    )
    for bearing in bearings:
        x, y = toward(cx, cy, bearing, far_mm)
        out += (
            f'<path d="M{cx:.2f} {cy:.2f}L{x:.2f} {y:.2f}" stroke="#000" stroke-width="0.2"/>'
            f'<rect class="anchor" x="{x - 0.9:.2f}" y="{y - 0.9:.2f}" width="1.8" height="1.8" fill="#fff" '
            'stroke="#000" stroke-width="0.5"/>'
        )
    return out


def exhaust_mark(
    cx: float, cy: float, heading_deg: float, side: str | None, trailer: Any, keep_m: float, metres_per_mm: float
) -> str:
    """What the exhaust reaches: a fan on its side, or a ring all round where nobody says which that is."""
    half = (trailer.length_m if side in ("front", "rear") else trailer.width_m) / 2
    style = 'fill="none" stroke="#000" stroke-width="0.4" stroke-dasharray="0.1 1.1" stroke-linecap="round"'
    if side is None:
        far = (keep_m + trailer.length_m / 2) / metres_per_mm
        return f'<circle class="exhaust" cx="{cx}" cy="{cy}" r="{far:.2f}" {style}/>'
    bearing = heading_deg + SIDES[side]
    x, y = toward(cx, cy, bearing, half / metres_per_mm)
    far = keep_m / metres_per_mm
    x0, y0 = toward(x, y, bearing - 60, far)
    x1, y1 = toward(x, y, bearing + 60, far)
    return (
        f'<path class="exhaust" d="M{x:.2f} {y:.2f}L{x0:.2f} {y0:.2f}A{far:.2f} {far:.2f} 0 0 1 {x1:.2f} {y1:.2f}Z" '
        f"{style}/>"
    )


def tow_vehicle_mark(x: float, y: float, bearing_deg: float, length_mm: float, width_mm: float) -> str:
    """The tow vehicle as a rectangle, nose to the way out."""
    return (
        f'<g class="tow" transform="translate({x:.2f} {y:.2f}) rotate({bearing_deg:.2f})"><rect '
        f'x="{-width_mm / 2:.2f}" y="{-length_mm / 2:.2f}" width="{width_mm:.2f}" height="{length_mm:.2f}" '
        f'fill="#fff" stroke="#000" stroke-width="0.4"/></g>'
        f'<text x="{x:.2f}" y="{y + 0.9:.2f}" font-size="{LETTER_MM}" {FONT} font-weight="bold" '
        'text-anchor="middle">T</text>'
    )


def lamp_bearings(taken: list[float]) -> list[float]:
    """Two bearings for lamps, as far as can be from what is in the way or must not be blinded, and from each other."""
    held = list(taken)
    out = []
    for _ in range(2):
        steps = [360 * k / LAMP_BEARINGS for k in range(LAMP_BEARINGS)]
        best = max(steps, key=lambda b: min((apart_deg(b, t) for t in held), default=180.0))
        out.append(best)
        held.append(best)
    return out


def lamp_mark(x: float, y: float) -> str:
    """A lamp: a disc with its letter."""
    return (
        f'<circle class="lamp" cx="{x:.2f}" cy="{y:.2f}" r="1.6" fill="#fff" stroke="#000" stroke-width="0.4"/>'
        f'<text x="{x:.2f}" y="{y + 0.85:.2f}" font-size="{LETTER_MM}" {FONT} font-weight="bold" '
        'text-anchor="middle">L</text>'
    )
