"""Land-cover classes in: whole numbers on the elevation's cells, nearest neighbour, never interpolated."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from siteplanner.data.border import border
from siteplanner.data.child import check_opens
from siteplanner.data.formats import local_file, raster_driver
from siteplanner.data.grid import Grid
from siteplanner.data.raster_source import check_block, unreadable
from siteplanner.data.records import Held, InputRecord, crs_name, sha256_of
from siteplanner.data.side_files import check_companions
from siteplanner.errors import InputError

UNKNOWN = -1


@dataclass(frozen=True, eq=False)
class Classes:
    """`grid` holds int32 codes, UNKNOWN where the file has none."""

    grid: Grid
    record: InputRecord

    def codes(self) -> list[int]:
        """The codes that occur, rising, without UNKNOWN."""
        return [int(c) for c in np.unique(self.grid.values) if c != UNKNOWN]


def read_classes(path: str | Path, *, like: Grid, role: str = "land cover") -> Classes:
    """The classes of a one-band raster of whole numbers, laid on the cells of `like`.

    Raises InputError for a file off the allow-list or damaged, a missing CRS, several bands, or numbers that are
    not whole.
    """
    with border(path, "raster"):
        return _read(path, like, role)


def _read(path: str | Path, like: Grid, role: str) -> Classes:
    import rasterio
    from pyproj import CRS
    from rasterio.errors import RasterioError
    from rasterio.warp import Resampling, reproject, transform_bounds

    full = local_file(path)
    driver = raster_driver(full)
    check_companions(full)
    if driver == "netCDF":
        check_opens(full, driver)
    values = np.full(like.shape, UNKNOWN, np.int32)
    try:
        with rasterio.open(full, driver=driver) as dataset:
            if dataset.crs is None or dataset.transform.is_identity:
                raise InputError(
                    "The raster does not say where it lies (no CRS or no transform).",
                    remedy="Assign its CRS in a GIS and save it as GeoTIFF.",
                    file=full,
                )
            if dataset.count != 1 or np.dtype(dataset.dtypes[0]).kind not in "iu":
                raise InputError(
                    f"Land cover is one band of whole numbers; this has {dataset.count} of {dataset.dtypes[0]}.",
                    remedy="Export the band of class codes alone.",
                    file=full,
                )
            check_block(dataset, 1, full)
            reproject(
                rasterio.band(dataset, 1),
                values,
                dst_transform=like.transform,
                dst_crs=like.crs.to_wkt(),
                dst_nodata=UNKNOWN,
                resampling=Resampling.nearest,
                init_dest_nodata=True,
            )
            west, south, east, north = transform_bounds(dataset.crs, "EPSG:4326", *dataset.bounds)
            record = InputRecord(
                role,
                full.name,
                sha256_of(full),
                crs_name(CRS.from_wkt(dataset.crs.to_wkt())),
                "",
                (west, south, east, north),
                int((values != UNKNOWN).sum()),
                Held("cells", columns=dataset.width, rows=dataset.height, number=dataset.dtypes[0], driver=driver),
            )
    except (RasterioError, UnicodeDecodeError) as error:
        raise unreadable(error, full) from None
    if record.count == 0:
        raise InputError(
            "This layer does not reach the elevation at all.", remedy="Check its CRS and place.", file=full
        )
    return Classes(like.with_values(values), record)
