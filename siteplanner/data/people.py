"""People from a raster, counted onto the plan's cells: whatever the two grids, as many people leave as came in.

A cell of the raster is parted into pieces no larger than a cell of the plan, its people are spread evenly over them,
and each piece's go to the plan's cell that its middle lies in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from affine import Affine
from pyproj import CRS, Transformer

from siteplanner.data.border import border
from siteplanner.data.child import check_opens
from siteplanner.data.formats import local_file, raster_driver
from siteplanner.data.grid import Grid
from siteplanner.data.projections import horizontal
from siteplanner.data.raster_source import check_block, unreadable
from siteplanner.data.records import Held, InputRecord, crs_name, sha256_of
from siteplanner.data.side_files import check_companions
from siteplanner.errors import Finding, InputError

PeopleUnit = Literal["per_cell", "per_km2"]
FIELD = "layers.people"
_MOST_PIECES = 4_000_000  # at a time


@dataclass(frozen=True, eq=False)
class People:
    """`grid`: people in each cell of the plan, float64; `known`: bool, cells of which the raster tells."""

    grid: Grid
    known: np.ndarray
    record: InputRecord
    findings: tuple[Finding, ...] = ()


def read_people(path: str | Path, unit: PeopleUnit | None, *, like: Grid) -> People:
    """The people of a one-band raster on the cells of `like`, those outside it left out.

    `unit`: people in each cell of the raster, or people to a square kilometre. Nodata counts as nobody known; negative
    numbers too, with a finding. Raises InputError without a unit, for a file off the allow-list or damaged, a missing
    CRS, several bands, a picture or complex numbers, and for a raster that does not reach the plan's ground.
    """
    try:
        with border(path, "raster"):
            return _read(local_file(path), unit, like)
    except InputError as error:
        raise error if error.field is not None else error.placed(field=FIELD) from error


def _read(full: Path, unit: PeopleUnit | None, like: Grid) -> People:
    import rasterio
    from rasterio.errors import RasterioError
    from rasterio.warp import transform_bounds

    driver = raster_driver(full)
    check_companions(full)
    if driver == "netCDF":
        check_opens(full, driver)
    if unit is None:
        raise InputError(
            "It is not said what the numbers of the people raster count.",
            remedy="Say layers.people_unit = 'per_cell' (people in each of its cells) or 'per_km2'.",
            file=full,
            field="layers.people_unit",
        )
    try:
        with rasterio.open(full, driver=driver) as dataset:
            crs = _vetted(dataset, full)
            check_block(dataset, 1, full)
            window = _window(dataset, crs, like)
            if window is None:
                raise InputError(
                    "The people raster does not reach the plan's ground at all.",
                    remedy="Check its CRS and that it is the right file.",
                    file=full,
                )
            raw = dataset.read(1, window=window, masked=True)
            place = dataset.window_transform(window)
            scale, offset = dataset.scales[0], dataset.offsets[0]
            extent = transform_bounds(dataset.crs, "EPSG:4326", *dataset.bounds)
            held = Held("cells", columns=dataset.width, rows=dataset.height, number=dataset.dtypes[0], driver=driver)
    except (RasterioError, ValueError, UnicodeDecodeError) as error:
        raise unreadable(error, full) from None
    given = raw.data.astype(np.float64) * scale + offset
    told = ~np.ma.getmaskarray(raw) & np.isfinite(given)
    negative = told & (given < 0)
    findings = []
    if negative.any():
        facts = {"count": int(negative.sum()), "value": float(given[negative][0])}
        findings.append(Finding("people_negative", "check", file=full.name, facts=facts))
        told &= ~negative
    move = None if crs.equals(like.crs, ignore_axis_order=True) else Transformer.from_crs(crs, like.crs, always_xy=True)
    counts = np.where(told, given, 0.0)
    if unit == "per_km2":
        counts *= _areas_km2(place, given.shape, move)
    people, known = _spread(counts, told, place, move, like)
    record = InputRecord("people", full.name, sha256_of(full), crs_name(crs), unit, extent, int(told.sum()), held)
    return People(like.with_values(people), known, record, tuple(findings))


def _vetted(dataset: Any, full: Path) -> CRS:
    from rasterio.enums import ColorInterp

    if dataset.crs is None or dataset.transform.is_identity:
        raise InputError(
            "The raster does not say where it lies (no CRS or no transform).",
            remedy="Assign its CRS in a GIS and save it as GeoTIFF.",
            file=full,
        )
    numbers = dataset.dtypes[0] if dataset.count else "nothing"
    coloured = {ColorInterp.palette, ColorInterp.red}
    if dataset.count != 1 or "complex" in numbers or dataset.colorinterp[0] in coloured:
        raise InputError(
            f"People are one band of numbers; this has {dataset.count} of {numbers}, or is a picture.",
            remedy="Export the band of people alone.",
            file=full,
        )
    return horizontal(CRS.from_wkt(dataset.crs.to_wkt()))


def _window(dataset: Any, crs: CRS, like: Grid) -> Any:
    """The part of the raster that meets the plan's grid, a cell wider on every side; None where there is none."""
    from rasterio.windows import Window

    along = np.linspace(0, 1, 21)
    west, south, east, north = like.bounds
    x = np.concatenate([west + (east - west) * along] * 2 + [np.full(21, west), np.full(21, east)])
    y = np.concatenate([np.full(21, south), np.full(21, north)] + [south + (north - south) * along] * 2)
    x, y = Transformer.from_crs(like.crs, crs, always_xy=True).transform(x, y)
    cols, rows = _at(~dataset.transform, np.asarray(x), np.asarray(y))
    first_row, first_col = max(math.floor(rows.min()) - 1, 0), max(math.floor(cols.min()) - 1, 0)
    last_row = min(math.ceil(rows.max()) + 1, dataset.height)
    last_col = min(math.ceil(cols.max()) + 1, dataset.width)
    if last_row <= first_row or last_col <= first_col:
        return None
    return Window(first_col, first_row, last_col - first_col, last_row - first_row)


def _at(t: Affine, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return t.a * x + t.b * y + t.c, t.d * x + t.e * y + t.f


def _areas_km2(place: Affine, shape: tuple[int, int], move: Transformer | None) -> np.ndarray:
    """Area of each cell in the plan's CRS, (rows, cols): the cross product of its sides, both through its middle."""
    cols, rows = np.meshgrid(np.arange(shape[1]) + 0.5, np.arange(shape[0]) + 0.5)

    def edge(right: float, down: float) -> tuple[np.ndarray, np.ndarray]:
        x, y = _at(place, cols + right, rows + down)
        return (x, y) if move is None else move.transform(x, y)

    (xe, ye), (xw, yw), (xs, ys), (xn, yn) = edge(0.5, 0), edge(-0.5, 0), edge(0, 0.5), edge(0, -0.5)
    return np.abs((xe - xw) * (ys - yn) - (ye - yw) * (xs - xn)) / 1e6


def _spread(
    counts: np.ndarray, told: np.ndarray, place: Affine, move: Transformer | None, like: Grid
) -> tuple[np.ndarray, np.ndarray]:
    """(people, whether anything is told) of each cell of the plan."""
    side_m = math.sqrt(float(np.median(_areas_km2(place, counts.shape, move))) * 1e6)
    parts = max(1, math.ceil(1.5 * side_m / like.cell_size_m))
    share = (np.arange(parts) + 0.5) / parts
    people, pieces = np.zeros(like.values.size), np.zeros(like.values.size, bool)
    high, wide = like.shape
    step = max(1, _MOST_PIECES // (counts.shape[1] * parts * parts))
    for first in range(0, counts.shape[0], step):
        own, known = counts[first : first + step], told[first : first + step]
        rows = (np.arange(first, first + len(own))[:, None] + share).ravel()
        cols = (np.arange(counts.shape[1])[:, None] + share).ravel()
        c, r = np.meshgrid(cols, rows)
        x, y = _at(place, c, r)
        if move is not None:
            x, y = move.transform(x, y)
        row, col = like.rowcol(x, y)
        row, col = np.floor(row + 0.5), np.floor(col + 0.5)
        here = (row >= 0) & (row < high) & (col >= 0) & (col < wide)
        here &= np.repeat(np.repeat(known, parts, 0), parts, 1)
        at = (row[here] * wide + col[here]).astype(np.int64)
        each = np.repeat(np.repeat(own / parts**2, parts, 0), parts, 1)[here]
        people += np.bincount(at, each, minlength=people.size)
        pieces[at] = True
    return people.reshape(like.shape), pieces.reshape(like.shape)
