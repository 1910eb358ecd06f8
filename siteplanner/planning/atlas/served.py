"""Service of an area from what an atlas keeps: margins of each place read where the area is, sectors aimed at it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from siteplanner.core.aim import best_aim, served_probability
from siteplanner.core.coverage import directions_over
from siteplanner.core.handset_place import spread_db
from siteplanner.core.link import allowed_loss_db
from siteplanner.data.grid import Grid
from siteplanner.data.margins import read_margins
from siteplanner.mission import Mission, Radio
from siteplanner.mission.links import link_parameters, sector_pattern
from siteplanner.planning.atlas.lattice import Lattice
from siteplanner.planning.atlas.place import KnownPlace
from siteplanner.planning.atlas.points import PathGround, beyond_cell_db
from siteplanner.planning.spots.evaluation import Coverage, PointService
from siteplanner.planning.spots.served import service_of
from siteplanner.planning.spots.service import stop_where
from siteplanner.planning.study.area import AreaCells

MOST_CELLS = 6000  # of the lattice that stand for an area in the quick answer


@dataclass(frozen=True)
class NamedPoint:
    """A must-serve point, in metres of the atlas's CRS and in degrees."""

    name: str
    x: float
    y: float
    latitude: float
    longitude: float


@dataclass(frozen=True, eq=False)
class Asked:
    """What is to be served: cells of a window of the lattice, and named points. `kept`: the radio of the atlas."""

    mission: Mission
    kept: Radio
    lattice: Lattice
    rows: range
    cols: range
    heights: Grid  # of the window
    area: AreaCells
    points: tuple[NamedPoint, ...] = ()
    paths: PathGround | None = None  # between places and points


def window_of(lattice: Lattice, bounds: tuple[float, float, float, float]) -> tuple[range, range]:
    """Rows and columns of the lattice's cells that a box (west, south, east, north) touches."""
    west, south, east, north = bounds
    size = lattice.size_m
    rows = range(math.floor(-north / size), math.floor(-south / size) + 1)
    return rows, range(math.floor(west / size), math.floor(east / size) + 1)


def cut(heights: Grid, lattice: Lattice, rows: range, cols: range) -> Grid:
    """Heights of a window of the lattice, NaN where none are kept."""
    size = lattice.size_m
    top, left = round(-heights.transform.f / size), round(heights.transform.c / size)
    out = np.full((len(rows), len(cols)), np.nan, np.float32)
    r0, r1 = max(rows.start, top), min(rows.stop, top + heights.shape[0])
    c0, c1 = max(cols.start, left), min(cols.stop, left + heights.shape[1])
    if r0 < r1 and c0 < c1:
        held = heights.values[r0 - top : r1 - top, c0 - left : c1 - left]
        out[r0 - rows.start : r1 - rows.start, c0 - cols.start : c1 - cols.start] = held
    return lattice.grid(rows, cols, out)


def thinning(area_m2: float, lattice: Lattice) -> float | None:
    """Cells of an area in metres, so that no more than MOST_CELLS stand for it; None: every cell of the lattice."""
    times = math.ceil(math.sqrt(area_m2 / lattice.size_m**2 / MOST_CELLS))
    return None if times < 2 else times * lattice.size_m


def served_from(asked: Asked, place: KnownPlace, margins: Path) -> Coverage:
    """The service of an area from a place, as `predict_coverage` would tell it, but for what only the ground itself
    tells: the elevation's doubt, the named points' exact paths. Raises InputError for a raster that cannot be read."""
    radio, cells = asked.mission.radio, asked.area
    held = read_margins(margins, asked.rows, asked.cols, asked.lattice.size_m, asked.lattice.crs)
    # what was kept is the margin of the atlas's own radio without a pattern: the loss, and any radio's margin
    loss = min(allowed_loss_db(link_parameters(asked.kept))) - held[:, cells.rows, cells.cols]
    params, pattern = link_parameters(radio), sector_pattern(radio)
    stops = np.array(asked.mission.trailer.mast_stops_m)
    lattice, (row, col) = asked.lattice, place.cell
    half = lattice.step // 2
    at = _rowcol(asked)
    rows, cols = (np.append(own, more) for own, more in zip((cells.rows, cells.cols), at, strict=True))
    down = (rows + asked.rows.start) * lattice.step + half - row
    right = (cols + asked.cols.start) * lattice.step + half - col
    ground = np.append(asked.heights.values[cells.rows, cells.cols], _between(asked.heights.values, asked))
    here = place.evaluation.spot.elevation_m
    distance, bearing, angle = directions_over(down, right, ground, here, lattice.cell_m, stops, radio.handset_height_m)
    n, sigma = len(cells.rows), spread_db(radio.sigma_db, params.entry)
    aim = best_aim(
        loss, bearing[:n], angle[:, :n], cells.weight, params, pattern,
        sectors=radio.sectors, separation_deg=radio.sector_separation_deg,
        min_separation_deg=radio.min_sector_separation_deg, sigma_db=sigma, distance_m=distance[:n],
        max_radius_m=radio.max_radius_m,
    )  # fmt: skip
    chosen = stop_where(place.known_stand, aim.shares, asked.mission.trailer.mast_stop_tolerance)
    bearings = aim.bearings_deg[chosen]
    there = min(allowed_loss_db(link_parameters(asked.kept))) - _at_points(held[chosen], asked, place, stops[chosen])
    every, margin = served_probability(
        np.append(loss[chosen], there.astype(loss.dtype)), bearing, angle[chosen], bearings, params, pattern,
        sigma_db=sigma, distance_m=distance, max_radius_m=radio.max_radius_m,
    )  # fmt: skip
    every = np.nan_to_num(every)
    spot = place.evaluation.spot
    turn = asked.heights.convergence_deg(spot.x, spot.y)
    probability = every[:n]
    service = service_of(radio, params, pattern, cells, probability, bearing[:n], angle[chosen, :n], bearings)
    return Coverage(
        share=float(aim.shares[chosen]),
        served_area_km2=float(probability.sum() * cells.cell_area_m2 / 1e6),
        mast_height_m=float(stops[chosen]),
        sector_bearings_deg=tuple(float((b + turn) % 360) for b in bearings),
        must_serve=tuple(
            PointService(
                p.name, p.latitude, p.longitude, float(min(every[k], radio.most_certain_at_point)),
                float(margin[k]), float(distance[k]), float((bearing[k] + turn) % 360),
            )
            for k, p in enumerate(asked.points, n)
        ),
        share_by_stop=tuple((float(s), float(v)) for s, v in zip(stops, aim.shares, strict=True)),
        probability=probability.astype(np.float32),
        service=service,
    )  # fmt: skip


def _rowcol(asked: Asked) -> tuple[np.ndarray, np.ndarray]:
    """Rows and columns of the named points in the window, with their parts."""
    xy = np.array([(p.x, p.y) for p in asked.points]).reshape(-1, 2)
    row, col = asked.heights.rowcol(xy[:, 0], xy[:, 1])
    return np.clip(row, 0, asked.heights.shape[0] - 1), np.clip(col, 0, asked.heights.shape[1] - 1)


def _at_points(band: np.ndarray, asked: Asked, place: KnownPlace, mast_m: float) -> np.ndarray:
    """Margins at the named points: that of the cell around each, less what the ground between the two costs; without
    that ground, or beside cells that are not kept, what lies between the cells that are known."""
    between = _between(band, asked)
    if asked.paths is None or not asked.points:
        return between
    row, col = (np.floor(v + 0.5).astype(int) for v in _rowcol(asked))
    xy = np.array([(p.x, p.y) for p in asked.points])
    more = beyond_cell_db(
        asked.paths, asked.lattice, place.cell, place.evaluation.spot.elevation_m, mast_m, asked.mission.radio, xy
    )
    near = band[row, col] - more
    return np.where(np.isfinite(near), near, between)


def _between(values: np.ndarray, asked: Asked) -> np.ndarray:
    """Values of the window at the named points, from the cells around each that are known; NaN where none is."""
    row, col = _rowcol(asked)
    r0, c0 = np.floor(row).astype(int), np.floor(col).astype(int)
    total, weights = np.zeros(len(row)), np.zeros(len(row))
    for down in (0, 1):
        for right in (0, 1):
            r, c = np.minimum(r0 + down, values.shape[0] - 1), np.minimum(c0 + right, values.shape[1] - 1)
            weight = np.abs(1 - down - (row - r0)) * np.abs(1 - right - (col - c0))
            held = values[r, c].astype(float)
            known = np.isfinite(held)
            total += np.where(known, weight * held, 0.0)
            weights += np.where(known, weight, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weights > 0, total / weights, np.nan)
