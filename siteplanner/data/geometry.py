"""Mending shapes: what may be repaired is repaired and reported, the rest is left out and reported."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from siteplanner.data.grid import WGS84
from siteplanner.errors import Finding

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

Kind = Literal["polygon", "line", "point"]
Box = tuple[float, float, float, float]

_TYPE_IDS: dict[str, tuple[int, ...]] = {"point": (0, 4), "line": (1, 2, 5), "polygon": (3, 6)}  # GEOS type ids
_COLLECTION = 7


def transformed(shape: BaseGeometry, source: CRS, target: CRS, max_step_deg: float = 0.05) -> BaseGeometry:
    """A shape in another CRS; long edges get extra corners first, because straight lines bend on the way.

    `max_step_deg`: largest edge kept straight when the source is in degrees.
    """
    import shapely
    from pyproj import Transformer

    if source.is_geographic:
        shape = shapely.segmentize(shape, max_step_deg)
    move = Transformer.from_crs(source, target, always_xy=True)

    def apply(points: np.ndarray) -> np.ndarray:
        return np.column_stack(move.transform(points[:, 0], points[:, 1]))

    return shapely.transform(shapely.force_2d(shape), apply)


def unwrapped(shape: BaseGeometry) -> BaseGeometry:
    """A WGS 84 shape across the antimeridian in one piece (179 E to 181 E rather than 179 W): shapes wider than half
    the globe are taken for such."""
    import shapely

    west, _, east, _ = shape.bounds
    if not east - west > 180:
        return shape
    return shapely.transform(shape, lambda xy: np.column_stack([xy[:, 0] % 360.0, xy[:, 1]]))


def box_lonlat(bounds: Box, crs: CRS) -> Box:
    """West, south, east, north in WGS 84 degrees of bounds in a CRS (edges followed, not only corners)."""
    from pyproj import Transformer

    if not np.all(np.isfinite(bounds)):
        return (float("nan"),) * 4
    if crs.is_geographic and crs.to_authority() == ("EPSG", "4326"):
        west, south, east, north = bounds
    else:
        move = Transformer.from_crs(crs, WGS84, always_xy=True)
        west, south, east, north = move.transform_bounds(*bounds, densify_pts=21)
    return float(west), float(south), float(east), float(north)


def boxes_meet(a: Box, b: Box) -> bool:
    """Whether two boxes share a point; whole turns of longitude are the same place."""
    if not (np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        return False
    return (
        a[1] <= b[3]
        and b[1] <= a[3]
        and any(a[0] + turn <= b[2] and b[0] <= a[2] + turn for turn in (-360.0, 0.0, 360.0))
    )


def looks_swapped(bounds: Box, crs: CRS, near: Box) -> bool:
    """Whether bounds that miss the needed ground would meet it with x and y exchanged."""
    x0, y0, x1, y1 = bounds
    if crs.is_geographic and (max(abs(x0), abs(x1)) > 90):
        return False
    return boxes_meet(box_lonlat((y0, x0, y1, x1), crs), near)


def mend(frame: GeoDataFrame, kinds: set[Kind], name: str) -> tuple[GeoDataFrame, list[Finding]]:
    """Keep usable shapes of the wanted kinds, two-dimensional and valid.

    `frame`: any geometries in a metric CRS. Returns the kept rows and a finding for each sort of change:
    `geometry_missing`, `geometry_not_finite`, `heights_dropped`, `kinds_left_out`, `polygons_repaired`.
    """
    import shapely

    findings: list[Finding] = []

    def note(code: str, severity: Literal["note", "check"] = "check", **facts: Any) -> None:
        findings.append(Finding(code, severity, file=name, facts=facts))

    shapes = np.asarray(frame.geometry.array, dtype=object)
    absent = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if absent.any():
        note("geometry_missing", count=int(absent.sum()), of=len(shapes))
        frame, shapes = frame[~absent], shapes[~absent]

    finite = np.array([np.isfinite(shapely.get_coordinates(s)).all() for s in shapes], dtype=bool)
    if not finite.all():
        note("geometry_not_finite", count=int((~finite).sum()))
        frame, shapes = frame[finite], shapes[finite]

    if shapely.has_z(shapes).any():
        note("heights_dropped", "note")
    shapes = shapely.force_2d(shapes)

    shapes, lost = _only(shapes, kinds)
    keep = np.array([s is not None for s in shapes], dtype=bool)
    if lost:
        note("kinds_left_out", wanted=tuple(sorted(kinds)), left_out=tuple(sorted(lost.items())))
    frame, shapes = frame[keep], shapes[keep]

    if "polygon" in kinds and len(shapes):
        shapes, gone = _valid(shapes, note, frame.crs is not None and frame.crs.is_projected)
        frame, shapes = frame[~gone], shapes[~gone]
    frame = frame.set_geometry(shapes, crs=frame.crs).reset_index(drop=True)
    return frame, findings


def _only(shapes: np.ndarray, kinds: set[Kind]) -> tuple[np.ndarray, dict[str, int]]:
    """Shapes of the wanted kinds, None elsewhere; collections give their fitting parts."""
    import shapely

    wanted = {i for kind in kinds for i in _TYPE_IDS[kind]}
    names = {i: kind for kind, ids in _TYPE_IDS.items() for i in ids}
    out = np.empty(len(shapes), dtype=object)
    lost: dict[str, int] = {}
    for k, (shape, kind) in enumerate(zip(shapes, shapely.get_type_id(shapes), strict=True)):
        if kind in wanted:
            out[k] = shape
        elif kind == _COLLECTION:
            out[k], missed = _parts(shape, kinds)
            for word in missed:
                lost[word] = lost.get(word, 0) + 1
        else:
            lost[names[kind]] = lost.get(names[kind], 0) + 1
    return out, lost


def _parts(collection: Any, kinds: set[Kind]) -> tuple[Any, list[str]]:
    """The parts of a collection of the first fitting kind as one shape, and the kinds left out."""
    import shapely

    flat = list(shapely.get_parts(collection))
    while any(p.geom_type == "GeometryCollection" for p in flat):
        flat = [q for p in flat for q in (shapely.get_parts(p) if p.geom_type == "GeometryCollection" else [p])]
    parts = [q for p in flat for q in shapely.get_parts(p) if not q.is_empty]
    build: dict[Kind, Any] = {
        "polygon": shapely.multipolygons,
        "line": shapely.multilinestrings,
        "point": shapely.multipoints,
    }
    by_kind = {kind: [p for p in parts if shapely.get_type_id(p) in _TYPE_IDS[kind]] for kind in build}
    for kind in build:
        if kind in kinds and by_kind[kind]:
            return build[kind](by_kind[kind]), [k for k, v in by_kind.items() if v and k != kind]
    return None, [k for k, v in by_kind.items() if v]


def _valid(shapes: np.ndarray, note: Any, metric: bool) -> tuple[np.ndarray, np.ndarray]:
    """Self-crossing polygons made valid; True in the second array where nothing with an area was left."""
    import shapely

    bad = ~shapely.is_valid(shapes) & np.isin(shapely.get_type_id(shapes), _TYPE_IDS["polygon"])
    gone = np.zeros(len(shapes), dtype=bool)
    if not bad.any():
        return shapes, gone
    shapes = shapes.copy()
    # "structure" keeps ground that a boundary goes round twice; the other method would cut it out as a hole
    mended = shapely.make_valid(shapes[bad], method="structure", keep_collapsed=False)
    shapes[bad] = mended
    gone[bad] = shapely.is_empty(mended)
    area_m2 = float(shapely.area(mended).sum()) if metric else None
    note("polygons_repaired", count=int(bad.sum()), area_m2=area_m2)
    if gone.any():
        note("polygons_without_area", count=int(gone.sum()))
    return shapes, gone
