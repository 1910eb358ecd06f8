"""Candidate spots: feasible cells thinned to a diverse set, plus the spots that the user names."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Literal

import numpy as np

from siteplanner.data.grid import Grid
from siteplanner.data.grid_reference import grid_reference
from siteplanner.planning.limits.ground_way import GroundWay
from siteplanner.planning.limits.ruling import bands
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study

PROMINENCE_RADIUS_M = 600.0
TILE_CELLS = 1024  # ground looked through at a time
MOST_ASKED = 1500  # cells that are asked one by one what they are good for, a few ms each
KindOf = Callable[[np.ndarray, np.ndarray], np.ndarray]


class Merit:
    """A cheap 0..1 guess of how good a cell is, only to choose among neighbours; never shown, never a score.

    Level ground, close to the road, higher than the ground around (sees farther). Worked out where it is asked for:
    `merit[rows, cols]`, slices within the raster, float64.
    """

    def __init__(self, study: Study, way: GroundWay) -> None:
        grid = study.elevation
        self._heights, self._slope, self._way = grid.values, study.slope, way
        self._max_slope_deg = study.mission.trailer.max_slope_deg
        self._max_leg_m = study.mission.rig.last_leg_max_m
        self._across = max(3, 2 * int(PROMINENCE_RADIUS_M / grid.cell_size_m) + 1)

    @cached_property
    def _mean_m(self) -> float:
        """Stands for ground that is not known."""
        rows = bands(len(self._heights))
        total, known = np.sum([_sum_of_known(self._heights[band]) for band in rows], axis=0)
        return total / max(known, 1)

    def __getitem__(self, part: tuple[slice, slice]) -> np.ndarray:
        from scipy.ndimage import uniform_filter

        reach = self._across // 2
        wide = tuple(slice(max(s.start - reach, 0), s.stop + reach) for s in part)
        inner = tuple(slice(s.start - w.start, s.stop - w.start) for s, w in zip(part, wide, strict=True))
        heights = self._heights[wide].astype(np.float64)
        unknown = ~np.isfinite(heights)
        if unknown.any():
            heights[unknown] = self._mean_m
        prominence = heights[inner] - uniform_filter(heights, self._across, mode="nearest")[inner]
        rise = np.clip(prominence / 60.0 + 0.5, 0, 1)
        level = np.clip(1 - self._slope[part] / self._max_slope_deg, 0, 1)
        near = np.clip(1 - self._way.within(*part) / self._max_leg_m, 0, 1)
        return np.nan_to_num(0.4 * rise + 0.35 * level + 0.25 * near)


def _sum_of_known(heights: np.ndarray) -> tuple[float, int]:
    known = np.isfinite(heights)
    return float(np.sum(heights, where=known, dtype=np.float64)), int(known.sum())


def thin(rows: np.ndarray, cols: np.ndarray, value: np.ndarray, spacing_cells: float) -> np.ndarray:
    """Indices of a set with no two closer than `spacing_cells`, best value first; ties by row, then column.

    Greedy: the best cell is taken, all nearer than the spacing are dropped, and so on. Deterministic.
    """
    from scipy.spatial import cKDTree

    order = np.lexsort((cols, rows, -np.round(value, 9)))
    points = np.column_stack((rows, cols)).astype(float)[order]
    tree = cKDTree(points)
    alive = np.ones(len(points), bool)
    taken = []
    for i in range(len(points)):
        if alive[i]:
            taken.append(i)
            # strictly nearer is dropped; exactly the spacing apart may stay
            alive[tree.query_ball_point(points[i], np.nextafter(spacing_cells, 0))] = False
    return order[np.array(taken, int)]


def choose_cells(
    feasible: np.ndarray,
    value: Merit | np.ndarray,
    cell_size_m: float,
    spacing_m: float,
    max_spots: int,
    kind_of: KindOf | None = None,
    also: Sequence[np.ndarray] = (),
) -> tuple[np.ndarray, np.ndarray, float]:
    """(rows, cols, spacing used) of at most `max_spots` feasible cells at least `spacing_m` apart.

    Where more would fit, the spacing is widened until they do not, so that the set still covers all the ground.

    `kind_of(rows, cols)` tells the kind of each cell, 0 and up, negative for ground of no use: each kind is thinned by
    itself, so that no cell stands back for one of another kind; ground of no use counts only where there is no other.
    Asked of the best cell of each small block and of the best one under each mask of `also` (bool, as `feasible`), of
    about MOST_ASKED cells at most: blocks grow until there are so few.
    """
    # first the best cell of each small block: far fewer points for the greedy choice, same diversity
    block = max(1, int(spacing_m / cell_size_m / 4))
    rows, cols, v = _best_of_blocks(feasible, value, block, also)
    if not len(rows):
        return rows, cols, spacing_m
    while kind_of is not None and len(rows) > MOST_ASKED:
        block = max(block + 1, int(block * np.sqrt(len(rows) / MOST_ASKED)))
        rows, cols, v = _best_of_blocks(feasible, value, block, also)
    kinds = np.zeros(len(rows), int) if kind_of is None else np.asarray(kind_of(rows, cols), int)
    useful = sorted(set(kinds[kinds >= 0].tolist())) or [-1]

    def of_kinds(wanted: Sequence[int], spacing: float) -> np.ndarray:
        parts = [np.flatnonzero(kinds == k if k >= 0 else kinds < 0) for k in wanted]
        return np.concatenate([part[thin(rows[part], cols[part], v[part], spacing / cell_size_m)] for part in parts])

    used = spacing_m
    picked = of_kinds(useful, used)
    while len(picked) > max(max_spots, len(useful)):
        used *= max(1.05, float(np.sqrt(len(picked) / max_spots)) * 0.98)
        picked = of_kinds(useful, used)
    picked = picked[:max_spots]
    return rows[picked], cols[picked], used


def _best_of_blocks(
    feasible: np.ndarray, value: Merit | np.ndarray, block: int, also: Sequence[np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(rows, cols, value), by row then column, of the best feasible cell of each block x block cells, and of the best
    one under each mask. Tile by tile of whole blocks, where there are feasible cells."""
    side = block * max(1, TILE_CELLS // block)
    found = [np.empty((3, 0))]
    for top in range(0, feasible.shape[0], side):
        for left in range(0, feasible.shape[1], side):
            part = slice(top, min(top + side, feasible.shape[0])), slice(left, min(left + side, feasible.shape[1]))
            here = feasible[part]
            if not here.any():
                continue
            worth = value[part]
            chosen = np.zeros(here.shape, bool)
            for mask in (here, *(here & m[part] for m in also)):
                rows, cols = np.nonzero(mask)
                key = (rows // block) * (here.shape[1] // block + 1) + cols // block
                order = np.lexsort((cols, rows, -np.round(worth[rows, cols], 9), key))
                keep = order[np.concatenate(([True], np.diff(key[order]) != 0))] if len(order) else order
                chosen[rows[keep], cols[keep]] = True
            rows, cols = np.nonzero(chosen)
            found.append(np.stack([rows + top, cols + left, worth[rows, cols]]))
    rows, cols, worth = np.concatenate(found, axis=1)
    order = np.lexsort((cols, rows))
    return rows[order].astype(int), cols[order].astype(int), worth[order]


def cells_around(
    feasible: np.ndarray, value: Merit | np.ndarray, row: int, col: int, reach_cells: float, count: int
) -> list[tuple[int, int]]:
    """Up to `count` feasible cells within `reach_cells` of a cell, itself left out, spread and best value first."""
    r0, c0 = max(0, row - int(reach_cells)), max(0, col - int(reach_cells))
    window = feasible[r0 : row + int(reach_cells) + 1, c0 : col + int(reach_cells) + 1]
    rows, cols = np.nonzero(window)
    worth = value[r0 : r0 + window.shape[0], c0 : c0 + window.shape[1]][rows, cols]
    rows, cols = rows + r0, cols + c0
    away = np.hypot(rows - row, cols - col)
    keep = (away <= reach_cells) & (away > 0)
    rows, cols = rows[keep], cols[keep]
    if not len(rows):
        return []
    picked = thin(rows, cols, worth[keep], max(reach_cells / 2, 1.0))[:count]
    return [(int(rows[i]), int(cols[i])) for i in picked]


def spot_at(grid: Grid, row: int, col: int, name: str) -> Spot:
    """A spot at a cell's centre."""
    x, y = (float(v) for v in grid.xy(row, col))
    return _spot(grid, x, y, name, "search", (row, col))


def spots_at(grid: Grid, places: Sequence[tuple[float, float]]) -> tuple[Spot, ...]:
    """Spots in the cells that hold places (longitude, latitude), each cell once; those outside are left out."""
    spots: dict[tuple[int, int], Spot] = {}
    for number, place in enumerate(places, 1):
        cell = grid.cell(*grid.from_lonlat(*place))
        if cell is not None:
            spots.setdefault(cell, spot_at(grid, *cell, f"candidate {number}"))
    return tuple(spots.values())


def _spot(
    grid: Grid, x: float, y: float, name: str, origin: Literal["search", "user"], cell: tuple[int, int] | None
) -> Spot:
    lon, lat = (float(v) for v in grid.lonlat(x, y))
    return Spot(name, x, y, lat, lon, grid_reference(lat, lon), float(grid.sample(x, y)), origin, cell)


def user_spots(study: Study) -> list[Spot]:
    """Spots that the mission names, wherever they are."""
    frame, grid = study.overlay("spots"), study.elevation
    if frame is None:
        return []
    names = frame["name"] if "name" in frame.columns else [None] * len(frame)
    return [
        _spot(grid, shape.x, shape.y, _named(name, number), "user", grid.cell(shape.x, shape.y))
        for number, (name, shape) in enumerate(zip(names, frame.geometry, strict=True), 1)
    ]


def _named(name: object, number: int) -> str:
    return str(name) if isinstance(name, str) and name.strip() else f"User spot {number}"


LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def letters(number: int) -> str:
    """0 -> A, 23 -> Z, 24 -> AA: names short enough for a radio. Without I and O, which on paper look like 1 and 0."""
    out = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, len(LETTERS))
        out = LETTERS[rest] + out
    return out
