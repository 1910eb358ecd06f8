"""The mission as text: TOML for saving, and a flat table of every parameter with its meaning."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from siteplanner.errors import InputError
from siteplanner.mission import Mission
from siteplanner.mission.fields import fields
from siteplanner.planning.telling.fields import meaning_words


def mission_toml(data: Mapping[str, Any]) -> str:
    """Plain mission data as TOML 1.0; None is left out, because its absence says the same."""
    import tomli_w

    return tomli_w.dumps(_present(data))


def _present(value: Any) -> Any:
    """The same without the None in tables."""
    if isinstance(value, Mapping):
        return {k: _present(v) for k, v in value.items() if v is not None}
    return [_present(item) for item in value] if isinstance(value, (list, tuple)) else value


def parameter_rows(data: Mapping[str, Any]) -> list[dict[str, str]]:
    """Every parameter but the layers: its name, its value as JSON, what it means, its range and source."""
    used = Mission.model_validate({**data, "base": "."}).parameters()
    return [
        {
            "parameter": f.path,
            "value": json.dumps(_value(used, f.path), ensure_ascii=False),
            "meaning": meaning_words(f),
        }
        for f in fields()
        if f.table != "layers" and "[]" not in f.path
    ]


def _value(used: Mapping[str, Any], path: str) -> Any:
    value: Any = used
    for name in path.split("."):
        value = value[name]
    return value


def meaning_of(name: str) -> str:
    """What a parameter means, by its place in the mission: `trailer.max_slope_deg`."""
    model: Any = Mission
    *parents, last = name.split(".")
    for parent in parents:
        model = model.model_fields[parent].annotation
    return model.model_fields[last].description or ""


def with_parameters(data: Mapping[str, Any], changed: Mapping[str, str]) -> dict[str, Any]:
    """Mission data with some parameters replaced; values are JSON as in `parameter_rows`.

    Raises InputError for text that is not a value.
    """
    out = json.loads(json.dumps(dict(data)))
    for name, text in changed.items():
        try:
            value = json.loads(text)
        except ValueError:
            raise InputError(
                f"{text[:40]!r} is not a value.",
                field=name,
                remedy='Write a number as 12.5, text as "text", a list as [8, 12, 15].',
            ) from None
        place = out
        *parents, last = name.split(".")
        for parent in parents:
            place = place.setdefault(parent, {})
        place[last] = value
    return out
