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
from siteplanner.errors import Finding, InputError, Severity
from siteplanner.mission import Rig, Speeds
from siteplanner.roads.arcs import Arcs, quickest_arcs
from siteplanner.roads.closures import (
    DRAWN,
    Closure,
    closed_by,
    closed_words,
    closure_findings,
    closure_list,
    with_dangers,
)
from siteplanner.roads.conditions import Timed, timed_findings, timed_hazard, timed_lines
from siteplanner.roads.grades import base_length_m, near_words, road_profile
from siteplanner.roads.hazards import Hazard, collect_hazards, find_bends
from siteplanner.roads.limits import judge_lines, unknown_finding, with_unknown
from siteplanner.roads.lines import Barrier, barrier_points, flags, part_nodes, road_lines, vertex_ids
from siteplanner.roads.noding import REACH_M, SNAP_M, Noded, node_lines
from siteplanner.roads.speeds import line_speed_kmh, point_speed_kmh
from siteplanner.roads.strokes import Strokes, bend_radius_m, find_strokes, sample_strokes
from siteplanner.roads.tags import RoadTags, read_tags
from siteplanner.roads.turns import Turns, allowed_turns, banned_turns, no_turns

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


@dataclass(frozen=True, eq=False)
class RoadNetwork:
    """Nodes and segments in a metric CRS; all arrays `seg_*` and unprefixed ones have one entry per segment.

    A segment runs from node `seg_from` to `seg_to`, the way its line was drawn. Grades are percent: `up` the
    steepest climb and `down` the steepest descent driving that way (both >= 0), `worst` the larger; NaN unknown.
    Times are seconds for the whole segment, infinite where a one-way rule or a limit forbids the way.
    """

    crs: CRS
    node_x: np.ndarray
    node_y: np.ndarray
    seg_from: np.ndarray
    seg_to: np.ndarray
    seg_geometry: np.ndarray  # LineStrings
    length_m: np.ndarray
    name: np.ndarray  # plain text from the file, '' unnamed
    highway: np.ndarray
    surface: np.ndarray
    unpaved: np.ndarray  # 1 yes, 0 no, -1 unknown
    for_vehicles: np.ndarray  # bool: a road, whether or not this rig may use it
    roundabout: np.ndarray
    drivable: np.ndarray  # bool
    reason: np.ndarray  # why not drivable, '' where it is
    unknown: np.ndarray  # tuples of limits without data
    closed: np.ndarray  # names of what closes it, '' open; also part of the reason
    drawn: np.ndarray  # bool: a track that the user drew
    up_grade_pct: np.ndarray
    down_grade_pct: np.ndarray
    worst_grade_pct: np.ndarray
    grade_error_pct: np.ndarray  # one standard error of the worst; 0 for a posted one
    mean_speed_kmh: np.ndarray
    forward_s: np.ndarray
    backward_s: np.ndarray
    source_row: np.ndarray  # row number (from 0) in the table it came from
    hazards: tuple[tuple[Hazard, ...], ...]
    grade_base_m: float  # length that grades are told over
    profile_first: np.ndarray  # one longer: samples of segment i are profile_first[i]:profile_first[i + 1]
    profile_along_m: np.ndarray
    profile_elevation_m: np.ndarray
    profile_grade_pct: np.ndarray  # rising along the segment; a posted grade where there is one
    findings: tuple[Finding, ...] = ()
    bounds: tuple[float, float, float, float] = field(default=(0.0, 0.0, 0.0, 0.0))
    banned_turns: np.ndarray = field(default_factory=no_turns)  # (n, 2): arc that arrives, arc that must not follow

    def __len__(self) -> int:
        return len(self.length_m)

    @cached_property
    def arcs(self) -> Arcs:
        """Directed ways to drive, the quickest one between each pair of nodes."""
        return quickest_arcs(self.seg_from, self.seg_to, self.forward_s, self.backward_s)

    @cached_property
    def turns(self) -> Turns:
        """What may follow what, for networks with signed turns."""
        return allowed_turns(self.seg_from, self.seg_to, self.forward_s, self.backward_s, self.banned_turns)

    @cached_property
    def lines_tree(self) -> shapely.STRtree:
        """All segments' lines, in their order."""
        return shapely.STRtree(self.seg_geometry)

    @cached_property
    def usable(self) -> np.ndarray:
        """Segments that the rig may drive at least one way."""
        return np.flatnonzero(self.drivable & (np.isfinite(self.forward_s) | np.isfinite(self.backward_s)))

    @cached_property
    def usable_tree(self) -> shapely.STRtree:
        """Their lines, in the order of `usable`."""
        return shapely.STRtree(self.seg_geometry[self.usable])


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
        x, y, gap = noded.mended[0]
        findings.append(
            Finding(
                "road_ends_joined",
                "note",
                f"{len(noded.mended)} road ends missed another road by up to {noded.mended[:, 2].max():.1f} m and were "
                f"joined to it (the first by {gap:.1f} m at {written_place(crs, x, y)}).",
                "Look at these junctions if a route turns where no turn is possible.",
            )
        )
    timed = timed_lines(tags, rig, when)
    findings += timed_findings(timed, tags.name, when is not None)
    network = _assemble(
        crs,
        noded,
        row[noded.line],
        tags,
        elevation,
        rig,
        speeds,
        shut,
        timed,
        barriers,
        findings,
        elevation_error_m,
        source_cell_m or 0.0,
    )
    storey = tags.level[network.source_row]
    network = replace(
        network,
        drawn=drawn[network.source_row],
        hazards=with_dangers(network.hazards, dangers, network.seg_geometry, storey, network.for_vehicles),
    )
    if timed:
        network = replace(network, hazards=_with_timed(network, timed))
    if not restrictions:
        return network
    way = roads[WAY].fillna(0).to_numpy(np.int64)[network.source_row]
    return replace(
        network, banned_turns=banned_turns(restrictions, way, network.seg_from, network.seg_to, noded.node_id)
    )


def _assemble(
    crs: CRS,
    noded: Noded,
    row: np.ndarray,
    tags: RoadTags,
    elevation: Grid | None,
    rig: Rig,
    speeds: Speeds,
    shut: Sequence[Closure],
    timed: dict[int, Timed],
    barriers: list[Barrier],
    findings: list[Finding],
    error_m: float,
    source_cell_m: float,
) -> RoadNetwork:
    pieces = noded.piece
    length_m = shapely.length(pieces)
    strokes = find_strokes(pieces, noded.start_node, noded.end_node)
    base_m = base_length_m(elevation.cell_size_m) if elevation is not None else base_length_m(0.0)
    samples = sample_strokes(strokes, base_m / 8)
    order, place = strokes.order, samples.place
    grade = np.full(len(samples.s), np.nan)
    height, error, calm = grade.copy(), grade.copy(), grade.copy()
    if elevation is not None:
        profile = road_profile(
            elevation,
            strokes,
            samples,
            (tags.bridge | tags.tunnel)[row],
            base_m,
            error_m,
            max(source_cell_m, elevation.cell_size_m),
        )
        grade, height = profile.grade_pct, profile.elevation_m
        error, calm = profile.error_pct, profile.calm_grade_pct
    forward = np.where(strokes.reverse[place], -grade, grade)  # rising along the segment as drawn
    posted = tags.incline_pct[row]
    by_sign = np.isfinite(posted)  # a sign beats the raster
    steepest = samples.per_segment(forward, order, np.fmax)
    lowest = samples.per_segment(forward, order, np.fmin)
    steepest = np.where(by_sign, posted, steepest)
    lowest = np.where(by_sign, posted, lowest)
    up, down = np.maximum(steepest, 0.0), np.maximum(-lowest, 0.0)
    worst = np.maximum(up, down)
    grade_error = np.where(by_sign, 0.0, samples.per_segment(error, order, np.fmax))
    # the grade and the limit lie closer than the grade is known
    near = ~by_sign & (np.abs(worst - rig.max_grade_pct) < grade_error)

    level_kmh = line_speed_kmh(tags, speeds)[row]
    seg_of_sample = order[place]
    radius = bend_radius_m(strokes, place, samples.s, np.pi * rig.turning_radius_m / 2)
    v = (
        point_speed_kmh(level_kmh[seg_of_sample], np.where(by_sign[seg_of_sample], posted[seg_of_sample], calm), radius)
        / 3.6
    )
    seconds = samples.per_segment(samples.weight_m / v, order, np.add)

    line_reason, line_unknown = judge_lines(tags, rig, timed)
    reason, unknown = line_reason[row], line_unknown[row]
    for i in np.flatnonzero(~by_sign & (worst > rig.max_grade_pct + 1e-9)).tolist():
        likely = f"{near_words(worst[i], grade_error[i], rig.max_grade_pct)}: more likely too steep than not"
        plain = f"grade {worst[i]:.0f} % over {base_m:.0f} m (from elevation) is above the rig's "
        _append(reason, i, likely if near[i] else f"{plain}{rig.max_grade_pct:.3g} %")
    bends = find_bends(strokes, rig)
    if rig.tight_bends == "exclude":
        tight = bends.radius_m < rig.turning_radius_m
        for i, radius in zip(bends.segment[tight].tolist(), bends.radius_m[tight].tolist(), strict=True):
            _append(reason, i, f"bend of radius {radius:.0f} m is tighter than the rig's {rig.turning_radius_m:.3g} m")
    closed = closed_by(shut, pieces, tags.level[row])
    for i in np.flatnonzero(closed != "").tolist():
        _append(reason, i, closed_words(closed[i]))
    no_grade = np.isnan(worst)
    if no_grade.any():
        with_grade = {u: (*u, "grade") for u in set(unknown[no_grade])}
        unknown[no_grade] = _objects([with_grade[u] for u in unknown[no_grade]])
    under = _under(noded, row, tags, pieces)
    low = under[:, 0].astype(np.int64)
    with_unknown(unknown, low[np.isnan(tags.maxheight_m[row[low]])], "height limit")
    for i in np.flatnonzero(near).tolist():
        unknown[i] = (*unknown[i], near_words(worst[i], grade_error[i], rig.max_grade_pct))
    drivable = reason == ""
    one = tags.direction[row]
    first, along, profile_height, profile_grade = _profiles_by_segment(
        strokes,
        samples.first,
        samples.s,
        place,
        height,
        np.where(by_sign[seg_of_sample], posted[seg_of_sample], forward),
    )
    with np.errstate(invalid="ignore"):
        steep_pct = np.where(up >= down, up, -down)
    hazards = collect_hazards(
        tags,
        rig,
        line=row,
        pieces=pieces,
        length_m=length_m,
        usable=(tags.road_class != "")[row],
        bends=bends,
        steep_pct=steep_pct,
        steep_along_m=_where_steepest(first, along, profile_grade, steep_pct, by_sign),
        base_m=base_m,
        near=near,
        grade_error_pct=grade_error,
        under=under,
        points=_points(barriers, pieces),
    )
    return RoadNetwork(
        crs=crs,
        node_x=noded.node_x,
        node_y=noded.node_y,
        seg_from=noded.start_node,
        seg_to=noded.end_node,
        seg_geometry=pieces,
        length_m=length_m,
        name=tags.name[row],
        highway=tags.highway[row],
        surface=tags.surface[row],
        unpaved=tags.unpaved[row],
        for_vehicles=(tags.road_class != "")[row],
        roundabout=tags.roundabout[row],
        drivable=drivable,
        reason=reason,
        unknown=unknown,
        closed=closed,
        drawn=np.zeros(len(pieces), bool),
        up_grade_pct=up,
        down_grade_pct=down,
        worst_grade_pct=worst,
        grade_error_pct=grade_error,
        mean_speed_kmh=3.6 * length_m / seconds,
        forward_s=np.where(drivable & (one != "backward"), seconds, np.inf),
        backward_s=np.where(drivable & (one != "forward"), seconds, np.inf),
        source_row=row,
        hazards=hazards,
        grade_base_m=base_m,
        profile_first=first,
        profile_along_m=along,
        profile_elevation_m=profile_height,
        profile_grade_pct=profile_grade,
        findings=(
            *findings,
            *_about(drivable, length_m, tags, row),
            *([about] if (about := unknown_finding(unknown, drivable, length_m)) else ()),
            *closure_findings(closed, (tags.road_class != "")[row], row, tags.name[row], length_m),
        ),
        bounds=tuple(shapely.total_bounds(pieces).tolist()),
    )


def _append(reason: np.ndarray, i: int, text: str) -> None:
    reason[i] = f"{reason[i]}; {text}" if reason[i] else text


def _objects(values: list) -> np.ndarray:
    out = np.empty(len(values), object)
    out[:] = values
    return out


def _profiles_by_segment(
    strokes: Strokes, sample_first: np.ndarray, s: np.ndarray, place: np.ndarray, *values: np.ndarray
) -> list[np.ndarray]:
    """Samples from the order of the strokes into the order and direction of the segments.

    Gives the first sample of each segment, the metres along it, then the values in the new order.
    """
    order, reverse = strokes.order, strokes.reverse
    count = np.empty(len(order), np.int64)
    count[order] = np.diff(sample_first)
    first = np.concatenate([[0], np.cumsum(count)])
    rank = np.arange(len(s)) - sample_first[:-1][place]
    target = first[order][place] + np.where(reverse[place], count[order][place] - 1 - rank, rank)
    out = [np.empty(len(s)) for _ in range(1 + len(values))]
    for into, source in zip(out, (strokes.along_segment(place, s), *values), strict=True):
        into[target] = source
    return [first, *out]


def _where_steepest(
    first: np.ndarray, along: np.ndarray, grade: np.ndarray, steep_pct: np.ndarray, by_sign: np.ndarray
) -> np.ndarray:
    """Metres along each segment where its steepest grade lies (the middle for a posted one)."""
    out = along[first[1:] - 1] / 2
    with np.errstate(invalid="ignore"):
        look = np.flatnonzero(~by_sign & (np.abs(steep_pct) > 5.0))
    for i in look.tolist():
        part = slice(first[i], first[i + 1])
        out[i] = along[part][np.nanargmin(np.abs(grade[part] - steep_pct[i]))]
    return out


def _under(noded: Noded, row: np.ndarray, tags: RoadTags, pieces: np.ndarray) -> np.ndarray:
    """Rows (segment, along, x, y) where a segment on the ground passes below a line on a higher level."""
    if not len(noded.under):
        return np.empty((0, 4))
    points = np.asarray(shapely.points(noded.under[:, :2]), object)
    k, segment = shapely.STRtree(pieces).query(points, predicate="dwithin", distance=2 * SNAP_M)
    mine = (noded.line[segment] == noded.under[k, 2]) & ~tags.tunnel[row[segment]]
    k, segment = k[mine], segment[mine]
    along = shapely.line_locate_point(pieces[segment], points[k])
    return np.column_stack([segment, along, noded.under[k, 0], noded.under[k, 1]])


def _with_timed(network: RoadNetwork, timed: dict[int, Timed]) -> tuple[tuple[Hazard, ...], ...]:
    out = list(network.hazards)
    for i in np.flatnonzero(np.isin(network.source_row, list(timed))).tolist():
        rule = timed[int(network.source_row[i])]
        if rule.state != "closed" and network.for_vehicles[i]:
            x, y = shapely.get_coordinates(network.seg_geometry[i])[0].tolist()
            out[i] = (timed_hazard(rule, x, y), *out[i])
    return tuple(out)


def _points(barriers: list[Barrier], pieces: np.ndarray) -> list[tuple[str, Severity, str, int, float]]:
    passable = [(b.x, b.y, told) for b in barriers if (told := b.hazard())]
    if not passable:
        return []
    points = np.asarray(shapely.points([(x, y) for x, y, _ in passable]), object)
    k, segment = shapely.STRtree(pieces).query(points, predicate="dwithin", distance=SNAP_M)
    along = shapely.line_locate_point(pieces[segment], points[k])
    return [(*passable[i][2], int(j), float(m)) for i, j, m in zip(k.tolist(), segment.tolist(), along, strict=True)]


def _about(drivable: np.ndarray, length_m: np.ndarray, tags: RoadTags, row: np.ndarray) -> list[Finding]:
    road = (tags.road_class != "")[row]
    shut = road & ~drivable
    if not shut.any():
        return []
    return [
        Finding(
            "roads_not_for_rig",
            "note",
            f"{length_m[shut].sum() / 1000:.1f} of {length_m[road].sum() / 1000:.1f} km of road are not for "
            "this rig (a limit, access, grade or closure); each line carries its reason.",
            "Look at a road's reason on the map if a way is missing.",
        )
    ]
