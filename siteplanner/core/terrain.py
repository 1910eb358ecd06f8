"""How the ground tilts, and how a trailer stands on it.

A gradient is rise over run, as a pair: `east_gradient` (positive: rising to the east) and `north_gradient`
(positive: rising to the north). Rasters have row 0 in the north and column 0 in the west; headings and
aspects are bearings in the raster's own grid, clockwise from its north.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from siteplanner.core.geodesy import wrap_180_deg, wrap_360_deg

_BAND_ROWS = 256  # rows worked at a time: keeps the temporaries of a large raster in the processor's cache
FINE_CELLS = 3  # a footprint needs this many cells across its short side before its own plane means much
_PHASES = 64  # places of a cell between its source's that a mean is taken over
_FLAT = 1e-9  # gradients below this have no direction


def gradient(elevation_m: np.ndarray, cell_size_m: float | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """East and north gradient of every cell over its 3 x 3 window, float32, in the raster's shape.

    `cell_size_m` is one number or, on a map whose scale changes with latitude, one a row. Horn 1981, "Hill shading
    and the reflectance map", Proc. IEEE 69(1): weights 1, 2, 1. NaN where any of the nine cells is unknown or outside.

    Raises ValueError when the raster has not two dimensions or a cell size is not above 0.
    """
    _need_raster(elevation_m, cell_size_m)
    rows, cols = elevation_m.shape
    east = np.full((rows, cols), np.nan, np.float32)
    north = np.full((rows, cols), np.nan, np.float32)
    scale = np.broadcast_to(1 / (8 * np.asarray(cell_size_m, float)), rows)[:, None]
    for top in range(1, rows - 1, _BAND_ROWS):
        stop = min(top + _BAND_ROWS, rows - 1)
        z = np.asarray(elevation_m[top - 1 : stop + 1], float)
        # Horn leaves the middle out; where the cell itself is unknown, so is its slope
        middle = z[1:-1, 1:-1] * 0.0
        across = z[:, 2:] - z[:, :-2]
        along = z[:-2] - z[2:]
        per_m = scale[top:stop]
        east[top:stop, 1:-1] = (across[:-2] + 2 * across[1:-1] + across[2:] + middle) * per_m
        north[top:stop, 1:-1] = (along[:, :-2] + 2 * along[:, 1:-1] + along[:, 2:] + middle) * per_m
    return east, north


def slope_deg(elevation_m: np.ndarray, cell_size_m: float) -> np.ndarray:
    """Steepest slope of every cell, degrees, float32 (Horn 1981; see `gradient`).

    It is the mean over 3 x 3 cells: a bank narrower than a cell does not show. NaN where any of the nine
    cells is unknown or outside. Raises ValueError as `gradient` does.
    """
    east, north = gradient(elevation_m, cell_size_m)
    return np.degrees(np.arctan(np.hypot(east, north, out=east), out=east), out=east)


def slope_part_deg(elevation_m: np.ndarray, cell_size_m: float, rows: slice, cols: slice) -> np.ndarray:
    """`slope_deg` of a part of the raster alone, bit for bit that of the whole. Slices without a step, as of arrays."""
    _need_raster(elevation_m, cell_size_m)
    own = [slice(*s.indices(n)[:2]) for s, n in zip((rows, cols), elevation_m.shape, strict=True)]
    wide = [slice(max(s.start - 1, 0), s.stop + 1) for s in own]
    slope = slope_deg(elevation_m[wide[0], wide[1]], cell_size_m)
    inner = [slice(s.start - w.start, s.stop - w.start) for s, w in zip(own, wide, strict=True)]
    return slope[inner[0], inner[1]]


def fit_plane(x_m: ArrayLike, y_m: ArrayLike, z_m: ArrayLike) -> tuple[float, float, float, np.ndarray]:
    """Least-squares plane z = z0 + east_gradient x + north_gradient y through points, in metres.

    Returns `(z0, east_gradient, north_gradient, residuals)`; residuals are point minus plane, measured
    vertically. All NaN when a point is unknown, when there are fewer than three, or when they lie on a line.
    """
    x, y, z = (np.asarray(v, float).ravel() for v in (x_m, y_m, z_m))
    unknown = math.nan, math.nan, math.nan, np.full(z.shape, np.nan)
    if z.size < 3 or not (np.isfinite(x).all() and np.isfinite(y).all() and np.isfinite(z).all()):
        return unknown
    # centred on the mean: coordinates of millions of metres would spoil the solution otherwise
    mx, my, mz = x.mean(), y.mean(), z.mean()
    dx, dy, dz = x - mx, y - my, z - mz
    xx, xy, yy = dx @ dx, dx @ dy, dy @ dy
    determinant = xx * yy - xy * xy
    if determinant <= 1e-12 * max(xx, yy) ** 2:
        return unknown
    east = (yy * (dx @ dz) - xy * (dy @ dz)) / determinant
    north = (xx * (dy @ dz) - xy * (dx @ dz)) / determinant
    residuals = dz - east * dx - north * dy
    return float(mz - east * mx - north * my), float(east), float(north), residuals


def plane_gradient_sd_per_m(x_m: ArrayLike, y_m: ArrayLike) -> float:
    """One standard deviation of the fitted gradient in its worst direction, for heights with a noise of 1 m.

    Least squares: the gradient's covariance is the inverse of the points' matrix of squares about their mean; the
    worst direction is that of its largest eigenvalue. NaN for fewer than three points or points on a line.
    """
    x, y = (np.asarray(v, float).ravel() for v in (x_m, y_m))
    if x.size < 3:
        return math.nan
    dx, dy = x - x.mean(), y - y.mean()
    low, high = np.linalg.eigvalsh([[dx @ dx, dx @ dy], [dx @ dy, dy @ dy]])
    return 1 / math.sqrt(low) if low > 1e-12 * high else math.nan


def drawn_gradient_sd_per_m(source_cell_m: float, cell_m: float) -> float:
    """One standard deviation of a part of the gradient on ground that is drawn between wider cells, for independent
    heights of those with a noise of 1 m.

    `cell_m`: cells of the raster that was drawn from cells of `source_cell_m`, at most as large; Horn's window is laid
    on the former. Error propagation through the weights of cubic convolution (`resample`) and of Horn's window, mean
    over where the cell lies between the source's. It runs from about 0.4 / cell for equal cells to
    1.38 / source_cell for fine ones, near sqrt(2) / source_cell, the slope between two heights.
    """
    step = cell_m / source_cell_m
    at = (np.arange(_PHASES) + 0.5) / _PHASES
    before, here, after = (_weights_on_source(at + k * step) for k in (-1, 0, 1))
    along = (((after - before) / (2 * step)) ** 2).sum(1).mean()
    across = (((before + 2 * here + after) / 4) ** 2).sum(1).mean()
    return math.sqrt(along * across) / source_cell_m


def _weights_on_source(at: np.ndarray) -> np.ndarray:
    """Weights (positions, 8) of the source's cells -3 to 4 in heights read at positions in cells, within -1 to 2."""
    off = np.abs(at[:, None] - np.arange(-3, 5))
    near = (1.5 * off - 2.5) * off**2 + 1  # Keys 1981, eq. (15) with a = -1/2
    far = ((-0.5 * off + 2.5) * off - 4) * off + 2
    return np.where(off < 1, near, np.where(off < 2, far, 0.0))


@dataclass(frozen=True)
class Footprint:
    """The plane under a trailer. NaN throughout where any ground beneath is unknown."""

    ground_m: float  # height of the plane under the trailer's middle
    east_gradient: float
    north_gradient: float
    slope_deg: float
    relief_m: float  # largest vertical distance of a used cell from the plane
    cells: int  # how many cells the plane rests on
    fitted: bool  # True: cells of the footprint itself; False: the 3 x 3 window, wider than the trailer
    gradient_sd_per_m: float = math.nan  # of one part of the gradient, for 1 m of noise a cell
    noise_m: float = math.nan  # spread of the cells about a fitted plane: error of the raster and bumps together


def footprint(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: float,
    col: float,
    length_m: float,
    width_m: float,
    outrigger_m: float = 0.0,
    heading_deg: float | None = None,
) -> Footprint:
    """The plane that a trailer standing at (row, col) rests on.

    `row`, `col` count cell centres and may be fractions; `outrigger_m` reaches out on **each** side. With a
    heading (grid bearing of the trailer's nose) the plane is a least-squares fit to the cells inside the
    length x (width + 2 outriggers) rectangle; without one, to the circle around it, which holds whatever way
    it is parked. Where fewer than three cells fit across the short side, the trailer is smaller than what
    the raster can tell: then Horn's gradient of the 3 x 3 window stands in, the same as `slope_deg`.

    Raises ValueError for sizes that are not above 0 or a raster without two dimensions.
    """
    _need_raster(elevation_m, cell_size_m)
    if not (length_m > 0 and width_m > 0 and outrigger_m >= 0):
        raise ValueError("A footprint needs a length and a width above 0, and outriggers not below 0.")
    half_length, half_width = length_m / 2, width_m / 2 + outrigger_m
    if 2 * min(half_length, half_width) < FINE_CELLS * cell_size_m:
        return _window(elevation_m, cell_size_m, row, col)
    reach = math.hypot(half_length, half_width)
    cells = math.ceil(reach / cell_size_m) + 1
    r0, c0 = math.floor(row + 0.5), math.floor(col + 0.5)
    rows, cols = np.mgrid[r0 - cells : r0 + cells + 1, c0 - cells : c0 + cells + 1]
    x, y = (cols - col) * cell_size_m, (row - rows) * cell_size_m
    if heading_deg is None:
        inside = np.hypot(x, y) <= reach
    else:
        sine, cosine = math.sin(math.radians(heading_deg)), math.cos(math.radians(heading_deg))
        rim = 1e-9 * cell_size_m  # cells exactly on the rim count whatever the rounding of sine and cosine
        inside = (np.abs(x * sine + y * cosine) <= half_length + rim) & (
            np.abs(x * cosine - y * sine) <= half_width + rim
        )
    rows, cols, x, y = rows[inside], cols[inside], x[inside], y[inside]
    known = (rows >= 0) & (rows < elevation_m.shape[0]) & (cols >= 0) & (cols < elevation_m.shape[1])
    z = np.full(rows.shape, np.nan)
    z[known] = elevation_m[rows[known], cols[known]]
    z0, east, north, residuals = fit_plane(x, y, z)
    noise = math.sqrt(float(residuals @ residuals) / (len(x) - 3)) if len(x) > 3 else math.nan
    made = _footprint(z0, east, north, residuals, fitted=True)
    return replace(made, gradient_sd_per_m=plane_gradient_sd_per_m(x, y), noise_m=noise)


def _window(elevation_m: np.ndarray, cell_size_m: float, row: float, col: float) -> Footprint:
    r, c = math.floor(row + 0.5), math.floor(col + 0.5)
    rows, cols = elevation_m.shape
    if not (1 <= r < rows - 1 and 1 <= c < cols - 1):
        return _footprint(math.nan, math.nan, math.nan, np.full(9, np.nan), fitted=False)
    z = np.asarray(elevation_m[r - 1 : r + 2, c - 1 : c + 2], float)
    east, north = (float(g[1, 1]) for g in gradient(z, cell_size_m))
    offset = np.array([-1.0, 0.0, 1.0]) * cell_size_m
    residuals = z - z.mean() - east * offset[None, :] + north * offset[:, None]
    ground = float(z.mean()) + (east * (col - c) - north * (row - r)) * cell_size_m
    made = _footprint(ground, east, north, residuals, fitted=False)
    return replace(made, gradient_sd_per_m=math.sqrt(12) / 8 / cell_size_m)


def _footprint(ground_m: float, east: float, north: float, residuals: np.ndarray, *, fitted: bool) -> Footprint:
    known = math.isfinite(east)
    return Footprint(
        ground_m=ground_m,
        east_gradient=east,
        north_gradient=north,
        slope_deg=math.degrees(math.atan(math.hypot(east, north))) if known else math.nan,
        relief_m=float(np.abs(residuals).max()) if known else math.nan,
        cells=int(residuals.size),
        fitted=fitted,
    )


def attitude(east_gradient, north_gradient, heading_deg):
    """How a trailer tilts before its jacks level it: `(roll_deg, pitch_deg)`. Broadcasts.

    `heading_deg` is where the nose (the coupling) points. Pitch: positive nose up. Roll: positive right side
    down, right as seen looking forward. Each is the angle of the ground along its own axis of the trailer.
    """
    east, north = np.asarray(east_gradient, float), np.asarray(north_gradient, float)
    heading = np.radians(np.asarray(heading_deg, float))
    forward = east * np.sin(heading) + north * np.cos(heading)
    rightward = east * np.cos(heading) - north * np.sin(heading)
    return np.degrees(np.arctan(-rightward))[()], np.degrees(np.arctan(forward))[()]


def best_heading(east_gradient, north_gradient, max_roll_deg, max_pitch_deg, prefer_deg=None, level_deg=0.0):
    """The heading of least roll whose pitch stays within its limit; NaN where none fits. Broadcasts.

    Along the fall line roll is 0 and pitch the whole slope; across it the reverse. So the answer is the fall
    line where the pitch allows, otherwise the smallest turn off it that brings the pitch to its limit, if
    roll allows. Of the two or four equal headings the one nearest to `prefer_deg` (the way out) is taken;
    without it the nose points downhill (common practice, no source: the rig leaves with gravity). Rolls up
    to `level_deg` count as none, so that nearly level ground lets the nose point the way out.
    """
    east, north = np.asarray(east_gradient, float), np.asarray(north_gradient, float)
    steep = np.hypot(east, north)
    flat = steep < _FLAT
    steep = np.where(flat, _FLAT, steep)
    downhill = np.where(flat, 0.0, np.degrees(np.arctan2(-east, -north)))
    prefer = downhill if prefer_deg is None else np.asarray(prefer_deg, float)

    # smallest turn off the fall line for the pitch's sake, largest that still counts as no more roll
    tan_pitch, tan_roll = np.tan(np.radians(max_pitch_deg)), np.tan(np.radians(max_roll_deg))
    turn = np.arccos(np.minimum(1.0, tan_pitch / steep))
    fits = flat | (steep * np.sin(turn) <= tan_roll * (1 + 1e-12))
    level = np.minimum(np.tan(np.radians(level_deg)), tan_roll)
    slack = np.arcsin(np.minimum(1.0, level / steep))
    least_deg = np.degrees(turn)
    most_deg = np.where(flat, 90.0, np.degrees(np.maximum(turn, slack)))

    best: Any = np.nan
    off: Any = np.inf
    for axis in (downhill, downhill + 180.0):
        wanted = wrap_180_deg(prefer - axis)
        for turned in (np.clip(wanted, least_deg, most_deg), np.clip(wanted, -most_deg, -least_deg)):
            miss = np.abs(wrap_180_deg(wanted - turned))
            closer = miss < off - 1e-9
            best = np.where(closer, axis + turned, best)
            off = np.where(closer, miss, off)
    return np.where(fits & np.isfinite(prefer), wrap_360_deg(best), np.nan)[()]


def jack_lifts_m(
    east_gradient: ArrayLike,
    north_gradient: ArrayLike,
    heading_deg: ArrayLike,
    length_m: ArrayLike,
    width_m: ArrayLike,
) -> dict[str, Any]:
    """Lift of each corner jack that levels the trailer, above the highest corner's ground, metres, all >= 0.

    Keys `front_left`, `front_right`, `rear_left`, `rear_right`; front is the nose's end. The largest is
    L tan|pitch| + W tan|roll| (closed form). Broadcasts; length and width are between the jacks.
    """
    roll, pitch = (np.tan(np.radians(a)) for a in attitude(east_gradient, north_gradient, heading_deg))
    front = np.asarray(length_m, float) / 2 * pitch
    right = -np.asarray(width_m, float) / 2 * roll  # right side down: its ground is lower
    highest = np.abs(front) + np.abs(right)
    corners = {
        "front_left": front - right,
        "front_right": front + right,
        "rear_left": -front - right,
        "rear_right": -front + right,
    }
    # the highest corner's own lift may come out as -1e-17
    return {name: np.maximum(highest - height, 0.0)[()] for name, height in corners.items()}


def _need_raster(elevation_m: np.ndarray, cell_size_m: float | np.ndarray) -> None:
    if np.ndim(elevation_m) != 2:
        raise ValueError(f"Elevation needs two dimensions, rows and columns; it has {np.ndim(elevation_m)}.")
    if not np.all(np.asarray(cell_size_m) > 0):
        raise ValueError(f"The cell size must be above 0 meters; it is {cell_size_m}.")
