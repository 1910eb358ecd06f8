"""Readings against the prediction: what they say of the model's shared error, and what is predicted with it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from siteplanner.core.link import LinkParameters, budget, reading_that_serves_dbm, resource_blocks
from siteplanner.core.measured import ClassRow, Observed, Posterior, by_class, posterior, shares_at
from siteplanner.data.grid_reference import grid_reference
from siteplanner.data.readings import Readings
from siteplanner.errors import InputError
from siteplanner.mission import Mission, Radio
from siteplanner.mission.links import link_parameters
from siteplanner.planning.choose.shared_errors import OF_THE_SIGNAL, radio_spread_db
from siteplanner.planning.plan.records import list_of, number, rows, text
from siteplanner.planning.plan.stands_now import standing_row
from siteplanner.planning.plan.walks import PointNow, Walk, points_now, walks
from siteplanner.planning.spots.levels import levels_of, ways_to
from siteplanner.planning.study.inputs import CoverageInputs, coverage_inputs
from siteplanner.planning.study.spot import Spot
from siteplanner.planning.study.study import Study

DISTANCE_EDGES_M = (0.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0, math.inf)
FEW_EXACT = 400  # places up to which each path is worked out by itself
RSSI_DB = 18.0  # a median this far above the prediction is taken for an RSSI; three of the stated doubts and more
LEAST_SUSPECT = 5  # readings from which a median says so
WILD_FROM = 0.5
SURPRISE = 2.0  # stated doubts beyond which something else than the model is likely wrong


@dataclass(frozen=True)
class Standing:
    """Where the trailer stands while the readings are taken; bearings true."""

    spot: Spot
    mast_height_m: float
    sector_bearings_deg: tuple[float, ...]


@dataclass(frozen=True)
class ReadingRow:
    """One reading beside its prediction. `measured_dbm` NaN: only service; `residual_db` NaN: no level. `predicted_dbm`
    is the median there, with the handset where it was. `served` None: not noted. `wild`: chance that it is of
    something else."""

    row: int
    name: str
    time: datetime | None
    latitude: float
    longitude: float
    measured_dbm: float
    served: bool | None
    from_bars: bool
    predicted_dbm: float
    residual_db: float
    wild: float
    distance_m: float
    kind: int  # of the ground cover, place in core.ground_cover.KINDS
    taken: str


@dataclass(frozen=True)
class Share:
    """A share of the weighted area, expected, and for 9 in 10."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Measured:
    """All that readings say. `after`: the mission with the shared error as it is known now; the same one as `mission`
    where nothing was read. Shares: of the weighted area from where the trailer stands, as it stands."""

    mission: Mission
    after: Mission
    standing: Standing
    file: str
    rows: tuple[ReadingRow, ...]
    left_out: int
    no_prediction: int
    devices: int
    found: Posterior
    by_distance: tuple[ClassRow, ...]
    by_cover: tuple[ClassRow, ...]
    before: Share
    now: Share
    points: tuple[PointNow, ...]
    walks: tuple[Walk, ...]

    @property
    def wild(self) -> tuple[ReadingRow, ...]:
        """The readings that were taken for something else."""
        return tuple(r for r in self.rows if r.wild > WILD_FROM)

    @property
    def surprising(self) -> bool:
        """The shared error is beyond what the model's stated doubt makes likely."""
        return abs(self.found.mean_db) > SURPRISE * self.found.prior_db > 0


def standing_of(record: Mapping[str, Any], study: Study, name: str | None, file: Path) -> Standing:
    """Where the trailer stands by a plan.json: as that says, else its first spot, or the one of that name. Raises
    InputError."""
    stands = standing_row(record, name or "")
    held = [*([] if stands is None else [stands]), *rows(record, "spots"), *rows(record, "judged")]
    found = next((r for r in held if name is None or text(r.get("name")) == name), None)
    if found is None:
        known = ", ".join(text(r.get("name"))[:20] for r in rows(record, "spots")[:12])
        raise InputError(
            f"There is no spot {name!r} in this plan; there is {known}." if held else "No spot passes in this plan.",
            remedy="Name the spot where the trailer stands with --spot.",
            file=file,
            field="--spot",
        )
    service = found.get("coverage") or found
    latitude, longitude, mast = (number(v) for v in (found.get("latitude"), found.get("longitude"),
                                                     service.get("mast_height_m")))  # fmt: skip
    bearings = tuple(number(b) for b in list_of(service.get("sector_bearings_deg")))
    if not all(map(math.isfinite, (latitude, longitude, mast, *bearings))) or not bearings:
        raise InputError(
            "The spot has no mast stop or no sector bearings.",
            remedy="Run the mission again and name its plan.json.",
            file=file,
            field="spots",
        )
    return standing_at(study, text(found.get("name")), latitude, longitude, mast, bearings)


def standing_at(
    study: Study, name: str, latitude: float, longitude: float, mast_height_m: float, bearings_deg: Sequence[float]
) -> Standing:
    """A place with its mast and sectors as they are. Raises InputError for one outside the elevation."""
    grid = study.elevation
    x, y = (float(v) for v in grid.from_lonlat(longitude, latitude))
    cell = grid.cell(x, y)
    if cell is None or not np.isfinite(grid.values[cell]):
        raise InputError(
            f"{latitude}, {longitude} lies where this plan has no elevation.",
            remedy="Give the place where the trailer stands.",
            field="latitude, longitude",
        )
    height, reference = float(grid.sample(x, y)), grid_reference(latitude, longitude)
    spot = Spot(name, x, y, latitude, longitude, reference, height, "user", cell)
    return Standing(spot, mast_height_m, tuple(bearings_deg))


def measured(study: Study, standing: Standing, readings: Readings) -> Measured:
    """Hold readings against the prediction from where the trailer stands.

    Raises InputError for readings that cannot be of this plan's cell: far outside, another channel, RSSI, counted
    already.
    """
    mission, inputs = study.mission, coverage_inputs(study)
    _not_counted(readings, mission)
    _same_channel(readings, mission)
    at = _places(study, readings)
    distance, signal = _signals(inputs, standing, at)
    entries = [_taken(mission.radio, taken) for taken in readings.taken]
    predicted = signal + np.array([_rsrp_dbm(p) for p in entries], float)
    known = np.isfinite(predicted)
    residual = np.where(known, readings.level_dbm - predicted, np.nan)
    _not_rssi(readings, residual, mission)
    needs = np.array([_needed_dbm(p, b) for p, b in zip(entries, readings.from_bars, strict=True)], float)
    margin = np.where(np.isnan(readings.level_dbm) & known, predicted - needs, np.nan)
    used = known & (np.isfinite(residual) | np.isfinite(margin))
    seen = Observed(
        at[used, 0], at[used, 1], residual[used], margin[used], np.nan_to_num(readings.served[used]),
        np.array([p.entry.sigma_db for p in entries], float)[used],
    )  # fmt: skip
    doubts, prior = mission.doubts, radio_spread_db(mission)
    named = [readings.device[k] for k in np.flatnonzero(used)]
    found = posterior(
        seen,
        prior_db=prior,
        place_db=mission.radio.location_sigma_db,
        device_db=doubts.readings_device_db,
        devices=_as_many(named),
        alike_m=doubts.readings_alike_m,
    )
    before = posterior(
        _of(seen, np.zeros(len(seen.x_m), bool)),
        prior_db=prior,
        place_db=mission.radio.location_sigma_db,
        device_db=0.0,
        alike_m=doubts.readings_alike_m,
    )
    wild = np.zeros(len(readings))
    wild[used] = found.wild
    kinds = _kinds(study, readings)
    told = tuple(
        ReadingRow(
            int(readings.row[k]), readings.name[k], readings.time[k], float(readings.latitude[k]),
            float(readings.longitude[k]), float(readings.level_dbm[k]),
            None if np.isnan(readings.served[k]) else bool(readings.served[k]), bool(readings.from_bars[k]),
            float(predicted[k]), float(residual[k]), float(wild[k]), float(distance[k]), int(kinds[k]),
            readings.taken[k],
        )
        for k in range(len(readings))
    )  # fmt: skip
    levels = levels_of(inputs, standing.spot, _cell(standing), standing.mast_height_m, standing.sector_bearings_deg)
    cells = len(study.area_cells.rows)
    reached = np.where(levels.reached, levels.margin_db, np.nan).astype(float)
    entry_db = link_parameters(mission.radio).entry.sigma_db
    weight = study.area_cells.weight
    sums = (readings.sha256, *readings.more_sha256)
    after = known_now(mission, found, *sums) if used.any() else mission
    was_db, place_db = (math.hypot(m.radio.location_sigma_db, entry_db) for m in (mission, after))
    then = Share(*shares_at(reached[:cells], weight, was_db, mission.radio.model_sigma_db, before))
    now = (
        Share(*shares_at(reached[:cells], weight, place_db, after.radio.model_sigma_db, found)) if used.any() else then
    )
    usable = used & ~(wild > WILD_FROM)
    nows = points_now(study, after, reached[cells:], found, entry_db, at[usable], readings, np.flatnonzero(usable))
    bands = np.searchsorted(DISTANCE_EDGES_M, distance, side="right") - 1
    return Measured(
        mission=mission,
        after=after,
        standing=standing,
        file=readings.file,
        rows=told,
        left_out=readings.left_out,
        no_prediction=int((~used).sum()),
        devices=len(set(named)) or 1,
        found=found,
        by_distance=by_class(residual, np.where(used, bands, -1)),
        by_cover=by_class(residual, np.where(used, kinds, -1)),
        before=then,
        now=now,
        points=nows,
        walks=walks(study, nows, reached[:cells], found, math.hypot(place_db, after.radio.model_sigma_db), at[usable]),
    )


def known_now(mission: Mission, found: Posterior, *sha256: str) -> Mission:
    """The mission with the shared error as it is known now: shifted, narrowed, and the spread from place to place.

    The model's own error, the season's and the handsets' are narrowed alike, so that together they have the posterior's
    spread.
    """
    part = found.spread_db / found.prior_db if found.prior_db > 0 else 1.0

    def of(radio: Radio) -> Radio:
        place = min(found.place_db, 15.0) if radio.location_sigma_db > 0 else 0.0
        off = min(max(radio.measured_offset_db + found.mean_db, -40.0), 40.0)
        changed = {
            "measured_offset_db": round(off, 2),
            "model_sigma_db": round(radio.model_sigma_db * part, 2),
            "location_sigma_db": round(place, 2),
            "measured_files": (*radio.measured_files, *sha256),
        }
        return radio.model_copy(update=changed)

    narrowed = {name: round(getattr(mission.doubts, name) * part, 2) for name in OF_THE_SIGNAL}
    doubts = mission.doubts.model_copy(update=narrowed)
    units = tuple(
        u if u.radio is None else u.model_copy(update={"radio": of(u.radio)}) for u in mission.units
    )  # a unit's own table holds the mission's fields too
    return mission.model_copy(update={"radio": of(mission.radio), "doubts": doubts, "units": units})


def _of(seen: Observed, keep: np.ndarray) -> Observed:
    fields = ("x_m", "y_m", "residual_db", "margin_db", "served", "extra_sigma_db")
    return replace(seen, **{name: getattr(seen, name)[keep] for name in fields})


def _cell(standing: Standing) -> tuple[int, int]:
    assert standing.spot.cell is not None, "standing_at refuses a place outside the raster"
    return standing.spot.cell


def _not_counted(readings: Readings, mission: Mission) -> None:
    if {readings.sha256, *readings.more_sha256} & {*mission.radio.measured_files}:
        raise InputError(
            "These readings are in this plan already (radio.measured_files).",
            remedy="Name the plan.json from before them, or another file of readings.",
            file=readings.file,
            field="radio.measured_files",
        )


def _same_channel(readings: Readings, mission: Mission) -> None:
    radio = mission.radio
    off = np.abs(readings.frequency_mhz - radio.frequency_mhz) > radio.bandwidth_mhz / 2
    if off.any():
        k = int(np.flatnonzero(off)[0])
        raise InputError(
            f"Row {int(readings.row[k])} was read at {readings.frequency_mhz[k]:g} MHz; this cell sends at "
            f"{radio.frequency_mhz:g} MHz.",
            remedy="Leave out the readings of other cells, or correct radio.frequency_mhz.",
            file=readings.file,
            field="frequency_mhz",
        )


def _places(study: Study, readings: Readings) -> np.ndarray:
    """(n, 2) x and y. Raises InputError for readings outside the elevation."""
    if not len(readings):
        return np.zeros((0, 2))
    x, y = (np.asarray(v, float) for v in study.elevation.from_lonlat(readings.longitude, readings.latitude))
    outside = np.array([study.elevation.cell(*p) is None for p in zip(x, y, strict=True)], bool)
    if outside.any():
        bad = np.flatnonzero(outside)
        swapped = study.elevation.from_lonlat(readings.latitude[bad[0]], readings.longitude[bad[0]])
        hint = ""
        if np.isfinite(swapped).all() and study.elevation.cell(*(float(v) for v in swapped)) is not None:
            hint = " Latitude and longitude are swapped."
        where = f"{readings.latitude[bad[0]]:.5f}, {readings.longitude[bad[0]]:.5f}"
        raise InputError(
            f"{len(bad)} of {len(readings)} readings lie far outside the area, first row {int(readings.row[bad[0]])} "
            f"at {where}.{hint}",
            remedy="Leave them out, correct their places, or name the plan that they belong to.",
            file=readings.file,
            field="longitude, latitude",
        )
    return np.column_stack([x, y])


def _signals(inputs: CoverageInputs, standing: Standing, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(distance, gain of the best sector less loss) of each place; NaN where a path is not known."""
    grid = inputs.elevation
    if not len(at):
        return np.zeros(0), np.zeros(0)
    row, col = (np.clip(np.asarray(v, float), 0, n - 1) for v, n in zip(grid.rowcol(at[:, 0], at[:, 1]), grid.shape,
                                                                        strict=True))  # fmt: skip
    exact = len(at) <= FEW_EXACT
    spots = np.column_stack([row, col]) if exact else np.rint(np.column_stack([row, col]))
    each, of = np.unique(spots, axis=0, return_inverse=True)
    rows_, cols = (each[:, k] if exact else each[:, k].astype(int) for k in (0, 1))
    way = ways_to(
        inputs, standing.spot, _cell(standing), standing.mast_height_m, standing.sector_bearings_deg, rows_, cols,
        exact=exact,
    )  # fmt: skip
    of = of.reshape(-1)
    return np.asarray(way.distance_m, float)[of], np.asarray(way.best_db - way.loss_db, float)[of]


def _taken(radio: Radio, taken: str) -> LinkParameters:
    """The link with the handset where it was; a stated loss of the way in belongs to the mission's own place."""
    params = link_parameters(radio)
    if taken == params.handset_place:
        return params
    return replace(params, handset_place=taken, building_loss_db=None)  # type: ignore[arg-type]


def _rsrp_dbm(params: LinkParameters) -> float:
    """RSRP over a path without loss, on the sector's peak; other cells' power is no part of it."""
    told = next(line.value for line in budget(params, 0.0, 0.0) if line.item == "RSRP at the handset")
    return told + params.interference_margin_db


def _needed_dbm(params: LinkParameters, from_bars: bool) -> float:
    """The level from which there is service; by bars: from which the phone holds the cell at all."""
    if from_bars:
        return replace(params, service="messages", min_rsrp_dbm=None).least_rsrp_dbm
    return reading_that_serves_dbm(params) + params.interference_margin_db


def _not_rssi(readings: Readings, residual: np.ndarray, mission: Mission) -> None:
    held = residual[np.isfinite(residual)]
    if len(held) >= LEAST_SUSPECT and float(np.median(held)) > max(RSSI_DB, 2.5 * radio_spread_db(mission)):
        whole = 10 * math.log10(12 * resource_blocks(mission.radio.bandwidth_mhz))
        raise InputError(
            f"Half of the levels lie more than {float(np.median(held)):.0f} dB above what this cell can give. The RSSI "
            f"of its channel is up to {whole:.0f} dB above its RSRP.",
            remedy="Export RSRP, not RSSI; or check radio.tx_power_dbm and that the readings are of this cell.",
            file=readings.file,
            field="rsrp_dbm",
        )


def _as_many(devices: Sequence[str]) -> float:
    """As how many independent instruments the named ones count, by how much each read; readings of none are of one."""
    counts = np.unique(np.array(devices, dtype=str), return_counts=True)[1].astype(float)
    return 1.0 if not len(counts) else float(counts.sum() ** 2 / (counts**2).sum())


def _kinds(study: Study, readings: Readings) -> np.ndarray:
    """Kind of the ground cover at each reading."""
    if not len(readings):
        return np.zeros(0, int)
    x, y = study.elevation.from_lonlat(readings.longitude, readings.latitude)
    cells = [study.elevation.cell(float(a), float(b)) for a, b in zip(x, y, strict=True)]
    return np.array([int(study.cover.cover.kinds[c]) if c is not None else -1 for c in cells], int)
