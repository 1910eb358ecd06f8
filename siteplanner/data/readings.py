"""Readings of the signal on the ground: a CSV with places, a GPX with levels, or a CSV and the GPX of the walk.

RSRP as 3GPP TS 36.214 section 5.1.1 defines it: the mean power of one resource element of the cell's reference signal,
in dBm; reported from -140 to -44 dBm (TS 36.133 section 9.1.4, from memory). What cannot be a reading of that is
refused with its row.
"""

from __future__ import annotations

import csv
import io
import math
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np

from siteplanner.data.border import border
from siteplanner.data.formats import vector_driver
from siteplanner.data.plain_text import MOST_TABLE, read_text
from siteplanner.data.reading_columns import NAMES, columns_of, plain_name
from siteplanner.data.reading_values import cell_of, level_of, moment_of, place_of, served_of, taken_of
from siteplanner.data.records import sha256_of
from siteplanner.errors import InputError

MOST_READINGS = 100_000
LOWEST_DBM, HIGHEST_DBM = -140.0, -44.0  # TS 36.133 Table 9.1.4-1, from memory
LEAST_REPEATED = 8  # equal levels in a row that make a file; common practice, no source
GAP_S = 60.0  # a reading later or earlier than this beside the nearest fix of a track has no place; common practice
FASTEST_M_S = 70.0  # 250 km/h: above every walk and drive
_EARTH_M_DEG = 111_320.0  # closed form, a degree of the equator


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings as they were taken, (n,) each. `level_dbm` NaN where only service was noted; `served` NaN where it was
    not. `from_bars`: the service was told by bars. `row`: line of the table or number of the point in the file."""

    file: str
    sha256: str
    row: np.ndarray
    longitude: np.ndarray
    latitude: np.ndarray
    time: tuple[datetime | None, ...]
    level_dbm: np.ndarray
    served: np.ndarray
    from_bars: np.ndarray
    cell: tuple[str, ...]
    device: tuple[str, ...]
    taken: tuple[str, ...]
    name: tuple[str, ...]
    frequency_mhz: np.ndarray
    left_out: int = 0  # of other cells than those named
    more_sha256: tuple[str, ...] = ()  # of what was joined to the file

    def __len__(self) -> int:
        return len(self.row)


def read_readings(
    path: str | Path,
    *,
    track: str | Path | None = None,
    crs: str | None = None,
    cells: Sequence[str] = (),
    taken: str = "outdoors",
    earliest: datetime | None = None,
) -> Readings:
    """Read and vet one file of readings. A table with a head and no row is no reading at all, which is allowed.

    track: a GPX with times that says where the readings of a table were taken. crs: of the columns x and y. cells: of
    this trailer, the others are left out. taken: where, for readings that do not say it. earliest: on air.
    Raises InputError that names file, row, field and remedy.
    """
    path = Path(path)
    with border(path, "file of readings"):
        if path.suffix.lower() == ".gpx":
            levels = {"rsrp_dbm", "served", "bars"}
            rows = [(n, row) for n, row in _gpx_rows(path) if levels & row.keys()]
            if not rows:
                raise InputError(
                    "The points of this GPX hold no level and no service.",
                    remedy="Give the table of the levels, and this file with --track.",
                    file=path,
                    field="extensions",
                )
        else:
            rows = list(_table_rows(path, placed=track is None))
            if track is not None:
                rows = _on_track(rows, Path(track), path)
        made = _vetted(rows, path, crs, taken)
    _in_order(made, path, earliest)
    made = _of_cells(made, cells, path)
    _not_stuck(made, path)
    return made


def _table_rows(path: Path, *, placed: bool) -> Iterator[tuple[int, dict[str, str]]]:
    text = read_text(path, MOST_TABLE, "A table of readings (CSV)")
    first = text.split("\n", 1)[0]
    mark = max(",;\t", key=first.count)
    rows = csv.reader(io.StringIO(text), delimiter=mark)
    try:
        head = next(rows, [])
        if not any(name.strip() for name in head):
            raise InputError(
                "The file is empty.",
                remedy="Write a first row with the names of the columns.",
                file=path,
                field="row 1",
            )
        at = columns_of(head, path, placed=placed)
        for count, row in enumerate(rows):
            number = rows.line_num
            if not any(cell.strip() for cell in row):
                continue
            if count >= MOST_READINGS:
                raise InputError(
                    f"More than {MOST_READINGS:,} readings.", remedy="Cut the file to the area.", file=path, field="row"
                )
            if len(row) != len(head):
                raise InputError(
                    f"Row {number} has {len(row)} cells, the head has {len(head)}.",
                    remedy="Correct that row; a decimal comma makes two cells of one.",
                    file=path,
                    field=f"row {number}",
                )
            yield number, {name: row[k].strip() for name, k in at.items()}
    except csv.Error as error:
        raise InputError(f"Row {rows.line_num} is broken ({error}).", remedy="Export it again.", file=path) from None


def _gpx_rows(path: Path, kinds: Sequence[str] = ("wpt", "trkpt")) -> Iterator[tuple[int, dict[str, str]]]:
    """Way and track points in their order, with what their extensions hold under a name that is read."""
    if vector_driver(path) != "GPX":
        raise InputError("This is no GPX.", remedy="Name a GPX or a CSV.", file=path, field="gpx")
    root = ET.fromstring(read_text(path, MOST_TABLE, "A GPX"))
    number = 0
    known = {name: wanted for wanted, names in NAMES.items() for name in names}
    for point in root.iter():
        if _local(point) not in kinds:
            continue
        number += 1
        if number > MOST_READINGS:
            raise InputError(
                f"More than {MOST_READINGS:,} points.", remedy="Cut the file to the area.", file=path, field="trkpt"
            )
        row = {"longitude": point.get("lon", ""), "latitude": point.get("lat", "")}
        for part in point.iter():
            wanted = known.get(plain_name(_local(part)))
            if wanted is not None and part is not point and (part.text or "").strip():
                row.setdefault(wanted, (part.text or "").strip())
        yield number, row


def _local(part: ET.Element) -> str:
    return str(part.tag).rpartition("}")[2]


def _on_track(rows: list[tuple[int, dict[str, str]]], track: Path, path: Path) -> list[tuple[int, dict[str, str]]]:
    """Rows with the place at which the track was at their time; straight lines between two fixes."""
    with border(track, "track"):
        fixes = [(n, row) for n, row in _gpx_rows(track, ("trkpt",))]
        times = [_at(row, n, track) for n, row in fixes]
        places = [place_of(row, n, track, None) for n, row in fixes]
    if not times:
        raise InputError("The track has no point.", remedy="Name the track of this walk.", file=track, field="trkpt")
    if any(b < a for a, b in pairwise(times)):
        raise InputError("The times of the track run backward.", remedy="Export it again.", file=track, field="time")
    out = []
    for number, row in rows:
        at = _at(row, number, path)
        after = min(bisect_left(times, at), len(times) - 1)
        before = max(after - 1, 0) if times[after] > at else after
        nearest = min(abs(times[before] - at), abs(times[after] - at))
        if nearest > GAP_S:
            raise InputError(
                f"Row {number}: the track knows no place within {GAP_S:.0f} s of {row.get('time', '')[:40]}.",
                remedy="Name the track of this walk, and check the offset of the times.",
                file=path,
                field="time",
            )
        span = times[after] - times[before]
        part = 0.0 if span <= 0 else min(max((at - times[before]) / span, 0.0), 1.0)
        lon, lat = (a + part * (b - a) for a, b in zip(places[before], places[after], strict=True))
        out.append((number, {**row, "longitude": repr(lon), "latitude": repr(lat)}))
    return out


def _at(row: Mapping[str, str], number: int, path: Path) -> float:
    """Seconds since 1970 of a row that needs a time."""
    time = moment_of(row.get("time", ""), number, path, needed=True)
    return math.nan if time is None else time.timestamp()


def _vetted(rows: Sequence[tuple[int, Mapping[str, str]]], path: Path, crs: str | None, taken: str) -> Readings:
    _not_codes(rows, path)
    places = [place_of(row, n, path, crs) for n, row in rows]
    levels = [level_of(row.get("rsrp_dbm", ""), n, path, LOWEST_DBM, HIGHEST_DBM) for n, row in rows]
    noted = [served_of(row, n, path) for n, row in rows]
    for (number, _), level, (served, _) in zip(rows, levels, noted, strict=True):
        if math.isnan(level) and math.isnan(served):
            raise InputError(
                f"Row {number} has neither a level nor service.",
                remedy="Fill rsrp_dbm, or served with no where the phone had none, or delete the row.",
                file=path,
                field="rsrp_dbm",
            )
    frequencies = [cell_of(row.get("frequency_mhz", ""), n, path, "frequency_mhz") for n, row in rows]
    return Readings(
        file=path.name,
        sha256=sha256_of(path),
        row=np.array([n for n, _ in rows], int),
        longitude=np.array([p[0] for p in places], float),
        latitude=np.array([p[1] for p in places], float),
        time=tuple(moment_of(row.get("time", ""), n, path) for n, row in rows),
        level_dbm=np.array(levels, float),
        served=np.array([s for s, _ in noted], float),
        from_bars=np.array([b for _, b in noted], bool),
        cell=tuple(row.get("cell", "")[:40] for _, row in rows),
        device=tuple(row.get("device", "")[:40] for _, row in rows),
        taken=tuple(taken_of(row.get("taken", "") or taken, n, path) for n, row in rows),
        name=tuple(row.get("name", "")[:60] for _, row in rows),
        frequency_mhz=np.array(frequencies, float),
    )


def _not_codes(rows: Sequence[tuple[int, Mapping[str, str]]], path: Path) -> None:
    """Raises InputError where all levels are the whole numbers 0 to 97 by which a phone reports them."""
    held = [row.get("rsrp_dbm", "") for _, row in rows if row.get("rsrp_dbm")]
    if held and all(text.isdigit() and int(text) <= 97 for text in held):
        raise InputError(
            "The levels are the codes 0 to 97 by which a phone reports RSRP (TS 36.133 Table 9.1.4-1), not dBm.",
            remedy="RSRP in dBm is the code less 141: write that into rsrp_dbm.",
            file=path,
            field="rsrp_dbm",
        )


def _in_order(made: Readings, path: Path, earliest: datetime | None) -> None:
    """Raises InputError for times of one phone that run backward, are before on air, or places too far apart for
    them."""
    last: dict[str, int] = {}
    for k, time in enumerate(made.time):
        if time is None:
            continue
        number = int(made.row[k])
        if earliest is not None and time < earliest:
            raise InputError(
                f"Row {number} was read at {time.isoformat()}, before the cell was on air ({earliest.isoformat()}).",
                remedy="Leave out what was read before, or correct --on-air.",
                file=path,
                field="time",
            )
        before = last.get(made.device[k])
        last[made.device[k]] = k
        earlier = None if before is None else made.time[before]
        if before is None or earlier is None:
            continue
        passed = (time - earlier).total_seconds()
        if passed < 0:
            raise InputError(
                f"Row {number} is earlier than row {int(made.row[before])} of the same phone.",
                remedy="Sort by time, or name the phones in a column device.",
                file=path,
                field="time",
            )
        north = (made.latitude[k] - made.latitude[before]) * _EARTH_M_DEG
        east = (made.longitude[k] - made.longitude[before]) * _EARTH_M_DEG
        apart = math.hypot(north, east * math.cos(math.radians(made.latitude[k])))
        if apart > 500 and apart > FASTEST_M_S * max(passed, 1.0):
            raise InputError(
                f"Row {number} lies {apart / 1000:,.1f} km from row {int(made.row[before])}, {passed:.0f} s after it.",
                remedy="Correct the place or the time, or name the phones in a column device.",
                file=path,
                field="longitude, latitude",
            )


def _of_cells(made: Readings, cells: Sequence[str], path: Path) -> Readings:
    """Those of the cells named; raises InputError where several cells are mixed and none is named."""
    held = sorted({c for c in made.cell if c})
    if cells:
        missing = [c for c in cells if c not in held]
        if missing and len(made):
            raise InputError(
                f"No reading is of cell {missing[0]!r}; there are {', '.join(held[:10]) or 'no cells named'}.",
                remedy="Name the cells of this trailer, as the column cell has them.",
                file=path,
                field="cell",
            )
        keep = np.array([c in cells for c in made.cell], bool)
        return _kept(made, keep)
    if len(held) > 1:
        counts = ", ".join(f"{c} ({made.cell.count(c)})" for c in held[:10])
        raise InputError(
            f"Readings of {len(held)} cells are mixed: {counts}.",
            remedy="Name those of this trailer with --cell, once for each; the others are left out.",
            file=path,
            field="cell",
        )
    return made


def _kept(made: Readings, keep: np.ndarray) -> Readings:
    rows = np.flatnonzero(keep)

    def some(values: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(values[k] for k in rows)

    return replace(
        made,
        row=made.row[rows],
        longitude=made.longitude[rows],
        latitude=made.latitude[rows],
        time=some(made.time),
        level_dbm=made.level_dbm[rows],
        served=made.served[rows],
        from_bars=made.from_bars[rows],
        cell=some(made.cell),
        device=some(made.device),
        taken=some(made.taken),
        name=some(made.name),
        frequency_mhz=made.frequency_mhz[rows],
        left_out=int((~keep).sum()),
    )


def _not_stuck(made: Readings, path: Path) -> None:
    """Raises InputError where every one of many levels is the same, over more than one place."""
    levels = made.level_dbm[np.isfinite(made.level_dbm)]
    if len(levels) >= LEAST_REPEATED and len(set(levels.tolist())) == 1:
        raise InputError(
            f"All {len(levels)} levels are {levels[0]:g} dBm: the phone repeated one value.",
            remedy="Read again with the screen on and the program in front, and check that it reads the serving cell.",
            file=path,
            field="rsrp_dbm",
        )
