"""What a road table gives to build from: its lines one by one, and ids of their vertices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS
from scipy.spatial import cKDTree

from siteplanner.data.osm import NODES
from siteplanner.data.projections import written_place
from siteplanner.errors import Finding
from siteplanner.roads.cells import is_set, tag_text
from siteplanner.roads.noding import SNAP_M, Noded

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

_SAME_M = 1e-3  # vertices this close are one


def road_lines(roads: GeoDataFrame, findings: list[Finding]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(LineStrings, their rows, rows of points); multi-parts apart, heights and repeated vertices dropped."""
    geometry = np.asarray(roads.geometry.array, object)
    geometry = geometry.copy()
    geometry[shapely.is_missing(geometry) | shapely.is_empty(geometry)] = None
    kind = shapely.get_type_id(geometry)
    points = np.flatnonzero(kind == 0)
    if shapely.has_z(geometry).any():
        geometry = shapely.force_2d(geometry)
    if (kind == 1).all():
        parts, row = geometry, np.arange(len(geometry))
    else:
        parts, row = shapely.get_parts(geometry, return_index=True)
    ring = shapely.get_type_id(parts) == 2
    parts[ring] = (
        shapely.linestrings(
            shapely.get_coordinates(parts[ring]), indices=shapely.get_coordinates(parts[ring], return_index=True)[1]
        )
        if ring.any()
        else parts[ring]
    )
    ok = shapely.get_type_id(parts) == 1
    finite = np.ones(len(parts), bool)
    xy, index = shapely.get_coordinates(parts, return_index=True)
    finite[index[~np.isfinite(xy).all(axis=1)]] = False
    good = ok & finite
    parts, row = parts[good], row[good]
    free = ~has_ids(roads)[row] & _repeats(parts)
    parts[free] = shapely.remove_repeated_points(parts[free], _SAME_M)
    long = shapely.length(parts) > _SAME_M
    parts, row = parts[long], row[long]
    used = np.zeros(len(roads), bool)
    used[row] = used[points] = True
    lost = int((~used).sum())
    if lost:
        findings.append(Finding("road_geometry_skipped", "check", facts={"count": lost, "of": len(roads)}))
    return parts, row, points


def _repeats(lines: np.ndarray) -> np.ndarray:
    """Lines with neighbouring vertices in one place."""
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    step = np.hypot(np.diff(xy[:, 0]), np.diff(xy[:, 1]))
    out = np.zeros(len(lines), bool)
    out[owner[1:][(step <= _SAME_M) & (np.diff(owner) == 0)]] = True
    return out


def has_ids(roads: GeoDataFrame) -> np.ndarray:
    """Rows whose vertices bear ids."""
    if NODES not in roads.columns:
        return np.zeros(len(roads), bool)
    return np.array([isinstance(ids, np.ndarray) for ids in roads[NODES]], bool)


def vertex_ids(roads: GeoDataFrame, lines: np.ndarray, row: np.ndarray) -> np.ndarray | None:
    """Ids of the lines' vertices, -1 for lines without; None when no line has any."""
    has = has_ids(roads)
    if not has[row].any():
        return None
    count = shapely.get_num_coordinates(lines)
    column = roads[NODES].to_numpy()
    parts = [column[r] if has[r] else np.full(n, -1) for r, n in zip(row.tolist(), count.tolist(), strict=True)]
    if any(len(p) != n for p, n in zip(parts, count.tolist(), strict=True)):
        raise ValueError(f"{NODES} needs one id for each vertex")
    return np.concatenate(parts).astype(np.int64)


def flags(roads: GeoDataFrame, column: str) -> np.ndarray:
    if column not in roads.columns:
        return np.zeros(len(roads), bool)
    return np.array([v is True or (isinstance(v, np.bool_) and bool(v)) for v in roads[column]], bool)


def rows_said(roads: GeoDataFrame, key: str) -> np.ndarray:
    """Rows (lines and points) on which a key is set to more than `no`."""
    named = {str(c).strip().lower(): c for c in roads.columns}
    if key not in named:
        return np.zeros(len(roads), bool)
    return np.array([is_set(tag_text(v)) for v in roads[named[key]]], bool)


def part_nodes(noded: Noded, blocks: Sequence[tuple[float, float]]) -> Noded:
    """Take the segments that meet at a point that the rig does not pass apart: each keeps its own end."""
    start, end, x, y = noded.start_node.copy(), noded.end_node.copy(), noded.node_x, noded.node_y
    if not blocks:
        return noded
    fresh = len(x)
    origin: list[int] = []
    gap, nearest = cKDTree(np.column_stack([x, y])).query(blocks)
    for node in np.unique(nearest[gap <= SNAP_M]).tolist():
        seats = [(start, i) for i in np.flatnonzero(start == node)] + [(end, i) for i in np.flatnonzero(end == node)]
        for seat, i in seats[1:]:
            seat[i] = fresh
            origin.append(node)
            fresh += 1
    return (
        replace(
            noded,
            start_node=start,
            end_node=end,
            node_x=np.concatenate([x, x[origin]]),
            node_y=np.concatenate([y, y[origin]]),
            node_id=np.concatenate([noded.node_id, np.full(len(origin), -1)]),
        )
        if origin
        else noded
    )


def joined_finding(noded: Noded, crs: CRS) -> Finding:
    """Ends that missed another road and were led to it."""
    x, y, gap = noded.mended[0].tolist()
    facts = {
        "count": len(noded.mended),
        "largest_m": float(noded.mended[:, 2].max()),
        "first_m": gap,
        "first_at": written_place(crs, x, y),
    }
    return Finding("road_ends_joined", "note", facts=facts)
