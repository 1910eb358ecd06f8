"""Two trailers together, for GIS: what the set serves, and which trailer serves which ground."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from shapely.geometry import Point

from siteplanner.data.grid import Grid
from siteplanner.outputs.gis.ground_layers import class_polygons, service_classes
from siteplanner.outputs.gis.road_layers import known
from siteplanner.outputs.gis.tiffs import NO_CLASS, write_classes, write_percent
from siteplanner.outputs.pictures.layers import area_values
from siteplanner.outputs.words.palettes import SERVER_COLOURS
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.sets import TrailerSet
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.served import SERVED

SIZE = 2
NOBODY = 0


@dataclass(frozen=True, eq=False)
class BestServer:
    """Per cell of the incident area, NaN outside: the probability by the best server of the set, and its number from 1
    on in the order of the trailers, 0 where no trailer serves as likely as not."""

    probability: Grid
    number: Grid
    names: tuple[str, ...]


def best_server(plan: Plan) -> BestServer | None:
    """Of the best set of two trailers; None where there is none or it was not kept cell by cell."""
    pair = plan.sets.get(SIZE)
    if pair is None or not pair.served.size:
        return None
    best = pair.served.max(0)
    number = np.where(best >= SERVED, pair.served.argmax(0) + 1, NOBODY)
    probability, numbers = area_values(plan, best), area_values(plan, number.astype(np.float32))
    if probability is None or numbers is None:
        return None
    return BestServer(probability, numbers, tuple(clean(r.spot.name) for r in pair.spots))


def set_layers(plan: Plan) -> dict[str, list[dict[str, Any]]]:
    """`set_service`, `set_server` and `set_trailers`; empty without a set of two."""
    found, pair = best_server(plan), plan.sets.get(SIZE)
    out: dict[str, list[dict[str, Any]]] = {"set_service": [], "set_server": [], "set_trailers": []}
    if pair is not None:
        out["set_trailers"] = _trailers(pair)
    if found is None:
        return out
    together = " + ".join(found.names)
    out["set_service"] = class_polygons(*service_classes(found.probability, {"set": together}))
    wanted = {n: {"trailer": n, "spot": name, "label": f"Trailer {n}, {name}"} for n, name in enumerate(found.names, 1)}
    numbers = found.number.with_values(np.nan_to_num(found.number.values, nan=NO_CLASS).astype(np.uint8))
    rows = class_polygons(numbers, wanted)
    for row in rows:
        shape = row.pop("geometry")
        row |= {"area_km2": known(shape.area / 1e6, 4), "geometry": shape}
    out["set_server"] = rows
    return out


def _trailers(pair: TrailerSet) -> list[dict[str, Any]]:
    return [
        {
            "trailer": n,
            "unit": clean(t.unit) or None,
            "spot": clean(t.ranked.spot.name),
            "rank": t.ranked.rank,
            "grid_reference": t.ranked.spot.grid_reference,
            "latitude": round(t.ranked.spot.latitude, 7),
            "longitude": round(t.ranked.spot.longitude, 7),
            "staging": clean(t.start),
            "drive_time_min": known(t.drive_min, 1),
            "on_air_early_min": known(t.early_min, 0),
            "on_air_likely_min": known(t.likely_min, 0),
            "on_air_late_min": known(t.late_min, 0),
            "share_after": known(t.share_after, 4),
            "area_share_after": known(t.area_after, 4),
            "people_after": known(t.people_after, 1),
            "points_after": len(t.points_after),
            "geometry": Point(t.ranked.spot.x, t.ranked.spot.y),
        }
        for n, t in enumerate(pair.trailers, 1)
    ]


def write_set_service(plan: Plan, path: Path) -> None:
    """Per cent by the best server of the set; no file without a set of two."""
    found = best_server(plan)
    if found is not None:
        write_percent(found.probability, path, _tags(plan, found))


def write_set_server(plan: Plan, path: Path) -> None:
    """Which trailer serves each cell, with names in the companion file `.aux.xml`; no file without a set of two."""
    found = best_server(plan)
    if found is None:
        return
    values = np.where(np.isnan(found.number.values), NO_CLASS, np.nan_to_num(found.number.values)).astype(np.uint8)
    names = ["No service expected", *(f"Trailer {n}, {name}" for n, name in enumerate(found.names, 1))]
    colours = ["#FFFFFF", *SERVER_COLOURS[: len(found.names)]]
    said = "Trailer that serves the cell best"
    write_classes(found.number.with_values(values), path, names, colours, said, _tags(plan, found))


def _tags(plan: Plan, found: BestServer) -> dict[str, str]:
    return {"MISSION": clean(plan.mission.name), "SPOTS": ", ".join(found.names)}
