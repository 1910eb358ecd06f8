"""An atlas on the disk: what stands where, each file put in place in one step, nothing trusted that is not finished."""

from __future__ import annotations

import json
import os
import tempfile
import zipfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from siteplanner.errors import InputError
from siteplanner.planning.atlas.values import Arrays, packed, unpacked

FORMAT = 1
HEAD = "atlas.json"  # written last: an atlas without it, or whose tiles say otherwise, is not finished
TILE = "tile.json"
FACTS = "facts.json"
PLACES = "places"  # folder of a tile: places that are judged while the tile is not finished
MARGINS = "margins"  # folder of a tile: a raster a place
ROADS = "roads"
MOST_BYTES = 4 << 30


def tile_folder(atlas: Path, name: str) -> Path:
    """Where a tile stands."""
    return atlas / "tiles" / name


def put(path: Path, write: Callable[[Path], None]) -> None:
    """A file written beside its place and then put there. Raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, staged = tempfile.mkstemp(prefix=".writing-", dir=path.parent)
    os.close(handle)
    try:
        write(Path(staged))
        os.replace(staged, path)
    except BaseException:
        Path(staged).unlink(missing_ok=True)
        raise


def put_json(path: Path, value: Any) -> None:
    """A value as JSON."""
    text = json.dumps(value, separators=(",", ":"), allow_nan=False)

    def write(staged: Path) -> None:
        staged.write_bytes(text.encode())

    put(path, write)


def put_rows(path: Path, rows: Sequence[Any]) -> None:
    """Values as a JSON list, each on a line of its own, so that some of very many are read without the others."""
    text = "[\n" + ",\n".join(json.dumps(row, separators=(",", ":"), allow_nan=False) for row in rows) + "\n]"

    def write(staged: Path) -> None:
        staged.write_bytes(text.encode())

    put(path, write)


def read_rows(path: Path, which: Sequence[int]) -> list[Any]:
    """Some of the rows that `put_rows` wrote. Raises InputError as `read_json`."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ValueError("too large")
        lines = path.read_bytes().split(b"\n")[1:-1]
        return [json.loads(lines[number].removesuffix(b",")) for number in which]
    except (OSError, ValueError, LookupError, RecursionError):
        pass  # what is wrong with it is told by reading it whole
    rows = read_json(path)
    return [rows[number] for number in which]


def read_json(path: Path) -> Any:
    """What stands in a file of an atlas. Raises InputError: it is not there, or not JSON."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ValueError("too large")
        return json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(
            "The atlas is not finished: this file is missing.",
            remedy="Run `siteplanner atlas build` again; it goes on where it stopped.",
            file=path,
        ) from None
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(
            f"This file of the atlas cannot be read ({type(error).__name__}).",
            remedy="Delete it and run `siteplanner atlas build` again.",
            file=path,
        ) from error


def put_value(stem: Path, value: Any) -> None:
    """A fact with its arrays: `stem`.json and `stem`.npz, of one writing."""
    arrays: Arrays = {}
    tree = packed(value, arrays)

    def write(staged: Path) -> None:
        with zipfile.ZipFile(staged, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as target:
            target.writestr("tree.json", json.dumps(tree, separators=(",", ":"), allow_nan=False))
            for name, array in arrays.items():
                with target.open(f"{name}.npy", "w", force_zip64=True) as part:
                    np.lib.format.write_array(part, np.ascontiguousarray(array), allow_pickle=False)

    put(stem.with_suffix(".zip"), write)


def read_value(stem: Path) -> Any:
    """The fact again. Raises InputError."""
    path = stem.with_suffix(".zip")
    try:
        with zipfile.ZipFile(path) as held:
            if sum(item.file_size for item in held.infolist()) > MOST_BYTES:
                raise ValueError("too large")
            arrays: dict[str, np.ndarray] = {}
            for item in held.namelist():
                if item.endswith(".npy"):
                    with held.open(item) as part:
                        arrays[item.removesuffix(".npy")] = np.lib.format.read_array(part, allow_pickle=False)
            tree = json.loads(held.read("tree.json"))
    except (OSError, ValueError, KeyError, zipfile.BadZipFile, RecursionError) as error:
        raise InputError(
            f"This file of the atlas cannot be read ({type(error).__name__}).",
            remedy="Run `siteplanner atlas build` again.",
            file=path,
        ) from error
    return unpacked(tree, arrays)


def finished(atlas: Path) -> Mapping[str, Any]:
    """The head of an atlas whose every tile is finished and of one building. Raises InputError for any other."""
    head = read_json(atlas / HEAD)
    if not isinstance(head, dict) or head.get("format") != FORMAT:
        raise InputError(
            "This is no atlas of this version.", remedy="Build it again with this version.", file=atlas / HEAD
        )
    for name, key in head["tiles"].items():
        if Path(name).name != name or read_json(tile_folder(atlas, name) / TILE).get("key") != key:
            raise InputError(
                "The atlas is not finished: this tile was begun anew.",
                remedy="Run `siteplanner atlas build` again; it goes on where it stopped.",
                file=tile_folder(atlas, name),
            )
    return head
