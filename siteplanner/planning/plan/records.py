"""Values out of a record that nobody vetted: what is not of the kind that is asked for counts as not known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

EARTH_M = 6_371_008.8  # mean radius, IUGG; places of one mission are a few km apart
DEEPEST = 40  # tables and lists within each other


@dataclass(frozen=True)
class Place:
    """A spot as another plan may call it otherwise. `rank` and degrees NaN: not known."""

    name: str
    rank: float
    latitude: float
    longitude: float
    grid_reference: str


def deeper_than(value: Any, most: int) -> bool:
    """Whether tables and lists are nested deeper than that."""
    level = [value]
    for _ in range(most):
        level = [v for held in level if isinstance(held, (dict, list))
                 for v in (held.values() if isinstance(held, dict) else held)]  # fmt: skip
    return any(isinstance(held, (dict, list)) for held in level)


def of(value: Any, *path: str) -> Any:
    """What stands there, None for nothing."""
    for name in path:
        value = value.get(name) if isinstance(value, dict) else None
    return value


def text(value: Any) -> str:
    """Text, '' for anything else."""
    return value if isinstance(value, str) else ""


def number(value: Any) -> float:
    """A number, NaN for anything else."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.nan


def list_of(value: Any) -> list[Any]:
    """A list, empty for anything else."""
    return value if isinstance(value, list) else []


def rows(value: Any, *path: str) -> list[Mapping[str, Any]]:
    """The tables of a list."""
    return [r for r in list_of(of(value, *path)) if isinstance(r, dict)]


def place_of(row: Mapping[str, Any]) -> Place | None:
    """A spot's place; None where the record gives it no name."""
    name = text(row.get("name")) or text(row.get("spot"))
    if not name:
        return None
    rank, latitude, longitude = (number(row.get(key)) for key in ("rank", "latitude", "longitude"))
    return Place(name, rank, latitude, longitude, text(row.get("grid_reference")))


def distance_m(one: Place, other: Place) -> float:
    """Metres between two places of one mission, on the plane through them; NaN is far."""
    if not all(map(math.isfinite, (one.latitude, one.longitude, other.latitude, other.longitude))):
        return math.inf
    north = math.radians(one.latitude - other.latitude) * EARTH_M
    turn = (one.longitude - other.longitude + 180) % 360 - 180
    return math.hypot(north, math.radians(turn) * EARTH_M * math.cos(math.radians(one.latitude)))


def parameters_of(value: Any, path: str = "") -> dict[str, Any]:
    """Parameters by their path, `staging[1].name`; lists of plain values stay whole."""
    if isinstance(value, dict) and value:
        out: dict[str, Any] = {}
        for name, held in value.items():
            out |= parameters_of(held, f"{path}.{name}" if path else str(name))
        return out
    if isinstance(value, list) and any(isinstance(v, dict) for v in value):
        out = {}
        for k, held in enumerate(value, 1):
            out |= parameters_of(held, f"{path}[{k}]")
        return out
    return {path: value} if path else {}


def judged_rows(record: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The judged spots of a plan.json; of a trailer AS BUILT those of the plan that it followed."""
    built = isinstance(of(record, "as_built"), dict)
    return rows(record, "as_built", "called") if built else rows(record, "judged")


def called_in(record: Mapping[str, Any]) -> dict[tuple[float, float], str]:
    """Names of the judged spots of a record by their x and y, so that another plan may call them so too.

    Of a trailer AS BUILT they are those of the plan that it followed: its own place is no spot of a search.
    """
    names = {(number(r.get("x")), number(r.get("y"))): text(r.get("name")) for r in judged_rows(record)}
    return {key: name for key, name in names.items() if name and all(map(math.isfinite, key))}
