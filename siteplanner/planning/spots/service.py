"""Predicted service from one spot: every mast stop, best sector bearings, the share served, must-serve points."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

import numpy as np

from siteplanner.core.aim import best_aim, lowest_good_stop, served_probability
from siteplanner.core.clutter import CLUTTER_HEIGHT_M, Clutter, height_gain_db
from siteplanner.core.coverage import directions, path_loss_exact_db, path_loss_stops_db
from siteplanner.core.handset_place import spread_db
from siteplanner.core.link import BudgetLine, LinkParameters, budget, margin_db
from siteplanner.mission import Radio
from siteplanner.mission.links import link_parameters, sector_pattern
from siteplanner.planning.spots.evaluation import Coverage, PointService
from siteplanner.planning.spots.served import service_of
from siteplanner.planning.study.clutter import CLUTTER_KINDS
from siteplanner.planning.study.inputs import CoverageInputs
from siteplanner.planning.study.spot import Spot


def predict_coverage(
    inputs: CoverageInputs, spot: Spot, cell: tuple[int, int], least_stop_m: float | None = None
) -> Coverage:
    """Path loss to every cell of the area from every mast stop; best bearings; the lowest stop that is good enough.

    `least_stop_m`: a stop that something else needs (a donor link); the mast stands no lower.
    Bearings in the answer are true; the kernels work in grid bearings.
    """
    grid, radio, cells = inputs.relief.elevation, inputs.radio, inputs.area_cells
    params, pattern = link_parameters(radio), sector_pattern(radio)
    stops = np.array(inputs.mast_stops_m)
    loss = area_loss_db(inputs, cell, stops)
    distance, bearing, angle = directions(
        grid.values, grid.cell_size_m, *cell, stops, radio.handset_height_m, cells.rows, cells.cols
    )
    aim = best_aim(
        loss,
        bearing,
        angle,
        cells.weight,
        params,
        pattern,
        sectors=radio.sectors,
        separation_deg=radio.sector_separation_deg,
        min_separation_deg=radio.min_sector_separation_deg,
        sigma_db=spread_db(radio.location_sigma_db, params.entry),
        distance_m=distance,
        max_radius_m=radio.max_radius_m,
    )
    chosen = lowest_good_stop(aim.shares, inputs.mast_stop_tolerance)
    if least_stop_m is not None:
        chosen = max(chosen, int(np.searchsorted(stops, least_stop_m)))
    bearings = aim.bearings_deg[chosen]
    probability, margin = served_probability(
        loss[chosen],
        bearing,
        angle[chosen],
        bearings,
        params,
        pattern,
        sigma_db=spread_db(radio.location_sigma_db, params.entry),
        distance_m=distance,
        max_radius_m=radio.max_radius_m,
    )
    probability = np.nan_to_num(probability)  # unknown path: no service is promised there
    convergence = grid.convergence_deg(spot.x, spot.y)
    return Coverage(
        share=float(aim.shares[chosen]),
        served_area_km2=float(probability.sum() * cells.cell_area_m2 / 1e6),
        mast_height_m=float(stops[chosen]),
        sector_bearings_deg=tuple(float((b + convergence) % 360) for b in bearings),
        must_serve=serve_points(inputs, spot, cell, float(stops[chosen]), bearings),
        share_by_stop=tuple((float(s), float(v)) for s, v in zip(stops, aim.shares, strict=True)),
        budget=_median_budget(params, loss[chosen], margin),
        probability=probability.astype(np.float32),
        service=service_of(radio, params, pattern, cells, probability, bearing, angle[chosen], bearings),
    )


def area_loss_db(inputs: CoverageInputs, cell: tuple[int, int], stops: np.ndarray) -> np.ndarray:
    """Loss from every mast stop to every cell of the area, clutter included, (stops, cells) in dB."""
    cells, grid = inputs.area_cells, inputs.relief.elevation

    def to_height(rx_height_m: float, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        return path_loss_stops_db(
            grid.values,
            grid.cell_size_m,
            *cell,
            stops,
            rx_height_m,
            inputs.radio.frequency_mhz,
            rows,
            cols,
            surface_m=inputs.relief.surface.values,
        )

    kinds = None if inputs.clutter is None else inputs.clutter.values[cells.rows, cells.cols]
    return with_clutter(inputs.radio, kinds, cells.rows, cells.cols, to_height)


def with_clutter(
    radio: Radio,
    kinds: np.ndarray | None,
    rows: np.ndarray,
    cols: np.ndarray,
    to_height: Callable[[float, np.ndarray, np.ndarray], np.ndarray],
) -> np.ndarray:
    """Path loss with the clutter around the handset.

    Where the clutter stands higher than the handset, the path is worked out to the top of the clutter and the
    height-gain loss from there down to the handset is added (ITU-R P.2108-1 section 3.1, the way of P.1812). Open
    ground and water, whose own height is 0 in P.1812 Table 2 (from memory), add nothing: the path already ends at
    the handset.
    """
    loss = to_height(radio.handset_height_m, rows, cols)
    if kinds is None:
        return loss
    for index, kind in enumerate(CLUTTER_KINDS):
        here = np.nonzero(kinds == index)[0]
        if kind in ("none", "open", "water") or not len(here):
            continue
        top = CLUTTER_HEIGHT_M[kind]
        if top <= radio.handset_height_m:
            continue
        down = float(height_gain_db(radio.frequency_mhz, radio.handset_height_m, cast(Clutter, kind)))
        loss[:, here] = to_height(top, rows[here], cols[here]) + down
    return loss


def _median_budget(params: LinkParameters, loss: np.ndarray, margin: np.ndarray) -> tuple[BudgetLine, ...]:
    """The link budget of the cell with the median margin: half the area does better, half worse."""
    known = np.nonzero(np.isfinite(margin))[0]
    if not len(known):
        return ()
    values = margin[known]
    middle = np.partition(values, len(values) // 2)[len(values) // 2]
    # of cells with the same margin, the one that a stable sort would put in the middle
    cell = known[values == middle][len(values) // 2 - np.count_nonzero(values < middle)]
    # the pattern gain follows from margin = margin without pattern + gain
    gain = float(margin[cell]) - float(margin_db(params, float(loss[cell]), 0.0))
    return tuple(budget(params, float(loss[cell]), gain))


def serve_points(
    inputs: CoverageInputs, spot: Spot, cell: tuple[int, int], mast_height_m: float, bearings_deg: np.ndarray
) -> tuple[PointService, ...]:
    """Each must-serve point by the exact path, not by the fast kernel."""
    frame = inputs.must_serve
    if frame is None:
        return ()
    grid, radio = inputs.relief.elevation, inputs.radio
    params, pattern = link_parameters(radio), sector_pattern(radio)
    names = frame["name"] if "name" in frame.columns else [None] * len(frame)
    convergence = grid.convergence_deg(spot.x, spot.y)
    masts = np.array([mast_height_m])

    def to_height(rx_height_m: float, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        return path_loss_exact_db(
            grid.values,
            grid.cell_size_m,
            *cell,
            masts,
            rx_height_m,
            radio.frequency_mhz,
            rows,
            cols,
            surface_m=inputs.relief.surface.values,
        )

    out = []
    for number, (name, shape) in enumerate(zip(names, frame.geometry, strict=True), 1):
        label = str(name) if isinstance(name, str) and name.strip() else f"Point {number}"
        lon, lat = (float(v) for v in grid.lonlat(shape.x, shape.y))
        row, col = (np.array([float(v)]) for v in grid.rowcol(shape.x, shape.y))
        here = grid.cell(shape.x, shape.y)
        if here is None:
            out.append(PointService(label, lat, lon, 0.0, float("nan"), float("nan"), float("nan")))
            continue
        row, col = np.clip(row, 0, grid.shape[0] - 1), np.clip(col, 0, grid.shape[1] - 1)
        kinds = None if inputs.clutter is None else np.array([inputs.clutter.values[here]])
        loss = with_clutter(radio, kinds, row, col, to_height)
        distance, bearing, angle = directions(
            grid.values, grid.cell_size_m, *cell, masts, radio.handset_height_m, row, col
        )
        probability, margin = served_probability(
            loss[0],
            bearing,
            angle[0],
            bearings_deg,
            params,
            pattern,
            sigma_db=spread_db(radio.location_sigma_db, params.entry),
            distance_m=distance,
            max_radius_m=radio.max_radius_m,
        )
        out.append(
            PointService(
                label,
                lat,
                lon,
                float(np.nan_to_num(probability)[0]),
                float(margin[0]),
                float(distance[0]),
                (float(bearing[0]) + convergence) % 360,
            )
        )
    return tuple(out)
