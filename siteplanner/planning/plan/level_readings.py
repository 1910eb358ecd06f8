"""Levels that a crew read at named points and radioed back: readings like any others, at the places of the points."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from siteplanner.data.readings import HIGHEST_DBM, LOWEST_DBM, Readings
from siteplanner.errors import InputError
from siteplanner.mission.report import Level
from siteplanner.planning.plan.records import number, rows, text
from siteplanner.planning.study.must_serve import point_names
from siteplanner.planning.study.study import Study

FROM_REPORT = "the crew's report"


def level_readings(levels: Sequence[Level], study: Study, file: str = FROM_REPORT) -> Readings:
    """The levels as readings taken outdoors by one phone, whose place is that of the point.

    Raises InputError: a point that the mission does not have, a level that no phone reports.
    """
    frame = study.overlay("must_serve")
    names = [] if frame is None else list(point_names(frame))
    at = {name.casefold(): k for k, name in enumerate(names)}
    places = [] if frame is None else [(s.x, s.y) for s in frame.geometry]
    for count, level in enumerate(levels, 1):
        if level.point.casefold() not in at:
            known = ", ".join(name[:40] for name in names[:8]) or "none"
            raise InputError(
                f"The mission has no named point {level.point[:40]!r}; it has {known}.",
                remedy="Write the name as the crew's sheet has it, or leave this level out.",
                file=file,
                field=f"levels[{count}].point",
            )
        if level.rsrp_dbm is not None and not LOWEST_DBM <= level.rsrp_dbm <= HIGHEST_DBM:
            raise InputError(
                f"{level.rsrp_dbm:g} dBm at {level.point[:40]!r} is outside what a phone reports, {LOWEST_DBM:g} to "
                f"{HIGHEST_DBM:g}.",
                remedy="Ask the crew for the RSRP again.",
                file=file,
                field=f"levels[{count}].rsrp_dbm",
            )
    x, y = np.array([places[at[level.point.casefold()]] for level in levels], float).reshape(-1, 2).T
    longitude, latitude = study.elevation.lonlat(x, y)
    count = len(levels)
    held = [level.model_dump(exclude_none=True) for level in levels]
    return Readings(
        file=file,
        sha256=hashlib.sha256(json.dumps(held, sort_keys=True).encode()).hexdigest() if count else "",
        row=np.arange(1, count + 1),
        longitude=np.asarray(longitude, float),
        latitude=np.asarray(latitude, float),
        time=(None,) * count,
        level_dbm=np.array([math.nan if v.rsrp_dbm is None else v.rsrp_dbm for v in levels], float),
        served=np.array([math.nan if v.served is None else float(v.served) for v in levels], float),
        from_bars=np.zeros(count, bool),
        cell=("",) * count,
        device=("",) * count,  # the crew's phone may be that of the walk
        taken=("outdoors",) * count,
        name=tuple(names[at[level.point.casefold()]] for level in levels),
        frequency_mhz=np.full(count, math.nan),
    )


def levels_of_record(record: Mapping[str, Any]) -> tuple[Level, ...]:
    """What the report of a plan.json AS BUILT says of named points."""
    out = []
    for row in rows(record, "as_built", "report", "levels"):
        rsrp, served = number(row.get("rsrp_dbm")), row.get("served")
        said = None if not math.isfinite(rsrp) else rsrp, served if isinstance(served, bool) else None
        if text(row.get("point")) and said != (None, None):
            out.append(Level(point=text(row.get("point"))[:200], rsrp_dbm=said[0], served=said[1]))
    return tuple(out)


def with_levels(readings: Readings, record: Mapping[str, Any], study: Study) -> Readings:
    """The readings with the levels of the crew's report that a plan.json has; the same ones where it has none, or where
    they are counted already. Raises InputError as `level_readings`."""
    levels = levels_of_record(record)
    if not levels:
        return readings
    more = level_readings(levels, study)
    counted = (readings.sha256, *readings.more_sha256, *study.mission.radio.measured_files)
    return readings if more.sha256 in counted else joined(readings, more)


def joined(one: Readings, other: Readings) -> Readings:
    """Both together, each counted under its own sum."""

    def arrays(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return np.concatenate([a, b])

    return replace(
        one,
        row=arrays(one.row, other.row),
        longitude=arrays(one.longitude, other.longitude),
        latitude=arrays(one.latitude, other.latitude),
        time=(*one.time, *other.time),
        level_dbm=arrays(one.level_dbm, other.level_dbm),
        served=arrays(one.served, other.served),
        from_bars=arrays(one.from_bars, other.from_bars),
        cell=(*one.cell, *other.cell),
        device=(*one.device, *other.device),
        taken=(*one.taken, *other.taken),
        name=(*one.name, *other.name),
        frequency_mhz=arrays(one.frequency_mhz, other.frequency_mhz),
        left_out=one.left_out + other.left_out,
        more_sha256=(*one.more_sha256, other.sha256, *other.more_sha256),
    )
