"""Shapes onto cells."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from siteplanner.data.grid import Grid


def burn(shapes: Iterable[Any], like: Grid, *, all_touched: bool = False) -> np.ndarray:
    """Bool raster: True where a shape covers the cell's centre (or touches the cell at all).

    `shapes`: shapely geometries in the grid's CRS; empty ones are passed over.
    """
    from rasterio.features import rasterize

    wanted = [(shape, 1) for shape in shapes if shape is not None and not shape.is_empty]
    if not wanted:
        return np.zeros(like.shape, bool)
    return rasterize(
        wanted, out_shape=like.shape, transform=like.transform, all_touched=all_touched, dtype="uint8"
    ).astype(bool)
