"""What the user knows better than the map: roads that are closed, dangers on the way, tracks that the map lacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from siteplanner.errors import Finding
from siteplanner.roads.attributes import level, road_class
from siteplanner.roads.cells import is_missing, is_set, plain_name, tag_text
from siteplanner.roads.hazards import Hazard, Warned, hazard_at
from siteplanner.roads.reasons import closure_names
from siteplanner.roads.tables import Judged, SegmentTags

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

POINT_REACH_M = 30.0  # a point closes the road nearest to it within this. Common practice
HALF_WIDTH_M = 5.0  # what a point or a line closes on either side. Common practice
END_M = 10.0  # a line along a road that ends at a junction leaves the junction open. Common practice
DRAWN = "drawn"  # column: lines that the user drew; they join what they cross or just miss
NO_NAME = "marked as closed"
DANGER = "hazard area"  # the kind of `Hazard` of a road in one


@dataclass(frozen=True, eq=False)
class Closure:
    """An area on roads, with the reason in words; with `level`, only on roads of that storey."""

    shape: BaseGeometry
    name: str
    level: int | None = None


def closure_list(closures: BaseGeometry | Sequence[Closure] | None) -> tuple[Closure, ...]:
    """One area or several as a tuple, the empty ones left out."""
    if closures is None:
        return ()
    if isinstance(closures, BaseGeometry):
        closures = (Closure(closures, "inside a closed area"),)
    return tuple(c for c in closures if not c.shape.is_empty)


def read_closures(marks: GeoDataFrame, roads: GeoDataFrame) -> tuple[tuple[Closure, ...], list[Finding]]:
    """Closures from polygons (all roads inside), lines (what they cross or run along), points (the nearest road).

    Both tables in one metric CRS; only roads for vehicles count. A point closes one storey: a closed bridge leaves
    the road below it open. A line traced along a road closes it and what crosses it on the way, not the junctions
    at its ends. Findings name what closes nothing.
    """
    lines = np.asarray(roads.geometry.array, object)
    rows = np.flatnonzero((shapely.get_dimensions(lines) == 1) & _for_vehicles(roads))
    tree = shapely.STRtree(lines[rows])
    out: list[Closure] = []
    idle: list[str] = []
    for name, geometry in zip(_names(marks), marks.geometry, strict=True):
        words = name or NO_NAME
        for part in shapely.get_parts(geometry):
            found = None
            if part.geom_type == "Point":
                near = tree.query_nearest(part, max_distance=POINT_REACH_M, all_matches=False)
                if len(near):
                    row = int(rows[near[0]])
                    spot = shapely.line_interpolate_point(lines[row], shapely.line_locate_point(lines[row], part))
                    found = Closure(spot.buffer(HALF_WIDTH_M), words, _level(roads, row))
            else:
                for shape in _strips(part) if part.geom_type == "LineString" else (part,):
                    if found is None and len(tree.query(shape, predicate="intersects")):
                        found = Closure(shape, words)
            if found is None:
                idle.append(words)
            else:
                out.append(found)
    facts = {"count": len(idle), "names": tuple(idle), "reach_m": POINT_REACH_M}
    findings = [Finding("closure_without_road", "check", facts=facts)] if idle else []
    return tuple(out), findings


def _strips(line: LineString) -> tuple[BaseGeometry, BaseGeometry]:
    """What a drawn line closes: without its ends, which may lie on a junction; or all of it."""
    cut = min(END_M, line.length / 4)
    inner = substring(line, cut, line.length - cut)
    return inner.buffer(HALF_WIDTH_M, cap_style="flat"), line.buffer(HALF_WIDTH_M)


def read_dangers(areas: GeoDataFrame, close_roads: bool) -> tuple[tuple[Closure, ...], tuple[Closure, ...]]:
    """(hazard areas that close the roads in them, all hazard areas).

    The column `closes_roads` says so for each; where it is empty or missing, `close_roads` does.
    """
    said = areas["closes_roads"].tolist() if "closes_roads" in areas.columns else [None] * len(areas)
    everything, closing = [], []
    for name, value, shape in zip(_names(areas), said, areas.geometry, strict=True):
        area = Closure(shape, f"{DANGER} {name}" if name else f"{DANGER} without a name")
        everything.append(area)
        if close_roads if is_missing(value) or not tag_text(value) else is_set(value):
            closing.append(area)
    return tuple(closing), tuple(everything)


def _names(frame: GeoDataFrame) -> list[str]:
    return [plain_name(v) for v in frame["name"]] if "name" in frame.columns else [""] * len(frame)


def _for_vehicles(roads: GeoDataFrame) -> np.ndarray:
    column = next((c for c in roads.columns if str(c).strip().lower() == "highway"), None)
    if column is None:
        return np.ones(len(roads), bool)
    return np.array([road_class(tag_text(v)) != "" for v in roads[column]], bool)


def _level(roads: GeoDataFrame, row: int) -> int:
    return level(*(roads[key].iloc[row] if key in roads.columns else None for key in ("layer", "bridge", "tunnel")))


def _within(areas: Sequence[Closure], pieces: np.ndarray, storey: np.ndarray) -> list[tuple[int, int]]:
    """(segment, area) pairs; segments are cut at the areas' edges, so that their middle tells."""
    middle = np.asarray(shapely.line_interpolate_point(pieces, 0.5, normalized=True), object)
    pairs = shapely.STRtree(middle).query([c.shape for c in areas], predicate="intersects").T.tolist()
    return sorted((i, k) for k, i in pairs if areas[k].level in (None, storey[i]))


def closed_by(shut: Sequence[Closure], pieces: np.ndarray, storey: np.ndarray) -> dict[int, tuple[str, ...]]:
    """What closes each closed segment, by name, each name once."""
    names: dict[int, dict[str, None]] = {}
    for i, k in _within(shut, pieces, storey) if shut else ():
        names.setdefault(i, {})[shut[k].name] = None
    return {i: tuple(told) for i, told in names.items()}


def with_dangers(
    hazards: tuple[tuple[Hazard, ...], ...],
    dangers: Sequence[Closure],
    pieces: np.ndarray,
    storey: np.ndarray,
    usable: np.ndarray,
) -> tuple[tuple[Hazard, ...], ...]:
    """The hazards of each segment and, first, the danger areas it lies in; `usable` marks lines for vehicles."""
    out = list(hazards)
    for i, k in reversed(_within(dangers, pieces, storey) if dangers else []):
        if usable[i]:
            x, y = shapely.get_coordinates(pieces[i])[0].tolist()
            warned = Warned(kind=DANGER, severity="warning", what=dangers[k].name)
            out[i] = (hazard_at(warned, 0.0, x, y, stretch=True), *out[i])
    return tuple(out)


def closure_findings(tags: SegmentTags, judged: Judged, length_m: np.ndarray) -> list[Finding]:
    """One finding for what closes roads together: how many roads it closes, and which."""
    groups: dict[tuple[str, ...], list[int]] = {}
    for i in np.flatnonzero(judged.closed & tags.for_vehicles).tolist():
        groups.setdefault(closure_names(judged.reasons[i]), []).append(i)
    return [
        Finding(
            "roads_closed",
            "note",
            facts={
                "closed_by": names,
                "stated": names != (NO_NAME,),
                "count": len({int(tags.source_row[i]) for i in members}),
                "names": tuple(dict.fromkeys(str(tags.name[i]) for i in members if tags.name[i])),
                "length_m": float(length_m[members].sum()),
            },
        )
        for names, members in groups.items()
    ]


def with_tracks(roads: GeoDataFrame, tracks: GeoDataFrame) -> GeoDataFrame:
    """The roads and tracks that the user drew, which join all that they cross or just miss.

    A track without `highway` counts as `track`; without a name it is called a track drawn for this mission.
    """
    import pandas as pd

    tracks = tracks.copy()
    for key, default in (("highway", "track"), ("name", "track drawn for this mission")):
        if key not in tracks.columns:
            tracks[key] = default
        blank = tracks[key].isna() | (tracks[key].astype(str).str.strip() == "")
        tracks[key] = tracks[key].astype(object).where(~blank, default)
    tracks[DRAWN] = True
    return pd.concat([roads, tracks], ignore_index=True)
