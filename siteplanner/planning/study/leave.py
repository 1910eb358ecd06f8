"""Who is asked before the trailer stands and sends, as the mission's layers tell: parcels, landing zones, known cells,
the license area.

Owners and phones are personal: they are taken off the parcels' table as it is read, so that what is drawn, written
and recorded from tables cannot hold them. They travel in `Parcel` alone, which only the printed sheets tell of.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from siteplanner.core.air_notice import LONG, LONGEST_RUNWAY_M
from siteplanner.core.constants import FOOT_M
from siteplanner.data.grid import Grid
from siteplanner.data.vetting import usable_numbers
from siteplanner.errors import Finding
from siteplanner.mission import Mission
from siteplanner.planning.study.layers import Loaded, paths_of, read_tables

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

LANDING_WITHIN_M = LONG.reach_m + LONGEST_RUNWAY_M  # beyond it no surface of 14 CFR 77.9 reaches
LICENSE_WITHIN_M = 200_000.0  # a border farther away is not looked at
HIGHEST_CELL_M = 1000.0  # no mast stands higher
Kind = Literal["airport", "heliport", "helispot", ""]
_KINDS: tuple[tuple[Kind, tuple[str, ...]], ...] = (
    ("helispot", ("helispot", "helibase", "dip site", "landing zone")),
    ("heliport", ("heli", "hospital")),
    ("airport", ("air", "aero", "runway", "strip")),
)
ROLES = ("parcels", "landing_zones", "known_cells", "license_area")


@dataclass(frozen=True, eq=False)
class Parcel:
    """A piece of land; '' where the layer does not say. `owner` and `phone` are for printed sheets alone."""

    number: str
    owner: str = field(repr=False)
    phone: str = field(repr=False)
    shape: BaseGeometry = field(repr=False)


@dataclass(frozen=True, eq=False)
class LandingZone:
    """A place where aircraft land, in the plan's CRS. NaN and '': the layer does not say."""

    name: str
    kind: Kind
    runway_m: float
    elevation_m: float
    shape: BaseGeometry


@dataclass(frozen=True)
class KnownCell:
    """A cell that somebody else has on the air, in the plan's CRS. NaN: the layer does not say."""

    name: str
    x: float
    y: float
    latitude: float
    longitude: float
    frequency_mhz: float
    bandwidth_mhz: float
    eirp_dbm: float
    height_m: float


@dataclass(frozen=True, eq=False)
class LeaveLayers:
    """The four layers as they are judged. None: the layer was not given, which is not the same as empty."""

    parcels: tuple[Parcel, ...] | None = None
    landing_zones: tuple[LandingZone, ...] | None = None
    known_cells: tuple[KnownCell, ...] | None = None
    license_area: BaseGeometry | None = None  # empty: none of it lies near

    @property
    def given(self) -> bool:
        """Whether the mission brings any of them."""
        return any(v is not None for v in (self.parcels, self.landing_zones, self.known_cells, self.license_area))


@dataclass(frozen=True, eq=False)
class LeaveRead:
    """What is judged, and what is drawn and written of it."""

    judged: LeaveLayers = LeaveLayers()
    tables: dict[str, GeoDataFrame] = field(default_factory=dict)


def read_leave(mission: Mission, grid: Grid, search: BaseGeometry, area: BaseGeometry) -> Loaded[LeaveRead]:
    """The layers near the ground to search (`search` and the incident area in the plan's CRS).

    Raises InputError for a layer that cannot be read.
    """
    margin_m = {
        "parcels": 500.0,
        "landing_zones": LANDING_WITHIN_M,
        "known_cells": mission.leave.known_cells_within_m,
        "license_area": LICENSE_WITHIN_M,
    }
    tables: dict[str, GeoDataFrame] = {}
    stages: list[Loaded[Any]] = []
    for role in ROLES:
        if not paths_of(mission, role):
            continue
        near = _in_degrees(grid, box(*search.buffer(margin_m[role]).bounds))
        held = read_tables(mission, (role,), grid.crs, near)
        stages.append(held)
        tables[role] = held.value[role]
    findings: list[Finding] = []
    judged = LeaveLayers(
        parcels=_parcels(tables.get("parcels"), mission.leave.owners_on_sheets),
        landing_zones=_landing_zones(tables.get("landing_zones"), _files(mission, "landing_zones"), findings),
        known_cells=_known_cells(tables.get("known_cells"), grid, _files(mission, "known_cells"), findings),
        license_area=_license_area(tables.get("license_area"), area, _files(mission, "license_area"), findings),
    )
    if "parcels" in tables:
        tables["parcels"] = without_owners(tables["parcels"])
    made = LeaveRead(judged, tables)
    records = tuple(record for stage in stages for record in stage.records)
    return Loaded(made, records, (*(f for stage in stages for f in stage.findings), *findings))


def without_owners(frame: GeoDataFrame) -> GeoDataFrame:
    """Parcels with their numbers alone: any other column of such a layer may name or tell of a person."""
    return frame[[c for c in ("parcel", frame.geometry.name) if c in frame.columns]]


def _files(mission: Mission, role: str) -> str:
    return ", ".join(paths_of(mission, role))


def _in_degrees(grid: Grid, shape: BaseGeometry) -> BaseGeometry:
    import shapely

    return shapely.transform(shape, lambda xy: np.column_stack(grid.lonlat(xy[:, 0], xy[:, 1])))


def _texts(frame: GeoDataFrame, column: str) -> list[str]:
    """A column's texts, '' for what is empty; whole numbers without a point."""
    if column not in frame.columns:
        return [""] * len(frame)
    out = []
    for value in frame[column].tolist():
        if value is None or value != value:
            out.append("")
        elif isinstance(value, float) and value.is_integer():
            out.append(str(int(value)))
        else:
            out.append(str(value).strip())
    return out


def _figures(
    frame: GeoDataFrame, columns: dict[str, float], low: float, high: float, file: str, hint: str, out: list[Finding]
) -> np.ndarray:
    """Metres (or what the one column holds) from the first of some columns that says so; NaN: not said, or doubtful.

    `columns`: name -> what one of its unit is.
    """
    import pandas as pd

    found = np.full(len(frame), np.nan)
    for column, one in columns.items():
        if column not in frame.columns:
            continue
        out += usable_numbers(frame, column, low / one, high / one, file, hint)
        values = pd.to_numeric(frame[column], errors="coerce").to_numpy(float) * one
        found = np.where(np.isnan(found) & (values >= low) & (values <= high), values, found)
    return found


def _parcels(frame: GeoDataFrame | None, with_owners: bool) -> tuple[Parcel, ...] | None:
    if frame is None:
        return None
    nobody = [""] * len(frame)
    owners, phones = (_texts(frame, c) if with_owners else nobody for c in ("owner", "phone"))
    rows = zip(_texts(frame, "parcel"), owners, phones, frame.geometry, strict=True)
    return tuple(Parcel(*row) for row in rows)


def _landing_zones(frame: GeoDataFrame | None, file: str, out: list[Finding]) -> tuple[LandingZone, ...] | None:
    if frame is None:
        return None
    runway = _figures(
        frame, {"runway_m": 1.0, "runway_ft": FOOT_M}, 30.0, 10_000.0, file, "Length of the longest runway.", out
    )
    heights = _figures(
        frame, {"elevation_m": 1.0, "elevation_ft": FOOT_M}, -500.0, 9000.0, file, "Height above sea level.", out
    )
    made = []
    for n, (name, kind, shape) in enumerate(
        zip(_texts(frame, "name"), _texts(frame, "kind"), frame.geometry, strict=True)
    ):
        made.append(LandingZone(name, kind_of(kind), float(runway[n]), float(heights[n]), shape))
    without = [zone.name or f"no. {n}" for n, zone in enumerate(made, 1) if not zone.kind]
    if without:
        facts = {"count": len(without), "of": len(made), "names": tuple(without[:6])}
        out.append(Finding("landing_kind_unknown", "check", file=file, facts=facts))
    return tuple(made)


def kind_of(text: str) -> Kind:
    """What kind of landing place a layer's own word means; '' for a word that means none of them."""
    plain = text.lower()
    return next((kind for kind, words in _KINDS if any(word in plain for word in words)), "")


def _known_cells(frame: GeoDataFrame | None, grid: Grid, file: str, out: list[Finding]) -> tuple[KnownCell, ...] | None:
    if frame is None:
        return None
    frame = frame.explode(index_parts=False, ignore_index=True)

    def read(column: str, low: float, high: float, hint: str) -> np.ndarray:
        return _figures(frame, {column: 1.0}, low, high, file, hint, out)

    frequency = read("frequency_mhz", 30, 100_000, "Megahertz, not gigahertz or hertz.")
    width = read("bandwidth_mhz", 0.01, 1000, "Megahertz, not kilohertz.")
    eirp = read("eirp_dbm", -30, 100, "Power radiated toward the strongest side, in dBm.")
    height = read("height_m", 0.5, HIGHEST_CELL_M, "Antenna above ground, in meters.")
    made = []
    for n, (name, place) in enumerate(zip(_texts(frame, "name"), frame.geometry, strict=True)):
        longitude, latitude = grid.lonlat(place.x, place.y)
        made.append(
            KnownCell(
                name or f"Known cell {n + 1}", place.x, place.y, float(latitude), float(longitude),
                float(frequency[n]), float(width[n]), float(eirp[n]), float(height[n]),
            )
        )  # fmt: skip
    without = [cell.name for cell in made if math.isnan(cell.frequency_mhz)]
    if without:
        facts = {"count": len(without), "of": len(made), "names": tuple(without[:6])}
        out.append(Finding("known_cell_no_channel", "check", file=file, facts=facts))
    return tuple(made)


def _license_area(frame: GeoDataFrame | None, area: BaseGeometry, file: str, out: list[Finding]) -> BaseGeometry | None:
    if frame is None:
        return None
    whole = unary_union(list(frame.geometry))
    outside = float(area.difference(whole).area / area.area) if area.area > 0 else 0.0
    if outside > 0.0005:
        out.append(Finding("license_area_short", "check", file=file, facts={"share": outside}))
    return whole
