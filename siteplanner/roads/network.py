"""The road network that a rig drives on: built once, then only read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from siteplanner.data.grid import Grid
from siteplanner.data.osm import WAY, TurnRestriction
from siteplanner.errors import Finding, InputError
from siteplanner.mission import Rig, Speeds
from siteplanner.roads import cells
from siteplanner.roads.access import verdict
from siteplanner.roads.border import THROUGH
from siteplanner.roads.closures import DRAWN, Closure, closed_by, closure_findings, closure_list, with_dangers
from siteplanner.roads.conditions import Timed, timed_findings, timed_hazard, timed_lines
from siteplanner.roads.exits import Edges, ExitTree, OnRoad, exit_tree, find_exits, sides_of
from siteplanner.roads.hazards import Hazard, OnSegments, Spotted, collect_hazards
from siteplanner.roads.judge import judge_segments
from siteplanner.roads.limits import unknown_finding
from siteplanner.roads.line_hazards import line_hazards, tags_with_hazards
from siteplanner.roads.lines import flags, joined_finding, part_nodes, road_lines, vertex_ids
from siteplanner.roads.measure import Relief, measure
from siteplanner.roads.noding import REACH_M, SNAP_M, Noded, node_lines
from siteplanner.roads.points import RoadPoint, road_points
from siteplanner.roads.search import arc_seconds
from siteplanner.roads.signs import Signs, read_signs
from siteplanner.roads.stopping import ramps
from siteplanner.roads.tables import Geometry, Grades, Heights, Judged, SegmentTags, Times, times_of
from siteplanner.roads.tags import RoadTags, read_tags
from siteplanner.roads.tight_turns import without_tight_turns
from siteplanner.roads.turns import Banned, Path, Turns, allowed_turns, banned_turns, no_turns
from siteplanner.roads.waits import Junctions, find_junctions

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

THROUGH_FACTOR = 5.0  # a way through roads that are not to be passed through is taken when five times as quick as any
# other. Common practice


@dataclass(frozen=True, eq=False)
class RoadNetwork:
    """Segments between nodes in a metric CRS, in tables with one entry for each segment. Facts only: their words are
    in `planning.telling.roads`.
    """

    crs: CRS
    geometry: Geometry
    tags: SegmentTags
    judged: Judged
    grades: Grades
    profile: Heights
    times: Times
    hazards: tuple[tuple[Hazard, ...], ...]
    findings: tuple[Finding, ...] = ()
    stops: tuple[RoadPoint, ...] = ()  # points on roads that the rig does not get past
    banned_turns: np.ndarray = field(default_factory=no_turns)  # (n, 2): arc that arrives, arc that must not follow
    exits: tuple[OnRoad, ...] = ()  # where roads for the rig leave the data
    perhaps_exits: tuple[OnRoad, ...] = ()  # where they may leave it
    signs: Signs | None = None
    junctions: Junctions | None = None
    banned_paths: tuple[Path, ...] = ()  # arcs that must not be driven one after the other
    known_turns: Turns | None = None  # where other times leave them as they are

    def __len__(self) -> int:
        return len(self.geometry.length_m)

    @cached_property
    def choice_s(self) -> np.ndarray:
        """Seconds of each arc to choose a way by: roads not to be passed through count longer than they take."""
        slower = np.where(self.tags.destination, THROUGH_FACTOR, 1.0)
        return arc_seconds(self.times) * np.repeat(slower, 2)

    @cached_property
    def turns(self) -> Turns:
        """What may follow what, and the seconds between."""
        if self.known_turns is not None:
            return self.known_turns
        g, open_ = self.geometry, np.isfinite(arc_seconds(self.times))
        seconds = self.junctions.likely_s if self.junctions is not None else None
        return allowed_turns(g.seg_from, g.seg_to, open_, self.banned_turns, self.banned_paths, seconds)

    @cached_property
    def lines_tree(self) -> shapely.STRtree:
        """All segments' lines, in their order."""
        return shapely.STRtree(self.geometry.line)

    @cached_property
    def usable(self) -> np.ndarray:
        """Segments that the rig may drive at least one way."""
        one_way = np.isfinite(self.times.forward_s) | np.isfinite(self.times.backward_s)
        return np.flatnonzero(self.judged.drivable & one_way)

    @cached_property
    def may_stop(self) -> np.ndarray:
        """Bool: the rig may stop, start and leave the road here, as far as the kind of road goes."""
        return self.tags.for_vehicles & (self.tags.no_stop == "")

    @cached_property
    def exits_beyond(self) -> ExitTree | None:
        """The way to the roads that leave the data; None where none does."""
        return exit_tree(self.geometry, self.judged.drivable, self.exits) if self.exits else None

    @cached_property
    def exits_perhaps(self) -> ExitTree | None:
        """The way to those and to the roads that may leave the data; None where there are none such."""
        both = sorted((*self.exits, *self.perhaps_exits))
        return exit_tree(self.geometry, self.judged.drivable, both) if self.perhaps_exits else None

    @property
    def turning_radius_m(self) -> float:
        """The rig's; NaN where nothing was measured."""
        return self.junctions.radius_m if self.junctions is not None else float("nan")

    @property
    def mean_speed_kmh(self) -> np.ndarray:
        """The rig's speed on each segment, shut for it or not; NaN on what is no road."""
        return 3.6 * self.geometry.length_m / self.times.open_s

    def with_limits_lifted(self, but: np.ndarray) -> RoadNetwork:
        """The same roads as if none were shut for the rig `but` some (bool, one a segment); one-way rules stay."""
        open_ = self.judged.drivable | (self.tags.for_vehicles & ~but)
        return replace(self, times=times_of(self.times.open_s, self.times.direction, open_), known_turns=None)

    def with_times(self, forward_s: np.ndarray, backward_s: np.ndarray) -> RoadNetwork:
        """The same roads driven in other times; what is open stays so."""
        made = replace(self.times, forward_s=forward_s, backward_s=backward_s)
        same = np.array_equal(np.isfinite(arc_seconds(made)), np.isfinite(arc_seconds(self.times)))
        return replace(self, times=made, known_turns=self.turns if same else None)


def _checked(roads: GeoDataFrame) -> CRS:
    if roads.crs is None:
        raise InputError("The roads have no coordinate reference system.", remedy="Set the CRS of the layer.")
    crs = CRS(roads.crs)
    if not crs.is_projected or abs(crs.axis_info[0].unit_conversion_factor - 1) > 1e-9:
        raise InputError("The road network needs a CRS in meters.", remedy="Reproject the roads first.")
    return crs


def build_network(
    roads: GeoDataFrame,
    *,
    elevation: Grid | None,
    rig: Rig,
    speeds: Speeds,
    node_crossings: bool = True,
    closures: BaseGeometry | Sequence[Closure] | None = None,
    dangers: Sequence[Closure] = (),
    restrictions: Sequence[TurnRestriction] = (),
    when: datetime | None = None,
    elevation_error_m: float = 0.0,
    source_cell_m: float | None = None,
    edges: Edges | None = None,
) -> RoadNetwork:
    """Build the network from road lines with OpenStreetMap keys as columns (any may be missing).

    Parameters: `roads` lines in a CRS of metres; rows of points with a `barrier` tag act where they lie on a
    line. `elevation` in the same CRS, or None (grades unknown). With `node_crossings`, lines on one level
    (`layer`, `bridge`, `tunnel`) join where they cross and ends within 2 m of a line are led to it; without,
    only common vertices join. Rows with ids of their vertices (column `osm_nodes`, from an OpenStreetMap extract)
    join where they share an id and nowhere else; rows marked in a column `drawn` (lines that the user drew) join
    all that they cross or just miss. `closures`: area in the same CRS that must not be driven through, or several
    with their names; `dangers`: areas whose roads stay open and carry a hazard. `restrictions`: signed turns, by
    the ways of the column `osm_way`. `when`: time of dispatch, for access by season and hours; None: not known.
    `elevation_error_m`: one standard deviation of a height, independent every `source_cell_m` (None: the raster's
    own cells); a grade from elevation closer to the rig's limit than its standard error leaves the road unsure: open
    with a caution below the limit, shut above it, and both say so. `edges`: what says where roads leave the data;
    None: the box around all lines.

    Raises InputError for a CRS that is missing or not metric, or when no usable line is left.
    """
    crs = _checked(roads)
    findings: list[Finding] = []
    lines, row, points = road_lines(roads, findings)
    if not len(lines):
        raise InputError("The roads have no usable line.", remedy="Give a layer of road lines.")
    tags, tag_findings = read_tags(roads, rig)
    findings += tag_findings
    marks = road_points(roads, points, rig)
    stops = [m for m in marks if m.reasons]
    ids, drawn = vertex_ids(roads, lines, row), flags(roads, DRAWN)
    cross = node_crossings and ids is None
    shut, dangers = closure_list(closures), closure_list(dangers)
    noded = node_lines(
        lines,
        tags.level[row],
        cross=cross,
        reach_m=REACH_M if cross else 0.0,
        cut_by=[c.shape for c in (*shut, *dangers)],
        cut_at=np.array([(m.x, m.y) for m in stops]) if stops else None,
        vertex_id=ids,
        drawn=drawn[row],
    )
    noded = part_nodes(noded, [(m.x, m.y) for m in stops])
    stops = _on_roads(stops, noded, tags, row)
    if len(noded.mended):
        findings.append(joined_finding(noded, crs))
    timed = timed_lines(tags, rig, when)
    findings += timed_findings(timed, tags.name, when is not None)
    row_of_line, row = row, row[noded.line]
    geometry = Geometry(
        noded.node_x, noded.node_y, noded.start_node, noded.end_node, noded.piece, shapely.length(noded.piece)
    )
    measured = measure(noded, row, tags, rig, speeds, Relief(elevation, elevation_error_m, source_cell_m or 0.0))
    under = _under(noded, row, tags, row_of_line)
    storey = tags.level[row]
    judged = judge_segments(
        tags, row, rig, timed, measured, under[:, 0].astype(np.int64), closed_by(shut, noded.piece, storey)
    )
    of_segments = _tags(tags, row, drawn, noded)
    on = OnSegments(measured.bends, measured.steep, under, _spotted(marks, noded.piece))
    of_lines = {i: line_hazards(tags, rig, i) for i in np.flatnonzero(tags_with_hazards(tags, rig)).tolist()}
    hazards = collect_hazards(tags, rig, row, geometry, on, of_lines)
    hazards = with_dangers(hazards, dangers, noded.piece, storey, of_segments.for_vehicles)
    not_stated = unknown_finding(judged.unknown, judged.drivable, geometry.length_m)
    road_row = np.where(of_segments.for_vehicles, row, -1)
    for_rig = judged.drivable & ~of_segments.drawn
    edges = edges or Edges(sides=(sides_of(noded.piece),))
    classed = bool((tags.highway[row] != "").any())
    through = np.isin(tags.road_class[row], THROUGH) if classed else None
    exits = find_exits(roads, points, geometry, road_row, for_rig, edges, through)
    if exits.perhaps:
        findings.append(Finding("road_border_irregular", "check", facts={"count": len(exits.perhaps)}))
    junctions = find_junctions(roads, points, noded, of_segments.for_vehicles, speeds, rig.turning_radius_m)
    times = times_of(measured.open_s, tags.direction[row], judged.drivable)
    banned = _banned(restrictions, roads, row, noded)
    if banned.left_out:
        findings.append(Finding("turn_restrictions_left_out", "check", facts={"count": banned.left_out}))
    if rig.tight_bends == "exclude":
        banned = without_tight_turns(banned, geometry, times, junctions)
    return RoadNetwork(
        crs,
        geometry,
        of_segments,
        judged,
        measured.grades,
        measured.heights,
        times,
        _with_timed(hazards, geometry, of_segments, timed),
        (
            *findings,
            *_about(of_segments, judged, geometry),
            *([not_stated] if not_stated else ()),
            *closure_findings(of_segments, judged, geometry.length_m),
            *_stopped(stops),
        ),
        tuple(stops),
        banned.pairs,
        exits.sure,
        exits.perhaps,
        read_signs(roads, points, row, noded),
        junctions,
        banned.paths,
    )


def _tags(tags: RoadTags, row: np.ndarray, drawn: np.ndarray, noded: Noded) -> SegmentTags:
    road = (tags.road_class != "")[row]
    return SegmentTags(
        tags.name[row],
        tags.highway[row],
        tags.surface[row],
        tags.unpaved[row],
        road,
        tags.roundabout[row],
        ramps(tags.no_stop[row], tags.highway[row], road, noded.start_node, noded.end_node),
        cells.where(tags.access, lambda w: verdict(w) == "destination")[row],
        drawn[row],
        row,
    )


def _banned(restrictions: Sequence[TurnRestriction], roads: GeoDataFrame, row: np.ndarray, noded: Noded) -> Banned:
    if not restrictions:
        return Banned(no_turns())
    way = roads[WAY].fillna(0).to_numpy(np.int64)[row]
    return banned_turns(restrictions, way, noded.start_node, noded.end_node, noded.node_id)


def _under(noded: Noded, row: np.ndarray, tags: RoadTags, row_of_line: np.ndarray) -> np.ndarray:
    """Rows (segment, along, x, y, line above) where a segment passes below a line on a higher level."""
    if not len(noded.under):
        return np.empty((0, 5))
    pieces = noded.piece
    points = np.asarray(shapely.points(noded.under[:, :2]), object)
    k, segment = shapely.STRtree(pieces).query(points, predicate="dwithin", distance=2 * SNAP_M)
    mine = (noded.line[segment] == noded.under[k, 2]) & ~tags.tunnel[row[segment]]
    k, segment = k[mine], segment[mine]
    along = shapely.line_locate_point(pieces[segment], points[k])
    return np.column_stack(
        [segment, along, noded.under[k, 0], noded.under[k, 1], row_of_line[noded.under[k, 3].astype(int)]]
    )


def _with_timed(
    hazards: tuple[tuple[Hazard, ...], ...], geometry: Geometry, tags: SegmentTags, timed: dict[int, Timed]
) -> tuple[tuple[Hazard, ...], ...]:
    """The hazards of each segment and, first, that it is open only at times."""
    if not timed:
        return hazards
    out = list(hazards)
    for i in np.flatnonzero(np.isin(tags.source_row, list(timed))).tolist():
        rule = timed[int(tags.source_row[i])]
        if rule.state != "closed" and tags.for_vehicles[i]:
            x, y = shapely.get_coordinates(geometry.line[i])[0].tolist()
            out[i] = (timed_hazard(rule, x, y), *out[i])
    return tuple(out)


def _on_roads(stops: list[RoadPoint], noded: Noded, tags: RoadTags, row: np.ndarray) -> list[RoadPoint]:
    """Those that lie on a road for vehicles."""
    if not stops:
        return []
    road = (tags.road_class != "")[row[noded.line]]
    points = np.asarray(shapely.points([(s.x, s.y) for s in stops]), object)
    near = shapely.STRtree(noded.piece[road]).query(points, predicate="dwithin", distance=SNAP_M)[0]
    return [stops[k] for k in np.unique(near).tolist()]


def _stopped(stops: Sequence[RoadPoint]) -> list[Finding]:
    """One finding for what stops the rig at points: how many of each kind."""
    if not stops:
        return []
    kinds = Counter(r.what or r.kind for s in stops for r in s.reasons)
    facts = {"count": len(stops), "kinds": tuple(kinds.most_common()), "open": sum(s.opens for s in stops)}
    return [Finding("roads_blocked_at_points", "note", facts=facts)]


def _spotted(marks: list[RoadPoint], pieces: np.ndarray) -> tuple[Spotted, ...]:
    passable = [(m.x, m.y, told) for m in marks if not m.reasons for told in m.warned]
    if not passable:
        return ()
    points = np.asarray(shapely.points([(x, y) for x, y, _ in passable]), object)
    k, segment = shapely.STRtree(pieces).query(points, predicate="dwithin", distance=SNAP_M)
    along = shapely.line_locate_point(pieces[segment], points[k])
    return tuple(
        Spotted(passable[i][2], int(j), float(m)) for i, j, m in zip(k.tolist(), segment.tolist(), along, strict=True)
    )


def _by_kind(judged: Judged, geometry: Geometry, shut: np.ndarray) -> tuple[tuple[str, float], ...]:
    """Metres shut for each kind of reason; a road with several counts for each."""
    metres: dict[str, float] = {}
    for i in np.flatnonzero(shut).tolist():
        for kind in {r.kind for r in judged.reasons[i]}:
            metres[kind] = metres.get(kind, 0.0) + float(geometry.length_m[i])
    return tuple(sorted(metres.items()))


def _least(
    tags: SegmentTags, judged: Judged, geometry: Geometry, shut: np.ndarray
) -> tuple[str, float, str, str, float] | None:
    """(kind, the rig's figure that would do, its unit, road, metres of that road) where one figure alone shuts it and
    lies nearest to the rig's; None where there is none.
    """
    alone = [
        (abs(r.figure - r.limit) / r.limit, i, r)
        for i in np.flatnonzero(shut).tolist()
        for r in judged.reasons[i][:1]
        if len(judged.reasons[i]) == 1 and r.figure is not None and r.limit
    ]
    if not alone:
        return None
    _, i, reason = min(alone, key=lambda item: item[:2])
    same = shut & (tags.name == tags.name[i]) & (tags.source_row == tags.source_row[i])
    return (
        reason.kind,
        float(reason.figure or 0.0),
        reason.unit,
        str(tags.name[i]),
        float(geometry.length_m[same].sum()),
    )


def _about(tags: SegmentTags, judged: Judged, geometry: Geometry) -> list[Finding]:
    road = tags.for_vehicles
    shut = road & ~judged.drivable
    if not shut.any():
        return []
    facts: dict[str, Any] = {
        "shut_m": float(geometry.length_m[shut].sum()),
        "all_m": float(geometry.length_m[road].sum()),
        "by_kind": _by_kind(judged, geometry, shut),
        "least": None if (road & judged.drivable).any() else _least(tags, judged, geometry, shut),
    }
    return [Finding("roads_not_for_rig", "note", facts=facts)]
