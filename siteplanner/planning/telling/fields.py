"""A field of the mission file in words: default, range, and a few lines for a terminal or a table."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from siteplanner.mission.fields import MissionField, source_of

NO_SOURCE = "none stated"


def default_words(field: MissionField) -> str:
    """The default as it would be written in the file, or that there is none."""
    if field.required:
        return "must be given"
    if field.default is None:
        return "left out"
    if isinstance(field.default, float):
        return f"{field.default:.6g}"
    return json.dumps(field.default, ensure_ascii=False)


def range_words(field: MissionField) -> str:
    """What the field may be."""
    parts = []
    if field.choices:
        parts.append(("some of " if "list" in field.kinds else "one of ") + ", ".join(field.choices))
    bounds = _bounds(field)
    plain = [k for k in field.kinds if not (field.choices and k in ("text", "whole number", "list"))]
    if bounds:
        parts.append(f"{next(k for k in plain if 'number' in k)} {bounds}")
    else:
        parts += [_LONGER.get(kind, kind) for kind in plain]
    if "list" in field.kinds and (many := _count(field)):
        parts.append(many)
    return "; ".join(parts)


_LONGER = {"yes or no": "true or false", "time": "a time with its offset from UTC"}


def _bounds(field: MissionField) -> str:
    least = "" if field.least is None else f"{'above' if field.above else 'from'} {field.least:g}"
    most = "" if field.most is None else f"{'below' if field.below else 'to' if least else 'at most'} {field.most:g}"
    return ", ".join(filter(None, (least, most))) if most.startswith("below") else " ".join(filter(None, (least, most)))


def _count(field: MissionField) -> str:
    least, most = field.count
    if least is not None and least == most:
        return f"{least} values"
    if least is not None and most is not None:
        return f"{least} to {most} values"
    if least is not None:
        return f"at least {least}"
    return "" if most is None else f"at most {most}"


def field_lines(field: MissionField) -> Iterator[str]:
    """Path, default, range and unit in one line; what it means and where the default comes from below it."""
    unit = f", {field.unit}" if field.unit else ""
    yield f"{field.path} = {default_words(field)}   ({range_words(field)}{unit})"
    if field.meaning:
        yield field.meaning
    if field.source and not source_of(field.meaning):
        yield f"Source: {field.source}"


def field_record(field: MissionField) -> dict[str, Any]:
    """The field as plain data, ready for JSON; `range` also in figures where it has bounds."""
    return {
        "path": field.path,
        "required": field.required,
        "default": field.default,
        "range": range_words(field),
        "least": field.least,
        "most": field.most,
        "choices": list(field.choices),
        "unit": field.unit,
        "meaning": field.meaning,
        "source": field.source or NO_SOURCE,
    }


def meaning_words(field: MissionField) -> str:
    """What a table's last column says: meaning with its source, range and unit."""
    unit = f" {field.unit}" if field.unit else ""
    return f"{field.meaning} [{range_words(field)}{unit}]"
