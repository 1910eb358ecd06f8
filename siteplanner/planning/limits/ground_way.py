"""The last leg: the shortest way over drivable ground from a road the rig can reach to every nearby cell.

One many-sources Dijkstra over the cells within reach of the roads (scipy.sparse.csgraph), eight neighbours a
cell. Eight-neighbour paths are at most 8.2 % longer than the straight line on open ground (the octile
distance; closed form 1/cos(22.5 deg) = 1.0824), which errs on the safe side of a distance limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString

from siteplanner.data.grid import Grid


@dataclass(frozen=True, eq=False)
class GroundWay:
    """Way over ground per cell: metres to the nearest reached road cell (inf: none), and the way back."""

    distance_m: np.ndarray  # (rows, cols) float32
    band_index: np.ndarray  # (rows, cols) int32, -1 outside the band
    band_rows: np.ndarray
    band_cols: np.ndarray
    predecessor: np.ndarray  # per band cell, -9999 at a road cell

    def path_cells(self, row: int, col: int) -> list[tuple[int, int]]:
        """Cells from the road to this one, road cell first; empty when there is no way."""
        here = int(self.band_index[row, col])
        if here < 0 or not np.isfinite(self.distance_m[row, col]):
            return []
        cells = []
        while here >= 0:
            cells.append((int(self.band_rows[here]), int(self.band_cols[here])))
            here = int(self.predecessor[here])
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


def find_ground_way(road_cells: np.ndarray, passable: np.ndarray, cell_size_m: float, limit_m: float) -> GroundWay:
    """Shortest way over passable cells from the nearest road cell.

    `road_cells`, `passable`: bool (rows, cols). Road cells count as passable. Distances beyond `limit_m` come
    out as inf. Cells that touch only at a corner are joined only if both cells beside the corner are passable,
    so that a way never slips diagonally through a wall.
    """
    from scipy.ndimage import distance_transform_edt
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import dijkstra

    shape = road_cells.shape
    distance = np.full(shape, np.inf, np.float32)
    index = np.full(shape, -1, np.int32)
    if not road_cells.any():
        return GroundWay(distance, index, np.empty(0, int), np.empty(0, int), np.empty(0, int))
    near = distance_transform_edt(~road_cells) * cell_size_m <= limit_m
    band = near & (passable | road_cells)
    rows, cols = np.nonzero(band)
    index[rows, cols] = np.arange(len(rows), dtype=np.int32)

    heads, tails, costs = [], [], []
    padded = np.full((shape[0] + 2, shape[1] + 2), -1, np.int32)
    padded[1:-1, 1:-1] = index
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other = padded[rows + 1 + dr, cols + 1 + dc]
        joined = other >= 0
        if dr and dc:
            joined &= (padded[rows + 1 + dr, cols + 1] >= 0) & (padded[rows + 1, cols + 1 + dc] >= 0)
        tails.append(np.nonzero(joined)[0])
        heads.append(other[joined])
        costs.append(np.full(int(joined.sum()), cell_size_m * np.hypot(dr, dc)))
    n = len(rows)
    graph = csr_matrix((np.concatenate(costs), (np.concatenate(tails), np.concatenate(heads))), shape=(n, n))
    sources = index[road_cells & band]
    reached, predecessor, _ = dijkstra(
        graph, directed=False, indices=sources, min_only=True, return_predecessors=True, limit=limit_m
    )
    distance[rows, cols] = reached
    return GroundWay(distance, index, rows, cols, predecessor)
