"""A mission read from a file or from plain data."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

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
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError("There is no such file.", remedy="Check the path.", file=path) from None
    except IsADirectoryError:
        raise InputError("This is a folder.", remedy="Name the mission file in it.", file=path) from None
    except UnicodeDecodeError:
        raise InputError(
            "This is not a text file in UTF-8.",
            remedy="Name the mission file (.toml or .json), or save it in UTF-8.",
            file=path,
        ) from None
    except OSError as error:
        raise InputError(
            f"The mission cannot be read ({error}).", remedy="Give a UTF-8 text file.", file=path
        ) from None
    try:
        data = json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except (tomllib.TOMLDecodeError, json.JSONDecodeError) as error:
        raise InputError(f"Broken syntax: {error}.", remedy="Mend the line named.", file=path) from None
    if not isinstance(data, dict):
        raise InputError("A mission is a table of fields.", remedy="Start from the sample mission.", file=path)
    return mission_from_dict(data, base=path.parent, file=str(path))
