"""Marks of a sheet's map that would lie on each other: the lesser one moves aside and a line leads to its place."""

from __future__ import annotations

import math
from collections.abc import Sequence

BEARINGS = 24
STEP_MM, FAR_MM = 0.75, 18.0
GAP_MM = 0.3


def apart(wanted: Sequence[tuple[float, float, float]], width: float, height: float) -> list[tuple[float, float]]:
    """Where each of these marks is drawn, millimetres of the drawing: in its place, or, where it would lie on one
    before it or stand out of the frame, as near to that as there is room.

    `wanted` are (x, y, half a mark's width), the most important first. What finds no room stays in its place.
    """
    held: list[tuple[float, float, float]] = []
    for x, y, half in wanted:
        found = next((place for place in _tries(x, y) if _free(*place, half, held, width, height)), (x, y))
        held.append((*found, half))
    return [(x, y) for x, y, _ in held]


def _tries(x: float, y: float) -> list[tuple[float, float]]:
    """The place itself, then rings around it, each from the top clockwise."""
    out = [(x, y)]
    for ring in range(1, round(FAR_MM / STEP_MM) + 1):
        for n in range(BEARINGS):
            turn = 2 * math.pi * n / BEARINGS
            out.append((x + ring * STEP_MM * math.sin(turn), y - ring * STEP_MM * math.cos(turn)))
    return out


def _free(
    x: float, y: float, half: float, held: Sequence[tuple[float, float, float]], width: float, height: float
) -> bool:
    inside = half <= x <= width - half and half <= y <= height - half
    return inside and all(math.dist((x, y), (a, b)) >= half + other + GAP_MM for a, b, other in held)


def leader(wanted: tuple[float, float], drawn: tuple[float, float]) -> str:
    """A line from a mark that moved to its place, with a dot there; '' for one that stayed."""
    (x, y), (to_x, to_y) = wanted, drawn
    if math.dist(wanted, drawn) < GAP_MM:
        return ""
    return (
        f'<path class="leader" d="M{x:.2f} {y:.2f}L{to_x:.2f} {to_y:.2f}" stroke="#000" stroke-width="0.4"/>'
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.7" fill="#fff" stroke="#000" stroke-width="0.4"/>'
    )
