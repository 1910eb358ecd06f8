"""The part of one raster that the grid needs, in bounded memory: window by window, block by block."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.data.raster_source import RasterSource, open_raster, unreadable
from siteplanner.data.warping import Mapping, block_maxima, block_means
from siteplanner.errors import Finding

_BLOCK = 512  # target cells a side
_WINDOW = 16_000_000  # source pixels read at once: 64 MB of float32
_FULL_READ = 400_000_000  # pixels; above this the raster's own reduced copies are read, where it has them
_PAD = 3  # source cells round a block that cubic convolution may ask for
_ALIKE = 1.5  # up to so many cells a pixel is not coarser than they are
# heights that mean "unknown" though the file does not say so; from memory, they recur in many products
_FILL_VALUES = (-9999.0, -32768.0, -32767.0, -99999.0, 32767.0)
_NO_GROUND_LOW, _NO_GROUND_HIGH = -12_000.0, 100_000.0  # below the deepest sea; above any height in feet


@dataclass(eq=False)
class Reading:
    """Heights of one raster on part of the grid (`rows`, `cols`), in the raster's own unit."""

    values: np.ndarray
    rows: slice
    cols: slice
    low: float = math.nan
    high: float = math.nan
    count: int = 0
    findings: list[Finding] = field(default_factory=list)


@dataclass
class _Untagged:
    """Counts while reading: cells that mean unknown without a tag, and cells of exactly 0."""

    fills: dict[float, int] = field(default_factory=dict)
    zeros: int = 0
    cells: int = 0


def read_onto(
    source: RasterSource,
    grid: Grid,
    pixel_m: tuple[float, float],
    tick: Callable[[float], None],
    highest: bool = False,
) -> Reading:
    """Read what of the raster meets the grid and bring it onto the grid's cells.

    `pixel_m`: height and width of a source pixel in metres. highest: where the pixels are not coarser than the cells,
    each cell takes the highest pixel that it touches, so that no tree is lost in a mean; the raster's own reduced
    copies, which are means, are then not read. Memory is bounded whatever the raster's size.
    Raises InputError where the file is damaged.
    """
    highest = highest and max(pixel_m) <= _ALIKE * grid.cell_size_m
    level = None if highest else _overview(source, grid, pixel_m)
    if level is None:
        return _read(source, grid, pixel_m, tick, highest)
    with open_raster(source.path, overview=level) as reduced:
        by_row = source.dataset.height / reduced.dataset.height
        by_col = source.dataset.width / reduced.dataset.width
        return _read(reduced, grid, (pixel_m[0] * by_row, pixel_m[1] * by_col), tick, highest)


def _overview(source: RasterSource, grid: Grid, pixel_m: tuple[float, float]) -> int | None:
    """The reduced copy to read: the coarsest that is still no coarser than the grid; None: the full raster."""
    rows, cols = grid.shape
    pixels = rows * cols * grid.cell_size_m**2 / (pixel_m[0] * pixel_m[1])
    if pixels <= _FULL_READ:
        return None
    reach = grid.cell_size_m / max(pixel_m)
    factors = source.dataset.overviews(source.band)
    fitting = [level for level, factor in enumerate(factors) if factor <= reach]
    return fitting[-1] if fitting else None


def _read(
    source: RasterSource, grid: Grid, pixel_m: tuple[float, float], tick: Callable[[float], None], highest: bool
) -> Reading:
    mapping = Mapping(grid.transform, grid.crs, source.transform, source.crs, source.lon_centre)
    rows, cols = _touched(source, grid, mapping)
    values = np.full((rows.stop - rows.start, cols.stop - cols.start), np.nan, dtype=np.float32)
    out = Reading(values, rows, cols)
    # means over whole cells; maxima over quarters of them, so that what stands beside a cell is hardly drawn into it
    block_m = grid.cell_size_m / 4 if highest else grid.cell_size_m
    by_row, by_col = (max(1, int(block_m / size + 1e-6)) for size in pixel_m)
    ratio = grid.cell_size_m / min(pixel_m)
    side = int(min(_BLOCK, max(16, math.sqrt(_WINDOW) / max(ratio, 1e-9) * 0.6)))
    seen = _Untagged()
    # half a cell in blocks of pixels, along rows and columns
    half = tuple(0.5 * grid.cell_size_m / (size * by) for size, by in zip(pixel_m, (by_row, by_col), strict=True))
    starts = [(r, c) for r in range(rows.start, rows.stop, side) for c in range(cols.start, cols.stop, side)]
    for number, (r, c) in enumerate(starts):
        height, width = min(side, rows.stop - r), min(side, cols.stop - c)
        block = _block(source, mapping, (r, c, height, width), (by_row, by_col), seen, half if highest else None)
        if block is not None:
            values[r - rows.start : r - rows.start + height, c - cols.start : c - cols.start + width] = block
        tick((number + 1) / len(starts))
    known = np.isfinite(values)
    out.count = int(known.sum())
    if out.count:
        out.low, out.high = float(np.nanmin(values)), float(np.nanmax(values))
    out.findings += _doubts(source, values, known, seen)
    return out


def _touched(source: RasterSource, grid: Grid, mapping: Mapping) -> tuple[slice, slice]:
    """Rows and columns of the grid that may meet the raster, with slack; found on a sparse net of cells."""
    rows, cols = grid.shape
    row_net = np.unique(np.append(np.arange(0, rows, max(1, rows // 200)), rows - 1)).astype(float)
    col_net = np.unique(np.append(np.arange(0, cols, max(1, cols // 200)), cols - 1)).astype(float)
    r, c = mapping.rowcol(row_net, col_net)
    d = source.dataset
    # one step of the net in source pixels: a raster smaller than a step must not slip through
    slack = max(_step(r, 0), _step(r, 1), _step(c, 0), _step(c, 1)) + 1
    hit = (r > -slack) & (r < d.height + slack) & (c > -slack) & (c < d.width + slack)
    if not hit.any():
        return slice(0, 0), slice(0, 0)
    own_rows, own_cols = np.flatnonzero(hit.any(axis=1)), np.flatnonzero(hit.any(axis=0))
    first = int(row_net[max(own_rows[0] - 1, 0)]), int(col_net[max(own_cols[0] - 1, 0)])
    last = int(row_net[min(own_rows[-1] + 1, len(row_net) - 1)]), int(col_net[min(own_cols[-1] + 1, len(col_net) - 1)])
    return slice(first[0], last[0] + 1), slice(first[1], last[1] + 1)


def _step(values: np.ndarray, axis: int) -> float:
    steps = np.abs(np.diff(values, axis=axis))
    steps = steps[np.isfinite(steps)]
    return float(steps.max()) if steps.size else 0.0


def _block(
    source: RasterSource,
    mapping: Mapping,
    place: tuple[int, int, int, int],
    by: tuple[int, int],
    seen: _Untagged,
    half: tuple[float, ...] | None,
) -> np.ndarray | None:
    """One block of the grid; half: half a cell in blocks of pixels where the highest counts, None for the mean."""
    from siteplanner.core.resample import highest_around, resample  # numba: only where it is needed

    row, col = mapping.block(*place)
    d = source.dataset
    if not (np.isfinite(row).any() and np.isfinite(col).any()):
        return None
    lows, highs = [], []
    for at, size, step in ((row, d.height, by[0]), (col, d.width, by[1])):
        # whole blocks of pixels, counted from the raster's own edge, so that any window gives the same means
        low = (math.floor(np.nanmin(at)) - _PAD * step) // step * step
        high = -(-(math.ceil(np.nanmax(at)) + 1 + _PAD * step) // step) * step
        lows.append(min(max(low, 0), size))
        highs.append(max(min(high, size), 0))
    if highs[0] <= lows[0] or highs[1] <= lows[1]:
        return None
    window = _window(source, lows, highs, seen)
    if by != (1, 1):
        spare = [(-window.shape[k]) % by[k] for k in (0, 1)]
        window = np.pad(window, ((0, spare[0]), (0, spare[1])), constant_values=np.nan)
        window = (block_means if half is None else block_maxima)(window, *by)
    # pixel centres to centres of blocks of pixels
    at_row = (row - lows[0] + 0.5) / by[0] - 0.5
    at_col = (col - lows[1] + 0.5) / by[1] - 0.5
    return resample(window, at_row, at_col) if half is None else highest_around(window, at_row, at_col, *half)


def read_window(source: RasterSource, lows: list[int], highs: list[int]) -> np.ndarray:
    """Pixels of a raster from first to last row and column, float32 in its own unit, NaN where unknown.

    Raises InputError where the file is damaged.
    """
    return _window(source, lows, highs, _Untagged())


def _window(source: RasterSource, lows: list[int], highs: list[int], seen: _Untagged) -> np.ndarray:
    """Pixels of the source as float32 in its own unit, NaN where unknown."""
    from rasterio.errors import RasterioError
    from rasterio.windows import Window

    d, band = source.dataset, source.band
    try:
        raw = d.read(band, window=Window(lows[1], lows[0], highs[1] - lows[1], highs[0] - lows[0]), masked=True)
    except (RasterioError, ValueError) as error:
        raise unreadable(error, source.path) from None
    known = ~np.ma.getmaskarray(raw)
    data = raw.data
    if data.dtype.kind == "f":
        known &= np.isfinite(data)
    for value in _FILL_VALUES:
        if data.dtype.kind == "u" and value < 0:
            continue
        hit = known & (data == value)
        if hit.any():
            seen.fills[value] = seen.fills.get(value, 0) + int(hit.sum())
            known &= ~hit
    scale, offset = d.scales[band - 1], d.offsets[band - 1]
    heights = data.astype(np.float64 if (scale, offset) != (1.0, 0.0) else np.float32) * scale + offset
    wild = known & ((heights < _NO_GROUND_LOW) | (heights > _NO_GROUND_HIGH))
    if wild.any():
        first = float(heights[wild][0])
        seen.fills[first] = seen.fills.get(first, 0) + int(wild.sum())
        known &= ~wild
    seen.zeros += int((known & (heights == 0)).sum())
    seen.cells += int(known.sum())
    return np.where(known, heights, np.nan).astype(np.float32)


def _doubts(source: RasterSource, values: np.ndarray, known: np.ndarray, seen: _Untagged) -> list[Finding]:
    findings = []
    name = source.path.name
    if seen.fills:
        findings.append(
            Finding(
                "elevation_nodata_untagged",
                "check",
                file=name,
                facts={"fills": tuple(sorted(seen.fills.items())[:5])},
            )
        )
    if seen.zeros > 0.001 * max(seen.cells, 1) and known.any():
        ground = values[known & (np.abs(values) > 1e-6)]
        if ground.size and float(np.percentile(ground, 5)) > 100:
            findings.append(
                Finding(
                    "elevation_zero_void",
                    "check",
                    file=name,
                    facts={"share": seen.zeros / seen.cells, "ground": float(np.percentile(ground, 5))},
                )
            )
    return findings
