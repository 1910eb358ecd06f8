"""A mission read from a file or from plain data."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from siteplanner.data.plain_text import MOST_MISSION, parsed, read_text
from siteplanner.errors import InputError
from siteplanner.mission.faults import fault
from siteplanner.mission.parameters import Mission


def mission_from_dict(data: dict[str, Any], *, base: str | Path = ".", file: str | None = None) -> Mission:
    """Check a mission given as plain data.

    Raises InputError naming the file, the first wrong field and the remedy; further ones follow in the text.
    """
    try:
        return Mission.model_validate({**data, "base": Path(base)})
    except ValidationError as error:
        raise fault(error, Mission, data, file) from None


def load_mission(path: str | Path) -> Mission:
    """Read a mission from TOML or JSON (by its ending).

    Raises InputError for an unreadable file, broken syntax, or a wrong field.
    """
    path = Path(path)
    if os.path.isdir(path):
        raise InputError("This is a folder.", remedy="Name the mission file in it.", file=path)
    text = read_text(path, MOST_MISSION, "A mission file (.toml or .json)")
    data = parsed(text, as_json=path.suffix.lower() == ".json", file=path)
    if not isinstance(data, dict):
        raise InputError("A mission is a table of fields.", remedy="Start from the sample mission.", file=path)
    return mission_from_dict(data, base=path.parent, file=str(path))
