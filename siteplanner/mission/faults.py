"""Mistakes in a mission file in plain words: which field, as its user wrote it, what is wrong, and the remedy."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from siteplanner.errors import InputError

_WHERE = "`siteplanner fields` lists every field with its range"
_GIVEN_BY_HAND = {
    "staging": "Say where the tow starts: latitude and longitude under [staging], or staging = and the path of a layer "
    "of points.",
    "layers": "Name the files under [layers]; `siteplanner new FOLDER` writes a mission from the files in a folder.",
}
"""What a mission cannot do without, and how it is given."""
_MOVED: dict[tuple[int | str, ...], str] = {("trailer", "dish_diameter_m"): "sky.dish_diameter_m"}
"""Fields of former versions and where they stand now."""
_BOUNDS = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


def fault(
    error: ValidationError, model: type[BaseModel], data: Mapping[str, Any], file: str | None, told_by: str = ""
) -> InputError:
    """The first mistake with its field and remedy; further ones follow in the text.

    `told_by`: what says which fields there are and what they hold, where that is not `siteplanner fields`.
    """
    first, *others = error.errors()
    field = as_written(first["loc"], data) or _named_first(first) or "(top level)"
    more = "".join(f" Also {as_written(o['loc'], data)}: {_in_words(o, model)}." for o in others[:8])
    of_this = told_by or f"`siteplanner fields {_plain(field)}` says what it may hold"
    where = told_by or _WHERE
    remedies = {
        "missing": _GIVEN_BY_HAND.get(field, f"Add the field; {of_this}."),
        "extra_forbidden": f"Remove it or correct the spelling; {where}.",
    }
    remedy = remedies.get(first["type"], f"Correct the value; {of_this}." if first["loc"] else f"{where}.")
    if first["type"] == "extra_forbidden" and first["loc"] in _MOVED:
        remedy = f"Write it as {_MOVED[first['loc']]}."
    got = (
        ""
        if first["type"] in ("missing", "extra_forbidden") or not first["loc"]
        else f" (got {_short(first.get('input'))})"
    )
    return InputError(f"{_in_words(first, model)}{got}.{more}", remedy=remedy, file=file, field=field)


def _plain(field: str) -> str:
    """A field as `siteplanner fields` finds it: without the number of an item."""
    return re.sub(r"\[\d+\]", "", field)


def _named_first(error: Any) -> str:
    """The field that a check of several fields at once names at the start of its sentence; '' for none."""
    found = re.match(r"[a-z_]+(?:\[\d+\])?(?:\.[a-z_]+)+(?= (?:is|needs) )", str(error.get("ctx", {}).get("error", "")))
    return found.group() if found else ""


def as_written(place: Sequence[int | str], data: Mapping[str, Any]) -> str:
    """A field as the user wrote it, items of a list counted from 1: `staging[2].latitude`, `sky.satellites[1]`."""
    if len(place) > 1 and place[0] == "staging" and isinstance(place[1], int):
        given, number = data.get("staging"), place[1]
        listed = len(given) if isinstance(given, (list, tuple)) else 1
        if number >= listed:
            place = ("further_staging", number - listed, *place[2:])
        elif not isinstance(given, (list, tuple)):
            place = ("staging", *place[2:])
    out = ""
    for part in place:
        out += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if out else part
    return out


def _short(value: Any) -> str:
    try:
        return (str(value) if hasattr(value, "isoformat") else repr(value))[:80]
    except ValueError:  # a whole number of more digits than Python writes
        return "a number of thousands of digits"


def _in_words(error: Any, model: type[BaseModel]) -> str:
    """One fault in plain words: the checker's own sentences speak of tuples and extra inputs."""
    kind, about = error["type"], error.get("ctx", {})
    if kind == "missing":
        return "This field is missing"
    if kind == "extra_forbidden":
        if error["loc"] in _MOVED:
            return f"There is one dish: its diameter stands in {_MOVED[error['loc']]}"
        return _no_such_field(error["loc"], model)
    if kind in _BOUNDS:
        bound, words = _BOUNDS[kind]
        return f"The value must be {words} {about[bound]:g}"
    if kind == "literal_error":
        return f"One of {about['expected']} is needed"
    if kind == "value_error":
        return str(about["error"])
    return {
        "too_long": f"At most {about.get('max_length')} values are possible, not {about.get('actual_length')}",
        "too_short": f"At least {about.get('min_length')} value is needed",
        "tuple_type": 'A list is needed, e.g. ["a", "b"]',
        "string_type": "Text in quotes is needed",
        "string_too_long": f"Text of at most {about.get('max_length')} letters is possible",
        "string_too_short": "Text is needed, not nothing",
        "bool_parsing": "true or false is needed, without quotes",
        "bool_type": "true or false is needed, without quotes",
        "float_parsing": "A number is needed, without quotes and with a decimal dot",
        "float_type": "A number is needed",
        "finite_number": "A number that is not infinite and not NaN is needed",
        "model_type": "A table of fields is needed",
        "timezone_aware": "The time needs its offset from UTC, e.g. 2026-06-03T04:40:00-06:00",
    }.get(kind, str(error["msg"]))


def _no_such_field(place: Sequence[int | str], model: type[BaseModel]) -> str:
    """That a field does not exist, with those that are spelled much like it."""
    part: type[BaseModel] | None = model
    for name in place[:-1]:
        if isinstance(name, str) and part is not None:  # a number only picks one of several alike
            kept = part.model_fields.get(name)
            part = None if kept is None else _table_in(kept.annotation)
    close = get_close_matches(str(place[-1]), part.model_fields, n=2, cutoff=0.6) if part is not None else []
    return "There is no such field" + (f"; close: {', '.join(close)}" if close else "")


def _table_in(annotation: Any) -> type[BaseModel] | None:
    """The table that a field is, or that it lists."""
    for kind in (annotation, *get_args(annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None
