"""Predicted service from one spot: every mast stop, best sector bearings, the share served, must-serve points."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from siteplanner.core.aim import best_aim, expected_weight, lowest_good_stop, served_probability
from siteplanner.core.coverage import directions
from siteplanner.core.coverage_exact import exact_losses
from siteplanner.core.ground_cover import covered_loss_db
from siteplanner.core.handset_place import spread_db
from siteplanner.core.link import BudgetLine, LinkParameters, budget, margin_db
from siteplanner.mission.links import link_parameters, sector_pattern
from siteplanner.planning.spots.elevation_doubt import ElevationDoubt
from siteplanner.planning.spots.evaluation import Coverage, PointService
from siteplanner.planning.spots.mounting_error import Toward, mounting_doubt
from siteplanner.planning.spots.served import service_of
from siteplanner.planning.spots.service_error import points_doubt, share_doubt
from siteplanner.planning.study.inputs import CoverageInputs
from siteplanner.planning.study.must_serve import point_names
from siteplanner.planning.study.spot import Spot


def predict_coverage(
    inputs: CoverageInputs,
    spot: Spot,
    cell: tuple[int, int],
    least_stop_m: float | None = None,
    most_stop_m: float | None = None,
    aimed_deg: tuple[float, ...] | None = None,
) -> Coverage:
    """Path loss to every cell of the area from every mast stop; best bearings; the stop of `choose_stop`.

    `least_stop_m`: a stop that something else needs (a donor link); the mast stands no lower. `most_stop_m`: the
    highest that the wind allows, where that is known. `aimed_deg`: true bearings of sectors that point somewhere
    already; the share by stop stays that of the best bearings.
    Bearings in the answer are true; the kernels work in grid bearings.
    """
    grid, radio, cells = inputs.elevation, inputs.radio, inputs.area_cells
    params, pattern = link_parameters(radio), sector_pattern(radio)
    stops = np.array(inputs.mast_stops_m)
    distance, bearing, angle = directions(
        grid.values, grid.cell_size_m, *cell, stops, radio.handset_height_m, cells.rows, cells.cols
    )
    loss = area_loss_db(inputs, cell, stops, distance <= radio.max_radius_m)
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
        sigma_db=spread_db(radio.sigma_db, params.entry),
        distance_m=distance,
        max_radius_m=radio.max_radius_m,
    )
    chosen = choose_stop(inputs, cell, aim.shares, most_stop_m)
    if least_stop_m is not None:
        chosen = max(chosen, int(np.searchsorted(stops, least_stop_m)))
    convergence = grid.convergence_deg(spot.x, spot.y)
    bearings = aim.bearings_deg[chosen] if aimed_deg is None else (np.array(aimed_deg) - convergence) % 360
    probability, margin = served_probability(
        loss[chosen],
        bearing,
        angle[chosen],
        bearings,
        params,
        pattern,
        sigma_db=spread_db(radio.sigma_db, params.entry),
        distance_m=distance,
        max_radius_m=radio.max_radius_m,
    )
    probability = np.nan_to_num(probability)  # unknown path: no service is promised there
    places_db = spread_db(radio.location_sigma_db, params.entry)
    counted = np.nonzero((cells.weight > 0) & (probability > 0))[0]  # known, and within the radius
    weight, middle = cells.weight[counted].astype(float), margin[counted].astype(float)
    share = float(aim.shares[chosen])
    if aimed_deg is not None:
        share = expected_weight(weight, middle, spread_db(radio.sigma_db, params.entry))
    # margins that hold an error of the model, the same everywhere, are spread by the place alone
    low, high = (expected_weight(weight, middle - e * radio.model_sigma_db, places_db) for e in (1.0, -1.0))
    seen = Toward(cells.weight * (distance <= radio.max_radius_m), loss[chosen], bearing, angle[chosen])
    sigma = spread_db(radio.sigma_db, params.entry)
    mounted = partial(mounting_doubt, bearings_deg=bearings, params=params, pattern=pattern, sigma_db=sigma)
    aimed = partial(mounted, aim_deg=inputs.mounting_deg[0], lean_deg=inputs.mounting_deg[1])
    mast_m, within = float(stops[chosen]), (cells.weight > 0) & ~(distance > radio.max_radius_m)
    points, points_elevation, seen_points = serve_points(inputs, spot, cell, mast_m, bearings)
    points_mounting = None if seen_points is None else aimed(seen_points, most=radio.most_certain_at_point)
    return Coverage(
        share=share,
        served_area_km2=float(probability.sum() * cells.cell_area_m2 / 1e6),
        mast_height_m=mast_m,
        sector_bearings_deg=tuple(float((b + convergence) % 360) for b in bearings),
        must_serve=points,
        share_by_stop=tuple((float(s), float(v)) for s, v in zip(stops, aim.shares, strict=True)),
        budget=_median_budget(params, loss[chosen], margin),
        probability=probability.astype(np.float32),
        service=service_of(radio, params, pattern, cells, probability, bearing, angle[chosen], bearings),
        # where nearly all or nearly nothing is served, the mean over all errors lies beyond one of the two
        share_low=min(low, share),
        share_high=max(high, share),
        elevation=share_doubt(inputs, cell, mast_m, share, loss[chosen], margin, within, sigma),
        points_elevation=points_elevation,
        mounting=aimed(seen),
        points_mounting=points_mounting,
    )


def area_loss_db(
    inputs: CoverageInputs, cell: tuple[int, int], stops: np.ndarray, within: np.ndarray | None = None
) -> np.ndarray:
    """Loss from every mast stop to every cell of the area, with what stands on the ground, (stops, cells) in dB.

    `within`: (cells,) bool, the cells that are worked out, all without it; NaN elsewhere. The rays are as long as the
    farthest of them, and a large area lies mostly beyond the reach of a cell.
    """
    cells, grid, radio = inputs.area_cells, inputs.elevation, inputs.radio
    picked = np.arange(len(cells.rows)) if within is None else np.flatnonzero(within)
    loss = np.full((len(stops), len(cells.rows)), np.nan, np.float32)
    loss[:, picked] = covered_loss_db(
        grid.values,
        grid.cell_size_m,
        *cell,
        stops,
        radio.handset_height_m,
        radio.frequency_mhz,
        cells.rows[picked],
        cells.cols[picked],
        inputs.cover.cover,
    )
    return loss


def choose_stop(
    inputs: CoverageInputs, cell: tuple[int, int], shares: np.ndarray, most_stop_m: float | None = None
) -> int:
    """Which mast stop: the lowest that gives up no more than the tolerance, where it is known what stands at the mast.

    Where it is not, the highest: what may stand there costs a low mast most, and the shares do not show it. Neither is
    above `most_stop_m`, the highest that the wind allows.
    """
    allowed = shares if most_stop_m is None else shares[: int(np.sum(np.array(inputs.mast_stops_m) <= most_stop_m))]
    known = inputs.cover.known
    return stop_where(known is not None and bool(known[cell]), allowed, inputs.mast_stop_tolerance)


def stop_where(known_stand: bool, shares: np.ndarray, tolerance: float) -> int:
    """`choose_stop` of the stops that are allowed, where it is known or not what stands at the mast."""
    return lowest_good_stop(shares, tolerance) if known_stand else len(shares) - 1


def _median_budget(params: LinkParameters, loss: np.ndarray, margin: np.ndarray) -> tuple[BudgetLine, ...]:
    """The link budget of the cell with the median margin: half the area within the radius does better, half worse."""
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
) -> tuple[tuple[PointService, ...], ElevationDoubt | None, Toward | None]:
    """Each must-serve point by the exact path, not by the fast kernel; what the elevation does to their mean chance;
    where they lie as the mast head sees them, each with its part of the mean."""
    frame = inputs.must_serve
    if frame is None:
        return (), None, None
    grid, radio = inputs.elevation, inputs.radio
    params, pattern = link_parameters(radio), sector_pattern(radio)
    convergence = grid.convergence_deg(spot.x, spot.y)
    masts = np.array([mast_height_m])
    sigma = spread_db(radio.sigma_db, params.entry)

    place = np.array([(shape.x, shape.y) for shape in frame.geometry], float).reshape(-1, 2)
    longitude, latitude = grid.lonlat(place[:, 0], place[:, 1])
    inside = np.flatnonzero([grid.cell(x, y) is not None for x, y in place])
    rows, cols = (np.asarray(v, float)[inside] for v in grid.rowcol(place[:, 0], place[:, 1]))
    rows, cols = np.clip(rows, 0, grid.shape[0] - 1), np.clip(cols, 0, grid.shape[1] - 1)
    loss = covered_loss_db(
        grid.values,
        grid.cell_size_m,
        *cell,
        masts,
        radio.handset_height_m,
        radio.frequency_mhz,
        rows,
        cols,
        inputs.cover.cover,
        exact_losses,
    )
    # where it stands in its cell counts, as it does for the path
    distance, bearing, angle = directions(
        grid.values, grid.cell_size_m, *cell, masts, radio.handset_height_m, rows, cols
    )
    probability, margin = served_probability(
        loss[0],
        bearing,
        angle[0],
        bearings_deg,
        params,
        pattern,
        sigma_db=sigma,
        distance_m=distance,
        max_radius_m=radio.max_radius_m,
    )
    chance = np.minimum(np.nan_to_num(probability), radio.most_certain_at_point)
    # beyond the elevation nothing is known of a point, and none is promised service
    told = np.full((4, len(place)), np.nan)
    told[0] = 0.0
    told[:, inside] = chance, margin, distance, (bearing.astype(float) + convergence) % 360
    paths = np.full((len(place), 4), np.nan)  # row and column, loss and margin of each
    paths[:, :2] = cell
    within = np.where(distance <= radio.max_radius_m, margin, np.nan)
    paths[inside] = np.column_stack([rows, cols, loss[0], within])
    out = [
        PointService(label, float(lat), float(lon), *figures)
        for label, lat, lon, figures in zip(point_names(frame), latitude, longitude, told.T.tolist(), strict=True)
    ]
    doubts, of_mean = points_doubt(inputs, cell, mast_height_m, paths, [p.probability for p in out], sigma)
    each = np.where(distance <= radio.max_radius_m, 1 / max(len(place), 1), 0.0)
    seen = Toward(each, loss[0], bearing, angle[0])
    return tuple(replace(p, elevation=d) for p, d in zip(out, doubts, strict=True)), of_mean, seen
