"""Where a saved plan's layers lie, told without the names of the folders above them.

`plan.json` goes to many hands: a path from the root of the file system would tell them an account's name and how a
machine is laid out. So it holds relative paths only, and none that climbs out of the folders that somebody shares.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from siteplanner.data.records import sha256_of
from siteplanner.errors import InputError
from siteplanner.mission import Layers, Mission, mission_from_dict

CLIMB = 3  # folders above plan.json in which layers are looked for


def shared_parameters(mission: Mission) -> dict[str, Any]:
    """Every parameter as used; a file named from the root is named from the mission's folder, or by its bare name."""
    held = mission.parameters()
    for table, names in (("layers", _file_fields()), ("sheets", ("extra_fonts",))):
        for name in names:
            value = held[table].get(name)
            if isinstance(value, str):
                held[table][name] = _named(value, mission.base)
            elif value:
                held[table][name] = [_named(v, mission.base) for v in value]
    for period in held["periods"]:
        period["incident_area"] = _named(period["incident_area"], mission.base)
    return held


def shared_folder(mission: Mission, beside: Path | None) -> str | None:
    """The mission's folder as seen from the folder of its plan.json; None where that would climb too far, or where
    nobody knows yet where the file will stand."""
    return None if beside is None else _seen_from(mission.base, beside)


def mission_of_record(
    record: Mapping[str, Any], file: Path, layers_in: Path | None, samples: Sequence[Path]
) -> Mission:
    """The mission of a saved plan with a folder in which its layers are.

    Looked for in `layers_in` where that is given; else where the record says (from the root in older files, else from
    the file), then beside the file and above it, in the working folder and in `samples`: there only an incident area
    of the same content counts, for names such as roads.geojson are everywhere. Raises InputError naming a layer that
    is in none of them, KeyError or TypeError for a record that is not a plan's.
    """
    said, beside = record.get("mission_folder"), Path(os.path.abspath(file)).parent
    told = [Path(os.path.normpath(beside / said))] if isinstance(said, str) and said else []
    sure = told if layers_in is None else [layers_in]
    guessed = [] if layers_in is not None else [beside, *list(beside.parents)[:CLIMB], Path.cwd(), *samples]
    layers = record["mission"]["layers"]
    names = [name for field in _file_fields() for name in _listed(layers.get(field))]
    area, hashes = layers["incident_area"], {i["file"]: i["sha256"] for i in record["inputs"]}
    for shorten in (str, _bare):  # as named, then all in one folder
        for folder in [*sure, *guessed]:
            if not all(_is_in(folder, shorten(name)) for name in names):
                continue
            if folder in guessed and hashes.get(_bare(_file(area))) != sha256_of(folder / _file(shorten(area))):
                continue
            # an older record lacks the fields that came later
            short = {f: _shortened(layers[f], shorten) for f in _file_fields() if f in layers}
            made = {**record["mission"], "layers": {**layers, **short}}
            return mission_from_dict(made, base=folder, file=str(file))
    folders = [*sure, *guessed]
    missing = next((n for n in names if not any(_is_in(f, n) or _is_in(f, _bare(n)) for f in folders)), "")
    raise InputError(
        f"The layers of this plan are not where it looks for them; {_bare(missing)} is missing."
        if missing
        else "The layers of this plan are not together in any folder that it looks into.",
        remedy="Name the mission's folder with --layers, or work in that folder, or put plan.json beside the layers.",
        file=file,
    )


def _file_fields() -> tuple[str, ...]:
    """Fields of `Layers` that name files."""
    extras = {name: f.json_schema_extra for name, f in Layers.model_fields.items()}
    return tuple(name for name, extra in extras.items() if isinstance(extra, dict) and "kinds" in extra)


def _listed(value: Any) -> list[str]:
    return [] if not value else [value] if isinstance(value, str) else list(value)


def _shortened(value: Any, shorten: Callable[[str], str]) -> Any:
    return shorten(value) if isinstance(value, str) else [shorten(v) for v in value] if value else value


def _bare(name: str) -> str:
    return PureWindowsPath(name).name  # takes both kinds of strokes


def _file(name: str) -> str:
    """The file of `file|layer`."""
    return name.split("|", 1)[0]


def _is_in(folder: Path, name: str) -> bool:
    return os.path.exists(folder / name) or os.path.exists(folder / _file(name))


def _named(name: str, base: Path) -> str:
    if PureWindowsPath(name).is_absolute() and not PurePosixPath(name).is_absolute() and os.sep == "/":
        return _bare(name)  # a path of another system
    if not Path(name).is_absolute():
        return name
    return _seen_from(Path(name), base) or _bare(name)


def _seen_from(target: Path, folder: Path) -> str | None:
    """A relative path with `/`; None where the two share no more than the root or a folder above somebody's home."""
    to, start = Path(os.path.realpath(target)), Path(os.path.realpath(folder))
    if to.anchor != start.anchor:
        return None
    shared = Path(os.path.commonpath([to, start]))
    try:
        home = Path.home()
    except RuntimeError:  # there is none
        home = shared
    if shared == Path(shared.anchor) or (shared in home.parents):
        return None
    return Path(os.path.relpath(to, start)).as_posix()
