"""When hazards come and go: columns `from` and `until` of a layer, or a level that a forecast of rise reaches."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from siteplanner.data.forecast import forecast_rows, row_number
from siteplanner.data.records import Held, InputRecord, sha256_of
from siteplanner.errors import InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

_WRITE = "Write 2026-06-01T05:30:00-06:00 (or ...Z)."


@dataclass(frozen=True)
class Rise:
    """Levels of one water, in metres on the gauge that the hazards' `level_m` count from; in order of time."""

    times: tuple[datetime, ...]
    level_m: tuple[float, ...]

    def above(self, level_m: float) -> tuple[datetime | None, datetime | None]:
        """(when it first stands at a level or above, when it first falls below again); straight lines between rows.

        None: not within the forecast, which is no promise for the time after it.
        """
        rows = list(zip(self.times, self.level_m, strict=True))
        start = rows[0][0] if rows[0][1] >= level_m else None
        for (t0, z0), (t1, z1) in pairwise(rows):
            if start is None and z0 < level_m <= z1:
                start = t0 + (t1 - t0) * ((level_m - z0) / (z1 - z0))
            elif start is not None and z1 < level_m <= z0:
                return start, t0 + (t1 - t0) * ((z0 - level_m) / (z0 - z1))
        return start, None


def read_rise(path: Path) -> tuple[Rise, InputRecord]:
    """Read a CSV with columns `time` and `level_m`.

    Raises InputError naming the row for a time without offset, a number that is none, rows out of order.
    """
    times: list[datetime] = []
    level: list[float] = []
    for number, time, row in forecast_rows(path, "A forecast of rise (CSV)", ("level_m",)):
        times.append(time)
        level.append(row_number(row["level_m"], number, "level_m", path))
    held = Held("hours", kept=len(times), names=(times[0].isoformat(), times[-1].isoformat()))
    record = InputRecord("rise forecast", path.name, sha256_of(path), "", "m", (math.nan,) * 4, len(times), held)
    return Rise(tuple(times), tuple(level)), record


def with_times(hazards: GeoDataFrame, rise: Rise | None, files: Sequence[str]) -> GeoDataFrame:
    """The hazards with `from` and `until` as ISO 8601 text with an offset, '' where nobody knows.

    A time that stands in the layer goes before the one by `level_m`. Raises InputError for a time that is none or has
    no offset, a level that is no number, and an end before its start.
    """
    starts, ends = [], []
    for number in range(len(hazards)):
        row = {name: hazards[name].iloc[number] for name in ("from", "until", "level_m") if name in hazards.columns}
        begin, end = (_moment(row.get(name), name, number + 1, files) for name in ("from", "until"))
        level = _level(row.get("level_m"), number + 1, files)
        if level is not None and rise is not None:
            found = rise.above(level)
            begin, end = begin or found[0], end or found[1]
        if begin is not None and end is not None and end <= begin:
            raise _wrong(f"Hazard {number + 1} ends before it starts.", "Correct its times.", "until", files)
        starts.append("" if begin is None else begin.isoformat())
        ends.append("" if end is None else end.isoformat())
    return hazards.assign(**{"from": starts, "until": ends})


def _moment(value: Any, field: str, number: int, files: Sequence[str]) -> datetime | None:
    if value is None or value != value or not str(value).strip():
        return None
    try:
        found = datetime.fromisoformat(str(value).strip())
    except ValueError:
        raise _wrong(f"Hazard {number}: {str(value)[:40]!r} is not a time.", _WRITE, field, files) from None
    if found.tzinfo is None:
        raise _wrong(f"Hazard {number}: the time has no offset from UTC.", _WRITE, field, files)
    return found


def _level(value: Any, number: int, files: Sequence[str]) -> float | None:
    if value is None or value != value or not str(value).strip():
        return None
    try:
        found = float(value)
    except (TypeError, ValueError):
        found = math.nan
    if not math.isfinite(found):
        raise _wrong(f"Hazard {number}: {str(value)[:40]!r} is no level.", "Write meters.", "level_m", files)
    return found


def _wrong(what: str, remedy: str, field: str, files: Sequence[str]) -> InputError:
    return InputError(what, remedy=remedy, file=files[0] if len(files) == 1 else None, field=f"hazards.{field}")
