"""The slope of the ground, worked out where it is asked for: kept as a raster it would be as large as the elevation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.core.terrain import slope_part_deg
from siteplanner.data.grid import Grid


@dataclass(frozen=True, eq=False)
class Slope:
    """Degrees on the elevation's cells, NaN unknown (`core.terrain.slope_deg`): `slope[rows, cols]` or `slope[rows]`,
    slices with a first and a last within the raster."""

    elevation: Grid

    @property
    def shape(self) -> tuple[int, int]:
        return self.elevation.shape

    def __getitem__(self, part: slice | tuple[slice, slice]) -> np.ndarray:
        rows, cols = part if isinstance(part, tuple) else (part, slice(None))
        return slope_part_deg(self.elevation.values, self.elevation.cell_size_m, rows, cols)
