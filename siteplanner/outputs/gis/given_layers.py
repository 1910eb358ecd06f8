"""Rows of the GeoPackage that come from the user's own layers, with every column that they brought."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import TYPE_CHECKING, Any

from siteplanner.outputs.gis.road_layers import known
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.served import PolygonService

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

FIGURES = frozenset({"weight", "people", "voltage_kv", "height_m", "frequency_mhz", "bandwidth_mhz", "eirp_dbm"})
"""Columns that are read as figures; what is none there was said to be so when the layer was read."""
AREA_COLUMNS = (
    "area_km2",
    "people_counted",
    "served_share",
    "people_served",
    "served_by",
    "set_served_share",
    "set_people_served",
    "set_served_by",
)
TAKEN = frozenset({"fid", "ogc_fid", "rowid", "geom", "geometry"})  # names that the format keeps for itself


def given_rows(frame: GeoDataFrame, own: Collection[str] = ()) -> list[dict[str, Any]]:
    """One row a shape: the file's columns, text cleaned, unknown None. A column that is called like one of the
    format's or of `own` gets `_given` behind its name, one that is empty throughout is left out."""
    columns = given_columns(frame, own)
    held = {name: _values(frame[column].tolist(), column) for column, name in columns.items()}
    return [
        {**{name: values[n] for name, values in held.items()}, "geometry": geometry}
        for n, geometry in enumerate(frame.geometry)
    ]


def given_columns(frame: GeoDataFrame, own: Collection[str] = ()) -> dict[str, str]:
    """The file's columns that hold something -> their names here, no two alike in any mixture of letters."""
    taken, out = {*TAKEN, *(name.lower() for name in own)}, {}
    for column in frame.columns:
        if column == frame.geometry.name or all(v is None for v in _values(frame[column].tolist(), column)):
            continue
        name = (clean(column) or "column")[:60]
        while name.lower() in taken:
            name += "_given"
        taken.add(name.lower())
        out[column] = name
    return out


def _values(values: list[Any], column: str) -> list[Any]:
    out = [_figure(v) if column in FIGURES else _plain(v) for v in values]
    if any(isinstance(v, str) for v in out):  # a column holds one kind
        return [v if v is None or isinstance(v, str) else str(v) for v in out]
    return out


def _figure(value: Any) -> float | None:
    try:
        return known(float(value))
    except (TypeError, ValueError):
        return None


def _plain(value: Any) -> Any:
    if value is None or value != value or str(value) in ("NaT", "<NA>"):
        return None
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, (bool, int)) and abs(value) < 2**63:
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if hasattr(value, "isoformat"):
        return value.isoformat()
    return clean(value) or None


def area_rows(plan: Plan) -> list[dict[str, Any]]:
    """The incident area with what the best spot and the best set of two serve of each polygon."""
    frame, best = plan.scene.area, plan.best
    coverage = None if best is None else best.evaluation.coverage
    alone = _of(frame, () if coverage is None or coverage.service is None else coverage.service.polygons)
    pair = plan.sets.get(2)
    together = _of(frame, () if pair is None else pair.polygons)
    rows = given_rows(frame, AREA_COLUMNS)
    for row, one, two, shape in zip(rows, alone, together, frame.geometry, strict=True):
        geometry = row.pop("geometry")
        row |= {
            "area_km2": known(shape.area / 1e6, 4),
            "people_counted": None if one is None else known(one.people, 1),
            "served_share": None if one is None else known(one.share, 4),
            "people_served": None if one is None else known(one.people_served, 1),
            "served_by": clean(best.spot.name) if one is not None and best is not None else None,
            "set_served_share": None if two is None else known(two.share, 4),
            "set_people_served": None if two is None else known(two.people_served, 1),
            "set_served_by": clean(" + ".join(r.spot.name for r in pair.spots)) if two is not None and pair else None,
            "geometry": geometry,
        }
    return rows


def _of(frame: GeoDataFrame, polygons: tuple[PolygonService, ...]) -> list[PolygonService | None]:
    """In the order of the layer; None for each where they are not of this layer."""
    return list(polygons) if len(polygons) == len(frame) else [None] * len(frame)
