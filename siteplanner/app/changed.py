"""What has changed since the trailer stands, made into a changed mission: a road closed, wind, a unit lost, an area."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any, Literal

from siteplanner.app import intake
from siteplanner.app.drawing import absolute
from siteplanner.app.session import Work
from siteplanner.data.coordinates import read_place
from siteplanner.errors import InputError
from siteplanner.mission import Mission, mission_from_dict
from siteplanner.outputs.words.text import clean

WindUnit = Literal["m/s", "mph"]
MOST_WIND_H = 24 * 14


@dataclass(frozen=True)
class Wind:
    """Wind that is coming, the same from start to end, at 10 m over open ground."""

    starts: datetime
    until: datetime
    speed: float
    gust: float | None
    unit: WindUnit


@dataclass(frozen=True)
class Changes:
    """What somebody has typed or dropped; nothing is the mission as it is. `closed`: (place as a phone shows it, what
    closes the road). Files are (name, content)."""

    closed: tuple[str, str] | None = None
    wind: Wind | None = None
    lost: str = ""
    closures: tuple[str, bytes] | None = None
    forecast: tuple[str, bytes] | None = None
    area: tuple[str, bytes] | None = None


def changed(work: Work, changes: Changes) -> Mission:
    """The changed mission. Files go into the work's own folder; the mission in hand stays as it is.

    Raises InputError: a place that is none, wind that ends before it starts, a file that is empty.
    """
    draft = deepcopy(dict(work.draft or {}))
    layers, base = dict(draft.get("layers", {})), work.base
    if base != work.files:
        layers, base = absolute(layers, base), work.files
    if changes.closed is not None:
        name = closure_file(work.files, *changes.closed)
        layers["closures"] = [*_several(layers.get("closures")), name]
    if changes.closures is not None:
        layers["closures"] = [*_several(layers.get("closures")), _saved(work, *changes.closures)]
    if changes.area is not None:
        layers["incident_area"] = _saved(work, *changes.area)
    if changes.forecast is not None:
        layers["wind_forecast"] = _saved(work, *changes.forecast)
    elif changes.wind is not None:
        layers["wind_forecast"] = intake.save("wind_typed.csv", wind_table(changes.wind).encode(), work.files).name
        layers["wind_forecast_unit"] = changes.wind.unit
    draft["layers"] = layers
    if changes.lost:
        draft = without_unit(draft, changes.lost)
    return mission_from_dict(draft, base=base)


def _several(value: Any) -> list[str]:
    return [value] if isinstance(value, str) and value else list(value or [])


def _saved(work: Work, name: str, content: bytes) -> str:
    return intake.save(name, content, work.files).name


def closure_file(folder: Path, where: str, why: str) -> str:
    """A point that closes the road nearest to it, as GeoJSON in a folder; its name. Raises InputError."""
    if not where.strip():
        raise InputError("Where the road is closed is not given.", remedy="Type the place as the phone shows it.")
    place = read_place(where, field="Where the road is closed")
    feature = {
        "type": "Feature",
        "properties": {"name": clean(why)[:100] or None},
        "geometry": {"type": "Point", "coordinates": [place.longitude, place.latitude]},
    }
    text = json.dumps({"type": "FeatureCollection", "features": [feature]})
    number = 1 + len(list(folder.glob("closed_*.geojson")))
    return intake.save(f"closed_{number}.geojson", text.encode(), folder).name


def wind_table(wind: Wind) -> str:
    """The forecast as a table, a row an hour. Raises InputError for a time that ends before it starts."""
    hours = (wind.until - wind.starts) / timedelta(hours=1)
    if not 0 < hours <= MOST_WIND_H:
        raise InputError(
            "The wind ends after it starts, within 14 days.", remedy="Correct the times.", field="Wind until"
        )
    if wind.gust is not None and wind.gust < wind.speed:
        raise InputError("The gust is less than the mean wind.", remedy="Correct the two.", field="Gust")
    out = StringIO("time,speed,gust\n")
    out.seek(0, 2)
    times = [wind.starts + timedelta(hours=k) for k in range(int(hours) + 1)]
    for moment in times if times[-1] == wind.until else [*times, wind.until]:
        out.write(f"{moment.isoformat()},{wind.speed:g},{'' if wind.gust is None else format(wind.gust, 'g')}\n")
    return out.getvalue()


def without_unit(draft: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The mission without one of its units. Raises InputError: it is the only one, or there is none of that name."""
    units: Sequence[Mapping[str, Any]] = draft.get("units") or []
    left = [unit for unit in units if unit.get("name") != name]
    if len(left) == len(units) or not left:
        raise InputError(
            "A mission keeps one unit at least.",
            remedy="Choose a unit that the mission has beside another.",
            field="units",
        )
    return {**draft, "units": left}
