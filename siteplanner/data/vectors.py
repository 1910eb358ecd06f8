"""Vector layers in: read by allow-list, mended where safe, brought to the working CRS."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from siteplanner.data.border import border
from siteplanner.data.bounded import MOST_FEATURES, bounded, counted
from siteplanner.data.columns import ColumnRules, named, plain
from siteplanner.data.formats import local_file, vector_driver
from siteplanner.data.geojson_crs import check_understood
from siteplanner.data.geometry import Box, Kind, box_lonlat, boxes_meet, looks_swapped, mend, transformed, unwrapped
from siteplanner.data.grid import WGS84
from siteplanner.data.osm import TurnRestriction, read_osm
from siteplanner.data.projections import horizontal
from siteplanner.data.records import Held, InputRecord, crs_name, extent_words, sha256_of
from siteplanner.data.vector_files import info_of, opened, table_of, unreadable
from siteplanner.errors import Finding, InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

__all__ = ["InputRecord", "Kind", "Layer", "read_layer", "sha256_of"]

_WGS84_BY_STANDARD = ("GeoJSON", "LIBKML", "GPX")  # RFC 7946 section 4; OGC 07-147r2 section 6; GPX 1.1 schema
_LEFT_OUT = {  # findings after which nothing usable may be left, and how an error counts them
    "kinds_left_out": "other shapes than that",
    "geometry_missing": "{count} without geometry",
    "polygons_without_area": "{count} that enclose nothing",
    "tangled_lines": "{count} that run over themselves again and again",
    "geometry_not_finite": "{count} whose coordinates are no numbers",
}
_READ_WHOLE = 50_000  # features; above this GDAL leaves out what is far away, before we can count what is broken


@dataclass(frozen=True, eq=False)
class Layer:
    """A vector layer ready for use.

    `frame` holds the features that were kept, in the target CRS, two-dimensional, with every attribute of the
    file; `record` says what was read, `findings` what was mended, left out or doubtful. `restrictions`: signed
    turns of an OpenStreetMap extract.
    """

    role: str
    frame: GeoDataFrame
    record: InputRecord
    findings: tuple[Finding, ...]
    restrictions: tuple[TurnRestriction, ...] = ()


def read_layer(
    path: str | Path,
    role: str,
    *,
    target_crs: CRS,
    kinds: set[Kind],
    near: BaseGeometry | None = None,
    column_map: Mapping[str, str] | None = None,
    rules: ColumnRules | None = None,
    lenient: bool = False,
    layer: str | None = None,
    required: bool = True,
) -> Layer:
    """Read a vector layer (GeoJSON, GeoPackage, Shapefile or its .zip, KML, KMZ, GPX, FlatGeobuf).

    `kinds`: which of "polygon", "line", "point" to keep; multi-part shapes stay as they are.
    `near`: WGS 84 shape; only features that meet it are kept (whole, not clipped). `column_map`: wanted name ->
    the file's column (or `rules`, which say more of them); with `lenient` it may name columns that the file lacks.
    `layer`: which layer of a file with several; `file.gpkg|roads` as the path says the same.
    `required`: whether a layer without a usable feature is an error or a finding.

    An OpenStreetMap extract (.osm.pbf, .osm) gives roads only, with points where barriers stand; see `data.osm`.
    Every layer of a KML is read (each folder is one); of a GPX the waypoints, or the routes and tracks, by
    `kinds`. Repairs, each with a finding: self-crossing polygons are made valid, heights dropped, collections
    taken apart, other kinds and missing geometries left out.

    Raises InputError (file, field, remedy) for what cannot be read or is off the list, a missing CRS, swapped
    axes, several layers without a choice, a missing column, and, if `required`, no feature or none near.
    """
    try:
        with border(path, "layer"):
            return _read_layer(
                Path(path), role, target_crs, kinds, near, rules or ColumnRules(column_map or {}), lenient, layer,
                required,
            )  # fmt: skip
    except InputError as error:
        if error.field is not None:
            raise
        field = f"layers.{role.replace(' ', '_')}"
        raise error.placed(field=field) from error


def _read_layer(
    path: Path,
    role: str,
    target_crs: CRS,
    kinds: set[Kind],
    near: BaseGeometry | None,
    rules: ColumnRules,
    lenient: bool,
    layer: str | None,
    required: bool,
) -> Layer:
    if layer is None and "|" in path.name and not path.exists():
        stem, layer = path.name.split("|", 1)
        path, layer = path.with_name(stem), layer.removeprefix("layername=")
    full = local_file(path)
    near = None if near is None else unwrapped(near)
    findings: list[Finding] = []
    if vector_driver(full) == "OSM":
        return _extract(full, role, target_crs, kinds, near, findings, required)
    with opened(full, role, kinds, layer, findings) as parts:
        infos = [info_of(*part, full) for part in parts]
        crs = _crs(infos, full)
        if infos[0]["driver"] == "GeoJSON":
            check_understood(full, crs)
        total = sum(info["features"] for info in infos)
        bounds = _joined(infos)
        _check_axes(bounds, crs, near, full)
        frames = [_features(*part, info, crs, near, full, findings) for part, info in zip(parts, infos, strict=True)]
        names = tuple(str(info["layer_name"]) for info in infos)
    frame = _concat(frames)
    frame = frame.set_crs(crs, allow_override=True).to_crs(target_crs)
    frame, unwound = bounded(frame, full)
    findings += unwound
    frame, mended = mend(frame, kinds, full.name)
    if near is not None and len(frame):
        import shapely

        ground = transformed(near, WGS84, target_crs)
        shapely.prepare(ground)
        frame = frame[shapely.intersects(ground, frame.geometry.array)].reset_index(drop=True)
    findings += mended
    counted(frame, full, role)
    extent = box_lonlat(bounds, crs)
    if frame.empty:
        _nothing_left(total, extent, near, kinds, findings, required, full, role)
    frame = named(plain(frame), rules, role, full, findings, lenient=lenient)
    record = InputRecord(
        role,
        full.name,
        sha256_of(full),
        crs_name(crs),
        "",
        extent,
        len(frame),
        Held("features", kept=len(frame), total=total, names=names),
    )
    return Layer(role, frame, record, tuple(findings))


def _extract(
    path: Path,
    role: str,
    target_crs: CRS,
    kinds: set[Kind],
    near: BaseGeometry | None,
    findings: list[Finding],
    required: bool,
) -> Layer:
    """The roads of an OpenStreetMap extract that meet `near`."""
    if "line" not in kinds:
        raise InputError(
            "An OpenStreetMap extract is read for its roads only.",
            remedy=f"Export the {role} as a layer of its own.",
            file=path,
        )
    roads = read_osm(path, target_crs, near)
    frame = roads.frame
    if near is not None and len(frame):
        import shapely

        frame = frame[shapely.intersects(transformed(near, WGS84, target_crs), frame.geometry.array)]
        frame = frame.reset_index(drop=True)
    frame, unwound = bounded(frame, path)
    frame = frame.reset_index(drop=True)
    findings += [*roads.findings, *unwound]
    lines = int((frame.geom_type == "LineString").sum())
    if not lines:
        _nothing_left(roads.count, roads.extent_lonlat, near, kinds, findings, required, path, role)
    held = Held("roads", kept=lines, total=roads.count, restrictions=len(roads.restrictions))
    record = InputRecord(role, path.name, sha256_of(path), "EPSG:4326", "", roads.extent_lonlat, lines, held)
    return Layer(role, frame, record, tuple(findings), roads.restrictions)


def _crs(infos: list[dict[str, Any]], path: Path) -> CRS:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    found = next((info["crs"] for info in infos if info["crs"]), None)
    if found is None:
        if infos[0]["driver"] in _WGS84_BY_STANDARD:
            return WGS84
        raise InputError(
            "The layer does not say its coordinate reference system (CRS).",
            remedy="Export it again with its CRS; a shapefile needs its .prj file.",
            file=path,
        )
    try:
        crs = CRS.from_user_input(found)
    except CRSError as error:
        raise InputError(
            f"The CRS is not understood ({str(error)[:200]}).", remedy="Export the layer in WGS 84.", file=path
        ) from None
    if not (horizontal(crs).is_geographic or horizontal(crs).is_projected):
        raise InputError(
            f"The coordinate reference system {crs.name!r} cannot be placed on Earth.",
            remedy="Assign the true CRS in a GIS and export the layer.",
            file=path,
        )
    return crs


def _joined(infos: list[dict[str, Any]]) -> Box:
    boxes = np.array([info["total_bounds"] or (np.nan,) * 4 for info in infos if info["features"]], dtype=float)
    boxes = boxes[np.isfinite(boxes).all(axis=1)] if len(boxes) else boxes
    if not len(boxes):
        return (float("nan"),) * 4
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _check_axes(bounds: Box, crs: CRS, near: BaseGeometry | None, path: Path) -> None:
    """Swapped axes are named, never put right in silence: both readings are on the Earth too often."""
    if not np.isfinite(bounds).all():
        return
    x0, y0, x1, y1 = bounds
    remedy = "Export the layer again with longitude (or easting) before latitude (or northing)."
    if crs.is_geographic and max(abs(y0), abs(y1)) > 90 + 1e-6:
        if max(abs(x0), abs(x1)) <= 90 and max(abs(y0), abs(y1)) <= 360:
            raise InputError(
                f"The axes look swapped: latitudes run from {y0:.4f} to {y1:.4f}.", remedy=remedy, file=path
            )
        raise InputError(
            f"The coordinates are not degrees (x {x0:.1f} to {x1:.1f}, y {y0:.1f} to {y1:.1f}), yet the "
            f"CRS is {crs_name(crs)}.",
            remedy="Export the layer with the CRS it is in.",
            file=path,
        )
    if crs.is_geographic and max(abs(x0), abs(x1)) > 360 + 1e-6:
        raise InputError(
            f"Longitudes run from {x0:.1f} to {x1:.1f}: not degrees.",
            remedy="Export the layer with the CRS it is in.",
            file=path,
        )
    if near is None:
        return
    extent = box_lonlat(bounds, crs)
    if not boxes_meet(extent, near.bounds) and looks_swapped(bounds, crs, near.bounds):
        raise InputError(
            f"The axes look swapped: the layer lies at {extent_words(extent)}, but exchanged it would meet the "
            f"mission's ground at {extent_words(near.bounds)}.",
            remedy=remedy,
            file=path,
        )


def _features(
    connection: str,
    layer: str | None,
    info: dict[str, Any],
    crs: CRS,
    near: BaseGeometry | None,
    path: Path,
    findings: list[Finding],
) -> GeoDataFrame:
    """The features whose box meets the box of `near` (all without it), in the CRS of the file."""
    import pyogrio

    boxes = [] if near is None else _reading_boxes(near, crs, info["total_bounds"])
    few = info["features"] <= _READ_WHOLE
    # GDAL takes one box only; with two, on either side of the antimeridian, all are read
    bbox = boxes[0] if len(boxes) == 1 and not few else None
    errors = pyogrio.errors
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            frame = table_of(connection, layer, bbox, info["features"])
        except (errors.DataSourceError, errors.FeatureError, errors.GeometryError, UnicodeDecodeError) as error:
            raise unreadable(error, path) from None
    if len(frame) >= MOST_FEATURES:
        raise InputError(
            f"The layer has {MOST_FEATURES:,} features or more.", remedy="Cut it to the mission's ground.", file=path
        )
    for text in sorted({str(w.message) for w in said if issubclass(w.category, RuntimeWarning)})[:5]:
        findings.append(Finding("layer_doubtful", "check", file=path.name, facts={"said": text[:300]}))
    frame = _with_geometry(frame)
    if boxes and len(frame):
        b = frame.geometry.bounds.to_numpy()
        meets = np.zeros(len(b), dtype=bool)
        for box in boxes:
            meets |= (b[:, 0] <= box[2]) & (b[:, 2] >= box[0]) & (b[:, 1] <= box[3]) & (b[:, 3] >= box[1])
        frame = frame[meets | ~np.isfinite(b).all(axis=1)]
    return frame


def _reading_boxes(near: BaseGeometry, crs: CRS, bounds: Box | None) -> list[Box]:
    """Boxes in the file's CRS that hold the needed ground; none where the file's projection cannot show it.

    Longitudes are taken in the turn that the file counts in (126 W may be written as 234).
    """
    from pyproj import Transformer

    west, south, east, north = near.bounds
    if not crs.is_geographic:
        box = Transformer.from_crs(WGS84, crs, always_xy=True).transform_bounds(*near.bounds, densify_pts=21)
        return [box] if np.isfinite(box).all() else []
    pad = 0.01  # degrees: another datum lies less than 1 km away
    turned = [(west + t - pad, south - pad, east + t + pad, north + pad) for t in (0.0, -360.0, 360.0)]
    meeting = [b for b in turned if bounds is None or (b[0] <= bounds[2] and b[2] >= bounds[0])]
    return meeting or turned[:1]


def _with_geometry(frame: Any) -> GeoDataFrame:
    import geopandas

    if isinstance(frame, geopandas.GeoDataFrame):
        return frame
    return geopandas.GeoDataFrame(frame, geometry=[None] * len(frame))  # a table without shapes


def _concat(frames: list[GeoDataFrame]) -> GeoDataFrame:
    import pandas

    full = [frame for frame in frames if len(frame)]
    return pandas.concat(full, ignore_index=True) if len(full) > 1 else (full or frames)[0]


def _nothing_left(
    total: int,
    extent: Box,
    near: BaseGeometry | None,
    kinds: set[Kind],
    findings: list[Finding],
    required: bool,
    path: Path,
    role: str,
) -> None:
    """A finding where the layer may be empty, else an error."""
    wanted = " or ".join(sorted(kinds))
    needed = None if near is None else near.bounds
    if total == 0:
        if required:
            raise InputError(
                "The layer has no feature.", remedy=f"Export the {role} again, with features in it.", file=path
            )
        findings.append(Finding("layer_empty", "check", file=path.name, facts={"role": role}))
    elif needed is not None and np.isfinite(extent).all() and not boxes_meet(extent, needed):
        if required:
            raise InputError(
                f"The layer does not meet the mission's ground: the layer covers {extent_words(extent)}, the mission "
                f"needs {extent_words(needed)}.",
                remedy="Check that it is the right file and that its CRS is stated rightly.",
                file=path,
            )
        facts: dict[str, Any] = {"extent_lonlat": extent, "needed_lonlat": needed, "apart": True, "total": total}
        findings.append(Finding("layer_far_away", "check", file=path.name, facts=facts))
    elif left := [f for f in findings if f.code in _LEFT_OUT]:
        if required:
            counted = "; ".join(_LEFT_OUT[f.code].format(**{"count": "", **f.facts}) for f in left)
            raise InputError(
                f"No usable {wanted} is in the layer: {counted}.", remedy=f"Give a layer of {wanted}s.", file=path
            )
        findings.append(Finding("layer_without_kind", "check", file=path.name, facts={"wanted": tuple(sorted(kinds))}))
    else:
        if required:
            where = (
                ""
                if needed is None
                else f" It needs {extent_words(needed)}; the whole layer spans {extent_words(extent)}."
            )
            raise InputError(
                f"None of the {total:,} features meets the mission's ground.{where}",
                remedy="Check that it is the right file.",
                file=path,
            )
        facts = {"extent_lonlat": extent, "needed_lonlat": needed, "apart": False, "total": total}
        findings.append(Finding("layer_far_away", "check", file=path.name, facts=facts))
