"""Rows of the GeoPackage about limits that the road data do not state: each a row of its own, of a drive or a road."""

from __future__ import annotations

from typing import Any

from siteplanner.outputs.gis.road_layers import known
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import Access
from siteplanner.roads.reasons import UNKNOWN_KINDS


def limit_rows(plan: Plan) -> list[dict[str, Any]]:
    """One row a limit and drive, by rank, then one a limit and road; `road` is the number in the layer `roads`."""
    rows: list[dict[str, Any]] = []
    for ranked in plan.spots:
        access = ranked.evaluation.access
        for item in access.unknown if access else ():
            own = {"rank": ranked.rank, "spot": clean(ranked.spot.name), "road": None, "name": None}
            rows.append(_row("drive", own, item.kind, item.near, item.length_m, item.total_m))
    roads = plan.scene.roads
    for i in range(len(roads)):
        for thing in roads.judged.unknown[i] if roads.tags.for_vehicles[i] else ():
            long = float(roads.geometry.length_m[i])
            own = {"rank": None, "spot": None, "road": i, "name": clean(roads.tags.name[i])}
            rows.append(_row("road", own, thing.kind, thing.near, long, long))
    return rows


def _row(about: str, whose: dict[str, Any], kind: str, near: bool, length_m: float, of_m: float) -> dict[str, Any]:
    return {
        "about": about,
        **whose,
        "limit_kind": kind,
        "near_limit": near,
        "length_m": known(length_m, 0),
        "of_m": known(of_m, 0),
    }


def limit_columns(access: Access | None) -> dict[str, float | None]:
    """How much of a drive each limit is not stated on, a column a limit; None where no road leads to the spot."""
    if access is None:
        return dict.fromkeys((*(_column(kind) for kind in UNKNOWN_KINDS), "grade_near_limit_m"))
    held = {(item.kind, item.near): item.length_m for item in access.unknown}
    columns = {_column(kind): known(held.get((kind, False), 0.0), 0) for kind in UNKNOWN_KINDS}
    return {**columns, "grade_near_limit_m": known(held.get(("grade", True), 0.0), 0)}


def _column(kind: str) -> str:
    return f"{kind.replace(' ', '_')}_not_stated_m"
