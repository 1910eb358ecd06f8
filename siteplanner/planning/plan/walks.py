"""Named points as they are known after readings, and where a walk with a phone would tell most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from siteplanner.core.measured import Posterior
from siteplanner.data.grid_reference import grid_reference
from siteplanner.data.readings import Readings
from siteplanner.mission import Mission
from siteplanner.planning.study.must_serve import point_names
from siteplanner.planning.study.study import Study

MOST_WALKS, MOST_POINTS = 5, 3
BLOCK_M = 500.0  # ground that one walk tells of: ten minutes on foot; common practice, no source
LEAST_OPEN = 0.0005  # weight, of 1, times p (1 - p): less is not worth a walk; common practice, no source
SURE = 0.15  # a named point served less or more likely than this needs no walk; common practice, no source
NEAR_M = 60.0  # a reading this close to a point was taken at it; common practice, no source


@dataclass(frozen=True)
class PointNow:
    """One named point. `before`, `now`: chance of service; `low`, `high` for 9 in 10 of the shared error. NaN: the path
    is not known. `measured_dbm`: median of the levels read there, NaN for none; `read`: readings there, `served` of
    those that noted it (None: nobody did)."""

    name: str
    latitude: float
    longitude: float
    required: bool
    before: float
    now: float
    low: float
    high: float
    measured_dbm: float
    read: int
    served: int | None


@dataclass(frozen=True)
class Walk:
    """A place where a reading would tell most. `point`: the named point, '' for a part of the area. `share`: of the
    area's weight that lies there, 0 for a point."""

    point: str
    latitude: float
    longitude: float
    grid_reference: str
    chance: float
    share: float


def points_now(
    study: Study,
    after: Mission,
    margin_db: np.ndarray,
    found: Posterior,
    entry_db: float,
    at: np.ndarray,
    readings: Readings,
    rows: np.ndarray,
) -> tuple[PointNow, ...]:
    """The must-serve points, by the study's mission and by the one after.

    margin_db: (points,) without the new shared error, NaN not known. entry_db: spread of the way in. at: (k, 2) places
    of the readings `rows` that count.
    """
    frame = study.overlay("must_serve")
    if frame is None:
        return ()
    radio, out = study.mission.radio, []
    was_db, now_db = (math.hypot(r.sigma_db, entry_db) for r in (radio, after.radio))
    place_db = math.hypot(after.radio.location_sigma_db, entry_db)
    place = np.array([(s.x, s.y) for s in frame.geometry], float).reshape(-1, 2)
    lon, lat = study.elevation.lonlat(place[:, 0], place[:, 1])
    for k, name in enumerate(point_names(frame)):
        here = margin_db[k]

        def chance(off_db: float, spread_db: float, here: float = here) -> float:
            if not math.isfinite(here):
                return math.nan
            return min(float(ndtr((here + off_db) / max(spread_db, 1e-6))), radio.most_certain_at_point)

        near = rows[np.hypot(at[:, 0] - place[k, 0], at[:, 1] - place[k, 1]) <= NEAR_M] if len(at) else rows[:0]
        levels = readings.level_dbm[near]
        noted = readings.served[near]
        out.append(
            PointNow(
                name=name,
                latitude=float(lat[k]),
                longitude=float(lon[k]),
                required=bool(study.required[k]),
                before=chance(0.0, was_db),
                now=chance(found.mean_db, now_db),
                low=chance(found.low_db, place_db),
                high=chance(found.high_db, place_db),
                measured_dbm=float(np.nanmedian(levels)) if np.isfinite(levels).any() else math.nan,
                read=len(near),
                served=int(np.nansum(noted)) if np.isfinite(noted).any() else None,
            )
        )
    return tuple(out)


def walks(
    study: Study,
    points: Sequence[PointNow],
    margin_db: np.ndarray,
    found: Posterior,
    spread_db: float,
    at: np.ndarray,
) -> tuple[Walk, ...]:
    """Where the outcome is least certain and matters most, the best first: points without a reading, then ground.

    The worth of ground is its weight times p (1 - p) of its cells, over a square of BLOCK_M without a reading; no two
    side by side. spread_db: of the level about the prediction. Nothing where nothing was read: all is open then.
    """
    if not len(at):
        return ()
    out = _of_points(points)
    cells, grid = study.area_cells, study.elevation
    chance = np.nan_to_num(ndtr((margin_db + found.mean_db) / max(spread_db, 1e-6)))
    open_ = cells.weight * chance * (1 - chance) * np.isfinite(margin_db)
    x, y = (np.asarray(v, float) for v in grid.xy(cells.rows, cells.cols))
    block = np.column_stack([np.floor(x / BLOCK_M), np.floor(y / BLOCK_M)]).astype(int)
    read = {(int(a), int(b)) for a, b in np.floor(at / BLOCK_M)}
    each, of = np.unique(block, axis=0, return_inverse=True)
    of = of.reshape(-1)
    worth = np.bincount(of, open_)
    taken: list[tuple[int, int]] = []
    for k in np.argsort(-worth, kind="stable"):
        if len(out) >= MOST_WALKS or worth[k] <= LEAST_OPEN:
            break
        here = (int(each[k, 0]), int(each[k, 1]))
        if any(max(abs(here[0] - a), abs(here[1] - b)) <= 1 for a, b in taken) or here in read:
            continue
        taken.append(here)
        own = np.flatnonzero(of == k)
        middle = own[np.argmax(open_[own])]
        lon, lat = (float(v) for v in grid.lonlat(x[middle], y[middle]))
        weight = cells.weight[own]
        mean = float((weight * chance[own]).sum() / weight.sum())
        out.append(Walk("", lat, lon, grid_reference(lat, lon), mean, float(weight.sum())))
    return tuple(out)


def _of_points(points: Sequence[PointNow]) -> list[Walk]:
    """Named points that nobody read at and whose service is open: required ones first, then the most open."""
    open_ = [p for p in points if not p.read and not (p.now <= SURE or p.now >= 1 - SURE)]
    order = sorted(open_, key=lambda p: (not p.required, abs(p.now - 0.5) if math.isfinite(p.now) else 0.0, p.name))
    return [
        Walk(p.name, p.latitude, p.longitude, grid_reference(p.latitude, p.longitude), p.now, 0.0)
        for p in order[:MOST_POINTS]
    ]
