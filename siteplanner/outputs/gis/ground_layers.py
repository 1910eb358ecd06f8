"""Rows of the GeoPackage about the ground: the first limit of each cell and the predicted service, as polygons."""

from __future__ import annotations

from typing import Any

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.outputs.gis.road_layers import known
from siteplanner.outputs.pictures.layers import main_limit, probability_grid
from siteplanner.outputs.words.palettes import SERVICE_CLASSES
from siteplanner.outputs.words.text import clean
from siteplanner.planning.plan.model import Plan


def class_polygons(classes: Grid, wanted: dict[int, dict[str, Any]]) -> list[dict[str, Any]]:
    """One multi-polygon a class, along the cells' edges."""
    import shapely
    from rasterio.features import shapes

    parts: dict[int, list[Any]] = {value: [] for value in wanted}
    mask = np.isin(classes.values, list(wanted))
    for geometry, value in shapes(classes.values.astype(np.uint8), mask=mask, transform=classes.transform):
        parts[int(value)].append(geometry["coordinates"])
    out = []
    for value, found in parts.items():
        if not found:
            continue
        # thousands of polygons: built by arrays of rings, which is several times quicker than one by one
        rings = [ring for polygon in found for ring in polygon]
        owner = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
        closed: Any = shapely.linearrings(np.concatenate([np.asarray(ring) for ring in rings]), indices=owner)
        of_polygon = np.repeat(np.arange(len(found)), [len(polygon) for polygon in found])
        polygons: Any = shapely.polygons(closed, indices=of_polygon)
        out.append({**wanted[value], "geometry": shapely.multipolygons(polygons)})
    return out


def ruling_rows(plan: Plan) -> list[dict[str, Any]]:
    """Ground that passes, and each limit's own."""
    classes, rulings = main_limit(plan)
    wanted: dict[int, dict[str, Any]] = {
        1: {"code": "passes", "label": "Passes every limit", "share_of_search_ground": None}
    }
    for number, ruling in enumerate(rulings, 2):
        wanted[number] = {
            "code": clean(ruling.code),
            "label": clean(ruling.label),
            "share_of_search_ground": known(ruling.share, 4),
        }
    return class_polygons(classes, wanted)


def service_rows(plan: Plan) -> list[dict[str, Any]]:
    """One row a spot and class of service."""
    rows = []
    for ranked in plan.spots:
        grid = probability_grid(ranked, plan)
        if grid is not None:
            whose = {"rank": ranked.rank, "spot": clean(ranked.spot.name)}
            rows += class_polygons(*service_classes(grid, whose))
    return rows


def service_classes(probability: Grid, whose: dict[str, Any]) -> tuple[Grid, dict[int, dict[str, Any]]]:
    """Cells by class of service, 0 below the lowest and outside the area, and the rows of the classes."""
    steps = [start for start, _, _ in SERVICE_CLASSES]
    classes = np.digitize(np.nan_to_num(probability.values, nan=-1.0), steps).astype(np.uint8)
    wanted = {
        n: {**whose, "probability_from": start, "label": label}
        for n, (start, _, label) in enumerate(SERVICE_CLASSES, 1)
    }
    return probability.with_values(classes), wanted
