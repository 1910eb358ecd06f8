"""Text and structured text from a file: plain files only, of a bounded size and depth, every fault in words."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

from siteplanner.data.formats import local_file
from siteplanner.errors import InputError

MOST_MISSION = 8 << 20  # bytes; far above any mission written by hand or by a script
MOST_TABLE = 16 << 20  # a wind table of 20,000 rows has one
MOST_PLAN = 256 << 20  # a plan of thousands of spots
_DEEPEST = 40  # parts of one dotted key; a thousand of them cost the parser gigabytes
_DOTTED = re.compile(rf"^\s*\[{{0,2}}(?:[^\s.=\[\]#]{{1,200}}\s*\.\s*){{{_DEEPEST}}}", re.MULTILINE)


def read_text(path: str | Path, most_bytes: int, what: str, *, damaged: bool = False) -> str:
    """The text of a UTF-8 file, without a byte order mark. `what` says what it should hold, e.g. `A mission file`.

    `damaged`: other bytes come as the replacement character, so that what stands beside them can be read.
    Raises InputError for what is not a plain readable file, for one larger than `most_bytes`, and for other bytes.
    """
    full = local_file(path)
    try:
        with full.open("rb") as stream:
            raw = stream.read(most_bytes + 1)
    except OSError as error:
        raise InputError(
            f"The file cannot be read ({error.strerror}).", remedy="Check its permissions.", file=path
        ) from None
    if len(raw) > most_bytes:
        raise InputError(
            f"{what} has at most {most_bytes >> 20} MB; this file has more.",
            remedy="Name the right file, or cut it to what is needed.",
            file=path,
        )
    try:
        return raw.decode("utf-8-sig", "replace" if damaged else "strict")
    except UnicodeDecodeError:
        raise InputError(
            f"This is not text in UTF-8. {what} is needed.",
            remedy="Name the right file, or save it in UTF-8.",
            file=path,
        ) from None


def parsed(text: str, *, as_json: bool, file: str | Path) -> Any:
    """JSON or TOML as plain data.

    Raises InputError for broken syntax, and for text that is nested too deeply or holds numbers too long to read.
    """
    try:
        if as_json:
            return json.loads(text)
        if _DOTTED.search(text):
            raise RecursionError
        return tomllib.loads(text)
    except RecursionError:
        raise InputError("Tables or lists are nested too deeply.", remedy="Write them flat.", file=file) from None
    except ValueError as error:  # both libraries' own errors, and numbers of thousands of digits
        raise InputError(f"Broken syntax: {str(error)[:200]}.", remedy="Correct the line named.", file=file) from None
