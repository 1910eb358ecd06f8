"""The highest ground of raster files: as one figure, and cell by cell on a coarse grid.

For what may stand in a line of sight far away. A mean would cut ridges off; each coarse cell here holds the highest
known pixel in it or within half a cell beside it, so that no ridge is lost between cells.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from affine import Affine
from pyproj import CRS, Transformer

from siteplanner.core.resample import resample
from siteplanner.data.geometry import Box, boxes_meet
from siteplanner.data.grid import WGS84, Grid
from siteplanner.data.height_units import check_height, unit_of
from siteplanner.data.raster_read import read_window
from siteplanner.data.raster_source import METRES_PER, RasterSource, open_raster
from siteplanner.data.warping import Mapping

MOST_PIXELS = 400_000_000  # read in full; of larger parts a raster's own reduced copies, where it has them
_BLOCK = 256  # coarse cells a side
_WINDOW = 4_000_000  # pixels read at once
_SMOOTH = 1.5  # up to this many pixels a side a coarse cell is read as the fine grid is, by cubic convolution


@dataclass(frozen=True)
class Highest:
    """The highest known height of some files within a box; NaN where they hold none. `file`: which holds it."""

    height_m: float
    file: str


def highest_of(paths: Sequence[Path], near: Box, unit: str, crs: CRS) -> Highest:
    """The highest height that the files hold within a box of WGS 84 degrees, metres.

    Raises InputError for a file that cannot be used (see `raster_source.open_raster`) and for heights impossible as
    metres.
    """
    best = Highest(math.nan, "")
    for path in paths:
        with _opened(path, near, crs) as source:
            if source is None:
                continue
            metres = METRES_PER[unit_of(source, unit)]
            for lows, highs in _windows(source, near):
                values = read_window(source, lows, highs)
                if np.isfinite(values).any():
                    height = float(np.nanmax(values)) * metres
                    if not height <= best.height_m:
                        best = Highest(height, source.path.name)
            if best.file == source.path.name:
                check_height(source, best.height_m)
    return best


def read_highest(paths: Sequence[Path], like: Grid, unit: str, inside: tuple[slice, slice] | None = None) -> np.ndarray:
    """Highest heights of the files on the cells of a grid, metres, float32, NaN where unknown.

    The finest file is on top; among equals the first. `inside`: rows and columns that nobody asks for, left NaN.
    Raises InputError as `highest_of`.
    """
    out = np.full(like.shape, np.nan, np.float32)
    west, south, east, north = like.bounds
    xs, ys = np.meshgrid(np.linspace(west, east, 9), np.linspace(south, north, 9))
    lon, lat = like.lonlat(xs, ys)
    middle = float(np.nanmedian(lon))
    lon = middle + (lon - middle + 180.0) % 360.0 - 180.0
    near = float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max())
    with ExitStack() as stack:
        found = [stack.enter_context(_opened(path, near, like.crs)) for path in paths]
        sources = [source for source in found if source is not None]
        sizes = [math.sqrt(math.prod(_pixel_m(source, near, like.crs))) for source in sources]
        for number in sorted(range(len(sources)), key=lambda n: (-sizes[n], -n)):  # coarsest first
            _lay(sources[number], like, unit, near, inside, out)
    return out


@contextmanager
def _opened(path: Path, near: Box, crs: CRS) -> Iterator[RasterSource | None]:
    """The raster, or one of its reduced copies where the part asked for is too large; None where it lies elsewhere."""
    with open_raster(path) as source:
        if not boxes_meet(source.extent_lonlat, near):
            yield None
            return
        rows, cols = _part(source, near)
        pixels = (rows.stop - rows.start) * (cols.stop - cols.start)
        factors = source.dataset.overviews(source.band)
        level = next((n for n, f in enumerate(factors) if pixels <= MOST_PIXELS * f * f), len(factors) - 1)
        if pixels <= MOST_PIXELS or not factors:
            yield source
            return
        with open_raster(path, overview=level) as reduced:
            yield reduced


def _pixel_m(source: RasterSource, near: Box, crs: CRS) -> tuple[float, float]:
    west, south, east, north = near
    s = source.extent_lonlat
    return source.pixel_size_m((west + east) / 2, min(max((south + north) / 2, s[1]), s[3]), crs)


def _part(source: RasterSource, near: Box) -> tuple[slice, slice]:
    """Rows and columns of the raster that may lie in a box of WGS 84 degrees."""
    d = source.dataset
    west, south, east, north = near
    lon, lat = np.meshgrid(np.linspace(west, east, 33), np.linspace(south, north, 33))
    x, y = Transformer.from_crs(WGS84, source.crs, always_xy=True).transform(lon, lat)
    x, y = np.asarray(x, float), np.asarray(y, float)
    if source.lon_centre is not None:
        x = source.lon_centre + (x - source.lon_centre + 180.0) % 360.0 - 180.0
    p = ~source.transform
    col, row = p.a * x + p.b * y + p.c, p.d * x + p.e * y + p.f
    if not (np.isfinite(row).all() and np.isfinite(col).all()):
        return slice(0, d.height), slice(0, d.width)
    parts = []
    for at, size in ((row, d.height), (col, d.width)):
        step = max(float(np.abs(np.diff(at, axis=k)).max()) for k in (0, 1))  # the box's sides are not straight here
        first, stop = math.floor(float(at.min()) - step), math.ceil(float(at.max()) + step)
        parts.append(slice(min(max(first, 0), size), max(min(stop, size), 0)))
    return parts[0], parts[1]


def _windows(source: RasterSource, near: Box) -> Iterator[tuple[list[int], list[int]]]:
    """Whole strips of rows, so that no block of the file is read twice."""
    rows, cols = _part(source, near)
    if cols.stop <= cols.start:
        return
    deep = max(1, source.dataset.block_shapes[source.band - 1][0])
    height = max(1, _WINDOW // (cols.stop - cols.start) // deep) * deep
    for top in range(rows.start, rows.stop, height):
        yield [top, cols.start], [min(top + height, rows.stop), cols.stop]


def _lay(
    source: RasterSource,
    like: Grid,
    unit: str,
    near: Box,
    inside: tuple[slice, slice] | None,
    out: np.ndarray,
) -> None:
    metres = np.float32(METRES_PER[unit_of(source, unit)])
    pixel_m = _pixel_m(source, near, like.crs)
    mapping = Mapping(like.transform, like.crs, source.transform, source.crs, source.lon_centre)
    cell = like.cell_size_m
    smooth = cell <= _SMOOTH * max(pixel_m)
    # blocks of half a coarse cell, a little more where the grids are turned: with its neighbours one holds a whole cell
    by_row, by_col = (1, 1) if smooth else (max(1, math.ceil(0.55 * cell / size)) for size in pixel_m)
    side = int(min(_BLOCK, max(8, math.sqrt(_WINDOW) / max(cell / min(pixel_m), 1.0))))
    for r in range(0, like.shape[0], side):
        for c in range(0, like.shape[1], side):
            part = np.s_[r : min(r + side, like.shape[0]), c : min(c + side, like.shape[1])]
            if inside is not None and all(
                whole.start <= own.start and own.stop <= whole.stop for own, whole in zip(part, inside, strict=True)
            ):
                continue
            size = part[0].stop - r, part[1].stop - c
            block = _block(source, mapping.block(r, c, *size), (by_row, by_col), smooth)
            if block is not None:
                np.copyto(out[part], block * metres, where=np.isfinite(block))


def _block(
    source: RasterSource, at: tuple[np.ndarray, np.ndarray], by: tuple[int, int], smooth: bool
) -> np.ndarray | None:
    """Heights at source places (rows, cols), in the raster's own unit."""
    d = source.dataset
    lows, highs = [], []
    for place, size, step in zip(at, (d.height, d.width), by, strict=True):
        if not np.isfinite(place).any():
            return None
        low = (math.floor(np.nanmin(place)) - 3 * step) // step * step
        high = -(-(math.ceil(np.nanmax(place)) + 1 + 3 * step) // step) * step
        lows.append(min(max(low, 0), size))
        highs.append(max(min(high, size), 0))
    if highs[0] <= lows[0] or highs[1] <= lows[1]:
        return None
    window = read_window(source, lows, highs)
    row, col = at[0] - lows[0], at[1] - lows[1]
    if smooth:
        return resample(window, row, col)
    tops = block_highest(window, *by)
    row, col = np.floor((row + 0.5) / by[0]), np.floor((col + 0.5) / by[1])
    known = np.isfinite(row) & np.isfinite(col)
    known &= (row >= 0) & (row < tops.shape[0]) & (col >= 0) & (col < tops.shape[1])
    values = np.full(row.shape, np.nan, np.float32)
    values[known] = widened(tops)[row[known].astype(int), col[known].astype(int)]
    return values


def block_highest(values: np.ndarray, rows: int, cols: int) -> np.ndarray:
    """Highest known value of each block of `rows` x `cols` cells; NaN where less than half of its cells are known."""
    spare = [(-size) % by for size, by in zip(values.shape, (rows, cols), strict=True)]
    whole = np.pad(values, ((0, spare[0]), (0, spare[1])), constant_values=np.nan)
    blocks = whole.reshape(whole.shape[0] // rows, rows, whole.shape[1] // cols, cols)
    known = np.isfinite(blocks)
    size = np.pad(np.ones(values.shape, bool), ((0, spare[0]), (0, spare[1])))
    size = size.reshape(blocks.shape).sum(axis=(1, 3))  # of a block at the file's rim only what the file has
    highest = np.where(known, blocks, -np.inf).max(axis=(1, 3))
    return np.where(2 * known.sum(axis=(1, 3)) >= size, highest, np.nan).astype(np.float32)


def widened(values: np.ndarray) -> np.ndarray:
    """The highest of each known cell and its eight neighbours; unknown stays unknown."""
    from scipy.ndimage import maximum_filter

    known = np.isfinite(values)
    return np.where(known, maximum_filter(np.where(known, values, -np.inf), size=3, mode="nearest"), np.nan)


def coarse_grid(bounds: Box, cell_m: float, crs: CRS) -> Grid:
    """An empty grid over metres of a CRS, its cells at whole multiples of their size; at least 2 x 2 cells."""
    west, south, east, north = bounds
    left, bottom = math.floor(west / cell_m), math.floor(south / cell_m)
    cols, rows = max(math.ceil(east / cell_m) - left, 2), max(math.ceil(north / cell_m) - bottom, 2)
    transform = Affine(cell_m, 0, left * cell_m, 0, -cell_m, (bottom + rows) * cell_m)
    return Grid(np.full((rows, cols), np.nan, np.float32), transform, crs)
