"""The last leg: the shortest way over drivable ground from a road the rig can reach to every nearby cell.

Many-sources Dijkstra over the cells within reach of the roads (scipy.sparse.csgraph), eight neighbours a cell, tile by
tile: each tile is worked out with all ground around it that a way within the limit can use, so that its answer is that
of the whole raster. Eight-neighbour paths are at most 8.2 % longer than the straight line on open ground (the octile
distance; closed form 1/cos(22.5 deg) = 1.0824), which errs on the safe side of a distance limit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString

from siteplanner.data.grid import Grid

TILE_CELLS = 1024  # a tile with its graph takes some 150 MB where all of it is within reach
_NONE, _ROAD = 0, 9
# steps to the cell before
_BACK = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 0), (0, 1), (1, -1), (1, 0), (1, 1))
_CODE = np.array([1, 2, 3, 4, _ROAD, 5, 6, 7, 8], np.uint8)  # of a step, by 3 x row + column + 4
_STEP = dict(zip(_CODE.tolist(), _BACK, strict=True))


@dataclass(frozen=True, eq=False)
class GroundWay:
    """Way over ground per cell: metres to the nearest reached road cell, and the way back.

    Metres are kept of the cells with a way alone, which are few where roads are far apart.
    """

    back: np.ndarray  # (rows, cols) uint8: where the cell before lies, _ROAD on a road cell, _NONE: there is no way
    metres: np.ndarray  # float32, of the cells with a way, row by row
    first: np.ndarray  # (rows + 1,) int64: where each row begins in `metres`

    def within(self, rows: slice, cols: slice) -> np.ndarray:
        """Metres of a part of the raster, float32, inf where there is no way. Slices without a step, as of arrays."""
        (top, stop, _), (left, right, _) = (s.indices(n) for s, n in zip((rows, cols), self.back.shape, strict=True))
        reached = self.back[top:stop, left:right] != _NONE
        out = np.full(reached.shape, np.inf, np.float32)
        if out.size:
            counts = reached.sum(axis=1)
            begins = self.first[top:stop] + np.count_nonzero(self.back[top:stop, :left], axis=1)
            # from where in `metres` less where in the part, of each row
            off = np.repeat(begins - (np.cumsum(counts) - counts), counts)
            out[reached] = self.metres[off + np.arange(len(off))]
        return out

    @property
    def distance_m(self) -> np.ndarray:
        """Of the whole raster, made when it is asked for: for small ones."""
        return self.within(slice(None), slice(None))

    def path_cells(self, row: int, col: int) -> list[tuple[int, int]]:
        """Cells from the road to this one, road cell first; empty when there is no way."""
        code = int(self.back[row, col])
        if code == _NONE:
            return []
        cells = [(int(row), int(col))]
        while code != _ROAD:
            down, right = _STEP[code]
            row, col = row + down, col + right
            cells.append((int(row), int(col)))
            code = int(self.back[row, col])
        return cells[::-1]

    def line(self, grid: Grid, row: int, col: int, road_x: float, road_y: float) -> LineString:
        """The way as a line from the road point to the cell's centre."""
        cells = self.path_cells(row, col)
        rows, cols = (np.array(v) for v in zip(*cells, strict=True))
        xs, ys = grid.xy(rows, cols)
        points = [(road_x, road_y), *zip(xs.tolist(), ys.tolist(), strict=True)]
        if len(points) > 2:
            points.pop(1)  # the road cell's centre lies beside the road point: no zigzag
        return LineString(points) if points[0] != points[-1] else LineString([points[0], points[0]])


def find_ground_way(
    road_cells: np.ndarray,
    passable: np.ndarray,
    cell_size_m: float,
    limit_m: float,
    tick: Callable[[float], None] | None = None,
    *,
    tile_cells: int = TILE_CELLS,
) -> GroundWay:
    """Shortest way over passable cells from the nearest road cell.

    `road_cells`, `passable`: bool (rows, cols). Road cells count as passable. Distances beyond `limit_m` come
    out as inf. Cells that touch only at a corner are joined only if both cells beside the corner are passable,
    so that a way never slips diagonally through a wall. `tick` is told the share done; what it raises stops the work.
    Of several ways of one length, which is taken may depend on the tiles.
    """
    shape = road_cells.shape
    back = np.zeros(shape, np.uint8)
    reach = int(min(limit_m / cell_size_m, max(shape))) + 1
    tiles = list(_tiles(shape, tile_cells))
    metres, counts = [np.empty(0, np.float32)], [np.zeros(1, np.int64)]
    for number, own in enumerate(tiles, 1):
        if own[1].start == 0:
            strip = np.full((own[0].stop - own[0].start, shape[1]), np.inf, np.float32)
        wide = tuple(slice(max(s.start - reach, 0), min(s.stop + reach, n)) for s, n in zip(own, shape, strict=True))
        roads = road_cells[wide]
        if roads.any():
            inner = tuple(slice(s.start - w.start, s.stop - w.start) for s, w in zip(own, wide, strict=True))
            found = _tile_ways(roads, passable[wide], cell_size_m, limit_m, reach)
            strip[:, own[1]], back[own] = (part[inner] for part in found)
        if own[1].stop == shape[1]:
            reached = back[own[0]] != _NONE
            metres.append(strip[reached])
            counts.append(reached.sum(axis=1))
        if tick is not None:
            tick(number / len(tiles))
    return GroundWay(back, np.concatenate(metres), np.cumsum(np.concatenate(counts)))


def _tiles(shape: tuple[int, ...], side: int) -> Iterator[tuple[slice, slice]]:
    for top in range(0, shape[0], side):
        for left in range(0, shape[1], side):
            yield slice(top, min(top + side, shape[0])), slice(left, min(left + side, shape[1]))


def _tile_ways(
    road_cells: np.ndarray, passable: np.ndarray, cell_size_m: float, limit_m: float, reach: int
) -> tuple[np.ndarray, np.ndarray]:
    """(distance, back) of a piece of the raster as if there were no more."""
    from scipy.ndimage import maximum_filter
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import dijkstra

    shape = road_cells.shape
    distance = np.full(shape, np.inf, np.float32)
    # within the limit in rows and columns, which is more than within it in metres: only what is left out for sure
    near = maximum_filter(road_cells.view(np.uint8), size=2 * min(reach, max(shape)) + 1, mode="constant").view(bool)
    band = near & (passable | road_cells)
    rows, cols = (v.astype(np.int32) for v in np.nonzero(band))
    index = np.full((shape[0] + 2, shape[1] + 2), -1, np.int32)
    index[rows + 1, cols + 1] = np.arange(len(rows), dtype=np.int32)

    heads, tails, costs = [], [], []
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other = index[rows + 1 + dr, cols + 1 + dc]
        joined = other >= 0
        if dr and dc:
            joined &= (index[rows + 1 + dr, cols + 1] >= 0) & (index[rows + 1, cols + 1 + dc] >= 0)
        tails.append(np.nonzero(joined)[0].astype(np.int32))
        heads.append(other[joined])
        costs.append(np.full(len(tails[-1]), cell_size_m * np.hypot(dr, dc)))
    n = len(rows)
    graph = csr_matrix((np.concatenate(costs), (np.concatenate(tails), np.concatenate(heads))), shape=(n, n))
    sources = index[1:-1, 1:-1][road_cells & band]
    reached, before, _ = dijkstra(
        graph, directed=False, indices=sources, min_only=True, return_predecessors=True, limit=limit_m
    )
    distance[rows, cols] = reached
    return distance, steps_back(distance, rows, cols, before)


def steps_back(distance_m: np.ndarray, rows: np.ndarray, cols: np.ndarray, before: np.ndarray) -> np.ndarray:
    """`GroundWay.back` of a raster of distances (inf: no way), from the cells looked at and the number of the one
    before each, below 0 on a road."""
    back = np.zeros(distance_m.shape, np.uint8)
    from_here = np.where(before >= 0, before, np.arange(len(rows)))
    step = 3 * (rows[from_here] - rows) + cols[from_here] - cols + 4
    back[rows, cols] = np.where(np.isfinite(distance_m[rows, cols]), _CODE[step], _NONE)
    return back
