"""Elevation in: many rasters become one grid of metres in the working CRS, read by windows only."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from pyproj import CRS

from siteplanner.core.constants import FOOT_M
from siteplanner.data.border import border
from siteplanner.data.framing import frame_of, mean_size_m, rounded_cell_m
from siteplanner.data.geometry import Box, boxes_meet, transformed, unwrapped
from siteplanner.data.grid import WGS84, Grid
from siteplanner.data.height_units import check_heights, unit_read
from siteplanner.data.memory import check_room
from siteplanner.data.projections import check_target_crs, metric_crs
from siteplanner.data.raster_read import Reading, read_onto
from siteplanner.data.raster_source import METRES_PER, RasterSource, open_raster
from siteplanner.data.records import Held, InputRecord, crs_name, extent_words, sha256_of
from siteplanner.errors import Finding, InputError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["Elevation", "metric_crs", "read_elevation", "sha256_of"]

SMALLEST_CELL_M = 5.0
LEAST_PIXEL_M = 0.01  # of a source: smaller ones are a slip of units or CRS
LOWEST_M = -500.0  # the lowest dry ground lies at about -430 m
MOST_CELLS = 160_000_000  # 126 km across in cells of 10 m; a plan holds some 35 bytes for each
_FEET_RATIO = 1 / FOOT_M


@dataclass(frozen=True, eq=False)
class Elevation:
    """Ground (or surface) heights in metres on one grid, float32, NaN where unknown.

    `source_cell_m` is the cell size of the finest raster used: the ground is known no better than this.
    """

    grid: Grid
    records: tuple[InputRecord, ...]
    findings: tuple[Finding, ...]
    source_cell_m: float


def read_elevation(
    paths: Sequence[str | Path],
    *,
    near: BaseGeometry,
    target_crs: CRS,
    cell_size_m: float | None = None,
    unit: Literal["auto", "m", "ft", "us-ft"] = "auto",
    role: str = "elevation",
    fill_gap_cells: int = 3,
    max_cells: int = MOST_CELLS,
    progress: Callable[[str, float], None] | None = None,
    aside: Sequence[tuple[str, Box]] = (),
) -> Elevation:
    """Mosaic, crop and warp elevation rasters onto one grid that covers the bounds of `near`.

    `near`: WGS 84 shape of the ground needed, margin included. `cell_size_m`: None takes the finest raster's cells,
    at least 5 m. Cells lie at whole multiples of their size. The finest raster is on top; among equals the first.
    Finer sources are averaged over whole pixels first, then cubic convolution (`warping.resample`); of a surface no
    coarser than the cells each cell takes the highest pixel that it touches. Holes up to `fill_gap_cells` wide are
    bridged. `unit`: "auto" takes the unit the file states, and without one reads metres
    with a finding that shows both readings. `progress` is called with a text and the share done. `aside`: name and
    extent of further files that are known to lie elsewhere (`raster_source.parted`).

    Raises InputError (file, field, remedy) for a file that cannot be used (see `raster_source.open_raster`), no
    overlap, nothing but unknown cells, heights impossible as metres, ground in feet without a stated unit, one
    raster of a mosaic in feet against another in metres, a working CRS that is not in metres, and a grid of more
    than `max_cells` or than memory holds.
    """
    field = f"layers.{role.replace(' ', '_')}"
    try:
        return _read(paths, near, target_crs, cell_size_m, unit, role, fill_gap_cells, max_cells, progress, aside)
    except InputError as error:
        if error.field is not None:
            raise
        raise error.placed(field=field) from error


def _read(
    paths: Sequence[str | Path],
    near: BaseGeometry,
    target_crs: CRS,
    cell_size_m: float | None,
    unit: str,
    role: str,
    fill_gap_cells: int,
    max_cells: int,
    progress: Callable[[str, float], None] | None,
    aside: Sequence[tuple[str, Box]],
) -> Elevation:
    from siteplanner.data.gaps import fill_small_gaps

    if not paths:
        raise InputError("No raster given.", remedy="Name at least one elevation raster.")
    crs = check_target_crs(target_crs)
    if near.is_empty or near.area == 0:
        raise InputError(
            "The ground needed has no extent.", remedy="Check the incident area.", field="layers.incident_area"
        )
    near = unwrapped(near)
    tell = progress or (lambda text, share: None)
    findings: list[Finding] = []
    records: list[InputRecord] = []
    with ExitStack() as stack:
        sources = []
        for path in paths:
            with border(path, "raster"):
                sources.append(stack.enter_context(open_raster(path)))
        used = _overlapping(sources, near, findings, aside)
        sizes = {id(s): s.pixel_size_m(*_centre(s, near), crs) for s in used}
        for s in used:
            if not min(sizes[id(s)]) >= LEAST_PIXEL_M:
                raise InputError(
                    "The raster's cells are smaller than a centimeter.", remedy="Check its CRS and its cell size.",
                    file=s.path,
                )  # fmt: skip
        # coarsest first, so that finer ones are written over it; the first named last among equals
        order = sorted(used, key=lambda s: (-mean_size_m(sizes[id(s)]), -used.index(s)))
        finest = min(mean_size_m(size) for size in sizes.values())
        cell = cell_size_m or max(SMALLEST_CELL_M, rounded_cell_m(finest))
        transform, shape = frame_of(near, crs, cell, max_cells)
        check_room(shape[0] * shape[1], cell)
        values = np.full(shape, np.nan, dtype=np.float32)
        grid = Grid(values, transform, crs)
        for number, source in enumerate(order):
            share, name = number / len(order), source.path.name
            tell(f"Reading {name}", share)
            findings += source.findings
            tick = _tick(tell, name, share, 1 / len(order))
            with border(source.path, "raster"):
                reading = read_onto(source, grid, sizes[id(source)], tick, highest=role == "surface")
            findings += reading.findings
            unit_used = unit_read(source, reading, unit, findings)
            reading.values *= np.float32(1) if unit_used == "m" else METRES_PER[unit_used]
            check_heights(source, reading, unit_used, unit)
            _lay(reading, values, name, unit, findings)
            assumed = unit == "auto" and source.unit is None
            said = unit_used + (" (assumed)" if assumed else "")
            records.append(record_of(source, role, said, reading.count, sizes[id(source)]))
    if np.isnan(values).all():
        raise InputError(
            "The rasters have no known height in the mission's ground.",
            remedy=f"Give elevation that covers {extent_words(near.bounds)}.",
            file=used[0].path,
        )
    _vertical_mix(order, findings)
    tell("Filling small gaps", 1.0)
    values, filled = fill_small_gaps(values, fill_gap_cells)
    findings += _unknown(values, filled, grid, near, fill_gap_cells, role)
    if finest > 1.5 * cell:
        findings.append(
            Finding(
                "elevation_coarser_than_cells",
                "check",
                facts={"cell_size_m": cell, "source_cell_m": finest},
            )
        )
    names = [str(Path(p).name) for p in paths]
    records.sort(key=lambda r: names.index(r.file))
    return Elevation(Grid(values, transform, crs), tuple(records), tuple(findings), finest)


def _tick(tell: Callable[[str, float], None], name: str, done: float, share: float) -> Callable[[float], None]:
    return lambda part: tell(f"Reading {name}", done + share * part)


def _centre(source: RasterSource, near: BaseGeometry) -> tuple[float, float]:
    """A place of the needed ground that the raster may cover, for measuring its pixels."""
    west, south, east, north = near.bounds
    lon, lat = (west + east) / 2, (south + north) / 2
    s = source.extent_lonlat
    return lon, min(max(lat, s[1]), s[3])


def _overlapping(
    sources: list[RasterSource], near: BaseGeometry, findings: list[Finding], aside: Sequence[tuple[str, Box]]
) -> list[RasterSource]:
    used = [s for s in sources if boxes_meet(s.extent_lonlat, near.bounds)]
    if not used:
        held = "; ".join(f"{s.path.name} covers {extent_words(s.extent_lonlat)}" for s in sources[:4])
        raise InputError(
            f"The elevation does not meet the mission's ground: {held}; the mission needs {extent_words(near.bounds)}.",
            remedy="Give the raster of this place, or correct the coordinates of the incident area or staging.",
            file=sources[0].path,
        )
    unused = [(s.path.name, s.extent_lonlat) for s in sources if s not in used]
    for name, extent in (*unused, *aside):
        findings.append(Finding("elevation_unused", "note", file=name, facts={"extent_lonlat": extent}))
    return used


def _lay(reading: Reading, values: np.ndarray, name: str, unit: str, findings: list[Finding]) -> None:
    """Write a finer raster over what is there, and compare where both know the ground."""
    if not reading.count:
        findings.append(
            Finding(
                "elevation_unknown_here",
                "check",
                file=name,
            )
        )
        return
    view = values[reading.rows, reading.cols]
    new = reading.values
    both = np.isfinite(view) & np.isfinite(new)
    if both.sum() >= 20:
        step = max(1, int(both.sum()) // 200_000)
        old_v, new_v = view[both][::step].astype(float), new[both][::step].astype(float)
        gap = new_v - old_v
        middle, spread = float(np.median(gap)), float(np.percentile(np.abs(gap), 95))
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = float(np.nanmedian(np.where(np.abs(old_v) > 30, new_v / old_v, np.nan)))
        for r in (ratio, 1 / ratio if ratio else math.nan):
            if abs(r - _FEET_RATIO) < 0.1:
                raise InputError(
                    f"Where it overlaps another raster its heights are {ratio:.2f} times the other's: one of the "
                    "two is in feet and read as meters.",
                    remedy="Convert one of them to meters; layers.elevation_unit applies to all rasters.",
                    file=name,
                    field="layers.elevation_unit",
                )
        if abs(middle) > 2.0:
            findings.append(
                Finding(
                    "elevation_seam",
                    "check",
                    file=name,
                    facts={"middle_m": middle, "spread_m": spread},
                )
            )
    np.copyto(view, new, where=np.isfinite(new))


def record_of(
    source: RasterSource, role: str, unit: str, count: int, size: tuple[float, float] | None = None
) -> InputRecord:
    """What is remembered of a raster. `count`: cells kept; `size`: height and width of a pixel in metres."""
    d = source.dataset
    return InputRecord(
        role,
        source.path.name,
        sha256_of(source.path),
        crs_name(source.crs),
        unit,
        source.extent_lonlat,
        count,
        Held(
            "cells",
            columns=d.width,
            rows=d.height,
            number=d.dtypes[source.band - 1],
            cell_m=() if size is None else (size[1], size[0]),
            driver=d.driver,
            datum=source.vertical or "",
        ),
    )


def _vertical_mix(order: list[RasterSource], findings: list[Finding]) -> None:
    kinds = sorted({s.vertical for s in order if s.vertical})
    if len(kinds) > 1:
        findings.append(
            Finding(
                "elevation_datums_differ",
                "check",
                facts={"datums": tuple(kinds)},
            )
        )


def _unknown(values: np.ndarray, filled: int, grid: Grid, near: BaseGeometry, widest: int, role: str) -> list[Finding]:
    from rasterio.features import geometry_mask

    findings = []
    if filled:
        findings.append(
            Finding(
                "elevation_filled",
                "note",
                file=role,
                facts={"cells": int(filled), "widest_cells": widest},
            )
        )
    unknown = np.isnan(values)
    if unknown.any():
        shape = transformed(near, WGS84, grid.crs)
        needed = geometry_mask([shape], out_shape=values.shape, transform=grid.transform, invert=True)
        share = float((unknown & needed).sum() / max(needed.sum(), 1))
        if share > 0:
            findings.append(
                Finding(
                    "elevation_gaps",
                    "check",
                    file=role,
                    facts={"share": share, "cells": int((unknown & needed).sum())},
                )
            )
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if high < -1 and role == "elevation":
        findings.append(
            Finding(
                "elevation_all_below_sea",
                "check",
                file=role,
                facts={"low_m": low, "high_m": high},
            )
        )
    elif low < LOWEST_M:
        findings.append(
            Finding(
                "elevation_below_sea",
                "check",
                file=role,
                facts={"low_m": low},
            )
        )
    return findings
