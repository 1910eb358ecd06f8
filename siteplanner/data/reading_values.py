"""One cell of a table of readings: a level, service, a place, a time; what is none is refused with its row."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from siteplanner.errors import InputError

TAKEN = ("outdoors", "vehicle", "building_traditional", "building_efficient")
_YES, _NO = ("yes", "y", "true", "1", "served"), ("no", "n", "false", "0", "none")
_WRITE = "Write 2026-06-01T05:30:00-06:00 (or ...Z)."
MOST_BARS = 5


def cell_of(text: str, number: int, path: Path, field: str) -> float:
    """A figure; NaN for an empty cell. Raises InputError for what is no number."""
    if not text:
        return math.nan
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        comma = re.fullmatch(r"[-+]?\d+,\d+", text) is not None
        remedy = "Write a point in place of the comma." if comma else "Correct it, or leave the cell empty."
        raise InputError(f"Row {number}: {text[:40]!r} is not a number.", remedy=remedy, file=path, field=field)
    return found


def level_of(text: str, number: int, path: Path, lowest_dbm: float, highest_dbm: float) -> float:
    """RSRP in dBm; NaN for an empty cell. Raises InputError for what a phone cannot report."""
    found = cell_of(re.sub(r"\s*dbm$", "", text, flags=re.IGNORECASE), number, path, "rsrp_dbm")
    if math.isnan(found) or lowest_dbm <= found <= highest_dbm:
        return found
    if found >= 0:
        raise InputError(
            f"Row {number}: a level of {found:g} is not below 0 dBm.",
            remedy="Write RSRP in dBm, e.g. -98; a minus may be missing, or the unit is another.",
            file=path,
            field="rsrp_dbm",
        )
    if found > highest_dbm:
        raise InputError(
            f"Row {number}: a level of {found:g} dBm is above {highest_dbm:g}, the highest RSRP that a phone reports.",
            remedy="Check that this is RSRP and not RSSI, and not the power at the transmitter.",
            file=path,
            field="rsrp_dbm",
        )
    raise InputError(
        f"Row {number}: a level of {found:g} dBm is below {lowest_dbm:g}, the lowest RSRP that a phone reports.",
        remedy="Check the unit; where the phone had no service, leave it empty and write no into served.",
        file=path,
        field="rsrp_dbm",
    )


def served_of(row: Mapping[str, str], number: int, path: Path) -> tuple[float, bool]:
    """(1 yes, 0 no, NaN not noted; whether bars say so). Raises InputError for other words and bars."""
    said = row.get("served", "").lower()
    if said:
        if said not in (*_YES, *_NO):
            raise InputError(
                f"Row {number}: {said[:40]!r} is neither yes nor no.",
                remedy="Write yes or no.",
                file=path,
                field="served",
            )
        return float(said in _YES), False
    if not row.get("bars"):
        return math.nan, False
    bars = cell_of(row["bars"], number, path, "bars")
    if bars not in range(MOST_BARS + 1):
        raise InputError(
            f"Row {number}: {bars:g} is no number of bars.",
            remedy=f"Write a whole number from 0 to {MOST_BARS}; a level belongs into rsrp_dbm.",
            file=path,
            field="bars",
        )
    return float(bars >= 1), True


def taken_of(text: str, number: int, path: Path) -> str:
    """Where the phone was. Raises InputError for other words."""
    said = text.strip().lower().replace(" ", "_")
    if said not in TAKEN:
        raise InputError(
            f"Row {number}: {text[:40]!r} is no place of a handset.",
            remedy=f"Write one of {', '.join(TAKEN)}.",
            file=path,
            field="taken",
        )
    return said


def moment_of(text: str, number: int, path: Path, *, needed: bool = False) -> datetime | None:
    """A time with its offset; None for an empty cell. Raises InputError."""
    if not text and not needed:
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"Row {number}: {text[:40]!r} is not a time.", remedy=_WRITE, file=path, field="time"
        ) from None
    if found.tzinfo is None:
        raise InputError(
            f"Row {number}: the time has no offset from UTC.", remedy=_WRITE, file=path, field="time"
        ) from None
    return found


def place_of(row: Mapping[str, str], number: int, path: Path, crs: str | None) -> tuple[float, float]:
    """(longitude, latitude) in WGS 84 degrees, of columns, a grid reference, or x and y in a CRS. Raises InputError."""
    if row.get("longitude") or row.get("latitude"):
        lon, lat = (_needed(row.get(n, ""), number, path, n) for n in ("longitude", "latitude"))
    elif row.get("grid"):
        lat, lon = _grid(row["grid"], number, path)
    elif row.get("x") or row.get("y"):
        x, y = (_needed(row.get(n, ""), number, path, n) for n in ("x", "y"))
        if crs is None:
            raise InputError(
                "Nothing says in which coordinate system x and y are.",
                remedy="Name it with --crs, e.g. --crs EPSG:32612, or give longitude and latitude.",
                file=path,
                field="x, y",
            )
        lon, lat = (float(v) for v in _transform(crs, path).transform(x, y))
    else:
        raise InputError(
            f"Row {number} has no place.",
            remedy="Fill it in, or delete the row.",
            file=path,
            field="longitude, latitude",
        )
    if not -90 <= lat <= 90 or not -180 <= lon <= 180 or (lon == 0 and lat == 0):
        swapped = " The two may be swapped." if -90 <= lon <= 90 and 90 < abs(lat) <= 180 else ""
        raise InputError(
            f"Row {number}: latitude {lat:g}, longitude {lon:g} is not a place where somebody can stand.{swapped}",
            remedy="Write WGS 84 degrees; west and south are negative. 0, 0 is what a phone writes without a fix.",
            file=path,
            field="longitude, latitude",
        )
    return lon, lat


def _needed(text: str, number: int, path: Path, field: str) -> float:
    found = cell_of(text, number, path, field) if not re.search("[°'\"NSEWnsew]", text) else math.nan
    if math.isnan(found):
        raise InputError(
            f"Row {number}: {text[:40]!r} is not a coordinate.",
            remedy="Write decimal degrees such as 44.64219 and -113.03362 (or meters in x and y).",
            file=path,
            field=field,
        )
    return found


def _grid(text: str, number: int, path: Path) -> tuple[float, float]:
    from mgrs import MGRS

    reference = text.replace(" ", "").upper()
    try:
        if not re.fullmatch(r"\d{1,2}[C-HJ-NP-X][A-HJ-NP-Z]{2}(\d\d){3,5}", reference):
            raise ValueError
        lat, lon = MGRS().toLatLon(reference)
    except Exception:
        raise InputError(
            f"Row {number}: {text[:40]!r} is not a grid reference to 100 m or better.",
            remedy="Write it with zone and square, e.g. 12T UQ 38725 45215.",
            file=path,
            field="grid",
        ) from None
    return float(lat), float(lon)


@lru_cache(maxsize=4)
def _transform(crs: str, path: Path) -> Any:
    from pyproj import CRS, Transformer
    from pyproj.exceptions import CRSError

    try:
        return Transformer.from_crs(CRS.from_user_input(crs), 4326, always_xy=True)
    except CRSError:
        raise InputError(
            f"{crs[:60]!r} is no coordinate system.", remedy="Write e.g. EPSG:32612.", file=path, field="--crs"
        ) from None
