"""What a spot's mast sends toward each cell and named point, over the handset's noise: for spots on one channel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siteplanner.core.aim import best_sector_gain_db
from siteplanner.core.coverage import directions
from siteplanner.core.coverage_exact import exact_losses
from siteplanner.core.ground_cover import covered_loss_db
from siteplanner.core.handset_place import spread_db
from siteplanner.core.interference import above_noise_db, all_sectors_gain_db
from siteplanner.core.link import margin_db
from siteplanner.mission.links import link_parameters, sector_pattern
from siteplanner.planning.study.inputs import CoverageInputs
from siteplanner.planning.study.spot import Spot


@dataclass(frozen=True, eq=False)
class Levels:
    """Medians, dB, one value a cell of the area and then one a must-serve point; NaN where a path is not known."""

    margin_db: np.ndarray  # of the weaker direction, this spot alone on the channel
    signal_db: np.ndarray  # its best sector over the handset's noise
    sent_db: np.ndarray  # all its sectors over the handset's noise
    reached: np.ndarray  # bool: within the radius in which it serves
    needed_snr_db: float
    sigma_db: float


def levels_of(
    inputs: CoverageInputs, spot: Spot, cell: tuple[int, int], mast_height_m: float, bearings_deg: tuple[float, ...]
) -> Levels:
    """The levels of a spot with its mast and (true) sector bearings as they were chosen for it alone."""
    radio, cells = inputs.radio, inputs.area_cells
    params, points = link_parameters(radio), _points(inputs)
    parts: list[tuple[np.ndarray, ...]] = []
    for rows, cols, here in ((cells.rows, cells.cols, np.ones(len(cells.rows), bool)), *points):
        # named points by the exact path, as they are served
        way = ways_to(inputs, spot, cell, mast_height_m, bearings_deg, rows, cols, exact=bool(parts))
        parts.append(
            (
                margin_db(params, way.loss_db, way.best_db),
                above_noise_db(params, way.loss_db, way.best_db),
                above_noise_db(params, way.loss_db, way.all_db),
                (way.distance_m <= radio.max_radius_m) & here,
            )
        )
    margin, signal, sent, reached = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Levels(
        margin.astype(np.float32),
        signal.astype(np.float32),
        sent.astype(np.float32),
        reached,
        params.down_snr_db,
        spread_db(radio.sigma_db, params.entry),
    )


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways from one mast to places, one value each; NaN loss where a path is not known."""

    loss_db: np.ndarray
    best_db: np.ndarray  # pattern gain of the best sector, 0 or less
    all_db: np.ndarray  # of all sectors, powers added
    distance_m: np.ndarray


def ways_to(
    inputs: CoverageInputs,
    spot: Spot,
    cell: tuple[int, int],
    mast_height_m: float,
    bearings_deg: tuple[float, ...],
    rows: np.ndarray,
    cols: np.ndarray,
    *,
    exact: bool,
) -> Ways:
    """Loss and pattern gains to places of the grid; bearings true, rows and columns whole ones unless `exact`."""
    grid, radio, pattern = inputs.elevation, inputs.radio, sector_pattern(inputs.radio)
    stops, aimed = np.array([mast_height_m]), np.array(bearings_deg) - grid.convergence_deg(spot.x, spot.y)
    loss = covered_loss_db(
        grid.values,
        grid.cell_size_m,
        *cell,
        stops,
        radio.handset_height_m,
        radio.frequency_mhz,
        rows,
        cols,
        inputs.cover.cover,
        *((exact_losses,) if exact else ()),
    )[0]
    distance, bearing, angle = directions(
        grid.values, grid.cell_size_m, *cell, stops, radio.handset_height_m, rows, cols
    )
    best = best_sector_gain_db(bearing, angle[0], aimed, pattern)
    return Ways(loss, best, all_sectors_gain_db(bearing, angle[0], aimed, pattern), distance)


def _points(inputs: CoverageInputs) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """(rows, columns, whether they lie on the elevation) of the named points, in one item; none without points."""
    frame, grid = inputs.must_serve, inputs.elevation
    if frame is None:
        return []
    at = np.array([grid.rowcol(s.x, s.y) for s in frame.geometry], float).reshape(-1, 2)
    here = np.array([grid.cell(s.x, s.y) is not None for s in frame.geometry])
    return [(np.clip(at[:, 0], 0, grid.shape[0] - 1), np.clip(at[:, 1], 0, grid.shape[1] - 1), here)]
