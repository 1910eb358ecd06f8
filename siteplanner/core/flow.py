"""Where water runs over an elevation raster: flow paths, the area that drains through a cell, height above drainage.

Each cell drains to the steepest of its eight neighbours (D8: O'Callaghan and Mark 1984, Comput. Vis. Graph. Image
Process. 28). A hollow drains over its lowest pass: the passes form a minimum spanning tree of the hollows, rooted
outside the raster (the idea of Cordonnier, Bovy and Braun 2019, Earth Surf. Dynam. 7). Sums along the paths are made
by doubling, so that all of it is whole-array work and nothing has to be compiled.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, DTypeLike

MAX_CELLS = 600_000  # larger rasters are thinned by block minima: channels stay, and a second is enough
_BAND_ROWS = 512  # of the elevation, thinned at a time
_THINNING = 0.5  # share of the time on large ground
Made = Callable[[np.ndarray], np.ndarray]
Tick = Callable[[float], None]
_STEPS = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))


@dataclass(frozen=True, eq=False)
class Flow:
    """Flow over a raster of cells `cell_size_m` wide, `step` cells of the elevation across.

    `receiver` is the flat index of the cell that each cell drains to, its own where the water leaves the raster (the
    bottom of a hollow that spills over the rim counts as the place) and where the ground is unknown. `area_m2` drains
    through each cell, itself included; what lies outside the raster is not in it. `fill_m` is the height that water
    stands at before it runs off; `height_m` the ground.
    """

    cell_size_m: float
    step: int
    height_m: np.ndarray
    receiver: np.ndarray
    area_m2: np.ndarray
    fill_m: np.ndarray


def flow(
    elevation_m: np.ndarray, cell_size_m: float, max_cells: int = MAX_CELLS, tick: Tick = lambda share: None
) -> Flow:
    """Flow paths of an elevation raster; rasters above `max_cells` are thinned to block minima first. `tick` is told
    the share done before each band that is thinned and each step after.

    Raises ValueError when the raster has not two dimensions or the cell size is not above 0.
    """
    if np.ndim(elevation_m) != 2 or not cell_size_m > 0:
        raise ValueError("Flow needs an elevation of two dimensions and a cell size above 0.")
    step = int(np.ceil(np.sqrt(elevation_m.size / max_cells)))
    z = block_minima(elevation_m, step, lambda share: tick(_THINNING * share)).astype(np.float64)
    n = z.size
    tick(_THINNING)
    receiver = steepest(z)
    tick(0.7)
    receiver, fill = _over_passes(z, receiver)
    tick(0.9)
    known = np.isfinite(z.ravel())
    receiver = np.where(known, receiver, np.arange(n))
    size = cell_size_m * step
    return Flow(size, step, z, receiver, (drained(receiver, known) * size**2).reshape(z.shape), fill)


def block_minima(values: np.ndarray, step: int, tick: Tick = lambda share: None) -> np.ndarray:
    """The lowest known value of each `step` x `step` block (ragged at the end); NaN where none is known."""
    if step == 1:
        return values
    low = _by_block(values, step, np.inf, lambda v: np.where(np.isnan(v), np.inf, v), np.min, values.dtype, tick)
    low[np.isinf(low)] = np.nan
    return low


def _by_block(
    values: np.ndarray, step: int, beyond: float, made: Made, reduce: Callable[..., np.ndarray], dtype: DTypeLike,
    tick: Tick = lambda share: None,
) -> np.ndarray:  # fmt: skip
    """Blocks of `made(values)` reduced, a few rows of blocks at a time; `beyond` stands behind the last cells."""
    rows, cols = (-(-n // step) for n in values.shape)
    out = np.empty((rows, cols), dtype)
    deep = max(1, _BAND_ROWS // step)
    for top in range(0, rows, deep):
        tick(top / rows)
        piece = values[top * step : (top + deep) * step]
        count = -(-len(piece) // step)
        padded = np.full((count * step, cols * step), beyond, dtype)
        padded[: len(piece), : values.shape[1]] = made(piece)
        out[top : top + count] = reduce(padded.reshape(count, step, cols, step), axis=(1, 3))
    return out


def steepest(z: np.ndarray) -> np.ndarray:
    """Flat index of the neighbour with the steepest fall from each cell, its own where none lies lower."""
    rows, cols = z.shape
    padded = np.full((rows + 2, cols + 2), np.inf)
    padded[1:-1, 1:-1] = np.where(np.isnan(z), np.inf, z)
    here = padded[1:-1, 1:-1]
    best = np.zeros(z.shape)
    offset = np.zeros(z.shape, np.int64)
    for dr, dc in _STEPS:
        with np.errstate(invalid="ignore"):
            fall = (here - padded[1 + dr : 1 + dr + rows, 1 + dc : 1 + dc + cols]) / np.hypot(dr, dc)
        better = fall > best
        np.copyto(best, fall, where=better)
        offset[better] = dr * cols + dc
    offset[np.isnan(z)] = 0
    return (np.arange(z.size).reshape(z.shape) + offset).ravel()


def ends(receiver: np.ndarray) -> np.ndarray:
    """The cell where each cell's path ends: one that drains to itself. Pointer doubling."""
    here = receiver
    while True:
        further = here[here]
        if np.array_equal(further, here):
            return here
        here = further


def drained(receiver: np.ndarray, known: np.ndarray) -> np.ndarray:
    """How many cells drain through each, itself included.

    By doubling: what comes from fewer than 2^k steps away, then what comes from as many again, and so on.
    """
    n = len(receiver)
    count = np.append(known.astype(np.float64), 0.0)
    ahead = np.append(np.where(receiver == np.arange(n), n, receiver), n)
    while (ahead[:n] != n).any():
        count = count + np.bincount(ahead, weights=count, minlength=n + 1)
        count[n] = 0.0
        ahead = ahead[ahead]
    return count[:n]


def _over_passes(z: np.ndarray, receiver: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Receivers with every hollow's lowest cell drained over its pass, and the height that hollows fill to."""
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

    rows, cols = z.shape
    n = z.size
    flat = z.ravel()
    known = np.isfinite(flat)
    bottom = ends(receiver)
    bottoms = np.flatnonzero((receiver == np.arange(n)) & known)
    label = np.zeros(n + 1, np.int64)  # 0: outside
    label[bottoms] = np.arange(1, len(bottoms) + 1)
    label[:n] = np.where(known, label[bottom], 0)
    # passes: the lower the better, one for each pair of hollows that touch; the raster's rim and unknown ground
    # are the outside, reached at a cell's own height
    index = np.full((rows + 2, cols + 2), n)
    index[1:-1, 1:-1] = np.where(known, np.arange(n), n).reshape(z.shape)
    here = index[1:-1, 1:-1].ravel()
    level = np.append(flat, -np.inf)
    one, other = [], []
    for dr, dc in _STEPS:
        there = index[1 + dr : 1 + dr + rows, 1 + dc : 1 + dc + cols].ravel()
        meet = (here != n) & (label[here] != label[there]) & ((there == n) | (here < there))
        one.append(here[meet])
        other.append(there[meet])
    a, b = np.concatenate(one), np.concatenate(other)
    height = np.maximum(level[a], level[b])
    low, high = np.minimum(label[a], label[b]), np.maximum(label[a], label[b])
    key = low * (len(bottoms) + 1) + high
    order = np.lexsort((a, height, key))
    key, a, b, height = key[order], a[order], b[order], height[order]
    first = np.append(True, key[1:] != key[:-1])[: len(key)]
    key, a, b, height = key[first], a[first], b[first], height[first]
    nodes = len(bottoms) + 1
    lowest = float(height.min()) if len(height) else 0.0
    # a sparse matrix takes weight 0 for no pass at all
    graph = csr_matrix((height - lowest + 1.0, (key // nodes, key % nodes)), shape=(nodes, nodes))
    tree = minimum_spanning_tree(graph)
    _, parent = breadth_first_order(tree, 0, directed=False)
    child = np.arange(1, nodes)
    up = parent[1:]
    place = np.searchsorted(key, np.minimum(child, up) * nodes + np.maximum(child, up))
    start, end = a[place], b[place]
    beyond = np.where(label[start] == child, end, start)
    receiver = receiver.copy()
    receiver[bottoms] = beyond
    fill = np.append(-np.inf, height[place])
    ahead = np.append(0, up)
    while (ahead != 0).any():
        fill = np.maximum(fill, fill[ahead])
        ahead = ahead[ahead]
    return np.where(receiver == n, np.arange(n), receiver), np.maximum(fill[label[:n]], flat).reshape(z.shape)


def drainage_level_m(made: Flow, channel_area_m2: float, water: np.ndarray | None = None) -> np.ndarray:
    """Height of the first channel on the flow path of each cell of the flow; see `above_drainage_m`.

    A channel is a cell through which at least `channel_area_m2` drains, or one of `water` (bool, the elevation's shape:
    mapped water). In a hollow that fills before it runs off, it is the water's level. NaN where the path leaves the
    raster before it meets a channel.
    """
    channel = made.area_m2.ravel() >= channel_area_m2
    if water is not None:
        channel |= _by_block(water, made.step, False, lambda v: v, np.any, bool).ravel()
    channel &= np.isfinite(made.height_m.ravel())
    own = np.arange(len(made.receiver))
    last = ends(np.where(channel, own, made.receiver))
    stream = np.where(channel[last], made.height_m.ravel()[last], np.nan)
    # a channel upstream of a hollow stands no lower than the hollow fills
    level = np.fmax(stream, np.where(made.fill_m > made.height_m, made.fill_m, -np.inf).ravel()).reshape(
        made.height_m.shape
    )
    level[np.isnan(stream).reshape(level.shape)] = np.nan
    return level


def above_drainage_m(
    elevation_m: np.ndarray, made: Flow, level_m: np.ndarray, row: ArrayLike, col: ArrayLike
) -> np.ndarray:
    """Height of cells above the first channel on their flow path, float32; never below 0, NaN unknown.

    HAND: Renno et al. 2008 (Remote Sens. Environ. 112), Nobre et al. 2011 (J. Hydrol. 404). `level_m`: the flow's
    `drainage_level_m`; `row`, `col`: cells of the elevation.
    """
    row, col = np.asarray(row), np.asarray(col)
    return np.maximum(elevation_m[row, col] - level_m[row // made.step, col // made.step], 0.0).astype(np.float32)
