"""Where an atlas keeps service: every so many-th cell of the elevation, counted over the whole CRS, not over a raster.

Elevation cells lie at whole multiples of their size, so that a cell has one number whatever raster it was read with:
its row counts down from y = 0, its column right from x = 0. A lattice cell is `step` cells wide, an odd number: its
middle is the middle of an elevation cell, and what is kept there is what a plan works out for that very cell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from affine import Affine
from pyproj import CRS

from siteplanner.data.grid import Grid


@dataclass(frozen=True)
class Tile:
    """Cells of the elevation by their numbers, ends left out."""

    name: str
    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True)
class Lattice:
    """Cells of one size in one CRS, and which of them keep service."""

    crs: CRS
    cell_m: float
    step: int

    @property
    def size_m(self) -> float:
        """Width of a lattice cell."""
        return self.cell_m * self.step

    @property
    def cells(self) -> Grid:
        """A grid whose rows and columns are the numbers of the elevation's cells; without values."""
        return Grid(np.full((1, 1), np.nan, np.float32), Affine(self.cell_m, 0, 0, 0, -self.cell_m, 0), self.crs)

    def offset(self, grid: Grid) -> tuple[int, int]:
        """The numbers of the first cell of an elevation grid."""
        return round(-grid.transform.f / self.cell_m), round(grid.transform.c / self.cell_m)

    def within(self, top: float, left: float, bottom: float, right: float) -> tuple[range, range]:
        """The lattice's rows and columns whose middle cells lie within cells by number, ends included."""
        half = self.step // 2
        return tuple(  # type: ignore[return-value]
            range(math.ceil((low - half) / self.step), math.floor((high - half) / self.step) + 1)
            for low, high in ((top, bottom), (left, right))
        )

    def middle(self, lattice_rows_or_cols: np.ndarray) -> np.ndarray:
        """The number of the elevation's cell in the middle."""
        return lattice_rows_or_cols * self.step + self.step // 2

    def grid(self, rows: range, cols: range, values: np.ndarray | None = None) -> Grid:
        """A grid of lattice cells."""
        size = self.size_m
        held = np.zeros((len(rows), len(cols)), np.float32) if values is None else values
        return Grid(held, Affine(size, 0, cols.start * size, 0, -size, -rows.start * size), self.crs)


def lattice_of(grid: Grid, margin_cell_m: float) -> Lattice:
    """The lattice nearest to the cells asked for."""
    step = max(1, round(margin_cell_m / grid.cell_size_m))
    return Lattice(grid.crs, grid.cell_size_m, step if step % 2 else step + 1)


def tiles_over(bounds: tuple[float, float, float, float], cell_m: float, tile_m: float) -> tuple[Tile, ...]:
    """Tiles over a box (west, south, east, north in metres), at places that hang on the CRS alone."""
    side = max(1, round(tile_m / cell_m))
    west, south, east, north = bounds
    rows = range(math.floor(-north / cell_m / side), math.floor(-south / cell_m / side) + 1)
    cols = range(math.floor(west / cell_m / side), math.floor(east / cell_m / side) + 1)
    return tuple(
        Tile(f"{r - rows.start + 1:03d}_{c - cols.start + 1:03d}", r * side, c * side, (r + 1) * side, (c + 1) * side)
        for r in rows
        for c in cols
    )
