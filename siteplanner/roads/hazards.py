"""What a driver must be told about a road before getting there: facts; the words are in `planning.telling.roads`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
import shapely

from siteplanner.errors import Finding, Severity
from siteplanner.mission import Rig
from siteplanner.roads.attributes import BARRIERS
from siteplanner.roads.strokes import Strokes, bend_radius_m
from siteplanner.roads.tables import Geometry
from siteplanner.roads.tags import RoadTags

STEEP_SHARE = 0.6  # of the rig's steepest grade: worth a lower gear. Common practice
BEND_SHARE = 1.5  # of the rig's turning radius: worth a word. Common practice
NARROW_MARGIN_M = 1.0  # beside the rig's width. Common practice
KINDS = (
    "ford", "bridge", "tunnel", "limit", "gate", "private", "unreadable", "narrow", "unpaved", "under bridge", "bend",
    "steep", "hazard area", "season or hours", "overhead line",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Warned:
    """What the driver is warned of, wherever it lies; figures are None where there are none.

    `kind` is one of KINDS. `value`: a bend's radius, a width or a height in metres; the grade of `steep` in percent,
    rising the way the line was drawn (or as driven). `limit` is the rig's figure that counts against it. `what` is
    the word, name or condition from the data; `state` tells kinds apart: `locked` (gate), `one lane` (narrow), `open`
    or `not known` (season or hours). `posted`: (what, figure, unit) on the signs. `error` is the standard error of a
    grade too close to the limit to be sure, `over_m` the length a grade is told over.
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


def caution_findings(hazards: Iterable[Hazard]) -> tuple[Finding, ...]:
    """The cautions among hazards, one finding for each kind: how many, and the first."""
    kinds: dict[str, list[Hazard]] = {}
    for hazard in hazards:
        if hazard.severity == "caution":
            kinds.setdefault(hazard.kind, []).append(hazard)
    return tuple(
        Finding(
            f"route_{kind.replace(' ', '_')}",
            "caution",
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


def _posted(tags: RoadTags, i: int) -> tuple[tuple[str, float, str], ...]:
    return tuple(
        (name, float(value), unit)
        for name, value, unit in (
            ("height", tags.maxheight_m[i], "m"),
            ("weight", tags.maxweight_t[i], "t"),
            ("width", tags.maxwidth_m[i], "m"),
        )
        if value == value
    )


def barrier_warned(barrier: str, locked: bool) -> Warned | None:
    """What is told of a barrier; None for one that stops nobody or that nobody passes."""
    if not BARRIERS.get(barrier):
        return None
    if locked:
        return Warned(kind="gate", severity="caution", what=barrier, state="locked")
    return Warned(kind="gate", severity="warning", what=barrier)


def line_hazards(tags: RoadTags, rig: Rig, i: int) -> list[Warned]:
    """What the tags of line i warn of."""
    out: list[Warned] = []
    posted = _posted(tags, i)
    if tags.ford[i]:
        out.append(Warned(kind="ford", severity="caution"))
    if tags.bridge[i]:
        out.append(
            Warned(kind="bridge", severity="warning" if np.isnan(tags.maxweight_t[i]) else "note", posted=posted)
        )
    if tags.tunnel[i]:
        out.append(
            Warned(kind="tunnel", severity="warning" if np.isnan(tags.maxheight_m[i]) else "note", posted=posted)
        )
    elif not tags.bridge[i] and (
        tags.maxheight_m[i] == tags.maxheight_m[i] or tags.maxweight_t[i] == tags.maxweight_t[i]
    ):
        out.append(Warned(kind="limit", severity="note", posted=posted))
    gate = barrier_warned(tags.barrier[i], bool(tags.locked[i]))
    if gate is not None:
        out.append(gate)
    if tags.access[i] in ("private", "permit"):
        out.append(Warned(kind="private", severity="warning"))
    if tags.unreadable[i]:
        out.append(Warned(kind="unreadable", severity="caution", what=tags.unreadable[i]))
    width = tags.maxwidth_m[i]
    if width < rig.width_m + NARROW_MARGIN_M:
        out.append(Warned(kind="narrow", severity="warning", value=float(width), limit=rig.width_m))
    elif tags.one_lane[i]:
        out.append(Warned(kind="narrow", severity="note", state="one lane"))
    if tags.unpaved[i] == 1:
        kind = tags.surface[i] or (f"track type {tags.tracktype[i]}" if tags.tracktype[i] else "")
        out.append(Warned(kind="unpaved", severity="note", what=kind))
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
    """What was found on the segments: `under` rows of (segment, along, x, y) that pass below something."""

    bends: Bends
    steep: Steep
    under: np.ndarray
    points: tuple[Spotted, ...]


def collect_hazards(
    tags: RoadTags, rig: Rig, line: np.ndarray, geometry: Geometry, on: OnSegments
) -> tuple[tuple[Hazard, ...], ...]:
    """Hazards of each segment, in order along it. `line`: the road line that each was cut from (index in `tags`).

    Lines that are not for vehicles have none.
    """
    usable = (tags.road_class != "")[line]
    found: dict[int, list[Hazard]] = {}

    def add(segment: int, warned: Warned, along: float, x: float, y: float, stretch: bool = False) -> None:
        found.setdefault(segment, []).append(hazard_at(warned, along, x, y, stretch))

    def point(segment: int, along: float) -> tuple[float, float]:
        p = shapely.line_interpolate_point(geometry.line[segment], along)
        return shapely.get_x(p), shapely.get_y(p)

    known: dict[int, list[Warned]] = {}
    starts = np.flatnonzero(tags_with_hazards(tags, rig)[line] & usable)
    first = shapely.get_coordinates(shapely.get_point(geometry.line[starts], 0))
    for segment, (x, y) in zip(starts.tolist(), first.tolist(), strict=True):
        i = int(line[segment])
        if i not in known:
            known[i] = line_hazards(tags, rig, i)
        for warned in known[i]:
            add(segment, warned, 0.0, x, y, stretch=True)
    for number, along, x, y in on.under.tolist():
        height = float(tags.maxheight_m[line[int(number)]])
        stated = height == height
        add(
            int(number),
            Warned(kind="under bridge", severity="note" if stated else "caution", value=height if stated else None),
            along,
            x,
            y,
        )
    for warned, segment, along in on.points:
        add(segment, warned, along, *point(segment, along))
    bends, steep = on.bends, on.steep
    for segment, along, x, y, radius in zip(
        bends.segment.tolist(), bends.along_m, bends.x, bends.y, bends.radius_m, strict=True
    ):
        if usable[segment]:
            severity: Severity = "caution" if radius < rig.turning_radius_m else "note"
            warned = Warned(kind="bend", severity=severity, value=float(radius), limit=rig.turning_radius_m)
            add(segment, warned, along, x, y)
    with np.errstate(invalid="ignore"):
        told = np.flatnonzero(usable & (steep.near | (np.abs(steep.pct) >= STEEP_SHARE * rig.max_grade_pct)))
    for segment in told.tolist():
        near = bool(steep.near[segment])
        warned = Warned(
            kind="steep",
            severity="caution" if near else "warning",
            value=float(steep.pct[segment]),
            limit=rig.max_grade_pct,
            error=float(steep.error_pct[segment]) if near else None,
            over_m=steep.base_m,
        )
        add(segment, warned, steep.along_m[segment], *point(segment, steep.along_m[segment]))
    none: tuple[Hazard, ...] = ()
    return tuple(tuple(sorted(found[k], key=lambda h: h.along_m)) if k in found else none for k in range(len(line)))
