"""What a driver must be told about a road before getting there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from siteplanner.errors import Severity
from siteplanner.mission import Rig
from siteplanner.roads.attributes import BARRIERS
from siteplanner.roads.grades import near_words
from siteplanner.roads.strokes import Strokes, bend_radius_m
from siteplanner.roads.tags import RoadTags

STEEP_SHARE = 0.6  # of the rig's steepest grade: worth a lower gear. Common practice
BEND_SHARE = 1.5  # of the rig's turning radius: worth a word. Common practice
NARROW_MARGIN_M = 1.0  # beside the rig's width. Common practice
FORD_WORDS = "ford: depth unknown, look before driving in"


def locked_words(barrier: str) -> str:
    """What is said of a barrier that is locked or not open to the public."""
    return f"{barrier.replace('_', ' ')}: locked or not open to the public, get the key before leaving"


@dataclass(frozen=True)
class Hazard:
    """One thing on one segment. `along_m` is from the segment's start, `value` its figure or NaN.

    For `steep` the value is the grade in percent, rising from the segment's start to its end. `stretch` tells
    that it comes from the line's tags and may lie anywhere on the segment (bridge, ford, unpaved, narrow).
    """

    kind: str
    severity: Severity
    text: str
    along_m: float
    x: float
    y: float
    value: float = float("nan")
    stretch: bool = False


@dataclass(frozen=True, eq=False)
class Bends:
    """Tight bends: the tightest vertex of each."""

    segment: np.ndarray
    along_m: np.ndarray
    x: np.ndarray
    y: np.ndarray
    radius_m: np.ndarray


def find_bends(strokes: Strokes, rig: Rig) -> Bends:
    """Bends with a radius under 1.5 times the rig's.

    The radius is that of the circle through a vertex and the points a quarter of the rig's turning circle
    (pi R / 2) before and behind it: a corner drawn as one sharp vertex then counts as a bend below R only when
    it turns by more than about 104 degrees, a half circle of radius r < R always.
    """
    reach = np.pi * rig.turning_radius_m / 2
    radius = bend_radius_m(strokes, strokes.vertex_place, strokes.vertex_s, reach)
    hit = np.flatnonzero(radius < BEND_SHARE * rig.turning_radius_m)
    if not len(hit):
        none = np.empty(0)
        return Bends(none.astype(int), none, none, none, none)
    s, stroke = strokes.vertex_s[hit], strokes.stroke[strokes.vertex_place[hit]]
    group = np.cumsum((np.diff(stroke, prepend=-1) != 0) | (np.diff(s, prepend=-np.inf) > reach))
    order = np.lexsort((radius[hit], group))
    best = hit[order[np.flatnonzero(np.diff(group[order], prepend=-1))]]
    place = strokes.vertex_place[best]
    return Bends(
        strokes.order[place],
        strokes.along_segment(place, strokes.vertex_s[best]),
        strokes.vertex_x[best],
        strokes.vertex_y[best],
        radius[best],
    )


def _posted(tags: RoadTags, i: int) -> str:
    figures = [
        f"{name} {value:.3g} {unit}"
        for name, value, unit in (
            ("height", tags.maxheight_m[i], "m"),
            ("weight", tags.maxweight_t[i], "t"),
            ("width", tags.maxwidth_m[i], "m"),
        )
        if value == value
    ]
    return f"posted {', '.join(figures)}" if figures else "no figures posted"


def line_hazards(tags: RoadTags, rig: Rig, i: int) -> list[tuple[str, Severity, str, float]]:
    """(kind, severity, text, value) of what the tags of line i warn of."""
    out: list[tuple[str, Severity, str, float]] = []
    nan = float("nan")
    if tags.ford[i]:
        out.append(("ford", "caution", FORD_WORDS, nan))
    if tags.bridge[i]:
        out.append(
            ("bridge", "warning" if np.isnan(tags.maxweight_t[i]) else "note", f"bridge, {_posted(tags, i)}", nan)
        )
    if tags.tunnel[i]:
        out.append(
            ("tunnel", "warning" if np.isnan(tags.maxheight_m[i]) else "note", f"tunnel, {_posted(tags, i)}", nan)
        )
    elif not tags.bridge[i] and (
        tags.maxheight_m[i] == tags.maxheight_m[i] or tags.maxweight_t[i] == tags.maxweight_t[i]
    ):
        out.append(("limit", "note", _posted(tags, i), nan))
    words = BARRIERS.get(tags.barrier[i])
    if words and tags.locked[i]:
        out.append(("gate", "caution", locked_words(tags.barrier[i]), nan))
    elif words:
        out.append(("gate", "warning", words, nan))
    if tags.access[i] in ("private", "permit"):
        out.append(("private", "warning", "private road: ask the owner", nan))
    if tags.unreadable[i]:
        out.append(("unreadable", "caution", f"limit not readable: {tags.unreadable[i]}", nan))
    width = tags.maxwidth_m[i]
    if width < rig.width_m + NARROW_MARGIN_M:
        out.append(("narrow", "warning", f"narrow: {width:.3g} m for a rig of {rig.width_m:.3g} m", width))
    elif tags.one_lane[i]:
        out.append(("narrow", "note", "one lane", nan))
    if tags.unpaved[i] == 1:
        kind = tags.surface[i] or (f"track type {tags.tracktype[i]}" if tags.tracktype[i] else "no surface stated")
        out.append(("unpaved", "note", f"unpaved ({kind})", nan))
    return out


def tags_with_hazards(tags: RoadTags, rig: Rig) -> np.ndarray:
    """Which lines `line_hazards` has something for; cheap, so that plain roads cost nothing."""
    return (
        tags.ford
        | tags.bridge
        | tags.tunnel
        | tags.one_lane
        | (tags.barrier != "")
        | (tags.unreadable != "")
        | (tags.unpaved == 1)
        | np.isin(tags.access, ("private", "permit"))
        | np.isfinite(tags.maxheight_m)
        | np.isfinite(tags.maxweight_t)
        | (tags.maxwidth_m < rig.width_m + NARROW_MARGIN_M)
    )


def collect_hazards(
    tags: RoadTags,
    rig: Rig,
    *,
    line: np.ndarray,
    pieces: np.ndarray,
    length_m: np.ndarray,
    usable: np.ndarray,
    bends: Bends,
    steep_pct: np.ndarray,
    steep_along_m: np.ndarray,
    base_m: float,
    near: np.ndarray,
    grade_error_pct: np.ndarray,
    under: np.ndarray,
    points: list[tuple[str, Severity, str, int, float]],
) -> tuple[tuple[Hazard, ...], ...]:
    """Hazards of each segment, in order along it.

    Parameters (one per segment): `line` the road line it was cut from, `steep_pct` the steepest grade with its
    sign and place, `near` whether its error (`grade_error_pct`) leaves open if it breaks the rig's limit; `under`
    rows of (segment, along, x, y) that pass below something; `points` (kind, severity,
    words, segment, along) from barriers and fords. `usable` marks lines for vehicles; others get none.
    """
    found: dict[int, list[Hazard]] = {}

    def add(
        segment: int,
        kind: str,
        severity: Severity,
        text: str,
        along: float,
        x: float,
        y: float,
        value: float = float("nan"),
        stretch: bool = False,
    ) -> None:
        found.setdefault(segment, []).append(
            Hazard(kind, severity, text, float(along), float(x), float(y), float(value), stretch)
        )

    def point(segment: int, along: float) -> tuple[float, float]:
        p = shapely.line_interpolate_point(pieces[segment], along)
        return shapely.get_x(p), shapely.get_y(p)

    known: dict[int, list[tuple[str, Severity, str, float]]] = {}
    starts = np.flatnonzero(tags_with_hazards(tags, rig)[line] & usable)
    first = shapely.get_coordinates(shapely.get_point(pieces[starts], 0))
    for segment, (x, y) in zip(starts.tolist(), first.tolist(), strict=True):
        i = int(line[segment])
        if i not in known:
            known[i] = line_hazards(tags, rig, i)
        for kind, severity, text, value in known[i]:
            add(segment, kind, severity, text, 0.0, x, y, value, stretch=True)
    for segment, along, x, y in under.tolist():
        i = int(line[int(segment)])
        height = tags.maxheight_m[i]
        text = "passes under a bridge, " + (
            f"posted height {height:.3g} m" if height == height else "no height posted: measure before driving through"
        )
        add(int(segment), "under bridge", "note" if height == height else "caution", text, along, x, y, height)
    for kind, severity, words, segment, along in points:
        add(segment, kind, severity, words, along, *point(segment, along))
    for segment, along, x, y, radius in zip(
        bends.segment.tolist(), bends.along_m, bends.x, bends.y, bends.radius_m, strict=True
    ):
        if usable[segment]:
            tight = radius < rig.turning_radius_m
            add(
                segment,
                "bend",
                "caution" if tight else "note",
                f"sharp bend, radius about {radius:.0f} m"
                + (f": tighter than the rig's {rig.turning_radius_m:.0f} m" if tight else ""),
                along,
                x,
                y,
                radius,
            )
    with np.errstate(invalid="ignore"):
        steep = np.flatnonzero(usable & (near | (np.abs(steep_pct) >= STEEP_SHARE * rig.max_grade_pct)))
    for segment in steep.tolist():
        told: Severity = "warning"
        text = f"grade {abs(steep_pct[segment]):.0f} % over {base_m:.0f} m"
        if near[segment]:
            text, told = near_words(abs(steep_pct[segment]), grade_error_pct[segment], rig.max_grade_pct), "caution"
        add(
            segment,
            "steep",
            told,
            text,
            steep_along_m[segment],
            *point(segment, steep_along_m[segment]),
            steep_pct[segment],
        )
    none: tuple[Hazard, ...] = ()
    return tuple(tuple(sorted(found[k], key=lambda h: h.along_m)) if k in found else none for k in range(len(pieces)))
