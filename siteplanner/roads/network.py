"""The road network that a rig drives on: built once, then only read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from siteplanner.data.grid import Grid
from siteplanner.data.osm import NODES, WAY, TurnRestriction
from siteplanner.errors import Finding, InputError
from siteplanner.mission import Rig, Speeds
from siteplanner.roads.arcs import Arcs, quickest_arcs
from siteplanner.roads.attributes import BARRIERS, tag_text
from siteplanner.roads.closures import DRAWN, Closure, closure_list
from siteplanner.roads.grades import base_length_m, road_profile
from siteplanner.roads.hazards import Hazard, collect_hazards, find_bends
from siteplanner.roads.limits import judge_lines
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
    up_grade_pct: np.ndarray
    down_grade_pct: np.ndarray
    worst_grade_pct: np.ndarray
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


def _lines(roads: GeoDataFrame, findings: list[Finding]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(LineStrings, their rows, rows of points); multi-parts apart, heights and repeated vertices dropped."""
    geometry = np.asarray(roads.geometry.array, object)
    geometry = geometry.copy()
    geometry[shapely.is_missing(geometry) | shapely.is_empty(geometry)] = None
    kind = shapely.get_type_id(geometry)
    points = np.flatnonzero(kind == 0)
    parts, row = shapely.get_parts(shapely.force_2d(geometry), return_index=True)
    ring = shapely.get_type_id(parts) == 2
    parts[ring] = shapely.linestrings(shapely.get_coordinates(parts[ring]), indices=shapely.get_coordinates(
        parts[ring], return_index=True)[1]) if ring.any() else parts[ring]
    ok = shapely.get_type_id(parts) == 1
    finite = np.ones(len(parts), bool)
    xy, index = shapely.get_coordinates(parts, return_index=True)
    finite[index[~np.isfinite(xy).all(axis=1)]] = False
    good = ok & finite
    parts, row = parts[good], row[good]
    free = ~_has_ids(roads)[row]
    parts[free] = shapely.remove_repeated_points(parts[free], 1e-3)
    long = shapely.length(parts) > 1e-3
    parts, row = parts[long], row[long]
    lost = len(roads) - len(np.union1d(np.unique(row), points))
    if lost:
        findings.append(Finding(
            "road_geometry_skipped", "warning",
            f"{lost} of {len(roads)} road rows hold no usable line (missing, empty, a single place, or no line).",
            "Repair these rows if a road is missing from the map.",
        ))
    return parts, row, points


def _has_ids(roads: GeoDataFrame) -> np.ndarray:
    """Rows whose vertices bear ids."""
    if NODES not in roads.columns:
        return np.zeros(len(roads), bool)
    return np.array([isinstance(ids, np.ndarray) for ids in roads[NODES]], bool)


def _vertex_ids(roads: GeoDataFrame, lines: np.ndarray, row: np.ndarray) -> np.ndarray | None:
    """Ids of the lines' vertices, -1 for lines without; None when no line has any."""
    has = _has_ids(roads)
    if not has[row].any():
        return None
    count = shapely.get_num_coordinates(lines)
    column = roads[NODES].to_numpy()
    parts = [column[r] if has[r] else np.full(n, -1) for r, n in zip(row.tolist(), count.tolist(), strict=True)]
    if any(len(p) != n for p, n in zip(parts, count.tolist(), strict=True)):
        raise ValueError(f"{NODES} needs one id for each vertex")
    return np.concatenate(parts).astype(np.int64)


def _flags(roads: GeoDataFrame, column: str) -> np.ndarray:
    if column not in roads.columns:
        return np.zeros(len(roads), bool)
    return np.array([v is True or (isinstance(v, np.bool_) and bool(v)) for v in roads[column]], bool)


def _barrier_points(roads: GeoDataFrame, points: np.ndarray) -> list[tuple[float, float, str]]:
    """(x, y, barrier) of point rows that carry a barrier tag."""
    column = next((c for c in roads.columns if str(c).strip().lower() == "barrier"), None)
    if column is None or not len(points):
        return []
    words = [tag_text(v) for v in roads[column].iloc[points]]
    xy = shapely.get_coordinates(np.asarray(roads.geometry.array, object)[points])
    return [(float(x), float(y), w) for (x, y), w in zip(xy, words, strict=True) if w in BARRIERS]


def _part_nodes(noded: Noded, blocks: list[tuple[float, float, str]]) -> Noded:
    """Take the segments that meet at a blocking barrier apart: each keeps its own end."""
    start, end, x, y = noded.start_node.copy(), noded.end_node.copy(), noded.node_x, noded.node_y
    if not blocks:
        return noded
    fresh = len(x)
    origin: list[int] = []
    gap, nearest = cKDTree(np.column_stack([x, y])).query([b[:2] for b in blocks])
    for node in np.unique(nearest[gap <= SNAP_M]).tolist():
        seats = [(start, i) for i in np.flatnonzero(start == node)] + [(end, i) for i in np.flatnonzero(end == node)]
        for seat, i in seats[1:]:
            seat[i] = fresh
            origin.append(node)
            fresh += 1
    return replace(noded, start_node=start, end_node=end, node_x=np.concatenate([x, x[origin]]),
                   node_y=np.concatenate([y, y[origin]]),
                   node_id=np.concatenate([noded.node_id, np.full(len(origin), -1)])) if origin else noded


def build_network(
    roads: GeoDataFrame,
    *,
    elevation: Grid | None,
    rig: Rig,
    speeds: Speeds,
    node_crossings: bool = True,
    closures: BaseGeometry | Sequence[Closure] | None = None,
    restrictions: Sequence[TurnRestriction] = (),
) -> RoadNetwork:
    """Build the network from road lines with OpenStreetMap keys as columns (any may be missing).

    Parameters: `roads` lines in a CRS of metres; rows of points with a `barrier` tag act where they lie on a
    line. `elevation` in the same CRS, or None (grades unknown). With `node_crossings`, lines on one level
    (`layer`, `bridge`, `tunnel`) join where they cross and ends within 2 m of a line are led to it; without,
    only common vertices join. Rows with ids of their vertices (column `osm_nodes`, from an OpenStreetMap extract)
    join where they share an id and nowhere else; rows marked in a column `drawn` (lines that the user drew) join
    all that they cross or just miss. `closures`: area in the same CRS that must not be driven through, or several
    with their names. `restrictions`: signed turns, by the ways of the column `osm_way`.

    Raises InputError for a CRS that is missing or not metric, or when no usable line is left.
    """
    crs = _checked(roads)
    findings: list[Finding] = []
    lines, row, points = _lines(roads, findings)
    if not len(lines):
        raise InputError("The roads hold no usable line.", remedy="Give a layer of road lines.")
    tags, tag_findings = read_tags(roads)
    findings += tag_findings
    barriers = _barrier_points(roads, points)
    ids, drawn = _vertex_ids(roads, lines, row), _flags(roads, DRAWN)[row]
    cross = node_crossings and ids is None
    shut = closure_list(closures)
    noded = node_lines(lines, tags.level[row], cross=cross, reach_m=REACH_M if cross or drawn.any() else 0.0,
                       cut_by=shapely.union_all([c.shape for c in shut]) if shut else None,
                       cut_at=np.array([b[:2] for b in barriers]) if barriers else None, vertex_id=ids, drawn=drawn)
    noded = _part_nodes(noded, [b for b in barriers if BARRIERS[b[2]] is None])
    if len(noded.mended):
        x, y, gap = noded.mended[0]
        findings.append(Finding(
            "road_ends_joined", "note",
            f"{len(noded.mended)} road ends missed another road by up to {noded.mended[:, 2].max():.1f} m and were "
            f"joined to it (first at {x:.0f} E {y:.0f} N of the plan's grid, {gap:.1f} m).",
            "Look at these junctions if a route turns where no turn is possible.",
        ))
    network = _assemble(crs, noded, row[noded.line], tags, elevation, rig, speeds, shut, barriers, findings)
    if not restrictions:
        return network
    way = roads[WAY].fillna(0).to_numpy(np.int64)[network.source_row]
    return replace(network, banned_turns=banned_turns(
        restrictions, way, network.seg_from, network.seg_to, noded.node_id))


def _assemble(crs: CRS, noded: Noded, row: np.ndarray, tags: RoadTags, elevation: Grid | None, rig: Rig,
              speeds: Speeds, shut: Sequence[Closure], barriers: list[tuple[float, float, str]],
              findings: list[Finding]) -> RoadNetwork:
    pieces = noded.piece
    length_m = shapely.length(pieces)
    strokes = find_strokes(pieces, noded.start_node, noded.end_node)
    base_m = base_length_m(elevation.cell_size_m) if elevation is not None else base_length_m(0.0)
    samples = sample_strokes(strokes, base_m / 8)
    order, place = strokes.order, samples.place
    grade = np.full(len(samples.s), np.nan)
    height = grade.copy()
    if elevation is not None:
        profile = road_profile(elevation, strokes, samples, (tags.bridge | tags.tunnel)[row], base_m)
        grade, height = profile.grade_pct, profile.elevation_m
    forward = np.where(strokes.reverse[place], -grade, grade)  # rising along the segment as drawn
    posted = tags.incline_pct[row]
    by_sign = np.isfinite(posted)  # a sign beats the raster
    steepest = samples.per_segment(forward, order, np.fmax)
    lowest = samples.per_segment(forward, order, np.fmin)
    steepest = np.where(by_sign, posted, steepest)
    lowest = np.where(by_sign, posted, lowest)
    up, down = np.maximum(steepest, 0.0), np.maximum(-lowest, 0.0)
    worst = np.maximum(up, down)

    level_kmh = line_speed_kmh(tags, speeds)[row]
    seg_of_sample = order[place]
    radius = bend_radius_m(strokes, place, samples.s, np.pi * rig.turning_radius_m / 2)
    v = point_speed_kmh(level_kmh[seg_of_sample], np.where(by_sign[seg_of_sample], posted[seg_of_sample], grade),
                        radius) / 3.6
    seconds = samples.per_segment(samples.weight_m / v, order, np.add)

    line_reason, line_unknown = judge_lines(tags, rig)
    reason, unknown = line_reason[row], line_unknown[row]
    for i in np.flatnonzero(~by_sign & (worst > rig.max_grade_pct + 1e-9)).tolist():
        _append(reason, i, f"grade {worst[i]:.0f} % over {base_m:.0f} m (from elevation) is above the rig's "
                           f"{rig.max_grade_pct:.3g} %")
    if shut:
        middle = np.asarray(shapely.line_interpolate_point(pieces, 0.5, normalized=True), object)
        for k, i in shapely.STRtree(middle).query([c.shape for c in shut], predicate="intersects").T.tolist():
            if shut[k].level is None or shut[k].level == tags.level[row[i]]:
                _append(reason, i, f"closed: {shut[k].name}")
    no_grade = np.isnan(worst)
    if no_grade.any():
        with_grade = {u: (*u, "grade") for u in set(unknown[no_grade])}
        unknown[no_grade] = _objects([with_grade[u] for u in unknown[no_grade]])
    drivable = reason == ""
    one = tags.direction[row]
    first, along, profile_height, profile_grade = _profiles_by_segment(
        strokes, samples.first, samples.s, place, height,
        np.where(by_sign[seg_of_sample], posted[seg_of_sample], forward))
    with np.errstate(invalid="ignore"):
        steep_pct = np.where(up >= down, up, -down)
    hazards = collect_hazards(
        tags, rig, line=row, pieces=pieces, length_m=length_m, usable=(tags.road_class != "")[row],
        bends=find_bends(strokes, rig), steep_pct=steep_pct,
        steep_along_m=_where_steepest(first, along, profile_grade, steep_pct, by_sign),
        base_m=base_m, under=_under(noded, row, tags, pieces), gates=_gates(barriers, pieces),
    )
    return RoadNetwork(
        crs=crs, node_x=noded.node_x, node_y=noded.node_y, seg_from=noded.start_node, seg_to=noded.end_node,
        seg_geometry=pieces, length_m=length_m, name=tags.name[row], highway=tags.highway[row],
        surface=tags.surface[row], unpaved=tags.unpaved[row], for_vehicles=(tags.road_class != "")[row],
        roundabout=tags.roundabout[row], drivable=drivable, reason=reason, unknown=unknown, up_grade_pct=up,
        down_grade_pct=down, worst_grade_pct=worst, mean_speed_kmh=3.6 * length_m / seconds,
        forward_s=np.where(drivable & (one != "backward"), seconds, np.inf),
        backward_s=np.where(drivable & (one != "forward"), seconds, np.inf),
        source_row=row, hazards=hazards, grade_base_m=base_m, profile_first=first, profile_along_m=along,
        profile_elevation_m=profile_height, profile_grade_pct=profile_grade,
        findings=(*findings, *_about(drivable, length_m, tags, row)),
        bounds=tuple(shapely.total_bounds(pieces).tolist()),
    )


def _append(reason: np.ndarray, i: int, text: str) -> None:
    reason[i] = f"{reason[i]}; {text}" if reason[i] else text


def _objects(values: list) -> np.ndarray:
    out = np.empty(len(values), object)
    out[:] = values
    return out


def _profiles_by_segment(strokes: Strokes, sample_first: np.ndarray, s: np.ndarray, place: np.ndarray,
                         *values: np.ndarray) -> list[np.ndarray]:
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


def _where_steepest(first: np.ndarray, along: np.ndarray, grade: np.ndarray, steep_pct: np.ndarray,
                    by_sign: np.ndarray) -> np.ndarray:
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


def _gates(barriers: list[tuple[float, float, str]], pieces: np.ndarray) -> list[tuple[str, int, float]]:
    passable = [(x, y, words) for x, y, kind in barriers if (words := BARRIERS[kind])]
    if not passable:
        return []
    points = np.asarray(shapely.points([(x, y) for x, y, _ in passable]), object)
    k, segment = shapely.STRtree(pieces).query(points, predicate="dwithin", distance=SNAP_M)
    along = shapely.line_locate_point(pieces[segment], points[k])
    return [(passable[i][2], int(j), float(m)) for i, j, m in zip(k.tolist(), segment.tolist(), along, strict=True)]


def _about(drivable: np.ndarray, length_m: np.ndarray, tags: RoadTags, row: np.ndarray) -> list[Finding]:
    road = (tags.road_class != "")[row]
    shut = road & ~drivable
    if not shut.any():
        return []
    return [Finding("roads_not_for_rig", "note",
                    f"{length_m[shut].sum() / 1000:.1f} of {length_m[road].sum() / 1000:.1f} km of road are not for "
                    "this rig (a limit, access, grade or closure); each line carries its reason.",
                    "Look at a road's reason on the map if a way is missing.")]
