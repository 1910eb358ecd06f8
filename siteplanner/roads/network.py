"""The road network that a rig drives on: built once, then only read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from siteplanner.data.grid import Grid
from siteplanner.data.osm import WAY, TurnRestriction
from siteplanner.data.projections import written_place
from siteplanner.errors import Finding, InputError
from siteplanner.mission import Rig, Speeds
from siteplanner.roads.arcs import Arcs, quickest_arcs
from siteplanner.roads.closures import DRAWN, Closure, closed_by, closure_findings, closure_list, with_dangers
from siteplanner.roads.conditions import Timed, timed_findings, timed_hazard, timed_lines
from siteplanner.roads.exits import ExitTree, exit_tree, outer_ends
from siteplanner.roads.hazards import Hazard, OnSegments, Spotted, collect_hazards
from siteplanner.roads.judge import judge_segments
from siteplanner.roads.limits import unknown_finding
from siteplanner.roads.lines import Barrier, barrier_points, flags, part_nodes, road_lines, vertex_ids
from siteplanner.roads.measure import Relief, measure
from siteplanner.roads.noding import REACH_M, SNAP_M, Noded, node_lines
from siteplanner.roads.tables import Geometry, Grades, Heights, Judged, SegmentTags, Times, times_of
from siteplanner.roads.tags import RoadTags, read_tags
from siteplanner.roads.turns import Turns, allowed_turns, banned_turns, no_turns

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


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
    banned_turns: np.ndarray = field(default_factory=no_turns)  # (n, 2): arc that arrives, arc that must not follow

    def __len__(self) -> int:
        return len(self.geometry.length_m)

    @cached_property
    def arcs(self) -> Arcs:
        """Directed ways to drive, the quickest one between each pair of nodes."""
        return quickest_arcs(self.geometry.seg_from, self.geometry.seg_to, self.times.forward_s, self.times.backward_s)

    @cached_property
    def turns(self) -> Turns:
        """What may follow what, for networks with signed turns."""
        times = self.times
        return allowed_turns(
            self.geometry.seg_from, self.geometry.seg_to, times.forward_s, times.backward_s, self.banned_turns
        )

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
    def usable_tree(self) -> shapely.STRtree:
        """Their lines, in the order of `usable`."""
        return shapely.STRtree(self.geometry.line[self.usable])

    @cached_property
    def exits_beyond(self) -> ExitTree | None:
        """The way to the roads that leave the data; None where none does."""
        ends = outer_ends(self.geometry, self.judged.drivable)
        return exit_tree(self.geometry, self.judged.drivable, ends) if len(ends) else None

    @property
    def mean_speed_kmh(self) -> np.ndarray:
        """The rig's speed on each segment, shut for it or not; NaN on what is no road."""
        return 3.6 * self.geometry.length_m / self.times.open_s

    def with_limits_lifted(self, but: np.ndarray) -> RoadNetwork:
        """The same roads as if none were shut for the rig `but` some (bool, one a segment); one-way rules stay."""
        open_ = self.judged.drivable | (self.tags.for_vehicles & ~but)
        return replace(self, times=times_of(self.times.open_s, self.times.direction, open_))

    def with_times(self, forward_s: np.ndarray, backward_s: np.ndarray) -> RoadNetwork:
        """The same roads driven in other times."""
        return replace(self, times=replace(self.times, forward_s=forward_s, backward_s=backward_s))


def _checked(roads: GeoDataFrame) -> CRS:
    if roads.crs is None:
        raise InputError("The roads have no coordinate reference system.", remedy="Set the CRS of the layer.")
    crs = CRS(roads.crs)
    if not crs.is_projected or abs(crs.axis_info[0].unit_conversion_factor - 1) > 1e-9:
        raise InputError("The road network needs a CRS in metres.", remedy="Reproject the roads first.")
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
    with a caution below the limit, shut above it, and both say so.

    Raises InputError for a CRS that is missing or not metric, or when no usable line is left.
    """
    crs = _checked(roads)
    findings: list[Finding] = []
    lines, row, points = road_lines(roads, findings)
    if not len(lines):
        raise InputError("The roads hold no usable line.", remedy="Give a layer of road lines.")
    tags, tag_findings = read_tags(roads)
    findings += tag_findings
    barriers = barrier_points(roads, points)
    ids, drawn = vertex_ids(roads, lines, row), flags(roads, DRAWN)
    cross = node_crossings and ids is None
    shut, dangers = closure_list(closures), closure_list(dangers)
    edges = [shapely.boundary(c.shape) for c in (*shut, *dangers)]
    noded = node_lines(
        lines,
        tags.level[row],
        cross=cross,
        reach_m=REACH_M if cross else 0.0,
        cut_by=shapely.union_all(edges) if edges else None,
        cut_at=np.array([b[:2] for b in barriers]) if barriers else None,
        vertex_id=ids,
        drawn=drawn[row],
    )
    noded = part_nodes(noded, [b for b in barriers if b.blocks(rig)])
    if len(noded.mended):
        findings.append(_joined(noded, crs))
    timed = timed_lines(tags, rig, when)
    findings += timed_findings(timed, tags.name, when is not None)
    row = row[noded.line]
    geometry = Geometry(
        noded.node_x, noded.node_y, noded.start_node, noded.end_node, noded.piece, shapely.length(noded.piece)
    )
    measured = measure(noded, row, tags, rig, speeds, Relief(elevation, elevation_error_m, source_cell_m or 0.0))
    under = _under(noded, row, tags)
    storey = tags.level[row]
    judged = judge_segments(
        tags, row, rig, timed, measured, under[:, 0].astype(np.int64), closed_by(shut, noded.piece, storey)
    )
    of_segments = _tags(tags, row, drawn)
    on = OnSegments(measured.bends, measured.steep, under, _spotted(barriers, noded.piece))
    hazards = collect_hazards(tags, rig, row, geometry, on)
    hazards = with_dangers(hazards, dangers, noded.piece, storey, of_segments.for_vehicles)
    not_stated = unknown_finding(judged.unknown, judged.drivable, geometry.length_m)
    return RoadNetwork(
        crs,
        geometry,
        of_segments,
        judged,
        measured.grades,
        measured.heights,
        times_of(measured.open_s, tags.direction[row], judged.drivable),
        _with_timed(hazards, geometry, of_segments, timed),
        (
            *findings,
            *_about(of_segments, judged, geometry),
            *([not_stated] if not_stated else ()),
            *closure_findings(of_segments, judged, geometry.length_m),
        ),
        _banned(restrictions, roads, row, noded),
    )


def _joined(noded: Noded, crs: CRS) -> Finding:
    x, y, gap = noded.mended[0].tolist()
    facts = {
        "count": len(noded.mended),
        "largest_m": float(noded.mended[:, 2].max()),
        "first_m": gap,
        "first_at": written_place(crs, x, y),
    }
    return Finding("road_ends_joined", "note", facts=facts)


def _tags(tags: RoadTags, row: np.ndarray, drawn: np.ndarray) -> SegmentTags:
    return SegmentTags(
        tags.name[row],
        tags.highway[row],
        tags.surface[row],
        tags.unpaved[row],
        (tags.road_class != "")[row],
        tags.roundabout[row],
        drawn[row],
        row,
    )


def _banned(restrictions: Sequence[TurnRestriction], roads: GeoDataFrame, row: np.ndarray, noded: Noded) -> np.ndarray:
    if not restrictions:
        return no_turns()
    way = roads[WAY].fillna(0).to_numpy(np.int64)[row]
    return banned_turns(restrictions, way, noded.start_node, noded.end_node, noded.node_id)


def _under(noded: Noded, row: np.ndarray, tags: RoadTags) -> np.ndarray:
    """Rows (segment, along, x, y) where a segment on the ground passes below a line on a higher level."""
    if not len(noded.under):
        return np.empty((0, 4))
    pieces = noded.piece
    points = np.asarray(shapely.points(noded.under[:, :2]), object)
    k, segment = shapely.STRtree(pieces).query(points, predicate="dwithin", distance=2 * SNAP_M)
    mine = (noded.line[segment] == noded.under[k, 2]) & ~tags.tunnel[row[segment]]
    k, segment = k[mine], segment[mine]
    along = shapely.line_locate_point(pieces[segment], points[k])
    return np.column_stack([segment, along, noded.under[k, 0], noded.under[k, 1]])


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


def _spotted(barriers: list[Barrier], pieces: np.ndarray) -> tuple[Spotted, ...]:
    passable = [(b.x, b.y, told) for b in barriers if (told := b.warned())]
    if not passable:
        return ()
    points = np.asarray(shapely.points([(x, y) for x, y, _ in passable]), object)
    k, segment = shapely.STRtree(pieces).query(points, predicate="dwithin", distance=SNAP_M)
    along = shapely.line_locate_point(pieces[segment], points[k])
    return tuple(
        Spotted(passable[i][2], int(j), float(m)) for i, j, m in zip(k.tolist(), segment.tolist(), along, strict=True)
    )


def _about(tags: SegmentTags, judged: Judged, geometry: Geometry) -> list[Finding]:
    road = tags.for_vehicles
    shut = road & ~judged.drivable
    if not shut.any():
        return []
    facts = {"shut_m": float(geometry.length_m[shut].sum()), "all_m": float(geometry.length_m[road].sum())}
    return [Finding("roads_not_for_rig", "note", facts=facts)]
