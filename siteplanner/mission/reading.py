"""A mission read from a file or from plain data."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from siteplanner.data.plain_text import MOST_MISSION, parsed, read_text
from siteplanner.errors import InputError
from siteplanner.mission.faults import fault
from siteplanner.mission.fleet_units import with_fleet
from siteplanner.mission.parameters import Mission


def mission_from_dict(data: dict[str, Any], *, base: str | Path = ".", file: str | None = None) -> Mission:
    """Check a mission given as plain data.

    Raises InputError naming the file, the first wrong field and the remedy; further ones follow in the text.
    """
    check_whole_numbers(data, "", file)
    try:
        return Mission.model_validate({**data, "base": Path(base)})
    except ValidationError as error:
        raise fault(error, Mission, data, file) from None


_LARGEST = 1 << 63  # no field of a mission counts so far, and floating point has an end


def check_whole_numbers(value: Any, place: str, file: str | None) -> None:
    """Raises InputError for a whole number that no arithmetic of ours holds."""
    if isinstance(value, dict):
        for name, item in value.items():
            check_whole_numbers(item, f"{place}.{name}" if place else str(name), file)
    elif isinstance(value, (list, tuple)):
        for number, item in enumerate(value, 1):
            check_whole_numbers(item, f"{place}[{number}]", file)
    elif isinstance(value, int) and abs(value) > _LARGEST:
        raise InputError(
            f"This number is too large ({value.bit_length():,} bits).",
            remedy="Correct the value.",
            file=file,
            field=place,
        )


def load_mission(path: str | Path) -> Mission:
    """Read a mission from TOML or JSON (by its ending).

    Raises InputError for an unreadable file, broken syntax, a wrong field, or a fleet file that is none.
    """
    path = Path(path)
    if os.path.isdir(path):
        raise InputError("This is a folder.", remedy="Name the mission file in it.", file=path)
    text = read_text(path, MOST_MISSION, "A mission file (.toml or .json)")
    data = parsed(text, as_json=path.suffix.lower() == ".json", file=path)
    if not isinstance(data, dict):
        raise InputError("A mission is a table of fields.", remedy="Start from the sample mission.", file=path)
    return mission_from_dict(with_fleet(data, path.parent, str(path)), base=path.parent, file=str(path))
