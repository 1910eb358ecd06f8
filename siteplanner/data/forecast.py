"""A wind forecast table: rows of time, speed, gust, direction."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path

from siteplanner.core.constants import KNOT_M_S, MPH_M_S
from siteplanner.data.plain_text import MOST_TABLE, read_text
from siteplanner.data.records import Held, InputRecord, sha256_of
from siteplanner.errors import InputError

TO_M_S = {"m/s": 1.0, "km/h": 1 / 3.6, "mph": MPH_M_S, "kt": KNOT_M_S}
FASTEST_M_S = 120.0  # above every wind measured at the ground
MAX_ROWS = 20_000


@dataclass(frozen=True)
class WindForecast:
    """Wind at 10 m over open ground, in metres a second; rows in order of time. NaN: not given."""

    times: tuple[datetime, ...]
    speed_m_s: tuple[float, ...]
    gust_m_s: tuple[float, ...]
    direction_deg: tuple[float, ...]  # true, where the wind comes from

    def gusts_m_s(self, gust_factor: float) -> tuple[float, ...]:
        """The column `gust` where it is given, otherwise the column `speed`, a mean, times the factor."""
        pairs = zip(self.speed_m_s, self.gust_m_s, strict=True)
        return tuple(s * gust_factor if math.isnan(g) else max(s, g) for s, g in pairs)

    @property
    def rows_with_gust(self) -> int:
        """Rows in which the column `gust` is given."""
        return sum(not math.isnan(g) for g in self.gust_m_s)


def forecast_rows(
    path: Path, what: str, needed: Sequence[str], other: Sequence[str] = ()
) -> Iterator[tuple[int, datetime, dict[str, str]]]:
    """(row number, time, cells by column) of a CSV with a column `time` and the columns `needed`, at least one row.

    Raises InputError for what is no such file, a time that is none, has no offset or is not later than the one before,
    and more than MAX_ROWS rows.
    """
    rows = csv.DictReader(read_text(path, MOST_TABLE, what).splitlines())
    try:
        rows.fieldnames = [str(c).strip().lower() for c in rows.fieldnames or []]
        held = list(islice(rows, MAX_ROWS + 1))
    except csv.Error as error:
        raise InputError(
            f"The forecast cannot be read as a table ({error}).", remedy="Export it again as CSV.", file=path
        ) from None
    wanted = ("time", *needed)
    if missing := [c for c in wanted if c not in rows.fieldnames]:
        raise InputError(
            f"The forecast has no column {' and '.join(missing)}.",
            remedy=f"Name the columns {', '.join((*wanted, *other))}.",
            file=path,
        )
    before: datetime | None = None
    for number, row in enumerate(held, 2):
        if number > MAX_ROWS:
            raise InputError(f"More than {MAX_ROWS} rows.", remedy="Cut the forecast to the deployment.", file=path)
        time = _time(row["time"], number, path)
        if before is not None and time <= before:
            raise InputError(f"Row {number} is not later than the row before.", remedy="Sort by time.", file=path)
        yield number, time, row
        before = time
    if before is None:
        raise InputError("The forecast is empty.", remedy="Leave it out of the mission, or fill it.", file=path)


def read_forecast(path: str | Path, unit: str = "m/s") -> tuple[WindForecast, InputRecord]:
    """Read a CSV with columns `time`, `speed`, and optionally `gust` and `direction_deg`.

    Raises InputError naming the row for a time without offset, a number that is none, rows out of order.
    """
    path, factor = Path(path), TO_M_S[unit]
    times: list[datetime] = []
    speed: list[float] = []
    gust: list[float] = []
    direction: list[float] = []
    for number, time, row in forecast_rows(path, "A wind forecast (CSV)", ("speed",), ("gust", "direction_deg")):
        times.append(time)
        wind = row_number(row["speed"], number, "speed", path) * factor
        if not 0 <= wind <= FASTEST_M_S:
            raise InputError(
                f"Row {number}: a speed of {wind:.0f} m/s is not plausible.",
                remedy="Check layers.wind_forecast_unit.",
                file=path,
                field="speed",
            )
        speed.append(wind)
        gust.append(row_number(row.get("gust"), number, "gust", path, empty=True) * factor)
        direction.append(row_number(row.get("direction_deg"), number, "direction_deg", path, empty=True) % 360)
    record = InputRecord(
        "wind forecast",
        path.name,
        sha256_of(path),
        "",
        unit,
        (math.nan,) * 4,
        len(times),
        Held("hours", kept=len(times), names=(times[0].isoformat(), times[-1].isoformat())),
    )
    return WindForecast(tuple(times), tuple(speed), tuple(gust), tuple(direction)), record


def _time(text: str | None, number: int, path: Path) -> datetime:
    """The time of a row of a table, with its offset. Raises InputError."""
    try:
        found = datetime.fromisoformat((text or "").strip())
    except ValueError:
        raise InputError(
            f"Row {number}: {(text or '')[:40]!r} is not a time.",
            remedy="Write 2026-06-01T05:30:00-06:00 (or ...Z).",
            file=path,
            field="time",
        ) from None
    if found.tzinfo is None:
        raise InputError(
            f"Row {number}: the time has no offset from UTC.",
            remedy="Write 2026-06-01T05:30:00-06:00 (or ...Z).",
            file=path,
            field="time",
        )
    return found


def row_number(text: str | None, number: int, field: str, path: Path, *, empty: bool = False) -> float:
    """The figure of a row of a table, NaN where it may be empty and is. Raises InputError."""
    if empty and not (text or "").strip():
        return math.nan
    try:
        found = float((text or "").strip())
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise InputError(
            f"Row {number}: {(text or '')[:40]!r} is not a number.", remedy="Correct it.", file=path, field=field
        )
    return found
