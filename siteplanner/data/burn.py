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


def burn_values(shapes: Iterable[tuple[Any, float]], like: Grid) -> np.ndarray:
    """Float raster of the largest value among the shapes over each cell's centre; NaN where there is none."""
    from rasterio.features import rasterize

    # ascending, so that the largest is painted last
    wanted = sorted(((s, float(v)) for s, v in shapes if s is not None and not s.is_empty), key=lambda p: p[1])
    if not wanted:
        return np.full(like.shape, np.nan, np.float32)
    return rasterize(wanted, out_shape=like.shape, transform=like.transform, fill=np.nan, dtype="float32")
