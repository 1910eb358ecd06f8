"""Cells of a road table as text: missing values, tag values, names, whole columns at once."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np


def is_missing(value: Any) -> bool:
    """Whether a cell of a table holds nothing: None, NaN, and pandas' own marks."""
    return (
        value is None
        or type(value).__name__ in ("NAType", "NaTType")
        or (isinstance(value, (float, np.floating)) and math.isnan(value))
    )


def tag_text(value: Any) -> str:
    """A cell of a road table as a tag value: lower case, single spaces, `''` when missing."""
    if is_missing(value):
        return ""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (float, np.floating)):
        return f"{value:.12g}"
    return " ".join(str(value).split()).lower()


def plain_name(value: Any) -> str:
    """A name from a file as one line of plain text: no control characters, no forced reading direction.

    Nothing is escaped here: whoever writes a page, a table or a sheet escapes for it.
    """
    if is_missing(value):
        return ""
    text = str(value)
    if not text.isascii() or not text.isprintable():
        # Cc control, Cs half a surrogate pair; the bidi controls (in Cf) could turn a line on a sheet around
        text = "".join(
            " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c
            for c in text
            if unicodedata.category(c) != "Cs" and c not in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
        )
    return " ".join(text.split())[:200]


def is_set(value: Any) -> bool:
    """Whether a feature tag (`bridge`, `tunnel`, `ford`) is set: anything but missing, `no`, `0`, `false`."""
    return tag_text(value) not in ("", "no", "0", "false", "none", "f", "n")


def is_yes(word: str) -> bool:
    """Whether a tag says that something is so and no more than that."""
    return word in ("yes", "true", "1", "y", "t")


def read_column(values: Iterable[Any], reader: Callable[[Any], Any]) -> list[Any]:
    """`reader` of each value, called once for each different value (road tables repeat themselves)."""
    known: dict[Any, Any] = {}
    keys = [v if isinstance(v, str) else (type(v), repr(v)) for v in values]
    for key, value in zip(keys, values, strict=True):
        if key not in known:
            known[key] = reader(value)
    return [known[key] for key in keys]


def read_columns(reader: Callable[..., Any], *columns: Iterable[str]) -> list[Any]:
    """`reader(*row)` of each row of words, called once for each different row."""
    rows = list(zip(*columns, strict=True))
    known = {row: reader(*row) for row in set(rows)}
    return [known[row] for row in rows]


def where(words: np.ndarray, test: Callable[[str], bool]) -> np.ndarray:
    """Which words pass a test that is asked once for each different one."""
    listed = words.tolist()
    known = {word: bool(test(word)) for word in set(listed)}
    if len(set(known.values())) < 2:
        return np.full(len(listed), any(known.values()))
    return np.array([known[word] for word in listed], bool)
