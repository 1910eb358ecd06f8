"""A plain with a ridge far beyond the ground that is searched, in one GeoTIFF: made by hand, north or south.

The plain lies at 1,000 m. The ridge, a wall 60 m thick from west to east, stands `RIDGE_M` toward the equator from the
middle; a spot there looks at a satellite on its own meridian, square at the ridge.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine
from pyproj import CRS, Transformer

from siteplanner.core.horizon import HALF_CURVATURE
from siteplanner.data.projections import metric_crs

PLAIN_M, RIDGE_M, CELL_M, DISH_M = 1000.0, 9000.0, 20.0, 2.0


def true_skyline_deg(ridge_top_m: float) -> float:
    """Closed form: (top - eye) / d - d / 2a at the ridge's near face, 4/3 Earth."""
    return math.degrees(math.atan((ridge_top_m - PLAIN_M - DISH_M) / RIDGE_M - RIDGE_M * HALF_CURVATURE))


def ridge_mission(
    folder: Path,
    latitude: float,
    longitude: float,
    ridge_top_m: float,
    *,
    reach_m: float = 10_000.0,
    peak_m: float | None = None,
    layers: str = "",
    sky: str = "",
    tables: str = "",
) -> Path:
    """A mission on the plain. `reach_m`: how far the file reaches toward the equator; `peak_m`: top of a hill on the
    other side, 9.5 km away.
    """
    folder.mkdir(parents=True, exist_ok=True)
    crs = CRS.from_user_input(metric_crs(longitude, latitude))
    to_lonlat = Transformer.from_crs(crs, 4326, always_xy=True)
    x0, y0 = (
        round(v / CELL_M) * CELL_M
        for v in Transformer.from_crs(4326, crs, always_xy=True).transform(longitude, latitude)
    )
    toward = -1.0 if latitude > 0 else 1.0  # the equator's side

    rows = int((reach_m + 10_000) / CELL_M)
    cols = int(10_000 / CELL_M)
    top = y0 + (10_000 if toward < 0 else reach_m)
    y = top - (np.arange(rows) + 0.5) * CELL_M - y0
    ahead = np.broadcast_to((toward * y)[:, None], (rows, cols))
    ground = np.full((rows, cols), PLAIN_M, np.float32)
    ground[(ahead >= RIDGE_M) & (ahead < RIDGE_M + 60)] = ridge_top_m
    if peak_m is not None:
        ground[(ahead < -9500) & (ahead > -9600)] = peak_m
    shape: dict[str, Any] = {"height": rows, "width": cols, "count": 1, "dtype": "float32", "crs": crs.to_wkt()}
    place = Affine(CELL_M, 0, x0 - 5000, 0, -CELL_M, top)
    with rasterio.open(folder / "dem.tif", "w", driver="GTiff", transform=place, compress="deflate", **shape) as dst:
        dst.write(ground, 1)
        dst.units = ("m",)

    def lonlat(dx: float, dy: float) -> list[float]:
        return [float(v) for v in to_lonlat.transform(x0 + dx, y0 + dy)]

    def save(file: str, kind: str, places: Any, **properties: Any) -> None:
        feature = {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": places}}
        (folder / file).write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), "utf-8")

    ring = [lonlat(*p) for p in ((-150, -150), (150, -150), (150, 150), (-150, 150), (-150, -150))]
    save("area.geojson", "Polygon", [ring], name="area")
    save("roads.geojson", "LineString", [lonlat(-400, 40), lonlat(400, 40)], highway="secondary", name="Plain Road")
    save("spots.geojson", "Point", lonlat(10, 10), name="middle")
    lon, lat = lonlat(-380, 40)
    text = f"""
name = "hidden ridge"
[layers]
elevation = "dem.tif"
incident_area = "area.geojson"
roads = "roads.geojson"
spots = "spots.geojson"
{layers}
[staging]
latitude = {lat:.9f}
longitude = {lon:.9f}
[sky]
satellites = [{{ name = "meridian", longitude_deg = {longitude} }}]
{sky}
[search]
radius_m = 200
spacing_m = 100
max_spots = 4
refined_spots = 0
{tables}
"""
    path = folder / "mission.toml"
    path.write_text(text, encoding="utf-8")
    return path
