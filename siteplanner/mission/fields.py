"""Every field of a mission file, read off the models: its place, default, range, unit, meaning and source."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from siteplanner.mission.parameters import Mission

UNITS = {
    "_m_s": "m/s", "_mbit_s": "Mbit/s", "_kbit_s": "kbit/s", "_l_per_h": "l/h", "_kmh": "km/h", "_km2": "km²",
    "_mhz": "MHz", "_ghz": "GHz", "_dbm": "dBm", "_dbi": "dBi", "_db": "dB", "_deg": "°", "_kg": "kg", "_kv": "kV",
    "_pct": "%", "_min": "min", "_ms": "ms", "_m": "m", "_s": "s", "_h": "h", "_l": "l", "temperature_k": "K",
    "_w": "W", "latitude": "°", "longitude": "°",
}  # fmt: skip
"""End of a field's name -> its unit; a name with several of these ends has that of the longest."""
_SOURCED = re.compile(
    r"ITU-[RT]|ITU Radio|3GPP|\bT[RS] \d|\d CFR|ASCE|WMO|\bHCM\b|FHWA|USGS|AASHTO|IEEE|OSM wiki|Erlang|US Army|"
    r"Routing Machine|[Dd]ata sheet|'s manual|the manual|[Cc]losed form|[Cc]ommon practice|from memory",
)
_SENTENCES = re.compile(r"(?<!No\.)(?<!eq\.)(?<!e\.g\.)(?<=[.;])\s+")


@dataclass(frozen=True)
class MissionField:
    """One field. `path` is as in the file, items of a list of tables as `staging[].latitude`.

    `kinds`: what it may be (`number`, `whole number`, `text`, `yes or no`, `time`, `list`, `table`); `choices`: the
    only words that it may be; `least`, `most`: bounds of a number, open where `above` or `below` says so;
    `count`: least and most items of a list. None is no bound. `optional`: it may be left out with nothing in its place.
    """

    path: str
    required: bool
    default: Any
    kinds: tuple[str, ...]
    choices: tuple[str, ...]
    least: float | None
    most: float | None
    above: bool
    below: bool
    count: tuple[int | None, int | None]
    optional: bool
    unit: str
    meaning: str
    source: str

    @property
    def table(self) -> str:
        """The table that it stands in; "" for the top of the file."""
        return self.path.rpartition(".")[0]


def fields() -> tuple[MissionField, ...]:
    """Every field, in the order of the models, which is that of a mission file."""
    return tuple(_of(Mission, Mission.model_json_schema(), ""))


def found(words: Sequence[str]) -> tuple[MissionField, ...]:
    """The fields that hold every one of the words in their path, meaning, unit or source; all without words."""
    wanted = [w.casefold() for w in words]

    def text(field: MissionField) -> str:
        path = field.path
        return " ".join((path, path.replace("[]", ""), field.meaning, field.unit, field.source)).casefold()

    return tuple(f for f in fields() if all(w in text(f) for w in wanted))


def _of(model: type[BaseModel], schema: Mapping[str, Any], prefix: str) -> Iterator[MissionField]:
    about = schema["$defs"].get(model.__name__, schema)["properties"]
    values: list[tuple[str, FieldInfo, type[BaseModel] | None]] = []
    tables: list[tuple[str, FieldInfo, type[BaseModel] | None]] = []
    for name, info in model.model_fields.items():
        if info.exclude:
            continue
        inner = _table(info.annotation)
        whole = inner is not None and info.annotation is inner  # a table of its own, not a list of them
        (tables if whole else values).append((name, info, inner))
    for name, info, inner in values:
        yield _field(f"{prefix}{name}", info, about[name], model)
        if inner is not None and prefix != "units[].":  # a list of tables; those of a unit are the tables below
            yield from _of(inner, schema, f"{prefix}{name}[].")
    for name, _, inner in tables:
        assert inner is not None
        yield from _of(inner, schema, f"{prefix}{name}.")


def _field(path: str, info: FieldInfo, about: Mapping[str, Any], model: type[BaseModel]) -> MissionField:
    variants = about.get("anyOf", [about])
    known = [v for v in variants if v.get("type") != "null"]
    numbers = [v for v in known if v.get("type") in ("number", "integer")]
    bound = numbers[0] if numbers else {}
    listed: Mapping[str, Any] = next((v for v in known if v.get("type") == "array"), {})
    meaning = (info.description or "").strip()
    extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    return MissionField(
        path=path,
        required=info.is_required(),
        default=about.get("default"),
        kinds=tuple(dict.fromkeys(_kind(v) for v in known)),
        choices=tuple(str(c) for v in known for c in _choices(v)),
        least=bound.get("minimum", bound.get("exclusiveMinimum")),
        most=bound.get("maximum", bound.get("exclusiveMaximum")),
        above="exclusiveMinimum" in bound,
        below="exclusiveMaximum" in bound,
        # a length that stands beside a validator comes out as one of text
        count=tuple(listed.get(f"{end}Items", listed.get(f"{end}Length")) for end in ("min", "max")),
        optional=len(known) < len(variants),
        unit=str(extra.get("unit") or _unit(path)),
        meaning=meaning,
        source=source_of(meaning) or (source_of(model.__doc__ or "") if bound or listed else ""),
    )


def source_of(text: str) -> str:
    """The sentences of a description that name a source, or say that there is none; "" without one."""
    return " ".join(s for s in _SENTENCES.split(" ".join(text.split())) if _SOURCED.search(s))


def _unit(path: str) -> str:
    name = path.rpartition(".")[2]
    return next((UNITS[end] for end in sorted(UNITS, key=len, reverse=True) if name.endswith(end)), "")


def _kind(variant: Mapping[str, Any]) -> str:
    if variant.get("format") == "date-time":
        return "time"
    plain = {"number": "number", "integer": "whole number", "boolean": "yes or no", "array": "list", "object": "table"}
    return plain.get(str(variant.get("type")), "text" if "$ref" not in variant else "table")


def _choices(variant: Mapping[str, Any]) -> Sequence[Any]:
    inner = variant.get("items") if variant.get("type") == "array" else variant
    inner = inner if isinstance(inner, Mapping) else {}
    return inner.get("enum") or ([inner["const"]] if "const" in inner else [])


def _table(annotation: Any) -> type[BaseModel] | None:
    """The table that a field is, may be, or lists."""
    for kind in (annotation, *get_args(annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None
