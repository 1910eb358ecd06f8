"""Attributes of a layer under the names that later rooms look for."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.data.road_keys import KEYS, Measure, is_figure
from siteplanner.errors import Finding, InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

# looked for in lower case; other programs write them as NAME or Name
_LOWER_CASE = frozenset(
    (
        "name",
        "weight",
        "people",
        "voltage_kv",
        "height_m",
        "closes_roads",
        "required",
        "from",
        "until",
        "level_m",
        "parcel",
        "owner",
        "phone",
        "kind",
        "runway_m",
        "runway_ft",
        "elevation_m",
        "elevation_ft",
        "frequency_mhz",
        "bandwidth_mhz",
        "eirp_dbm",
        *KEYS,
    )
)

_FEET = {"ft": "ft", "feet": "ft", "in": "in", "inch": "in", "inches": "in", "cm": "cm", "m": "m", "metres": "m",
         "meters": "m"}  # fmt: skip
_POUNDS = {"lb": "lbs", "lbs": "lbs", "pounds": "lbs", "kg": "kg", "tonnes": "t", "tonne": "t"}
_FIGURES: dict[Measure, tuple[dict[str, str], tuple[str, ...]]] = {
    # how a column's name may end -> unit; what the mission may say
    "height": (_FEET, ("m", "cm", "ft", "in")),
    "width": (_FEET, ("m", "cm", "ft", "in")),
    "length": (_FEET, ("m", "cm", "ft", "in")),
    "weight": (_POUNDS, ("t", "kg", "lbs", "st", "lt")),  # a ton may be one of three
    "speed": ({"mph": "mph", "kmh": "km/h", "kph": "km/h", "kmph": "km/h"}, ("km/h", "mph", "knots")),
}
_MEASURES = {"t": "metric tons", "st": "short tons of 2,000 lb", "lt": "long tons of 2,240 lb"}
_UNIT_AT_END = re.compile(r"[_ .(-]([A-Za-z]+)\)?$")
_BARE = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True)
class ColumnRules:
    """What a mission says of a layer's columns: `names` (wanted name -> the file's column), `units` (key -> unit of its
    bare numbers), `values` (key -> {the file's code: OpenStreetMap's value}), `none`: values that mean no limit.
    """

    names: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    none: tuple[str, ...] = ()


def units_for(key: str) -> tuple[str, ...]:
    """The units that bare numbers of a key may be said to be in; () for a key without a unit."""
    return _FIGURES[KEYS[key].measure][1] if is_figure(key) else ()


def plain(frame: GeoDataFrame) -> GeoDataFrame:
    """Lists and objects among the attributes become JSON text: later rooms know text and numbers only."""
    for column in frame.columns:
        if column == frame.geometry.name or frame[column].dtype != object:
            continue
        nested = frame[column].map(lambda v: isinstance(v, (list, dict, tuple, np.ndarray)))
        if nested.any():
            frame[column] = [
                json.dumps(v.tolist() if isinstance(v, np.ndarray) else v, default=str) if odd else v
                for v, odd in zip(frame[column], nested, strict=True)
            ]
    return frame


def named(
    frame: GeoDataFrame,
    rules: ColumnRules,
    role: str,
    path: Path,
    findings: list[Finding],
    *,
    lenient: bool = False,
) -> GeoDataFrame:
    """Columns under the names that later rooms look for; a column in the way is kept as `<name>_original`.

    `lenient`: a column of the map that the layer lacks is passed over instead of an error. Raises InputError for a
    column that is not there, and for bare numbers whose unit neither the column's name nor the rules tell.
    """
    column_map = rules.names
    renamed: dict[str, str] = {}
    shared: dict[str, str] = {}  # one column of the file under a second name
    columns = [str(c) for c in frame.columns]
    for wanted, own in column_map.items():
        hits = [c for c in columns if c == own] or [c for c in columns if c.lower() == own.lower()]
        if not hits and lenient:
            continue
        if len(hits) != 1:
            close = get_close_matches(own, columns, n=3, cutoff=0.5)
            hint = f" Close: {', '.join(close)}." if close else ""
            raise InputError(
                f"There is no column {own!r}. The layer has: {', '.join(c for c in columns if c != 'geometry')}.{hint}",
                remedy="Name one of these.",
                file=path,
                field=f"layers.{'road_columns' if role == 'roads' else role.replace(' ', '_')}.{wanted}",
            )
        if hits[0] in renamed:
            shared[wanted] = renamed[hits[0]]
        elif wanted != hits[0]:
            renamed[hits[0]] = wanted
    for own in columns:
        plain = own.lower()
        if own not in renamed and plain in _LOWER_CASE and own != plain:
            taken = set(columns) | set(renamed.values())
            if plain not in taken and [c.lower() for c in columns].count(plain) == 1:
                renamed[own] = plain
    pushed = {w: f"{w}_original" for o, w in renamed.items() if w in columns and w not in renamed and w != o}
    if pushed:
        findings.append(
            Finding(
                "column_pushed_aside",
                "note",
                file=path.name,
                facts={"kept_as": tuple(pushed.items())},
            )
        )
    frame = frame.rename(columns=pushed).rename(columns=renamed) if renamed else frame
    for second, first in shared.items():
        frame[second] = frame[first]
    own_names = {wanted: own for own, wanted in renamed.items()}
    for wanted, codes in rules.values.items():
        if wanted in frame.columns:
            known = {str(code).strip().lower(): value for code, value in codes.items()}
            frame[wanted] = [known.get(_text(v).lower(), v) for v in frame[wanted]]
    nothing = {_text(v) for v in rules.none}
    for wanted in [key for key in frame.columns if is_figure(key)]:
        if nothing:
            frame[wanted] = [None if _text(v) in nothing else v for v in frame[wanted]]
        _with_unit(frame, wanted, own_names.get(wanted, wanted), rules, role, path, findings)
    return frame


def _text(value: object) -> str:
    """A cell as a code: `3` for 3.0."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _with_unit(
    frame: GeoDataFrame,
    wanted: str,
    own: str,
    rules: ColumnRules,
    role: str,
    path: Path,
    findings: list[Finding],
) -> None:
    """The unit of a column's bare numbers: the mission's, or that at the end of its own name (CLEAR_FT). Without either
    an agency's column is asked for it; a column under the key's own name is in the key's unit.
    """
    bare = frame[wanted].map(lambda v: bool(_BARE.fullmatch(str(v).strip())))
    if not bare.any():
        return
    ends, units = _FIGURES[KEYS[wanted].measure]
    found = _UNIT_AT_END.search(own)
    unit = rules.units.get(wanted) or (ends.get(found[1].lower()) if found else None)
    if unit is None:
        if own.lower() == wanted:
            return
        told = ", ".join(f"'{u}'" + (f" ({_MEASURES[u]})" if u in _MEASURES else "") for u in units)
        raise InputError(
            f"The unit of column {own!r} ({wanted}) is not known: it holds {int(bare.sum())} bare numbers, e.g. "
            f"{_text(frame[wanted][bare].iloc[0])}.",
            remedy=f"Say it in the mission: layers.road_units.{wanted} = one of {told}.",
            file=path,
            field=f"layers.road_units.{wanted}" if role in ("roads", "extra tracks") else None,
        )
    frame[wanted] = [f"{float(str(v)):.12g} {unit}" if b else v for v, b in zip(frame[wanted], bare, strict=True)]
    facts = {"column": own, "unit": unit, "count": int(bare.sum()), "by_mission": wanted in rules.units}
    findings.append(Finding("column_unit", "note", file=path.name, facts=facts))
