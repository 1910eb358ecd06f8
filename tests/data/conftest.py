"""Real files, written by the libraries that others use to write them."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Transformer

UTM = CRS.from_epsg(32616)
LON, LAT = -84.20, 36.55  # eastern Tennessee, UTM zone 16
PEAK = (-84.2034, 36.5521)  # longitude, latitude of the highest point of `hill`


def hill(longitude, latitude):
    """Invented ground: one round hill of 400 m on a plain of 300 m. The peak is at PEAK."""
    east = (np.asarray(longitude) - PEAK[0]) * 111_320 * np.cos(np.radians(PEAK[1]))
    north = (np.asarray(latitude) - PEAK[1]) * 110_950
    return 300.0 + 400.0 * np.exp(-(east**2 + north**2) / (2 * 900.0**2))


@pytest.fixture
def write_raster(tmp_path):
    """write_raster(values, transform, crs, ...) -> path of a real raster."""

    def write(values, transform, crs="EPSG:4326", name="ground.tif", driver="GTiff", unit=None, nodata=None, **more):
        values = np.atleast_3d(np.asarray(values)) if np.ndim(values) == 2 else np.moveaxis(values, 0, -1)
        path = tmp_path / name
        with rasterio.open(
            path,
            "w",
            driver=driver,
            height=values.shape[0],
            width=values.shape[1],
            count=values.shape[2],
            dtype=values.dtype,
            crs=crs,
            transform=transform,
            nodata=nodata,
            **more,
        ) as file:
            for band in range(values.shape[2]):
                file.write(values[..., band], band + 1)
            if unit:
                file.units = (unit,) * values.shape[2]
        return path

    return write


@pytest.fixture
def write_hill(write_raster):
    """write_hill(epsg, cell in the CRS's own unit, ...) -> raster of `hill` about 8 km wide, heights times `factor`."""

    def write(epsg=4326, cell=1 / 3600, size_m=8000.0, factor=1.0, turn_deg=0.0, dtype="float32", **more):
        crs = CRS.from_epsg(epsg)
        x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(LON, LAT)
        unit_m = 111_000.0 if crs.is_geographic else crs.axis_info[0].unit_conversion_factor
        count = int(size_m / unit_m / cell)
        cos, sin, half = cell * np.cos(np.radians(turn_deg)), cell * np.sin(np.radians(turn_deg)), count / 2
        transform = Affine(cos, sin, x - half * (cos + sin), sin, -cos, y + half * (cos - sin))
        col, row = np.meshgrid(np.arange(count) + 0.5, np.arange(count) + 0.5)
        lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(
            transform.a * col + transform.b * row + transform.c, transform.d * col + transform.e * row + transform.f
        )
        return write_raster((hill(lon, lat) * factor).astype(dtype), transform, f"EPSG:{epsg}", **more)

    return write
