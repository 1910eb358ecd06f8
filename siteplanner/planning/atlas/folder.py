"""An atlas on the disk: what stands where, each file put in place in one step, nothing trusted that is not finished."""

from __future__ import annotations

import json
import os
import stat
import tempfile
import zipfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from siteplanner.errors import InputError
from siteplanner.planning.atlas.lattice import Tile
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
        _size_fits(path)
        lines = path.read_bytes().split(b"\n")[1:-1]
        return [json.loads(lines[number].removesuffix(b",")) for number in which]
    except (OSError, ValueError, LookupError, RecursionError):
        pass  # what is wrong with it is told by reading it whole
    rows = read_json(path)
    return [rows[number] for number in which]


def _size_fits(path: Path) -> None:
    """Raises OSError, or ValueError for what is no file (a pipe would be waited for) or larger than is written."""
    found = path.stat()
    if not stat.S_ISREG(found.st_mode):
        raise ValueError("not a file")
    if found.st_size > MOST_BYTES:
        raise ValueError("too large")


def read_json(path: Path) -> Any:
    """What stands in a file of an atlas. Raises InputError: it is not there, or not JSON."""
    try:
        _size_fits(path)
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
        _size_fits(path)
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
    if not _there(atlas):
        raise InputError(
            "There is no such folder.", remedy="Name the folder that `siteplanner atlas build` wrote.", file=atlas
        )
    if not _there(atlas / HEAD) and not _there(atlas / "tiles"):
        raise InputError(
            "There is no atlas in this folder.",
            remedy=f"Name the folder that `siteplanner atlas build` wrote: {HEAD} stands in it.",
            file=atlas,
        )
    head = read_json(atlas / HEAD)
    if not isinstance(head, dict) or head.get("format") != FORMAT:
        raise InputError(
            "This is no atlas of this version.", remedy="Build it again with this version.", file=atlas / HEAD
        )
    if not _is_whole(head):
        raise InputError(
            "This file of the atlas says something that no atlas says: it is damaged.",
            remedy="Delete it and run `siteplanner atlas build` again.",
            file=atlas / HEAD,
        )
    for name, key in head["tiles"].items():
        held = read_json(tile_folder(atlas, name) / TILE)
        if not isinstance(held, dict) or held.get("key") != key:
            raise InputError(
                "The atlas is not finished: this tile was begun anew.",
                remedy="Run `siteplanner atlas build` again; it goes on where it stopped.",
                file=tile_folder(atlas, name),
            )
    return head


def _there(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):  # a name longer than the system allows, or with a zero byte
        return False


def _is_whole(head: Mapping[str, Any]) -> bool:
    """Whether a head holds what an answer takes from it, and names no folder but those of its tiles."""
    try:
        tiles, boxes = head["tiles"], head["boxes"]
        outline = shapely.from_wkb(head["outline"])
        return (
            set(tiles) == set(boxes)
            and all(Path(name).name == name and isinstance(key, str) for name, key in tiles.items())
            and all(isinstance(n, int) for box in boxes.values() for k, n in box.items() if k != "name")
            and all(Tile(**box).name == name for name, box in boxes.items())
            and isinstance(head["mission"], dict)
            and outline.area > 0
        )
    except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError):
        return False
