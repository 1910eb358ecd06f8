"""Service margins of one place in a file of its own: a cloud-optimized GeoTIFF, a band a mast stop, in quarter dB."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
from pyproj import CRS

from siteplanner.data.border import border
from siteplanner.data.formats import local_file
from siteplanner.data.grid import Grid

QUARTER_DB = 0.25
UNKNOWN = -32768
MOST = 8000  # quarters: no loss is so large


def write_margins(path: Path, margin_db: np.ndarray, like: Grid, bands: tuple[str, ...], tags: dict[str, str]) -> None:
    """Margins (bands, rows, cols) in dB, NaN where not known, put in place in one step. Raises OSError."""
    import rasterio
    from rasterio.io import MemoryFile
    from rasterio.shutil import copy

    quarters = np.clip(np.round(margin_db / QUARTER_DB), -MOST, MOST)
    values = np.where(np.isnan(quarters), UNKNOWN, quarters).astype(np.int16)
    profile: dict[str, Any] = {
        "driver": "GTiff", "height": values.shape[1], "width": values.shape[2], "count": values.shape[0],
        "dtype": "int16", "crs": rasterio.crs.CRS.from_wkt(like.crs.to_wkt()), "transform": like.transform,
        "nodata": UNKNOWN,
    }  # fmt: skip
    staged = path.with_name(f".{path.name}.writing")
    with MemoryFile() as held:
        with held.open(**profile) as target:
            target.write(values)
            target.scales, target.units = (QUARTER_DB,) * len(bands), ("dB",) * len(bands)
            for number, band in enumerate(bands, 1):
                target.set_band_description(number, band)
            target.update_tags(**tags)
        try:
            with held.open() as source, rasterio.Env(GDAL_PAM_ENABLED="NO"):
                copy(
                    source, staged, driver="COG", compress="ZSTD", level=6, predictor="STANDARD", overviews="NONE",
                    blocksize=256,
                )  # fmt: skip
            os.replace(staged, path)
        except BaseException as error:
            staged.unlink(missing_ok=True)
            if isinstance(error, rasterio.errors.RasterioError):
                raise OSError(28, f"{path.name} cannot be written ({error})") from error
            raise


def read_margins(path: Path, rows: range, cols: range, size_m: float, crs: CRS) -> np.ndarray:
    """(bands, rows, cols) float32 dB of the lattice cells asked for, NaN outside the file and where not known.

    `rows`, `cols`: numbers of cells `size_m` wide, counted from the origin of the CRS. Raises InputError for a file
    that is no such raster.
    """
    import rasterio

    with border(path, "raster"), rasterio.open(local_file(path), driver="GTiff") as source:
        top, left = round(-source.transform.f / size_m), round(source.transform.c / size_m)
        r0, r1 = max(rows.start, top), min(rows.stop, top + source.height)
        c0, c1 = max(cols.start, left), min(cols.stop, left + source.width)
        out = np.full((source.count, len(rows), len(cols)), np.nan, np.float32)
        if r0 >= r1 or c0 >= c1:
            return out
        held = source.read(window=((r0 - top, r1 - top), (c0 - left, c1 - left)))
    part = out[:, r0 - rows.start : r1 - rows.start, c0 - cols.start : c1 - cols.start]
    part[:] = np.where(held == UNKNOWN, np.nan, held * np.float32(QUARTER_DB))
    return out
