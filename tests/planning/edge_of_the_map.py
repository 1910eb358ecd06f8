"""Small missions at the edges of the map: open plains, made by hand around any place, layers in WGS 84 degrees."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine
from pyproj import Transformer

from siteplanner.data.projections import metric_crs

HALF_M, CELL_M = 1500.0, 20.0


def plain_mission(
    folder: Path, latitude: float, longitude: float, slots: list[float], *, tiles: str = "one", crs: str | None = None
) -> str:
    """A plain 3 km wide with an area, two roads and staging around a place; longitudes written in [-180, 180].

    `tiles`: `one` raster in the working CRS, or `two` in degrees that meet at the 180th meridian.
    """
    folder.mkdir(parents=True, exist_ok=True)
    work = crs or metric_crs(longitude, min(latitude, 84.0))
    to_lonlat = Transformer.from_crs(work, 4326, always_xy=True)
    x0, y0 = Transformer.from_crs(4326, work, always_xy=True).transform(longitude, latitude)

    def lonlat(dx: float, dy: float) -> list[float]:
        lon, lat = to_lonlat.transform(x0 + dx, y0 + dy)
        return [round((lon + 180) % 360 - 180, 9), round(lat, 9)]

    def save(file: str, features: list[tuple[str, list, dict]]) -> None:
        data = {
            "type": "FeatureCollection",
            "features": [
                {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": places}}
                for kind, places, properties in features
            ],
        }
        (folder / file).write_text(json.dumps(data), encoding="utf-8")

    def box(west: float, south: float, east: float, north: float) -> list:
        ring = [lonlat(*p) for p in ((west, south), (east, south), (east, north), (west, north), (west, south))]
        return [ring]

    n = int(2 * HALF_M / CELL_M)
    if tiles == "one":
        ground = np.full((n, n), 50.0, np.float32)
        _write(folder / "dem.tif", ground, Affine(CELL_M, 0, x0 - HALF_M, 0, -CELL_M, y0 + HALF_M), work)
        files = ["dem.tif"]
    else:
        degrees = CELL_M / 111_000
        wide = degrees / np.cos(np.radians(latitude))
        rows, cols = int(0.03 / degrees), int(0.03 / np.cos(np.radians(latitude)) / wide)
        top = latitude + 0.015
        _write(
            folder / "west.tif",
            np.full((rows, cols), 50.0, np.float32),
            Affine(wide, 0, 180 - cols * wide, 0, -degrees, top),
            "EPSG:4326",
        )
        _write(
            folder / "east.tif",
            np.full((rows, cols), 50.0, np.float32),
            Affine(wide, 0, -180, 0, -degrees, top),
            "EPSG:4326",
        )
        files = ["west.tif", "east.tif"]
    # a mapper splits what crosses the meridian: one polygon on each side
    save(
        "area.geojson",
        [("Polygon", box(-600, 100, -5, 600), {"name": "west"}), ("Polygon", box(5, 100, 600, 600), {"name": "east"})],
    )
    save(
        "roads.geojson",
        [
            ("LineString", [lonlat(x, 0) for x in (-1300, -600, 0)], {"highway": "secondary", "name": "Shore Road"}),
            ("LineString", [lonlat(x, 0) for x in (0, 600, 1300)], {"highway": "secondary", "name": "Shore Road"}),
        ],
    )
    save(
        "spots.geojson",
        [("Point", lonlat(-500, 30), {"name": "west side"}), ("Point", lonlat(500, 30), {"name": "east side"})],
    )
    lon, lat = lonlat(-1200, 0)
    text = [
        'name = "edge"',
        *([f'crs = "{crs}"'] if crs else []),
        "[layers]",
        f"elevation = {json.dumps(files)}",
        'incident_area = "area.geojson"',
        'roads = "roads.geojson"',
        'spots = "spots.geojson"',
        'elevation_unit = "m"',
        "[staging]",
        f"latitude = {lat}",
        f"longitude = {lon}",
        "[sky]",
        "satellites = [" + ", ".join(f"{{longitude_deg = {v}}}" for v in slots) + "]",
        "[search]",
        "radius_m = 500",
        "spacing_m = 200",
        "max_spots = 12",
        "refined_spots = 0",
        f"cell_size_m = {CELL_M}",
        "[times]",
        "dispatch = 2026-06-01T08:00:00+00:00",
    ]
    path = folder / "mission.toml"
    path.write_text("\n".join(text) + "\n", encoding="utf-8")
    return str(path)


def _write(file: Path, values: np.ndarray, transform: Affine, crs: Any) -> None:
    rows, cols = values.shape
    named = rasterio.crs.CRS.from_user_input(crs)
    shape = {"height": rows, "width": cols, "count": 1, "dtype": "float32", "crs": named, "transform": transform}
    with rasterio.open(file, "w", driver="GTiff", **shape) as dst:
        dst.write(values, 1)
