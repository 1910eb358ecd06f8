"""Turns at junctions that are tighter than the rig's turning circle: found on a drive, or forbidden beforehand.

Measured as bends of a road are (`hazards.find_bends`): the circle through a point and the points a quarter of the rig's
turning circle before and behind it, so that a corner drawn as one vertex counts from about 104 degrees on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import LineString

from siteplanner.roads.search import arc_seconds
from siteplanner.roads.strokes import three_point_radius_m
from siteplanner.roads.tables import Geometry, Times
from siteplanner.roads.turns import Banned, Path, allowed_turns
from siteplanner.roads.waits import Junctions


@dataclass(frozen=True)
class TightTurn:
    """A turn of a drive at a junction: where, and how tight."""

    running_m: float
    x: float
    y: float
    radius_m: float


def tight_turns(line: LineString, running_m: np.ndarray, busy: np.ndarray, radius_m: float) -> tuple[TightTurn, ...]:
    """Turns of a drive tighter than `radius_m` at the places `running_m` from its start that are junctions (`busy`).

    Of several within a quarter of the turning circle the tightest: a U-turn over a median is one turn.
    """
    reach = np.pi * radius_m / 2
    at = running_m[busy]
    at = at[(at > reach / 2) & (at < line.length - reach / 2)]
    if not len(at):
        return ()
    xy = [
        shapely.get_coordinates(shapely.line_interpolate_point(line, np.clip(m, 0.0, line.length)))
        for m in (at - reach, at, at + reach)
    ]
    (a, b, c) = xy
    radius = three_point_radius_m(a[:, 0], a[:, 1], b[:, 0], b[:, 1], c[:, 0], c[:, 1])
    hit = np.flatnonzero(radius < radius_m)
    group = np.cumsum(np.diff(at[hit], prepend=-np.inf) > reach)
    out = []
    for number in np.unique(group).tolist():
        members = hit[group == number]
        k = int(members[np.argmin(radius[members])])
        out.append(TightTurn(float(at[k]), float(b[k, 0]), float(b[k, 1]), float(radius[k])))
    return tuple(out)


def without_tight_turns(banned: Banned, geometry: Geometry, times: Times, junctions: Junctions) -> Banned:
    """What is forbidden, and besides every turn at a junction that is tighter than the rig's circle, over a link that
    is shorter than a quarter of the circle too (a U-turn over a median).
    """
    open_ = np.isfinite(arc_seconds(times))
    turns = allowed_turns(geometry.seg_from, geometry.seg_to, open_, banned.pairs)
    arc, follow = np.repeat(turns.arc, np.diff(turns.first)), turns.follow
    tight = junctions.is_tight(arc, follow)
    pairs = np.unique(np.concatenate([banned.pairs, np.stack([arc[tight], follow[tight]], axis=1)]), axis=0)
    paths = _over_links(geometry, junctions, arc[~tight], follow[~tight])
    return replace(banned, pairs=pairs, paths=tuple(sorted({*banned.paths, *paths})))


def _over_links(geometry: Geometry, junctions: Junctions, arc: np.ndarray, follow: np.ndarray) -> set[Path]:
    reach = np.pi * junctions.radius_m / 2
    short = geometry.length_m[follow >> 1] < reach
    into: dict[int, list[int]] = {}
    for a, link in zip(arc[short].tolist(), follow[short].tolist(), strict=True):
        into.setdefault(link, []).append(a)
    on = np.flatnonzero(np.isin(arc, list(into)))
    out: set[Path] = set()
    for link, b in zip(arc[on].tolist(), follow[on].tolist(), strict=True):
        length = float(geometry.length_m[link >> 1])
        over = junctions.ahead[link] * length / reach  # the link as a vector
        beyond = over + junctions.ahead[b] * (reach - length) / reach
        for a in into[link]:
            if a >> 1 == b >> 1 or not junctions.busy[junctions.head[a]]:
                continue
            before = junctions.ahead[a ^ 1]
            radius = three_point_radius_m(before[0], before[1], 0.0, 0.0, beyond[0], beyond[1])
            if radius < junctions.radius_m:
                out.add((a, link, b))
    return out
