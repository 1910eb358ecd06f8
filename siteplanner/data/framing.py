"""The frame of cells that the plan's rasters are laid into."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from affine import Affine

from siteplanner.data.geometry import transformed
from siteplanner.data.grid import WGS84
from siteplanner.errors import InputError

if TYPE_CHECKING:
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry


def mean_size_m(size: tuple[float, float]) -> float:
    """Side of the square cell with the area of one of `size`, both in metres."""
    return math.sqrt(size[0] * size[1])


def rounded_cell_m(cell: float) -> float:
    """A cell size in half metres, so that a metric raster keeps its own in spite of the map's scale."""
    return max(round(cell * 2) / 2, 0.5)


def frame_of(near: BaseGeometry, crs: CRS, cell: float, max_cells: int) -> tuple[Affine, tuple[int, int]]:
    """Transform and (rows, columns) of square cells of `cell` metres in `crs` that hold `near` (WGS 84).

    Raises InputError for more than `max_cells`, and for ground that the CRS cannot show.
    """
    west, south, east, north = transformed(near, WGS84, crs).bounds
    if not all(math.isfinite(v) for v in (west, south, east, north)):
        raise InputError(
            f"The ground needed cannot be shown in {crs.name}.", remedy="Choose another `crs`.", field="crs"
        )
    # a millimetre of slack, so that bounds on a line of the grid do not cost another row
    left, bottom = math.floor((west + 1e-3) / cell), math.floor((south + 1e-3) / cell)
    right, top = math.ceil((east - 1e-3) / cell), math.ceil((north - 1e-3) / cell)
    rows, cols = max(top - bottom, 1), max(right - left, 1)
    if rows * cols > max_cells:
        better = cell * math.sqrt(rows * cols / max_cells)
        raise InputError(
            f"The ground needed has {rows:,} x {cols:,} cells of {cell:g} m, more than {max_cells:,}.",
            remedy=f"Set search.cell_size_m to {math.ceil(better)} or more, or search.radius_m lower; check that "
            "the staging point is not far away by mistake.",
            field="search.cell_size_m",
        )
    return Affine(cell, 0, left * cell, 0, -cell, top * cell), (rows, cols)
