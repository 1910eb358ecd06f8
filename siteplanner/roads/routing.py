"""From the staging point to every road, to the road nearest a spot, and the way between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.ops import substring

from siteplanner.errors import Finding, InputError
from siteplanner.roads.closed_off import ClosedOff, closed_off
from siteplanner.roads.exits import ExitTree, OnRoad, exit_tree
from siteplanner.roads.hazards import tight_warned
from siteplanner.roads.legs import legs_profile, legs_steepest, legs_unknown, legs_waits, rolling_s
from siteplanner.roads.network import RoadNetwork
from siteplanner.roads.reasons import UnknownAlong
from siteplanner.roads.search import Search, nowhere, search
from siteplanner.roads.start import TOLD_GAP_M, NoStart, find_start, start_findings
from siteplanner.roads.through import drive_findings
from siteplanner.roads.tight_turns import TightTurn, tight_turns
from siteplanner.roads.unreached import UnreachedPart, unreached_finding, unreached_parts
from siteplanner.roads.waits import NO_WAITS, Waits

_SAME_M = 1e-6  # the staging point itself, to the rounding of a projection onto a line


@dataclass(frozen=True, eq=False)
class DriveTree:
    """Quickest driving times from one staging point to everywhere.

    `x`, `y` is the staging point, snapped to `along_m` metres on `segment`, `offset_m` away. `node_s` are arrival
    times in seconds (infinite: not reached). `seg_s` is the earliest arrival anywhere on a segment, `reached`
    whether any part of it can be driven on. `search` knows the ways. `refused`: why no rig leaves the point at all;
    nothing is reached then and `segment` is -1.
    """

    network: RoadNetwork
    x: float
    y: float
    segment: int
    along_m: float
    snapped_x: float
    snapped_y: float
    offset_m: float
    search: Search
    seg_s: np.ndarray
    reached: np.ndarray
    refused: NoStart | None = None

    @property
    def gap_m(self) -> float:
        """Way from the staging point to its road, over ground that no road data show; 0 where it lies on the road."""
        return self.offset_m if self.offset_m > TOLD_GAP_M else 0.0

    @property
    def node_s(self) -> np.ndarray:
        return self.search.node_s

    @cached_property
    def reached_segments(self) -> np.ndarray:
        return np.flatnonzero(self.reached)

    @cached_property
    def reached_tree(self) -> shapely.STRtree:
        """Of what can be driven on, in the order of `reached_segments`."""
        lines = self.network.geometry.line[self.reached_segments]
        if self.refused is not None:
            return shapely.STRtree(lines)
        # only the staging point's own segment can be reached in part: a one-way street does not lead back
        length = float(self.network.geometry.length_m[self.segment])
        at_ends = self.arrival_s(np.array([self.segment] * 2), np.array([0.0, length]))
        low, high = (limit if np.isfinite(s) else self.along_m for limit, s in zip((0.0, length), at_ends, strict=True))
        if (low, high) != (0.0, length):
            lines[self.reached_segments == self.segment] = substring(
                self.network.geometry.line[self.segment], low, high
            )
        return shapely.STRtree(lines)

    @cached_property
    def stops(self) -> np.ndarray:
        """Segments where the rig may leave the road."""
        return np.flatnonzero(self.reached & self.network.may_stop)

    @cached_property
    def stops_tree(self) -> shapely.STRtree:
        """Of what can be driven on of them, in the order of `stops`."""
        return shapely.STRtree(self.reached_tree.geometries[self.network.may_stop[self.reached_segments]])

    def arrival_s(self, segment: np.ndarray, along_m: np.ndarray) -> np.ndarray:
        """Seconds to points on segments (arrays); infinite where they cannot be driven to."""
        n = self.network
        segment, along_m = np.asarray(segment), np.asarray(along_m, float)
        share = np.clip(along_m / n.geometry.length_m[segment], 0.0, 1.0)
        forward, backward = n.times.forward_s[segment], n.times.backward_s[segment]
        with np.errstate(invalid="ignore"):
            via_from = np.where(
                share > 0,
                self.search.enter_from_s[segment] + forward * share,
                self.node_s[n.geometry.seg_from[segment]],
            )
            via_to = np.where(
                share < 1,
                self.search.enter_to_s[segment] + backward * (1 - share),
                self.node_s[n.geometry.seg_to[segment]],
            )
            ahead = share - self.along_m / n.geometry.length_m[self.segment]
            ahead = np.where(np.abs(ahead) * n.geometry.length_m[self.segment] < _SAME_M, 0.0, ahead)
            direct = np.where(ahead >= 0, forward * np.maximum(ahead, 0), backward * np.maximum(-ahead, 0))
        direct = np.where(ahead == 0, 0.0, direct)
        best = np.fmin(via_from, via_to)
        return np.where(segment == self.segment, np.fmin(best, direct), best)

    @cached_property
    def unreached(self) -> tuple[UnreachedPart, ...]:
        """Parts for the rig that cannot be reached, the longest first."""
        return unreached_parts(self.network, self.reached, self.reached_segments, self.reached_tree)

    @cached_property
    def closed_off(self) -> ClosedOff:
        """What cannot be reached only because something is closed."""
        return closed_off(self.network, self.reached, self.node_s)

    @cached_property
    def exits_at_staging(self) -> ExitTree:
        """The way to the staging point."""
        start = OnRoad(self.segment, self.along_m)
        return exit_tree(self.network.geometry, self.network.judged.drivable, (start,))

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """A staging point off its road or without one, and roads that cannot be reached from it."""
        gap = unreached_finding(self.unreached, self.network.crs)
        return (*start_findings(self.offset_m, self.refused), *([gap] if gap else []))


def drive_tree(network: RoadNetwork, x: float, y: float) -> DriveTree:
    """Drive from the point (x, y), metres in the network's CRS, to everywhere.

    The rig gets onto the road as `start.find_start` tells; where it does not, nothing is reached and `refused` says
    why. Shortest paths: see `roads.search`.
    """
    begin = find_start(network, x, y)
    nothing = float("nan")
    if isinstance(begin, NoStart):
        never = np.full(len(network), np.inf)
        none = np.zeros(len(network), bool)
        place = nothing, nothing, nothing, nothing
        return DriveTree(network, float(x), float(y), -1, *place, nowhere(network), never, none, begin)
    found = search(network, begin.segment, begin.along_m)
    seg_s = np.minimum(
        np.where(np.isfinite(network.times.forward_s), found.enter_from_s, np.inf),
        np.where(np.isfinite(network.times.backward_s), found.enter_to_s, np.inf),
    )
    seg_s[begin.segment] = 0.0
    reached = network.judged.drivable & np.isfinite(seg_s)
    seg_s = np.where(reached, seg_s, np.inf)
    return DriveTree(
        network, float(x), float(y), begin.segment, begin.along_m, begin.x, begin.y, begin.gap_m, found, seg_s, reached
    )


@dataclass(frozen=True)
class AccessPoint:
    """Where the rig leaves the road for a target. `offset_m` is the straight last leg, `arrival_s` the drive."""

    segment: int
    along_m: float
    x: float
    y: float
    offset_m: float
    arrival_s: float
    target_x: float
    target_y: float


def nearest_accesses(
    network: RoadNetwork, tree: DriveTree, x: np.ndarray, y: np.ndarray, max_offset_m: float | None = None
) -> list[AccessPoint | None]:
    """The nearest place on a reached road where the rig may stop, for each point (x, y); None where none lies within
    `max_offset_m`.

    Of equally near places (a junction) the one reached first counts. What one-way rules keep out of reach does
    not count, nor do tunnels, bridges, motorways and the like (`stopping`).
    """
    x, y = np.atleast_1d(np.asarray(x, float)), np.atleast_1d(np.asarray(y, float))
    out: list[AccessPoint | None] = [None] * len(x)
    if not len(tree.stops):
        return out
    points = np.asarray(shapely.points(x, y), object)
    (who, hit), offset = (
        tree.stops_tree.query_nearest(points, max_distance=max_offset_m, return_distance=True, all_matches=True)
        if max_offset_m is None or max_offset_m > 0
        else ((np.empty(0, int), np.empty(0, int)), np.empty(0))
    )
    segment = tree.stops[hit]
    reached = tree.stops_tree.geometries[hit]
    feet = shapely.get_coordinates(shapely.shortest_line(points[who], reached))[1::2]
    near = np.asarray(shapely.points(feet), object)
    along = shapely.line_locate_point(network.geometry.line[segment], near)
    arrival = tree.arrival_s(segment, along)
    order = np.lexsort((segment, arrival, who))
    first = order[np.flatnonzero(np.diff(who[order], prepend=-1))]
    first = first[np.isfinite(arrival[first])]
    spot = shapely.get_coordinates(shapely.line_interpolate_point(network.geometry.line[segment[first]], along[first]))
    for k, (px, py) in zip(first.tolist(), spot.tolist(), strict=True):
        i = int(who[k])
        out[i] = AccessPoint(
            int(segment[k]), float(along[k]), px, py, float(offset[k]), float(arrival[k]), float(x[i]), float(y[i])
        )
    return out


def nearest_access(
    network: RoadNetwork, tree: DriveTree, x: float, y: float, max_offset_m: float | None = None
) -> AccessPoint | None:
    """`nearest_accesses` for one point."""
    return nearest_accesses(network, tree, np.array([x]), np.array([y]), max_offset_m)[0]


@dataclass(frozen=True, eq=False)
class Route:
    """The drive from the staging point's road to an access point.

    `segments[k]` is driven from `start_m[k]` to `end_m[k]` (metres from its own start; falling when driven
    against its direction, `directions[k]` = -1). `worst_grade_pct` has the sign of the steeper of
    `up_grade_pct` (steepest climb) and `down_grade_pct` (steepest descent, both >= 0), NaN when unknown all the
    way; `*_error_pct` one standard error, 0 for a posted grade. `profile_*` are distance, smoothed road height and
    grade (climbing positive as driven) along the way.
    """

    line: LineString
    distance_m: float
    time_s: float
    up_grade_pct: float
    down_grade_pct: float
    worst_grade_pct: float
    up_grade_error_pct: float
    down_grade_error_pct: float
    climb_m: float
    descent_m: float
    segments: np.ndarray
    directions: np.ndarray
    start_m: np.ndarray
    end_m: np.ndarray
    access: AccessPoint
    unknown: tuple[UnknownAlong, ...]
    findings: tuple[Finding, ...]
    profile_distance_m: np.ndarray
    profile_elevation_m: np.ndarray
    profile_grade_pct: np.ndarray
    waits: Waits = NO_WAITS  # in `time_s` with its likely seconds
    tight_turns: tuple[TightTurn, ...] = ()  # at junctions, that are no bends of a road

    @property
    def worst_grade_error_pct(self) -> float:
        """One standard error of the steepest grade."""
        return self.up_grade_error_pct if self.worst_grade_pct >= 0 else self.down_grade_error_pct

    @cached_property
    def running_m(self) -> np.ndarray:
        """Distance driven at the start of each segment and at the end, one longer than `segments`."""
        return np.concatenate([[0.0], np.cumsum(np.abs(self.end_m - self.start_m))])


def route_legs(network: RoadNetwork, tree: DriveTree, access: AccessPoint) -> list[tuple[int, float, float]]:
    """(segment, start along, end along) of the quickest way."""
    seg, length = access.segment, float(network.geometry.length_m[access.segment])
    share = min(max(access.along_m / length, 0.0), 1.0)
    forward, backward = network.times.forward_s[seg], network.times.backward_s[seg]
    found = tree.search
    a, b = int(network.geometry.seg_from[seg]), int(network.geometry.seg_to[seg])
    via_from = float(found.enter_from_s[seg] + forward * share if share > 0 else found.node_s[a])
    via_to = float(found.enter_to_s[seg] + backward * (1 - share) if share < 1 else found.node_s[b])
    if seg == tree.segment:
        ahead = access.along_m - tree.along_m
        direct = 0.0 if abs(ahead) < _SAME_M else (forward if ahead > 0 else backward) * abs(ahead) / length
        if direct <= min(via_from, via_to) and np.isfinite(direct):
            return [(seg, tree.along_m, tree.along_m if direct == 0 else access.along_m)]
    if not np.isfinite(min(via_from, via_to)):
        raise InputError("The access point cannot be reached.", remedy="Take it from nearest_access.")
    if via_from <= via_to:
        entry, (leave, arcs) = 0.0, found.way(a, 2 * seg if share > 0 else None)
    else:
        entry, (leave, arcs) = length, found.way(b, 2 * seg + 1 if share < 1 else None)
    legs = [(tree.segment, tree.along_m, leave)]
    for arc in arcs:
        size = float(network.geometry.length_m[arc >> 1])
        legs.append((arc >> 1, size, 0.0) if arc & 1 else (arc >> 1, 0.0, size))
    legs.append((seg, entry, access.along_m))
    kept = [leg for leg in legs if abs(leg[2] - leg[1]) > 1e-9]
    return kept or [legs[0]]


def route_to(network: RoadNetwork, tree: DriveTree, access: AccessPoint) -> Route:
    """The quickest drive to an access point that `nearest_access` gave for the same tree.

    Raises InputError when the access point is not reached.
    """
    return route_along(network, route_legs(network, tree, access), access)


def route_along(network: RoadNetwork, legs: Sequence[tuple[int, float, float]], access: AccessPoint) -> Route:
    """The drive over given legs (segment, metres along it at entry, at exit), each beginning where the last ended."""
    pieces = [substring(network.geometry.line[s], a, b) for s, a, b in legs]
    xy = [shapely.get_coordinates(p) for p in pieces]
    joined = np.vstack([xy[0], *(c[1:] for c in xy[1:])])
    if len(joined) < 2:  # the staging point is the access point
        joined = np.vstack([joined, joined])
    segments = np.array([s for s, _, _ in legs], int)
    start, end = np.array([a for _, a, _ in legs]), np.array([b for _, _, b in legs])
    directions = np.where(end >= start, 1, -1)
    line, waits = LineString(joined), legs_waits(network, legs)
    tight = _tight_turns(network, line, segments, directions, np.abs(end - start))
    (up, up_error), (down, down_error) = legs_steepest(network, legs)
    distance, height, grades = legs_profile(network, legs)
    rise = np.diff(height[np.isfinite(height)])
    any_height = bool(np.isfinite(height).any())
    return Route(
        line=line,
        distance_m=float(np.abs(end - start).sum()),
        time_s=rolling_s(network, legs) + waits.likely_s,
        waits=waits,
        up_grade_pct=up,
        down_grade_pct=down,
        worst_grade_pct=up if not up < down else -down,
        up_grade_error_pct=up_error,
        down_grade_error_pct=down_error,
        climb_m=float(rise[rise > 0].sum()) if any_height else float("nan"),
        descent_m=float(-rise[rise < 0].sum()) if any_height else float("nan"),
        segments=segments,
        directions=directions,
        start_m=start,
        end_m=end,
        access=access,
        unknown=legs_unknown(network, legs),
        findings=drive_findings(
            network,
            segments,
            np.abs(end - start),
            [tight_warned(turn.radius_m, network.turning_radius_m) for turn in tight],
        ),
        profile_distance_m=distance,
        profile_elevation_m=height,
        profile_grade_pct=grades,
        tight_turns=tight,
    )


def _tight_turns(
    network: RoadNetwork, line: LineString, segments: np.ndarray, directions: np.ndarray, driven_m: np.ndarray
) -> tuple[TightTurn, ...]:
    """At the junctions of a drive; where a bend of the road itself is told of that place, that is all."""
    junctions = network.junctions
    if junctions is None or len(segments) < 2:
        return ()
    arcs = 2 * segments + (directions < 0)
    running = np.cumsum(driven_m)
    found = tight_turns(line, running[:-1], junctions.busy[junctions.head[arcs[:-1]]], junctions.radius_m)
    bends = [(h.x, h.y) for s in segments.tolist() for h in network.hazards[s] if h.kind == "bend"]
    reach = np.pi * junctions.radius_m / 2
    return tuple(t for t in found if not any(np.hypot(t.x - x, t.y - y) < reach for x, y in bends))
