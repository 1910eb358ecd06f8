"""The cells that stand for the incident area, and what each of them counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.data.burn import burn
from siteplanner.data.grid import Grid
from siteplanner.errors import InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

MAX_AREA_CELLS = 40_000


@dataclass(frozen=True, eq=False)
class AreaCells:
    """Cells that stand for the incident area: every `step`-th row and column of the elevation."""

    rows: np.ndarray
    cols: np.ndarray
    weight: np.ndarray  # adds up to 1
    step: int
    cell_area_m2: float


def area_cells(area: GeoDataFrame, like: Grid, coverage_cell_m: float | None) -> AreaCells:
    """The cells of the served share, thinned evenly to at most MAX_AREA_CELLS unless the mission says finer.

    Weight of a cell: the polygon's `weight` spread evenly over its cells (1 where the column is missing).
    Raises InputError for a weight that is not a number of at least 0.
    """
    import pandas as pd

    if "weight" in area.columns:
        weight = pd.to_numeric(area["weight"], errors="coerce")
        if weight.isna().any() or (weight < 0).any() or weight.sum() <= 0:
            raise InputError(
                "A weight of the incident area is not a number of at least 0 (or all are 0).",
                field="weight",
                remedy="Give every polygon a weight, e.g. the people in it, or drop the column.",
            )
    else:
        weight = pd.Series(area.geometry.area.to_numpy(), index=area.index)  # plain share of the area
    inside = burn(area.geometry, like)
    count = int(inside.sum())
    if count == 0:
        # smaller than a cell: the cells it touches
        inside = burn(area.geometry, like, all_touched=True)
        count = int(inside.sum())
    step = max(1, round((coverage_cell_m or like.cell_size_m) / like.cell_size_m))
    if coverage_cell_m is None:
        step = max(1, int(np.ceil(np.sqrt(count / MAX_AREA_CELLS))))
    picked = np.zeros(like.shape, bool)
    picked[step // 2 :: step, step // 2 :: step] = True
    if not (inside & picked).any():
        picked[:] = True
    rows, cols = np.nonzero(inside & picked)
    per_cell = np.zeros(len(rows))
    for shape, value in zip(area.geometry, weight.to_numpy(float), strict=True):
        own = burn([shape], like, all_touched=count < 50)[rows, cols]
        if own.any():
            per_cell[own] += value / own.sum()
    if per_cell.sum() <= 0:
        per_cell[:] = 1.0
    return AreaCells(rows, cols, per_cell / per_cell.sum(), step, (step * like.cell_size_m) ** 2)
