"""What a driver must be told about a road before getting there: facts; the words are in `planning.telling.roads`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
import shapely

from siteplanner.errors import Finding, Severity
from siteplanner.mission import Rig
from siteplanner.roads.barriers import barrier_means
from siteplanner.roads.strokes import Strokes, bend_radius_m
from siteplanner.roads.tables import Geometry
from siteplanner.roads.tags import RoadTags

STEEP_SHARE = 0.6  # of the rig's steepest grade: worth a lower gear. Common practice
BEND_SHARE = 1.5  # of the rig's turning radius: worth a word. Common practice
NARROW_MARGIN_M = 1.0  # beside the rig's width. Common practice
KINDS = (
    "ford", "bridge", "tunnel", "limit", "gate", "private", "unreadable", "narrow", "unpaved", "under bridge", "bend",
    "steep", "hazard area", "season or hours", "overhead line", "access", "through traffic", "heavy vehicles",
    "trailers", "flooding", "danger", "level crossing", "covered", "works", "out of use", "four wheels", "no figure",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Warned:
    """What the driver is warned of, wherever it lies; figures are None where there are none.

    `kind` is one of KINDS. `value`: a bend's radius, a width or a height in metres; the grade of `steep` in percent,
    rising the way the line was drawn (or as driven). `limit` is the rig's figure that counts against it. `what` is
    the word, name or condition from the data; `state` tells kinds apart: `locked` (gate), `one lane` (narrow),
    `junction` (a bend that is a turn at one), `open` or `not known` (season or hours). `posted`: (what, figure, unit)
    on the signs. `error` is the standard error of a grade too close to the limit to be sure, `over_m` the length a
    grade is told over. `written`: what stands in the data instead of a figure, for the key `what`.
    """

    kind: str
    severity: Severity
    value: float | None = None
    limit: float | None = None
    what: str = ""
    state: str = ""
    posted: tuple[tuple[str, float, str], ...] = ()
    error: float | None = None
    over_m: float | None = None
    written: str = ""

    @property
    def warned(self) -> Warned:
        """The same without its place: equal where the same is told."""
        return Warned(**{f.name: getattr(self, f.name) for f in fields(Warned)})


@dataclass(frozen=True, kw_only=True)
class Hazard(Warned):
    """One thing on one segment. `along_m` is from the segment's start.

    `stretch` tells that it comes from the line's tags and may lie anywhere on the segment (bridge, ford, unpaved,
    narrow).
    """

    along_m: float
    x: float
    y: float
    stretch: bool = False


def hazard_at(warned: Warned, along_m: float, x: float, y: float, stretch: bool = False) -> Hazard:
    """What is warned of, at a place on a segment."""
    own = {f.name: getattr(warned, f.name) for f in fields(Warned)}
    return Hazard(**own, along_m=float(along_m), x=float(x), y=float(y), stretch=stretch)


def tight_warned(radius_m: float, limit_m: float) -> Warned:
    """A turn at a junction that is tighter than the rig's turning radius."""
    return Warned(kind="bend", severity="warning", value=radius_m, limit=limit_m, state="junction")


def warning_findings(hazards: Iterable[Warned]) -> tuple[Finding, ...]:
    """The dangers to people among hazards, one finding for each kind: how many, and the first."""
    kinds: dict[str, list[Warned]] = {}
    for hazard in hazards:
        if hazard.severity == "warning":
            kinds.setdefault(hazard.kind, []).append(hazard)
    return tuple(
        Finding(
            f"route_{kind.replace(' ', '_')}",
            "warning",
            facts={"count": len(found), **{f.name: getattr(found[0], f.name) for f in fields(Warned)}},
        )
        for kind, found in kinds.items()
    )


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


def barrier_warned(barrier: str, locked: bool, access: str = "") -> Warned | None:
    """What is told of a barrier; None for one that stops nobody or that nobody passes."""
    if barrier_means(barrier, access) != "told":
        return None
    if locked:
        return Warned(kind="gate", severity="warning", what=barrier, state="locked")
    return Warned(kind="gate", severity="check", what=barrier)


@dataclass(frozen=True, eq=False)
class Steep:
    """The steepest grade of each segment. `pct` has its sign, rising along the segment, `along_m` its place; `near`:
    its standard error `error_pct` leaves open whether it breaks the rig's limit. Told over `base_m` metres.
    """

    pct: np.ndarray
    along_m: np.ndarray
    near: np.ndarray
    error_pct: np.ndarray
    base_m: float


class Spotted(NamedTuple):
    """Something at a point of a segment, from barriers and fords on points."""

    warned: Warned
    segment: int
    along_m: float


@dataclass(frozen=True, eq=False)
class OnSegments:
    """What was found on the segments: `under` rows of (segment, along, x, y, line above) that pass below one."""

    bends: Bends
    steep: Steep
    under: np.ndarray
    points: tuple[Spotted, ...]


def collect_hazards(
    tags: RoadTags,
    rig: Rig,
    line: np.ndarray,
    geometry: Geometry,
    on: OnSegments,
    of_lines: dict[int, list[Warned]],
) -> tuple[tuple[Hazard, ...], ...]:
    """Hazards of each segment, in order along it. `line`: the road line that each was cut from (index in `tags`);
    `of_lines`: what the tags of a line warn of (`line_hazards`), where they do.

    Lines that are not for vehicles have none.
    """
    usable = (tags.road_class != "")[line]
    found: dict[int, list[Hazard]] = {}

    def add(segment: int, warned: Warned, along: float, x: float, y: float, stretch: bool = False) -> None:
        found.setdefault(segment, []).append(hazard_at(warned, along, x, y, stretch))

    def point(segment: int, along: float) -> tuple[float, float]:
        p = shapely.line_interpolate_point(geometry.line[segment], along)
        return shapely.get_x(p), shapely.get_y(p)

    there = np.zeros(len(tags.highway), bool)
    there[list(of_lines)] = True
    starts = np.flatnonzero(there[line] & usable)
    first = shapely.get_coordinates(shapely.get_point(geometry.line[starts], 0))
    for segment, (x, y) in zip(starts.tolist(), first.tolist(), strict=True):
        for warned in of_lines[int(line[segment])]:
            add(segment, warned, 0.0, x, y, stretch=True)
    for number, along, x, y, above in on.under.tolist():
        height = float(tags.maxheight_m[line[int(number)]])
        stated = height == height
        carried = "" if tags.road_class[int(above)] else str(tags.highway[int(above)])
        warned = Warned(
            kind="under bridge",
            severity="note" if stated else "warning",
            value=height if stated else None,
            what=carried,
        )
        add(int(number), warned, along, x, y)
    for warned, segment, along in on.points:
        add(segment, warned, along, *point(segment, along))
    bends, steep = on.bends, on.steep
    for segment, along, x, y, radius in zip(
        bends.segment.tolist(), bends.along_m, bends.x, bends.y, bends.radius_m, strict=True
    ):
        if usable[segment]:
            severity: Severity = "warning" if radius < rig.turning_radius_m else "note"
            warned = Warned(kind="bend", severity=severity, value=float(radius), limit=rig.turning_radius_m)
            add(segment, warned, along, x, y)
    with np.errstate(invalid="ignore"):
        told = np.flatnonzero(usable & (steep.near | (np.abs(steep.pct) >= STEEP_SHARE * rig.max_grade_pct)))
    for segment in told.tolist():
        near = bool(steep.near[segment])
        warned = Warned(
            kind="steep",
            severity="warning" if near else "check",
            value=float(steep.pct[segment]),
            limit=rig.max_grade_pct,
            error=float(steep.error_pct[segment]) if near else None,
            over_m=steep.base_m,
        )
        add(segment, warned, steep.along_m[segment], *point(segment, steep.along_m[segment]))
    none: tuple[Hazard, ...] = ()
    return tuple(tuple(sorted(found[k], key=lambda h: h.along_m)) if k in found else none for k in range(len(line)))
