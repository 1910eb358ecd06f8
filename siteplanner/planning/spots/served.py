"""Who is served from a spot: by polygon, by people, of a stated kind of service and place; values only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from siteplanner.core.antenna import SectorPattern
from siteplanner.core.handset_place import HandsetPlace
from siteplanner.core.link import LinkParameters, deciding_direction
from siteplanner.core.service_level import SERVICES, ServiceKind
from siteplanner.core.traffic import offered_erlangs
from siteplanner.mission import Radio
from siteplanner.planning.study.area import AreaCells, WeightedBy

SERVED = 0.5  # a named point counts as served where service is as likely as not. Common practice, no source
SEAM_DB = 10.0  # own sectors less than this far apart in level disturb each other noticeably; common practice
BLOCKING = 0.01  # of calls in the busy hour; common practice


@dataclass(frozen=True)
class PolygonService:
    """One polygon of the incident area."""

    name: str  # '': not named
    share: float  # expected share of its own area, 0..1
    area_km2: float
    people: float | None  # None: not stated
    people_served: float | None  # expected


@dataclass(frozen=True)
class Service:
    """Expected service of the incident area from one spot; every share 0..1 is an expectation over places."""

    kind: ServiceKind
    place: HandsetPlace
    downlink_kbit_s: float
    uplink_kbit_s: float
    stated_threshold: bool  # the mission states a threshold of its own, so `kind` only names it
    decides: Literal["downlink", "uplink"]  # the weaker direction, the same on every path
    decides_by_db: float
    weighted_by: WeightedBy
    weighted_share: float  # what ranks: of the weights, whatever they count
    area_share: float
    people: float | None  # of all polygons; None: not stated for each
    people_served: float | None
    polygons: tuple[PolygonService, ...]
    seam_share: float | None  # of the served weight, where own sectors disturb each other; None: one sector, or apart
    handsets: int  # that the cell carries at once
    talk_erlangs: float  # talks at once that so many lines carry at `BLOCKING`
    people_from: Literal["raster", "polygons"] | None = None  # what counts the people; None: nobody does


def service_of(
    radio: Radio,
    params: LinkParameters,
    pattern: SectorPattern,
    cells: AreaCells,
    probability: np.ndarray,
    bearing_deg: np.ndarray,
    elevation_deg: np.ndarray,
    sector_bearings_deg: np.ndarray,
) -> Service:
    """Sums over the cells of the area; arrays one value a cell, bearings all of one kind (grid or true)."""
    polygons = []
    for own in cells.polygons:
        share = float(probability[own.cells].mean()) if len(own.cells) else 0.0
        served = None if own.people is None else own.people * share
        if own.people_of is not None:
            served = float((probability[own.cells] * own.people_of).sum())
        polygons.append(PolygonService(own.name, share, own.area_km2, own.people, served))
    known = [p for p in polygons if p.people is not None and p.people_served is not None]
    complete = bool(polygons) and len(known) == len(polygons)
    people = sum(p.people or 0.0 for p in known) if complete else None
    people_served = sum(p.people_served or 0.0 for p in known) if complete else None
    if cells.people is not None:
        people, people_served = float(cells.people.sum()), float((probability * cells.people).sum())
    level, way = SERVICES[params.service], deciding_direction(params)
    return Service(
        kind=params.service,
        place=params.handset_place,
        downlink_kbit_s=level.downlink.kbit_s,
        uplink_kbit_s=level.uplink.kbit_s,
        stated_threshold=params.min_rsrp_dbm is not None or params.uplink_min_snr_db is not None,
        decides=way[0],
        decides_by_db=way[1],
        weighted_by=cells.weighted_by,
        weighted_share=float((probability * cells.weight).sum()),
        area_share=float(probability.mean()),
        people=people,
        people_served=people_served,
        polygons=tuple(polygons),
        seam_share=_seam_share(radio, pattern, cells, probability, bearing_deg, elevation_deg, sector_bearings_deg),
        handsets=radio.users,
        talk_erlangs=offered_erlangs(radio.users, BLOCKING),
        people_from=None if people is None else "polygons" if cells.people is None else "raster",
    )


def _seam_share(
    radio: Radio,
    pattern: SectorPattern,
    cells: AreaCells,
    probability: np.ndarray,
    bearing_deg: np.ndarray,
    elevation_deg: np.ndarray,
    sector_bearings_deg: np.ndarray,
) -> float | None:
    """Sectors of one mast share the path, so only their patterns tell them apart: best gain less the sum of others."""
    served = probability * cells.weight
    if len(sector_bearings_deg) < 2 or not radio.sectors_share_carrier or served.sum() <= 0:
        return None
    gains = np.array([pattern.gain_db(bearing_deg - float(b), elevation_deg) for b in sector_bearings_deg])
    power = 10 ** (gains / 10)
    best = power.max(axis=0)
    with np.errstate(divide="ignore"):
        apart_db = 10 * np.log10(best / (power.sum(axis=0) - best))
    return float(served[apart_db < SEAM_DB].sum() / served.sum())
