"""What the user knows better than the map: roads that are closed, and tracks that the map lacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from siteplanner.errors import Finding
from siteplanner.roads.attributes import level, plain_name

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

POINT_REACH_M = 30.0  # a point closes the road nearest to it within this. Common practice
HALF_WIDTH_M = 5.0  # what a point or a line closes on either side. Common practice
DRAWN = "drawn"  # column: lines that the user drew; they join what they cross or just miss
NO_NAME = "marked as closed"


@dataclass(frozen=True, eq=False)
class Closure:
    """An area that must not be driven through; with `level`, only on roads of that storey."""

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


def read_closures(drawn: GeoDataFrame, roads: GeoDataFrame) -> tuple[tuple[Closure, ...], list[Finding]]:
    """Closures from polygons (all roads inside), lines (what they cross), points (the nearest road).

    Both in one metric CRS. A closed bridge leaves the road below it open when it is marked by a point. Findings
    name what closes nothing.
    """
    lines = np.asarray(roads.geometry.array, object)
    kind = shapely.get_dimensions(lines)
    rows = np.flatnonzero(kind == 1)
    tree = shapely.STRtree(lines[rows])
    names = drawn["name"].tolist() if "name" in drawn.columns else [None] * len(drawn)
    out: list[Closure] = []
    idle: list[str] = []
    for name, geometry in zip(names, drawn.geometry, strict=True):
        words = plain_name(name) or NO_NAME
        for part in shapely.get_parts(geometry):
            if part.geom_type != "Point":
                shape = part if part.geom_type == "Polygon" else part.buffer(HALF_WIDTH_M)
                hit = len(tree.query(shape, predicate="intersects")) > 0
                found = Closure(shape, words)
            else:
                near = tree.query_nearest(part, max_distance=POINT_REACH_M, all_matches=False)
                hit = len(near) > 0
                if hit:
                    row = int(rows[near[0]])
                    spot = shapely.line_interpolate_point(lines[row], shapely.line_locate_point(lines[row], part))
                    found = Closure(spot.buffer(HALF_WIDTH_M), words, _level(roads, row))
            if hit:
                out.append(found)
            else:
                idle.append(words)
    findings = []
    if idle:
        findings.append(Finding(
            "closure_without_road", "warning",
            f"{len(idle)} closures meet no road ({', '.join(idle[:5])}); they close nothing.",
            f"Move a point to within {POINT_REACH_M:.0f} m of the road, or draw a line across it.",
        ))  # fmt: skip
    return tuple(out), findings


def _level(roads: GeoDataFrame, row: int) -> int:
    return level(*(roads[key].iloc[row] if key in roads.columns else None for key in ("layer", "bridge", "tunnel")))


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
