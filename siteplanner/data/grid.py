"""A raster that never travels without its transform and CRS."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from affine import Affine
from numpy.typing import ArrayLike
from pyproj import CRS, Proj, Transformer

from siteplanner.errors import InputError

WGS84 = CRS.from_epsg(4326)


@dataclass(frozen=True, eq=False)
class Grid:
    """Values on square cells, north up, in a metric CRS. Unknown is NaN (floats) or 0 (classes).

    `transform` maps (column, row) corners to (x, y) metres; `row`, `col` elsewhere count cell *centres*,
    so the centre of the first cell is (0.0, 0.0).
    """

    values: np.ndarray
    transform: Affine
    crs: CRS

    def __post_init__(self) -> None:
        t = self.transform
        if self.values.ndim != 2:
            raise InputError("A grid needs two dimensions.", remedy="Pass rows and columns.")
        if t.b != 0 or t.d != 0 or t.a <= 0 or abs(t.a + t.e) > 1e-6 * t.a:
            raise InputError("A grid needs square cells with north up.", remedy="Warp the raster before making a grid.")

    @property
    def shape(self) -> tuple[int, int]:
        rows, cols = self.values.shape
        return rows, cols

    @property
    def cell_size_m(self) -> float:
        return float(self.transform.a)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north in metres of the CRS (outer cell edges)."""
        rows, cols = self.shape
        t = self.transform
        return t.c, t.f + rows * t.e, t.c + cols * t.a, t.f

    def xy(self, row, col):
        """Metres east and north of the CRS for cell centres (arrays broadcast)."""
        t = self.transform
        return t.c + (np.asarray(col) + 0.5) * t.a, t.f + (np.asarray(row) + 0.5) * t.e

    def rowcol(self, x, y):
        """Fractional (row, col) of metres; whole numbers are cell centres (arrays broadcast)."""
        t = self.transform
        return (np.asarray(y) - t.f) / t.e - 0.5, (np.asarray(x) - t.c) / t.a - 0.5

    @cached_property
    def crosses_180(self) -> bool:
        """Whether the 180th meridian runs through it; a map then writes longitudes east of it as above 180."""
        west, south, east, north = self.bounds
        longitude, _ = self.lonlat(np.array([west, west, east, east]), np.array([south, north, south, north]))
        return bool(np.ptp(longitude) > 180)

    def cell(self, x: float, y: float) -> tuple[int, int] | None:
        """The cell that holds a point, or None outside the raster."""
        row, col = (int(np.floor(v + 0.5)) for v in self.rowcol(x, y))
        rows, cols = self.shape
        return (row, col) if 0 <= row < rows and 0 <= col < cols else None

    def sample(self, x: ArrayLike, y: ArrayLike) -> np.ndarray:
        """Bilinear values at metres; NaN outside the ring of cell centres or beside unknown cells."""
        row, col = self.rowcol(np.asarray(x, float), np.asarray(y, float))
        rows, cols = self.shape
        r0 = np.clip(np.floor(row).astype(int), 0, max(rows - 2, 0))
        c0 = np.clip(np.floor(col).astype(int), 0, max(cols - 2, 0))
        r1, c1 = np.minimum(r0 + 1, rows - 1), np.minimum(c0 + 1, cols - 1)
        fr, fc = row - r0, col - c0
        out = np.zeros(np.broadcast_shapes(np.shape(row), np.shape(col)))
        for r, c, weight in (
            (r0, c0, (1 - fr) * (1 - fc)),
            (r0, c1, (1 - fr) * fc),
            (r1, c0, fr * (1 - fc)),
            (r1, c1, fr * fc),
        ):
            v = self.values[r, c]
            # no share of an unknown cell is nothing, not unknown: a centre is known whatever lies beside it
            out += np.where(np.isnan(v) & (np.abs(weight) < 1e-6), 0.0, weight * v)
        # half a cell of extrapolation at the rim is still the same cell's ground; beyond is unknown
        inside = (row >= -0.5) & (row <= rows - 0.5) & (col >= -0.5) & (col <= cols - 0.5)
        return np.where(inside, out, np.nan)

    @cached_property
    def _to_lonlat(self) -> Transformer:
        return Transformer.from_crs(self.crs, WGS84, always_xy=True)

    @cached_property
    def _from_lonlat(self) -> Transformer:
        return Transformer.from_crs(WGS84, self.crs, always_xy=True)

    @cached_property
    def _projection(self) -> Proj:
        return Proj(self.crs)

    def lonlat(self, x, y):
        """WGS 84 longitude and latitude in degrees of metres in the CRS."""
        return self._to_lonlat.transform(x, y)

    def from_lonlat(self, longitude_deg, latitude_deg):
        """Metres in the CRS of WGS 84 degrees."""
        return self._from_lonlat.transform(longitude_deg, latitude_deg)

    def with_values(self, values: np.ndarray) -> Grid:
        """The same cells with other values."""
        if values.shape != self.values.shape:
            raise InputError("The values have another shape.", remedy="Pass one value per cell.")
        return Grid(values, self.transform, self.crs)

    def convergence_deg(self, x, y):
        """Grid convergence: true bearing = grid bearing + this (degrees, clockwise from north; arrays broadcast)."""
        lon, lat = self.lonlat(x, y)
        convergence = self._projection.get_factors(lon, lat).meridian_convergence
        return float(convergence) if np.ndim(convergence) == 0 else convergence

    def grid_bearing_deg(self, true_bearing_deg, x, y):
        """A true bearing at a place as one in this raster's rows and columns, not wrapped (arrays broadcast)."""
        return true_bearing_deg - self.convergence_deg(x, y)
