"""The horizon around one point: the exact rule that every line of sight to the sky follows here.

The rule. From an eye above the ground of a cell a line goes out along a grid bearing. The surface is sampled
every half cell of true length, bilinearly between cell centres; a sample with any unknown corner is unknown,
one beyond the outer ring of cell centres is outside. A sample of height z at distance d stands at the tangent
(z - eye) / d - d / 2a, with a = k x 6371 km, k = 4/3 (ITU-R P.526-15, section 2: straight rays over a larger
Earth). The horizon is the largest of these.

Walking is made fast by the highest ground of blocks of 16 x 16 cells: a block that cannot rise above what is
already seen is jumped over, and the walk ends where not even the highest ground of all could. The result is
that of visiting every sample.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from siteplanner.core.geodesy import effective_earth_radius_m

BLOCK_CELLS = 16
_SHIFT = 4  # log2 of BLOCK_CELLS
HALF_CURVATURE = 1 / (2 * effective_earth_radius_m())  # 1/2a, per metre
_STRAIGHT = 1e-9  # sine of 180 degrees is 1e-16 and would push a line along the rim outside


@dataclass(frozen=True, eq=False)
class Blocks:
    """Highest known ground of each block of cells, reaching one cell into the next; and where gaps are."""

    highest_m: np.ndarray
    gap: np.ndarray  # 1 where any cell of the block is unknown
    ceiling_m: float  # highest known ground of all; -inf when nothing is known
    raster: np.ndarray | None = None  # what the blocks were made from


def usable(elevation_m: np.ndarray) -> np.ndarray:
    """The raster as the kernels read it: rows contiguous, float32 or float64 as given, otherwise float64."""
    z = np.asarray(elevation_m)
    if z.ndim != 2 or min(z.shape) < 2:
        raise ValueError(f"Elevation needs at least two rows and two columns; its shape is {z.shape}.")
    return np.ascontiguousarray(z, z.dtype if z.dtype in (np.float32, np.float64) else np.float64)


def blocks(elevation_m: np.ndarray) -> Blocks:
    """Prepare a raster once for many walks (0.01 s for 4000 x 4000 cells)."""
    z = usable(elevation_m)
    highest, gap = _block_maxima(z)
    return Blocks(highest, gap, float(highest.max()), z)


def direction(azimuth_deg: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Rows and columns per half cell of length along a grid bearing. Broadcasts."""
    angle = np.radians(np.asarray(azimuth_deg, float))
    rows, cols = -np.cos(angle) / 2, np.sin(angle) / 2
    return np.where(np.abs(rows) < _STRAIGHT, 0.0, rows), np.where(np.abs(cols) < _STRAIGHT, 0.0, cols)


def horizon_deg(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: float,
    col: float,
    azimuths_deg: ArrayLike,
    height_m: float,
    *,
    obstacles_m: np.ndarray | None = None,
    known: Blocks | None = None,
) -> np.ndarray:
    """Horizon elevation angle seen from `height_m` above the ground at (row, col), one per grid azimuth.

    `row`, `col` count cell centres. `obstacles_m` (a surface with trees and roofs, same raster) blocks the
    view where it is above the ground; the eye stays above the ground. The answer is that of the raster
    alone: where it ends, so does the view (`horizon_reach` says how far that is). NaN where a gap in the
    raster could hide something higher, and everywhere when the ground at the point is unknown. `known` are
    the `blocks` of max(elevation, obstacles), to spare their making when many points share one raster.

    Raises ValueError when the point lies outside the ring of cell centres or an argument is out of range.
    """
    tangent, _, ending = _look_around(
        elevation_m, cell_size_m, row, col, azimuths_deg, height_m, None, obstacles_m, known
    )
    return np.degrees(np.arctan(np.where(ending == 1, np.nan, tangent)))


def horizon_reach(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: float,
    col: float,
    azimuths_deg: ArrayLike,
    height_m: float,
    *,
    ceiling_m: float | None = None,
    obstacles_m: np.ndarray | None = None,
    known: Blocks | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """`(horizon_deg, known_to_m)` per grid azimuth; see `horizon_deg` for the arguments.

    The angle is the highest that the known ground shows, a lower bound of the true horizon. `known_to_m` is
    the distance of the first unknown sample, a gap or the raster's end, from which on ground no higher than
    `ceiling_m` could stand above that angle; inf where there is none, so the horizon is complete. The
    ceiling is the highest known ground of the raster unless stated: state a higher one where mountains
    stand outside. An angle is NaN where nothing at all is known.

    Raises ValueError as `horizon_deg` does, and for a ceiling below the raster's highest ground.
    """
    tangent, known_to_m, _ = _look_around(
        elevation_m, cell_size_m, row, col, azimuths_deg, height_m, ceiling_m, obstacles_m, known
    )
    return np.degrees(np.arctan(tangent)), known_to_m


def surface(elevation_m: np.ndarray, obstacles_m: np.ndarray | None) -> np.ndarray:
    """What blocks the view: the higher of ground and obstacles, unknown where either is."""
    ground = usable(elevation_m)
    if obstacles_m is None:
        return ground
    if np.shape(obstacles_m) != ground.shape:
        raise ValueError("The obstacles must have the elevation's rows and columns.")
    return np.maximum(ground, np.asarray(obstacles_m, ground.dtype))


def checked_ceiling_m(ceiling_m: float | None, known: Blocks) -> float:
    """The stated ceiling, or the highest known ground; ValueError for a stated one below that or endless."""
    if ceiling_m is None:
        return known.ceiling_m
    if not known.ceiling_m <= ceiling_m < math.inf:
        raise ValueError(
            f"The ceiling must be a height not below the raster's highest ground, {known.ceiling_m} m; "
            f"it is {ceiling_m}."
        )
    return float(ceiling_m)


def _look_around(
    elevation_m: np.ndarray,
    cell_size_m: float,
    row: float,
    col: float,
    azimuths_deg: ArrayLike,
    height_m: float,
    ceiling_m: float | None,
    obstacles_m: np.ndarray | None,
    known: Blocks | None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Tangent, distance known to, and how the known part ends: 0 complete, 1 a gap, 2 the raster's end."""
    if obstacles_m is not None and known is not None and known.raster is not None:
        z = known.raster  # the higher of both, made once for all points
        if z.shape != np.shape(elevation_m):
            raise ValueError("The blocks must have been made from a raster of the elevation's rows and columns.")
    else:
        z = surface(elevation_m, obstacles_m)
    rows, cols = z.shape
    if not (0 <= row <= rows - 1 and 0 <= col <= cols - 1):
        raise ValueError(f"The point ({row}, {col}) lies outside the raster's {rows} x {cols} cell centres.")
    if not (cell_size_m > 0 and height_m >= 0):
        raise ValueError("The cell size must be above 0 and the height not below 0 metres.")
    known = blocks(z) if known is None else known
    ceiling = checked_ceiling_m(ceiling_m, known)
    azimuths = np.asarray(azimuths_deg, float)
    eye = ground_at(elevation_m, row, col) + height_m
    if not math.isfinite(eye):
        shape = azimuths.shape
        return np.full(shape, np.nan), np.zeros(shape), np.ones(shape, np.uint8)
    row_steps, col_steps = direction(azimuths.ravel())
    found = _horizons(
        z,
        known.highest_m,
        known.gap,
        float(cell_size_m),
        float(row),
        float(col),
        eye,
        ceiling,
        row_steps,
        col_steps,
        HALF_CURVATURE,
    )
    tangent, known_to, ending = (part.reshape(azimuths.shape) for part in found)
    return np.where(np.isneginf(tangent), np.nan, tangent), known_to, ending


def ground_at(elevation_m: np.ndarray, row: float, col: float) -> float:
    """Bilinear ground at a point inside the ring of cell centres; at a cell centre that cell's own value."""
    r0 = min(math.floor(row), elevation_m.shape[0] - 2)
    c0 = min(math.floor(col), elevation_m.shape[1] - 2)
    total = 0.0
    for r, wr in ((r0, r0 + 1 - row), (r0 + 1, row - r0)):
        for c, wc in ((c0, c0 + 1 - col), (c0 + 1, col - c0)):
            if wr * wc > 0:  # a corner without weight may be unknown: the dish does not stand there
                total += wr * wc * float(elevation_m[r, c])
    return total


@njit(cache=True, nogil=True)
def _block_maxima(z):
    rows, cols = z.shape
    high = (rows + 15) >> _SHIFT
    wide = (cols + 15) >> _SHIFT
    highest = np.full((high, wide), -np.inf)
    gap = np.zeros((high, wide), np.uint8)
    for br in range(high):
        for r in range(br << _SHIFT, min((br + 1) << _SHIFT, rows - 1) + 1):
            if r >= rows:
                break
            for bc in range(wide):
                best = highest[br, bc]
                holes = 0
                # one cell into the next block: bilinear samples of this one reach there
                for c in range(bc << _SHIFT, min(((bc + 1) << _SHIFT) + 1, cols)):
                    v = z[r, c]
                    best = v if v > best else best
                    holes += v != v
                highest[br, bc] = best
                if holes:
                    gap[br, bc] = 1
    return highest, gap


@njit(cache=True, nogil=True, inline="always")
def steps_to_leave(row, col, row_step, col_step, last_row, last_col):
    """Half-cell steps from a point to the first sample that may lie in another block or outside, at least 1.

    Never one too many: a rounding error of the position costs a step, not a sample.
    """
    steps = 1e9
    if row_step > 0:
        border = min(((int(row) >> _SHIFT) + 1) * BLOCK_CELLS, last_row)
        steps = math.ceil((border - row) / row_step - 1e-7)
    elif row_step < 0:
        steps = math.floor((row - (int(row) >> _SHIFT) * BLOCK_CELLS) / -row_step - 1e-7) + 1
    if col_step > 0:
        border = min(((int(col) >> _SHIFT) + 1) * BLOCK_CELLS, last_col)
        steps = min(steps, math.ceil((border - col) / col_step - 1e-7))
    elif col_step < 0:
        steps = min(steps, math.floor((col - (int(col) >> _SHIFT) * BLOCK_CELLS) / -col_step - 1e-7) + 1)
    return max(int(steps), 1)


@njit(cache=True, nogil=True)
def _horizons(z, highest, gap, cell_m, row, col, eye, ceiling, row_steps, col_steps, half_curvature):
    rows, cols = z.shape
    count = row_steps.size
    tangents = np.full(count, -np.inf)
    known_to = np.full(count, np.inf)
    ending = np.zeros(count, np.uint8)  # 0 complete, 1 a gap, 2 the raster's end
    above = ceiling - eye
    # the tangent of the ceiling's own horizon, when the eye is above it, and its distance
    far = math.sqrt(max(-above, 0.0) / half_curvature)
    for i in range(count):
        row_step, col_step = row_steps[i], col_steps[i]
        best = -np.inf
        k = 1
        while True:
            d = k * (cell_m / 2)
            nearest = max(d, far)
            r = row + k * row_step
            c = col + k * col_step
            if above / nearest - nearest * half_curvature <= best:
                break
            if not (0 <= r <= rows - 1 and 0 <= c <= cols - 1):
                if ending[i] == 0:
                    ending[i] = 2
                    known_to[i] = d
                break
            r0 = min(int(r), rows - 2)
            c0 = min(int(c), cols - 2)
            br = r0 >> _SHIFT
            bc = c0 >> _SHIFT
            lift = highest[br, bc] - eye
            if (gap[br, bc] == 0 or ending[i] == 1) and (lift < 0 or lift / d - d * half_curvature <= best):
                steps = steps_to_leave(r, c, row_step, col_step, rows - 1, cols - 1)
                # ground below the eye stands highest where it is farthest, in the block's last sample
                if lift >= 0 or lift / (d + steps * (cell_m / 2)) - d * half_curvature <= best:
                    k += steps
                    continue
            fr = r - r0
            fc = c - c0
            v = (z[r0, c0] * (1 - fc) + z[r0, c0 + 1] * fc) * (1 - fr) + (
                z[r0 + 1, c0] * (1 - fc) + z[r0 + 1, c0 + 1] * fc
            ) * fr
            if v == v:
                best = max(best, (v - eye) / d - d * half_curvature)
            elif ending[i] == 0 and above / d - d * half_curvature > best:
                ending[i] = 1
                known_to[i] = d
            k += 1
        tangents[i] = best
    return tangents, known_to, ending
