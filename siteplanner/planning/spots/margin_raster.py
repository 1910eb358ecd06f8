"""Sky margin as a raster: how far the satellite stands above the skyline, for the ground that is searched.

Each value is exact, by the rule of `core.horizon` over the beam's width, as a spot's own figure is. Where the
elevation ends before the skyline is certain, a value stands only if what is known already blocks, or if the line of
sight less the mission's margin has passed above the highest ground; it is then an upper bound. Everywhere else it is
unknown: NaN.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from affine import Affine
from scipy.ndimage import map_coordinates

from siteplanner.core.horizon_raster import LATTICE_CELLS, horizon_raster
from siteplanner.core.sky import known_margin_deg
from siteplanner.data.grid import Grid
from siteplanner.mission import Satellite
from siteplanner.planning.limits.toward import Toward
from siteplanner.planning.study.inputs import dish_view
from siteplanner.planning.study.relief import Relief

if TYPE_CHECKING:
    from siteplanner.planning.study.study import Study

MOST_CELLS = 400_000  # cells of search ground worked out for a map layer; beyond, every second, third ... is taken

LEAST_BELOW_DEG = 0.05


def step_for(study: Study) -> int:
    """Every how many-th row and column keeps a margin raster below MOST_CELLS cells."""
    return max(1, math.ceil(math.sqrt(int(study.search_ground.sum()) / MOST_CELLS)))


def sky_margin(study: Study, step: int | None = None, most_deg: float | None = None) -> Grid | None:
    """The margin that decides, degrees, float32: the best satellite's where any will do, the worst where all must.

    Cells are `step` elevation cells wide (None: `step_for`), each with the exact value of its middle cell; NaN:
    unknown or outside the search ground. Satellites that stand lower than `sky.min_elevation_deg` do not count
    where any will do. `most_deg`: see `margin_toward`. None when there is no satellite left or no search ground.
    """
    sky = study.mission.sky
    step = step_for(study) if step is None else step
    found = [margin_toward(study, satellite, step, most_deg) for satellite in sky.satellites]
    known = [pair for pair in found if pair is not None]
    if not known:
        return None
    stack = np.stack([margin.values for margin, _ in known])
    if sky.need == "any":
        low = np.stack([elevation < sky.min_elevation_deg for _, elevation in known])
        stack[low] = -np.inf
        best = np.fmax.reduce(stack)
        gaps = np.isnan(stack).any(axis=0)
        values = np.where((gaps & ~(best >= sky.min_margin_deg)) | np.isneginf(best), np.nan, best)
    else:
        worst = np.fmin.reduce(stack)
        values = np.where(np.isnan(stack).any(axis=0) & ~(worst < sky.min_margin_deg), np.nan, worst)
    return known[0][0].with_values(values) if np.isfinite(values).any() else None


def margin_toward(
    study: Study, satellite: Satellite, step: int = 1, most_deg: float | None = None
) -> tuple[Grid, np.ndarray] | None:
    """(margin, the satellite's elevation) per cell toward one satellite, degrees; see `sky_margin` for the cells.

    `most_deg`: a margin of so much or more is told as some value from there on: ground that stands lower than that is
    passed over. What is unknown stays unknown.
    """
    grid, dish = study.elevation, dish_view(study)
    wanted = np.zeros(grid.shape, bool)
    wanted[step // 2 :: step, step // 2 :: step] = study.search_ground[step // 2 :: step, step // 2 :: step]
    rows, cols = (np.flatnonzero(wanted.any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return None

    one = Toward(study.elevation, satellite.longitude_deg, dish.beam_half_deg)
    picked = np.s_[rows[0] : rows[-1] + 1 : step, cols[0] : cols[-1] + 1 : step]
    axes = [np.arange(n[0], n[-1] + LATTICE_CELLS + 1, LATTICE_CELLS, dtype=float) for n in (rows, cols)]
    places = np.meshgrid(*(np.arange(n[0], n[-1] + 1, step) for n in (rows, cols)), indexing="ij")
    _, lattice = one.look(*np.meshgrid(*axes, indexing="ij"))
    at = [(place - axis[0]) / LATTICE_CELLS for place, axis in zip(places, axes, strict=True)]
    elevation = map_coordinates(lattice, at, order=1)

    # a hair lower, so that no blended elevation less this skyline falls short
    least = (
        -90.0
        if most_deg is None
        else float(np.nanmin(elevation)) - max(most_deg, dish.min_margin_deg) - LEAST_BELOW_DEG
    )

    def margin_over(relief: Relief) -> np.ndarray:
        ceiling = dish.beyond.ceiling_over(relief)
        horizon, known_to = horizon_raster(
            grid.values,
            grid.cell_size_m,
            lambda at_rows, at_cols: one.beam(at_rows, at_cols)[0],
            dish.dish_height_m,
            wanted,
            ceiling_m=ceiling,
            obstacles_m=relief.surface.values,
            known=relief.blocks,
            far=dish.beyond.far,
            least_deg=least,
        )
        eye = grid.values[picked] + dish.dish_height_m
        return known_margin_deg(elevation, horizon[picked], known_to[picked], eye, ceiling, dish.min_margin_deg)

    margin = margin_over(dish.relief)
    if dish.relief.possible is not None:  # where trees are not known, the tallest must leave the line free too
        at_worst = margin_over(dish.relief.possible)
        margin = np.where((margin >= dish.min_margin_deg) & ~(at_worst >= dish.min_margin_deg), np.nan, margin)
    x, y = (float(v) for v in grid.xy(rows[0], cols[0]))
    size = grid.cell_size_m * step
    return (
        Grid(margin.astype(np.float32), Affine(size, 0, x - size / 2, 0, -size, y + size / 2), grid.crs),
        elevation,
    )
