"""The cells that stand for the incident area, and what each of them counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from siteplanner.data.burn import burn
from siteplanner.data.grid import Grid
from siteplanner.errors import InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import Series

WeightedBy = Literal["weight", "people", "area"]  # the column that the weights come from, or none

MAX_AREA_CELLS = 40_000


@dataclass(frozen=True, eq=False)
class AreaPolygon:
    """One polygon of the incident area; `cells` are positions in `AreaCells.rows`."""

    name: str  # '': not named
    cells: np.ndarray
    area_km2: float
    people: float | None  # None: not stated
    people_of: np.ndarray | None = None  # of each of `cells`, from a raster; None: only their sum is known, if that


@dataclass(frozen=True, eq=False)
class AreaCells:
    """Cells that stand for the incident area: every `step`-th row and column of the elevation."""

    rows: np.ndarray
    cols: np.ndarray
    weight: np.ndarray  # adds up to 1
    step: int
    cell_area_m2: float
    polygons: tuple[AreaPolygon, ...] = ()
    weighted_by: WeightedBy = "area"
    people: np.ndarray | None = None  # that each cell stands for, from a raster; people in two polygons count once


def area_cells(
    area: GeoDataFrame, like: Grid, coverage_cell_m: float | None, people_on: np.ndarray | None = None
) -> AreaCells:
    """The cells of the served share, thinned evenly to at most MAX_AREA_CELLS unless the mission says finer.

    Weight of a cell: the polygon's `weight` spread evenly over its cells; without that column its `people`, where every
    polygon has them; else its area. `people_on`: (rows, cols) people in each cell of `like`, from a raster: they go to
    the nearest cell that stands for their polygon, and weigh in the place of the column.
    Raises InputError for a weight or people that are not numbers of at least 0.
    """
    import pandas as pd

    people = _people(area)
    weighted_by: WeightedBy = "area"
    weight = pd.Series(area.geometry.area.to_numpy(), index=area.index)  # plain share of the area
    if "weight" in area.columns:
        weight = pd.to_numeric(area["weight"], errors="coerce")
        if weight.isna().any() or (weight < 0).any() or not 0 < weight.sum() < np.inf:
            raise InputError(
                "A weight of the incident area is not a number of at least 0 (or all are 0, or one is without end).",
                field="weight",
                remedy="Give every polygon a weight, e.g. the people in it, or drop the column.",
            )
        weighted_by = "weight"
    elif people_on is None and people.notna().all() and people.sum() > 0:
        weight, weighted_by = people, "people"
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
    polygons = []
    names = area["name"] if "name" in area.columns else [None] * len(area)
    for shape, value, living, name in zip(area.geometry, weight.to_numpy(float), people, names, strict=True):
        covered = burn([shape], like, all_touched=count < 50)
        own = covered[rows, cols]
        if own.any():
            per_cell[own] += value / own.sum()
        ids, people_of = np.nonzero(own)[0], None
        if people_on is not None:
            people_of = _nearest_of(rows[ids], cols[ids], people_on, covered)
            # a polygon that no picked cell stands for: how many live there is known, whether they are served is not
            living = float(people_on[covered].sum())
        polygons.append(
            AreaPolygon(
                name.strip() if isinstance(name, str) else "",
                ids,
                float(shape.area) / 1e6,
                None if pd.isna(living) else float(living),
                people_of,
            )
        )
    counted = None
    if people_on is not None:
        counted = _nearest_of(rows, cols, people_on, inside)
        if weighted_by == "area" and counted.sum() > 0:
            per_cell, weighted_by = counted.copy(), "people"
    if per_cell.sum() <= 0:
        per_cell[:] = 1.0
    cell_area = (step * like.cell_size_m) ** 2
    return AreaCells(rows, cols, per_cell / per_cell.sum(), step, cell_area, tuple(polygons), weighted_by, counted)


def _nearest_of(rows: np.ndarray, cols: np.ndarray, people_on: np.ndarray, covered: np.ndarray) -> np.ndarray:
    """People of the covered cells, each with the nearest of the cells that are picked, (picked,); none is lost."""
    from scipy.spatial import cKDTree

    at = np.argwhere(covered & (people_on > 0))
    if not len(at) or not len(rows):
        return np.zeros(len(rows))
    nearest = cKDTree(np.column_stack((rows, cols))).query(at)[1]
    return np.bincount(nearest, people_on[at[:, 0], at[:, 1]], minlength=len(rows)).astype(float)


def _people(area: GeoDataFrame) -> Series:
    """People in each polygon, NaN where the column leaves it open. Raises InputError for what is not a number >= 0."""
    import pandas as pd

    if "people" not in area.columns:
        return pd.Series(np.nan, index=area.index)
    people = pd.to_numeric(area["people"], errors="coerce")
    stated = area["people"].notna() & (area["people"].astype(str).str.strip() != "")
    if (people.isna() & stated).any() or (people < 0).any() or np.isinf(people).any():
        raise InputError(
            "The people of the incident area are not a number of at least 0.",
            field="people",
            remedy="Give every polygon the number of people in it, or leave it empty where nobody knows.",
        )
    return people
