"""The plan's rasters as pictures for the map: predicted service, ruling, sky margin, slope, and a readable ruling."""

from __future__ import annotations

import numpy as np
from affine import Affine

from siteplanner.data.grid import Grid
from siteplanner.outputs.pictures.relief import Bounds, class_picture, png, to_mercator
from siteplanner.outputs.words.map_legend import sky_shown, sky_steps
from siteplanner.outputs.words.palettes import (
    CLASS_OPACITY,
    INK,
    PASSES_COLOUR,
    SERVICE_CLASSES,
    SKY_COLOURS,
    SKY_UNKNOWN_COLOUR,
    SLOPE_COLOURS,
    ruling_colours,
)
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.limits.ruling import BITS, OUTSIDE, RulingShare, bands
from siteplanner.planning.plan.model import Plan


def area_values(plan: Plan, per_cell: np.ndarray) -> Grid | None:
    """Values per cell of the incident area as a grid (NaN outside the area); None: there is no such cell.

    The area's cells stand for `area_step` by `area_step` cells of the elevation, centred on their own.
    """
    scene, step = plan.scene, plan.scene.area_step
    rows, cols = np.asarray(scene.area_rows), np.asarray(scene.area_cols)
    if not len(rows) or len(per_cell) != len(rows):
        return None
    first_row, first_col = int(rows.min()), int(cols.min())
    if ((rows - first_row) % step).any() or ((cols - first_col) % step).any():
        step = 1  # an area smaller than its own step is held cell by cell
    r, c = (rows - first_row) // step, (cols - first_col) // step
    values = np.full((int(r.max()) + 1, int(c.max()) + 1), np.nan, np.float32)
    values[r, c] = per_cell
    x, y = scene.elevation.xy(first_row, first_col)
    size = scene.elevation.cell_size_m * step
    return Grid(values, Affine(size, 0, float(x) - size / 2, 0, -size, float(y) + size / 2), scene.elevation.crs)


def probability_grid(ranked: RankedSpot, plan: Plan) -> Grid | None:
    """Probability of service per cell of the incident area (NaN outside it); None: not worked out."""
    coverage = ranked.evaluation.coverage
    if coverage is None or coverage.probability is None:
        return None
    return area_values(plan, coverage.probability)


def service_picture(ranked: RankedSpot, plan: Plan) -> tuple[bytes, Bounds] | None:
    """Predicted service of one spot in the classes of the legend; below the lowest class it is clear."""
    grid = probability_grid(ranked, plan)
    if grid is None:
        return None
    steps = [start for start, _, _ in SERVICE_CLASSES]
    classes = np.digitize(np.nan_to_num(grid.values, nan=0.0), steps).astype(np.uint8)
    colours = {n: (colour, CLASS_OPACITY) for n, (_, colour, _) in enumerate(SERVICE_CLASSES, 1)}
    return class_picture(grid.with_values(classes), colours)


def main_limit(plan: Plan) -> tuple[Grid, tuple[RulingShare, ...]]:
    """Per cell: 0 outside the search ground, 1 passes, n + 2 where the n-th ruling is the first to hit.

    The order is that of `plan.rulings`, which is also returned. A bit that no ruling names counts as the last
    ruling plus one, so that nothing that is ruled out looks as if it passed.
    """
    values = plan.scene.ruling.values
    classes = np.full(values.shape, len(plan.rulings) + 2, np.uint8)
    classes[values == 0] = 1
    for number in reversed(range(len(plan.rulings))):
        bit = BITS.get(plan.rulings[number].code, 0)
        classes[(values & bit) != 0] = number + 2
    classes[(values & OUTSIDE) != 0] = 0
    return plan.scene.ruling.with_values(classes), plan.rulings


def ruling_picture(plan: Plan) -> tuple[bytes, Bounds]:
    """Ground that passes, and ground ruled out in the colour of the first limit that hits it."""
    classes, rulings = main_limit(plan)
    colours = ruling_colours([r.code for r in rulings])
    table = {1: (PASSES_COLOUR, CLASS_OPACITY), len(rulings) + 2: (INK, CLASS_OPACITY)}
    table.update({n: (colours[r.code], CLASS_OPACITY) for n, r in enumerate(rulings, 2)})
    return class_picture(classes, table)


def slope_picture(plan: Plan) -> tuple[bytes, Bounds]:
    """Slope in four classes about the trailer's limit; unknown is clear."""
    limit = plan.mission.trailer.max_slope_deg
    grid = plan.scene.elevation
    classes = np.zeros(grid.shape, np.uint8)
    for band in bands(grid.shape[0]):
        slope = plan.scene.slope[band]
        known = np.isfinite(slope)
        classes[band][known] = np.digitize(slope[known], [limit / 2, limit, 2 * limit], right=True) + 1
    return class_picture(grid.with_values(classes), {n: (c, CLASS_OPACITY) for n, c in enumerate(SLOPE_COLOURS, 1)})


def sky_picture(plan: Plan) -> tuple[bytes, Bounds] | None:
    """Margin of the satellite that decides above the skyline in five classes and one for not known; clear outside
    the search ground. None: the plan holds no such raster, or wants no dish."""
    steps = sky_steps(plan)
    grid = plan.scene.sky_margin(steps[-1]) if sky_shown(plan) else None
    if grid is None:
        return None
    classes = (np.digitize(np.nan_to_num(grid.values, nan=0.0), steps) + 1).astype(np.uint8)
    unknown = len(SKY_COLOURS) + 1
    rows, cols = np.indices(grid.shape)
    around = plan.scene.ruling
    row, col = (np.rint(v).astype(int) for v in around.rowcol(*grid.xy(rows, cols)))
    inside = (row >= 0) & (row < around.shape[0]) & (col >= 0) & (col < around.shape[1])
    held = around.values[np.clip(row, 0, around.shape[0] - 1), np.clip(col, 0, around.shape[1] - 1)]
    classes[~np.isfinite(grid.values)] = unknown
    classes[~inside | ((held & OUTSIDE) != 0)] = 0
    table = {n: (colour, CLASS_OPACITY) for n, colour in enumerate(SKY_COLOURS, 1)}
    return class_picture(grid.with_values(classes), {**table, unknown: (SKY_UNKNOWN_COLOUR, CLASS_OPACITY)})


def readable_ruling(plan: Plan) -> tuple[bytes, Bounds]:
    """The ruling's bits as a picture that the page reads back: red is the low byte, green the high one.

    Pixels beyond the raster are marked outside the search ground.
    """
    grid = plan.scene.ruling
    flipped = grid.with_values((grid.values ^ np.uint16(OUTSIDE)).astype(np.uint16))  # so that 0, the fill, is outside
    values, _, bounds = to_mercator(flipped, nearest=True, max_pixels=2048)
    values = values ^ np.uint16(OUTSIDE)
    out = np.zeros((*values.shape, 3), np.uint8)
    out[..., 0], out[..., 1] = values & 0xFF, values >> 8
    return png(out), bounds
