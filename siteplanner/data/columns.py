"""Attributes of a layer under the names that later rooms look for."""

from __future__ import annotations

import json
import re
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from siteplanner.errors import Finding, InputError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

# looked for in lower case; other programs write them as NAME or Name
_LOWER_CASE = frozenset(
    (
        "name", "weight", "people", "voltage_kv", "height_m", "highway", "surface", "tracktype", "smoothness", "oneway",
        "maxweight", "maxheight", "maxwidth", "maxspeed", "width", "access", "bridge", "tunnel", "layer", "ford",
        "barrier", "incline", "ref", "junction", "closes_roads",
    )
)  # fmt: skip

_FEET = {"ft": "ft", "feet": "ft", "in": "in", "inch": "in", "inches": "in", "cm": "cm", "m": "m"}
_POUNDS = {"lb": "lbs", "lbs": "lbs", "pounds": "lbs", "kg": "kg", "t": "t"}
_UNITS_OF = {
    **dict.fromkeys(("maxheight", "maxwidth", "maxlength", "width"), _FEET),
    "maxweight": _POUNDS,  # tons are left alone: three kinds of them
    "maxspeed": {"mph": "mph", "kmh": "km/h", "kph": "km/h"},
}
_MEASURED = frozenset(_UNITS_OF)
_UNIT_AT_END = re.compile(r"[_ .(-]([A-Za-z]+)\)?$")
_BARE = re.compile(r"\d+(?:\.\d+)?")


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
    column_map: dict[str, str],
    role: str,
    path: Path,
    findings: list[Finding],
    *,
    lenient: bool = False,
) -> GeoDataFrame:
    """Columns under the names that later rooms look for; a column in the way is kept as `<name>_original`.

    `lenient`: a column of the map that the layer lacks is passed over instead of an error.
    """
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
    for wanted in _MEASURED & set(frame.columns):
        _with_unit(frame, wanted, own_names.get(wanted, wanted), path, findings)
    return frame


def _with_unit(frame: GeoDataFrame, wanted: str, own: str, path: Path, findings: list[Finding]) -> None:
    """A unit at the end of a column's own name (CLEAR_FT) goes to its bare numbers, which would read as metres."""
    found = _UNIT_AT_END.search(own)
    unit = _UNITS_OF[wanted].get(found[1].lower()) if found else None
    if unit is None:
        return
    bare = frame[wanted].map(lambda v: bool(_BARE.fullmatch(str(v).strip())))
    if bare.any():
        frame[wanted] = [f"{float(str(v)):.12g} {unit}" if b else v for v, b in zip(frame[wanted], bare, strict=True)]
        findings.append(
            Finding(
                "column_unit",
                "note",
                file=path.name,
                facts={"column": own, "unit": unit, "count": int(bare.sum())},
            )
        )
