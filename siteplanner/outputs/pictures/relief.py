"""Rasters as pictures that lie right on a web map without tiles.

Leaflet stretches an image between two corners, linearly in web mercator (EPSG:3857). So rasters are warped
into web-mercator rows first; the relief is shaded there, with the cell size on the ground.
"""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np
from affine import Affine

from siteplanner.core.constants import WGS84_SEMI_MAJOR_AXIS_M
from siteplanner.core.terrain import gradient
from siteplanner.data.grid import Grid
from siteplanner.outputs.words.palettes import RELIEF_COLOURS, rgb

# web mercator about the 180th meridian: for ground on both sides of it, in one piece; longitudes then pass 180
ACROSS_180 = "+proj=merc +a=6378137 +b=6378137 +lon_0=180 +nadgrids=@null +units=m +no_defs"
MAX_PIXELS = 4096  # a side; beyond, browsers on tablets refuse or blur an image
Bounds = tuple[tuple[float, float], tuple[float, float]]
"""South-west and north-east corner as latitude, longitude."""


def rasterio_crs(crs: Any) -> Any:
    """A pyproj CRS as the raster library's own kind."""
    from rasterio.crs import CRS

    return CRS.from_wkt(crs.to_wkt("WKT2_2019"))


def to_mercator(
    grid: Grid, *, nearest: bool = False, max_pixels: int = MAX_PIXELS
) -> tuple[np.ndarray, np.ndarray, Bounds]:
    """Warp a grid into web-mercator rows.

    Returns the values (rows, columns; same type), the cell size on the ground per row in metres, and the
    corners. Floats: unknown is NaN, cubic resampling unless `nearest`. Integers: 0 outside, always nearest.
    Web mercator: EPSG Guidance Note 7-2, section 3.2.1.2; its scale factor is 1 / cos(latitude).
    """
    from rasterio.transform import array_bounds
    from rasterio.warp import Resampling, calculate_default_transform, reproject

    floats = np.issubdtype(grid.values.dtype, np.floating)
    middle_deg = 180.0 if grid.crosses_180 else 0.0
    source_crs, target_crs = rasterio_crs(grid.crs), ACROSS_180 if grid.crosses_180 else "EPSG:3857"
    rows, cols = grid.shape
    corners = array_bounds(rows, cols, grid.transform)
    new, width, height = calculate_default_transform(source_crs, target_crs, cols, rows, *corners)
    if max(width, height) > max_pixels:
        shrink = max_pixels / max(width, height)
        new, width, height = calculate_default_transform(
            source_crs,
            target_crs,
            cols,
            rows,
            *corners,
            dst_width=max(1, int(width * shrink)),
            dst_height=max(1, int(height * shrink)),
        )
    fill: float = np.nan if floats else 0
    out = np.full((height, width), fill, grid.values.dtype)
    shrunk = new.a > 1.5 * grid.cell_size_m / _cosine(new, height).mean()
    method = Resampling.nearest if nearest or not floats else Resampling.average if shrunk else Resampling.cubic
    reproject(
        np.ascontiguousarray(grid.values),
        out,
        src_transform=grid.transform,
        src_crs=source_crs,
        src_nodata=np.nan if floats else None,
        dst_transform=new,
        dst_crs=target_crs,
        dst_nodata=np.nan if floats else None,
        init_dest_nodata=bool(floats),
        resampling=method,
    )
    left, bottom, right, top = (v / WGS84_SEMI_MAJOR_AXIS_M for v in array_bounds(height, width, new))
    west, east = (middle_deg + math.degrees(v) for v in (left, right))
    south, north = (math.degrees(math.atan(math.sinh(v))) for v in (bottom, top))
    return out, new.a * _cosine(new, height), ((south, west), (north, east))


def _cosine(transform: Affine, height: int) -> np.ndarray:
    """Cosine of the latitude of each row: 1 / cosh(y / R)."""
    return 1 / np.cosh((transform.f + (np.arange(height) + 0.5) * transform.e) / WGS84_SEMI_MAJOR_AXIS_M)


def shade(elevation_m: np.ndarray, cell_m: np.ndarray) -> np.ndarray:
    """Light on the ground, 0..1, from the north-west at 45 degrees; NaN beside unknown ground.

    B. Horn, Hill shading and the reflectance map, Proceedings of the IEEE 69 (1981): Lambertian surface with
    his gradient of the eight neighbours. `cell_m`: cell size on the ground per row.
    """
    # the rim's cells see themselves outside, so that they are lit too
    padded = np.pad(elevation_m, 1, mode="edge")
    d_east, d_north = (part[1:-1, 1:-1] for part in gradient(padded, np.pad(cell_m, 1, mode="edge")))
    light_east, light_north, light_up = -0.5, 0.5, np.sqrt(0.5)  # unit vector toward the light
    facing = light_up - light_east * d_east - light_north * d_north
    return np.clip(facing / np.sqrt(1 + d_east**2 + d_north**2), 0, 1)


def relief_rgba(elevation_m: np.ndarray, cell_m: np.ndarray) -> np.ndarray:
    """Pale tint by elevation under the shading, as (rows, columns, 4) uint8; unknown ground is clear."""
    known = np.isfinite(elevation_m)
    out = np.zeros((*elevation_m.shape, 4), np.uint8)
    if not known.any():
        return out
    low, high = np.percentile(elevation_m[known][:: max(1, known.sum() // 200_000)], (1, 99))
    place = np.clip((np.where(known, elevation_m, low) - low) / max(high - low, 1.0), 0, 1)
    stops = np.linspace(0, 1, len(RELIEF_COLOURS))
    tint = np.array([rgb(colour) for colour in RELIEF_COLOURS], np.float32)
    light = np.nan_to_num(shade(elevation_m, cell_m), nan=np.sqrt(0.5)).astype(np.float32, copy=False)
    # level ground keeps the tint; the darkest slope keeps 45 % of it, so that lines on it stay legible
    factor = np.clip(0.45 + 0.55 * light / np.sqrt(0.5), 0, 1.08)
    for band in range(3):
        out[..., band] = np.clip(np.interp(place, stops, tint[:, band]) * factor, 0, 255)
    out[..., 3] = np.where(known, 255, 0)
    return out


def webp(rgba: np.ndarray, *, lossless: bool) -> bytes:
    """A picture as WebP: lossy for relief, lossless for classes."""
    from PIL import Image

    held = io.BytesIO()
    Image.fromarray(rgba, "RGBA").save(
        held, "WEBP", lossless=lossless, quality=75, method=2 if lossless else 4, exact=False
    )
    return held.getvalue()


def png(rgb_values: np.ndarray) -> bytes:
    """Numbers as an RGB picture whose pixels a page can read back exactly."""
    from PIL import Image

    held = io.BytesIO()
    Image.fromarray(rgb_values, "RGB").save(held, "PNG", optimize=False, compress_level=7)
    return held.getvalue()


def relief_picture(elevation: Grid, *, max_pixels: int = MAX_PIXELS) -> tuple[bytes, Bounds]:
    """The base map: WebP bytes and corners."""
    values, cell_m, bounds = to_mercator(elevation, max_pixels=max_pixels)
    return webp(relief_rgba(values, cell_m), lossless=False), bounds


def class_picture(
    classes: Grid, colours: dict[int, tuple[str, float]], *, max_pixels: int = 2048
) -> tuple[bytes, Bounds]:
    """Whole-number classes as a picture: class -> (colour, opacity 0..1). Class 0 and others are clear."""
    values, _, bounds = to_mercator(classes, nearest=True, max_pixels=max_pixels)
    table = np.zeros((int(max(values.max(), *colours, 0)) + 1, 4), np.uint8)
    for value, (colour, opacity) in colours.items():
        table[value] = (*rgb(colour), round(255 * opacity))
    return webp(table[values], lossless=True), bounds
